//! `sustent prove`: programs judged by their own text.

use std::fs;
use std::path::{Path, PathBuf};

use super::output::Console;
use super::{Outcome, SideArgument, tickets};
use crate::carve::Proof;
use crate::frame::Side;
use crate::job::{self, Precision, ProofReport};
use crate::nc;
use crate::profile::Shelf;
use crate::ticket::Ticket;

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
        match self.proved(shelf, console) {
            Ok(report) => {
                console.document(&report);
                console.say(&words(&report));
                if report.proof.pass { Outcome::Good } else { Outcome::NotGood }
            }
            Err(message) => {
                console.error(&message);
                Outcome::CouldNot
            }
        }
    }

    fn proved(&self, shelf: &Shelf, console: &Console) -> Result<ProofReport, String> {
        let loaded = tickets::load(&self.ticket, shelf, console)?;
        let side = Side::from(self.side);
        let order = loaded
            .ticket
            .feet
            .iter()
            .find(|order| order.side == side)
            .ok_or_else(|| format!("{}: the ticket has no {} foot", self.ticket.display(), side.name()))?;
        let texts = self.programs.iter().map(|path| text(path, &loaded.ticket)).collect::<Result<Vec<_>, String>>()?;
        let fault = |e: job::StageError| format!("{}: {e}", self.ticket.display());
        let design = job::design(&loaded.ticket, order).map_err(|e| fault(e.into()))?;
        let proved = job::prove(&loaded.ticket, &design, &texts, Precision::SHOP).map_err(fault)?;
        Ok(ProofReport { proof: proved.proof, values: proved.values })
    }
}

/// One program as its text says it; what it is for comes from its name.
fn text(path: &Path, ticket: &Ticket) -> Result<job::Written, String> {
    let name = path.file_name().map_or(String::new(), |n| n.to_string_lossy().into_owned());
    let size = fs::metadata(path).map_err(|e| format!("{}: {e}", path.display()))?.len();
    if size > nc::MOST_BYTES as u64 {
        return Err(format!("{}: {size} bytes; at most {} are read", path.display(), nc::MOST_BYTES));
    }
    let bytes = fs::read(path).map_err(|e| format!("{}: {e}", path.display()))?;
    job::Written::from_text(&name, &bytes, &ticket.make).map_err(|e| format!("{}: {e}", path.display()))
}

fn words(report: &ProofReport) -> String {
    let proof: &Proof = &report.proof;
    let mm = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.4} mm"));
    let mut lines = vec![
        format!("  deepest below the design   {:.4} mm", proof.max_gouge_mm),
        format!(
            "  scallop half / 99 % / most {} / {} / {}",
            mm(proof.scallop_p50_mm),
            mm(proof.scallop_p99_mm),
            mm(proof.scallop_max_mm)
        ),
        format!("  out of the cutter's reach  {}", mm(proof.unreached_max_mm)),
        format!("  rapids that met stock      {}", proof.rapid_contacts),
        format!("  time {:.0} s, cut {:.1} m, {} lines", proof.time_s, proof.cut_length_mm / 1000.0, proof.lines),
    ];
    lines.extend(report.values.iter().map(|(v, x)| format!("  {:<26} {x:.3} {}", v.words(), v.unit())));
    lines.extend(proof.violations.iter().map(|v| format!("  refused: {}:{}: {}", v.file, v.line, v.message)));
    lines.push(if proof.pass { "proved".into() } else { "refused: do not run these programs".into() });
    lines.join("\n")
}
