//! What to change a value to, so that one finding does not advise what another forbids. Knows the intervals, not the
//! limits behind them.

use super::Case;
use super::interval::{Interval, Intervals};
use crate::value::Value;

/// The value nearest to what is asked, in tenths where they do, that `own` allows and every stop lets pass, the others
/// held; `None` where there is none.
pub(super) fn nearest(case: &Case, intervals: &Intervals, value: Value, own: Interval) -> Option<f64> {
    let now = case.order.asked(value).or(case.read_back.get(&value).copied())?;
    intervals.get(&value).copied().unwrap_or(Interval::ALL).and(own).nearest(now)
}

/// The same within as many of `wishes` as go together, the first before all.
pub(super) fn nearest_of_all(
    case: &Case,
    intervals: &Intervals,
    value: Value,
    own: Interval,
    wishes: &[Interval],
) -> Option<f64> {
    let both = wishes.iter().fold(own, |both, wish| both.and(*wish));
    nearest(case, intervals, value, both).or_else(|| nearest(case, intervals, value, own))
}

/// "set heel_thickness to 2.9 mm", or that no value of it would do.
pub(super) fn set(case: &Case, intervals: &Intervals, value: Value, own: Interval) -> String {
    match nearest(case, intervals, value, own) {
        Some(to) => format!("set {} to {to} {}", value.name(), value.unit()),
        None => no_value(&[value]),
    }
}

/// What moves a limit although no change of it alone passes.
pub(super) fn no_value(values: &[Value]) -> String {
    let names: Vec<&str> = values.iter().map(|value| value.name()).collect();
    format!("{} moves it, but no change of it alone passes; `check` tells what would", names.join(" or "))
}
