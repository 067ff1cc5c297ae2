//! What the page asks and what it is told, as JSON. Numbers that are none, names that are none and keys that are none do
//! not come through.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::draw::FootShape;
use crate::frame::Side;
use crate::job::LiveFoot;
use crate::limits::Found;
use crate::value::Value;

/// What the page may ask.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case", deny_unknown_fields)]
pub enum Ask {
    /// Another number for a value, in its own unit; `null` leaves it to its rule.
    Change {
        /// Which foot.
        side: Side,
        /// Which value.
        value: Value,
        /// mm or degrees.
        to: Option<f64>,
        /// Whether it goes on with the change before, so that one step back leads to where that began.
        more: bool,
    },
    /// Several values of one foot at once, as one step.
    Changes {
        /// Which foot.
        side: Side,
        /// The values.
        to: BTreeMap<Value, f64>,
    },
    /// Why stops of one foot are accepted; empty for no reason.
    Reason {
        /// Which foot.
        side: Side,
        /// As typed.
        reason: String,
    },
    /// One step back.
    Undo {},
    /// One step forward.
    Redo {},
    /// Back to what is saved, as a step.
    Drop {},
    /// A new revision.
    Save {
        /// Why, as typed.
        why: String,
        /// A date as typed; may be empty.
        date: String,
    },
    /// What stands on disk is taken, and the changes made here are made to it.
    Keep {},
    /// What stands on disk is taken as it is.
    Take {},
}

/// All that the page is told after a change, beside its pictures.
#[derive(Serialize)]
pub struct State {
    /// Rises whenever there is something new to tell.
    pub news: u64,
    /// Another number, another page: more than a page can take up has changed.
    pub page: u64,
    /// The revision that is saved.
    pub revision: u32,
    /// What saving would change, in words.
    pub changes: Vec<String>,
    /// Whether a step can be taken back.
    pub undo: bool,
    /// Whether one that was taken back can be taken again.
    pub redo: bool,
    /// `same`, `changed` or `unreadable`: the file on disk against what the desk has read or written last.
    pub disk: &'static str,
    /// Why the file on disk is no ticket, where it is none.
    pub disk_words: String,
    /// Whether the slower part, by other designs and under load, is done.
    pub settled: bool,
    /// Each foot in numbers.
    pub feet: Vec<FootState>,
    /// Tables and notes.
    pub words: crate::draw::DeskWords,
    /// Shapes that the page does not have yet.
    pub shapes: Vec<FootShape>,
}

/// One foot in numbers.
#[derive(Serialize)]
pub struct FootState {
    /// `L` or `R`.
    pub side: char,
    /// Which shape it has; another number, another shape.
    pub shape: u64,
    /// Its values.
    pub values: BTreeMap<Value, ValueState>,
    /// Whether something stops it.
    pub stopped: bool,
    /// Whether there is a stop that a reason outweighs.
    pub wants_reason: bool,
    /// The reason as typed.
    pub reason: String,
    /// Values that together settle its stops.
    pub way_out: Vec<(Value, f64)>,
}

/// One value.
#[derive(Serialize)]
pub struct ValueState {
    /// As asked; `null` where it follows from the others.
    pub asked: Option<f64>,
    /// As it is saved.
    pub saved: Option<f64>,
    /// As read on the surface.
    pub read_back: Option<f64>,
    /// The range that a ticket may write.
    pub range: [f64; 2],
    /// How far it may go, the others held; `null` where nothing passes.
    pub feasible: Option<[f64; 2]>,
    /// What is met beyond either end.
    pub by: [String; 2],
    /// How the ends were found.
    pub found: Found,
    /// The rule that filled it in.
    pub rule: Option<String>,
    /// Whether it can be asked at all: a traced outline brings its own sizes.
    pub open: bool,
}

impl FootState {
    /// One foot, beside the same as it is saved.
    pub fn of(foot: LiveFoot, saved: Option<&LiveFoot>, traced: bool, shape: u64) -> FootState {
        let was = |value: &Value| saved.and_then(|saved| saved.values.get(value)).and_then(|report| report.asked);
        let size = |value: &Value| matches!(value, Value::Length | Value::BallWidth | Value::HeelWidth);
        let values = foot.values.into_iter().map(|(value, report)| {
            let range = crate::ticket::writable(value);
            let state = ValueState {
                asked: report.asked,
                saved: was(&value),
                read_back: report.read_back,
                range: [range.least, range.most],
                feasible: report.feasible,
                by: report.bound_by.map(|bound| bound.words()),
                found: report.feasible_found,
                rule: report.filled_in,
                open: !(traced && size(&value)),
            };
            (value, state)
        });
        FootState {
            side: foot.side.letter(),
            shape,
            values: values.collect(),
            stopped: foot.stopped,
            wants_reason: foot.wants_reason,
            reason: foot.reason,
            way_out: foot.way_out,
        }
    }
}
