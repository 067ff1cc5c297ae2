//! Points drawn together over squares, so that a fit weighs places and not how densely they were
//! scanned.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::frame::Point2;
use crate::regress::{self, Fit, Noise, median};

/// One number for each square, squares in order.
pub(super) struct Blocks {
    /// The mean place of a square's points.
    pub(super) places: Vec<Point2>,
    /// The median of their numbers.
    pub(super) numbers: Vec<f64>,
    /// How many points a square has in the middle.
    points_each: f64,
    size_mm: f64,
}

impl Blocks {
    /// Draws `points` together over squares of `size_mm`; a square needs `least` of them.
    pub(super) fn of(points: impl Iterator<Item = (Point2, f64)>, size_mm: f64, least: usize) -> Blocks {
        let mut squares: BTreeMap<(i64, i64), (Vec<f64>, Point2)> = BTreeMap::new();
        for (p, number) in points {
            let square = ((p.y / size_mm).floor() as i64, (p.x / size_mm).floor() as i64);
            let (numbers, sum) = squares.entry(square).or_insert((vec![], Point2::origin()));
            numbers.push(number);
            *sum += p.coords;
        }
        squares.retain(|_, (numbers, _)| numbers.len() >= least);
        let points_each = median(&mut squares.values().map(|(n, _)| n.len() as f64).collect::<Vec<f64>>());
        let of_square = |(mut numbers, sum): (Vec<f64>, Point2)| {
            let n = numbers.len() as f64;
            Some((sum / n, median(&mut numbers)?))
        };
        let (places, numbers) = squares.into_values().filter_map(of_square).unzip();
        Blocks { places, numbers, points_each: points_each.unwrap_or(0.0), size_mm }
    }

    /// The columns of `model`, a row for each square, fitted to the numbers.
    pub(super) fn fit(&self, model: &DMatrix<f64>) -> Option<Fit> {
        regress::fit(&self.places, model, &self.numbers, self.size_mm)
    }

    /// What a fit to these squares says of the noise of single points. A square's own part is what its
    /// points err by one by one, or alike over less than a square, drawn together; the median of n normal
    /// numbers varies pi / 2n times as much as one of them.
    pub(super) fn noise_of_points(&self, noise: Noise) -> Noise {
        let mut variances = noise.variances;
        variances[0] *= self.points_each * std::f64::consts::FRAC_2_PI;
        Noise { variances, drawn_mm: 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn squares_have_the_median_at_the_mean_place() {
        let points = [(0.5, 0.5, 1.0), (1.5, 0.5, 9.0), (1.0, 2.0, 2.0), (5.0, 1.0, 7.0), (-0.5, 1.0, 3.0)];
        let points = || points.into_iter().map(|(x, y, z)| (Point2::new(x, y), z));
        let all = Blocks::of(points(), 4.0, 1);
        assert_eq!(all.numbers, [3.0, 2.0, 7.0]);
        assert_abs_diff_eq!(all.places[1], Point2::new(1.0, 1.0));
        assert_eq!(Blocks::of(points(), 4.0, 2).numbers, [2.0]);
        assert_eq!(Blocks::of(points(), 4.0, 4).numbers, [0.0; 0]);
    }
}
