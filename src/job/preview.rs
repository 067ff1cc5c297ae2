//! What the preview page shows: the designs with their findings and, unless something stops them,
//! their programs as movements around the footbed. Proves nothing; that is for [`make`](super::make).

use rayon::prelude::*;

use super::draw::{Model, blank_words, stays};
use super::lay::{Face, Lay};
use super::programs::{self, Written, file_step};
use super::target::blank_top_mm;
use super::{CheckReport, Design, FootReport, JobError, Precision, StageError, each_foot, laid, reported, sha256_hex};
use crate::draw::{self, CutterShape, PreviewData, PreviewFoot, PreviewMove, PreviewProgram};
use crate::frame::{Placement, Point2, Point3, Rect};
use crate::ticket::{Make, Ticket, Underside};

/// Whether a preview shows where the cutters go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paths {
    /// Plan the programs of every foot that nothing stops.
    Planned,
    /// Leave them out: the page is there sooner.
    LeftOut,
}

/// The page, and the report that `check` gives of the same ticket.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Preview {
    pub html: String,
    pub report: CheckReport,
}

/// Why a page shows no paths.
const STOPPED: &str = "A foot with a stop has no paths: its programs are not written. The notes say what to change.";
const LEFT_OUT: &str = "No paths: they were left out.";

/// Designs a ticket and draws its preview.
pub fn preview(ticket: &Ticket, ticket_text: &str, paths: Paths, precision: Precision) -> Result<Preview, JobError> {
    let sha256 = sha256_hex(ticket_text.as_bytes());
    let laid = laid(ticket, None)?.into_iter().map(|laid| (laid.1.side, laid)).collect();
    let mut feet = each_foot(laid, |(design, lay)| planned(ticket, design, lay, &sha256, paths, precision))?;
    let reports: Vec<FootReport> = feet.par_iter_mut().map(|foot| reported(ticket, &mut foot.design)).collect();
    let pass = reports.iter().all(|foot| foot.pass);
    let models: Vec<Model> = feet.iter().map(|foot| Model::new(&foot.design)).collect();
    let make = &ticket.make;
    let page = PreviewData {
        code: &ticket.code,
        revision: ticket.revision,
        note: &ticket.note,
        material: format!("{} ({})", make.material.title, make.material.name),
        blank: blank_words(&make.blank),
        machine: format!("{} ({})", make.machine.title, make.machine.name),
        ticket_sha256: sha256,
        without_paths: match (paths, pass) {
            (Paths::LeftOut, _) => LEFT_OUT,
            (Paths::Planned, false) => STOPPED,
            (Paths::Planned, true) => "",
        },
        feet: feet.iter().zip(&models).map(|(foot, model)| shown(foot, model, make)).collect(),
    };
    let html = draw::preview_html(&page)?;
    let report = CheckReport { ticket: ticket.code.clone(), revision: ticket.revision, feet: reports, pass };
    Ok(Preview { html, report })
}

/// One foot with what was planned for it.
struct Planned<'a> {
    design: Design<'a>,
    lay: Lay,
    written: Vec<Written>,
}

fn planned<'a>(
    ticket: &Ticket,
    mut design: Design<'a>,
    lay: Lay,
    sha256: &str,
    paths: Paths,
    precision: Precision,
) -> Result<Planned<'a>, StageError> {
    if paths == Paths::LeftOut || design.is_stopped() {
        return Ok(Planned { design, lay, written: vec![] });
    }
    let written = programs::write(ticket, &design, &lay, sha256, precision)?;
    design.findings.extend(programs::line_load(ticket, design.order, &written));
    Ok(Planned { design, lay, written })
}

fn shown<'a>(foot: &'a Planned, model: &'a Model<'a>, make: &Make) -> PreviewFoot<'a> {
    PreviewFoot {
        drawn: model.drawn(&foot.design, None),
        flat: make.underside == Underside::Flat,
        stays: stays(&foot.design),
        blank: (!foot.written.is_empty()).then(|| (blank_around(&foot.lay, make), blank_top_mm(&make.blank))),
        programs: foot.written.iter().map(|written| program(written, &foot.lay)).collect(),
    }
}

/// The blank's plan in the foot frame.
fn blank_around(lay: &Lay, make: &Make) -> Rect {
    let corners = [Point2::new(0.0, 0.0), Point2::new(make.blank.width_mm, make.blank.length_mm)];
    let [a, b] = corners.map(|p| lay.top.unplace(p));
    Rect { x0: a.x.min(b.x), y0: a.y.min(b.y), x1: a.x.max(b.x), y1: a.y.max(b.y) }
}

fn program(written: &Written, lay: &Lay) -> PreviewProgram {
    let placement = lay.mill_from_foot(written.face);
    let shape = written.cutter.shape;
    // The way to the first known place is no part of the piece's story.
    let runs = written.program.travels.iter().zip(&written.timing.runs).skip(written.program.opening);
    PreviewProgram {
        file: written.file.clone(),
        title: file_step(written.face, written.step).into(),
        cutter: written.cutter.name.clone(),
        cutter_shape: CutterShape { radius_mm: shape.radius(), height: Box::new(move |r| shape.height_at(r)) },
        under: written.face == Face::Under,
        dry: written.step.is_dry(),
        moves: runs
            .map(|(travel, run)| PreviewMove {
                from: unplaced(placement, travel.from),
                to: unplaced(placement, travel.to),
                rapid: travel.rapid,
                seconds: run.seconds,
            })
            .collect(),
    }
}

fn unplaced(placement: Placement, p: Point3) -> Point3 {
    let plan = placement.unplace(Point2::new(p.x, p.y));
    Point3::new(plan.x, plan.y, placement.unplace_height(p.z))
}
