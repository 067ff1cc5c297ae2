//! How alike the errors of two places are, as a function of their distance: a mixture of a part of
//! each place's own and parts that reach over several lengths. Any such mixture is a covariance.

use nalgebra::DMatrix;
use rayon::prelude::*;

use crate::frame::Point2;

/// Lengths over which errors may be alike, mm: from a few cutter passes or a scanner's patch to a bow
/// of the whole piece. Each is twice the last, so that a mixture comes near to anything between.
const REACHES_MM: [f64; 4] = [3.0, 6.0, 12.0, 24.0];
/// Kernels: each place's own, and one for each reach.
const KERNELS: usize = REACHES_MM.len() + 1;
/// Two places are compared in steps of this distance, mm, up to `LAGS` steps.
const LAG_MM: f64 = 4.0;
/// Lags that are looked at: beyond 60 mm few pairs are left that say something of their own.
const LAGS: usize = 16;
/// Places nearer than this are the same place.
const SAME_MM: f64 = 1e-6;

/// The covariance of the errors of two places by their distance.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Noise {
    /// Variance of each place's own error, then of the parts that reach 3, 6, 12 and 24 mm.
    pub variances: [f64; KERNELS],
    /// Each observation is drawn together over a square of this width, mm; 0 for observations of points.
    /// What reaches less far is partly drawn out.
    pub drawn_mm: f64,
}

impl Noise {
    /// Covariance of the errors of two places this far apart.
    pub fn covariance(&self, distance_mm: f64) -> f64 {
        (0..KERNELS).map(|k| self.variances[k] * kernel(k, distance_mm, self.drawn_mm)).sum()
    }

    /// Standard deviation of the error at one place.
    pub fn sd(&self) -> f64 {
        self.covariance(0.0).sqrt()
    }

    /// Covariance of linear estimates: `estimator` has a row for each, a column for each place.
    pub fn carried(&self, places: &[Point2], estimator: &DMatrix<f64>) -> DMatrix<f64> {
        let smeared = self.times(places, &estimator.transpose());
        estimator * smeared
    }

    /// Variance of a weighted sum of observations.
    pub fn variance_of(&self, places: &[Point2], weights: &[f64]) -> f64 {
        let row = DMatrix::from_row_slice(1, weights.len(), weights);
        self.carried(places, &row)[(0, 0)].max(0.0)
    }

    /// The covariance of all places times the columns of `right`.
    fn times(&self, places: &[Point2], right: &DMatrix<f64>) -> DMatrix<f64> {
        matrix_times(places, right, |d| self.covariance(d))
    }

    /// The mixture whose residuals, after a fit with this orthonormal `basis`, would be most like
    /// these, of observations that are drawn together over squares of this width.
    pub(super) fn of_residuals(places: &[Point2], basis: &DMatrix<f64>, residuals: &[f64], drawn_mm: f64) -> Noise {
        let count = by_lag(places, |_, _| 1.0);
        let seen = by_lag(places, |i, j| residuals[i] * residuals[j]);
        let expected: Vec<[f64; LAGS]> = (0..KERNELS)
            .map(|k| {
                let smeared = matrix_times(places, basis, |d| kernel(k, d, drawn_mm));
                let inner = basis.transpose() * &smeared;
                // (M S M)_ij = S_ij - q_i g_j - g_i q_j + q_i H q_j, rows q of the basis, g of S Q.
                let turned = basis * inner - &smeared;
                by_lag(places, |i, j| {
                    let d = (places[i] - places[j]).norm();
                    kernel(k, d, drawn_mm) + basis.row(i).dot(&turned.row(j)) - smeared.row(i).dot(&basis.row(j))
                })
            })
            .collect();
        let lags: Vec<usize> = (0..LAGS).filter(|&lag| count[lag] > 0.0).collect();
        // A mean over more pairs is known better.
        let weight = |lag: usize| 1.0 / count[lag].sqrt();
        let rows = DMatrix::from_fn(lags.len(), KERNELS, |i, k| expected[k][lags[i]] * weight(lags[i]));
        let wanted: Vec<f64> = lags.iter().map(|&lag| seen[lag] * weight(lag)).collect();
        Noise { variances: non_negative(&rows, &wanted), drawn_mm }
    }
}

/// Covariance of kernel `k`, for a variance of one, between observations at a distance that are drawn
/// together over squares. Between squares it is nearly that of their middles.
fn kernel(k: usize, distance_mm: f64, drawn_mm: f64) -> f64 {
    let same = distance_mm < SAME_MM;
    match k {
        0 => f64::from(same),
        k if same => over_a_square(drawn_mm / REACHES_MM[k - 1]),
        k => (-distance_mm / REACHES_MM[k - 1]).exp(),
    }
}

/// The mean of exp(-d) over two points of a square of this side, to second order about their mean
/// distance.
fn over_a_square(side: f64) -> f64 {
    /// Mean distance of two points of a unit square, (2 + sqrt 2 + 5 ln(1 + sqrt 2)) / 15, and its
    /// variance, 1/3 less the mean's square (Ghosh 1951, Bull Calcutta Math Soc 43:17 [from memory]).
    const MEAN: f64 = 0.521_405_4;
    const VARIANCE: f64 = 1.0 / 3.0 - MEAN * MEAN;
    (-MEAN * side).exp() * (1.0 + 0.5 * VARIANCE * side * side)
}

/// A matrix of covariances by distance, times the columns of `right`; rows in parallel.
fn matrix_times(places: &[Point2], right: &DMatrix<f64>, covariance: impl Fn(f64) -> f64 + Sync) -> DMatrix<f64> {
    let columns = right.ncols();
    let rows: Vec<f64> = places
        .par_iter()
        .flat_map_iter(|a| {
            let mut sum = vec![0.0; columns];
            for (j, b) in places.iter().enumerate() {
                let c = covariance((a - b).norm());
                for (k, sum) in sum.iter_mut().enumerate() {
                    *sum += c * right[(j, k)];
                }
            }
            sum
        })
        .collect();
    DMatrix::from_row_slice(places.len(), columns, &rows)
}

/// The sum over all pairs of places, a place with itself included, by their distance; lag 0 holds the
/// places themselves.
fn by_lag(places: &[Point2], of_pair: impl Fn(usize, usize) -> f64 + Sync) -> [f64; LAGS] {
    let rows: Vec<[f64; LAGS]> = (0..places.len())
        .into_par_iter()
        .map(|i| {
            let mut sums = [0.0; LAGS];
            sums[0] += of_pair(i, i);
            for j in i + 1..places.len() {
                let lag = 1 + ((places[i] - places[j]).norm() / LAG_MM - 0.5).max(0.0) as usize;
                if lag < LAGS {
                    sums[lag] += of_pair(i, j);
                }
            }
            sums
        })
        .collect();
    // In a fixed order, so that the sum is the same whatever the thread count.
    rows.iter().fold([0.0; LAGS], |mut all, row| {
        all.iter_mut().zip(row).for_each(|(all, row)| *all += row);
        all
    })
}

/// Least squares with coefficients that are not negative. There are so few of them that every choice
/// of those that are zero is tried.
fn non_negative(rows: &DMatrix<f64>, wanted: &[f64]) -> [f64; KERNELS] {
    let wanted = nalgebra::DVector::from_column_slice(wanted);
    let mut best = ([0.0; KERNELS], wanted.norm_squared());
    for chosen in 1_usize..1 << KERNELS {
        let columns: Vec<usize> = (0..KERNELS).filter(|k| chosen >> k & 1 == 1).collect();
        let part = rows.select_columns(&columns);
        let Some(found) = (part.transpose() * &part).cholesky().map(|c| c.solve(&(part.transpose() * &wanted))) else {
            continue;
        };
        let left = (&part * &found - &wanted).norm_squared();
        if found.iter().all(|&v| v >= 0.0) && left < best.1 {
            let mut variances = [0.0; KERNELS];
            columns.iter().zip(found.iter()).for_each(|(&k, &v)| variances[k] = v);
            best = (variances, left);
        }
    }
    best.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the sum over all pairs of a lattice of 24 x 24 points.
    #[test]
    fn what_a_square_draws_out() {
        const N: usize = 24;
        for side in [0.2, 0.7, 4.0 / 3.0, 5.0 / 3.0] {
            let points: Vec<Point2> = (0..N * N)
                .map(|k| Point2::new((k % N) as f64 + 0.5, (k / N) as f64 + 0.5) * (side / N as f64))
                .collect();
            let all = points.iter().flat_map(|a| points.iter().map(move |b| (-(a - b).norm()).exp()));
            let mean = all.sum::<f64>() / (N * N * N * N) as f64;
            approx::assert_relative_eq!(over_a_square(side), mean, max_relative = 0.01);
        }
        assert_eq!(over_a_square(0.0), 1.0);
    }
}
