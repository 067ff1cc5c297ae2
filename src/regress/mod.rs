//! Least squares where the errors of neighbours are alike: what a scanner's noise, a cutter's marks
//! and a shape that the model lacks have in common. Standard errors follow from how alike the
//! residuals are at every distance. Knows places and numbers; does not know what was measured.
//!
//! Ordinary standard errors divide by the root of the number of points, so a scan of a million points
//! would promise thousandths. Here the covariance of the noise is estimated from the residuals as a
//! non-negative mixture of [`Noise`] kernels and carried through the estimate (the sandwich
//! A S A', A the linear estimator and S the covariance of the observations).
//!
//! Residuals are smaller and less alike than the noise was, since the fit took part of it away. The
//! mixture is therefore fitted to what residuals of each kernel would look like after the same fit,
//! E[r r'] = M S M with the projection M = I - X (X'X)^-1 X' (the moment equations of the variance
//! components, Rao 1972, J Am Stat Assoc 67:112 [from memory]).

mod noise;

use nalgebra::{DMatrix, DVector};

use crate::frame::Point2;

pub use noise::Noise;

/// A fit by least squares and what is known of its errors.
#[derive(Clone, Debug)]
pub struct Fit {
    /// One for each column of the model.
    pub coefficients: DVector<f64>,
    /// Covariance of the coefficients.
    pub covariance: DMatrix<f64>,
    /// Observed less fitted, at every place; NaN where the observation was left out.
    pub residuals: Vec<f64>,
    /// The noise that the residuals speak of.
    pub noise: Noise,
    /// How many observations count.
    pub kept: usize,
    /// What multiplies the observations to give the coefficients; zero columns for those left out.
    pub estimator: DMatrix<f64>,
}

/// An observation further from the fit than this many robust standard deviations is not of the same
/// kind (a clamp, a hole's edge, damage). Of normal noise about 1 in 150,000 goes with them.
const OUTLYING: f64 = 4.5;
/// Rounds of leaving out.
const ROUNDS: usize = 8;

/// Fits `observed` at `places` by the columns of `model` (a row for each place). An observation may be
/// drawn together from points over a square of width `drawn_mm`; 0 when it is of the place alone.
///
/// `None` when there are too few observations for the model, or columns that the places cannot tell
/// apart.
pub fn fit(places: &[Point2], model: &DMatrix<f64>, observed: &[f64], drawn_mm: f64) -> Option<Fit> {
    let (n, p) = model.shape();
    if n != places.len() || n != observed.len() || observed.iter().any(|y| !y.is_finite()) {
        return None;
    }
    let off = |coefficients: &DVector<f64>| -> Vec<f64> {
        let fitted = model * coefficients;
        observed.iter().zip(fitted.iter()).map(|(seen, fitted)| seen - fitted).collect()
    };
    let mut kept: Vec<usize> = (0..n).collect();
    let mut coefficients = least_absolute(model, observed)?;
    for _ in 0..ROUNDS {
        let off = off(&coefficients);
        let limit = OUTLYING * robust_sd(kept.iter().map(|&i| off[i]))? + f64::EPSILON;
        let inside: Vec<usize> = (0..n).filter(|&i| off[i].abs() <= limit).collect();
        let settled = inside == kept;
        kept = inside;
        coefficients = estimate(model, observed, &kept)?.coefficients;
        if settled {
            break;
        }
    }
    let estimate = estimate(model, observed, &kept)?;
    let off = off(&estimate.coefficients);
    let places: Vec<Point2> = kept.iter().map(|&i| places[i]).collect();
    let residuals: Vec<f64> = kept.iter().map(|&i| off[i]).collect();
    let noise = Noise::of_residuals(&places, &estimate.basis, &residuals, drawn_mm);
    let covariance = noise.carried(&places, &estimate.estimator);
    let mut all = vec![f64::NAN; n];
    let mut estimator = DMatrix::zeros(p, n);
    for (k, &i) in kept.iter().enumerate() {
        all[i] = residuals[k];
        estimator.set_column(i, &estimate.estimator.column(k));
    }
    Some(Fit { coefficients: estimate.coefficients, covariance, residuals: all, noise, kept: kept.len(), estimator })
}

/// The coefficients with the least sum of absolute residuals, nearly: a start that a clamp on one edge
/// does not tilt. Each round weighs with the inverse of the last residual (Schlossmacher 1973, J Am
/// Stat Assoc 68:857 [from memory]).
fn least_absolute(model: &DMatrix<f64>, observed: &[f64]) -> Option<DVector<f64>> {
    const ROUNDS: usize = 30;
    let seen = DVector::from_column_slice(observed);
    let all: Vec<usize> = (0..observed.len()).collect();
    let mut coefficients = estimate(model, observed, &all)?.coefficients;
    for _ in 0..ROUNDS {
        let off = &seen - model * &coefficients;
        let least = 1e-3 * off.abs().mean() + f64::MIN_POSITIVE;
        let mut weighted = model.clone();
        for (i, mut row) in weighted.row_iter_mut().enumerate() {
            row /= off[i].abs().max(least);
        }
        let normal = weighted.transpose() * model;
        coefficients = normal.cholesky()?.solve(&(weighted.transpose() * &seen));
    }
    Some(coefficients)
}

/// Coefficients from the rows that are kept.
struct Estimate {
    coefficients: DVector<f64>,
    /// (X'X)^-1 X'.
    estimator: DMatrix<f64>,
    /// Orthonormal columns that span the model.
    basis: DMatrix<f64>,
}

fn estimate(model: &DMatrix<f64>, observed: &[f64], kept: &[usize]) -> Option<Estimate> {
    /// Columns whose independent part is smaller than this share of the largest cannot be told apart.
    const LEAST_INDEPENDENT: f64 = 1e-9;
    let p = model.ncols();
    if kept.len() < 2 * p + 2 {
        return None;
    }
    let rows = DMatrix::from_fn(kept.len(), p, |i, j| model[(kept[i], j)]);
    let seen = DVector::from_fn(kept.len(), |i, _| observed[kept[i]]);
    let qr = rows.qr();
    let (q, r) = (qr.q(), qr.r());
    let diagonal: Vec<f64> = (0..p).map(|k| r[(k, k)].abs()).collect();
    let largest = diagonal.iter().copied().fold(0.0, f64::max);
    if !diagonal.iter().all(|&d| d > LEAST_INDEPENDENT * largest) {
        return None;
    }
    let estimator = r.solve_upper_triangular(&q.transpose())?;
    Some(Estimate { coefficients: &estimator * seen, estimator, basis: q })
}

/// The standard deviation of normal errors about zero, told from their middle size, so that strays do
/// not count. `None` of nothing.
pub fn robust_sd(errors: impl Iterator<Item = f64>) -> Option<f64> {
    /// The median size of normal errors is their standard deviation over this, 1 / 0.6745.
    const PER_MEDIAN: f64 = 1.4826;
    median(&mut errors.map(f64::abs).collect::<Vec<f64>>()).map(|middle| PER_MEDIAN * middle)
}

/// The middle value; reorders what it is given. `None` of nothing.
pub fn median(numbers: &mut [f64]) -> Option<f64> {
    let even = numbers.len().is_multiple_of(2);
    let middle = numbers.len() / 2;
    if numbers.is_empty() {
        return None;
    }
    let (below, &mut upper, _) = numbers.select_nth_unstable_by(middle, f64::total_cmp);
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(if even { 0.5 * (lower + upper) } else { upper })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn lattice() -> Vec<Point2> {
        (0..20).flat_map(|j| (0..10).map(move |i| Point2::new(4.0 * f64::from(i), 4.0 * f64::from(j)))).collect()
    }

    fn plane(places: &[Point2]) -> DMatrix<f64> {
        DMatrix::from_fn(places.len(), 3, |i, j| [1.0, places[i].x, places[i].y][j])
    }

    #[test]
    fn the_middle() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(&mut [7.0]), Some(7.0));
        assert_eq!(median(&mut []), None);
    }

    /// A plane that is one comes back, whatever stands on a tenth of it.
    #[test]
    fn what_is_not_of_the_kind_is_left_out() {
        let places = lattice();
        let mut seen: Vec<f64> = places.iter().map(|p| 0.3 - 0.02 * p.x + 0.01 * p.y).collect();
        // A ripple, since a spread of zero would call the last bit of rounding an outlier.
        seen.iter_mut().enumerate().for_each(|(i, z)| *z += 1e-6 * (i % 7) as f64);
        seen.iter_mut().step_by(10).for_each(|z| *z += 5.0);
        let fit = fit(&places, &plane(&places), &seen, 0.0).unwrap();
        assert_eq!(fit.kept, 180);
        assert!(fit.residuals[0].is_nan() && fit.residuals[1].is_finite());
        for (found, asked) in fit.coefficients.iter().zip([0.3, -0.02, 0.01]) {
            assert_abs_diff_eq!(*found, asked, epsilon = 1e-5);
        }
    }

    #[test]
    fn what_cannot_be_told_is_none() {
        let places = lattice();
        let twice = DMatrix::from_fn(places.len(), 2, |i, _| places[i].x);
        assert!(fit(&places, &twice, &vec![1.0; places.len()], 0.0).is_none());
        assert!(fit(&places[..5], &plane(&places[..5]), &[0.0; 5], 0.0).is_none());
        assert!(fit(&places, &plane(&places), &vec![f64::NAN; places.len()], 0.0).is_none());
    }

    /// Independent errors of one size are the textbook's case, covariance s^2 (X'X)^-1. A mixture that
    /// may not be negative errs to the safe side, so a little more than that is allowed.
    #[test]
    fn independent_errors_are_the_textbooks() {
        let places = lattice();
        let model = plane(&places);
        let mut state = 7_u64;
        let inverse = (model.transpose() * &model).try_inverse().unwrap();
        let rounds = 60;
        let mut ours = DVector::zeros(3);
        for _ in 0..rounds {
            let seen: Vec<f64> = places.iter().map(|_| 0.1 * normal(&mut state)).collect();
            let fit = fit(&places, &model, &seen, 0.0).unwrap();
            ours += fit.covariance.diagonal().map(f64::sqrt) / f64::from(rounds);
        }
        for (k, ours) in ours.iter().enumerate() {
            let ratio = ours / (0.1 * inverse[(k, k)].sqrt());
            assert!((0.95..1.3).contains(&ratio), "{k}: {ratio}");
        }
    }

    /// Twelve uniform numbers less six: variance 1, normal enough.
    fn normal(state: &mut u64) -> f64 {
        (0..12).map(|_| uniform(state)).sum::<f64>() - 6.0
    }

    /// Knuth's 64-bit linear congruential generator: the same numbers everywhere.
    fn uniform(state: &mut u64) -> f64 {
        *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (*state >> 11) as f64 / (1_u64 << 53) as f64
    }
}
