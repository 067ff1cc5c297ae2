//! What a person reads of many jobs: a row each, what stopped those that did not pass, and the sum.

use std::path::Path;

use super::failure::Failure;
use super::mill::Milled;
use super::words::{self, wrapped};
use crate::job::FootReport;

/// The row of one ticket, under the table's head where it is the first, and what stops it.
pub(super) fn row(ending: &Result<Milled, Failure>, first: bool) -> String {
    let head = first.then(|| format!("{:<34}{:>4}  {:<9}{:>6}  {}", "ticket", "r", "", "min", "folder"));
    let mut lines: Vec<String> = head.into_iter().collect();
    match ending {
        Ok(job) => {
            let report = &job.report;
            let (result, minutes, folder) = match &job.folder {
                Some(folder) => ("proven", format!("{:.1}", report.time_s / 60.0), folder.as_str()),
                None => ("stopped", "-".into(), "-"),
            };
            let ticket = shortened(&report.ticket);
            lines.push(format!("{ticket:<34}{:>4}  {result:<9}{minutes:>6}  {folder}", report.revision));
            lines.extend(job.notes());
            if job.folder.is_none() {
                lines.extend(report.feet.iter().flat_map(stops));
                let proof = report.proof.as_ref().filter(|proof| !proof.pass);
                lines.extend(proof.into_iter().flat_map(|proof| words::violations(&proof.violations)));
            }
        }
        Err(failure) => {
            let file = shortened(&words::shown(Path::new(failure.file().unwrap_or("-"))));
            lines.push(format!("{file:<34}{:>4}  {:<9}{:>6}  -", "-", "not done", "-"));
        }
    }
    lines.join("\n")
}

/// What keeps a foot from the mill.
fn stops(foot: &FootReport) -> Vec<String> {
    let reason = foot.accepted_reason.as_deref();
    let blocking = foot.findings.iter().filter(|finding| finding.blocks(reason));
    blocking.map(|finding| wrapped("  ", &format!("{} foot: {}", foot.side.name(), finding.message))).collect()
}

/// The end of a long code or path, which is where two of them differ.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 33;
    let count = text.chars().count();
    if count <= LONGEST {
        return text.into();
    }
    format!("..{}", text.chars().skip(count - (LONGEST - 2)).collect::<String>())
}

/// What became of all tickets of a run.
#[derive(Default)]
pub(super) struct Tally {
    pub(super) tickets: usize,
    proven: usize,
    stopped: usize,
    machine_s: f64,
}

impl Tally {
    pub(super) fn add(&mut self, ending: &Result<Milled, Failure>) {
        self.tickets += 1;
        match ending {
            Ok(job) if job.folder.is_some() => {
                self.proven += 1;
                self.machine_s += job.report.time_s;
            }
            Ok(_) => self.stopped += 1,
            Err(_) => {}
        }
    }

    pub(super) fn words(&self) -> String {
        let not_done = self.tickets - self.proven - self.stopped;
        let hours = self.machine_s / 3600.0;
        format!(
            "{} tickets: {} proven and written, {} stopped, {not_done} not done; {hours:.1} h on the machine",
            self.tickets, self.proven, self.stopped
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_path_keeps_its_end_and_its_column() {
        let path = format!("{}/monday/patrol-07.toml", "deep/".repeat(20));
        let short = shortened(&path);
        assert_eq!(short.chars().count(), 33);
        assert!(short.starts_with("..") && short.ends_with("/monday/patrol-07.toml"));
        assert_eq!(shortened("PATROL-07"), "PATROL-07");
    }
}
