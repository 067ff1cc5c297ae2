//! Limits of a relieved underside: room for the pins that bring the turned blank back, what the
//! hollow lies on, what the cutter leaves in it. Takes measures that the job has made; makes none.

use super::field::past;
use super::{Finding, Severity};
use crate::frame::{Point2, Side};
use crate::ticket::LEAST_PIN_HEIGHT_MM;

/// A pin's place, measured in the blank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinRoom {
    /// `behind the heel` or `ahead of the toes`.
    pub place: &'static str,
    /// From the hole's wall to the trim outline, mm.
    pub to_outline_mm: f64,
    /// What the perimeter cutter's groove and a wall beside it need of that, mm.
    pub needed_mm: f64,
    /// How high the pin stands, mm.
    pub height_mm: f64,
    /// How high it may stand under what the cutters leave there, mm.
    pub height_allowed_mm: f64,
    /// Length of the blank, mm.
    pub blank_length_mm: f64,
}

/// What a pin does not have room for.
pub fn pin_room(side: Side, room: &PinRoom) -> Vec<Finding> {
    let PinRoom { place, to_outline_mm: has, needed_mm: needed, height_mm: high, height_allowed_mm: most, .. } = *room;
    let wide = past(needed, has).then(|| {
        // The piece lies in the middle of the blank, so length helps by half.
        let longer = (room.blank_length_mm + 2.0 * (needed - has)).ceil();
        let message = format!(
            "the hole for the pin {place} is {has:.1} mm from the outline; the perimeter cut and a wall need {needed:.1} mm"
        );
        let advice = format!(
            "take a blank at least {longer:.0} mm long or thinner pins, or turning = \"edges\" with a well measured blank"
        );
        Finding::new("pin_room", Severity::Stop, side, message, advice).numbers(has, needed, "mm").never_overruled()
    });
    let tall = past(high, most).then(|| {
        let message =
            format!("the pin {place} stands {high:.1} mm high; the cutters come down to {most:.1} mm over it");
        let lower = (most * 10.0 + 1e-6).floor() / 10.0;
        let advice = match lower >= LEAST_PIN_HEIGHT_MM {
            true => format!("ask pins.height = {lower:.1}, or a thicker edge there"),
            false => "ask a thicker edge there, or turning = \"edges\" with a well measured blank".to_string(),
        };
        Finding::new("pin_height", Severity::Stop, side, message, advice).numbers(high, most, "mm").never_overruled()
    });
    wide.into_iter().chain(tall).collect()
}

/// The hollow lies on nothing while the top is cut.
pub fn unsupported(side: Side, deepest_mm: f64, at: Point2, foot_length_mm: f64) -> Finding {
    let message = format!(
        "the hollow of the underside, up to {deepest_mm:.1} mm deep, lies on nothing while the top is cut over it"
    );
    let advice = "fill it with packing level with the underside, and hold the blank beside it, not over it".to_string();
    let finding = Finding::new("hollow_support", Severity::Caution, side, message, advice);
    Finding { measured: Some(deepest_mm), ..finding.place(at, foot_length_mm) }
}

/// A relieved underside that turns out flat.
pub fn no_hollow(side: Side) -> Finding {
    let message =
        "the underside is asked relieved, and nothing of it is thick enough to hollow: it stays flat".to_string();
    let advice =
        "no program is written for it; ask a lower flex_zone_thickness or stabiliser_share for a hollow".to_string();
    Finding::new("no_hollow", Severity::Note, side, message, advice)
}

/// Turned by its edges, the blank comes back as well as its width is known.
pub fn turned_by_edges(side: Side, width_mm: f64) -> Finding {
    let message =
        format!("the underside will lie off sideways by as much as the blank's width of {width_mm} mm is wrong");
    let advice = "measure the width where the stops touch, or turn on pins".to_string();
    Finding::new("turned_by_edges", Severity::Caution, side, message, advice)
}

/// What the finishing cutter leaves in the hollow, found by the proof.
pub fn unreached_under(side: Side, left_mm: f64, at: Point2, foot_length_mm: f64) -> Option<Finding> {
    /// Nobody feels less under a foot, mm: one of the shop's own choices, as for the surface.
    const FELT_MM: f64 = 0.3;
    (left_mm > FELT_MM).then(|| {
        let message = format!("the finishing cutter is too wide for the hollow's corner: {left_mm:.2} mm stays there");
        let advice = "the piece is that much thicker there: sand it, or finish with a smaller ball cutter".to_string();
        Finding::new("underside_unreached", Severity::Note, side, message, advice)
            .numbers(left_mm, FELT_MM, "mm")
            .place(at, foot_length_mm)
    })
}
