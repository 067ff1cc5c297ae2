//! The cup against the standing heel. A heel is widest above the rim and narrows toward its sole, so what must clear the
//! measured width is the cup at its rim; at half depth a narrower cup is usual, and is only said.

use super::field::past;
use super::interval::{Bound, Interval, Intervals};
use super::order::{down, up};
use super::{Case, Finding, Severity, advice, boot};
use crate::footbed::RIM_INSET_MM;
use crate::value::Value;

/// A cup wider than the standing heel by more than this lets it float, mm. [from memory]
const SPARE_MM: f64 = 4.0;
/// Room between the standing heel and the cup's rim, both sides together, mm. Shop's own choice.
const ROOM_MM: f64 = 1.0;
/// Room beside a heel that is as wide at its sole as above: at half depth, and of the whole heel with a cup's walls,
/// both sides together, mm. Shop's own choice.
const SQUARE_MM: [f64; 2] = [1.5, 14.0];
const CUP: Bound = Bound::of("heel_cup_width");

/// Heel widths whose cup is wide enough for this heel, mm; all where it was not measured.
pub(super) fn for_heel(case: &Case) -> Interval {
    let least = case.order.foot.heel_width.standing.map(|mm| mm + ROOM_MM + 2.0 * RIM_INSET_MM);
    least.map_or(Interval::ALL, |least| Interval::at_least(least, CUP))
}

pub(super) fn width(case: &Case, intervals: &Intervals) -> Option<Finding> {
    let standing = case.order.foot.heel_width.standing?;
    let at_half = *case.read_back.get(&Value::HeelCupWidth)?;
    let at_rim = case.read_back.get(&Value::HeelWidth)? - 2.0 * RIM_INSET_MM;
    let (severity, measured, allowed, message, advice) = if past(standing + ROOM_MM, at_rim) {
        (
            Severity::Caution,
            at_rim,
            standing + ROOM_MM,
            format!(
                "the cup is {at_rim:.1} mm wide inside its rim; the standing heel of {standing} mm needs {ROOM_MM} mm \
                 of room: too narrow cannot be ground away"
            ),
            wider(case, intervals),
        )
    } else if past(at_half, standing + SPARE_MM) {
        (
            Severity::Caution,
            at_half,
            standing + SPARE_MM,
            format!("the cup is {at_half:.1} mm wide at half depth; the standing heel of {standing} mm floats in it"),
            narrower(case, intervals, standing),
        )
    } else if past(standing, at_half) {
        (
            Severity::Note,
            at_half,
            standing,
            format!(
                "the cup is {at_half:.1} mm wide at half depth, the standing heel {standing} mm at its widest: usual for a \
                 heel that rounds in toward its sole"
            ),
            square(case, intervals, standing),
        )
    } else {
        return None;
    };
    Some(
        Finding::new("heel_cup_width", severity, case.order.side, message, advice)
            .numbers(measured, allowed, "mm")
            .place(case.footbed.places.heel_centre, case.footbed.places.foot_length_mm),
    )
}

/// A heel width for a heel that does not go in, and whether the liner takes it.
fn wider(case: &Case, intervals: &Intervals) -> String {
    if case.order.traced.is_some() {
        return "take less clearance, or trace a wider heel, if the liner takes it".to_string();
    }
    let (own, stock) = (for_heel(case), boot::for_insole(case, Value::HeelWidth));
    let Some(to) = advice::nearest(case, intervals, Value::HeelWidth, own) else {
        return format!("it would take a heel_width of {} mm, which does not pass as the rest is asked", up(own.lo));
    };
    match stock.iter().find(|stock| !stock.holds(to)) {
        Some(stock) => format!(
            "it would take a heel_width of {to} mm, and the stock insole says that the liner takes {} mm: a wider liner",
            down(stock.hi)
        ),
        None => format!("set heel_width to {to} mm or more, if the liner takes it"),
    }
}

/// A cup that holds a heel which floats.
fn narrower(case: &Case, intervals: &Intervals, standing: f64) -> String {
    let at_most =
        |room: f64| advice::nearest(case, intervals, Value::HeelCupWidth, Interval::at_most(standing + room, CUP));
    match at_most(SQUARE_MM[0]).or_else(|| at_most(SPARE_MM)) {
        Some(to) => format!("set heel_cup_width to {to} mm, or ask a narrower heel_width"),
        None => "ask a narrower heel_width".to_string(),
    }
}

/// The sizes for a heel that does not round in, where the liner takes them and an outline can be drawn so wide.
fn square(case: &Case, intervals: &Intervals, standing: f64) -> String {
    let [cup, heel] = SQUARE_MM.map(|room| up(standing + room));
    let own = intervals.get(&Value::HeelWidth).copied();
    let most = own.into_iter().chain(boot::for_insole(case, Value::HeelWidth)).map(|room| room.hi).reduce(f64::min);
    match most {
        Some(most) if most == f64::NEG_INFINITY => {
            "for a square heel ask a wider cup, once the stops are settled".to_string()
        }
        Some(most) if heel > most => format!(
            "a square heel would take a heel_cup_width of {cup} mm with a heel_width of {heel} mm; {} mm is the most here",
            down(most)
        ),
        _ => format!("for a square heel ask heel_cup_width = {cup} with a heel_width of {heel} mm"),
    }
}
