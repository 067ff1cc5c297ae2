//! `sustent adjust`: after a try, one change for one complaint, and the next revision of the ticket.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::apart::same;
use super::failure::Failure;
use super::output::Console;
use super::words::wrapped;
use super::{Outcome, SideArgument, folder, over, tickets};
use crate::frame::Side;
use crate::intake::{self, Adjustment, Refusal};
use crate::job::{self, CheckReport, FootReport};
use crate::limits::Finding;
use crate::profile::Shelf;
use crate::ticket::{self, Because, Setting};

/// What `--help` adds.
pub(super) const HELP: &str = "\
One change at a time, 1 mm or 1 degree or as much of it as the limits leave,
after a look at what else it may be. The changed ticket is checked: where a
limit stops it, that is said, and it is not to be tried. Nothing is changed on a
referral sign, nor a third time for one complaint. Without --out nothing is
written; with it the next revision is, with the change and the complaint under
[[history]], comments and order kept. FILE may be the ticket itself. `sustent
profiles rules complaints` lists the complaints.

Examples:
  sustent adjust ticket.toml --complaint arch_pressure --side right
  sustent adjust ticket.toml --complaint heel_lift --side left --out ticket.toml

Exit status: 0 suggested, 1 refused or stopped by a limit, 2 could not be done.";

/// Arguments of `adjust`.
#[derive(Debug, clap::Args)]
pub(super) struct Adjust {
    /// The ticket
    #[arg(value_name = "TICKET")]
    ticket: PathBuf,
    /// What the wearer says, such as arch_pressure
    #[arg(long, value_name = "WORD")]
    complaint: String,
    /// Which foot
    #[arg(long, value_enum)]
    side: Option<SideArgument>,
    /// Write the next revision here; the ticket itself may be named
    #[arg(long, value_name = "FILE.toml")]
    out: Option<PathBuf>,
    /// When, as the history is to say it; the program adds no clock
    #[arg(long, value_name = "DATE", default_value = "", hide_default_value = true)]
    date: String,
}

/// What is told under `--json`.
#[derive(Serialize)]
#[serde(untagged)]
enum Report {
    Suggested {
        #[serde(flatten)]
        adjustment: Box<Adjustment>,
        written: Option<String>,
        /// Stops of the changed ticket.
        stops: Vec<Finding>,
        /// Whether the mill would take the changed ticket.
        pass: bool,
    },
    Refused {
        refused: String,
        kind: Refusal,
    },
}

impl Adjust {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.adjusted(shelf) {
            Err(failure) => console.fail(&failure),
            Ok(report) => {
                let is_good = matches!(report, Report::Suggested { pass: true, .. });
                let outcome = if is_good { Outcome::Good } else { Outcome::NotGood };
                console.done(self.out.is_some(), outcome, &report, || in_words(&report));
                outcome
            }
        }
    }

    fn adjusted(&self, shelf: &Shelf) -> Result<Report, Failure> {
        let loaded = tickets::load(&self.ticket, shelf)?;
        let side = self.side.map(Side::from);
        let found = intake::adjust(&loaded.ticket, &shelf.rules(), &self.complaint, side)
            .map_err(|error| Failure::of(&self.ticket, error))?;
        let adjustment = match found {
            Err(kind) => return Ok(Report::Refused { refused: kind.to_string(), kind }),
            Ok(adjustment) => adjustment,
        };
        let setting = Setting { side: adjustment.side, value: adjustment.value, to: adjustment.to };
        let because = Because { reason: adjustment.reason.clone(), date: self.date.clone() };
        let text = ticket::revise(&loaded.text, &loaded.ticket, &[setting], &because)
            .map_err(|error| Failure::of(&self.ticket, error))?;
        // Whatever is written is a ticket.
        let changed = tickets::read(&self.ticket, &text, shelf)?;
        let checked = job::check(&changed).map_err(|error| Failure::of(&self.ticket, error))?;
        if let Some(out) = &self.out {
            over::ticket(out, &text, Some((&self.ticket, &loaded.text)))?;
            self.write(out, &loaded.text, &text)?;
        }
        let written = self.out.as_ref().map(|out| out.display().to_string());
        let (stops, pass) = (stops(&checked), checked.pass);
        Ok(Report::Suggested { adjustment: Box::new(adjustment), written, stops, pass })
    }

    /// In the place of the ticket itself only where that still stands as it was read.
    fn write(&self, out: &Path, read: &str, text: &str) -> Result<(), Failure> {
        if !same(out, &self.ticket) {
            return folder::write_file(out, text.as_bytes());
        }
        match folder::replace_file(out, read, text)? {
            None => Ok(()),
            Some(_) => Err(Failure::of(
                out,
                "this ticket was changed while its change was worked out; nothing was written: try again",
            )),
        }
    }
}

/// What keeps the changed ticket from the mill.
fn stops(checked: &CheckReport) -> Vec<Finding> {
    let of_foot = |foot: &FootReport| {
        let reason = foot.accepted_reason.clone();
        foot.findings.iter().filter(move |f| f.blocks(reason.as_deref())).cloned().collect::<Vec<_>>()
    };
    checked.feet.iter().flat_map(of_foot).collect()
}

fn in_words(report: &Report) -> String {
    let (told, written, stops, pass) = match report {
        Report::Refused { refused, .. } => return wrapped("refused: ", refused),
        Report::Suggested { adjustment, written, stops, pass } => (adjustment, written, stops, *pass),
    };
    let mut lines =
        vec![wrapped("", &format!("{} r{}  {} foot: {}", told.ticket, told.revision, told.side.name(), told.words))];
    lines.extend(told.check_first.iter().map(|check| wrapped("  look first: ", check)));
    lines.extend(told.passed_over.iter().map(|why| wrapped("  no room: ", why)));
    let change = format!("{} {} -> {} {}: {}", told.value.words(), told.from, told.to, told.unit, told.because);
    lines.push(wrapped("  then one change: ", &change));
    lines.extend(told.less.iter().map(|why| wrapped("  less than a step: ", why)));
    lines.push(wrapped("  change nothing on: ", &told.refer_when));
    lines.push(wrapped("  from: ", &told.source));
    lines.extend(stops.iter().map(|stop| wrapped(&format!("  {} foot, stop: ", stop.side.name()), &stop.message)));
    let state = match pass {
        true => "try it before anything else is changed",
        false => "the stops above keep it from the mill: settle them first (`sustent check` tells how)",
    };
    lines.push(match written {
        Some(out) => wrapped("", &format!("revision {} in {out}; {state}", told.revision + 1)),
        None if pass => "nothing was written (--out FILE)".to_owned(),
        None => wrapped("", &format!("nothing was written (--out FILE); {state}")),
    });
    lines.join("\n")
}
