//! Program text in the strict common part of RS274/NGC: moves become text, and text, read back by
//! a reader that shares no type with the writer, becomes timed moves with line numbers.
//!
//! [`write()`] makes the text, [`read()`] takes any text apart, [`time()`] says how long a machine
//! needs for it. The rules of the common part, with the reason for each, are in
//! `docs/controllers.md`. Nothing here knows footbeds, blanks or what is left standing.

mod cutter;
mod read;
mod time;
mod write;

pub use cutter::{other_cutter, said};
pub use read::{Acceptance, MOST_BYTES, MOST_LINES, MOST_REFUSALS, Reason, Refusal, Refusals, read};
pub use time::{BoundedBy, Run, Timing, time};
pub use write::{Header, WriteError, estimate_s, write};

use crate::frame::Point3;
use crate::profile::{DwellWord, EndWord, Machine};

/// A program as read from its text.
#[derive(Clone, Debug, PartialEq)]
pub struct Program {
    /// Every movement, in order.
    pub travels: Vec<Travel>,
    /// How many of the first travels start from a place that the text does not give: the first
    /// lift, and the first way over in x and y. Their unknown coordinates hold the first ones that
    /// the text names, so that they have no length and lie where the known movement begins.
    pub opening: usize,
    /// The stored zero that it counts from: 54 or 55.
    pub offset: u32,
    /// Every wait, in order of lines.
    pub dwells: Vec<Dwell>,
    /// Comments with their line numbers (from 1).
    pub comments: Vec<(usize, String)>,
    /// Lines in the text.
    pub lines: usize,
}

/// One straight movement of the tip, as the text orders it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Travel {
    /// Line in the text, from 1.
    pub line: usize,
    pub rapid: bool,
    pub from: Point3,
    pub to: Point3,
    /// Ordered feed; unused by rapids.
    pub feed_mm_min: f64,
    /// 0 while the spindle is off.
    pub spindle_rpm: f64,
}

/// A wait ordered by `G4`. It never shares a line with a movement.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Dwell {
    /// Line in the text, from 1.
    pub line: usize,
    pub seconds: f64,
}

/// What a reader must hold a text to so that `machine` takes it as meant.
pub fn acceptance(machine: &Machine) -> Acceptance {
    let (dwell_letter, dwell_unit_s) = match machine.dwell {
        DwellWord::PSeconds => ('P', 1.0),
        DwellWord::SSeconds => ('S', 1.0),
        DwellWord::PMilliseconds => ('P', 0.001),
    };
    let end_m = match machine.end {
        EndWord::M2 => 2,
        EndWord::M30 => 30,
    };
    Acceptance {
        line_limit: machine.line_limit,
        dwell_letter,
        dwell_unit_s,
        end_m,
        motion_word_each_line: machine.motion_word_each_line,
        decimals: machine.decimals,
        refuses: machine.refuses.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::WorkOffset;

    #[test]
    fn every_controller_choice_reaches_the_reader() {
        let machine = |dwell, end| Machine {
            name: "bench".into(),
            title: "for tests".into(),
            travel_mm: [600.0, 400.0, 100.0],
            rate_mm_min: [5000.0, 5000.0, 2000.0],
            acceleration_mm_s2: [400.0, 400.0, 200.0],
            junction_deviation_mm: 0.02,
            look_ahead: 16,
            line_time_s: 0.002,
            safe_above_blank_mm: 10.0,
            spindle_rpm: [8000.0, 24000.0],
            spin_up_s: 2.5,
            dwell,
            end,
            arcs: false,
            motion_word_each_line: true,
            line_limit: 60,
            decimals: 4,
            refuses: vec![49],
            bed_cut_mm: 0.0,
            under_offset: WorkOffset::G54,
        };
        let by_p = Acceptance {
            line_limit: 60,
            dwell_letter: 'P',
            dwell_unit_s: 1.0,
            end_m: 2,
            motion_word_each_line: true,
            decimals: 4,
            refuses: vec![49],
        };
        assert_eq!(acceptance(&machine(DwellWord::PSeconds, EndWord::M2)), by_p);
        let by_s = Acceptance { dwell_letter: 'S', end_m: 30, ..by_p.clone() };
        assert_eq!(acceptance(&machine(DwellWord::SSeconds, EndWord::M30)), by_s);
        let in_ms = Acceptance { dwell_unit_s: 0.001, ..by_p };
        assert_eq!(acceptance(&machine(DwellWord::PMilliseconds, EndWord::M2)), in_ms);
    }
}
