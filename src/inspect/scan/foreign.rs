//! Where something else stands on the piece: clamps and their like.

use super::plan::Plan;
use crate::frame::Point2;
use crate::grid::Lattice;
use crate::register::Cloud;

/// Squares of the plan that something foreign covers, with those around them.
pub(super) struct Foreign {
    lattice: Lattice,
    covered: Vec<bool>,
}

/// Size of the squares, mm.
const STEP_MM: f64 = 2.0;
/// A point so far above the design is not of the piece, mm.
const ABOVE_MM: f64 = 6.0;
/// So many make more than strays.
const LEAST_POINTS: usize = 4;
/// Squares around one that is covered, where the foreign thing's foot may be: 4 mm.
const AROUND: usize = 2;

/// Finds what stands on the piece.
pub(super) fn foreign(cloud: &Cloud, plan: &Plan) -> Foreign {
    let lattice = Lattice::covering(plan.footbed.outline.bounds(), STEP_MM);
    let mut counts = vec![0_usize; lattice.len()];
    for p in &cloud.points {
        if let Some(k) = square(&lattice, p.xy())
            && p.z > plan.footbed.top_at(p.xy()) + ABOVE_MM
        {
            counts[k] += 1;
        }
    }
    let mut covered = vec![false; lattice.len()];
    for k in (0..counts.len()).filter(|&k| counts[k] >= LEAST_POINTS) {
        let (i, j) = (k % lattice.nx, k / lattice.nx);
        for v in j.saturating_sub(AROUND)..=(j + AROUND).min(lattice.ny - 1) {
            for u in i.saturating_sub(AROUND)..=(i + AROUND).min(lattice.nx - 1) {
                covered[v * lattice.nx + u] = true;
            }
        }
    }
    Foreign { lattice, covered }
}

fn square(lattice: &Lattice, p: Point2) -> Option<usize> {
    let (i, j, ..) = lattice.cell(p)?;
    Some(j * lattice.nx + i)
}

impl Foreign {
    /// Whether something stands at `p`.
    pub(super) fn covers(&self, p: Point2) -> bool {
        square(&self.lattice, p).is_some_and(|k| self.covered[k])
    }
}
