//! Lengths that depend on direction: a symmetric form of two by two numbers, and distances in it.
//! Knows no cutters.

use crate::frame::{Point2, Vector2};
use crate::grid::Lattice;

/// A symmetric form in the plane. As a metric, `v' F v` is the square of the length of v.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Form {
    pub(super) xx: f64,
    pub(super) xy: f64,
    pub(super) yy: f64,
}

impl Form {
    /// Lengths as a ruler has them.
    pub(super) const RULER: Form = Form { xx: 1.0, xy: 0.0, yy: 1.0 };

    pub(super) fn scaled(self, by: f64) -> Form {
        Form { xx: by * self.xx, xy: by * self.xy, yy: by * self.yy }
    }

    pub(super) fn det(self) -> f64 {
        self.xx * self.yy - self.xy * self.xy
    }

    pub(super) fn dot(self, a: Vector2, b: Vector2) -> f64 {
        a.x * (self.xx * b.x + self.xy * b.y) + a.y * (self.xy * b.x + self.yy * b.y)
    }

    pub(super) fn length(self, v: Vector2) -> f64 {
        self.dot(v, v).max(0.0).sqrt()
    }

    /// How steeply a height with this gradient rises per length in the metric, where it is steepest.
    pub(super) fn steepness(self, gradient: Vector2) -> f64 {
        let inverse = Form { xx: self.yy, xy: -self.xy, yy: self.xx };
        (inverse.dot(gradient, gradient) / self.det()).max(0.0).sqrt()
    }

    /// Length from `p` to the nearest point of the segment from `a` to `b`.
    pub(super) fn to_segment(self, p: Point2, a: Point2, b: Point2) -> f64 {
        let (along, from) = (b - a, p - a);
        let t = self.dot(from, along) / self.dot(along, along).max(f64::MIN_POSITIVE);
        self.length(from - along * t.clamp(0.0, 1.0))
    }

    /// Lesser and greater eigenvalue.
    pub(super) fn eigenvalues(self) -> (f64, f64) {
        let (middle, half) = (0.5 * (self.xx + self.yy), (0.5 * (self.xx - self.yy)).hypot(self.xy));
        (middle - half, middle + half)
    }

    /// The form with the same axes whose eigenvalues are brought within bounds.
    pub(super) fn clamped(self, least: f64, most: f64) -> Form {
        let (low, high) = self.eigenvalues();
        let (new_low, new_high) = (low.clamp(least, most), high.clamp(least, most));
        // A linear map of the form to itself and the ruler takes the old values to the new ones.
        let stretch = if high > low { (new_high - new_low) / (high - low) } else { 1.0 };
        let rest = new_low - stretch * low;
        Form { xx: stretch * self.xx + rest, xy: stretch * self.xy, yy: stretch * self.yy + rest }
    }
}

/// Distances, each in its node's own form, from the nodes near closed loops to them; infinite at
/// nodes further than `reach` mm from every segment, as a ruler has it.
pub(super) fn distances(
    lattice: &Lattice,
    loops: &[Vec<Point2>],
    reach: f64,
    form: impl Fn(usize) -> Option<Form>,
) -> Vec<f64> {
    let mut out = vec![f64::INFINITY; lattice.len()];
    let span = |low: f64, high: f64, start: f64, n: usize| {
        // Casts saturate: what lies off the lattice gives an empty span.
        let first = ((low - reach - start) / lattice.step).ceil().max(0.0) as usize;
        let end = (((high + reach - start) / lattice.step).floor() + 1.0).max(0.0) as usize;
        first..end.min(n)
    };
    for points in loops {
        for (a, b) in closed(points) {
            for j in span(a.y.min(b.y), a.y.max(b.y), lattice.y0, lattice.ny) {
                for i in span(a.x.min(b.x), a.x.max(b.x), lattice.x0, lattice.nx) {
                    let k = j * lattice.nx + i;
                    if let Some(form) = form(k) {
                        out[k] = out[k].min(form.to_segment(lattice.node(i, j), a, b));
                    }
                }
            }
        }
    }
    out
}

/// The edges of a closed loop.
pub(super) fn closed(points: &[Point2]) -> impl Iterator<Item = (Point2, Point2)> + '_ {
    let next = points.iter().cycle().skip(1);
    points.iter().copied().zip(next.copied())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    proptest! {
        /// Definitions, by what they say: eigenvalues bound the squared length of unit vectors, and no
        /// direction rises more per length than the steepest.
        #[test]
        fn no_direction_beats_the_closed_forms(
            xx in 0.1..4.0f64, yy in 0.1..4.0f64, share in -0.95..0.95f64, gx in -1.0..1.0f64, gy in -1.0..1.0f64,
        ) {
            let form = Form { xx, xy: share * (xx * yy).sqrt(), yy };
            let (low, high) = form.eigenvalues();
            let tight = form.clamped(0.5, 1.0);
            let gradient = Vector2::new(gx, gy);
            let (mut least, mut most, mut steepest) = (f64::INFINITY, 0.0f64, 0.0f64);
            for k in 0..3600 {
                let (sin, cos) = (f64::from(k) * 0.05f64.to_radians()).sin_cos();
                let v = Vector2::new(cos, sin);
                (least, most) = (least.min(form.dot(v, v)), most.max(form.dot(v, v)));
                steepest = steepest.max(gradient.dot(&v).abs() / form.length(v));
                prop_assert!((0.5 - 1e-9..=1.0 + 1e-9).contains(&tight.dot(v, v)));
            }
            prop_assert!((least - low).abs() < 1e-5 * high && (most - high).abs() < 1e-5 * high);
            prop_assert!((steepest - form.steepness(gradient)).abs() < 1e-4 * steepest.max(0.01));
        }
    }

    #[test]
    fn distances_to_a_square_are_those_of_plane_geometry() {
        let square = [(2.0, 2.0), (6.0, 2.0), (6.0, 6.0), (2.0, 6.0)].map(|(x, y)| Point2::new(x, y)).to_vec();
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 1.0, nx: 9, ny: 9 };
        let far = distances(&lattice, &[square], 1.5, |_| Some(Form::RULER));
        assert_abs_diff_eq!(far[4 * 9 + 1], 1.0);
        assert_abs_diff_eq!(far[9 + 1], std::f64::consts::SQRT_2);
        assert!(far[0].is_infinite() && far[4 * 9 + 4].is_infinite());
    }
}
