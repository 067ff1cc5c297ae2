//! What lay in a job's folder before: which files of it a new job takes away, whether it was made from another ticket, and
//! whether the same ticket comes out as it did, which it does as long as profiles and rules stay.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde::Serialize;
use serde_json::Value as Json;

use super::folder::{LONGEST_REPORT, REPORT};
use super::tickets::read_bytes;
use super::words::{listed, wrapped};
use crate::job::{FileReport, JobReport};
use crate::value::figure;

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

/// The job that a new one takes the place of.
#[derive(Debug, Serialize)]
pub(super) struct Replaced {
    /// Whether it was made from another text: of the same code and revision, but not the same ticket.
    other_ticket: bool,
    /// Its files that the new job has not.
    gone: Vec<String>,
    /// Those of them that were changed by hand and still lie there.
    kept: Vec<String>,
}

/// The report of the job that lies in this folder; `None` where none does.
pub(super) fn earlier(folder: &Path) -> Option<Json> {
    let bytes = read_bytes(&folder.join(REPORT), LONGEST_REPORT).ok()?;
    let earlier: Json = serde_json::from_slice(&bytes).ok()?;
    (earlier["program"] == env!("CARGO_PKG_NAME")).then_some(earlier)
}

/// What of the earlier job was lost by the new one, which lies in the folder now; `None` where nothing was.
pub(super) fn replaced(earlier: &Json, report: &JobReport, folder: &Path) -> Option<Replaced> {
    let now: BTreeSet<&str> = report.files.iter().map(|file| file.file.as_str()).collect();
    let no_longer = checksums(earlier).into_keys().filter(|file| !now.contains(file)).map(str::to_owned);
    let (kept, gone): (Vec<String>, Vec<String>) = no_longer.partition(|file| folder.join(file).exists());
    let other_ticket = is_of_another(earlier, report);
    (other_ticket || !gone.is_empty() || !kept.is_empty()).then_some(Replaced { other_ticket, gone, kept })
}

/// Whether a job was made from another text than this one.
pub(super) fn is_of_another(earlier: &Json, report: &JobReport) -> bool {
    earlier["ticket_sha256"] != report.ticket_sha256
}

/// Compares a job with the earlier one, if that is of the same ticket.
pub(super) fn otherwise(earlier: &Json, report: &JobReport) -> Option<Otherwise> {
    if is_of_another(earlier, report) {
        return None;
    }
    let then = checksums(earlier);
    // A run for one foot alone has nothing to say of the other.
    let now = report.files.iter().filter(|file| file.file.ends_with(".ngc"));
    let differs = |file: &&FileReport| then.get(file.file.as_str()).is_some_and(|sha| *sha != file.sha256);
    let programs: Vec<String> = now.filter(differs).map(|file| file.file.clone()).collect();
    let version = earlier["version"].as_str().unwrap_or("?").to_owned();
    (!programs.is_empty()).then(|| Otherwise { version, programs, values: values(earlier, report) })
}

/// SHA-256 of a job's files, by name.
fn checksums(job: &Json) -> BTreeMap<&str, &str> {
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
            let now = now.read_back?;
            (figure(then, 2) != figure(now, 2)).then(|| (format!("{} {}", side.name(), value.words()), then, now))
        })
        .collect()
}

impl Replaced {
    /// A note on it.
    pub(super) fn words(&self) -> String {
        let lay = match self.other_ticket {
            true => "the job that lay here was made from another ticket of this code and revision, and is replaced",
            false => "the earlier job of this ticket is replaced",
        };
        let programs: Vec<String> = self.gone.iter().filter(|file| file.ends_with(".ngc")).cloned().collect();
        let gone = match (self.gone.len(), programs.as_slice()) {
            (0, _) => String::new(),
            (1, [program]) => format!("; its {program} is gone"),
            (count, []) => format!("; {count} of its files are gone"),
            (count, programs) => {
                format!("; {count} of its files are gone, among them {}", listed(programs, "and"))
            }
        };
        let kept = match self.kept.as_slice() {
            [] => String::new(),
            kept => format!(
                "; what was changed by hand still lies there and is no part of the job: {}",
                listed(kept, "and")
            ),
        };
        wrapped("  ", &format!("note: {lay}{gone}{kept}"))
    }
}

impl Otherwise {
    /// A note on it.
    pub(super) fn words(&self) -> String {
        let values: Vec<String> = self
            .values
            .iter()
            .map(|(name, then, now)| format!("{name} {} -> {}", figure(*then, 2), figure(*now, 2)))
            .collect();
        let reads = match values.as_slice() {
            [] => "every value reads as before".to_owned(),
            values => format!("now reads {}", listed(values, "and")),
        };
        let text = format!(
            "note: the same ticket gave other programs before, by version {}: profiles, rules, a drawing that it names, or \
             the program have changed since; {reads}",
            self.version
        );
        wrapped("  ", &text)
    }
}
