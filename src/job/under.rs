//! The underside as a target of its own clamping: blank turned over, base plane up. Only the hollow
//! is visited; everywhere else the piece keeps the blank's own face.

use super::lay::{Face, Lay};
use super::target::{safe_z_mm, underside};
use super::turning;
use super::{Design, Precision, StageError, programs};
use crate::carve::FACE_MM;
use crate::footbed::Footbed;
use crate::frame::{Placement, Rect};
use crate::grid::Grid;
use crate::grid::contour::{loops_above, signed_area, simplified};
use crate::nc;
use crate::path::{self, Cutting, PathError, Step, Target, Toolpath};
use crate::ticket::Make;

/// The finishing cutter may take this much at once, mm; a deeper hollow is roughed first. Shop's own
/// choice.
const FINISH_AT_ONCE_MM: f64 = 2.0;
/// The hollow's edge is followed within this, mm; the finishing passes go beyond it by more.
const EDGE_MM: f64 = 0.02;
/// A smaller hollow than this is none, mm2: no cutter fits.
const LEAST_AREA_MM2: f64 = 4.0;

/// The whole underside of a footbed that lies as `under`, with its trim outline.
pub fn target(footbed: &Footbed, under: Placement, make: &Make, step_mm: f64) -> Target {
    let blank = &make.blank;
    Target {
        surface: underside(footbed, under, make, step_mm),
        outline: footbed.outline.placed(under).points().to_vec(),
        blank: Rect { x0: 0.0, y0: 0.0, x1: blank.width_mm, y1: blank.length_mm },
        // The face that is up is touched and set to this height, so it has no scatter.
        blank_top_mm: blank.height_mm,
        safe_z_mm: safe_z_mm(Face::Under, make),
    }
}

/// The programs' moves in the order they are run; none when there is no hollow to cut.
pub(super) fn plan(design: &Design, lay: &Lay, make: &Make, precision: Precision) -> Result<Vec<Toolpath>, StageError> {
    let Some(under) = lay.under else { return Ok(vec![]) };
    let whole = target(&design.footbed, under, make, precision.plan_mm);
    let hollows = hollows(&whole);
    if hollows.is_empty() {
        return Ok(vec![]);
    }
    let mut cutting = Cutting::of(make);
    cutting.spindle_rpm = programs::spindle_rpm(make);
    let fault = |step| move |source| StageError::Path { step: programs::file_step(Face::Under, step), source };
    let seconds = |path: &Toolpath| nc::estimate_s(path, &make.machine).unwrap_or(f64::INFINITY);
    let holes: Vec<_> = turning::pins(make, lay.pin_height_mm).iter().map(|pin| pin.hole(make)).collect();
    let mut paths = vec![];
    if !holes.is_empty() {
        paths.push(path::pin_holes(&whole, &cutting, &holes).map_err(fault(Step::PinHoles))?);
    }
    let deep = whole.blank_top_mm - whole.surface.range().0 > FINISH_AT_ONCE_MM;
    if deep {
        let roughs: Result<Vec<_>, _> = hollows.iter().filter_map(|t| worth_it(path::rough(t, &cutting))).collect();
        paths.extend(joined(roughs.map_err(fault(Step::Rough))?));
    }
    let finishes: Result<Vec<_>, _> = hollows.iter().map(|t| path::finish(t, &cutting, &seconds)).collect();
    paths.extend(joined(finishes.map_err(fault(Step::Finish))?));
    if let Some(cutter) = &make.rest {
        let rests: Result<Vec<_>, _> =
            hollows.iter().filter_map(|t| path::rest(t, &cutting, cutter).transpose()).collect();
        paths.extend(joined(rests.map_err(fault(Step::Rest))?));
    }
    let around: Vec<&Toolpath> = paths.iter().collect();
    let frame = path::frame(&whole, &cutting, &around).map_err(fault(Step::Frame))?;
    paths.insert(0, frame);
    Ok(paths)
}

/// One target for each hollow, its edge in place of the trim outline.
fn hollows(whole: &Target) -> Vec<Target> {
    let top = whole.blank_top_mm;
    let depth = Grid { lattice: whole.surface.lattice, z: whole.surface.z.iter().map(|z| top - z).collect() };
    let loops = loops_above(&depth, FACE_MM);
    // Islands inside a hollow run the other way round and are passed over level with the face.
    let around = loops.into_iter().filter(|line| signed_area(line) > LEAST_AREA_MM2);
    around.map(|line| Target { outline: simplified(&line, EDGE_MM), ..whole.clone() }).collect()
}

/// A path, unless it would find nothing to cut.
fn worth_it(path: Result<Toolpath, PathError>) -> Option<Result<Toolpath, PathError>> {
    match path {
        Err(PathError::Nothing { .. }) => None,
        path => Some(path),
    }
}

/// One path after the other: each begins and ends at the safe height.
fn joined(paths: Vec<Toolpath>) -> Option<Toolpath> {
    paths.into_iter().reduce(|mut all, next| {
        all.moves.extend(next.moves);
        all
    })
}
