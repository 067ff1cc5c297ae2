//! What a job says in JSON: names are a contract, more may be added.

use std::collections::BTreeMap;

use nalgebra::Matrix4;
use serde::Serialize;

use super::lay::{Face, Lay};
use super::lay_report::{self, LayReport};
use super::pieces::Solid;
use super::programs::{Written, blank_box_mm, kind_of_step, spindle_rpm};
use super::target::{blank_top_mm, safe_z_mm};
use super::{Design, FaceFigures, MadeFoot, OutFile, Pin, Proved, Thickness, pins, proofs, sha256_hex};
use crate::carve::{Proof, Violation};
use crate::flex::Flex;
use crate::frame::{Side, bench_from_foot};
use crate::inspect::Inspection;
use crate::kernel::Shape;
use crate::limits::{BootEffect, Bound, Finding, Found, Interval, Repair};
use crate::nc::BoundedBy;
use crate::profile::Cutter;
use crate::ticket::{Hold, Make, Tabs, Ticket};
use crate::value::{Value, Values};

/// All findings of a ticket.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct CheckReport {
    pub ticket: String,
    pub revision: u32,
    pub feet: Vec<FootReport>,
    pub pass: bool,
}

/// One foot's values and findings.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct FootReport {
    pub side: Side,
    pub values: BTreeMap<Value, ValueReport>,
    pub findings: Vec<Finding>,
    /// What several values together can do about what stops this foot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repair: Option<Repair>,
    /// Foot length that stations are shares of, mm, and the stations.
    pub foot_length_mm: f64,
    pub stations: BTreeMap<&'static str, f64>,
    pub boot_effect: BootEffect,
    /// How it gives under load.
    pub flex: Flex,
    pub accepted_reason: Option<String>,
    pub pass: bool,
}

/// One value: asked, read back from the design, gauged on the carved piece, and where it may lie.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct ValueReport {
    pub asked: Option<f64>,
    pub read_back: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub carved: Option<f64>,
    pub unit: &'static str,
    /// `null`: no change of this value alone passes every stop.
    pub feasible: Option<[f64; 2]>,
    /// What is met beyond either end; where nothing is feasible, two limits that do not go together.
    pub bound_by: [Bound; 2],
    /// How the ends were found.
    pub feasible_found: Found,
    /// The rule that filled a value the ticket left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub filled_in: Option<String>,
}

/// Everything `mill` made and how it was proved.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct JobReport {
    pub ticket: String,
    pub revision: u32,
    pub program: &'static str,
    pub version: &'static str,
    pub ticket_sha256: String,
    pub material: String,
    pub blank: String,
    pub machine: String,
    pub milling: MillingReport,
    /// Absent where each foot lies plainly in the middle of a blank of its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lay: Option<LayReport>,
    pub feet: Vec<FootReport>,
    /// The same values as under `feet`, to be found without a search.
    pub values: BTreeMap<Side, BTreeMap<Value, ValueReport>>,
    /// All findings of `feet`, left first; each says its side.
    pub findings: Vec<Finding>,
    pub programs: Vec<ProgramReport>,
    pub solids: Vec<SolidReport>,
    pub files: Vec<FileReport>,
    pub time_s: f64,
    /// The same second by second: what kept the machine from going faster.
    pub bounded_by: BoundedBy,
    /// The pair's worst figures, with each foot's own under `feet`.
    pub proof: Option<PairProof>,
    pub pass: bool,
}

/// What the programs were asked to do and may do, for whoever checks them. Lengths in mm.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct MillingReport {
    pub scallop_mm: f64,
    /// Deepest that roughing may cut at once.
    pub step_down_mm: f64,
    /// Highest that the blank's top may lie: its scatter counts until it is measured.
    pub blank_top_mm: f64,
    /// How deep the machine's bed may be cut.
    pub bed_cut_mm: f64,
    /// Absent where a skin holds the piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tabs: Option<TabsReport>,
    /// Thickness of the skin under the groove; absent where tabs hold the piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub skin_mm: Option<f64>,
    /// Pins on the bed that bring a turned blank back; empty when nothing is turned on pins.
    pub pins: Vec<PinReport>,
}

/// A pin, in program coordinates of either face.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct PinReport {
    pub at_mm: [f64; 2],
    pub diameter_mm: f64,
    pub height_mm: f64,
}

/// The tabs that hold the piece.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct TabsReport {
    pub count: usize,
    pub length_mm: f64,
    pub thickness_mm: f64,
}

/// One program, with all that is needed to check it from its text.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct ProgramReport {
    pub file: String,
    pub sha256: String,
    pub side: Side,
    pub face: &'static str,
    /// The stored zero it counts from: `G54` or `G55`.
    pub work_offset: String,
    pub step: &'static str,
    pub cutter: CutterReport,
    /// Row-major 4x4: program coordinates to the bench frame of the meshes.
    pub bench_from_mill: [f64; 16],
    pub blank_box_mm: [f64; 6],
    pub safe_z_mm: f64,
    pub feed_mm_min: f64,
    pub spindle_rpm: f64,
    pub time_s: f64,
    /// The same second by second: what kept the machine from going faster.
    pub bounded_by: BoundedBy,
    pub lines: usize,
}

/// A cutter's form in numbers; what a form does not have is zero.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct CutterReport {
    pub name: String,
    pub kind: &'static str,
    pub diameter_mm: f64,
    pub corner_radius_mm: f64,
    pub half_angle_deg: f64,
    pub flute_mm: f64,
}

/// A mesh's size.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct SolidReport {
    pub file: String,
    pub volume_mm3: f64,
    pub area_mm2: f64,
    pub triangles: usize,
}

/// A written file.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct FileReport {
    pub file: String,
    pub bytes: usize,
    pub sha256: String,
}

/// A proof with the values gauged on what it left standing.
#[derive(Clone, Debug, Serialize)]
pub struct ProofReport {
    /// The figures.
    #[serde(flatten)]
    pub proof: Proof,
    /// The surface's figures of each face, `top` and `under`.
    pub faces: BTreeMap<&'static str, FaceFigures>,
    /// What thickness was judged from.
    pub thickness: Thickness,
    /// Values of the carved piece.
    pub values: Values,
    /// What is to be minded about the proof itself.
    pub cautions: Vec<String>,
    /// The carved piece inspected like a scan of it, where that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_scanned: Option<Inspection>,
}

impl ProofReport {
    /// The report of one foot's proof.
    pub fn of(proved: &Proved) -> ProofReport {
        ProofReport {
            proof: proved.proof.clone(),
            faces: proved.faces.clone(),
            thickness: proved.thickness,
            values: proved.values.clone(),
            cautions: proved.cautions.clone(),
            as_scanned: None,
        }
    }
}

/// The worst of both feet.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct PairProof {
    pub max_gouge_mm: f64,
    pub scallop_p50_mm: Option<f64>,
    pub scallop_p99_mm: Option<f64>,
    pub scallop_max_mm: Option<f64>,
    pub unreached_max_mm: Option<f64>,
    pub rapid_contacts: usize,
    pub time_s: f64,
    pub cut_length_mm: f64,
    pub lines: usize,
    pub violations: Vec<Violation>,
    /// Gauged on the carved pieces.
    pub values: BTreeMap<Side, Values>,
    pub pass: bool,
    pub feet: BTreeMap<Side, ProofReport>,
}

impl FootReport {
    /// The report of one designed foot, and how it gives under load; `carved` are the values gauged on the carved piece.
    pub fn new(design: &Design, flex: &Flex, carved: Option<&Values>) -> FootReport {
        FootReport {
            side: design.order.side,
            values: value_reports(design, carved),
            findings: design.findings.clone(),
            repair: None,
            foot_length_mm: design.order.foot.length_mm(),
            stations: design.order.support.stations.named().into_iter().collect(),
            boot_effect: design.boot_effect,
            flex: flex.clone(),
            accepted_reason: design.order.reason.clone().filter(|_| !design.accepted().is_empty()),
            pass: !design.is_stopped(),
        }
    }
}

/// Every value of a designed foot.
pub(super) fn value_reports(design: &Design, carved: Option<&Values>) -> BTreeMap<Value, ValueReport> {
    let interval = |value: Value| design.intervals.get(&value).copied().unwrap_or(Interval::ALL);
    let value = |value: Value| ValueReport {
        asked: design.order.asked(value),
        read_back: design.read_back.get(&value).copied(),
        carved: carved.and_then(|c| c.get(&value).copied()),
        unit: value.unit(),
        feasible: interval(value).ends(),
        bound_by: interval(value).by,
        feasible_found: interval(value).found,
        filled_in: design.order.rule(value).map(str::to_string),
    };
    Value::ALL.into_iter().map(|v| (v, value(v))).collect()
}

impl PairProof {
    /// The worst figures of these proofs; `None` for none.
    pub fn of(feet: BTreeMap<Side, ProofReport>) -> Option<PairProof> {
        let proofs = || feet.values().map(|f| &f.proof);
        let worst = |figure: fn(&Proof) -> Option<f64>| proofs().filter_map(figure).max_by(f64::total_cmp);
        let max_gouge_mm = worst(|p| Some(p.max_gouge_mm))?;
        Some(PairProof {
            max_gouge_mm,
            scallop_p50_mm: worst(|p| p.scallop_p50_mm),
            scallop_p99_mm: worst(|p| p.scallop_p99_mm),
            scallop_max_mm: worst(|p| p.scallop_max_mm),
            unreached_max_mm: worst(|p| p.unreached_max_mm),
            rapid_contacts: proofs().map(|p| p.rapid_contacts).sum(),
            time_s: proofs().map(|p| p.time_s).sum(),
            cut_length_mm: proofs().map(|p| p.cut_length_mm).sum(),
            lines: proofs().map(|p| p.lines).sum(),
            violations: proofs().flat_map(|p| p.violations.clone()).collect(),
            values: feet.iter().map(|(side, foot)| (*side, foot.values.clone())).collect(),
            pass: proofs().all(|p| p.pass),
            feet,
        })
    }
}

/// The report of a whole job.
pub(super) fn job(ticket: &Ticket, feet: &[MadeFoot], sha256: &str, files: &[OutFile], pass: bool) -> JobReport {
    let programs: Vec<ProgramReport> = lay_report::in_order(ticket, feet)
        .into_iter()
        .filter_map(|(side, written)| {
            let foot = feet.iter().find(|foot| foot.lay.side == side)?;
            Some(program_report(&ticket.make, &foot.lay, written))
        })
        .collect();
    let reports: Vec<FootReport> = feet
        .iter()
        .map(|foot| FootReport {
            repair: foot.repair.clone(),
            ..FootReport::new(&foot.design, &foot.flex, foot.cut.as_ref().map(|cut| &cut.proved.values))
        })
        .collect();
    JobReport {
        ticket: ticket.code.clone(),
        revision: ticket.revision,
        program: env!("CARGO_PKG_NAME"),
        version: env!("CARGO_PKG_VERSION"),
        ticket_sha256: sha256.to_string(),
        material: ticket.make.material.name.clone(),
        blank: ticket.make.blank.name.clone(),
        machine: ticket.make.machine.name.clone(),
        milling: milling_report(&ticket.make, pins_of(ticket, feet, &programs)),
        lay: lay_report::report(ticket, feet),
        values: reports.iter().map(|foot| (foot.side, foot.values.clone())).collect(),
        findings: reports.iter().flat_map(|foot| foot.findings.clone()).collect(),
        feet: reports,
        time_s: programs.iter().map(|p| p.time_s).sum(),
        bounded_by: programs.iter().map(|p| p.bounded_by).sum(),
        programs,
        solids: feet
            .iter()
            .filter_map(|foot| foot.cut.as_ref())
            .flat_map(|cut| &cut.solids)
            .map(solid_report)
            .collect(),
        files: files
            .iter()
            .map(|f| FileReport { file: f.name.clone(), bytes: f.bytes.len(), sha256: sha256_hex(&f.bytes) })
            .collect(),
        proof: PairProof::of(proofs(feet)),
        pass,
    }
}

impl JobReport {
    /// The report as it is written to `job.json`.
    pub fn to_json(&self) -> Vec<u8> {
        // Plain structs of numbers and text; keys of maps are unit variants: this cannot fail.
        let mut text = serde_json::to_vec_pretty(self).unwrap_or_default();
        text.push(b'\n');
        text
    }
}

fn program_report(make: &Make, lay: &Lay, written: &Written) -> ProgramReport {
    let bench = bench_from_foot(lay.side).matrix();
    ProgramReport {
        file: written.file.clone(),
        sha256: sha256_hex(written.text.as_bytes()),
        side: lay.side,
        face: written.face.name(),
        work_offset: format!("G{}", written.program.offset),
        step: kind_of_step(written.step),
        cutter: cutter_report(&written.cutter),
        bench_from_mill: row_major(bench * lay.mill_from_foot(written.face).inverse_matrix()),
        blank_box_mm: blank_box_mm(&make.blank),
        safe_z_mm: safe_z_mm(written.face, make),
        feed_mm_min: make.material.feed_mm_min,
        spindle_rpm: if written.step.is_dry() { 0.0 } else { spindle_rpm(make) },
        time_s: written.timing.total_s,
        bounded_by: written.timing.bounded_by,
        lines: written.program.lines,
    }
}

/// Rows first; a zero is written without a sign.
fn row_major(m: Matrix4<f64>) -> [f64; 16] {
    std::array::from_fn(|k| m[(k / 4, k % 4)] + 0.0)
}

fn pin_report(pin: &Pin) -> PinReport {
    PinReport { at_mm: [pin.at.x, pin.at.y], diameter_mm: pin.diameter_mm, height_mm: pin.height_mm }
}

/// The pins on the bed, of one height for all feet; none where nothing is turned.
fn pins_of(ticket: &Ticket, feet: &[MadeFoot], programs: &[ProgramReport]) -> Vec<PinReport> {
    let turned = programs.iter().any(|p| p.face == Face::Under.name());
    let lay = feet.first().map(|foot| &foot.lay).filter(|_| turned);
    lay.map_or(vec![], |lay| pins(&ticket.make, lay.pin_height_mm).iter().map(pin_report).collect())
}

fn milling_report(make: &Make, pins: Vec<PinReport>) -> MillingReport {
    let (tabs, skin_mm) = match make.hold {
        Hold::Tabs(tabs) => (Some(tabs), None),
        Hold::Skin { thickness_mm } => (None, Some(thickness_mm)),
    };
    MillingReport {
        scallop_mm: make.scallop_mm,
        step_down_mm: make.material.step_down_mm,
        blank_top_mm: blank_top_mm(&make.blank),
        bed_cut_mm: make.machine.bed_cut_mm,
        pins,
        tabs: tabs.map(|Tabs { count, length_mm, thickness_mm }| TabsReport { count, length_mm, thickness_mm }),
        skin_mm,
    }
}

fn solid_report(solid: &Solid) -> SolidReport {
    SolidReport {
        file: solid.files.first().map_or(String::new(), |f| f.name.clone()),
        volume_mm3: solid.mesh.volume_mm3(),
        area_mm2: solid.mesh.area_mm2(),
        triangles: solid.mesh.triangles.len(),
    }
}

fn cutter_report(cutter: &Cutter) -> CutterReport {
    let (kind, corner_radius_mm, half_angle_deg) = match cutter.shape {
        Shape::Flat { .. } => ("flat", 0.0, 0.0),
        Shape::Ball { radius } => ("ball", radius, 0.0),
        Shape::Bull { corner, .. } => ("bull", corner, 0.0),
        Shape::Taper { tip, half_angle_rad, .. } => ("taper", tip, half_angle_rad.to_degrees()),
    };
    CutterReport {
        name: cutter.name.clone(),
        kind,
        diameter_mm: 2.0 * cutter.shape.radius(),
        corner_radius_mm,
        half_angle_deg,
        flute_mm: cutter.flute_length_mm,
    }
}
