//! How long a machine needs for a program, and what keeps it from being quicker: trapezoid moves
//! with junction look-ahead. Knows axis rates, accelerations and directions; knows neither text nor
//! what is cut.

mod bounds;
mod planner;

use super::{Program, Travel};
use crate::profile::Machine;
use bounds::Held;

pub use bounds::{BoundedBy, Run};
pub(super) use planner::{Joint, Leg, leg_runs};

/// How long a program takes, and on what.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timing {
    /// From the first movement at a known place to the end, s: the sum of `bounded_by`.
    pub total_s: f64,
    /// Every second of it, by what bounded the speed.
    pub bounded_by: BoundedBy,
    /// Length of all feed moves, mm.
    pub cut_length_mm: f64,
    /// Length of all rapids, mm.
    pub rapid_length_mm: f64,
    /// Most movements begun within any one second: what the controller must be able to read.
    pub busiest_second: usize,
    /// How each travel of the program runs, in its order.
    pub runs: Vec<Run>,
}

/// How long `machine` needs for `program`.
///
/// The way from wherever the tip stood before the first known place is not in it. The machine comes
/// to rest before and after a dwell and where the spindle's speed changes.
pub fn time(program: &Program, machine: &Machine) -> Timing {
    let legs = legs(program);
    let runs = leg_runs(&legs, machine);
    let length = |rapid: bool| -> f64 {
        program.travels.iter().filter(|t| t.rapid == rapid).map(|t| (t.to - t.from).norm()).sum()
    };
    let mut bounded_by = bounds_of(program, &legs, &runs, machine);
    bounded_by.dwell_s = program.dwells.iter().map(|d| d.seconds).sum();
    Timing {
        total_s: bounded_by.total_s(),
        bounded_by,
        cut_length_mm: length(false),
        rapid_length_mm: length(true),
        busiest_second: busiest_second(&runs),
        runs,
    }
}

/// The time of all runs by what bounded it; waits that were ordered are not among them.
fn bounds_of(program: &Program, legs: &[Leg], runs: &[Run], machine: &Machine) -> BoundedBy {
    let cutting = || program.travels.iter().filter(|t| !t.rapid);
    let fastest = cutting().fold(0.0, |most: f64, t| most.max(t.feed_mm_min));
    let mut by = BoundedBy::default();
    for ((travel, leg), run) in program.travels.iter().zip(legs).zip(runs) {
        if travel.rapid {
            by.rapid_s += run.seconds;
            continue;
        }
        by.acceleration_s += run.ramps_s;
        by.line_reading_s += run.waits_s;
        let cruise_s = run.seconds - run.ramps_s - run.waits_s;
        match held(travel, leg, fastest, machine) {
            Held::Feed => by.feed_s += cruise_s,
            Held::Plunge => by.plunge_s += cruise_s,
            Held::Axis(0) => by.x_rate_s += cruise_s,
            Held::Axis(1) => by.y_rate_s += cruise_s,
            Held::Axis(_) => by.z_rate_s += cruise_s,
        }
    }
    by
}

/// What holds a feed move at its greatest speed. The text names no plunge rate: a feed below the
/// program's fastest is one when the move goes down.
fn held(travel: &Travel, leg: &Leg, fastest_mm_min: f64, machine: &Machine) -> Held {
    // An axis that does not move never holds: its limit is infinite.
    let limits = machine.rate_mm_min.iter().zip(leg.along.iter()).map(|(rate, mm)| rate * leg.along.norm() / mm.abs());
    let slowest = limits.enumerate().min_by(|a, b| a.1.total_cmp(&b.1));
    match slowest {
        // The hair keeps a feed of just that rate an ordered one.
        Some((axis, limit)) if limit < travel.feed_mm_min * (1.0 - 1e-9) => Held::Axis(axis),
        _ if travel.to.z < travel.from.z && travel.feed_mm_min < fastest_mm_min => Held::Plunge,
        _ => Held::Feed,
    }
}

fn legs(program: &Program) -> Vec<Leg> {
    let mut dwells = program.dwells.iter().peekable();
    let mut rpm = 0.0;
    let mut legs = Vec::with_capacity(program.travels.len());
    for travel in &program.travels {
        let mut rests = travel.spindle_rpm != rpm;
        while dwells.next_if(|d| d.line < travel.line).is_some() {
            rests = true;
        }
        rpm = travel.spindle_rpm;
        legs.push(Leg {
            along: travel.to - travel.from,
            feed_mm_min: (!travel.rapid).then_some(travel.feed_mm_min),
            joint: if rests { Joint::Rest } else { Joint::Passed },
        });
    }
    legs
}

fn busiest_second(runs: &[Run]) -> usize {
    let mut starts = Vec::with_capacity(runs.len());
    let mut now = 0.0;
    for run in runs {
        starts.push(now);
        now += run.seconds;
    }
    let mut first = 0;
    let mut most = 0;
    for (last, start) in starts.iter().enumerate() {
        while starts.get(first).is_some_and(|s| start - s >= 1.0) {
            first += 1;
        }
        most = most.max(last + 1 - first);
    }
    most
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    use super::planner::tests::{ends, stopping, uneven};
    use super::*;
    use crate::frame::Point3;
    use crate::nc::Dwell;

    #[test]
    fn waits_spindle_changes_and_lines_are_counted() {
        let at = |x: f64| Point3::new(x, 0.0, 10.0);
        let travel = |line, from, to, spindle_rpm| Travel {
            line,
            rapid: false,
            from: at(from),
            to: at(to),
            feed_mm_min: 3000.0,
            spindle_rpm,
        };
        let mut program = Program {
            travels: vec![travel(1, 0.0, 50.0, 0.0), travel(2, 50.0, 100.0, 0.0)],
            opening: 0,
            dwells: vec![],
            comments: vec![],
            lines: 3,
        };
        let machine = stopping();
        assert_relative_eq!(time(&program, &machine).total_s, 2.1, epsilon = 1e-9);
        program.travels[1].spindle_rpm = 9000.0;
        assert_relative_eq!(time(&program, &machine).total_s, 2.2, epsilon = 1e-9);
        program.travels[1] = travel(4, 50.0, 100.0, 0.0);
        program.dwells = vec![Dwell { line: 3, seconds: 1.5 }];
        let timing = time(&program, &machine);
        assert_relative_eq!(timing.total_s, 3.7, epsilon = 1e-9);
        assert_relative_eq!(timing.bounded_by.dwell_s, 1.5);
        assert_relative_eq!(timing.cut_length_mm, 100.0);
        let slow = Machine { line_time_s: 2.0, ..machine };
        assert_relative_eq!(time(&program, &slow).total_s, 5.5, epsilon = 1e-9);
        assert_eq!(time(&program, &slow).busiest_second, 1);
        // A line that moves nothing takes its time too.
        program.travels.push(travel(5, 100.0, 100.0, 0.0));
        assert_relative_eq!(time(&program, &slow).total_s, 7.5, epsilon = 1e-9);
    }

    /// Travels through these places, each with its feed; 0 is a rapid.
    fn program(places: &[(f64, f64, f64, f64)]) -> Program {
        let mut from = Point3::origin();
        let travels = places.iter().enumerate().map(|(line, &(x, y, z, feed_mm_min))| {
            let (to, start) = (Point3::new(x, y, z), from);
            from = to;
            Travel { line, rapid: feed_mm_min == 0.0, from: start, to, feed_mm_min, spindle_rpm: 9000.0 }
        });
        let travels = travels.collect();
        Program { travels, opening: 0, dwells: vec![], comments: vec![], lines: places.len() }
    }

    /// One move of each kind, with a stop at every corner: ramps of v / a at both ends, and the rest
    /// of the time where it belongs.
    #[test]
    fn every_second_is_charged_to_what_bounded_it() {
        let machine = Machine { rate_mm_min: [6000.0, 4800.0, 600.0], ..stopping() };
        let mut all = program(&[
            (100.0, 0.0, 0.0, 3000.0), // feed, 50 mm/s: ramps 0.2 s and 5 mm, then 95 / 50 s
            (0.0, 0.0, 0.0, 6000.0),   // the axis' own rate, as ordered: 100 mm/s, 0.4 s, 20 mm, then 80 / 100 s
            (0.0, 100.0, 0.0, 6000.0), // y does 80 mm/s: 0.32 s, 12.8 mm, then 87.2 / 80 s
            (0.0, 100.0, 10.0, 900.0), // z does 10 mm/s: 0.04 s, 0.2 mm, then 9.8 / 10 s
            (0.0, 100.0, 0.0, 300.0),  // down at 5 mm/s: 0.02 s, 0.05 mm, then 9.95 / 5 s
            (0.0, 100.0, 0.05, 300.0), // up at the same, but that is no plunge: 0.02 s, all of it ramps
            (200.0, 100.0, 0.05, 0.0), // rapid at 100 mm/s: 0.4 s, 20 mm, then 180 / 100 s
        ]);
        all.dwells = vec![Dwell { line: 2, seconds: 1.5 }];
        let by = time(&all, &machine).bounded_by;
        assert_relative_eq!(by.feed_s, 95.0 / 50.0 + 80.0 / 100.0, epsilon = 1e-9);
        assert_relative_eq!(by.y_rate_s, 87.2 / 80.0, epsilon = 1e-9);
        assert_relative_eq!(by.z_rate_s, 0.98, epsilon = 1e-9);
        assert_relative_eq!(by.plunge_s, 1.99, epsilon = 1e-9);
        assert_relative_eq!(by.acceleration_s, 0.2 + 0.4 + 0.32 + 0.04 + 0.02 + 0.02, epsilon = 1e-9);
        assert_relative_eq!(by.rapid_s, 0.4 + 1.8, epsilon = 1e-9);
        assert_eq!((by.x_rate_s, by.line_reading_s, by.dwell_s), (0.0, 0.0, 1.5));
        // The shortest moves take 0.02 and 1.02 s: lines of 1.1 s are waited for there only.
        let slow = Machine { line_time_s: 1.1, ..machine };
        let waits = time(&all, &slow).bounded_by;
        assert_relative_eq!(waits.line_reading_s, (1.1 - 0.02) + (1.1 - 1.02), epsilon = 1e-9);
        assert_relative_eq!(waits.total_s() - by.total_s(), waits.line_reading_s, epsilon = 1e-9);
    }

    proptest! {
        /// Every second is charged once; nothing is negative; and what is taken away as a bound
        /// takes its own seconds with it.
        #[test]
        fn bounds_add_up_to_the_whole(
            ends in ends(), scale in 0.1..4.0f64, line_time_s in 0.0..0.1f64, waits in 0.0..9.0f64,
        ) {
            let places: Vec<_> = ends.iter().map(|e| (9.0 * scale * e.0, 9.0 * scale * e.1, scale * e.2, e.3)).collect();
            let mut program = program(&places);
            program.dwells = vec![Dwell { line: 0, seconds: waits }];
            let machine = Machine { line_time_s, ..uneven(8) };
            let timing = time(&program, &machine);
            let by = timing.bounded_by;
            prop_assert_eq!(timing.total_s, by.total_s());
            let seconds = timing.runs.iter().map(|run| run.seconds).sum::<f64>() + waits;
            prop_assert!((by.total_s() - seconds).abs() <= 1e-9 * seconds, "{} {seconds}", by.total_s());
            let parts = [by.feed_s, by.plunge_s, by.x_rate_s, by.y_rate_s, by.z_rate_s, by.acceleration_s];
            prop_assert!(parts.iter().all(|s| *s >= -1e-12) && by.line_reading_s >= 0.0, "{by:?}");
            for run in &timing.runs {
                prop_assert!((run.slower_s(1e9) - run.seconds).abs() <= 1e-9 * (1.0 + run.seconds), "{run:?}");
            }
            let at_once = time(&program, &Machine { line_time_s: 0.0, ..machine.clone() }).bounded_by;
            prop_assert_eq!(at_once.line_reading_s, 0.0);
            prop_assert!((at_once.acceleration_s - by.acceleration_s).abs() <= 1e-9 * (1.0 + by.acceleration_s));
            let brisk = time(&program, &Machine { acceleration_mm_s2: [1e12; 3], rate_mm_min: [1e6; 3], ..machine });
            prop_assert!(brisk.bounded_by.acceleration_s < 1e-6);
            prop_assert_eq!(brisk.bounded_by.x_rate_s + brisk.bounded_by.y_rate_s + brisk.bounded_by.z_rate_s, 0.0);
        }
    }
}
