//! `sustent check`: all findings and the feasible interval of each value; writes nothing.

use std::path::PathBuf;

use rayon::prelude::*;

use super::failure::Failure;
use super::output::Console;
use super::words::{self, wrapped};
use super::{Outcome, tickets};
use crate::flex;
use crate::job::{self, CheckReport, FootReport};
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The table shows each value as asked, as read back from the designed surface, and
how far it may go with the others held. Stops keep a ticket from the mill unless
it carries a typed reason; cautions ask for a second look.

Examples:
  sustent check ticket.toml
  sustent check monday/                          every ticket in this folder
  sustent check ticket.toml --json | jq '.feet[].values.medial_arch.feasible'

Exit status: 0 passes, 1 stopped, 2 could not be done.";

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Tickets, or folders of tickets
    #[arg(required = true, value_name = "TICKET")]
    tickets: Vec<PathBuf>,
}

impl Check {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let tickets = tickets::load_all(&self.tickets, shelf);
        let bar = console.progress(tickets.len());
        let endings: Vec<Result<CheckReport, Failure>> = tickets
            .into_par_iter()
            .map(|loaded| {
                let ending = loaded
                    .and_then(|loaded| job::check(&loaded.ticket).map_err(|error| Failure::of(&loaded.path, error)));
                bar.inc(1);
                ending
            })
            .collect();
        bar.finish_and_clear();
        let outcome = |report: &CheckReport| if report.pass { Outcome::Good } else { Outcome::NotGood };
        console.tell_all(&endings, in_words, outcome)
    }
}

fn in_words(report: &CheckReport) -> String {
    let mut lines = vec![];
    for foot in &report.feet {
        lines.push(format!("{} r{}  {} foot", report.ticket, report.revision, foot.side.name()));
        lines.extend(value_lines(foot));
        lines.extend(foot.flex.lines().iter().map(|line| wrapped("  flex: ", line)));
        if foot.flex.figures.is_some() {
            lines.push(wrapped("        ", flex::ASSUMED));
        }
        lines.extend(foot.findings.iter().map(|f| words::finding(f, foot.accepted_reason.as_deref())));
        lines.push(String::new());
    }
    lines.push(match report.pass {
        true => "passes".into(),
        false => "stopped: nothing may be cut until the stops are settled".into(),
    });
    lines.join("\n")
}

fn value_lines(foot: &FootReport) -> Vec<String> {
    let mut lines = vec![format!("  {:<20} {:>8} {:>10}   {}", "", "asked", "read back", "may go from .. to")];
    for (value, report) in &foot.values {
        let number = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.2}"));
        let range = report.feasible.map_or("nowhere".into(), |[lo, hi]| format!("{lo:.2} .. {hi:.2}"));
        let ruled = if report.filled_in.is_some() { " *" } else { "" };
        lines.push(format!(
            "  {:<20} {:>8} {:>10}   {range} {}{ruled}",
            value.words(),
            number(report.asked),
            number(report.read_back),
            report.unit
        ));
    }
    let rules = foot.values.iter().filter_map(|(value, report)| Some((value, report.filled_in.as_ref()?)));
    lines.extend(rules.map(|(value, rule)| wrapped("  * ", &format!("{}: {rule}", value.words()))));
    lines
}
