//! `sustent mill`: the main job, for one ticket or many.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::batch::{self, Tally};
use super::before::{self, Otherwise, Replaced};
use super::failure::Failure;
use super::output::{Console, Detail};
use super::tickets::{self, Loaded};
use super::words::{self, wrapped};
use super::{Outcome, SideArgument, folder};
use crate::frame::Side;
use crate::job::{self, FootReport, JobReport, Made, Precision};
use crate::profile::Shelf;
use crate::ticket;

/// What `--help` adds.
pub(super) const HELP: &str = "\
Each job gets the folder DIR/CODE-rREVISION, there whole or not at all. A job of
the same code and revision is replaced in one step; notes and pictures that
people put into its folder stay, and a program that was changed there by hand is
not replaced. Nothing is written for a ticket that a stop keeps from the mill or
whose programs do not prove; other tickets go on. A stop can be accepted by a
reason typed on the ticket, unless it is physically impossible.

Examples:
  sustent mill ticket.toml --out jobs
  sustent mill monday/ tuesday/ --out jobs     every ticket there, a row each
  sustent mill monday/ --out jobs --quiet      only what did not come to a job
  sustent mill ticket.toml --out jobs --side left
  sustent mill ticket.toml --out jobs --json | jq .proof.pass

Exit status: 0 proven and written, 1 stopped or not proven, 2 could not be done;
with several tickets the gravest of theirs.";

/// Arguments of `mill`.
#[derive(Debug, clap::Args)]
pub(super) struct Mill {
    /// Tickets, or folders of tickets
    #[arg(required = true, value_name = "TICKET")]
    tickets: Vec<PathBuf>,
    /// Folder in which each job gets a folder of its own; made when it is not there
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Only this foot
    #[arg(long, value_enum)]
    side: Option<SideArgument>,
}

/// How each of the tickets is told.
#[derive(Clone, Copy)]
enum Form {
    /// Everything.
    Whole,
    /// A row of a table, and what stops it.
    Rows,
}

/// A ticket that was carried through: cut and proved, or stopped.
#[derive(Serialize)]
pub(super) struct Milled {
    /// Where its files are; `null` when nothing was written.
    pub(super) folder: Option<String>,
    /// Where the same ticket gave other programs before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) otherwise_before: Option<Otherwise>,
    /// The job that lay there before, where something of it is lost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) replaced: Option<Replaced>,
    /// Where an earlier job of this code and revision still lies, when nothing was written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) still_there: Option<String>,
    #[serde(flatten)]
    pub(super) report: JobReport,
}

impl Milled {
    /// Notes on what lay, or still lies, where this job belongs.
    pub(super) fn notes(&self) -> Vec<String> {
        let still =
            |folder: &String| wrapped("  ", &format!("note: programs of the earlier ticket still lie in {folder}"));
        let otherwise = self.otherwise_before.as_ref().map(Otherwise::words);
        let replaced = self.replaced.as_ref().map(Replaced::words);
        otherwise.into_iter().chain(replaced).chain(self.still_there.as_ref().map(still)).collect()
    }
}

impl Mill {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        // Told before minutes of work and not after.
        if let Err(failure) = folder::can_fill(&self.out) {
            return console.fail(&failure);
        }
        let tickets = only_once(tickets::load_all(&self.tickets, shelf, console));
        let form = if tickets.len() > 1 && console.detail() < Detail::Much { Form::Rows } else { Form::Whole };
        let mut telling = console.telling(tickets.len());
        let mut tally = Tally::default();
        let mut next = tickets.iter();
        let mut has_head = false;
        let work = |ticket: &Result<Loaded, Failure>| self.one(ticket.as_ref().map_err(Failure::clone)?);
        job::in_lanes(&tickets, work, |ending| {
            let ticket = next.next();
            let ending = ending.unwrap_or_else(|broke_off| Err(tickets::broke_off(ticket, &broke_off)));
            let outcome = outcome(&ending);
            let is_shown = console.shows(outcome);
            let words = match form {
                Form::Whole => ending.as_ref().map_or(String::new(), |job| in_words(job, console.detail())),
                Form::Rows => batch::row(&ending, !has_head),
            };
            has_head |= is_shown;
            telling.one(&ending, outcome, &words);
            if let Ok(job) = &ending
                && !is_shown
            {
                // What is lost is told to whoever asked for little.
                job.notes().iter().for_each(|note| console.aside(note.trim_start()));
            }
            tally.add(&ending);
        });
        let gravest = telling.end();
        if tickets.len() > 1 {
            console.remark(gravest, &tally.words());
        }
        gravest
    }

    fn one(&self, loaded: &Loaded) -> Result<Milled, Failure> {
        let side = self.side.map(Side::from);
        side.map(|side| loaded.foot(side)).transpose()?;
        let Made { report, files } = job::make(&loaded.ticket, &loaded.text, side, Precision::SHOP)
            .map_err(|error| Failure::of(&loaded.path, error))?;
        let name = folder_name(loaded);
        let folder = self.out.join(&name);
        let shown = folder.display().to_string();
        let earlier = before::earlier(&folder);
        if !report.pass {
            let still_there = earlier.map(|_| shown);
            return Ok(Milled { folder: None, otherwise_before: None, replaced: None, still_there, report });
        }
        let otherwise_before = earlier.as_ref().and_then(|earlier| before::otherwise(earlier, &report));
        folder::write(&self.out, &name, &files)?;
        let replaced = earlier.as_ref().and_then(|earlier| before::replaced(earlier, &report, &folder));
        Ok(Milled { folder: Some(shown), otherwise_before, replaced, still_there: None, report })
    }
}

fn outcome(ending: &Result<Milled, Failure>) -> Outcome {
    match ending {
        Ok(job) if job.report.pass => Outcome::Good,
        Ok(_) => Outcome::NotGood,
        Err(_) => Outcome::CouldNot,
    }
}

fn folder_name(loaded: &Loaded) -> String {
    ticket::job_name(&loaded.ticket.code, i64::from(loaded.ticket.revision))
}

/// Refuses tickets whose job would overwrite that of an earlier one in this run.
fn only_once(tickets: Vec<Result<Loaded, Failure>>) -> Vec<Result<Loaded, Failure>> {
    let mut taken: BTreeMap<String, PathBuf> = BTreeMap::new();
    let mut once = |loaded: Loaded| {
        // Some disks take PATROL and Patrol for one folder.
        let name = folder_name(&loaded).to_lowercase();
        if let Some(first) = taken.get(&name) {
            return Err(taken_by(&loaded, first));
        }
        taken.insert(name, loaded.path.clone());
        Ok(loaded)
    };
    tickets.into_iter().map(|ticket| ticket.and_then(&mut once)).collect()
}

fn taken_by(loaded: &Loaded, first: &Path) -> Failure {
    let (name, first) = (folder_name(loaded), first.display());
    let message = format!("{name} is already the job of {first} in this run; change the code or the revision of one");
    Failure::of(&loaded.path, message)
}

fn in_words(job: &Milled, detail: Detail) -> String {
    let report = &job.report;
    let mut lines = vec![format!("{} r{}", report.ticket, report.revision)];
    for foot in &report.feet {
        lines.push(words::foot(foot.side));
        if detail == Detail::Much {
            lines.extend(value_lines(foot));
        }
        lines.extend(foot.findings.iter().map(|f| words::finding(f, foot.accepted_reason.as_deref())));
    }
    // What was not written is not listed: a job of a pair is all or nothing.
    let programs = if job.folder.is_some() { report.programs.as_slice() } else { &[] };
    let longest = programs.iter().map(|p| p.file.len()).max().unwrap_or(0);
    lines.extend(programs.iter().map(|program| {
        let minutes = program.time_s / 60.0;
        format!("  {:<longest$} {minutes:>6.1} min  {}", program.file, program.cutter.name)
    }));
    if !programs.is_empty() {
        let (minutes, held) = (report.time_s / 60.0, report.bounded_by.words(3));
        lines.push(wrapped("  time: ", &format!("{minutes:.1} min in all; {held}")));
    }
    if let Some(proof) = report.proof.as_ref().filter(|proof| job.folder.is_some() || !proof.pass) {
        lines.extend(words::violations(&proof.violations));
        let figures = format!(
            "{:.3} mm below the design at most, scallop {} (99 %), {} rapids in stock",
            proof.max_gouge_mm,
            words::mm(proof.scallop_p99_mm),
            proof.rapid_contacts
        );
        lines.push(wrapped("  proof: ", &figures));
    }
    lines.extend(job.notes());
    lines.push(match (&job.folder, &report.proof) {
        // The report lists every file but itself.
        (Some(folder), _) => wrapped("  ", &format!("{} files in {folder}", report.files.len() + 1)),
        (None, Some(proof)) if !proof.pass => "refused: the programs do not prove; nothing was written".into(),
        (None, _) => "stopped: nothing was written".into(),
    });
    lines.join("\n")
}

/// The table of values: asked, read back from the design, gauged on what the programs leave.
fn value_lines(foot: &FootReport) -> Vec<String> {
    let mut lines = vec![format!("    {:<24}{:>8}{:>8}{:>8}", "", "asked", "reads", "carved")];
    lines.extend(foot.values.iter().map(|(value, report)| {
        let name = format!("{}, {}", value.words(), report.unit);
        let [asked, reads, carved] = [report.asked, report.read_back, report.carved].map(words::hundredths);
        format!("    {name:<24}{asked:>8}{reads:>8}{carved:>8}")
    }));
    lines
}
