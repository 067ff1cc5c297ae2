//! What one fault of the workshop would do to the whole top of a piece: everything higher, everything to
//! one side, or steep places off and level ones not. One piece seldom proves it; many in a log do.

use std::collections::BTreeMap;

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::field::{Field, along};
use super::plan::Plan;
use crate::frame::{Point2, Side, Vector2, bench_from_foot};
use crate::regress::{self, median};

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

/// The signatures of a top, all fitted at once; `None` when too little was seen.
///
/// Along the normal, with slope s and h = sqrt(1 + |s|^2): a height c counts c / h; a step d to the side
/// counts -s . d / h; a ball of radius r + e whose tip runs where a ball of radius r should took e (h - 1) / h
/// more, since its surface lies e further out along the normal and its tip e higher.
pub(super) fn signature(plan: &Plan, top: &Field, side: Side) -> Option<Signature> {
    let mut squares: BTreeMap<(i64, i64), (Vec<f64>, Point2, Vector2)> = BTreeMap::new();
    for (i, &p) in top.places.iter().enumerate() {
        let slope = top.slopes[i];
        if slope.norm() > STEEPEST || plan.distance(p) > -EDGE_MM {
            continue;
        }
        let square = ((p.y / BLOCK_MM).floor() as i64, (p.x / BLOCK_MM).floor() as i64);
        let (offs, place, sum) = squares.entry(square).or_insert((vec![], Point2::origin(), Vector2::zeros()));
        offs.push(top.off_mm[i]);
        *place += p.coords;
        *sum += slope;
    }
    const LEAST_POINTS: usize = 3;
    let (mut places, mut offs, mut rows) = (vec![], vec![], vec![]);
    for (mut numbers, place, slope) in squares.into_values().filter(|(offs, ..)| offs.len() >= LEAST_POINTS) {
        let n = numbers.len() as f64;
        let slope = slope / n;
        let h = along(slope);
        offs.push(median(&mut numbers)?);
        places.push(place / n);
        rows.extend([1.0 / h, -(h - 1.0) / h, -slope.x / h, -slope.y / h]);
    }
    let fit = regress::fit(&places, &DMatrix::from_row_slice(places.len(), 4, &rows), &offs)?;
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
