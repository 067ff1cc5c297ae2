//! One pass over straight legs: how fast each begins, runs and ends, so that every corner that is
//! known ahead can be met. Knows no text and no spindle.
//!
//! A controller that brakes at every corner of a finely divided path is several times slower than
//! length over feed, one that does not is a few per cent slower, so the rule for corners decides.
//! Here a corner is passed as if rounded by an arc that leaves it by the machine's junction
//! deviation d, at the speed whose centripetal acceleration is a: `v^2 = a d s / (1 - s)` with
//! `s = sin(half the angle between the legs)`, common practice in open hobby controllers, no
//! journal source; s = 1 is a straight line and s = 0 a reversal.

use super::bounds::Run;
use crate::frame::Vector3;
use crate::profile::Machine;

/// Directions whose cosine is this near to one count as the same: below this turn (0.08 deg) the
/// corner formula divides by a difference of nearly equal numbers and no machine would slow down.
const STRAIGHT: f64 = 1.0 - 1e-6;

/// One straight piece of path as the planner sees it.
#[derive(Clone, Copy, Debug)]
pub(in crate::nc) struct Leg {
    /// From start to end, mm.
    pub(in crate::nc) along: Vector3,
    /// `None`: as fast as the axes go.
    pub(in crate::nc) feed_mm_min: Option<f64>,
    /// What happens where it joins the leg before.
    pub(in crate::nc) joint: Joint,
}

/// How one leg follows another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::nc) enum Joint {
    /// At the speed the corner allows.
    Passed,
    /// From rest.
    Rest,
}

/// How each leg runs. A leg of no length takes the time of its line only.
pub(in crate::nc) fn leg_runs(legs: &[Leg], machine: &Machine) -> Vec<Run> {
    let paces: Vec<Pace> = legs.iter().filter_map(|leg| Pace::of(leg, machine)).collect();
    let corners = corner_squares(&paces, machine);
    let mut entry = 0.0;
    let mut moving = Vec::with_capacity(paces.len());
    for (i, pace) in paces.iter().enumerate() {
        let exit = exit_square(&paces, &corners, i, machine.look_ahead).min(entry + pace.gain());
        moving.push(pace.run(entry, exit).no_shorter_than(machine.line_time_s));
        entry = exit;
    }
    let mut moving = moving.into_iter();
    let still = Run::default().no_shorter_than(machine.line_time_s);
    legs.iter().map(|leg| if leg.is_still() { Some(still) } else { moving.next() }.unwrap_or_default()).collect()
}

impl Leg {
    fn is_still(&self) -> bool {
        self.along.norm() == 0.0
    }
}

/// A leg with what the machine can do along it.
struct Pace {
    direction: Vector3,
    length_mm: f64,
    speed_mm_s: f64,
    acceleration_mm_s2: f64,
    joint: Joint,
}

impl Pace {
    fn of(leg: &Leg, machine: &Machine) -> Option<Pace> {
        if leg.is_still() {
            return None;
        }
        let length_mm = leg.along.norm();
        let direction = leg.along / length_mm;
        let rate = along_axes(&machine.rate_mm_min, direction);
        Some(Pace {
            direction,
            length_mm,
            speed_mm_s: leg.feed_mm_min.map_or(rate, |feed| feed.min(rate)) / 60.0,
            acceleration_mm_s2: along_axes(&machine.acceleration_mm_s2, direction),
            joint: leg.joint,
        })
    }

    /// How much the square of the speed can change along the whole leg: v^2 = u^2 + 2 a L.
    fn gain(&self) -> f64 {
        2.0 * self.acceleration_mm_s2 * self.length_mm
    }

    /// The trapezoid (or triangle) between two squared end speeds.
    fn run(&self, entry: f64, exit: f64) -> Run {
        let (a, v) = (self.acceleration_mm_s2, self.speed_mm_s);
        let (entry_v, exit_v) = (entry.sqrt(), exit.sqrt());
        let peak_square = (self.gain() + entry + exit) / 2.0;
        let peak = if peak_square <= v * v { peak_square.sqrt() } else { v };
        let ramps_s = (2.0 * peak - entry_v - exit_v) / a;
        // What the ramps leave of the length; nothing when they meet.
        let cruise_s =
            if peak < v { 0.0 } else { ((self.length_mm - (2.0 * v * v - entry - exit) / (2.0 * a)) / v).max(0.0) };
        Run {
            seconds: ramps_s + cruise_s,
            ramps_s,
            waits_s: 0.0,
            speeds_mm_s: [entry_v, peak, exit_v],
            acceleration_mm_s2: a,
        }
    }
}

/// The greatest value along `direction` that keeps every axis within its own limit.
fn along_axes(limits: &[f64; 3], direction: Vector3) -> f64 {
    let each = limits.iter().zip(direction.iter()).filter(|(_, u)| **u != 0.0).map(|(limit, u)| limit / u.abs());
    each.fold(f64::INFINITY, f64::min)
}

/// Squared speed allowed at the start of each leg.
fn corner_squares(paces: &[Pace], machine: &Machine) -> Vec<f64> {
    let mut squares = vec![0.0; paces.len()];
    for (pair, square) in paces.windows(2).zip(squares.iter_mut().skip(1)) {
        if let [before, after] = pair {
            *square = corner_square(before, after, machine);
        }
    }
    squares
}

fn corner_square(before: &Pace, after: &Pace, machine: &Machine) -> f64 {
    if after.joint == Joint::Rest {
        return 0.0;
    }
    let slower = before.speed_mm_s.min(after.speed_mm_s);
    let onward = before.direction.dot(&after.direction);
    if onward >= STRAIGHT {
        return slower * slower;
    }
    // What the machine can do along both legs, and no more than along the change of direction: on
    // level legs that meet in a ridge the turn is all in z, whose axis is often the slowest.
    let turn = (after.direction - before.direction).normalize();
    let legs = before.acceleration_mm_s2.min(after.acceleration_mm_s2);
    let a = along_axes(&machine.acceleration_mm_s2, turn).min(legs);
    let s = ((1.0 + onward).max(0.0) / 2.0).sqrt();
    (a * machine.junction_deviation_mm * s / (1.0 - s)).min(slower * slower)
}

/// Squared speed at which leg `i` may end so that every corner among the next `look_ahead` legs,
/// and a stop at the end of the last of them, can still be met. The backward pass
/// `b_k = min(corner_k, b_(k+1) + gain_k)` unrolls into a running sum that may stop as soon as the
/// sum alone exceeds the limit found so far.
fn exit_square(paces: &[Pace], corners: &[f64], i: usize, look_ahead: usize) -> f64 {
    let mut run = 0.0;
    let mut limit = f64::INFINITY;
    for (pace, corner) in paces.iter().zip(corners).skip(i + 1).take(look_ahead) {
        limit = limit.min(corner + run);
        run += pace.gain();
        if run >= limit {
            return limit;
        }
    }
    limit.min(run)
}

#[cfg(test)]
pub(super) mod tests {
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    use super::*;
    use crate::profile::{DwellWord, EndWord};

    /// 500 mm/s^2 and 3000 mm/min on every axis, stopping at every corner.
    pub(in crate::nc::time) fn stopping() -> Machine {
        Machine {
            name: "bench".into(),
            title: "for tests".into(),
            travel_mm: [600.0, 400.0, 100.0],
            rate_mm_min: [3000.0; 3],
            acceleration_mm_s2: [500.0; 3],
            junction_deviation_mm: 0.0,
            look_ahead: 16,
            line_time_s: 0.0,
            safe_above_blank_mm: 10.0,
            spindle_rpm: [8000.0, 24000.0],
            spin_up_s: 2.0,
            dwell: DwellWord::PSeconds,
            end: EndWord::M2,
            arcs: false,
            motion_word_each_line: false,
            line_limit: 70,
            decimals: 3,
            refuses: vec![],
            bed_cut_mm: 0.0,
        }
    }

    fn feed(x: f64, y: f64, z: f64, feed: f64) -> Leg {
        Leg { along: Vector3::new(x, y, z), feed_mm_min: Some(feed), joint: Joint::Passed }
    }

    fn total(legs: &[Leg], machine: &Machine) -> f64 {
        leg_runs(legs, machine).iter().map(|run| run.seconds).sum()
    }

    /// 100 mm at 50 mm/s and 500 mm/s^2: L / v + v / a = 2 + 0.1 s. 4 mm never gets to 50 mm/s:
    /// 2 sqrt(L / a) = 0.17889 s.
    #[test]
    fn one_leg_is_a_trapezoid_or_a_triangle() {
        assert_relative_eq!(total(&[feed(100.0, 0.0, 0.0, 3000.0)], &stopping()), 2.1, epsilon = 1e-12);
        assert_relative_eq!(total(&[feed(0.0, 4.0, 0.0, 3000.0)], &stopping()), 0.178885438, epsilon = 1e-9);
    }

    /// A raster over 270 x 100 mm at 2000 mm/min: 100 passes of 270 mm, L / v + v / a each, and the
    /// 99 steps of 1 mm between them, 2 sqrt(L / a) each, with a stop at every corner: 825.5 s.
    #[test]
    fn a_raster_takes_longer_than_length_over_feed() {
        let mut legs = Vec::new();
        for pass in 0..100 {
            legs.push(feed(if pass % 2 == 0 { 270.0 } else { -270.0 }, 0.0, 0.0, 2000.0));
            if pass < 99 {
                legs.push(feed(0.0, 1.0, 0.0, 2000.0));
            }
        }
        assert_relative_eq!(total(&legs, &stopping()), 825.5, epsilon = 0.05);
    }

    /// A path cut into pieces takes as long as in one piece, and a slower axis slows a slanted leg
    /// by its share of it.
    #[test]
    fn pieces_of_a_line_are_the_line_and_axes_have_their_own_limits() {
        let mut machine = stopping();
        let pieces = vec![feed(1.0, 0.0, 0.0, 3000.0); 100];
        machine.look_ahead = 100;
        assert_relative_eq!(total(&pieces, &machine), 2.1, epsilon = 1e-9);
        let there_and_back: Vec<Leg> =
            (0..200).map(|i| feed(if i < 100 { 1.0 } else { -1.0 }, 0.0, 0.0, 3000.0)).collect();
        assert_relative_eq!(total(&there_and_back, &machine), 4.2, epsilon = 1e-9);
        machine.rate_mm_min[2] = 600.0;
        machine.acceleration_mm_s2[2] = 100.0;
        // 3-4-5: |u_z| = 0.8, so v = 600 / 60 / 0.8 = 12.5 mm/s and a = 100 / 0.8 = 125 mm/s^2.
        let slanted = Leg { feed_mm_min: None, ..feed(30.0, 0.0, 40.0, 1.0) };
        assert_relative_eq!(total(&[slanted], &machine), 50.0 / 12.5 + 12.5 / 125.0, epsilon = 1e-12);
    }

    /// With one leg known ahead a machine must be able to stop within that leg:
    /// v^2 <= 2 a L = 2 * 500 * 1, however long the straight line goes on.
    #[test]
    fn a_short_look_ahead_slows_fine_pieces() {
        let pieces = vec![feed(1.0, 0.0, 0.0, 3000.0); 100];
        let short = Machine { look_ahead: 1, ..stopping() };
        let none = Machine { look_ahead: 0, ..stopping() };
        assert_relative_eq!(total(&pieces, &none), 100.0 * 2.0 * (1.0f64 / 500.0).sqrt(), epsilon = 1e-9);
        // The middle legs start and end at sqrt(1000): accelerate to the peak
        // sqrt((2 a L + 2 * 1000) / 2) and brake again.
        let (end, peak) = (1000f64.sqrt(), 1500f64.sqrt());
        let runs = leg_runs(&pieces, &short);
        assert_relative_eq!(runs[50].seconds, 2.0 * (peak - end) / 500.0, epsilon = 1e-9);
    }

    /// A right angle with d = 0.02 mm between two axes: v^2 = a d s / (1 - s) with s = sin 45.
    #[test]
    fn corners_are_passed_at_the_speed_their_deviation_allows() {
        let machine = Machine { junction_deviation_mm: 0.02, ..stopping() };
        let legs = [feed(100.0, 0.0, 0.0, 3000.0), feed(0.0, 100.0, 0.0, 3000.0)];
        let s = 0.5f64.sqrt();
        let corner = (500.0 * 0.02 * s / (1.0 - s)).sqrt();
        // Each leg: ramp 0..50, cruise, ramp between 50 and the corner's speed.
        let ramps_mm = 50.0 * 50.0 / 1000.0 + (50.0 * 50.0 - corner * corner) / 1000.0;
        let leg_s = 50.0 / 500.0 + (50.0 - corner) / 500.0 + (100.0 - ramps_mm) / 50.0;
        assert_relative_eq!(total(&legs, &machine), 2.0 * leg_s, epsilon = 1e-9);
        // A reversal stops.
        let back = [feed(100.0, 0.0, 0.0, 3000.0), feed(-100.0, 0.0, 0.0, 3000.0)];
        assert_relative_eq!(total(&back, &machine), 4.2, epsilon = 1e-9);
        // A flat ridge between legs of slope 0.1: s = cos of the slope's angle, and the turn is all
        // in z, where this machine has 50 mm/s^2.
        let slow_z = Machine { acceleration_mm_s2: [500.0, 500.0, 50.0], ..machine };
        let ridge = [feed(10.0, 0.0, 1.0, 3000.0), feed(10.0, 0.0, -1.0, 3000.0)];
        let paces: Vec<Pace> = ridge.iter().filter_map(|leg| Pace::of(leg, &slow_z)).collect();
        let s = 0.1f64.atan().cos();
        assert_relative_eq!(corner_squares(&paces, &slow_z)[1], 50.0 * 0.02 * s / (1.0 - s), epsilon = 1e-9);
    }

    /// The same motion followed in steps of 20 microseconds: at every step the machine speeds up
    /// if, having done so, it could still brake for every corner it knows of, and brakes
    /// otherwise. No formula for trapezoids, no passes.
    fn stepped(legs: &[Leg], machine: &Machine) -> f64 {
        const DT: f64 = 20e-6;
        let paces: Vec<Pace> = legs.iter().filter_map(|leg| Pace::of(leg, machine)).collect();
        let corners: Vec<f64> = corner_squares(&paces, machine).iter().map(|square| square.sqrt()).collect();
        assert!(corners.iter().zip(&paces).all(|(v, pace)| pace.joint == Joint::Passed || *v == 0.0));
        let (mut leg, mut along, mut speed, mut now) = (0, 0.0, 0.0_f64, 0.0);
        while leg < paces.len() {
            let pace = &paces[leg];
            let quicker = (speed + pace.acceleration_mm_s2 * DT).min(pace.speed_mm_s);
            let known = (leg + machine.look_ahead + 1).min(paces.len());
            let brakes_in_time = |from: f64| {
                let mut square = from * from;
                let mut left = pace.length_mm - along - from * DT;
                for k in leg..known {
                    square -= 2.0 * paces[k].acceleration_mm_s2 * left.max(0.0);
                    let allowed = if k + 1 == known { 0.0 } else { corners[k + 1] };
                    if square > allowed * allowed + 1e-9 {
                        return false;
                    }
                    square = square.max(0.0);
                    left = paces.get(k + 1).map_or(0.0, |next| next.length_mm);
                }
                true
            };
            let slower = (speed - pace.acceleration_mm_s2 * DT).max(0.02);
            speed = if brakes_in_time(quicker) {
                quicker
            } else if brakes_in_time(speed) {
                speed
            } else {
                slower
            };
            along += speed * DT;
            now += DT;
            if along >= pace.length_mm {
                along -= pace.length_mm;
                leg += 1;
            }
        }
        now
    }

    /// Legs with their feeds (0: as fast as the axes go), and whether each begins from rest.
    pub(in crate::nc::time) type Ends = Vec<(f64, f64, f64, f64, bool)>;

    pub(in crate::nc::time) fn ends() -> impl Strategy<Value = Ends> {
        let feed = prop_oneof![1 => Just(0.0), 5 => 300.0..3000.0f64];
        let one = (-1.0..1.0f64, -1.0..1.0f64, -0.3..0.3f64, feed, proptest::bool::weighted(0.1));
        proptest::collection::vec(one, 1..30)
    }

    fn legs_of(ends: &Ends, scale: f64, along: f64) -> Vec<Leg> {
        let leg = |&(x, y, z, feed, rests): &(f64, f64, f64, f64, bool)| Leg {
            along: scale * Vector3::new(x + along, y, z),
            feed_mm_min: (feed > 0.0).then_some(feed),
            joint: if rests { Joint::Rest } else { Joint::Passed },
        };
        ends.iter().map(leg).collect()
    }

    /// Axes of different rates and accelerations.
    pub(in crate::nc::time) fn uneven(look_ahead: usize) -> Machine {
        Machine {
            junction_deviation_mm: 0.02,
            look_ahead,
            acceleration_mm_s2: [400.0, 500.0, 150.0],
            rate_mm_min: [3000.0, 2500.0, 900.0],
            ..stopping()
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        /// The planner's time is that of the machine followed step by step, within half a per cent
        /// and the few steps that the stepping loses at each end and at each stop.
        #[test]
        fn planned_time_is_stepped_time(
            ends in ends(),
            scale in 0.1..4.0f64,
            along in 0.0..6.0f64,
            look_ahead in 0usize..12,
        ) {
            let machine = uneven(look_ahead);
            let legs = legs_of(&ends, scale, along);
            let (planned, stepped) = (total(&legs, &machine), stepped(&legs, &machine));
            let stops = 1 + ends.iter().filter(|end| end.4).count();
            let lost = 0.003 * stops as f64;
            prop_assert!((planned - stepped).abs() < 0.005 * planned + lost, "planned {} stepped {}", planned, stepped);
        }
    }

    proptest! {
        /// Whoever knows more lines ahead is never slower, on no leg.
        #[test]
        fn a_longer_look_ahead_never_slows(ends in ends(), scale in 0.1..4.0f64, along in 0.0..6.0f64) {
            let legs = legs_of(&ends, scale, along);
            let runs = |look_ahead| leg_runs(&legs, &uneven(look_ahead));
            for (less, more) in [(0, 1), (1, 2), (2, 3), (3, 5), (5, 8), (8, 40)] {
                for (short, long) in runs(less).iter().zip(&runs(more)) {
                    prop_assert!(long.seconds <= short.seconds * (1.0 + 1e-9), "{less} {more}: {short:?} {long:?}");
                }
            }
        }
    }
}
