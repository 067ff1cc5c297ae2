//! `sustent preview`: the drawing of a ticket as one page to look at.

use std::path::PathBuf;

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::output::Console;
use super::over::{self, Made};
use super::words;
use super::{Outcome, folder, tickets};
use crate::job::{self, CheckReport, Paths, Precision};
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The page is one file that loads nothing: it opens from a stick, without a
network. It shows the plan with contour lines, sections where they are cut and
one that moves, the thickness at the pointer, findings as numbered notes, the
effect in the boot, left against right, the pieces in the round, and each
program's path. A foot with a stop shows its design and its findings, but no
paths.

Examples:
  sustent preview ticket.toml --out look.html
  sustent preview ticket.toml --out look.html --no-paths     sooner and smaller

Exit status: 0 passes, 1 stopped (the page is written), 2 could not be done.";

/// Arguments of `preview`.
#[derive(Debug, clap::Args)]
pub(super) struct PreviewVerb {
    /// The ticket
    #[arg(value_name = "TICKET")]
    ticket: PathBuf,
    /// The page to write
    #[arg(long, value_name = "FILE.html")]
    out: PathBuf,
    /// Leave out where the cutters go
    #[arg(long)]
    no_paths: bool,
}

/// What was written, and what `check` says of the same ticket.
#[derive(Serialize)]
struct Written<'a> {
    file: String,
    bytes: usize,
    #[serde(flatten)]
    report: &'a CheckReport,
}

impl PreviewVerb {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.attempt(shelf, console) {
            Ok(outcome) => outcome,
            Err(failure) => console.fail(&failure),
        }
    }

    fn attempt(&self, shelf: &Shelf, console: &Console) -> Result<Outcome, Failure> {
        let loaded = tickets::load(&self.ticket, shelf)?;
        keep_apart(&[("the ticket", Some(&loaded.path))], &[("the page", Some(&self.out))])?;
        over::made(&self.out, Made::Preview)?;
        let bar = console.progress(1);
        let paths = if self.no_paths { Paths::LeftOut } else { Paths::Planned };
        let made = job::preview(&loaded.ticket, &loaded.text, paths, Precision::SHOP);
        bar.finish_and_clear();
        let preview = made.map_err(|error| Failure::of(&loaded.path, error))?;
        folder::write_file(&self.out, preview.html.as_bytes())?;
        let report = &preview.report;
        let written = Written { file: self.out.display().to_string(), bytes: preview.html.len(), report };
        let outcome = if report.pass { Outcome::Good } else { Outcome::NotGood };
        console.found(outcome, &written, || in_words(&written));
        Ok(outcome)
    }
}

fn in_words(written: &Written) -> String {
    let report = written.report;
    let mut lines = vec![format!("{} r{}", report.ticket, report.revision)];
    for foot in &report.feet {
        lines.extend(words::findings(foot.side, &foot.findings, foot.accepted_reason.as_deref()));
    }
    lines.push(words::wrapped("  ", &format!("{} ({:.2} MB)", written.file, written.bytes as f64 / 1e6)));
    if !report.pass {
        lines.push("stopped: the stopped feet have no paths on the page".into());
    }
    lines.join("\n")
}
