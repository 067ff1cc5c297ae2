//! A cutter that leaves the surface, on the target it is to leave: exact tip heights along straight
//! lines, links on the surface, parallel passes one after the other. What the finish and the rest cut
//! share; knows no strategy and no places.

use rayon::prelude::*;

use super::cutting::{LEAST_AIR_MM, shortest};
use super::heights::{Band, Heights, Hills, Sampling};
use super::passes::{Region, Run, Turn, zigzag};
use super::sidestep::{plane_step, round_radius};
use super::trail::Trail;
use super::{Cutting, Step, Target, Toolpath};
use crate::frame::{Point2, Point3};
use crate::kernel::{Shape, Surface};

/// Ridges are planned lower by this much of what passes may run above their heights. A ridge stands on two
/// passes and rises by the mean of theirs; both are seldom at the upper edge of their bands at once
/// (our own choice, measured on footbeds: 99 % of the surface stays under the ordered height).
const RAISED_SHARE: f64 = 0.5;

/// Links on the surface may span this much; beyond it lifting is quicker (our own choice).
const LINK_MM: f64 = 20.0;

/// Straight links may be this many side steps long: so short a chord strays from the region by far
/// less than roughing cleared beyond it (our own choice).
const STRAIGHT_STEPS: f64 = 4.0;

/// The cutter that finishes by `cutting`, on its target.
pub(super) struct Surfacing<'t> {
    pub(super) target: &'t Target,
    pub(super) cutting: Cutting,
    pub(super) surface: Surface<'t>,
    /// Where passes run.
    pub(super) region: Region,
    sampling: Sampling,
}

impl<'t> Surfacing<'t> {
    pub(super) fn new(target: &'t Target, cutting: Cutting, surface: Surface<'t>, region: Region) -> Surfacing<'t> {
        let shape = cutting.finishing.shape;
        let sampling = Sampling {
            step: sample_step(&shape, target.surface.lattice.step, cutting.gouge_mm),
            bulge: cutting.gouge_mm / 3.0,
            dip: above_mm(&cutting),
            hills: Hills::under(&shape),
        };
        Surfacing { target, cutting, surface, region, sampling }
    }

    pub(super) fn shape(&self) -> Shape {
        self.cutting.finishing.shape
    }

    /// Passes in the order they are cut.
    pub(super) fn turns(&self, runs: &[Run]) -> Vec<Turn> {
        zigzag(runs, |a, b| self.corner(a, b).is_some())
    }

    /// Cuts parallel passes.
    pub(super) fn cut(&self, runs: &[Run], turns: &[Turn], trail: &mut Trail) {
        let cut: Vec<Vec<Point3>> = turns.par_iter().map(|turn| self.run_points(runs, *turn)).collect();
        for (turn, points) in turns.iter().zip(&cut) {
            self.add(trail, *turn, points);
        }
    }

    /// Points of a path straight from `from` to `to`.
    pub(super) fn points(&self, from: Point2, to: Point2) -> Vec<Point3> {
        self.heights(from, to).thinned(self.band())
    }

    /// Comes down over a place, as finishing does: in the air above the blank.
    pub(super) fn enter(&self, trail: &mut Trail, at: Point2) {
        trail.enter_over(at, self.target.blank_top_mm + LEAST_AIR_MM);
    }

    pub(super) fn toolpath(&self, step: Step, trail: Trail) -> Toolpath {
        Toolpath {
            step,
            cutter: self.cutting.finishing.clone(),
            spindle_rpm: self.cutting.spindle_rpm,
            moves: trail.finish(),
        }
    }

    fn run_points(&self, runs: &[Run], turn: Turn) -> Vec<Point3> {
        let run = runs[turn.run];
        let heights = self.heights(run.from, run.to);
        let heights = if turn.backward { heights.reversed() } else { heights };
        heights.thinned(self.band())
    }

    fn add(&self, trail: &mut Trail, turn: Turn, points: &[Point3]) {
        let Some(first) = points.first() else { return };
        let link =
            trail.last().filter(|_| turn.linked).and_then(|last| Some((last, self.corner(last.xy(), first.xy())?)));
        match link {
            Some((last, corner)) => {
                for (from, to) in [(last.xy(), corner), (corner, first.xy())] {
                    self.points(from, to).into_iter().for_each(|p| trail.cut_to(p));
                }
            }
            None => self.enter(trail, first.xy()),
        }
        points.iter().for_each(|p| trail.cut_to(*p));
    }

    /// Where a link turns: nowhere when it is short, otherwise where it leaves one of the two passes
    /// square across to the other. None when it would leave the region.
    fn corner(&self, from: Point2, to: Point2) -> Option<Point2> {
        let straight = STRAIGHT_STEPS * plane_step(&self.shape(), self.cutting.scallop_mm);
        let length = (to - from).norm();
        let corners = [Point2::new(to.x, from.y), Point2::new(from.x, to.y)];
        if length <= straight {
            return Some(from);
        }
        corners.into_iter().find(|c| length <= LINK_MM && self.region.contains(*c))
    }

    fn heights(&self, from: Point2, to: Point2) -> Heights {
        // Where the target stands above the blank there is only air to follow.
        let (shape, top) = (self.shape(), self.target.blank_top_mm + LEAST_AIR_MM);
        Heights::along(from, to, self.sampling, |p| self.surface.reach(&shape, p).clamp(0.0, top))
    }

    fn band(&self) -> Band {
        // A third of the gouge share is kept for what may hide between samples.
        Band {
            below: self.cutting.gouge_mm * 2.0 / 3.0,
            above: above_mm(&self.cutting),
            shortest: shortest(&self.cutting),
        }
    }
}

/// The ridge height that passes are laid for, so that what they run too high is made up for.
pub(super) fn planned_scallop_mm(cutting: &Cutting) -> f64 {
    cutting.scallop_mm - RAISED_SHARE * above_mm(cutting)
}

/// How far a finishing pass may run above its heights: the point tolerance, but no large part of a
/// low ridge, because what a pass runs too high its ridges must be lower (our own choice).
fn above_mm(cutting: &Cutting) -> f64 {
    cutting.point_tolerance_mm.min(cutting.scallop_mm / 6.0)
}

/// Samples so close that no hill of the cutter's own radius can hide between two of them by more
/// than the gouge share: a chord of sagitta e is `sqrt(8 r e)` long. A flat end prints every edge
/// of the mesh, so there it is a quarter of the mesh's step.
fn sample_step(shape: &Shape, grid_step: f64, gouge: f64) -> f64 {
    round_radius(shape).map_or(0.25 * grid_step, |r| (8.0 * r * gouge).sqrt().min(1.5 * grid_step))
}
