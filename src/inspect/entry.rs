//! What the log keeps of an inspection: one line of JSON a piece, so that a log can be read, searched
//! and mended with any editor.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Case, Inspection, Signature, Verdict};
use crate::frame::Side;
use crate::value::Value;

/// Longest note that is kept, characters.
pub const LONGEST_NOTE: usize = 200;

/// One inspected piece in the log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Entry {
    pub ticket: String,
    pub revision: u32,
    pub side: Side,
    pub material: String,
    pub machine: String,
    pub blank: String,
    /// The cutter that left the surface.
    pub finishing: String,
    /// The cutter that left the edge.
    pub perimeter: String,
    pub verdict: Verdict,
    pub values: BTreeMap<Value, Logged>,
    /// Of a scanned piece.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signature: Option<Signature>,
    /// What a person wrote with it, a date for instance.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// One value of a piece in the log.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Logged {
    pub asked: f64,
    pub made: f64,
    /// Expanded, k = 2.
    pub uncertainty: f64,
    /// The part of it that all pieces share that are measured alike; k = 2.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub shared_uncertainty: f64,
    /// Accepted up to this either way when it was judged.
    pub tolerance: f64,
    pub verdict: Verdict,
}

impl Logged {
    /// Made minus asked.
    pub fn difference(&self) -> f64 {
        self.made - self.asked
    }
}

impl Entry {
    /// What is kept of `inspection`.
    pub fn new(code: &str, revision: u32, case: &Case, inspection: &Inspection, note: &str) -> Entry {
        let make = case.make;
        let logged = |(value, judged): (&Value, &super::Judged)| {
            let super::Judged { asked, made, uncertainty, shared_uncertainty, tolerance, verdict, .. } = *judged;
            (*value, Logged { asked, made, uncertainty, shared_uncertainty, tolerance, verdict })
        };
        Entry {
            ticket: code.to_string(),
            revision,
            side: inspection.side,
            material: make.material.name.clone(),
            machine: make.machine.name.clone(),
            blank: make.blank.name.clone(),
            finishing: make.finishing.name.clone(),
            perimeter: make.perimeter.name.clone(),
            verdict: inspection.verdict,
            values: inspection.values.iter().map(logged).collect(),
            signature: inspection.signature,
            note: note.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_NOTE).collect(),
        }
    }

    /// The entry as a line, its end included.
    pub fn line(&self) -> String {
        // Plain structs of numbers and text, keyed by unit variants: this cannot fail.
        let mut line = serde_json::to_string(self).unwrap_or_default();
        line.push('\n');
        line
    }
}

#[allow(clippy::trivially_copy_pass_by_ref)] // what serde asks for
fn is_zero(number: &f64) -> bool {
    *number == 0.0
}
