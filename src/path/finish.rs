//! The finishing cut: parallel passes whose tip heights are exact and whose distance follows from
//! the scallop height alone.

use rayon::prelude::*;

use super::cutting::{LEAST_AIR_MM, check};
use super::heights::{Band, Heights, Sampling};
use super::outline::{Axis, Outline};
use super::passes::{Region, Run, Turn, zigzag};
use super::sidestep::{SideSteps, axis_beyond_contact, plane_step, round_radius, steepest_fall};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3, Rect};
use crate::kernel::{Shape, Surface};
use crate::ticket::Passes;

/// The finishing path over everything inside the outline, its edge included. With
/// [`Passes::Quickest`] passes along and across are both planned and `time` (s, or anything that
/// grows with it) decides; a tie goes to along.
pub fn finish(target: &Target, cutting: &Cutting, time: &dyn Fn(&Toolpath) -> f64) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let plan = Plan::new(target, cutting)?;
    match cutting.passes {
        Passes::Along => plan.toolpath(Axis::X),
        Passes::Across => plan.toolpath(Axis::Y),
        Passes::Quickest => {
            let (along, across) = rayon::join(|| plan.toolpath(Axis::X), || plan.toolpath(Axis::Y));
            let (along, across) = (along?, across?);
            Ok(if time(&across) < time(&along) { across } else { along })
        }
    }
}

/// What both directions share.
struct Plan<'t> {
    target: &'t Target,
    cutting: &'t Cutting,
    shape: Shape,
    surface: Surface<'t>,
    region: Region,
    steps: SideSteps,
    sampling: Sampling,
}

impl<'t> Plan<'t> {
    fn new(target: &'t Target, cutting: &'t Cutting) -> Result<Plan<'t>, PathError> {
        let shape = cutting.finishing.shape;
        let surface = Surface::new(&target.surface)?;
        let region = region(target, cutting)?;
        let steps = SideSteps::new(&surface, &shape, cutting.scallop_mm, &region);
        let sampling = Sampling {
            step: sample_step(&shape, target.surface.lattice.step, cutting.gouge_mm),
            bulge: cutting.gouge_mm / 3.0,
        };
        Ok(Plan { target, cutting, shape, surface, region, steps, sampling })
    }

    fn toolpath(&self, axis: Axis) -> Result<Toolpath, PathError> {
        let (low, high) = self.region.extent(axis);
        let runs = self.region.runs(axis, &self.steps.places(axis, low, high));
        let longest = LINK_STEPS * plane_step(&self.shape, self.cutting.scallop_mm);
        let turns = zigzag(&runs, |a, b| (b - a).norm() <= longest && stays_inside(&self.region, a, b));
        let cut: Vec<Vec<Point3>> = turns.par_iter().map(|turn| self.run_points(&runs, *turn)).collect();
        let mut trail = Trail::new(self.target, self.cutting);
        for (turn, points) in turns.iter().zip(&cut) {
            self.add(&mut trail, *turn, points);
        }
        if trail.is_empty() {
            return Err(PathError::Nothing { step: Step::Finish });
        }
        Ok(Toolpath {
            step: Step::Finish,
            cutter: self.cutting.finishing.clone(),
            spindle_rpm: self.cutting.spindle_rpm,
            moves: trail.finish(),
        })
    }

    fn run_points(&self, runs: &[Run], turn: Turn) -> Vec<Point3> {
        let run = runs[turn.run];
        let heights = self.heights(run.from, run.to);
        let heights = if turn.backward { heights.reversed() } else { heights };
        heights.thinned(self.band())
    }

    fn add(&self, trail: &mut Trail, turn: Turn, points: &[Point3]) {
        let Some(first) = points.first() else { return };
        match trail.last() {
            Some(last) if turn.linked => {
                let link = self.heights(last.xy(), first.xy()).thinned(self.band());
                link.into_iter().skip(1).for_each(|p| trail.cut_to(p));
            }
            _ => trail.enter_over(first.xy(), self.target.blank_top_mm + LEAST_AIR_MM),
        }
        points.iter().for_each(|p| trail.cut_to(*p));
    }

    fn heights(&self, from: Point2, to: Point2) -> Heights {
        // Where the target stands above the blank there is only air to follow.
        let top = self.target.blank_top_mm + LEAST_AIR_MM;
        Heights::along(from, to, self.sampling, |p| self.surface.reach(&self.shape, p).clamp(0.0, top))
    }

    fn band(&self) -> Band {
        Band { below: self.cutting.gouge_mm, above: self.cutting.point_tolerance_mm }
    }
}

/// Links on the surface may be this many side steps long; longer ones lift (our own choice: beyond
/// it, air is quicker).
const LINK_STEPS: f64 = 4.0;

/// The outline grown so that the axis can stand wherever the cutter has to touch the piece, and one
/// pass further.
fn region(target: &Target, cutting: &Cutting) -> Result<Region, PathError> {
    let outline = Outline::new(&target.outline)?;
    let shape = cutting.finishing.shape;
    let fall = steepest_fall(&target.surface, &outline.points, &outline.normals());
    let by = axis_beyond_contact(&shape, fall) + plane_step(&shape, cutting.scallop_mm);
    Ok(Region::new(outline.region(by)?, clip(target)))
}

/// Where the axis may stand at all: over the blank and over the surface, because a place without
/// heights must not be cut.
pub(super) fn clip(target: &Target) -> Rect {
    let (a, b) = (target.blank, target.surface.lattice.rect());
    Rect { x0: a.x0.max(b.x0), y0: a.y0.max(b.y0), x1: a.x1.min(b.x1), y1: a.y1.min(b.y1) }
}

/// Samples so close that no hill of the cutter's own radius can hide between two of them by more
/// than the gouge share: a chord of sagitta e is `sqrt(8 r e)` long.
fn sample_step(shape: &Shape, grid_step: f64, gouge: f64) -> f64 {
    let hidden = round_radius(shape).map_or(0.0, |r| (8.0 * r * gouge).sqrt());
    hidden.clamp(0.5 * grid_step, 1.5 * grid_step)
}

/// Whether the straight way stays inside, looked at every half millimetre.
pub(super) fn stays_inside(region: &Region, a: Point2, b: Point2) -> bool {
    let n = ((b - a).norm() / 0.5).ceil() as usize;
    (1..n).all(|k| region.contains(a + (b - a) * (k as f64 / n as f64)))
}
