//! The roughing cut: parallel passes at fixed depths, skipping what is air by then.
//!
//! Every level runs over the same lines, and the tip of level k follows
//! `max(rest height, z_k)`. What stands under the tip is therefore known without carving: the
//! level before left it at `max(rest height, z_(k-1))`. So a level is cut only where the rest
//! height lies below the level before, is never deeper than one step, and a rapid may come down to
//! what the level before left.

use rayon::prelude::*;

use super::cutting::{LEAST_AIR_MM, check};
use super::finish::{clip, stays_inside};
use super::heights::{Band, Heights, Sampling};
use super::outline::{Axis, Outline};
use super::passes::{Region, Run, Turn, evenly, zigzag};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3};
use crate::kernel::{Shape, Surface};
use crate::ticket::Passes;

/// Cleared beyond the perimeter cutter's width, so that its outer edge meets no wall (our own
/// choice).
const CLEAR_MM: f64 = 1.5;

/// Distance of samples along a roughing pass (our own choice: curvatures of a footbed over 0.6 mm
/// stay far below any allowance).
const SAMPLE_MM: f64 = 0.6;

/// How far above its heights a roughing pass may run: less than any allowance (our own choice).
const TOLERANCE_MM: f64 = 0.1;

/// Less than this is no cut (our own choice).
const NO_CUT_MM: f64 = 0.02;

/// The roughing path: everything within the outline grown by the perimeter cutter's width, down to
/// the allowance.
pub fn rough(target: &Target, cutting: &Cutting) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let plan = Plan::new(target, cutting)?;
    let mut trail = Trail::new(target, cutting);
    for level in 0.. {
        if !plan.level(level, &mut trail) {
            break;
        }
    }
    if trail.is_empty() {
        return Err(PathError::Nothing { step: Step::Rough });
    }
    Ok(Toolpath {
        step: Step::Rough,
        cutter: cutting.roughing.clone(),
        spindle_rpm: cutting.spindle_rpm,
        moves: trail.finish(),
    })
}

/// The region that roughing clears.
pub(super) fn cleared(target: &Target, cutting: &Cutting) -> Result<Region, PathError> {
    let by = 2.0 * cutting.perimeter.shape.radius() + CLEAR_MM;
    Ok(Region::new(Outline::new(&target.outline)?.region(by)?, clip(target)))
}

/// Distance of roughing passes, mm.
pub(super) fn side_step(cutting: &Cutting) -> f64 {
    2.0 * cutting.roughing.shape.radius() * cutting.rough_step_share
}

struct Plan<'t> {
    cutting: &'t Cutting,
    top: f64,
    /// The cutter with the allowance around it.
    grown: Shape,
    surface: Surface<'t>,
    region: Region,
    /// Rest heights along every line, with the line's number.
    lines: Vec<(usize, Heights)>,
}

impl<'t> Plan<'t> {
    fn new(target: &'t Target, cutting: &'t Cutting) -> Result<Plan<'t>, PathError> {
        let region = cleared(target, cutting)?;
        let axis = if cutting.passes == Passes::Across { Axis::Y } else { Axis::X };
        let (low, high) = region.extent(axis);
        let inset = (0.5 * side_step(cutting)).min(0.5 * (high - low));
        let runs = region.runs(axis, &evenly(low + inset, high - inset, side_step(cutting)));
        let mut plan = Plan {
            cutting,
            top: target.blank_top_mm,
            grown: cutting.roughing.shape.grown(cutting.allowance_mm),
            surface: Surface::new(&target.surface)?,
            region,
            lines: Vec::new(),
        };
        plan.lines = runs.par_iter().map(|run| (run.pass, plan.rest_heights(run.from, run.to))).collect();
        Ok(plan)
    }

    fn rest_heights(&self, from: Point2, to: Point2) -> Heights {
        let sampling = Sampling { step: SAMPLE_MM, bulge: 0.5 * TOLERANCE_MM };
        Heights::along(from, to, sampling, |p| {
            (self.surface.reach(&self.grown, p) + self.cutting.allowance_mm).max(0.0)
        })
    }

    /// Height of the level's floor; level -1 is the blank's top.
    fn floor(&self, level: i32) -> f64 {
        self.top - f64::from(level + 1) * self.cutting.step_down_mm
    }

    /// Cuts one level; false when nothing was left to cut.
    fn level(&self, level: i32, trail: &mut Trail) -> bool {
        let (before, floor) = (self.floor(level - 1), self.floor(level));
        let stretches: Vec<(usize, Heights)> = self
            .lines
            .iter()
            .flat_map(|(pass, line)| line.stretches(before - NO_CUT_MM).into_iter().map(move |s| (*pass, s)))
            .collect();
        let runs: Vec<Run> = stretches
            .iter()
            .filter_map(|(pass, s)| Some(Run { pass: *pass, from: s.first()?.at, to: s.last()?.at }))
            .collect();
        let longest = 2.0 * side_step(self.cutting);
        for turn in zigzag(&runs, |a, b| (b - a).norm() <= longest && stays_inside(&self.region, a, b)) {
            let rest = &stretches[turn.run].1;
            let rest = if turn.backward { rest.reversed() } else { rest.clone() };
            self.cut(trail, turn, &rest, before, floor);
        }
        !runs.is_empty()
    }

    fn cut(&self, trail: &mut Trail, turn: Turn, rest: &Heights, before: f64, floor: f64) {
        let Some(first) = rest.first() else { return };
        let band = Band { below: 0.0, above: TOLERANCE_MM };
        match trail.last() {
            Some(last) if turn.linked => {
                let link = self.rest_heights(last.xy(), first.at).raised(floor).thinned(band);
                link.into_iter().skip(1).for_each(|p| trail.cut_to(p));
            }
            _ => {
                let standing = first.z.max(before);
                trail.enter_over(first.at, standing + LEAST_AIR_MM);
                self.ramp(trail, rest, standing, floor);
            }
        }
        rest.raised(floor).thinned(band).into_iter().for_each(|p| trail.cut_to(p));
    }

    /// Down along the stretch from the height that stands to the floor, and back at the bottom, so
    /// that the stretch itself starts at full depth.
    fn ramp(&self, trail: &mut Trail, rest: &Heights, standing: f64, floor: f64) {
        let (Some(first), Some(last)) = (rest.first(), rest.last()) else { return };
        let depth = standing - first.z.max(floor);
        trail.cut_to(Point3::new(first.at.x, first.at.y, standing));
        if depth <= NO_CUT_MM {
            return;
        }
        let slope = self.cutting.ramp_deg.to_radians().tan().max(depth / (last.s - first.s).max(SAMPLE_MM));
        let mut down = rest.raised(floor);
        for p in &mut down.places {
            p.z = p.z.max(standing - slope * (p.s - first.s));
        }
        let bottom = down.places.iter().zip(&rest.places).position(|(d, r)| d.z <= r.z.max(floor));
        down.places.truncate(bottom.map_or(down.places.len(), |k| k + 1));
        let mut back = Heights { places: rest.places[..down.places.len()].to_vec() }.raised(floor);
        back = back.reversed();
        let band = Band { below: 0.0, above: TOLERANCE_MM };
        down.thinned(band).into_iter().chain(back.thinned(band)).for_each(|p| trail.cut_to(p));
    }
}
