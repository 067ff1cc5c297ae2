//! The whole program on one page: [`make`] designs, checks, lays, plans, writes, reads back, carves,
//! gauges and draws. Value in, value out: no files, no clock, no printing.

mod as_scanned;
mod changes;
mod compare;
mod compare_page;
mod design;
mod draw;
mod flexing;
mod lanes;
mod lay;
mod lay_report;
mod live;
mod marks;
mod nest;
mod pieces;
mod preview;
mod programs;
mod proving;
mod record;
mod report;
mod target;
mod turning;
mod under;

use std::collections::BTreeMap;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::carve::CarveError;
use crate::draw::DrawError;
use crate::flex::Flex;
use crate::frame::Side;
use crate::limits::{self, Finding, Repair};
use crate::mesh::{MeshError, ScanError};
use crate::nc::{Refusals, WriteError};
use crate::path::{PathError, Step};
use crate::ticket::{self, Laying, Ticket};
use pieces::Solid;

pub use as_scanned::inspect_carved;
pub use changes::{Change, Told};
pub use compare::{
    Areas, CompareError, Compared, ComparedFoot, Comparison, Difference, Extreme, FootComparison, History,
    HistoryEntry, Named, Pair, ValueComparison, compare,
};
pub use compare_page::comparison_page;
pub use design::{Design, DesignError, design};
pub use lanes::{BrokeOff, in_lanes};
pub use lay::{Arrangement, Face, Lay, gap_mm, lay};
pub use lay_report::{ClampReport, LaidReport, LayReport, MarkReport};
pub use live::{Live, LiveFoot};
pub use marks::Mark;
pub use preview::{Paths, Preview, preview};
pub use programs::{TextError, Written, write};
pub use proving::{FaceFigures, Proved, Thickness, prove};
pub use record::record;
pub use report::{CheckReport, FileReport, FootReport, JobReport, PairProof, ProofReport, ValueReport};
pub use target::target;
pub use turning::{Pin, pins};
pub use under::target as under_target;

/// How finely a job is computed. What is written changes with these, so they are part of the job
/// and not of the machine it runs on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Precision {
    /// Lattice on which tip heights are planned, mm. At 0.25 mm the exact kernel's facets stray
    /// from the sheet by under 0.001 mm at a bend of radius 10 mm (s^2 / 8 r, derived).
    pub plan_mm: f64,
    /// Lattice on which the stock is carved, mm.
    pub carve_mm: f64,
    /// How far the design's mesh may stray from the design, mm.
    pub mesh_mm: f64,
    /// How far the carved piece's mesh may stray from the carved lattice, mm: about one scallop,
    /// so that the mesh shows the shape and not every cutter mark.
    pub carved_mesh_mm: f64,
}

impl Precision {
    /// What the shop uses.
    pub const SHOP: Precision = Precision { plan_mm: 0.25, carve_mm: 0.2, mesh_mm: 0.01, carved_mesh_mm: 0.1 };
}

/// A file to be written: its name within the job's folder, and what is in it.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct OutFile {
    pub name: String,
    pub bytes: Vec<u8>,
}

/// What a job came to. `files` is empty unless every foot passed its checks and its proof.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Made {
    pub report: JobReport,
    pub files: Vec<OutFile>,
}

/// Why a job could not be carried through; a job that was checked and found wanting is not an
/// error but a [`Made`] without files.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the stages of `make`
pub enum JobError {
    #[error("{} foot: {source}", side.name())]
    Foot { side: Side, source: StageError },
    #[error("the sheets: {0}")]
    Sheets(#[from] DrawError),
}

/// The stage that failed.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum StageError {
    #[error(transparent)]
    Design(#[from] DesignError),
    #[error("the {step} path: {source}")]
    Path { step: &'static str, source: PathError },
    #[error("the {step} program: {source}")]
    Write { step: &'static str, source: WriteError },
    #[error("the {step} program does not read back: {source}")]
    ReadBack { step: &'static str, source: Refusals },
    #[error("the proof: {0}")]
    Carve(#[from] CarveError),
    #[error("the mesh: {0}")]
    Mesh(#[from] MeshError),
    #[error("the carved piece as a scan: {0}")]
    Scan(#[from] ScanError),
    #[error("the 3MF file: {0}")]
    Package(std::io::Error),
    #[error("the drawing: {0}")]
    Draw(#[from] DrawError),
}

/// All findings of a ticket and the interval of every value, also of those that only other designs
/// tell; nothing is cut or drawn.
pub fn check(ticket: &Ticket) -> Result<CheckReport, JobError> {
    let feet: Vec<FootReport> =
        laid(ticket, None)?.into_par_iter().map(|(mut design, _)| reported(ticket, &mut design)).collect();
    let pass = feet.iter().all(|foot| foot.pass);
    Ok(CheckReport { ticket: ticket.code.clone(), revision: ticket.revision, feet, pass })
}

/// All there is to say of a designed foot before anything is cut.
fn reported(ticket: &Ticket, design: &mut Design) -> FootReport {
    let flex = flexing::under_load(ticket, design);
    design.search(ticket);
    FootReport { repair: design.repair(ticket), ..FootReport::new(design, &flex, None) }
}

/// The main job: from a resolved ticket to everything a workshop needs to cut the pair, or to the
/// findings that keep it from being cut. `ticket_text` is what the ticket was read from; its
/// checksum ties every program and sheet to it.
pub fn make(ticket: &Ticket, ticket_text: &str, side: Option<Side>, precision: Precision) -> Result<Made, JobError> {
    let sha256 = sha256_hex(ticket_text.as_bytes());
    let laid = laid(ticket, side)?.into_iter().map(|laid| (laid.1.side, laid)).collect();
    let feet = each_foot(laid, |(design, lay)| make_foot(ticket, design, lay, &sha256, precision))?;
    let pass = !feet.is_empty() && feet.iter().all(MadeFoot::passes);
    let mut files: Vec<OutFile> = vec![];
    if pass {
        files.extend(feet.iter().flat_map(|foot| foot.files()));
        files.push(draw::sheet(ticket, &feet, &sha256)?);
        files.push(draw::wearer(ticket, &feet)?);
    }
    let report = report::job(ticket, &feet, &sha256, &files, pass);
    if pass {
        files.push(OutFile { name: "job.json".into(), bytes: report.to_json() });
    }
    Ok(Made { report, files })
}

/// The feet of a ticket, or the one on `side`, designed and laid, with what was found. Where a pair
/// shares a blank, the other foot is laid with it whichever is asked for.
pub fn laid(ticket: &Ticket, side: Option<Side>) -> Result<Vec<(Design<'_>, Lay)>, JobError> {
    let asked = |foot: Side| side.is_none_or(|side| side == foot);
    // Both feet in one blank are laid together, and on pins whose height follows the edges both tell it.
    let shared = ticket.make.laying == Laying::Pair || turning::follows_edges(&ticket.make);
    let orders = ticket.feet.iter().map(|order| (order.side, order)).filter(|(foot, _)| shared || asked(*foot));
    let designs = each_foot(orders.collect(), |order| Ok(design(ticket, order)?))?;
    Ok(arranged(ticket, designs).into_iter().filter(|(_, lay)| asked(lay.side)).collect())
}

/// Designs laid into their blanks, with what that finds.
fn arranged<'a>(ticket: &'a Ticket, designs: Vec<Design<'a>>) -> Vec<(Design<'a>, Lay)> {
    let every: Vec<&Design> = designs.iter().collect();
    let mut arrangement = lay(&ticket.make, &every);
    lay::mark(&ticket.make, &ticket.code, &every, &mut arrangement);
    let Arrangement { mut lays, findings } = arrangement;
    let heights = designs.iter().zip(&lays).map(|(design, lay)| turning::height_mm(&ticket.make, &design.footbed, lay));
    let pin_height_mm = heights.fold(turning::usual_height_mm(&ticket.make), f64::min);
    lays.iter_mut().for_each(|lay| lay.pin_height_mm = pin_height_mm);
    designs
        .into_iter()
        .zip(lays)
        .map(|(mut design, lay)| {
            let found: Vec<_> = findings.iter().filter(|f| f.side == lay.side).cloned().collect();
            if !found.is_empty() {
                design.findings.extend(found);
                design.findings.sort_by_key(Finding::rank);
            }
            (with_turning(ticket, design, &lay), lay)
        })
        .collect()
}

/// One foot on its way through the job.
struct MadeFoot<'a> {
    design: Design<'a>,
    lay: Lay,
    flex: Flex,
    repair: Option<Repair>,
    /// `None` when the limits stopped it.
    cut: Option<CutFoot>,
}

/// A foot whose programs were written and proved.
struct CutFoot {
    written: Vec<Written>,
    proved: Proved,
    solids: Vec<Solid>,
    trim: OutFile,
}

impl MadeFoot<'_> {
    fn passes(&self) -> bool {
        self.cut.as_ref().is_some_and(|cut| cut.proved.proof.pass)
    }

    fn files(&self) -> Vec<OutFile> {
        let Some(cut) = &self.cut else { return vec![] };
        let programs = cut.written.iter().map(|w| OutFile { name: w.file.clone(), bytes: w.text.clone().into_bytes() });
        let solids = cut.solids.iter().flat_map(|s| s.files.iter().cloned());
        programs.chain(std::iter::once(cut.trim.clone())).chain(solids).collect()
    }
}

/// Plan, write, read back, carve, gauge, mesh, draw: one foot as it was designed and laid.
fn make_foot<'a>(
    ticket: &Ticket,
    mut design: Design<'a>,
    lay: Lay,
    sha256: &str,
    precision: Precision,
) -> Result<MadeFoot<'a>, StageError> {
    let flex = flexing::under_load(ticket, &mut design);
    design.search(ticket);
    let repair = design.repair(ticket);
    if design.is_stopped() {
        return Ok(MadeFoot { design, lay, flex, repair, cut: None });
    }
    let written = programs::write(ticket, &design, &lay, sha256, precision)?;
    design.findings.extend(programs::line_load(ticket, design.order, &written));
    let proved = prove(ticket, &design, &lay, &written, precision)?;
    if !written.iter().any(|w| w.step == Step::Rest) {
        design.findings.extend(limits::rest_cutter(design.order, &ticket.make));
    }
    let left_mm = proved.proof.scallop_p99_mm;
    design.findings.extend(left_mm.and_then(|left| limits::scallop(design.order, ticket.make.scallop_mm, left)));
    design.findings.extend(turning::unreached(&design, &lay, &proved));
    let solids = pieces::solids(ticket, &design, &proved, precision)?;
    let trim = draw::trim(ticket, &design)?;
    Ok(MadeFoot { design, lay, flex, repair, cut: Some(CutFoot { written, proved, solids, trim }) })
}

/// The design with what there is to find about turning the blank, gravest first.
fn with_turning<'a>(ticket: &Ticket, mut design: Design<'a>, lay: &Lay) -> Design<'a> {
    design.findings.extend(turning::findings(&ticket.make, &design.footbed, lay));
    design.findings.sort_by_key(Finding::rank);
    let floors = turning::floors(&ticket.make, &design.footbed, lay);
    design.narrow(ticket, floors);
    design
}

/// Every foot on a thread of its own; results in the order of `feet`.
fn each_foot<F: Send, T: Send>(
    feet: Vec<(Side, F)>,
    work: impl Fn(F) -> Result<T, StageError> + Sync,
) -> Result<Vec<T>, JobError> {
    feet.into_par_iter().map(|(side, foot)| work(foot).map_err(|source| JobError::Foot { side, source })).collect()
}

/// `<code>-r<rev>-<S>`: what the files of one foot begin with.
fn stem(ticket: &Ticket, side: Side) -> String {
    format!("{}-{}", ticket::job_name(&ticket.code, i64::from(ticket.revision)), side.letter())
}

/// SHA-256 in lower-case hexadecimal (FIPS 180-4).
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The proofs of the feet that have one.
fn proofs(feet: &[MadeFoot]) -> BTreeMap<Side, ProofReport> {
    feet.iter()
        .filter_map(|foot| {
            let proved = &foot.cut.as_ref()?.proved;
            Some((foot.design.order.side, ProofReport::of(proved)))
        })
        .collect()
}
