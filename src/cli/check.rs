//! `sustent check`: all findings and the feasible interval of each value; writes nothing but, where
//! asked, the ticket with the least change that passes.

use std::path::PathBuf;

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::output::Console;
use super::repair::{self, Repaired};
use super::tickets::Loaded;
use super::words::{self, wrapped};
use super::{Outcome, tickets};
use crate::flex;
use crate::footbed::SHAPING;
use crate::job::{self, CheckReport, FootReport};
use crate::limits::{Bound, Change, Found, Repair, ValueChange};
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The table shows each value in mm as asked, as read back from the designed
surface, and how far it may go with the others held: from where to where, and
which limit it meets beyond. `ticket range` is what a ticket may say at all,
`outline` the measures that an outline can be drawn from, `none passes` that no
change of this value alone does, and what is in its way. Ends of length, widths
and heel cup width are found by designing again, to 0.01 mm. Stops keep a ticket
from the mill unless it carries a typed reason; cautions ask for a second look.

Where a foot is stopped, `together` names the least change of several values
that passes. --repair-out writes the ticket with that change as its next
revision, comments kept and the change told under [[history]]; only what passes
is written. Without it nothing is written at all.

Examples:
  sustent check ticket.toml
  sustent check monday/                          every ticket in this folder
  sustent check ticket.toml --repair-out next.toml --date 2026-11-25
  sustent check ticket.toml --json | jq '.feet[].values.medial_arch.feasible'

Exit status: 0 passes, 1 stopped, 2 could not be done.";

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Tickets, or folders of tickets
    #[arg(required = true, value_name = "TICKET")]
    tickets: Vec<PathBuf>,
    /// Write the ticket with the least change that passes (one ticket only)
    #[arg(long, value_name = "FILE.toml")]
    repair_out: Option<PathBuf>,
    /// The date for its [[history]], as you would write it; none is made up
    #[arg(long, value_name = "DATE", requires = "repair_out", default_value = "")]
    date: String,
}

/// What `check` says, and what became of a repaired ticket.
#[derive(Serialize)]
struct Checked {
    #[serde(flatten)]
    report: CheckReport,
    #[serde(skip_serializing_if = "Option::is_none")]
    repaired: Option<Repaired>,
}

impl Check {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let tickets = tickets::load_all(&self.tickets, shelf, console);
        if self.repair_out.is_some() && tickets.len() != 1 {
            let message = format!("--repair-out writes one ticket, and {} are named: name one", tickets.len());
            return console.fail(&Failure::new(message));
        }
        let mut telling = console.telling(tickets.len());
        let mut next = tickets.iter();
        let work = |ticket: &Result<Loaded, Failure>| self.attempt(ticket.as_ref().map_err(Failure::clone)?, shelf);
        job::in_lanes(&tickets, work, |ending| {
            let ticket = next.next();
            let ending = ending.unwrap_or_else(|broke_off| Err(tickets::broke_off(ticket, &broke_off)));
            let words = ending.as_ref().map_or(String::new(), |c| in_words(&c.report, c.repaired.as_ref()));
            telling.one(&ending, outcome(&ending), &words);
        });
        telling.end()
    }

    fn attempt(&self, loaded: &Loaded, shelf: &Shelf) -> Result<Checked, Failure> {
        keep_apart(&[("the ticket", Some(&loaded.path))], &[("the repaired ticket", self.repair_out.as_deref())])?;
        let report = job::check(&loaded.ticket).map_err(|error| Failure::of(&loaded.path, error))?;
        let write = |out: &PathBuf| repair::write(loaded, &report, out, &self.date, shelf);
        let repaired = self.repair_out.as_ref().map(write).transpose()?;
        Ok(Checked { report, repaired })
    }
}

fn outcome(ending: &Result<Checked, Failure>) -> Outcome {
    match ending {
        Ok(checked) if checked.report.pass => Outcome::Good,
        Ok(_) => Outcome::NotGood,
        Err(_) => Outcome::CouldNot,
    }
}

fn in_words(report: &CheckReport, repaired: Option<&Repaired>) -> String {
    let mut lines = vec![];
    for foot in &report.feet {
        lines.push(format!("{} r{}  {} foot", report.ticket, report.revision, foot.side.name()));
        lines.extend(value_lines(foot));
        lines.extend(foot.flex.lines().iter().map(|line| wrapped("  flex: ", line)));
        if foot.flex.figures.is_some() {
            lines.push(wrapped("        ", flex::ASSUMED));
        }
        lines.extend(foot.findings.iter().map(|f| words::finding(f, foot.accepted_reason.as_deref())));
        lines.extend(foot.repair.as_ref().map(|repair| together(repair, foot.pass)));
        lines.push(String::new());
    }
    lines.extend(repaired.map(|repaired| format!("{}\n", wrapped("repaired: ", &repaired.words))));
    lines.push(match report.pass {
        true => "passes".into(),
        false => "stopped: nothing may be cut until the stops are settled".into(),
    });
    lines.join("\n")
}

/// What several values together can do, in words; where a typed reason is enough, in its place.
fn together(repair: &Repair, accepted: bool) -> String {
    let names = |bounds: &[Bound]| bounds.iter().map(|bound| bound.words()).collect::<Vec<_>>();
    let text = match repair {
        Repair::Change(change) if change.changes.is_empty() => {
            format!("the values alone cannot settle {}", words::listed(&words_of(&change.left), "and"))
        }
        Repair::Change(change) => in_place(change),
        Repair::Never(never) => {
            let help = match never.help.as_slice() {
                [] => String::new(),
                help => format!("; what would help: {}", help.join("; ")),
            };
            format!(
                "no values pass: {} contradict each other{help}",
                words::listed(&names(&never.contradiction), "and")
            )
        }
    };
    wrapped(if accepted { "  in place of the reason: " } else { "  together: " }, &text)
}

/// A change, what bounds it, and what is known of smaller ones.
fn in_place(change: &Change) -> String {
    let told = |c: &ValueChange| {
        let [from, to] = [c.from, c.to].map(words::thousandths);
        format!("{} {from} -> {to} {}", c.value.words(), c.value.unit())
    };
    let every = |all: &[ValueChange], last| words::listed(&all.iter().map(told).collect::<Vec<_>>(), last);
    let changes = every(&change.changes, "and");
    let bounds: Vec<String> = change.bound_by.iter().map(|bound| bound.words()).collect();
    let bound = words::listed(&bounds, "and");
    if !change.left.is_empty() {
        let left = words::listed(&words_of(&change.left), "and");
        return format!("{changes} would settle all but {left}, which these values do not move; bound by {bound}");
    }
    let alone = if change.changes.len() == 1 { " alone" } else { "" };
    let others = match change.alone.as_slice() {
        [] => String::new(),
        alone => format!("; so would alone {}", every(alone, "or")),
    };
    format!("{changes}{alone} would pass{}; bound by {bound}{others}", least(change))
}

/// What was minimised, where it was. Only the shaping values are in the sum; others moved with them are moved first.
fn least(change: &Change) -> &'static str {
    let shape = change.changes.iter().all(|c| SHAPING.contains(&c.value));
    let rounded = change.changes.iter().any(|c| (c.to - c.least).abs() > TIDY);
    match (change.found == Found::Exact && shape, rounded) {
        (false, _) => "",
        (true, false) => ", the least weighted change of the values that shape the top",
        (true, true) => ", rounded from the least weighted change of the values that shape the top",
    }
}

/// Two figures that differ by less are told as one, mm and deg.
const TIDY: f64 = 1e-6;

fn words_of(limits: &[&str]) -> Vec<String> {
    limits.iter().map(|limit| limit.replace('_', " ")).collect()
}

/// Which limits leave a value no room: what a ticket may say at all is named only where nothing else is.
fn stands_in_the_way(low: String, high: String) -> String {
    let range = |bound: &String| bound == "ticket range";
    match (range(&low), range(&high)) {
        (true, _) => high,
        (false, true) => low,
        (false, false) if low == high => low,
        (false, false) => format!("{low}, {high}"),
    }
}

/// Rounding of ends, in hundredths: less is none.
const HAIR: f64 = 1e-4;

/// The table of values: what each may go to with the others held, and what is met beyond.
fn value_lines(foot: &FootReport) -> Vec<String> {
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
                format!("{:>7} {low:<14}{:>7} {high}", words::hundredths(Some(lo)), words::hundredths(Some(hi)))
            }
            None => format!("  none passes: {}", stands_in_the_way(low, high)),
        };
        lines.push(format!(
            "  {name:<20}{:>7}{:>7}{range}",
            words::hundredths(report.asked),
            words::hundredths(report.read_back)
        ));
    }
    let rules = foot.values.iter().filter_map(|(value, report)| Some((value, report.filled_in.as_ref()?)));
    lines.extend(rules.map(|(value, rule)| wrapped("  * ", &format!("{}: {rule}", value.words()))));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "nowhere: ticket range, blank height" was printed.
    #[test]
    fn what_leaves_no_room_is_named() {
        let named = |low: &str, high: &str| stands_in_the_way(low.into(), high.into());
        assert_eq!(named("ticket range", "blank height"), "blank height");
        assert_eq!(named("thin heel", "ticket range"), "thin heel");
        assert_eq!(named("thin heel", "thin heel"), "thin heel");
        assert_eq!(named("thin heel", "heel rise"), "thin heel, heel rise");
    }
}
