//! Dimensions: extension lines, arrows and the number at the feature. All in paper mm; knows
//! nothing of what is measured except how a value is written.

use svg::node::element::Group;

use super::data::ValueRow;
use super::ink::{self, Anchor};
use crate::frame::Point2;

/// Shorter than this, mm of paper, and the arrows stand outside pointing in (ISO 129-1 [from
/// memory]): two heads of 2.2 mm and a gap between them.
const INSIDE_MM: f64 = 6.0;

/// How far an extension line runs past the dimension line, mm of paper.
const PAST_MM: f64 = 1.0;

/// A value as it is written on the drawing: what was asked, or what the design makes of it in
/// brackets, as drawings write a reference dimension. `deg` is printed, mm is the sheet's unit.
pub fn words(row: &ValueRow) -> String {
    let unit = if row.value.unit() == "deg" { "\u{b0}" } else { "" };
    match row.asked {
        Some(asked) => format!("{} {}{unit}", row.value.words(), asked_text(asked)),
        None => format!("{} ({:.1}{unit})", row.value.words(), row.read_back),
    }
}

/// An asked value: as many decimals as it was asked with, two at most.
pub fn asked_text(v: f64) -> String {
    ink::coarse(v)
}

/// A dimension line from `a` to `b`, which must lie level or upright, with its arrows; the arrows
/// stand outside when there is no room.
pub fn between(a: Point2, b: Point2) -> Group {
    let span = b - a;
    let length = span.norm();
    let group = ink::group("dim");
    if length < 1e-6 {
        return group;
    }
    let (dx, dy) = (span.x / length, span.y / length);
    if length >= INSIDE_MM {
        let whole = group.add(ink::line("w13", a, b));
        return whole.add(ink::arrowhead(a, -dx, -dy)).add(ink::arrowhead(b, dx, dy));
    }
    let tail = 3.4;
    let before = Point2::new(a.x - tail * dx, a.y - tail * dy);
    let after = Point2::new(b.x + tail * dx, b.y + tail * dy);
    group.add(ink::line("w13", before, after)).add(ink::arrowhead(a, dx, dy)).add(ink::arrowhead(b, -dx, -dy))
}

/// A level dimension at height `y` between two features, with its words above the middle.
pub fn level(from: Point2, to: Point2, y: f64, text: &str) -> Group {
    let (a, b) = (Point2::new(from.x, y), Point2::new(to.x, y));
    let middle = Point2::new((a.x + b.x) / 2.0, y - 0.8);
    extension(from, a).into_iter().chain(extension(to, b)).fold(between(a, b), Group::add).add(ink::label(
        "t halo",
        middle,
        Anchor::Middle,
        text,
    ))
}

/// The line that carries a feature out to its dimension line, with a small gap at the feature.
pub fn extension(feature: Point2, end: Point2) -> Option<svg::node::element::Line> {
    let run = end - feature;
    let length = run.norm();
    if length < 1.5 {
        return None;
    }
    let along = run / length;
    Some(ink::line("w13", feature + along * 0.6, end + along * PAST_MM))
}
