//! Limits of how the pieces lie in their blank and between its clamps, told by whoever laid them.

use super::{Finding, Severity};
use crate::frame::Side;
use crate::profile::Blank;

/// A pair that finds no room in one blank. `needed_mm` and `has_mm` are extents in x and y, margins
/// and grooves included; `others` are blanks of the shelf that would take it.
pub fn pair_room(side: Side, blank: &Blank, needed_mm: [f64; 2], has_mm: [f64; 2], others: &[&Blank]) -> Finding {
    let missing: Vec<String> = ["X (width)", "Y (length)"]
        .into_iter()
        .zip(needed_mm.iter().zip(&has_mm))
        .filter(|(_, (needed, has))| needed > has)
        .map(|(axis, (needed, has))| format!("{:.0} mm in {axis}", (needed - has).ceil()))
        .collect();
    let [x, y] = needed_mm.map(f64::ceil);
    let message = format!(
        "the pair needs {x:.0} x {y:.0} mm with its margins, grooves and the wall between; blank {} is {} x {} mm: {} missing",
        blank.name,
        blank.width_mm,
        blank.length_mm,
        missing.join(" and ")
    );
    let names: Vec<&str> = others.iter().map(|blank| blank.name.as_str()).collect();
    let advice = match names.as_slice() {
        [] => format!("take a blank at least {x:.0} mm wide and {y:.0} mm long, or write lay = \"each\""),
        names => format!("take blank {}, or write lay = \"each\"", names.join(" or ")),
    };
    let worst = if needed_mm[0] - has_mm[0] >= needed_mm[1] - has_mm[1] { 0 } else { 1 };
    Finding::new("pair_in_blank", Severity::Stop, side, message, advice)
        .numbers(needed_mm[worst], has_mm[worst], "mm")
        .never_overruled()
}

/// A clamp, counted from 1 in the ticket's order, that the cuts around a piece would meet wherever
/// the piece is laid.
pub fn clamp_met(side: Side, clamp: usize, distance_mm: f64, needed_mm: f64, part: &str) -> Finding {
    let where_ =
        if distance_mm > 0.0 { format!("{distance_mm:.1} mm from the outline") } else { "on the piece".into() };
    let message = format!("clamp {clamp} stands {where_}; {part} needs {needed_mm:.1} mm");
    let advice = format!(
        "move clamp {clamp} away by {:.0} mm or more, or take a larger blank; no place in this one avoids it",
        (needed_mm - distance_mm).ceil()
    );
    Finding::new("clamp_met", Severity::Stop, side, message, advice)
        .numbers(distance_mm, needed_mm, "mm")
        .never_overruled()
}

/// A blank whose waste has no room for the side letter and the toe arrow.
pub fn no_room_for_mark(side: Side, blank: &Blank) -> Finding {
    let message = format!(
        "blank {} leaves no room beside the {} footbed to engrave its letter and toe arrow",
        blank.name,
        side.name()
    );
    Finding::new("mark_room", Severity::Note, side, message, "write them on the blank by hand".to_string())
}
