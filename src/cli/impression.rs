//! `sustent impression`: a scan of a foot or of its mould becomes landmarks, measures and a ticket.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::apart::keep_apart;
use super::failure::Failure;
use super::inspect::UnitArgument;
use super::output::Console;
use super::words::wrapped;
use super::{Outcome, SideArgument, folder, over, tickets};
use crate::foot::Loading;
use crate::impression::{self, Asked, Fault, Followed, Impression, Kind, Landmark, Measure, Shares, Wanted, ZoneFit};
use crate::limits::Finding;
use crate::mesh;
use crate::profile::Shelf;
use crate::value::figure;

/// What `--help` adds.
pub(super) const HELP: &str = "\
The scan (STL, PLY, OBJ, or points as text) may lie in any pose and unit: a bare
foot, with or without its leg, or a sole alone, as a cast or a foam box has it.
Measures come with a standard error: from the scan's own noise, and from where
another look at the same foot would put its frame. Support, fit, comfort: a scan
says nothing about what hurts, and the footbed is tried standing.

Examples:
  sustent impression left.stl --side left
  sustent impression left.stl --side left --loading seated \\
      --measures-out left.toml
  sustent impression left.stl --side left --loading seated --heel-cup 50 \\
      --arch 60 --code PATROL-12 --out ticket.toml

With --heel-cup and --arch at 0, as they are when left out, the ticket has
starting values only and its top is the one without a scan.

Exit status: 0 measured (and the ticket passes the limits), 1 the ticket is
stopped, 2 could not be done: no foot, the other side, a unit that does not fit.";

/// Arguments of `impression`.
#[derive(Debug, clap::Args)]
pub(super) struct ImpressionVerb {
    /// The scan
    #[arg(value_name = "SCAN")]
    scan: PathBuf,
    /// Which foot it is
    #[arg(long, value_enum)]
    side: SideArgument,
    /// How loaded the foot was when it was scanned or pressed
    #[arg(long, value_enum)]
    loading: Option<LoadingArgument>,
    /// The scan's unit, where the file does not say it and it is not millimetres
    #[arg(long, value_enum, alias = "units")]
    unit: Option<UnitArgument>,
    /// Write a ticket here
    #[arg(long, value_name = "TICKET.toml", requires = "loading")]
    out: Option<PathBuf>,
    /// Write the measures here, for `intake`
    #[arg(long, value_name = "MEASURES.toml", requires = "loading")]
    measures_out: Option<PathBuf>,
    /// How far the ticket's heel cup follows the scan
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0, value_parser = percent, requires = "out")]
    heel_cup: f64,
    /// How far the ticket's arches follow the scan
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0, value_parser = percent, requires = "out")]
    arch: f64,
    /// The code that ticket and measures go by; IMPRESSION when not said
    #[arg(long, value_name = "CODE")]
    code: Option<String>,
}

/// What goes without a code of its own. A file's name would not do: people name scans after people.
const NO_CODE: &str = "IMPRESSION";

/// Loading, on the command line.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum LoadingArgument {
    Unloaded,
    Seated,
    Standing,
}

impl From<LoadingArgument> for Loading {
    fn from(loading: LoadingArgument) -> Loading {
        match loading {
            LoadingArgument::Unloaded => Loading::Unloaded,
            LoadingArgument::Seated => Loading::Seated,
            LoadingArgument::Standing => Loading::Standing,
        }
    }
}

fn percent(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(share) if (0.0..=100.0).contains(&share) => Ok(share),
        _ => Err("give a share from 0 to 100 per cent".to_string()),
    }
}

/// What is told.
#[derive(Serialize)]
struct Report<'a> {
    side: crate::frame::Side,
    loading: Option<&'static str>,
    unit: &'static str,
    kind: Kind,
    probable_other_side: bool,
    side_margin: f64,
    unlike: f64,
    noise_mm: f64,
    samples: usize,
    landmarks: &'a [Landmark],
    measures: &'a [Measure],
    notes: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    measures_written: Option<String>,
    /// The ticket's text, when one was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    ticket: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    written: Option<String>,
    follows: &'a [ZoneFit],
    findings: Vec<&'a Finding>,
    pass: bool,
}

impl ImpressionVerb {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        match self.told(shelf, console) {
            Ok(outcome) => outcome,
            Err(failure) => console.fail(&failure),
        }
    }

    fn told(&self, shelf: &Shelf, console: &Console) -> Result<Outcome, Failure> {
        let written = [("the ticket", self.out.as_deref()), ("the measures", self.measures_out.as_deref())];
        keep_apart(&[("the scan", Some(self.scan.as_path()))], &written)?;
        let found = self.taken()?;
        let followed = match self.loading.map(Loading::from).filter(|_| self.out.is_some()) {
            None => None,
            Some(loading) => {
                let shares = Shares { heel_cup: self.heel_cup / 100.0, arch: self.arch / 100.0 };
                let wanted = Wanted { code: self.code(), loading, shares };
                Some(impression::follow(&found, &wanted, shelf).map_err(|error| Failure::of(&self.scan, error))?)
            }
        };
        self.write(&found, followed.as_ref())?;
        let report = self.report(&found, followed.as_ref());
        let outcome = if report.pass { Outcome::Good } else { Outcome::NotGood };
        let words = || in_words(&report, followed.as_ref(), &self.scan);
        // With a file to write that is what was asked for; else what is told is.
        match written.iter().all(|(_, out)| out.is_none()) {
            true => console.tell(&report, words),
            false => console.found(outcome, &report, words),
        }
        Ok(outcome)
    }

    fn code(&self) -> &str {
        self.code.as_deref().unwrap_or(NO_CODE)
    }

    fn taken(&self) -> Result<Impression, Failure> {
        let path = &self.scan;
        let (file, size) = tickets::open_file(path)?;
        let scan =
            mesh::read_scan(file, Some(size), &path.display().to_string()).map_err(|error| Failure::of(path, error))?;
        let asked = Asked { side: self.side.into(), unit: self.unit.map(Into::into) };
        let mut found = impression::take(&scan, asked).map_err(|fault: Fault| {
            let other = fault.probable_other_side();
            Failure::of(path, fault).with_other_side(other)
        })?;
        found.notes.splice(0..0, scan.facts());
        Ok(found)
    }

    fn write(&self, found: &Impression, followed: Option<&Followed>) -> Result<(), Failure> {
        self.measures_out.as_deref().map_or(Ok(()), over::nothing)?;
        if let (Some(out), Some(followed)) = (&self.out, followed) {
            over::ticket(out, &followed.ticket, None)?;
        }
        if let (Some(out), Some(loading)) = (&self.measures_out, self.loading) {
            let text = impression::measures_file(found, self.code(), loading.into());
            folder::write_file(out, text.as_bytes())?;
        }
        if let (Some(out), Some(followed)) = (&self.out, followed) {
            folder::write_file(out, followed.ticket.as_bytes())?;
        }
        Ok(())
    }

    fn report<'a>(&self, found: &'a Impression, followed: Option<&'a Followed>) -> Report<'a> {
        let shown = |path: &Option<PathBuf>| path.as_ref().map(|path| path.display().to_string());
        let extra = followed.map_or(&[][..], |followed| &followed.notes);
        let is_written = self.out.is_some() || self.measures_out.is_some();
        let no_code = (is_written && self.code.is_none())
            .then(|| format!("it goes by the code {NO_CODE}: give every person a code of their own with --code"));
        Report {
            side: found.side,
            loading: self.loading.map(|loading| impression::loading_word(loading.into())),
            unit: found.unit.symbol(),
            kind: found.kind,
            probable_other_side: false,
            side_margin: found.side_margin,
            unlike: found.unlike,
            noise_mm: found.noise_mm,
            samples: found.samples,
            landmarks: &found.landmarks,
            measures: &found.measures,
            notes: found.notes.iter().chain(extra).cloned().chain(no_code).collect(),
            measures_written: shown(&self.measures_out),
            ticket: followed.map(|followed| followed.ticket.as_str()),
            written: shown(&self.out),
            follows: followed.map_or(&[], |followed| &followed.fits),
            findings: followed.iter().flat_map(|f| &f.report.feet).flat_map(|foot| &foot.findings).collect(),
            pass: followed.is_none_or(|followed| followed.report.pass),
        }
    }
}

fn in_words(report: &Report, followed: Option<&Followed>, path: &Path) -> String {
    let kind = match report.kind {
        Kind::Foot => "a foot",
        Kind::Sole => "a sole, from outside",
        Kind::Mould => "a mould: the sole from inside",
        Kind::Either => "a sole, from points alone",
    };
    let loading = report.loading.unwrap_or("loading not said");
    let side = report.side.name();
    let mut lines = vec![format!("{side} foot, {loading}  from {}: {kind}, in {}", path.display(), report.unit)];
    lines.push(format!("  {:<17}{:>7}{:>7}  {:<14}", "", "", "+-", "noise, frame").trim_end().into());
    lines.extend(report.measures.iter().map(measure_words));
    let frame = "landmarks, mm: to the medial side, to the toes from the rear of the heel, up from heel and met heads";
    lines.push(wrapped("  ", frame));
    lines.extend(report.landmarks.iter().map(landmark_words));
    lines.extend(report.notes.iter().map(|note| wrapped("  note: ", note)));
    lines.extend(report.follows.iter().map(fit_words));
    lines.extend(report.findings.iter().map(|finding| super::words::finding(finding, None)));
    if let Some(out) = report.measures_written.as_ref() {
        lines.push(format!("measures in {out}"));
    }
    if let (Some(_), Some(out)) = (followed, &report.written) {
        let state =
            if report.pass { "the limits let it pass" } else { "the limits stop it until the stops above are settled" };
        lines.push(format!("ticket in {out}; {state}"));
    }
    lines.join("\n")
}

fn measure_words(m: &Measure) -> String {
    let digits = if m.unit.is_empty() { 3 } else { 1 };
    let parts = format!("{:.digits$}, {:.digits$}", m.noise, m.definition);
    let name = m.name.replace('_', " ");
    wrapped(&format!("  {name:<17}{:>7.digits$}{:>7.digits$}  {parts:<14}", m.value, m.error), m.how)
}

fn landmark_words(landmark: &Landmark) -> String {
    let name = landmark.name.replace('_', " ");
    let [x, y, z] = landmark.at_mm.map(|mm| figure(mm, 1));
    format!("  {name:<19}{x:>7}{y:>7}{z:>7}  +-{:.1} along", landmark.along_mm)
}

fn fit_words(fit: &ZoneFit) -> String {
    let text = format!(
        "differs by {:.1} mm at half of {} places, {:.1} at 95 % of them, {:.1} at most ({:.1} at 95 % without)",
        fit.p50, fit.places, fit.p95, fit.max, fit.p95_without
    );
    wrapped("  ", &format!("{} follows the sole by {:.0} %: {text}", fit.zone.replace('_', " "), fit.share))
}
