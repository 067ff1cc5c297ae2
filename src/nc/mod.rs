//! Program text in the strict common part of RS274/NGC: moves become text, and text, read back by
//! a reader that shares no type with the writer, becomes timed moves with line numbers.
//!
//! [`write()`] makes the text, [`read()`] takes any text apart, [`time()`] says how long a machine
//! needs for it. The rules of the common part, with the reason for each, are in
//! `docs/controllers.md`. Nothing here knows footbeds, blanks or what is left standing.

mod read;
mod time;
mod write;

pub use read::{Acceptance, MOST_BYTES, MOST_LINES, MOST_REFUSALS, Reason, Refusal, Refusals, read};
pub use time::{Timing, time};
pub use write::{Header, WriteError, path_time_s, write};

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
    }
}
