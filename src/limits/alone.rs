//! Changes of one value by itself that settle every stop of a foot: what a fitter would try before several together.
//! Knows the intervals and looks at each change with the check itself.

use super::Case;
use super::held::{Changed, weight};
use super::interval::{Bound, Found, Intervals};
use super::repair::{Change, NotShaped, Relaid, ValueChange};
use super::search::{Rebuild, search};
use crate::value::Value;

/// One value's change that passes.
pub(super) struct Alone {
    change: ValueChange,
    by: Bound,
    cost: f64,
    least_cost: f64,
}

/// Every value that passes by itself when it is moved into its interval, the least change first.
pub(super) fn passing(case: &Case, intervals: &Intervals, rebuild: Rebuild, relaid: Relaid) -> Vec<Alone> {
    let mut intervals = intervals.clone();
    if intervals.values().any(|interval| interval.found == Found::OutlineOnly) {
        search(case, &mut intervals, rebuild, &|footbed| relaid(footbed).0);
    }
    let now = Changed::nothing(case);
    let mut passing: Vec<Alone> = intervals
        .iter()
        .filter_map(|(&value, interval)| {
            let from = case.order.asked(value).or(case.read_back.get(&value).copied())?;
            let ([lo, hi], to) = (interval.ends()?, interval.nearest(from)?);
            let passes = !interval.holds(from) && now.asking(&[(value, to)], rebuild)?.stops(case, relaid).is_empty();
            let (one, least) = (weight(case.order, value), from.clamp(lo, hi));
            passes.then(|| Alone {
                change: ValueChange { value, from, to, least },
                by: interval.by[usize::from(from > hi)],
                cost: one * (to - from).abs(),
                least_cost: one * (least - from).abs(),
            })
        })
        .collect();
    passing.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    passing
}

/// What several values do together, or the one value that does it at less cost or leaves the footbed what it is, with
/// the others that pass alone.
pub(super) fn or_alone(
    together: Result<(Change, Vec<&'static str>), NotShaped>,
    mut alone: Vec<Alone>,
) -> Result<(Change, Vec<&'static str>), NotShaped> {
    // A cost that differs by rounding of the solver is the same.
    let cheaper = |one: &Alone| match &together {
        Ok((change, left)) => !left.is_empty() || one.cost < change.cost - 1e-6 || is_another_footbed(change),
        Err(_) => true,
    };
    let best = match alone.first().is_some_and(cheaper) {
        true => Ok((of_one(alone.remove(0)), vec![])),
        false => together,
    };
    best.map(|(change, left)| {
        let told = |value: Value| change.changes.len() == 1 && change.changes.iter().any(|c| c.value == value);
        let others = alone.into_iter().map(|one| one.change).filter(|other| !told(other.value));
        (Change { alone: others.collect(), ..change }, left)
    })
}

/// A value of the shape that changes by more than this share of what was asked makes another footbed, as a cup of 4 mm
/// in place of one of 15 does. Shop's own choice.
const ANOTHER_SHARE: f64 = 0.5;
const OF_SHAPE: [Value; 4] = [Value::HeelThickness, Value::ForefootThickness, Value::HeelCupDepth, Value::MedialArch];

fn is_another_footbed(change: &Change) -> bool {
    let of_shape = change.changes.iter().filter(|c| OF_SHAPE.contains(&c.value));
    of_shape.into_iter().any(|c| (c.to - c.from).abs() > ANOTHER_SHARE * c.from)
}

fn of_one(one: Alone) -> Change {
    Change {
        changes: vec![one.change],
        cost: one.cost,
        least_cost: one.least_cost,
        bound_by: vec![one.by],
        left: vec![],
        found: Found::Searched,
        alone: vec![],
    }
}
