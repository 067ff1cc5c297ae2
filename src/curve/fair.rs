//! The fairest closed curve through a few places. Knows nothing of feet.
//!
//! Each coordinate is a closed cubic spline over the loop's own arc length that is C2 at every
//! knot, keeps the places and tangents asked for and has, among all those, the least integral of
//! its squared second derivative: the curve a thin strip of spring steel would take (Schoenberg
//! 1964; the "spline" of ship lofting). Held tangents and free knots are what sets it apart from a
//! plain interpolating spline.

use nalgebra::{DMatrix, DVector};

use super::CurveError;
use super::bezier::{Bezier, bezier};
use crate::frame::Point2;

/// What the curve must do at a knot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hold {
    /// Nothing: the place is a guess that only spaces the knots.
    Free,
    /// Pass through the place.
    Point,
    /// Pass through it with the tangent along y, so that x is extreme there.
    AlongY,
    /// Pass through it with the tangent along x, so that y is extreme there.
    AlongX,
}

/// Passes over the parameter: each takes the arc lengths of the curve before it, starting from the
/// chords between the places. After the third the lengths change by less than a thousandth.
const PASSES: usize = 4;

/// How finely arc lengths are measured, as a share of the mean span; they only space the knots.
const LENGTH_SHARE: f64 = 1e-3;

/// The fairest closed counter-clockwise curve through `knots`, one Bezier a span, that bends to
/// the left by at least `least_curvature` wherever a tangent is held, so that what is held as an
/// extreme is one.
pub(super) fn fairest_loop(knots: &[(Point2, Hold)], least_curvature: f64) -> Result<Vec<Bezier>, CurveError> {
    let next = knots.iter().cycle().skip(1);
    let mut spans: Vec<f64> = knots.iter().zip(next).map(|((a, _), (b, _))| (b - a).norm()).collect();
    let tolerance = LENGTH_SHARE * spans.iter().sum::<f64>() / spans.len() as f64;
    let mut bends = vec![None; knots.len()];
    let mut pieces = Vec::new();
    for _ in 0..PASSES {
        let [x, y] = solved(knots, &spans, &bends).ok_or(CurveError::Undetermined)?;
        for (i, bend) in bends.iter_mut().enumerate() {
            *bend = bend.or_else(|| missing_bend(&spans, knots[i].1, &x, &y, i, least_curvature));
        }
        pieces = beziers(&spans, &x, &y);
        spans = pieces.iter().map(|p: &Bezier| p.approximate_length(tolerance)).collect();
    }
    Ok(pieces)
}

fn solved(knots: &[(Point2, Hold)], spans: &[f64], bends: &[Option<f64>]) -> Option<[Coordinate; 2]> {
    let asked = |value, hold, level, bend: Option<f64>| Asked {
        value: (hold != Hold::Free).then_some(value),
        slope: (hold == level).then_some(0.0),
        bend: bend.filter(|_| hold == level),
    };
    let x: Vec<Asked> = knots.iter().zip(bends).map(|((p, h), &b)| asked(p.x, *h, Hold::AlongY, b)).collect();
    let y: Vec<Asked> = knots.iter().zip(bends).map(|((p, h), &b)| asked(p.y, *h, Hold::AlongX, b)).collect();
    Some([Coordinate::solve(spans, &x)?, Coordinate::solve(spans, &y)?])
}

/// The second derivative that a held coordinate must be given because, left alone, the curve would
/// bend too little or to the right at knot `i`. The parameter is arc length, so the second
/// derivative is the curvature, towards the left of the way the other coordinate goes.
fn missing_bend(spans: &[f64], hold: Hold, x: &Coordinate, y: &Coordinate, i: usize, least: f64) -> Option<f64> {
    let (own, leftward) = match hold {
        Hold::AlongY => (x, -y.slope[i].signum()),
        Hold::AlongX => (y, x.slope[i].signum()),
        Hold::Free | Hold::Point => return None,
    };
    (own.second_derivative(spans, i) * leftward < least).then_some(least * leftward)
}

fn beziers(spans: &[f64], x: &Coordinate, y: &Coordinate) -> Vec<Bezier> {
    let piece = |(i, &h): (usize, &f64)| {
        let j = (i + 1) % spans.len();
        let at = |k: usize, reach: f64| Point2::new(x.value[k] + reach * x.slope[k], y.value[k] + reach * y.slope[k]);
        bezier(at(i, 0.0), at(i, h / 3.0), at(j, -h / 3.0), at(j, 0.0))
    };
    spans.iter().enumerate().map(piece).collect()
}

/// What is asked of one coordinate at a knot.
struct Asked {
    value: Option<f64>,
    slope: Option<f64>,
    /// Second derivative.
    bend: Option<f64>,
}

/// One coordinate of the loop: value and slope at every knot.
struct Coordinate {
    value: Vec<f64>,
    slope: Vec<f64>,
}

impl Coordinate {
    /// Least bending energy under the conditions, by Lagrange multipliers: a small symmetric
    /// indefinite system of about 70 unknowns.
    fn solve(spans: &[f64], asked: &[Asked]) -> Option<Coordinate> {
        let n = spans.len();
        let conditions = conditions(spans, asked);
        let size = 2 * n + conditions.len();
        let mut matrix = DMatrix::zeros(size, size);
        let mut right = DVector::zeros(size);
        add_bending(&mut matrix, spans);
        for (k, (row, value)) in conditions.iter().enumerate() {
            for &(unknown, weight) in row {
                matrix[(2 * n + k, unknown)] += weight;
                matrix[(unknown, 2 * n + k)] += weight;
            }
            right[2 * n + k] = *value;
        }
        let solved = matrix.lu().solve(&right).filter(|s| s.iter().all(|v| v.is_finite()))?;
        // What was asked is put back to the last bit.
        let exact = |(i, a): (usize, &Asked)| (a.value.unwrap_or(solved[i]), a.slope.unwrap_or(solved[n + i]));
        let (value, slope) = asked.iter().enumerate().map(exact).unzip();
        Some(Coordinate { value, slope })
    }

    fn second_derivative(&self, spans: &[f64], i: usize) -> f64 {
        let unknown = |k: usize| *self.value.get(k).unwrap_or_else(|| &self.slope[k - self.value.len()]);
        second_derivative_after(spans, i).iter().map(|&(k, weight)| weight * unknown(k)).sum()
    }
}

type Condition = (Vec<(usize, f64)>, f64);

/// Unknown i is the value at knot i, unknown n + i the slope. Every knot is C2; then what is asked.
fn conditions(spans: &[f64], asked: &[Asked]) -> Vec<Condition> {
    let n = spans.len();
    let smooth = (0..n).map(|i| {
        let after = second_derivative_after(spans, i).into_iter();
        let before = second_derivative_before(spans, i).into_iter().map(|(k, weight)| (k, -weight));
        (after.chain(before).collect(), 0.0)
    });
    let values = (0..n).filter_map(|i| Some((vec![(i, 1.0)], asked[i].value?)));
    let slopes = (0..n).filter_map(|i| Some((vec![(n + i, 1.0)], asked[i].slope?)));
    let bends = (0..n).filter_map(|i| Some((second_derivative_after(spans, i).to_vec(), asked[i].bend?)));
    smooth.chain(values).chain(slopes).chain(bends).collect()
}

/// The second derivative at knot i of the Hermite cubic that starts there, as weights of unknowns.
fn second_derivative_after(spans: &[f64], i: usize) -> [(usize, f64); 4] {
    let (n, h) = (spans.len(), spans[i]);
    let j = (i + 1) % n;
    [(i, -6.0 / (h * h)), (j, 6.0 / (h * h)), (n + i, -4.0 / h), (n + j, -2.0 / h)]
}

/// The same of the one that ends there.
fn second_derivative_before(spans: &[f64], i: usize) -> [(usize, f64); 4] {
    let n = spans.len();
    let p = (i + n - 1) % n;
    let h = spans[p];
    [(p, 6.0 / (h * h)), (i, -6.0 / (h * h)), (n + p, 2.0 / h), (n + i, 4.0 / h)]
}

/// Adds the integral of the squared second derivative, span by span: the stiffness matrix of a
/// beam element (any text on finite elements; Przemieniecki 1968, section 5.6).
fn add_bending(matrix: &mut DMatrix<f64>, spans: &[f64]) {
    let n = spans.len();
    for (i, &h) in spans.iter().enumerate() {
        let j = (i + 1) % n;
        let unknowns = [i, n + i, j, n + j];
        let beam = [
            [12.0, 6.0 * h, -12.0, 6.0 * h],
            [6.0 * h, 4.0 * h * h, -6.0 * h, 2.0 * h * h],
            [-12.0, -6.0 * h, 12.0, -6.0 * h],
            [6.0 * h, 2.0 * h * h, -6.0 * h, 4.0 * h * h],
        ];
        for (row, &p) in beam.iter().zip(&unknowns) {
            for (k, &q) in row.iter().zip(&unknowns) {
                matrix[(p, q)] += k / (h * h * h);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Points on a circle: the fairest loop is that circle, nearly (a spline of 12 spans over arc
    /// length leaves a circle by about (2 pi / 12)^4 / 384 = 2e-4 of its radius).
    #[test]
    fn circle_comes_back() {
        let at = |k: usize| Point2::new((k as f64 / 12.0 * TAU).cos(), (k as f64 / 12.0 * TAU).sin());
        let knots: Vec<_> = (0..12).map(|k| (at(k), Hold::Point)).collect();
        for piece in fairest_loop(&knots, 0.0).unwrap() {
            for k in 0..=50 {
                let p = piece.sample(k as f64 / 50.0);
                assert!((p.x.hypot(p.y) - 1.0).abs() < 4e-4);
            }
        }
    }

    #[test]
    fn curvature_is_continuous_and_holds_are_kept() {
        let p = Point2::new;
        let knots = [
            (p(0.0, 0.0), Hold::AlongX),
            (p(2.0, 1.0), Hold::Free),
            (p(3.0, 3.0), Hold::AlongY),
            (p(1.0, 5.0), Hold::AlongX),
            (p(-1.0, 4.0), Hold::Free),
            (p(-2.0, 2.0), Hold::Point),
        ];
        let pieces = fairest_loop(&knots, 0.0).unwrap();
        for (i, (piece, (place, hold))) in pieces.iter().zip(&knots).enumerate() {
            let before = pieces[(i + pieces.len() - 1) % pieces.len()];
            let kappa = |d1: lyon_geom::Vector<f64>, d2: lyon_geom::Vector<f64>| d1.cross(d2) / d1.length().powi(3);
            let second = |a, b: lyon_geom::Point<f64>, c| (c - b) - (b - a);
            let out = kappa((piece.ctrl1 - piece.from) * 3.0, second(piece.from, piece.ctrl1, piece.ctrl2) * 6.0);
            let into = kappa((before.to - before.ctrl2) * 3.0, second(before.ctrl1, before.ctrl2, before.to) * 6.0);
            approx::assert_abs_diff_eq!(out, into, epsilon = 1e-9);
            let tangent = piece.ctrl1 - piece.from;
            match hold {
                Hold::Free => {}
                Hold::Point => assert_eq!((piece.from.x, piece.from.y), (place.x, place.y)),
                Hold::AlongX => assert_eq!((piece.from.y, tangent.y), (place.y, 0.0)),
                Hold::AlongY => assert_eq!((piece.from.x, tangent.x), (place.x, 0.0)),
            }
        }
    }

    #[test]
    fn coinciding_knots_are_an_error() {
        let p = Point2::new(1.0, 1.0);
        let same = [(p, Hold::Point), (p, Hold::Point), (p, Hold::Point)];
        assert_eq!(fairest_loop(&same, 0.0).unwrap_err(), CurveError::Undetermined);
    }
}
