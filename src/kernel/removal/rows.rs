//! What a move leaves along one row of nodes, for the cases that nearly all moves are: a ball, and a
//! level flat or bull-nose. Knows the closed forms of [`super`], laid out for vector instructions.

use super::{EDGE_SLACK, Sweep, larger, lean, smaller};

/// The ball's closed form with everything that does not change along a row taken out of the loop,
/// and without branches, so that the compiler can use vector instructions: most of a proof's time
/// is spent here.
pub(super) struct BallRow {
    length: f64,
    slope: f64,
    /// z of the move's start plus the radius.
    base: f64,
    reach2: f64,
    radius2: f64,
    /// The unclamped lowest place is `-lean * rho`.
    lean: f64,
}

impl BallRow {
    pub(super) fn new(sweep: &Sweep, radius: f64) -> BallRow {
        BallRow {
            length: sweep.length,
            slope: sweep.slope,
            base: sweep.from.z + radius,
            reach2: radius * radius * (1.0 + 2.0 * EDGE_SLACK),
            radius2: radius * radius,
            lean: lean(sweep.slope),
        }
    }

    /// Plain comparisons, not `f64::max`, which must look for NaN and stays scalar.
    #[inline(always)]
    pub(super) fn height(&self, s: f64, d2: f64) -> f64 {
        let half2 = self.reach2 - d2;
        let half = larger(half2, 0.0).sqrt();
        let (lo, hi) = (larger(-s, -half), smaller(self.length - s, half));
        let x = smaller(larger(-self.lean * half, lo), hi);
        let height = self.base + self.slope * (s + x) - larger(self.radius2 - d2 - x * x, 0.0).sqrt();
        if (half2 >= 0.0) & (lo <= hi) { height } else { f64::INFINITY }
    }
}

/// A level move of a bull-nose, or of a flat as one without a corner: it stands lowest where it is
/// nearest. Without branches, like [`BallRow`]; most of roughing and of the perimeter is this.
pub(super) struct LevelRow {
    length: f64,
    tip: f64,
    reach2: f64,
    flat: f64,
    corner: f64,
}

impl LevelRow {
    pub(super) fn new(sweep: &Sweep, radius: f64, corner: f64) -> LevelRow {
        let reach2 = radius * radius * (1.0 + 2.0 * EDGE_SLACK);
        LevelRow { length: sweep.length, tip: sweep.from.z, reach2, flat: radius - corner, corner }
    }

    #[inline(always)]
    pub(super) fn height(&self, s: f64, d2: f64) -> f64 {
        let x = larger(larger(-s, s - self.length), 0.0);
        let q2 = x * x + d2;
        let out = larger(q2.sqrt() - self.flat, 0.0);
        let rise = self.corner - larger(self.corner * self.corner - out * out, 0.0).sqrt();
        if q2 <= self.reach2 { self.tip + rise } else { f64::INFINITY }
    }
}
