//! A plate that comes to rest on springs which push but do not pull. Knows nothing of footbeds.
//!
//! With deflection w (down is positive), stiffness K, load f, and springs i of stiffness k over gaps g,
//! the plate rests where
//!
//! ```text
//! E(w) = 1/2 w^T K w - f^T w + sum_i 1/2 k_i max(0, w_i - g_i)^2
//! ```
//!
//! is least. E is convex and piecewise quadratic with a continuous slope, so Newton's method on it is
//! the primal-dual active set strategy (Hintermüller, Ito & Kunisch 2003 [from memory]): which springs
//! push is guessed, the linear plate solved, the guess mended. Why it ends, and with the right
//! answer, stands in `docs/flex.md`.

use super::FlexError;
use crate::frame::Point2;
use crate::sheet::{Banded, Basis, Cholesky, Local, Sheet};

/// More guesses than this no plate here has needed by far (tests see at most a dozen); past it the
/// answer is an error, never a plate that has not come to rest.
const MOST_ROUNDS: usize = 80;
/// A spring that does not push still counts this share of itself in the matrix, never in the
/// forces: it keeps a plate that rests on too few springs from making the matrix singular.
const IDLE: f64 = 1e-9;
/// Whether a spring pushes is not told apart within this, mm: rounding of deflections of a mm.
const SAME_MM: f64 = 1e-10;
/// A step has lowered E enough when it did by this share of what its slope promised (Armijo's rule
/// with its customary constant).
const ENOUGH: f64 = 1e-4;
/// Forces out of balance that rounding may leave, as a share of the load.
const BALANCE: f64 = 1e-6;

/// Whether a spring pulls as well as pushes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grip {
    /// Like the boot board: pushes only.
    Pushes,
    /// Like a clamp: either way.
    Holds,
}

/// A spring against one linear reading of the deflection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spring {
    /// Functions that the reading touches.
    pub indices: [usize; 16],
    /// What it reads: a deflection, or a slope.
    pub terms: [f64; 16],
    /// Deflection at which it begins to push, mm.
    pub gap_mm: f64,
    /// N for each mm beyond.
    pub stiffness_n_mm: f64,
    /// Whether it pulls too.
    pub grip: Grip,
}

impl Spring {
    /// A spring under a place.
    pub fn under(local: &Local, gap_mm: f64, stiffness_n_mm: f64, grip: Grip) -> Spring {
        Spring { indices: local.indices(), terms: local.terms(0, 0), gap_mm, stiffness_n_mm, grip }
    }

    /// A clamp against the slope along y at a place: `stiffness` in N mm for each unit of slope.
    pub fn against_slope_y(basis: &Basis, at: Point2, stiffness: f64) -> Spring {
        let local = basis.local(at);
        let terms = local.terms(0, 1);
        Spring { indices: local.indices(), terms, gap_mm: 0.0, stiffness_n_mm: stiffness, grip: Grip::Holds }
    }

    fn reading(&self, w: &[f64]) -> f64 {
        self.indices.iter().zip(&self.terms).map(|(&i, t)| t * w[i]).sum()
    }

    /// By how much it is compressed (less than zero: stretched, or apart), mm.
    fn pressed_mm(&self, w: &[f64]) -> f64 {
        self.reading(w) - self.gap_mm
    }

    fn works(&self, pressed_mm: f64) -> bool {
        self.grip == Grip::Holds || pressed_mm > 0.0
    }

    fn add_to(&self, matrix: &mut Banded, share: f64) {
        let weight = share * self.stiffness_n_mm;
        for (a, &r) in self.indices.iter().enumerate() {
            for (b, &c) in self.indices[..=a].iter().enumerate() {
                matrix.add(r, c, weight * self.terms[a] * self.terms[b]);
            }
        }
    }
}

/// When a whole step would win no more than this share of the energy, the sums that make up the energy
/// cannot tell the step from their own rounding: the plate is at rest.
const AT_REST: f64 = 1e-13;

/// A plate at rest.
#[derive(Clone, Debug)]
pub struct Rest {
    /// Deflection, mm, down is positive.
    pub sheet: Sheet,
    /// Force of each spring, N; never less than zero for one that only pushes.
    pub forces_n: Vec<f64>,
    /// Strain energy of plate and springs, N mm.
    pub strain_energy: f64,
    /// E after each round, N mm: falling.
    pub energies: Vec<f64>,
    /// Which springs work, to start the next plate from.
    pub working: Vec<bool>,
    factor: Cholesky,
}

impl Rest {
    /// What a small further load changes, as long as the same springs work.
    pub fn further(&self, load: &[f64]) -> Sheet {
        let mut sheet = Sheet { basis: self.sheet.basis, coefficients: load.to_vec() };
        self.factor.solve(&mut sheet.coefficients);
        sheet
    }
}

/// Lets a plate come to rest under a load (N for each function). `start` says which springs are
/// guessed to work; all of them when it is empty.
///
/// # Errors
/// A plate that nothing holds, numbers that are none, or one that does not come to rest.
pub fn settle(
    plate: &Banded,
    basis: Basis,
    load: &[f64],
    springs: &[Spring],
    start: &[bool],
) -> Result<Rest, FlexError> {
    if load.iter().any(|f| !f.is_finite()) || springs.iter().any(|s| !(s.stiffness_n_mm >= 0.0 && s.gap_mm.is_finite()))
    {
        return Err(FlexError::NotFinite);
    }
    let case = Case { plate, load, springs };
    let mut working: Vec<bool> = if start.len() == springs.len() { start.to_vec() } else { vec![true; springs.len()] };
    let mut factor = case.factor(&working)?;
    let mut w = vec![0.0; basis.len()];
    case.push_back(&working, &mut w);
    factor.solve(&mut w);
    let mut energies = vec![case.energy(&w)];
    for _ in 0..MOST_ROUNDS {
        let pressed: Vec<f64> = springs.iter().map(|s| s.pressed_mm(&w)).collect();
        let next: Vec<bool> = springs.iter().zip(&pressed).map(|(s, &p)| s.works(p)).collect();
        let same = working.iter().zip(&next).zip(&pressed).all(|((a, b), p)| a == b || p.abs() < SAME_MM);
        if !same {
            factor = case.factor(&next)?;
        }
        working = next;
        let slope = case.slope(&w);
        let mut step = slope.clone();
        factor.solve(&mut step);
        let promised: f64 = slope.iter().zip(&step).map(|(g, d)| g * d).sum();
        let energy = energies.last().copied().unwrap_or(f64::INFINITY);
        if promised <= AT_REST * energy.abs() {
            return case.rest(basis, w, energies, working, factor);
        }
        let share = case.share(&w, &step, promised, energy);
        w.iter_mut().zip(&step).for_each(|(w, d)| *w -= share * d);
        energies.push(case.energy(&w));
        if same && share == 1.0 {
            return case.rest(basis, w, energies, working, factor);
        }
    }
    Err(FlexError::Restless { rounds: MOST_ROUNDS })
}

struct Case<'a> {
    plate: &'a Banded,
    load: &'a [f64],
    springs: &'a [Spring],
}

impl Case<'_> {
    fn factor(&self, working: &[bool]) -> Result<Cholesky, FlexError> {
        let mut matrix = self.plate.clone();
        for (spring, works) in self.springs.iter().zip(working) {
            spring.add_to(&mut matrix, if *works { 1.0 } else { IDLE });
        }
        matrix.factor().map_err(|_| FlexError::NotHeld)
    }

    /// Load and what the working springs push at no deflection.
    fn push_back(&self, working: &[bool], force: &mut [f64]) {
        force.copy_from_slice(self.load);
        for (s, _) in self.springs.iter().zip(working).filter(|(_, works)| **works) {
            for (&i, t) in s.indices.iter().zip(&s.terms) {
                force[i] += s.stiffness_n_mm * s.gap_mm * t;
            }
        }
    }

    fn energy(&self, w: &[f64]) -> f64 {
        let bent = self.plate.times(w);
        let plate: f64 = w.iter().zip(&bent).zip(self.load).map(|((w, b), f)| w * (0.5 * b - f)).sum();
        plate + self.in_springs(w)
    }

    fn in_springs(&self, w: &[f64]) -> f64 {
        let pressed = self.springs.iter().map(|s| (s, s.pressed_mm(w)));
        pressed.filter(|(s, p)| s.works(*p)).map(|(s, p)| 0.5 * s.stiffness_n_mm * p * p).sum()
    }

    /// dE/dw: forces out of balance.
    fn slope(&self, w: &[f64]) -> Vec<f64> {
        let mut slope = self.plate.times(w);
        slope.iter_mut().zip(self.load).for_each(|(g, f)| *g -= f);
        for s in self.springs {
            let pressed = s.pressed_mm(w);
            if s.works(pressed) {
                for (&i, t) in s.indices.iter().zip(&s.terms) {
                    slope[i] += s.stiffness_n_mm * pressed * t;
                }
            }
        }
        slope
    }

    /// The largest of 1, 1/2, 1/4 ... of the step that lowers E enough. Where E is as low as its
    /// digits tell, the whole step.
    fn share(&self, w: &[f64], step: &[f64], promised: f64, before: f64) -> f64 {
        /// Below this share of E a difference is rounding.
        const DIGITS: f64 = 1e-13;
        let mut share = 1.0;
        while share > 1e-6 {
            let there: Vec<f64> = w.iter().zip(step).map(|(w, d)| w - share * d).collect();
            if self.energy(&there) <= before - ENOUGH * share * promised + DIGITS * before.abs() {
                return share;
            }
            share *= 0.5;
        }
        share
    }

    fn rest(
        &self,
        basis: Basis,
        w: Vec<f64>,
        energies: Vec<f64>,
        working: Vec<bool>,
        factor: Cholesky,
    ) -> Result<Rest, FlexError> {
        let pressed = self.springs.iter().map(|s| (s, s.pressed_mm(&w)));
        let forces_n: Vec<f64> = pressed.map(|(s, p)| if s.works(p) { s.stiffness_n_mm * p } else { 0.0 }).collect();
        let out = self.slope(&w).iter().fold(0.0, |most: f64, g| most.max(g.abs()));
        let most = self.load.iter().fold(0.0, |most: f64, f| most.max(f.abs()));
        if !(out <= BALANCE * most || most == 0.0) {
            return Err(FlexError::Restless { rounds: energies.len() });
        }
        let bent = self.plate.times(&w);
        let strain_energy = w.iter().zip(&bent).map(|(w, b)| 0.5 * w * b).sum::<f64>() + self.in_springs(&w);
        Ok(Rest { sheet: Sheet { basis, coefficients: w }, forces_n, strain_energy, energies, working, factor })
    }
}
