//! `sustent check`: all findings and the feasible interval of each value; writes nothing.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Console;
use super::{Outcome, tickets};
use crate::job::{self, CheckReport, FootReport};
use crate::limits::{Finding, Severity};
use crate::profile::Shelf;

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Tickets, or folders of tickets
    #[arg(required = true, value_name = "TICKET")]
    tickets: Vec<PathBuf>,
}

/// One ticket gives its report as it is; several give a list.
#[derive(Serialize)]
#[serde(untagged)]
enum Document<'a> {
    One(&'a CheckReport),
    Many(&'a [CheckReport]),
}

impl Check {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let files = match tickets::files(&self.tickets) {
            Ok(files) => files,
            Err(message) => {
                console.error(&message);
                return Outcome::CouldNot;
            }
        };
        let mut outcome = Outcome::Good;
        let mut reports = vec![];
        for path in &files {
            let report = tickets::load(path, shelf, console)
                .and_then(|l| job::check(&l.ticket).map_err(|e| format!("{}: {e}", path.display())));
            match report {
                Ok(report) => {
                    console.say(&words(&report));
                    outcome = outcome.max(if report.pass { Outcome::Good } else { Outcome::NotGood });
                    reports.push(report);
                }
                Err(message) => {
                    console.error(&message);
                    outcome = Outcome::CouldNot;
                }
            }
        }
        match reports.as_slice() {
            [] => {}
            [one] if files.len() == 1 => console.document(&Document::One(one)),
            many => console.document(&Document::Many(many)),
        }
        outcome
    }
}

fn words(report: &CheckReport) -> String {
    let mut lines = vec![];
    for foot in &report.feet {
        lines.push(format!("{} r{}  {} foot", report.ticket, report.revision, foot.side.name()));
        lines.extend(value_lines(foot));
        lines.extend(foot.findings.iter().map(|f| finding_words(f, foot.accepted_reason.as_deref())));
        lines.push(String::new());
    }
    lines.push(if report.pass {
        "passes".into()
    } else {
        "stopped: nothing may be cut until the stops are settled".into()
    });
    lines.join("\n")
}

fn value_lines(foot: &FootReport) -> Vec<String> {
    let mut lines = vec![format!("  {:<20} {:>8} {:>10}   {}", "", "asked", "read back", "may go from .. to")];
    for (value, report) in &foot.values {
        let number = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.2}"));
        let range = report.feasible.map_or("-".into(), |[lo, hi]| format!("{lo:.2} .. {hi:.2}"));
        let ruled = if report.filled_in.is_some() { " *" } else { "" };
        lines.push(format!(
            "  {:<20} {:>8} {:>10}   {range} {}{ruled}",
            value.words(),
            number(report.asked),
            number(report.read_back),
            report.unit
        ));
    }
    for (value, report) in &foot.values {
        if let Some(rule) = &report.filled_in {
            lines.push(format!("  * {}: {rule}", value.words()));
        }
    }
    lines
}

/// A finding in two lines.
pub(super) fn finding_words(finding: &Finding, accepted: Option<&str>) -> String {
    let place = match (finding.at_mm, finding.station) {
        (Some([x, y]), Some(station)) => format!(" at x {x:.0} y {y:.0} mm ({:.0} % of the foot)", 100.0 * station),
        _ => String::new(),
    };
    let verdict = match (finding.severity, accepted) {
        (Severity::Stop, Some(reason)) if !finding.blocks(Some(reason)) => format!(" [accepted: {reason}]"),
        _ => String::new(),
    };
    format!("  {}: {}{place}{verdict}\n     -> {}", finding.severity.name(), finding.message, finding.advice)
}
