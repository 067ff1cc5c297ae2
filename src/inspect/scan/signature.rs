//! What one fault of the workshop would do to the whole top of a piece: everything higher, everything to
//! one side, or steep places off and level ones not. One piece seldom proves it; many in a log do.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::blocks::Blocks;
use super::field::{Field, along};
use super::plan::Plan;
use crate::frame::{Point2, Side, bench_from_foot};

/// A size with its half interval, k = 2, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Known {
    pub size: f64,
    pub uncertainty: f64,
}

/// The signatures of a piece, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Signature {
    /// The whole top is this much higher.
    pub height: Known,
    /// The cutter's radius is this much larger than was planned for: it took more where it is steep.
    pub cutter_radius: Known,
    /// The top lies this far to the side of its own edge, along X and Y of the bench.
    pub side_step: [Known; 2],
}

/// Squares over which the signature is taken, mm.
const BLOCK_MM: f64 = 5.0;
/// Nearer to the edge than this, mm, a point is not used.
const EDGE_MM: f64 = 3.0;
/// Steeper than this, walls are seen too badly.
const STEEPEST: f64 = 3.0;
/// A square with fewer points is not used.
const LEAST_POINTS: usize = 3;

/// The signatures of a top, all fitted at once; `None` when too little was seen.
///
/// Along the normal, with slope s and h = sqrt(1 + |s|^2): a height c counts c / h; a step d to the side
/// counts -s . d / h; a ball of radius r + e whose tip runs where a ball of radius r should took e (h - 1) / h
/// more, since its surface lies e further out along the normal and its tip e higher.
pub(super) fn signature(plan: &Plan, top: &Field, side: Side) -> Option<Signature> {
    let used = |i: &usize| top.slopes[*i].norm() <= STEEPEST && plan.distance(top.places[*i]) <= -EDGE_MM;
    let points = (0..top.places.len()).filter(used).map(|i| (top.places[i], top.off_mm[i]));
    let blocks = Blocks::of(points, BLOCK_MM, LEAST_POINTS);
    let row = |p: &Point2| {
        let slope = plan.footbed.top.slope(*p);
        let h = along(slope);
        [1.0 / h, -(h - 1.0) / h, -slope.x / h, -slope.y / h]
    };
    let rows: Vec<f64> = blocks.places.iter().flat_map(row).collect();
    let model = DMatrix::from_row_slice(blocks.places.len(), 4, &rows);
    let fit = blocks.fit(&model)?;
    let known = |k: usize, sign: f64| Known {
        size: sign * fit.coefficients[k],
        uncertainty: crate::inspect::COVERAGE * fit.covariance[(k, k)].max(0.0).sqrt(),
    };
    let signs = bench_from_foot(side).signs();
    Some(Signature {
        height: known(0, 1.0),
        cutter_radius: known(1, 1.0),
        side_step: [known(2, signs[0]), known(3, signs[1])],
    })
}
