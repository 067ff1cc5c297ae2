//! The least change of several values together that settles every stop they can settle: what to do
//! when no one value passes alone. Sizes, cup width and flex zone are held, save where nothing else would do (`held`).
//!
//! A linear program and not least squares: a sum of absolute changes leaves most values as they are
//! and moves few, as a fitter does, who changes one thing at a time; least squares would move all
//! of them a little. The places looked at are thousands and bind at a handful, so only those that
//! an answer breaks are handed to the next (the cutting planes of Kelley 1960, from memory); a
//! slope's round limit is handed over as its tangent there.

use serde::Serialize;

use super::field::{Allowed, Floor, Moves, Moving, STEEP, Seen};
use super::held::{self, Changed};
use super::interval::{Bound, Found, Intervals};
use super::line::{Amounts, Line, amount_of, dot, only, own_unit};
use super::lp::{NoChange, least_change};
use super::search::{Rebuild, search};
use super::{Case, Finding, Severity, alone, order};
use crate::footbed::{Footbed, SHAPING};
use crate::value::Value;

/// More rounds of cutting planes than this are none: each adds the worst places of the last answer,
/// and ten are many.
const MOST_ROUNDS: usize = 60;
/// In one round the worst place of every stretch of the foot this long is handed over, mm.
const STRETCH_MM: f64 = 20.0;
/// A place is kept with this much to spare, mm and mm per mm, so that the solver's own tolerance and
/// the places' least weights, which it does not see, do not break it.
const SPARE: f64 = 2e-5;
/// A line with less to spare than this at the least change is what bounds it, mm.
const BINDING: f64 = 1e-3;
/// Below this a value has not changed, mm and deg.
const UNCHANGED: f64 = 1e-4;
/// Changed values are written in tenths where tenths pass, else in hundredths, else in thousandths.
const STEPS: [f64; 3] = [10.0, 100.0, 1000.0];

/// What several values together can do about a foot's stops.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Repair {
    /// These changes pass.
    Change(Change),
    /// Nothing passes.
    Never(Contradiction),
}

/// The least change that passes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// What to change, in the order of tables; empty where the values can do nothing about what stops.
    pub changes: Vec<ValueChange>,
    /// The sum of weighted changes as written, and at its least.
    pub cost: f64,
    /// The same for the exact answer, before it was rounded to what is written.
    pub least_cost: f64,
    /// The limits that the exact answer lies at.
    pub bound_by: Vec<Bound>,
    /// Stops that stay, as none of these values moves them.
    pub left: Vec<&'static str>,
    /// Exact: no smaller change passes. Searched: a size was moved to an end that only other designs tell; it passes, and
    /// whether another size together with others would cost less was not looked for.
    pub found: Found,
    /// Other changes of one value each that pass as well, by themselves; the least first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub alone: Vec<ValueChange>,
}

/// One value's share of a change, in its own unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ValueChange {
    pub value: Value,
    pub from: f64,
    /// Rounded to what a fitter writes, the others with it so that all pass.
    pub to: f64,
    /// The exact answer.
    pub least: f64,
}

/// Limits of which no change of the values meets all, and each smaller part of which could be met.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contradiction {
    /// The limits.
    pub contradiction: Vec<Bound>,
    /// What else would help, in words.
    pub help: Vec<&'static str>,
}

/// What of a changed footbed shows only in its blank: what stops it there, and where turning it over needs height.
pub type Relaid<'a> = &'a (dyn Fn(&Footbed) -> (Vec<Finding>, Vec<Floor>) + Sync);

/// What the values together can do about what stops this foot; `None` when nothing stops it. `findings` is all that
/// was found, also about how the pieces lie, `intervals` how far each value may go; `rebuild` makes the changed footbed and
/// `relaid` lays it. It is looked at with [`super::check`] before it is told.
///
/// Where one value passes by itself at no greater cost than several together, it is that one. Else sizes, cup width and
/// flex zone go as far as limits of their own ask, then the shaping values as far as the rest does. What is left then
/// may be how the piece lies, which one size more can settle.
pub fn repair(
    case: &Case,
    findings: &[Finding],
    intervals: &Intervals,
    rebuild: Rebuild,
    relaid: Relaid,
) -> Option<Repair> {
    let found = stops(findings);
    if found.is_empty() {
        return None;
    }
    // Of what is neither of the values nor of how the piece lies nothing is settled here.
    let of_values = [stops(&super::check(case).0), stops(&relaid(case.footbed).0)].concat();
    let others: Vec<&'static str> = found.into_iter().filter(|limit| !of_values.contains(limit)).collect();
    let start = held::settled(case, rebuild);
    let mut best = shaped(case, &start, rebuild, relaid);
    // How a pair lies is not for one foot to settle.
    let settles = |left: &[&str]| left.iter().all(|limit| *limit == "pair_in_blank");
    if !best.as_ref().is_ok_and(|(_, left, _)| settles(left)) {
        let from = best.as_ref().map_or(&start, |(_, _, after)| after);
        let again = by_one_more(case, from, rebuild, relaid);
        best = match (best, again) {
            (Ok(best), Some(again)) if again.1.len() >= best.1.len() => Ok(best),
            (_, Some(again)) => Ok(again),
            (best, None) => best,
        };
    }
    let singles = alone::passing(case, intervals, rebuild, relaid);
    Some(match alone::or_alone(best.map(|(change, left, _)| (change, left)), singles) {
        Ok((change, left)) => Repair::Change(Change { left: each_once(left.into_iter().chain(others)), ..change }),
        Err(NotShaped::Never(contradiction)) => Repair::Never(contradiction),
        Err(NotShaped::Lost) => return None,
    })
}

/// What the shaping values do once the one size, or the cup's width, that costs least is moved to where it settles by
/// itself what still stops the order as `from` has it.
fn by_one_more(case: &Case, from: &Changed, rebuild: Rebuild, relaid: Relaid) -> Option<Shaped> {
    let stopped = from.case(case);
    let mut intervals = super::check(&stopped).1;
    search(&stopped, &mut intervals, rebuild, &|footbed| relaid(footbed).0);
    let moved = held::nearest_move(from, &intervals, rebuild)?.with_shape_of(case, rebuild)?;
    let (change, left, after) = shaped(case, &moved, rebuild, relaid).ok()?;
    Some((Change { found: Found::Searched, ..change }, left, after))
}

/// A change of values, what it leaves, and the changed order.
type Shaped = (Change, Vec<&'static str>, Changed);

/// Why the shaping values do not settle what stops.
pub(super) enum NotShaped {
    Never(Contradiction),
    /// The solver gave up, or there is no design.
    Lost,
}

/// The least change of the shaping values that settles what they can of the order as `held` has it; with it what still
/// stops, and the changed order.
fn shaped(case: &Case, held: &Changed, rebuild: Rebuild, relaid: Relaid) -> Result<Shaped, NotShaped> {
    let from = held.case(case);
    let floors = relaid(from.footbed).1;
    let moving = Moving::new(&from);
    let mut known = Known::new(&from, &moving, &floors);
    let exact = match known.least(&[]) {
        Ok(exact) => exact,
        Err(NoChange::Contradiction(lines)) => return Err(NotShaped::Never(known.contradiction(&lines))),
        Err(NoChange::Lost) => return Err(NotShaped::Lost),
    };
    let written = known.written(&exact);
    let tidied = tidied(&moving.amounts, &exact).filter(|tidied| known.cost(tidied) < known.cost(&written));
    let (exact, written, after) =
        match tidied.and_then(|tidied| passes_at(case, held, &moving, &tidied, rebuild, relaid)) {
            Some((tidied, after)) => (tidied, tidied, Some(after)),
            None => (exact, written, None),
        };
    let mut changes = changes(&moving.amounts, &written, &exact);
    let bound_by = if changes.is_empty() { vec![] } else { known.binding(&exact) };
    let bound_by = each_once(bound_by.into_iter().chain(held.held.iter().map(|(_, by)| *by)));
    let after = after.or_else(|| held.asking(&settings_of(&changes), rebuild)).ok_or(NotShaped::Lost)?;
    let left = after.stops(case, relaid);
    let (cost, least_cost) = held.cost();
    let (cost, least_cost) = (cost + known.cost(&written), least_cost + known.cost(&exact));
    changes.extend(held.held.iter().map(|(change, _)| *change));
    changes.sort_by_key(|change| change.value);
    let change = Change { changes, cost, least_cost, bound_by, left: vec![], found: Found::Exact, alone: vec![] };
    Ok((change, left, after))
}

/// The exact answer with what lies within the solver's spare of a tenth put on it; `None` where a changed value does not.
fn tidied(from: &Amounts, exact: &Amounts) -> Option<Amounts> {
    const NEAR: f64 = 1e-3;
    let mut tidied = *exact;
    for (k, value) in SHAPING.into_iter().enumerate() {
        let (now, own) = (own_unit(value, from[k]), own_unit(value, exact[k]));
        if (own - now).abs() > UNCHANGED {
            let tenth = (own * STEPS[0]).round() / STEPS[0];
            if (own - tenth).abs() > NEAR {
                return None;
            }
            tidied[k] = amount_of(value, tenth);
        }
    }
    Some(tidied)
}

/// The changed order, where these amounts stop nothing at all.
fn passes_at(
    case: &Case,
    held: &Changed,
    moving: &Moving,
    amounts: &Amounts,
    rebuild: Rebuild,
    relaid: Relaid,
) -> Option<(Amounts, Changed)> {
    let after = held.asking(&settings_of(&changes(&moving.amounts, amounts, amounts)), rebuild)?;
    after.stops(case, relaid).is_empty().then_some((*amounts, after))
}

fn settings_of(changes: &[ValueChange]) -> Vec<(Value, f64)> {
    changes.iter().map(|change| (change.value, change.to)).collect()
}

pub(super) fn stops(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().filter(|f| f.severity == Severity::Stop).map(|f| f.limit).collect()
}

/// What each unit of amount costs: a weight is per mm, or per degree as the tangent of one degree.
pub(super) fn prices(case: &Case) -> Amounts {
    SHAPING.map(|value| case.order.support.change_weights.get(&value).map_or(1.0, |w| w / amount_of(value, 1.0)))
}

fn changes(from: &Amounts, to: &Amounts, exact: &Amounts) -> Vec<ValueChange> {
    let own = |amounts: &Amounts, k: usize| own_unit(SHAPING[k], amounts[k]);
    let all = (0..SHAPING.len()).map(|k| ValueChange {
        value: SHAPING[k],
        from: own(from, k),
        to: tidy(own(to, k)),
        least: own(exact, k),
    });
    let mut changed: Vec<ValueChange> = all.filter(|c| (c.to - c.from).abs() > UNCHANGED).collect();
    changed.sort_by_key(|change| change.value);
    changed
}

/// Without the last digits that arithmetic leaves, and without a minus before nothing.
fn tidy(x: f64) -> f64 {
    (x * 1e6).round() / 1e6 + 0.0
}

/// The lines that are known so far, and the places from which more are made.
struct Known<'a> {
    moving: &'a Moving,
    price: Amounts,
    lines: Vec<Line>,
}

impl<'a> Known<'a> {
    fn new(case: &Case, moving: &'a Moving, floors: &[Floor]) -> Known<'a> {
        let mut lines = order::lines(case);
        for value in SHAPING {
            let range = order::writable(value);
            lines.push(Line::at_least(only(value), amount_of(value, range.lo), Bound::RANGE));
            lines.push(Line::at_most(only(value), amount_of(value, range.hi), Bound::RANGE));
        }
        lines.extend(floors.iter().map(|floor| {
            let weights = std::array::from_fn(|k| case.footbed.responses.get(k).map_or(0.0, |r| r.height(floor.at)));
            Line::at_least(weights, floor.least_mm - case.footbed.relief_at(floor.at).0 + SPARE, floor.by)
        }));
        Known { moving, price: prices(case), lines }
    }

    fn cost(&self, amounts: &Amounts) -> f64 {
        let moved: Amounts = std::array::from_fn(|k| (amounts[k] - self.moving.amounts[k]).abs());
        dot(&self.price, &moved)
    }

    /// The least change that meets all, and `also` these.
    fn least(&mut self, also: &[Line]) -> Result<Amounts, NoChange> {
        for _ in 0..MOST_ROUNDS {
            let lines: Vec<Line> = self.lines.iter().chain(also).copied().collect();
            let amounts = least_change(&self.moving.amounts, &self.price, &lines)?;
            let broken = self.broken(&amounts, 0.5 * SPARE);
            if broken.is_empty() {
                return Ok(amounts);
            }
            self.lines.extend(broken);
        }
        Err(NoChange::Lost)
    }

    /// The worst line of every limit in every stretch of the foot that these amounts break by more
    /// than `by`.
    fn broken(&self, amounts: &Amounts, by: f64) -> Vec<Line> {
        let mut worst: Vec<((Bound, i64), f64, Line)> = vec![];
        for (seen, moves) in self.moving.field.seen.iter().zip(&self.moving.moves) {
            for line in lines_at(&self.moving.field.allowed, seen, moves, amounts) {
                let slack = line.slack(amounts);
                if slack >= -by {
                    continue;
                }
                let key = (line.by, (seen.at.y / STRETCH_MM) as i64);
                match worst.iter_mut().find(|(known, ..)| *known == key) {
                    Some((_, least, kept)) if slack < *least => (*least, *kept) = (slack, line),
                    Some(_) => {}
                    None => worst.push((key, slack, line)),
                }
            }
        }
        worst.into_iter().map(|(_, _, line)| line).collect()
    }

    /// What the exact answer lies at, each limit once.
    fn binding(&self, amounts: &Amounts) -> Vec<Bound> {
        each_once(self.lines.iter().filter(|line| line.slack(amounts) < BINDING).map(|line| line.by))
    }

    /// The answer in tenths: one changed value after the other is set to the nearer of the two
    /// tenths beside it with which the rest can still pass.
    fn written(&mut self, exact: &Amounts) -> Amounts {
        let mut now = *exact;
        let mut set: Vec<Line> = vec![];
        let mut done = [false; SHAPING.len()];
        while let Some(k) = (0..SHAPING.len()).find(|&k| !done[k] && self.is_changed(&now, k)) {
            done[k] = true;
            let best = STEPS.into_iter().find_map(|step| self.rounded(&now, k, step, &set));
            if let Some((pair, amounts)) = best {
                set.extend(pair);
                now = amounts;
            }
        }
        now
    }

    fn is_changed(&self, amounts: &Amounts, k: usize) -> bool {
        let own = |amounts: &Amounts| own_unit(SHAPING[k], amounts[k]);
        (own(amounts) - own(&self.moving.amounts)).abs() > UNCHANGED
    }

    /// Value `k` at one of the two steps beside it, and the least change with it there.
    fn rounded(&mut self, now: &Amounts, k: usize, step: f64, set: &[Line]) -> Option<([Line; 2], Amounts)> {
        let value = SHAPING[k];
        let own = own_unit(value, now[k]) * step;
        // What the solver leaves of a whole step is the step.
        let own = if (own - own.round()).abs() < 1e-4 { own.round() } else { own };
        let tried = [own.floor(), own.ceil()].into_iter().filter_map(|at| {
            let (at, weights) = (amount_of(value, at / step), only(value));
            let pair = [Line::at_least(weights, at, Bound::RANGE), Line::at_most(weights, at, Bound::RANGE)];
            let also: Vec<Line> = set.iter().chain(&pair).copied().collect();
            let mut amounts = self.least(&also).ok()?;
            amounts[k] = at;
            let moved = (0..SHAPING.len()).filter(|&k| self.is_changed(&amounts, k)).count();
            Some((pair, amounts, (moved, self.cost(&amounts))))
        });
        // Rather a little more of one value than another value changed as well.
        tried.min_by(|a, b| a.2.0.cmp(&b.2.0).then(a.2.1.total_cmp(&b.2.1))).map(|(pair, amounts, _)| (pair, amounts))
    }

    fn contradiction(&self, lines: &[usize]) -> Contradiction {
        let contradiction = each_once(lines.iter().filter_map(|&at| self.lines.get(at)).map(|line| line.by));
        let help = each_once(contradiction.iter().filter_map(|bound| help(bound.limit)));
        Contradiction { contradiction, help }
    }
}

/// The limits of one place as lines: floor, ceiling, and the slope's tangent in the direction in
/// which the top falls there.
fn lines_at(allowed: &Allowed, seen: &Seen, moves: &Moves, amounts: &Amounts) -> Vec<Line> {
    let (floor, low) = allowed.floor(seen.zone);
    let (ceiling, high) = allowed.ceiling;
    let (held, held_slope) = moves.held;
    let mut lines = vec![
        Line::at_least(moves.height, floor - held + SPARE, low),
        Line::at_most(moves.height, ceiling - held - SPARE, high),
    ];
    let grad = moves.slope.iter().zip(amounts).fold(held_slope, |sum, (g, a)| sum + g * *a);
    if grad.norm() > allowed.steepest - SPARE {
        let along = grad / grad.norm();
        lines.push(Line::at_most(
            moves.slope.map(|g| g.dot(&along)),
            allowed.steepest - held_slope.dot(&along) - SPARE,
            STEEP,
        ));
    }
    lines
}

fn each_once<T: PartialEq>(all: impl IntoIterator<Item = T>) -> Vec<T> {
    all.into_iter().fold(vec![], |mut once, next| {
        if !once.contains(&next) {
            once.push(next);
        }
        once
    })
}

/// What else than these values would move a limit.
fn help(limit: &str) -> Option<&'static str> {
    Some(match limit {
        "blank_height" => "a higher blank, or this one measured",
        "least_thickness" => "a firmer material, which may be thinner",
        "steepest_wall" => "a wider heel_width, a narrower heel_cup_width, or a material that holds steeper walls",
        "cutter_reach" => "a longer cutter",
        "skin_hold" => "a thinner skin, or hold = \"tabs\"",
        "pin_height" => "lower pins, or turning = \"edges\"",
        "heel_rise" | "ball_rise" | "ramp_change" => {
            "another cover, the stock insole measured again, or a reason typed"
        }
        "medial_arch" | "rearfoot_post" => "a reason typed",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Shelf;
    use crate::{curve, footbed, gauge, ticket};
    use std::fmt::Write;

    /// The programs of random tickets with our answers, one a line, for `.ci/outside/program.py`: prices;
    /// start; our answer or nothing; then seven weights and the least of every line. All lines go out, not
    /// only those that the cutting planes chose: of every fifth place floor and ceiling, and the slopes' tangents that were met.
    #[test]
    fn programs_are_handed_on() {
        let mut out = String::new();
        let (mut solved, mut never) = (0, 0);
        for seed in 1..=24 {
            let Some((known, answer)) = program(seed) else { continue };
            let fields = known.moving.field.seen.iter().zip(&known.moving.moves).step_by(5);
            let flat = |(seen, moves): (&Seen, &Moves)| {
                let lines = lines_at(&known.moving.field.allowed, seen, moves, &Amounts::default());
                lines.into_iter().take(2).collect::<Vec<_>>()
            };
            let lines: Vec<Line> = known.lines.iter().copied().chain(fields.flat_map(flat)).collect();
            if let Some(answer) = &answer {
                assert!(lines.iter().all(|line| line.slack(answer) > -1e-4));
                solved += 1;
            } else {
                never += 1;
            }
            let numbers = |all: &[f64]| all.iter().map(f64::to_string).collect::<Vec<_>>().join(" ");
            let answer = answer.map_or(String::new(), |answer| numbers(&answer));
            write!(out, "{};{};{answer}", numbers(&known.price), numbers(&known.moving.amounts)).unwrap();
            lines.iter().for_each(|line| write!(out, ";{} {}", numbers(&line.weights), line.least).unwrap());
            out.push('\n');
        }
        assert!(solved > 8 && never > 1, "{solved} solved, {never} never");
        if let Ok(folder) = std::env::var("SUSTENT_OUTSIDE") {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(std::path::Path::new(&folder).join("programs.txt"), out).unwrap();
        }
    }

    /// A ticket with values drawn by a linear congruence (Knuth's MMIX constants), and the least change
    /// that meets its limits.
    fn program(seed: u64) -> Option<(Known<'static>, Option<Amounts>)> {
        let text = include_str!("../../output-samples/PATROL-07/ticket.toml");
        let mut ticket = ticket::read(text, "t", &Shelf::built_in(), &|_: &str| Err(String::new())).unwrap();
        let mut state = seed;
        let mut draw = |lo: f64, hi: f64| {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            lo + (hi - lo) * ((state >> 11) as f64 / (1_u64 << 53) as f64)
        };
        let spans = [(2.0, 8.0), (6.0, 20.0), (-8.0, 8.0), (5.0, 26.0), (0.0, 9.0), (0.0, 4.0), (1.5, 7.0)];
        ticket.make.blank.height_mm = draw(18.0, 34.0);
        if seed.is_multiple_of(4) {
            // A reach that no heel of this boot meets.
            ticket.make.finishing.stickout_mm = ticket.make.blank.height_mm - draw(7.0, 9.0);
        }
        let mut order = ticket.feet[0].clone();
        SHAPING.into_iter().zip(spans).for_each(|(value, (lo, hi))| order.support.ask(value, draw(lo, hi)));
        let outline = curve::outline_from_measures(&order.trim_measures()).ok()?;
        let (length, flat) = (order.foot.length_mm(), footbed::Underside::Flat);
        let footbed = footbed::Footbed::build(outline, length, &order.support, flat).ok()?;
        let read_back = gauge::read_design(&footbed);
        let case =
            Case { make: &ticket.make, boot: &ticket.boot, order: &order, footbed: &footbed, read_back: &read_back };
        // Handed on with its lines; one a ticket, for a test's length.
        let moving: &'static Moving = Box::leak(Box::new(Moving::new(&case)));
        let mut known = Known::new(&case, moving, &[]);
        let answer = known.least(&[]).ok();
        Some((known, answer))
    }
}
