//! Finding the fairest sheet: factor the energy with its pulls once, then meet the exact
//! conditions by Lagrange multipliers for any targets.

use nalgebra::linalg::Cholesky as DenseCholesky;
use nalgebra::{DMatrix, DVector, Dyn};

use super::banded::{Cholesky, dot};
use super::basis::{Basis, Row, Sheet};
use super::energy::energy;

/// A pivot that has lost this share of its condition's own answer is rounding, not information:
/// rounding in the free solve stays below 1e-11 of the answers, honest neighbours above 1e-6.
const LEAST_PIVOT_SHARE: f64 = 1e-9;

/// What a sheet has to do, but for the numbers: where it is pulled and where it is held.
#[derive(Clone, Debug)]
pub struct Problem {
    /// The functions the sheet is made of.
    pub basis: Basis,
    /// Weight of stretching against bending, 1/mm^2. A small one keeps far corners tame.
    pub tension_per_mm2: f64,
    /// Soft conditions with their weights: a weight w holds a lone point as a spring would.
    pub pulls: Vec<(Row, f64)>,
    /// Exact conditions; they must not contradict or repeat each other.
    pub conditions: Vec<Row>,
}

/// Why no fairest sheet exists.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FairError {
    /// Too few pulls: part of the sheet could move freely.
    #[error("the sheet is not held near ({x_mm:.1}, {y_mm:.1}) mm: add a pull there")]
    NotHeld {
        /// Where, mm.
        x_mm: f64,
        /// Where, mm.
        y_mm: f64,
    },
    /// Two exact conditions say the same thing or contradict each other.
    #[error("the {count} exact conditions depend on each other: two of them lie too close together")]
    Dependent {
        /// How many conditions there are.
        count: usize,
    },
}

/// A factored problem: give it targets, get the fairest sheet. Linear in the targets.
#[derive(Clone, Debug)]
pub struct Fair {
    problem: Problem,
    /// L of A = L L^T.
    free: Cholesky,
    /// L^-1 C^T: half of how the free sheet answers a unit force on each condition; L^-T of it is the other half.
    answers: Vec<Vec<f64>>,
    /// C A^-1 C^T.
    coupling: DenseCholesky<f64, Dyn>,
}

impl Problem {
    /// Factors the problem.
    pub fn factor(self) -> Result<Fair, FairError> {
        let mut matrix = energy(&self.basis, self.tension_per_mm2);
        for (row, weight) in &self.pulls {
            matrix.add_square(&row.terms, *weight);
        }
        let free = matrix.factor().map_err(|index| self.not_held(index))?;
        let forces = self.conditions.iter().map(|row| {
            let mut force = vec![0.0; self.basis.len()];
            row.terms.iter().for_each(|&(i, w)| force[i] = w);
            free.forward(&mut force);
            force
        });
        let answers: Vec<Vec<f64>> = forces.collect();
        let count = self.conditions.len();
        let symmetric = DMatrix::from_fn(count, count, |r, c| dot(&answers[r], &answers[c]));
        let coupling = DenseCholesky::new(symmetric.clone()).ok_or(FairError::Dependent { count })?;
        let lost = |k: usize| coupling.l_dirty()[(k, k)].powi(2) < LEAST_PIVOT_SHARE * symmetric[(k, k)];
        if (0..count).any(lost) {
            return Err(FairError::Dependent { count });
        }
        Ok(Fair { problem: self, free, answers, coupling })
    }

    fn not_held(&self, index: usize) -> FairError {
        let b = &self.basis;
        let (i, j) = (index % b.nx, index / b.nx);
        FairError::NotHeld { x_mm: b.x0 + (i as f64 - 1.0) * b.knot, y_mm: b.y0 + (j as f64 - 1.0) * b.knot }
    }
}

impl Fair {
    /// The fairest sheet for these targets, one a pull and one a condition, in the problem's order.
    pub fn solve(&self, pull_targets: &[f64], condition_targets: &[f64]) -> Sheet {
        let mut coefficients = self.pulled(pull_targets);
        self.free.solve(&mut coefficients);
        for _ in 0..ROUNDS {
            let mut forced = self.forced(&coefficients, condition_targets);
            self.free.backward(&mut forced);
            add(&mut coefficients, &forced);
        }
        Sheet { basis: self.problem.basis, coefficients }
    }

    /// What the pulls do to each coefficient.
    fn pulled(&self, targets: &[f64]) -> Vec<f64> {
        debug_assert_eq!(targets.len(), self.problem.pulls.len());
        let mut forces = vec![0.0; self.problem.basis.len()];
        for ((row, weight), target) in self.problem.pulls.iter().zip(targets) {
            row.terms.iter().for_each(|&(i, w)| forces[i] += weight * target * w);
        }
        forces
    }

    /// L^-1 of the forces that bring these coefficients to their conditions.
    fn forced(&self, coefficients: &[f64], targets: &[f64]) -> Vec<f64> {
        debug_assert_eq!(targets.len(), self.problem.conditions.len());
        let misses = self.problem.conditions.iter().zip(targets).map(|(row, t)| t - row.of(coefficients));
        let forces = self.coupling.solve(&DVector::from_iterator(targets.len(), misses));
        let mut sum = vec![0.0; coefficients.len()];
        for (answer, force) in self.answers.iter().zip(forces.iter()) {
            sum.iter_mut().zip(answer).for_each(|(sum, a)| *sum += force * a);
        }
        sum
    }
}

/// The first round meets the conditions up to the solver's rounding; the second removes what rounding left, so that a
/// value comes back as it was asked.
const ROUNDS: usize = 2;

fn add(sum: &mut [f64], part: &[f64]) {
    sum.iter_mut().zip(part).for_each(|(sum, part)| *sum += part);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Point2, Rect};
    use approx::assert_abs_diff_eq;

    fn basis() -> Basis {
        Basis::covering(Rect { x0: -30.0, y0: 0.0, x1: 30.0, y1: 100.0 }, 5.0)
    }

    /// A plane has no bending energy, so three points decide a plane exactly (closed form).
    #[test]
    fn three_points_make_a_plane() {
        let b = basis();
        let corners = [Point2::new(-20.0, 10.0), Point2::new(25.0, 20.0), Point2::new(0.0, 90.0)];
        let problem = Problem {
            basis: b,
            tension_per_mm2: 0.0,
            pulls: corners.iter().map(|&p| (b.height(p), 1.0)).collect(),
            conditions: vec![],
        };
        let plane = |p: Point2| 2.0 + 0.1 * p.x - 0.03 * p.y;
        let sheet = problem.factor().unwrap().solve(&corners.map(plane), &[]);
        let p = Point2::new(11.0, 55.0);
        assert_abs_diff_eq!(sheet.height(p), plane(p), epsilon = 1e-7);
    }

    #[test]
    fn conditions_are_met_exactly_and_answers_are_linear() {
        let b = basis();
        let at = |x, y| Point2::new(x, y);
        let problem = Problem {
            basis: b,
            tension_per_mm2: 1e-5,
            pulls: (0..20).map(|k| (b.height(at((k % 5) as f64 * 10.0 - 20.0, 5.0 * k as f64)), 0.01)).collect(),
            conditions: vec![b.height(at(3.0, 40.0)), b.slope_y(at(3.0, 40.0)), b.height(at(-20.0, 80.0))],
        };
        let fair = problem.clone().factor().unwrap();
        let a = fair.solve(&[0.0; 20], &[10.0, 0.0, 2.0]);
        assert_abs_diff_eq!(a.height(at(3.0, 40.0)), 10.0, epsilon = 1e-10);
        assert_abs_diff_eq!(a.slope(at(3.0, 40.0)).y, 0.0, epsilon = 1e-10);
        let twice = fair.solve(&[0.0; 20], &[20.0, 0.0, 4.0]);
        let p = at(7.0, 33.0);
        assert_abs_diff_eq!(twice.height(p), 2.0 * a.height(p), epsilon = 1e-9);
    }

    #[test]
    fn repeated_conditions_and_loose_sheets_are_named() {
        let b = basis();
        let row = b.height(Point2::new(0.0, 50.0));
        let pulls: Vec<_> = (0..9).map(|k| (b.height(Point2::new((k * 7 % 9) as f64, 10.0 * k as f64)), 1.0)).collect();
        let repeated = Problem { basis: b, tension_per_mm2: 1e-5, pulls, conditions: vec![row.clone(), row.clone()] };
        assert_eq!(repeated.factor().err(), Some(FairError::Dependent { count: 2 }));
    }
}
