//! `sustent check`: all findings and the feasible interval of each value; writes nothing.

use std::path::PathBuf;

use rayon::prelude::*;

use super::failure::Failure;
use super::output::Console;
use super::words::{self, wrapped};
use super::{Outcome, tickets};
use crate::flex;
use crate::job::{self, CheckReport, FootReport};
use crate::limits::{Bound, Repair};
use crate::profile::Shelf;
use crate::value::Value;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The table shows each value in mm as asked, as read back from the designed
surface, and how far it may go with the others held: from where to where, and
which limit it meets beyond. `ticket range` is what a ticket may say at all,
`outline` the measures that an outline can be drawn from. Ends of length, widths
and heel cup width are found by designing again, to 0.01 mm. Stops keep a ticket from the mill unless
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
        lines.extend(foot.repair.as_ref().map(together));
        lines.push(String::new());
    }
    lines.push(match report.pass {
        true => "passes".into(),
        false => "stopped: nothing may be cut until the stops are settled".into(),
    });
    lines.join("\n")
}

/// What several values together can do, in words.
fn together(repair: &Repair) -> String {
    let names = |bounds: &[Bound]| bounds.iter().map(|bound| bound.words()).collect::<Vec<_>>();
    let text = match repair {
        Repair::Change(change) if change.changes.is_empty() => {
            format!("the values alone cannot settle {}", listed(&words_of(&change.left), "and"))
        }
        Repair::Change(change) => {
            let unit = |value: Value| value.unit();
            let change_words = change.changes.iter().map(|c| {
                let [from, to] = [c.from, c.to].map(words::thousandths);
                format!("{} {from} -> {to} {}", c.value.words(), unit(c.value))
            });
            let changes = listed(&change_words.collect::<Vec<_>>(), "and");
            let bound = listed(&names(&change.bound_by), "and");
            let left = match change.left.as_slice() {
                [] => String::new(),
                left => format!("; {} stays, which these values do not move", listed(&words_of(left), "and")),
            };
            format!("{changes} would pass, and no smaller change; bound by {bound}{left}")
        }
        Repair::Never(never) => {
            let help = match never.help.as_slice() {
                [] => String::new(),
                help => format!("; what would help: {}", help.join("; ")),
            };
            format!("no values pass: {} contradict each other{help}", listed(&names(&never.contradiction), "and"))
        }
    };
    wrapped("  together: ", &text)
}

fn words_of(limits: &[&str]) -> Vec<String> {
    limits.iter().map(|limit| limit.replace('_', " ")).collect()
}

/// "a, b and c".
fn listed(all: &[String], last: &str) -> String {
    match all {
        [] => "nothing".into(),
        [one] => one.clone(),
        [first @ .., end] => format!("{} {last} {end}", first.join(", ")),
    }
}

/// Rounding of ends, in hundredths: less is none.
const HAIR: f64 = 1e-4;

/// The table of values: what each may go to with the others held, and what is met beyond.
fn value_lines(foot: &FootReport) -> Vec<String> {
    let number = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{:.2}", words::hundredths(x)));
    let mut lines = vec![format!(
        "  {:<20}{:>7}{:>7}{:>7} {:<14}{:>7} {}",
        "", "asked", "reads", "from", "bound by", "to", "bound by"
    )];
    for (value, report) in &foot.values {
        let unit = if report.unit == "mm" { "" } else { ", deg" };
        let ruled = if report.filled_in.is_some() { " *" } else { "" };
        let name = format!("{}{unit}{ruled}", value.words());
        let [low, high] = report.bound_by.map(Bound::short);
        let range = match report.feasible {
            // Rounded inward, so that what is printed can be asked for; the hair keeps whole hundredths whole.
            Some([lo, hi]) => {
                let inward = ((100.0 * lo - HAIR).ceil() / 100.0, (100.0 * hi + HAIR).floor() / 100.0);
                let (lo, hi) = if inward.0 <= inward.1 { inward } else { (lo, hi) };
                format!("{:>7} {low:<14}{:>7} {high}", number(Some(lo)), number(Some(hi)))
            }
            None if low == high => format!("  nowhere: {low}"),
            None => format!("  nowhere: {low}, {high}"),
        };
        lines.push(format!("  {name:<20}{:>7}{:>7}{range}", number(report.asked), number(report.read_back)));
    }
    let rules = foot.values.iter().filter_map(|(value, report)| Some((value, report.filled_in.as_ref()?)));
    lines.extend(rules.map(|(value, rule)| wrapped("  * ", &format!("{}: {rule}", value.words()))));
    lines
}
