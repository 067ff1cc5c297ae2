//! What a finishing path is measured by: the least length that any path could have, and the plain
//! raster that everyone would cut. Nothing here is cut by a job.

use super::cutting::check;
use super::finish::Plan;
use super::outline::Axis;
use super::{Cutting, PathError, Target, Toolpath};

/// Measures of the finishing cut of one piece.
#[derive(Clone, Debug)]
pub struct Yardstick {
    /// No passes at the ordered scallop height are shorter than this, mm, on the tip's own surface:
    /// the integral of `sqrt(l / 8 H)` over the region the tip has to go over, l the lesser eigenvalue of
    /// the scallop metric relative to the surface. Equal to the length if every pass ran in the
    /// direction in which the neighbour may lie furthest away.
    pub least_mm: f64,
    /// Passes along the foot with one step, the one that the tightest place asks for.
    pub raster: Toolpath,
    /// That step, mm.
    pub raster_step_mm: f64,
}

/// The measures of this target.
pub fn yardstick(target: &Target, cutting: &Cutting) -> Result<Yardstick, PathError> {
    check(target, cutting)?;
    let plan = Plan::new(target, cutting)?;
    let depth = &plan.depth.grid;
    let within: Vec<bool> = depth.z.iter().map(|d| *d > 0.0).collect();
    let area = depth.lattice.step * depth.lattice.step;
    let densities = within.iter().enumerate().filter(|(_, within)| **within).map(|(k, _)| plan.metric.least_density(k));
    let least_mm = densities.sum::<f64>() * area;
    let raster_step_mm = plan.metric.tightest(Axis::X, &within).into_iter().fold(f64::INFINITY, f64::min);
    Ok(Yardstick { least_mm, raster: plan.constant(Axis::X, raster_step_mm)?, raster_step_mm })
}
