//! Whether a job comes out as it did before: the same ticket gives the same programs as long as profiles and rules stay.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;
use serde_json::Value as Json;

use super::folder::{LONGEST_REPORT, REPORT};
use super::tickets::read_bytes;
use super::words::{hundredths, listed, wrapped};
use crate::job::{FileReport, JobReport};

/// The same ticket gave other programs before.
#[derive(Debug, Serialize)]
pub(super) struct Otherwise {
    /// The program's version that made the earlier ones.
    version: String,
    /// Those that were otherwise.
    programs: Vec<String>,
    /// Values that read otherwise on the design, side and name first.
    values: Vec<(String, f64, f64)>,
}

/// Compares a job with the one that lies in its folder, if that is of the same ticket.
pub(super) fn otherwise(folder: &Path, report: &JobReport) -> Option<Otherwise> {
    let bytes = read_bytes(&folder.join(REPORT), LONGEST_REPORT).ok()?;
    let earlier: Json = serde_json::from_slice(&bytes).ok()?;
    if earlier["ticket_sha256"] != report.ticket_sha256 {
        return None;
    }
    let then = programs(&earlier);
    // A run for one foot alone has nothing to say of the other.
    let now = report.files.iter().filter(|file| file.file.ends_with(".ngc"));
    let differs = |file: &&FileReport| then.get(file.file.as_str()).is_some_and(|sha| *sha != file.sha256);
    let programs: Vec<String> = now.filter(differs).map(|file| file.file.clone()).collect();
    let version = earlier["version"].as_str().unwrap_or("?").to_owned();
    (!programs.is_empty()).then(|| Otherwise { version, programs, values: values(&earlier, report) })
}

/// SHA-256 of a job's programs, by file.
fn programs(job: &Json) -> BTreeMap<&str, &str> {
    let files = job["files"].as_array().into_iter().flatten();
    files.filter_map(|file| Some((file["file"].as_str()?, file["sha256"].as_str()?))).collect()
}

fn values(earlier: &Json, report: &JobReport) -> Vec<(String, f64, f64)> {
    let sides =
        report.values.iter().flat_map(|(side, values)| values.iter().map(move |(value, now)| (side, value, now)));
    sides
        .filter_map(|(side, value, now)| {
            let key = serde_json::to_value(value).ok()?;
            let then = earlier["values"][side.name()][key.as_str()?]["read_back"].as_f64()?;
            let [then, now] = [then, now.read_back?].map(hundredths);
            (then != now).then(|| (format!("{} {}", side.name(), value.words()), then, now))
        })
        .collect()
}

impl Otherwise {
    /// A note on it.
    pub(super) fn words(&self) -> String {
        let values: Vec<String> =
            self.values.iter().map(|(name, then, now)| format!("{name} {then:.2} -> {now:.2}")).collect();
        let reads = match values.as_slice() {
            [] => "every value reads as before".to_owned(),
            values => format!("now reads {}", listed(values, "and")),
        };
        let text = format!(
            "note: the same ticket gave other programs before, by version {}: profiles or rules have changed since; {reads}",
            self.version
        );
        wrapped("  ", &text)
    }
}
