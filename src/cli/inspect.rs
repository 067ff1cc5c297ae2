//! `sustent inspect`: the made piece against its ticket.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::output::Console;
use super::over::{self, Made};
use super::tickets::{self, read_text};
use super::words::wrapped;
use super::{Outcome, SideArgument, folder, log};
use crate::frame::Side;
use crate::inspect::{
    self, Case, Cover, Entry, Inspection, LONGEST_TABLE, Scanned, Taken, Verdict, inspect, inspect_scan, read_table,
};
use crate::job;
use crate::mesh::{self, Scan, Unit};
use crate::profile::Shelf;
use crate::value::{figure, signed};

/// How it is called, a line for each way to measure.
pub(super) const USAGE: &str = "\
sustent inspect --side <SIDE> --readings <FILE.csv> [OPTIONS] <TICKET>
       sustent inspect --side <SIDE> --scan <FILE> [OPTIONS] <TICKET>";

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
  sustent inspect ticket.toml --side left --scan left.stl --record left.html

A scan (STL, PLY, OBJ, or points as text) may lie in any pose. Its unit is
millimetres unless --unit says otherwise. In brackets behind a value stands the
same value by least squares on the whole top.

Exit status: 0 accepted, 1 not accepted, 2 could not be done.";

/// Arguments of `inspect`.
#[derive(Debug, clap::Args)]
#[command(group(clap::ArgGroup::new("measured").required(true)))]
pub(super) struct Inspect {
    /// The ticket of the piece
    #[arg(value_name = "TICKET")]
    ticket: PathBuf,
    /// Which foot's piece it is
    #[arg(long, value_enum)]
    side: SideArgument,
    /// Gauge readings
    #[arg(long, value_name = "FILE.csv", group = "measured")]
    readings: Option<PathBuf>,
    /// A scan of the piece: STL, PLY, OBJ, or points as text
    #[arg(long, value_name = "FILE", group = "measured")]
    scan: Option<PathBuf>,
    /// The unit of the scan, when it is not millimetres
    #[arg(long, value_enum, requires = "scan", alias = "units")]
    unit: Option<UnitArgument>,
    /// What the scanner is off by in a length, mm, one standard deviation
    #[arg(long, value_name = "MM", requires = "scan", value_parser = scanner_error, allow_negative_numbers = true)]
    scanner_error: Option<f64>,
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
                let accepted = found.inspection.verdict == Verdict::Accept;
                let outcome = if accepted { Outcome::Good } else { Outcome::NotGood };
                console.found(outcome, &found, || in_words(&found));
                outcome
            }
        }
    }

    fn inspected(&self, shelf: &Shelf) -> Result<Inspected, Failure> {
        let loaded = tickets::load(&self.ticket, shelf)?;
        let read = [
            ("the ticket", Some(loaded.path.as_path())),
            ("the scan", self.scan.as_deref()),
            ("the table of readings", self.readings.as_deref()),
        ];
        keep_apart(&read, &[("the record", self.record.as_deref()), ("the log", self.log.as_deref())])?;
        let side = Side::from(self.side);
        let piece = format!("{} revision {} {}", loaded.ticket.code, loaded.ticket.revision, side.letter());
        self.record.as_deref().map_or(Ok(()), |record| over::made(record, Made::Record(&piece)))?;
        let order = loaded.foot(side)?;
        let tolerances = shelf.tolerances(&self.tolerances).map_err(|unknown| Failure::new(unknown.to_string()))?;
        let design = job::design(&loaded.ticket, order).map_err(|error| Failure::of(&self.ticket, error))?;
        let case = Case {
            make: &loaded.ticket.make,
            order,
            footbed: &design.footbed,
            read_back: &design.read_back,
            tolerances,
        };
        let cover = if self.covered { Cover::On } else { Cover::Off };
        let scanned = match (&self.readings, &self.scan) {
            (_, Some(scan)) => self.by_scan(scan, &case, cover)?,
            (Some(readings), None) => by_readings(readings, &case, cover)?,
            (None, None) => return Err(Failure::new("give --readings or --scan".to_string())),
        };
        let Scanned { inspection, map } = scanned;
        let ticket = &loaded.ticket;
        if let Some(path) = &self.record {
            let sha256 = job::sha256_hex(loaded.text.as_bytes());
            let html = job::record(ticket, &design, tolerances, &inspection, &sha256, &self.note, map.as_ref())
                .map_err(|error| Failure::of(path, error))?;
            folder::write_file(path, html.as_bytes())?;
        }
        if let Some(path) = &self.log {
            log::append(path, &Entry::new(&ticket.code, ticket.revision, &case, &inspection, &self.note))?;
        }
        Ok(Inspected { ticket: ticket.code.clone(), revision: ticket.revision, inspection })
    }

    /// Judges by a scan.
    fn by_scan(&self, path: &Path, case: &Case, cover: Cover) -> Result<Scanned, Failure> {
        let (file, size) = tickets::open_file(path)?;
        let scan =
            mesh::read_scan(file, Some(size), &path.display().to_string()).map_err(|error| Failure::of(path, error))?;
        let unit = self.unit_of(path, &scan)?;
        let cloud = inspect::cloud(&scan, unit).map_err(|error| Failure::of(path, error))?;
        let Scan { points, about, .. } = scan;
        let count = points.len();
        drop(points);
        let taken = Taken { cover, scanner_mm: self.scanner_error.unwrap_or(0.0) };
        let mut scanned = inspect_scan(case, &cloud, taken).map_err(|error| Failure::of(path, error))?;
        let facts = format!("{}; {count} points, taken in {}", about.format.words(), unit.words());
        scanned.inspection.notes.insert(0, facts);
        scanned.inspection.notes.extend(about.notes);
        Ok(scanned)
    }

    /// The unit that was said; else the file's own when that is millimetres; else millimetres, which
    /// the size then has to bear out.
    fn unit_of(&self, path: &Path, scan: &Scan) -> Result<Unit, Failure> {
        match (self.unit, scan.about.unit) {
            (Some(said), _) => Ok(said.into()),
            (None, Some((unit, place))) if unit != Unit::Millimetres => Err(Failure::of(
                path,
                format!("{place}: the file says it is in {unit}; say so too: --unit {}", unit.symbol()),
            )),
            (None, _) => Ok(Unit::Millimetres),
        }
    }
}

/// Judges by a table of readings.
fn by_readings(path: &Path, case: &Case, cover: Cover) -> Result<Scanned, Failure> {
    let text = read_text(path, LONGEST_TABLE + 1)?;
    let readings =
        read_table(&path.display().to_string(), &text).map_err(|problems| Failure::of_problems(path, problems))?;
    let inspection = inspect(case, &readings, cover).map_err(|error| Failure::of(path, error))?;
    Ok(Scanned { inspection, map: None })
}

/// `--scanner-error`: a length that is not negative.
fn scanner_error(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if (0.0..=5.0).contains(&mm) => Ok(mm),
        _ => Err("give a length from 0 to 5 mm".to_string()),
    }
}

/// Units of a scan, on the command line.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
pub(super) enum UnitArgument {
    Mm,
    Cm,
    M,
    In,
}

impl From<UnitArgument> for Unit {
    fn from(unit: UnitArgument) -> Unit {
        match unit {
            UnitArgument::Mm => Unit::Millimetres,
            UnitArgument::Cm => Unit::Centimetres,
            UnitArgument::M => Unit::Metres,
            UnitArgument::In => Unit::Inches,
        }
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
            "  {words:<20} {:>7} {:>7} {:>7} {:>6.2} {:>3}  {} {}",
            figure(j.asked, 2),
            figure(j.made, 2),
            signed(j.difference, 2),
            j.uncertainty,
            j.readings,
            j.unit,
            j.verdict.word()
        ) + &j.fitted.map_or(String::new(), |f| format!(" ({})", figure(f.made, 2)))
    }));
    lines.extend(
        inspection.surface.map(|s| format!("  {:<20} 95 % within {:.2} mm, at most {:.2}", "surface", s.p95, s.max)),
    );
    lines.extend(inspection.advice.iter().map(|line| wrapped("  -> ", line)));
    lines.extend(inspection.notes.iter().map(|line| wrapped("  note: ", line)));
    if !inspection.not_judged.is_empty() {
        let words: Vec<String> = inspection.not_judged.iter().map(|value| value.words()).collect();
        lines.push(wrapped("  not measured: ", &words.join(", ")));
    }
    lines.push(inspection.verdict.word().to_string());
    lines.join("\n")
}
