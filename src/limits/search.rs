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
const BRACKET_MM: f64 = 0.8 * SEARCHED_MM;
/// A design is made this far beyond the place at which a limit is expected, so that it becomes the bracket's
/// other end and two good guesses end the search, mm.
const BEYOND_MM: f64 = 0.4 * BRACKET_MM;
/// After so many guesses in a row that leave more than half of the bracket it is halved.
const SLOW: usize = 2;
/// A search ends after so many designs whatever it has found; bisection alone needs 16 for 300 mm.
const MOST_DESIGNS: usize = 40;
/// Where the value as it stands does not pass, so many values over its whole range are tried.
const TRIED: usize = 9;

/// Makes the footbed of a changed order; `None` when there is none.
pub type Rebuild<'a> = &'a (dyn Fn(&FootOrder) -> Option<Footbed> + Sync);

/// The slack of every limit at a value; negative where one is broken.
type Judge<'a> = &'a (dyn Fn(f64) -> Slacks + Sync);
/// Limits with how far they are kept, in units of their own.
type Slacks = Vec<(Bound, f64)>;

/// What stops a changed footbed as it would lie in its blank.
pub type Laid<'a> = &'a (dyn Fn(&Footbed) -> Vec<Finding> + Sync);

/// Closes in on the ends that need other designs. `intervals` are those of [`super::check`].
pub fn search(case: &Case, intervals: &mut Intervals, rebuild: Rebuild, laid: Laid) {
    let values = [Value::HeelCupWidth, Value::Length, Value::BallWidth, Value::HeelWidth];
    let as_it_stands = slacks(case, laid);
    let found: Vec<(Value, Interval)> = values
        .into_par_iter()
        .filter(|&value| value == Value::HeelCupWidth || case.order.traced.is_none())
        .filter_map(|value| {
            let closed = *intervals.get(&value)?;
            let asked = case.order.asked(value);
            // A cup width that is not asked begins at what the design makes of it.
            let now = asked.or(case.read_back.get(&value).copied())?;
            let judge = |to: f64| match asked == Some(to) {
                true => as_it_stands.clone(),
                false => judge(case, value, to, rebuild, laid),
            };
            Some((value, searched(&judge, closed, now)))
        })
        .collect();
    intervals.extend(found);
}

/// The slacks of the design with `value` changed.
fn judge(case: &Case, value: Value, to: f64, rebuild: Rebuild, laid: Laid) -> Slacks {
    let mut order = case.order.clone();
    order.support.ask(value, to);
    let Some(footbed) = rebuild(&order) else { return vec![(Bound::OUTLINE, -1.0)] };
    let read_back = gauge::read_widths(&footbed);
    slacks(&Case { order: &order, footbed: &footbed, read_back: &read_back, ..*case }, laid)
}

fn slacks(case: &Case, laid: Laid) -> Slacks {
    let mut slacks = Field::new(case).slacks();
    slacks.extend(shop::size_slacks(case));
    slacks.extend(laid(case.footbed).iter().filter_map(lack));
    slacks
}

/// By how much a stop is broken; at least by so much that it counts.
fn lack(stop: &Finding) -> Option<(Bound, f64)> {
    let by = (stop.severity == Severity::Stop).then(|| stop.measured.zip(stop.allowed)).flatten();
    by.map(|(measured, allowed)| (Bound::of(stop.limit), -(measured - allowed).abs().max(2.0 * ROUNDING)))
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
        vec![(RESULT, FLEX_AGREE_MM - (left_mm - made).abs())]
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
    let start = Judged::new(judge, now.clamp(closed.lo, closed.hi));
    let (start, [low, high]) = match start.passes() {
        true => (start, [closed.lo, closed.hi]),
        false => match nearest_passing(judge, closed, start.at) {
            Some(found) => found,
            None => return Interval { found: Found::Searched, ..Interval::none(start.worst().0) },
        },
    };
    let ((lo, low_by), (hi, high_by)) =
        rayon::join(|| end(judge, &start, low, closed.by[0]), || end(judge, &start, high, closed.by[1]));
    Interval { lo, hi, by: [low_by, high_by], found: Found::Searched }
}

/// Of values spread over the whole range the passing one nearest to `now`, and how far its surroundings are to be
/// searched.
fn nearest_passing(judge: Judge, closed: Interval, now: f64) -> Option<(Judged, [f64; 2])> {
    let step = (closed.hi - closed.lo) / (TRIED - 1) as f64;
    let tried: Vec<Judged> =
        (0..TRIED).into_par_iter().map(|k| Judged::new(judge, closed.lo + step * k as f64)).collect();
    let passing = tried.into_iter().filter(Judged::passes);
    let start = passing.min_by(|a, b| (a.at - now).abs().total_cmp(&(b.at - now).abs()))?;
    // Towards `now` the next value tried does not pass, so the search need not go beyond it.
    let (before, after) = (now.max(start.at - step), now.min(start.at + step));
    let ends = if start.at > now { [before, closed.hi] } else { [closed.lo, after] };
    Some((start, ends))
}

/// A value that was looked at.
#[derive(Clone)]
struct Judged {
    at: f64,
    slacks: Slacks,
}

impl Judged {
    fn new(judge: Judge, at: f64) -> Judged {
        Judged { at, slacks: judge(at) }
    }

    fn passes(&self) -> bool {
        self.broken().next().is_none()
    }

    /// A slack that is no number counts as broken.
    fn broken(&self) -> impl Iterator<Item = (Bound, f64)> {
        self.slacks.iter().copied().filter(|&(_, slack)| slack.is_nan() || slack < -ROUNDING)
    }

    fn worst(&self) -> (Bound, f64) {
        let worst = self.slacks.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1));
        worst.unwrap_or((Bound::RANGE, f64::INFINITY))
    }

    /// The slack of one limit, where it is known; a limit of how pieces lie is known only where it is broken.
    fn slack(&self, by: Bound) -> Option<f64> {
        self.slacks.iter().filter(|own| own.0 == by && own.1.is_finite()).map(|own| own.1).min_by(f64::total_cmp)
    }
}

/// The farthest value from `start` toward `to` before which all passes, and what ends it: the name given when that is
/// `to` itself.
fn end(judge: Judge, start: &Judged, to: f64, ends_by: Bound) -> (f64, Bound) {
    let mut bad = Judged::new(judge, to);
    if bad.passes() {
        // Both ends pass; a limit that is broken only between them would show half way.
        bad = Judged::new(judge, 0.5 * (start.at + to));
        if bad.passes() {
            return (to, ends_by);
        }
    }
    let mut between = Between { good: start.clone(), bad, before: None };
    let mut slow = 0;
    for _ in 0..MOST_DESIGNS {
        let width = between.width().abs();
        if width <= BRACKET_MM {
            break;
        }
        let share = if slow < SLOW { between.guess() } else { 0.5 };
        between.narrow(Judged::new(judge, between.good.at + share * between.width()));
        slow = if between.width().abs() > 0.5 * width && slow < SLOW { slow + 1 } else { 0 };
    }
    (between.good.at, between.bad.worst().0)
}

/// A value that passes and one beyond it that does not.
struct Between {
    good: Judged,
    bad: Judged,
    /// What one of the two was before it was replaced.
    before: Option<Judged>,
}

impl Between {
    fn width(&self) -> f64 {
        self.bad.at - self.good.at
    }

    fn narrow(&mut self, next: Judged) {
        let replaced = if next.passes() { &mut self.good } else { &mut self.bad };
        self.before = Some(std::mem::replace(replaced, next));
    }

    /// The share of the way from good to bad at which to look next: where the first limit is expected, or a little
    /// beyond, seen from the end that is nearer.
    fn guess(&self) -> f64 {
        let expected = self.bad.broken().map(|(by, lack)| self.expected(by, lack)).fold(1.0, f64::min);
        let beyond = BEYOND_MM / self.width().abs();
        let share = if expected < 0.5 { expected + beyond } else { expected - beyond };
        share.clamp(0.5 * beyond, 1.0 - 0.5 * beyond)
    }

    /// The share at which a limit is expected to be met: on the parabola through the three values looked at last, half
    /// way where its slack is not known.
    fn expected(&self, by: Bound, lack: f64) -> f64 {
        let Some(spare) = self.good.slack(by).filter(|_| lack.is_finite()) else { return 0.5 };
        let (spare, rise) = (spare.max(0.0), lack - spare.max(0.0));
        let bend = self.before.as_ref().and_then(|before| {
            let (t, slack) = ((before.at - self.good.at) / self.width(), before.slack(by)?);
            Some((slack - spare - t * rise) / (t * (t - 1.0)))
        });
        // spare + t rise + t (t - 1) bend = 0: one root lies between, as the slack changes its sign.
        let bend = bend.filter(|bend| bend.is_finite()).unwrap_or(0.0);
        let b = rise - bend;
        2.0 * spare / (-b + (b * b - 4.0 * bend * spare).max(0.0).sqrt()).max(f64::MIN_POSITIVE)
    }
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
        let judge = |x: f64| vec![(A, 10.0 - x * x), (B, x + 1.0)];
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
        let judge = |x: f64| vec![(A, x - 7.0), (B, 12.0 - x)];
        let found = searched(&judge, closed(0.0, 40.0), 1.0);
        assert!((found.lo - 7.0).abs() <= SEARCHED_MM && (found.hi - 12.0).abs() <= SEARCHED_MM, "{found:?}");
        let nowhere = searched(&|_| vec![(A, -1.0)], closed(0.0, 40.0), 1.0);
        assert!(nowhere.is_empty() && nowhere.by == [A; 2]);
    }

    #[test]
    fn a_gap_in_the_middle_ends_the_interval() {
        let judge = |x: f64| vec![(A, (x - 5.0).abs() - 1.0)];
        let found = searched(&judge, closed(0.0, 10.0), 0.0);
        assert!((found.hi - 4.0).abs() <= SEARCHED_MM, "{found:?}");
    }

    /// Curved, kinked and stepped limits, and one that is known only where it is broken: bisection alone would need 12
    /// designs between 0 and 30 for each.
    #[test]
    fn few_designs_close_in_on_an_end() {
        let counted = |slack: &(dyn Fn(f64) -> Slacks + Sync), root: f64, most: usize| {
            let count = std::sync::atomic::AtomicUsize::new(0);
            let judge = |x: f64| {
                count.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                slack(x)
            };
            let (end, by) = end(&judge, &Judged::new(slack, 0.0), 30.0, Bound::RANGE);
            assert!(end <= root + 1e-6 && root - end <= SEARCHED_MM && by == A, "{end} {root}");
            let count = count.into_inner();
            assert!(count <= most, "{count} designs to {root}");
        };
        counted(&|x| vec![(A, 7.3 - x)], 7.3, 3);
        counted(&|x| vec![(A, 100.0 - x * x), (B, 40.0 - x)], 10.0, 4);
        counted(&|x| vec![(A, (-0.2 * x).exp() - 0.05)], 5.0 * 20.0_f64.ln(), 10);
        counted(&|x| vec![(A, (3.0 - 0.1 * x).min(12.5 - x))], 12.5, 6);
        counted(&|x| if x > 21.37 { vec![(A, -1.0)] } else { vec![(B, 1.0)] }, 21.37, 16);
        counted(&|x| vec![(A, if x > 4.0 { f64::NAN } else { 1.0 })], 4.0, 16);
    }
}
