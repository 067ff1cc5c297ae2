//! Limits that are linear in the values that shape the top: one inequality each. From the same lines
//! come the interval of each value with the others held and the least change that settles them all.

use super::interval::{Bound, Interval};
use crate::footbed::SHAPING;
use crate::value::Value;

/// As many amounts as there are shaping values: mm, and the tangent of the post's angle.
pub(super) type Amounts = [f64; SHAPING.len()];

/// `weights . amounts >= least`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) weights: Amounts,
    pub(super) least: f64,
    pub(super) by: Bound,
}

impl Line {
    /// `weights . amounts >= least`.
    pub(super) fn at_least(weights: Amounts, least: f64, by: Bound) -> Line {
        Line { weights, least, by }
    }

    /// `weights . amounts <= most`.
    pub(super) fn at_most(weights: Amounts, most: f64, by: Bound) -> Line {
        Line { weights: weights.map(|w| -w), least: -most, by }
    }

    /// `|weights . amounts - centre| <= spread`.
    pub(super) fn within(weights: Amounts, centre: f64, spread: f64, by: Bound) -> [Line; 2] {
        [Line::at_least(weights, centre - spread, by), Line::at_most(weights, centre + spread, by)]
    }

    /// How far the amounts stay on the good side; negative beyond.
    pub(super) fn slack(&self, amounts: &Amounts) -> f64 {
        dot(&self.weights, amounts) - self.least
    }

    /// Where amount `k` may go, the others held; everywhere for a line that does not move with it.
    pub(super) fn interval(&self, amounts: &Amounts, k: usize) -> Interval {
        match self.weights[k] {
            0.0 => Interval::ALL,
            w => Interval::of_floor(dot(&self.weights, amounts) - w * amounts[k], w, self.least, self.by),
        }
    }
}

pub(super) fn dot(a: &Amounts, b: &Amounts) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// One of one value, none of the others; all zero for a value that does not shape the top.
pub(super) fn only(value: Value) -> Amounts {
    SHAPING.map(|shaping| if shaping == value { 1.0 } else { 0.0 })
}

/// An amount of the shaping value in its own unit.
pub(super) fn own_unit(value: Value, amount: f64) -> f64 {
    if value == Value::RearfootPost { amount.atan().to_degrees() } else { amount }
}

/// A shaping value in its own unit as an amount.
pub(super) fn amount_of(value: Value, own: f64) -> f64 {
    if value == Value::RearfootPost { own.to_radians().tan() } else { own }
}
