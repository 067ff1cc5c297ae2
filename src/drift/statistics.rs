//! Means, spreads and the limits of control charts. Plain numbers in, plain numbers out.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Mean and scatter of a set of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Spread {
    pub count: usize,
    pub mean: f64,
    /// Half width of the mean's 95 % interval; `None` for a single number.
    pub mean_uncertainty: Option<f64>,
    /// Standard deviation (n - 1).
    pub sd: Option<f64>,
    pub least: f64,
    pub most: f64,
}

/// Between these nearly all single pieces lie while nothing changes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Limits {
    pub low: f64,
    pub high: f64,
}

/// Mean, its 95 % interval by Student's t, and scatter; `None` for no numbers.
pub fn spread(numbers: &[f64]) -> Option<Spread> {
    let n = numbers.len() as f64;
    let least = numbers.iter().copied().reduce(f64::min)?;
    let most = numbers.iter().copied().reduce(f64::max)?;
    let mean = numbers.iter().sum::<f64>() / n;
    let squares: f64 = numbers.iter().map(|x| (x - mean).powi(2)).sum();
    let sd = (numbers.len() > 1).then(|| (squares / (n - 1.0)).sqrt());
    let mean_uncertainty = sd.and_then(|sd| Some(t_95(numbers.len() - 1)? * sd / n.sqrt()));
    Some(Spread { count: numbers.len(), mean, mean_uncertainty, sd, least, most })
}

impl Spread {
    /// The same when every number may be off by the same on top, with this half interval: a mean does not
    /// make that smaller.
    pub fn with_shared(self, half: f64) -> Spread {
        Spread { mean_uncertainty: self.mean_uncertainty.map(|u| u.hypot(half)), ..self }
    }
}

/// Two-sided 95 % point of Student's t.
pub(super) fn t_95(degrees_of_freedom: usize) -> Option<f64> {
    Some(StudentsT::new(0.0, 1.0, degrees_of_freedom as f64).ok()?.inverse_cdf(0.975))
}

/// Limits for single values from the mean moving range of two: mean +- 2.66 MR, 2.66 = 3 / 1.128
/// (NIST/SEMATECH e-Handbook, 6.3.2.2 [from memory]). A level that shifts once spoils them little.
/// `None` for fewer than eight: such limits would be a guess.
pub fn limits(numbers: &[f64]) -> Option<Limits> {
    const LEAST: usize = 8;
    const PER_RANGE: f64 = 3.0 / 1.128;
    if numbers.len() < LEAST {
        return None;
    }
    let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
    let ranges: f64 = numbers.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let half = PER_RANGE * ranges / (numbers.len() - 1) as f64;
    Some(Limits { low: mean - half, high: mean + half })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Student's t, two-sided 95 %: 12.706, 2.776, 2.262, 2.045 for 1, 4, 9, 29 degrees of freedom
    /// (any printed table).
    #[test]
    fn t_is_that_of_the_tables() {
        for (freedom, t) in [(1, 12.706), (4, 2.776), (9, 2.262), (29, 2.045)] {
            assert_abs_diff_eq!(t_95(freedom).unwrap(), t, epsilon = 5e-4);
        }
    }

    /// Worked set of eight: mean 0.1125, SD 0.3103; half width 2.365 * 0.3103 / sqrt(8) = 0.2594.
    #[test]
    fn the_worked_set() {
        let set = spread(&[0.12, -0.30, 0.45, 0.05, -0.18, 0.62, -0.07, 0.21]).unwrap();
        assert_abs_diff_eq!(set.mean, 0.1125, epsilon = 1e-12);
        assert_abs_diff_eq!(set.sd.unwrap(), 0.3103, epsilon = 5e-5);
        assert_abs_diff_eq!(set.mean_uncertainty.unwrap(), 0.2594, epsilon = 2e-4);
        assert_eq!((set.least, set.most), (-0.30, 0.62));
        assert_eq!(spread(&[]), None);
        assert_eq!(spread(&[1.0]).unwrap().sd, None);
    }

    /// Numbers that step by one: the mean range is 1, so the limits lie 2.66 from the mean.
    #[test]
    fn limits_by_hand() {
        let saw = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0];
        let l = limits(&saw).unwrap();
        assert_abs_diff_eq!(l.high, 0.5 + 2.6596, epsilon = 1e-4);
        assert_abs_diff_eq!(l.low, 0.5 - 2.6596, epsilon = 1e-4);
        assert_eq!(limits(&saw[..7]), None);
    }
}
