//! How far the values go that the surface is not linear in: the outline's sizes and the cup's width,
//! each step of which is another design, and the flex zone's thickness. Each end is closed in on
//! from the side that passes, so that it passes itself.

use rayon::prelude::*;

use super::field::{Field, Zone, least_mm};
use super::interval::{Bound, Found, Interval, Intervals};
use super::order::{FLEX_AGREE_MM, writable};
use super::{Case, Finding, ROUNDING, Severity, shop};
use crate::footbed::{self, Footbed};
use crate::gauge::{self, Piece};
use crate::ticket::{FootOrder, Underside};
use crate::value::Value;

/// What lies this far beyond a searched end does not pass, mm.
pub const SEARCHED_MM: f64 = 0.01;
/// The bracket at which a search ends, mm.
const BRACKET_MM: f64 = 0.5 * SEARCHED_MM;
/// A search ends after so many designs whatever it has found; bisection alone needs 16 for 300 mm.
const MOST_DESIGNS: usize = 40;
/// Where the value as it stands does not pass, so many values over its whole range are tried.
const TRIED: usize = 9;

/// Makes the footbed of a changed order; `None` when there is none.
pub type Rebuild<'a> = &'a (dyn Fn(&FootOrder) -> Option<Footbed> + Sync);

/// The worst slack of all limits at a value, and whose it is; negative where one is broken.
type Judge<'a> = &'a (dyn Fn(f64) -> (Bound, f64) + Sync);

/// What stops a changed footbed as it would lie in its blank.
pub type Laid<'a> = &'a (dyn Fn(&Footbed) -> Vec<Finding> + Sync);

/// Closes in on the ends that need other designs. `intervals` are those of [`super::check`].
pub fn search(case: &Case, intervals: &mut Intervals, rebuild: Rebuild, laid: Laid) {
    let values = [Value::HeelCupWidth, Value::Length, Value::BallWidth, Value::HeelWidth];
    let found: Vec<(Value, Interval)> = values
        .into_par_iter()
        .filter(|&value| value == Value::HeelCupWidth || case.order.traced.is_none())
        .filter_map(|value| {
            let closed = *intervals.get(&value)?;
            // A cup width that is not asked begins at what the design makes of it.
            let now = case.order.asked(value).or(case.read_back.get(&value).copied())?;
            let judge = |to: f64| judge(case, value, to, rebuild, laid);
            Some((value, searched(&judge, closed, now)))
        })
        .collect();
    intervals.extend(found);
}

/// The worst slack of the design with `value` changed.
fn judge(case: &Case, value: Value, to: f64, rebuild: Rebuild, laid: Laid) -> (Bound, f64) {
    let mut order = case.order.clone();
    order.support.ask(value, to);
    let Some(footbed) = rebuild(&order) else { return (Bound::OUTLINE, -1.0) };
    let read_back = gauge::read_design(&footbed);
    let changed = Case { order: &order, footbed: &footbed, read_back: &read_back, ..*case };
    let slacks = Field::new(&changed).slacks().into_iter().chain(shop::size_slacks(&changed));
    worst(slacks.chain(laid(&footbed).iter().filter_map(lack)))
}

/// By how much a stop is broken; at least by so much that it counts.
fn lack(stop: &Finding) -> Option<(Bound, f64)> {
    let by = (stop.severity == Severity::Stop).then(|| stop.measured.zip(stop.allowed)).flatten();
    by.map(|(measured, allowed)| (Bound::of(stop.limit), -(measured - allowed).abs().max(2.0 * ROUNDING)))
}

fn worst(slacks: impl Iterator<Item = (Bound, f64)>) -> (Bound, f64) {
    slacks.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((Bound::RANGE, f64::INFINITY))
}

/// What may be asked of the flex zone: with a flat underside only what the top leaves; with a
/// relieved one anything from the material's least up to where asked and made part.
pub(super) fn flex_zone_interval(case: &Case) -> Interval {
    const RESULT: Bound = Bound::of("flex_zone_thickness");
    let solid = flex_zone_mm(case.footbed, footbed::Underside::Flat);
    if case.make.underside == Underside::Flat {
        return Interval::between(solid, solid, RESULT).and(writable(Value::FlexZoneThickness));
    }
    let least = Bound::in_part("least_thickness", Zone::Flex.words());
    let closed = Interval::at_least(least_mm(case, Zone::Flex), least)
        .and(Interval::at_most(solid, RESULT))
        .and(writable(Value::FlexZoneThickness));
    let stabiliser_share = case.order.support.stabiliser_share;
    let agrees = |left_mm: f64| {
        let made = flex_zone_mm(case.footbed, footbed::Underside::Relieved { left_mm, stabiliser_share });
        (RESULT, FLEX_AGREE_MM - (left_mm - made).abs())
    };
    searched(&agrees, closed, case.order.support.flex_zone_thickness_mm.unwrap_or(closed.lo))
}

/// The least thickness along the flex zone with this underside, mm.
fn flex_zone_mm(footbed: &Footbed, underside: footbed::Underside) -> f64 {
    let (top, under) = (|p| Some(footbed.top_at(p)), |p| Some(footbed.underside_if(underside, p)));
    let piece = Piece { top: &top, underside: &under, outline: &footbed.outline };
    gauge::flex_zone(&footbed.places, piece).map_or(f64::NAN, |least| least.thickness_mm)
}

/// The part of `closed` around `now`, or around the passing value nearest to it, where all passes.
fn searched(judge: Judge, closed: Interval, now: f64) -> Interval {
    if closed.is_empty() {
        return closed;
    }
    let now = now.clamp(closed.lo, closed.hi);
    let (by, slack) = judge(now);
    let (start, [low, high]) = match slack >= -ROUNDING {
        true => ((now, slack), [closed.lo, closed.hi]),
        false => match nearest_passing(judge, closed, now) {
            Some(found) => found,
            None => return Interval { found: Found::Searched, ..Interval::none(by) },
        },
    };
    let ((lo, low_by), (hi, high_by)) =
        rayon::join(|| end(judge, start, low, closed.by[0]), || end(judge, start, high, closed.by[1]));
    Interval { lo, hi, by: [low_by, high_by], found: Found::Searched }
}

/// Of values spread over the whole range the passing one nearest to `now`, with its slack, and how
/// far its surroundings are to be searched.
fn nearest_passing(judge: Judge, closed: Interval, now: f64) -> Option<((f64, f64), [f64; 2])> {
    let step = (closed.hi - closed.lo) / (TRIED - 1) as f64;
    let tried: Vec<(f64, f64)> =
        (0..TRIED).into_par_iter().map(|k| closed.lo + step * k as f64).map(|to| (to, judge(to).1)).collect();
    let passing = tried.into_iter().filter(|(_, slack)| *slack >= -ROUNDING);
    let start = passing.min_by(|a, b| (a.0 - now).abs().total_cmp(&(b.0 - now).abs()))?;
    // Towards `now` the next value tried does not pass, so the search need not go beyond it.
    let ends = if start.0 > now { [now.max(start.0 - step), closed.hi] } else { [closed.lo, now.min(start.0 + step)] };
    Some((start, ends))
}

/// The farthest value from `start` toward `to` before which all passes, and what ends it: the name
/// given when that is `to` itself. False position with the Illinois rule (Dowell and Jarratt 1971,
/// from memory), and a bisection whenever that has not halved the bracket.
fn end(judge: Judge, start: (f64, f64), to: f64, ends_by: Bound) -> (f64, Bound) {
    let ((mut good, mut spare), (mut by, mut lack)) = (start, judge(to));
    let mut bad = to;
    if lack >= -ROUNDING {
        // Both ends pass; a limit that is broken only between them would show half way.
        bad = 0.5 * (good + to);
        (by, lack) = judge(bad);
        if lack >= -ROUNDING {
            return (to, ends_by);
        }
    }
    let mut bisect = false;
    for _ in 0..MOST_DESIGNS {
        let bracket = bad - good;
        if bracket.abs() <= BRACKET_MM {
            break;
        }
        let share = if bisect { 0.5 } else { (spare / (spare - lack)).clamp(0.02, 0.98) };
        let at = good + share * bracket;
        let (limit, slack) = judge(at);
        if slack >= -ROUNDING {
            (good, spare, lack) = (at, slack.max(0.0), 0.5 * lack);
        } else {
            (bad, lack, by, spare) = (at, slack, limit, 0.5 * spare);
        }
        bisect = !bisect && (bad - good).abs() > 0.5 * bracket.abs();
    }
    (good, by)
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: Bound = Bound::of("blank_height");
    const B: Bound = Bound::of("steepest_wall");

    fn closed(lo: f64, hi: f64) -> Interval {
        Interval::between(lo, hi, Bound::RANGE)
    }

    /// The curved limit x^2 <= 10 and the straight one x >= -1, from a value that passes.
    #[test]
    fn ends_are_closed_in_on_from_inside() {
        let judge = |x: f64| worst([(A, 10.0 - x * x), (B, x + 1.0)].into_iter());
        let found = searched(&judge, closed(-50.0, 300.0), 0.5);
        let root = 10.0_f64.sqrt();
        assert!(found.hi <= root && root - found.hi <= SEARCHED_MM, "{found:?}");
        assert!(found.lo >= -1.0 - 1e-6 && found.lo + 1.0 <= SEARCHED_MM, "{found:?}");
        assert_eq!(found.by, [B, A]);
        let free = searched(&judge, closed(-0.5, 2.0), 0.5);
        assert_eq!((free.lo, free.hi, free.by), (-0.5, 2.0, [Bound::RANGE; 2]));
    }

    #[test]
    fn from_a_value_that_does_not_pass_the_nearest_that_does_is_found() {
        let judge = |x: f64| worst([(A, x - 7.0), (B, 12.0 - x)].into_iter());
        let found = searched(&judge, closed(0.0, 40.0), 1.0);
        assert!((found.lo - 7.0).abs() <= SEARCHED_MM && (found.hi - 12.0).abs() <= SEARCHED_MM, "{found:?}");
        let nowhere = searched(&|_| (A, -1.0), closed(0.0, 40.0), 1.0);
        assert!(nowhere.is_empty() && nowhere.by == [A; 2]);
    }

    #[test]
    fn a_gap_in_the_middle_ends_the_interval() {
        let judge = |x: f64| (A, (x - 5.0).abs() - 1.0);
        let found = searched(&judge, closed(0.0, 10.0), 0.0);
        assert!((found.hi - 4.0).abs() <= SEARCHED_MM, "{found:?}");
    }
}
