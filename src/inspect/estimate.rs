//! Repeated readings become one estimate with an honest uncertainty. Knows statistics; does not
//! know what is read.

/// What repeated readings of one quantity come to, in the unit of the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Mean of the readings.
    pub mean: f64,
    /// Standard deviation of the readings (n - 1); `None` for a single one.
    pub spread: Option<f64>,
    /// Standard uncertainty of the mean.
    pub standard_uncertainty: f64,
    /// Number of readings.
    pub count: usize,
    /// Coarsest resolution among the gauges used, of two quantities that were put together that of both; 0 when none
    /// was stated.
    pub resolution: f64,
}

impl Estimate {
    /// Standard deviation of a single reading as it was reckoned with, the gauge's step left out.
    pub fn one_reading(&self) -> f64 {
        let of_mean = self.standard_uncertainty.powi(2) - self.resolution.powi(2) / 12.0;
        (of_mean.max(0.0) * self.count as f64).sqrt()
    }
}

/// Expanded uncertainty is this many standard ones: about 95 % (JCGM 100:2008, 6.2 and G.6.6).
pub const COVERAGE: f64 = 2.0;

/// The mean and its standard uncertainty.
///
/// `repeatability` is the standard deviation that the shop expects of one reading; when the repeats
/// spread more, their own spread takes its place, when they spread less it does not, since two or
/// three readings agree by chance. A gauge's step a adds a^2 / 12, which repeats do not reduce
/// (JCGM 100:2008, 4.2.3 for the mean, F.2.2.1 for the step). `None` without readings.
pub fn estimate(readings: &[f64], resolution: f64, repeatability: f64) -> Option<Estimate> {
    let count = readings.len();
    if count == 0 {
        return None;
    }
    let n = count as f64;
    let mean = readings.iter().sum::<f64>() / n;
    let squares: f64 = readings.iter().map(|x| (x - mean).powi(2)).sum();
    let spread = (count > 1).then(|| (squares / (n - 1.0)).sqrt());
    let one = spread.unwrap_or(0.0).max(repeatability);
    let standard_uncertainty = (one * one / n + resolution * resolution / 12.0).sqrt();
    Some(Estimate { mean, spread, standard_uncertainty, count, resolution })
}

/// Readings that would bring the expanded uncertainty under `wanted`, when the gauge's step allows it
/// at all and patience does too.
pub fn readings_needed(one: f64, resolution: f64, wanted: f64) -> Option<usize> {
    /// More than anyone takes.
    const MOST: f64 = 30.0;
    let left = (wanted / COVERAGE).powi(2) - resolution * resolution / 12.0;
    let n = (one * one / left).ceil().max(1.0);
    (left > 0.0 && n <= MOST).then_some(n as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A worked set of eight deviations, by hand: mean 0.1125, SD with n - 1 0.3103.
    #[test]
    fn the_worked_set() {
        let set = [0.12, -0.30, 0.45, 0.05, -0.18, 0.62, -0.07, 0.21];
        let of_set = estimate(&set, 0.0, 0.0).unwrap();
        assert_abs_diff_eq!(of_set.mean, 0.1125, epsilon = 1e-12);
        assert_abs_diff_eq!(of_set.spread.unwrap(), 0.3103, epsilon = 5e-5);
        assert_abs_diff_eq!(of_set.standard_uncertainty, 0.3103 / 8f64.sqrt(), epsilon = 2e-5);
    }

    #[test]
    fn agreement_by_chance_earns_nothing_and_a_coarse_step_stays() {
        assert_eq!(estimate(&[], 0.0, 0.1), None);
        let single = estimate(&[3.0], 0.0, 0.1).unwrap();
        assert_abs_diff_eq!(single.standard_uncertainty, 0.1);
        assert_eq!(single.spread, None);
        assert_abs_diff_eq!(estimate(&[3.0, 3.0], 0.0, 0.1).unwrap().standard_uncertainty, 0.1 / 2f64.sqrt());
        let coarse = estimate(&[3.0; 100], 1.0, 0.1).unwrap();
        assert_abs_diff_eq!(coarse.standard_uncertainty, (0.0001 + 1.0 / 12.0f64).sqrt(), epsilon = 1e-12);
    }

    #[test]
    fn one_reading_comes_back_from_its_mean() {
        for (count, resolution, repeatability) in [(1, 0.0, 0.2), (4, 0.5, 0.2), (9, 0.05, 1.5)] {
            let of = estimate(&vec![7.0; count], resolution, repeatability).unwrap();
            assert_abs_diff_eq!(of.one_reading(), repeatability, epsilon = 1e-9);
        }
        // A step that says more than the mean is known to leaves nothing for the reading.
        let known = Estimate { mean: 0.0, spread: None, standard_uncertainty: 0.1, count: 4, resolution: 1.0 };
        assert_eq!(known.one_reading(), 0.0);
    }

    /// Thirty readings are asked for, thirty-one are not: one reading of 0.3, and 0.6 / sqrt(n) wanted.
    #[test]
    fn patience_ends_at_thirty() {
        let wanted = |n: f64| 0.6 / n.sqrt() * (1.0 + 1e-9);
        assert_eq!(readings_needed(0.3, 0.0, wanted(30.0)), Some(30));
        assert_eq!(readings_needed(0.3, 0.0, wanted(31.0)), None);
        assert_eq!(readings_needed(0.0, 0.0, 1.0), Some(1));
    }

    #[test]
    fn readings_needed_are_enough_and_one_fewer_is_not() {
        let n = readings_needed(0.15, 0.05, 0.12).unwrap();
        let expanded = |n: usize| COVERAGE * (0.15f64.powi(2) / n as f64 + 0.05f64.powi(2) / 12.0).sqrt();
        assert!(expanded(n) <= 0.12 && expanded(n - 1) > 0.12);
        assert_eq!(readings_needed(0.1, 1.0, 0.1), None);
        assert_eq!(readings_needed(0.1, 0.0, 0.001), None);
        assert_eq!(readings_needed(0.0, 0.0, 0.0), None, "nothing is known to nothing");
    }
}
