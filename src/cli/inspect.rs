//! `sustent inspect`: the made piece against its ticket.

use std::path::PathBuf;

use serde::Serialize;

use super::failure::Failure;
use super::output::Console;
use super::tickets::{self, read_text};
use super::words::wrapped;
use super::{Outcome, SideArgument, folder, log};
use crate::frame::Side;
use crate::inspect::{Case, Cover, Entry, Inspection, LONGEST_TABLE, Verdict, inspect, read_table};
use crate::job;
use crate::profile::Shelf;

/// What `--help` adds.
pub(super) const HELP: &str = "\
Readings are a table in CSV, a line for each, repeats welcome:

  value,reading,unit,arm,station,medial,resolution,note
  medial_arch,18.2,mm,,,,0.05,
  medial_arch,18.1,mm,,,,0.05,
  post_height_medial,5.4,mm,10,,,,
  post_height_lateral,4.9,mm,10,,,,
  thickness,6.1,mm,,42,-8,,

Only `value` and `reading` are needed. Values are those of `sustent check`;
besides them post_height_medial and _lateral (height of the seat above the plate
`arm` mm beside the heel centre), forefoot_thickness_medial and _lateral,
base_flatness (widest gap on a flat plate), and thickness at `station` per cent
of the foot's length and `medial` mm from its axis. Length, ball_width and
heel_width are of the trimmed edge.

A value is accepted or rejected only when its whole uncertainty (k = 2) agrees;
otherwise it is borderline and has to be measured again.

Examples:
  sustent inspect ticket.toml --side left --readings left.csv
  sustent inspect ticket.toml --side left --readings left.csv \\
      --record left.html --log workshop.jsonl --note 2026-11-20

Exit status: 0 accepted, 1 not accepted, 2 could not be done.";

/// Arguments of `inspect`.
#[derive(Debug, clap::Args)]
pub(super) struct Inspect {
    /// The ticket of the piece
    #[arg(value_name = "TICKET")]
    ticket: PathBuf,
    /// Which foot's piece it is
    #[arg(long, value_enum)]
    side: SideArgument,
    /// Gauge readings
    #[arg(long, value_name = "FILE.csv")]
    readings: PathBuf,
    /// It was measured with its cover on
    #[arg(long)]
    covered: bool,
    /// What is accepted
    #[arg(long, value_name = "NAME", default_value = "workshop")]
    tolerances: String,
    /// Write the one-page record here
    #[arg(long, value_name = "FILE.html")]
    record: Option<PathBuf>,
    /// Add a line to this log, which `sustent drift` reads
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Kept with the record and the log, such as the date
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    note: String,
}

/// What was found, and of what.
#[derive(Serialize)]
struct Inspected {
    ticket: String,
    revision: u32,
    #[serde(flatten)]
    inspection: Inspection,
}

impl Inspect {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.inspected(shelf) {
            Err(failure) => console.fail(&failure),
            Ok(found) => {
                console.tell(&found, || in_words(&found));
                if found.inspection.verdict == Verdict::Accept { Outcome::Good } else { Outcome::NotGood }
            }
        }
    }

    fn inspected(&self, shelf: &Shelf) -> Result<Inspected, Failure> {
        let loaded = tickets::load(&self.ticket, shelf)?;
        let order = loaded.foot(Side::from(self.side))?;
        let tolerances = shelf.tolerances(&self.tolerances).map_err(|unknown| Failure::new(unknown.to_string()))?;
        let text = read_text(&self.readings, LONGEST_TABLE + 1)?;
        let readings = read_table(&self.readings.display().to_string(), &text)
            .map_err(|problems| Failure::of_problems(&self.readings, problems))?;
        let design = job::design(&loaded.ticket, order).map_err(|error| Failure::of(&self.ticket, error))?;
        let case = Case {
            make: &loaded.ticket.make,
            order,
            footbed: &design.footbed,
            read_back: &design.read_back,
            tolerances,
        };
        let cover = if self.covered { Cover::On } else { Cover::Off };
        let inspection = inspect(&case, &readings, cover).map_err(|error| Failure::of(&self.readings, error))?;
        let ticket = &loaded.ticket;
        if let Some(path) = &self.record {
            let sha256 = job::sha256_hex(loaded.text.as_bytes());
            let html = job::record(ticket, &design, tolerances, &inspection, &sha256, &self.note, None)
                .map_err(|error| Failure::of(path, error))?;
            folder::write_file(path, html.as_bytes())?;
        }
        if let Some(path) = &self.log {
            log::append(path, &Entry::new(&ticket.code, ticket.revision, &case, &inspection, &self.note))?;
        }
        Ok(Inspected { ticket: ticket.code.clone(), revision: ticket.revision, inspection })
    }
}

fn in_words(found: &Inspected) -> String {
    let Inspected { ticket, revision, inspection } = found;
    let mut lines = vec![
        format!("{ticket} r{revision}  {} foot", inspection.side.name()),
        format!("  {:<20} {:>7} {:>7} {:>7} {:>6}  {:>2}", "", "asked", "made", "off by", "+-", "n"),
    ];
    let checks = inspection.checks.iter().map(|found| {
        let place = found.at_mm.map_or(String::new(), |[x, y]| format!(" x{x:.0} y{y:.0}"));
        (format!("{}{place}", found.check.words()), &found.judged)
    });
    let values = inspection.values.iter().map(|(value, judged)| (value.words(), judged));
    lines.extend(values.chain(checks).map(|(words, j)| {
        format!(
            "  {words:<20} {:>7.2} {:>7.2} {:>+7.2} {:>6.2} {:>3}  {} {}",
            j.asked,
            j.made,
            j.difference,
            j.uncertainty,
            j.readings,
            j.unit,
            j.verdict.word()
        )
    }));
    lines.extend(inspection.advice.iter().map(|line| wrapped("  -> ", line)));
    lines.extend(inspection.notes.iter().map(|line| wrapped("  note: ", line)));
    if !inspection.not_judged.is_empty() {
        let words: Vec<String> = inspection.not_judged.iter().map(|value| value.words()).collect();
        lines.push(wrapped("  not measured: ", &words.join(", ")));
    }
    lines.push(inspection.verdict.word().to_string());
    lines.join("\n")
}
