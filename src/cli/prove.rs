//! `sustent prove`: programs judged by their own text.

use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::output::Console;
use super::tickets::read_bytes;
use super::words::{self, row, wrapped};
use super::{Outcome, SideArgument, tickets};
use crate::frame::Side;
use crate::job::{self, Precision, ProofReport, TextError, Thickness, Written};
use crate::nc;
use crate::profile::Shelf;
use crate::ticket::Ticket;
use crate::value::{Value, figure};

/// What `--help` adds.
pub(super) const HELP: &str = "\
Each program is read as a controller would read it and carved out of the
ticket's blank, one after the other; what is left is held against the design.
The comment (STEP: ROUGH), FINISH, REST, PERIMETER, FRAME, PINS or PIN
HOLES in a program says what it is for, and (FACE: UNDER) that it cuts the
underside, or else the end of its name. Programs of the underside are carved
first, in the blank that lies upside down; thickness is then judged from both
sides. A program that says it is for the other foot, as (SIDE: R) does, or of
another code, as (CODE: PATROL-07) does, is refused.

Examples:
  sustent prove jobs/PATROL-07-r2/*-L-*.ngc --ticket ticket.toml --side left
  sustent prove edited-finish.ngc --ticket ticket.toml --side left --json

Exit status: 0 proved, 1 refused, 2 could not be done.";

/// What the carved piece is held to when it is inspected like a scan.
const TOLERANCES: &str = "workshop";

/// Arguments of `prove`.
#[derive(Debug, clap::Args)]
pub(super) struct Prove {
    /// Programs, in the order they are run on one blank
    #[arg(required = true, value_name = "PROGRAM")]
    programs: Vec<PathBuf>,
    /// The ticket they are to serve
    #[arg(long, value_name = "TICKET")]
    ticket: PathBuf,
    /// Which foot
    #[arg(long, value_enum)]
    side: SideArgument,
}

impl Prove {
    pub(super) fn run(&self, shelf: &Shelf, console: &Console) -> Outcome {
        let bar = console.progress(1);
        let proved = self.proved(shelf);
        bar.finish_and_clear();
        match proved {
            Err(failure) => console.fail(&failure),
            Ok(report) => {
                let outcome = if report.proof.pass { Outcome::Good } else { Outcome::NotGood };
                console.found(outcome, &report, || in_words(&report));
                outcome
            }
        }
    }

    fn proved(&self, shelf: &Shelf) -> Result<ProofReport, Failure> {
        let loaded = tickets::load(&self.ticket, shelf)?;
        let side = Side::from(self.side);
        loaded.foot(side)?;
        let programs: Vec<Written> =
            self.programs.iter().map(|path| program(path, &loaded.ticket, side)).collect::<Result<_, _>>()?;
        let feet = job::laid(&loaded.ticket, Some(side)).map_err(|error| Failure::of(&self.ticket, error))?;
        let Some((design, lay)) = feet.first() else {
            return Err(Failure::of(&self.ticket, format!("there is no {} foot to prove against", side.name())));
        };
        let proved = job::prove(&loaded.ticket, design, lay, &programs, Precision::SHOP)
            .map_err(|error| Failure::of(&self.ticket, error))?;
        let mut report = ProofReport::of(&proved);
        // What a spoilt piece would pass for is no comfort, and one that is cut through is no solid.
        if report.proof.pass && report.thickness == Thickness::BothSides {
            let tolerances = shelf.tolerances(TOLERANCES).map_err(|unknown| Failure::new(unknown.to_string()))?;
            let inspected = job::inspect_carved(&loaded.ticket, design, &proved, tolerances, Precision::SHOP)
                .map_err(|error| Failure::of(&self.ticket, error))?;
            match inspected {
                Ok(inspection) => report.as_scanned = Some(inspection),
                Err(fault) => report.cautions.push(format!("inspected like a scan of the piece: {fault}")),
            }
        }
        Ok(report)
    }
}

/// One program as its text says it; another ticket's is refused, and the other foot's.
fn program(path: &Path, ticket: &Ticket, side: Side) -> Result<Written, Failure> {
    let bytes = read_bytes(path, nc::MOST_BYTES)?;
    let name = path.file_name().map_or(String::new(), |name| name.to_string_lossy().into_owned());
    let written = Written::from_text(&name, &bytes, &ticket.make).map_err(|error| match error {
        TextError::Refused(refusals) => Failure::of_refusals(path, &refusals),
        TextError::NoStep | TextError::NoRest | TextError::Offset { .. } => Failure::of(path, error),
    })?;
    if let Some(own) = written.code.as_ref().filter(|own| !own.eq_ignore_ascii_case(&ticket.code)) {
        let told = format!(
            "this program is of {own}, as its comment (CODE: {own}) says, and the ticket is that of {}: name the programs \
             in its own folder",
            ticket.code
        );
        return Err(Failure::of(path, told));
    }
    match written.side {
        Some(own) if own != side => Err(Failure::of(
            path,
            format!(
                "this program is for the {own} foot, as its comment (SIDE: {letter}) says: name the programs of the {side} \
                 foot alone, or ask --side {own}",
                own = own.name(),
                letter = own.letter(),
                side = side.name()
            ),
        )),
        _ => Ok(written),
    }
}

/// What thickness was judged from, and the least that was found.
fn thickness(report: &ProofReport) -> Vec<String> {
    let from = match report.thickness {
        Thickness::BothSides => return vec![],
        Thickness::TopAlone => "from the top alone: give the underside's programs too to judge it from both sides",
        Thickness::NotJudged => "not judged: no program cuts the top",
    };
    vec![row("thickness", from)]
}

fn in_words(report: &ProofReport) -> String {
    let proof = &report.proof;
    let three = [proof.scallop_p50_mm, proof.scallop_p99_mm, proof.scallop_max_mm].map(words::mm);
    let mut lines = vec![
        row("deepest below the design", &format!("{:.3} mm", proof.max_gouge_mm)),
        row("scallop, half / 99 % / most", &three.join(" / ")),
        row("out of the cutter's reach", &words::mm(proof.unreached_max_mm)),
        row("rapids that met stock", &proof.rapid_contacts.to_string()),
        row("time", &format!("{:.1} min", proof.time_s / 60.0)),
        row("held by", &proof.bounded_by.words(3)),
        row("below the least chip load", &words::share(proof.rubbing_share)),
        row("cut", &format!("{:.1} m in {} lines", proof.cut_length_mm / 1000.0, proof.lines)),
    ];
    lines.extend(thickness(report));
    if !report.values.is_empty() {
        lines.push(wrapped("  ", "Values of the piece that these programs leave:"));
    }
    let told = |(value, x): (&Value, &f64)| row(&value.words(), &format!("{} {}", figure(*x, 2), value.unit()));
    lines.extend(report.values.iter().map(told));
    if let Some(inspection) = &report.as_scanned {
        lines.push(row("inspected like a scan of it", inspection.verdict.word()));
        lines.extend(inspection.advice.iter().map(|line| wrapped("  -> ", line)));
    }
    lines.extend(report.cautions.iter().map(|caution| words::caution(caution)));
    lines.extend(words::violations(&proof.violations));
    let end = match (proof.pass, report.cautions.is_empty()) {
        (true, true) => "proved",
        (true, false) => "proved, but for what the cautions say",
        (false, _) => "refused: do not run these programs",
    };
    lines.push(end.into());
    lines.join("\n")
}
