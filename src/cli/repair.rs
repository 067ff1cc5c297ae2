//! The least change that passes, written as the ticket's next revision.

use std::path::Path;

use serde::Serialize;

use super::failure::Failure;
use super::tickets::Loaded;
use super::{folder, over, tickets};
use crate::job::{self, CheckReport, FootReport};
use crate::limits::{Repair, Severity};
use crate::profile::Shelf;
use crate::ticket::{Because, Setting, revise};

/// What became of the wish for a repaired ticket.
#[derive(Debug, Serialize)]
pub(super) struct Repaired {
    /// The file written; `None` when none was.
    pub(super) file: Option<String>,
    /// Its revision.
    pub(super) revision: Option<u32>,
    /// What was done, or why nothing was.
    pub(super) words: String,
}

impl Repaired {
    fn not(words: &str) -> Repaired {
        Repaired { file: None, revision: None, words: format!("no file is written: {words}") }
    }
}

/// Writes the ticket with the changes of `report` to `out`, once it is seen to pass.
pub(super) fn write(
    loaded: &Loaded,
    report: &CheckReport,
    out: &Path,
    date: &str,
    shelf: &Shelf,
) -> Result<Repaired, Failure> {
    let stopped: Vec<&FootReport> = report.feet.iter().filter(|foot| !foot.pass).collect();
    if stopped.is_empty() {
        return Ok(Repaired::not("the ticket passes as it is"));
    }
    let Some(settings) = stopped.iter().map(|foot| settings(foot)).collect::<Option<Vec<_>>>() else {
        return Ok(Repaired::not("these values alone cannot settle every stop; see `together` above"));
    };
    let because = Because { reason: because(&stopped), date: date.to_string() };
    let text = revise(&loaded.text, &loaded.ticket, &settings.concat(), &because)
        .map_err(|error| Failure::of(&loaded.path, error))?;
    let repaired = tickets::read(out, &text, shelf).map_err(|failure| failure.and("no file is written"))?;
    let after = job::check(&repaired).map_err(|error| Failure::of(out, error))?;
    if !after.pass {
        return Ok(Repaired::not("the changed ticket is stopped by something that these values do not move"));
    }
    over::ticket(out, &text, Some((&loaded.path, &loaded.text)))?;
    folder::write_file(out, text.as_bytes())?;
    let (file, revision) = (out.display().to_string(), repaired.revision);
    let words = format!("{file} is revision {revision} with these changes, and passes; the ticket itself is as it was");
    Ok(Repaired { file: Some(file), revision: Some(revision), words })
}

/// The changes of one foot; `None` where they leave a stop.
fn settings(foot: &FootReport) -> Option<Vec<Setting>> {
    match &foot.repair {
        Some(Repair::Change(change)) if change.left.is_empty() => {
            Some(change.changes.iter().map(|c| Setting { side: foot.side, value: c.value, to: c.to }).collect())
        }
        _ => None,
    }
}

/// "least change that settles blank height and heel rise".
fn because(stopped: &[&FootReport]) -> String {
    let stops = stopped.iter().flat_map(|foot| &foot.findings).filter(|f| f.severity == Severity::Stop);
    let mut names: Vec<String> = vec![];
    for name in stops.map(|stop| stop.limit.replace('_', " ")) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    format!("least change that settles {}", super::words::listed(&names, "and"))
}
