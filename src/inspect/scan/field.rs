//! One face of a scanned piece as what it has more or less than the design along the normal, point by
//! point, and how that is read at a place. Along the normal, since a wall is off as smoothly as level
//! ground there, while its heights go up and down with every slip to the side.

use nalgebra::{Matrix3, Vector3 as V3};

use crate::frame::{Point2, Point3, Vector2};
use crate::register::Nearest;
use crate::regress::{Noise, median, robust_sd};

/// Made less designed along the normal, mm, where points of the face lie.
pub(super) struct Field {
    pub(super) places: Vec<Point2>,
    pub(super) off_mm: Vec<f64>,
    /// Slope of the design there.
    pub(super) slopes: Vec<Vector2>,
    tree: Nearest,
    /// Variance of one point about its neighbours, mm2.
    own_variance: f64,
    /// What neighbours share.
    noise: Noise,
}

/// A sum over points of the field: their numbers and weights.
pub(super) type Weights = Vec<(usize, f64)>;

/// Steeper than this a scanner sees a wall badly, and points are left out.
const STEEPEST: f64 = 3.0;
/// Noise is told from level places, where a slip to the side does not count.
const LEVEL: f64 = 0.8;
/// Points within this of a place make its reading, mm, wider where too few lie there.
const REACHES_MM: [f64; 3] = [3.0, 5.0, 8.0];
/// Points that a reading needs.
const LEAST_POINTS: usize = 8;
/// More robust standard deviations than this are a stray.
const STRAY: f64 = 4.0;

impl Field {
    pub(super) fn new(places: Vec<Point2>, off_mm: Vec<f64>, slopes: Vec<Vector2>) -> Field {
        let flat: Vec<Point3> = places.iter().map(|p| Point3::new(p.x, p.y, 0.0)).collect();
        let tree = Nearest::new(&flat);
        let mut field = Field { places, off_mm, slopes, tree, own_variance: 0.0, noise: Noise::default() };
        field.own_variance = field.variance_about_neighbours();
        field
    }

    /// The same with what is known of the noise of points. Neighbours on one triangle err alike, so the
    /// own part may be larger than neighbours differ.
    pub(super) fn with_noise(self, noise: Noise) -> Field {
        let mut shared = noise;
        let own = std::mem::take(&mut shared.variances[0]);
        Field { noise: shared, own_variance: self.own_variance.max(own), ..self }
    }

    /// Standard deviation of one point about its neighbours, mm.
    pub(super) fn own_sd(&self) -> f64 {
        self.own_variance.sqrt()
    }

    /// The weights that read what is more at `p` in height, where the design has this slope: a plane
    /// through the points around it, near ones more, strays left out. `None` where too few points lie
    /// about it.
    pub(super) fn weights_at(&self, p: Point2, slope: Vector2) -> Option<Weights> {
        let upright = along(slope);
        let weights = REACHES_MM.into_iter().find_map(|reach| self.weights_within(p, reach))?;
        Some(weights.into_iter().map(|(i, w)| (i, w * upright)).collect())
    }

    /// The difference in height at `p`, mm.
    pub(super) fn at(&self, p: Point2, slope: Vector2) -> Option<f64> {
        self.weights_at(p, slope).map(|weights| self.sum(&weights))
    }

    /// The difference in height at point `i`, mm.
    pub(super) fn height_off(&self, i: usize) -> f64 {
        self.off_mm[i] * along(self.slopes[i])
    }

    /// The weighted sum, mm.
    pub(super) fn sum(&self, weights: &[(usize, f64)]) -> f64 {
        weights.iter().map(|&(i, w)| w * self.off_mm[i]).sum()
    }

    /// Variance of a weighted sum, mm2, of what the points themselves scatter and share.
    pub(super) fn variance(&self, weights: &[(usize, f64)]) -> f64 {
        let own: f64 = weights.iter().map(|(_, w)| w * w).sum::<f64>() * self.own_variance;
        let places: Vec<Point2> = weights.iter().map(|&(i, _)| self.places[i]).collect();
        let numbers: Vec<f64> = weights.iter().map(|&(_, w)| w).collect();
        own + self.noise.variance_of(&places, &numbers)
    }

    /// How a weighted sum follows a change of frame: sums of weight, weight x and weight y.
    pub(super) fn moments(&self, weights: &[(usize, f64)]) -> V3<f64> {
        let of_one = |i: usize| V3::new(1.0, self.places[i].x, self.places[i].y) / along(self.slopes[i]);
        weights.iter().map(|&(i, w)| of_one(i) * w).sum()
    }

    /// How a weighted sum follows a slip of the piece by dx and dy and a turn: sums of weighted slopes.
    pub(super) fn slips(&self, weights: &[(usize, f64)], about_y: f64, arm_mm: f64) -> V3<f64> {
        let of_one = |i: usize| {
            let (p, s) = (self.places[i], self.slopes[i]);
            V3::new(s.x, s.y, (s.y * p.x - s.x * (p.y - about_y)) / arm_mm) / along(s)
        };
        weights.iter().map(|&(i, w)| of_one(i) * w).sum()
    }

    fn weights_within(&self, p: Point2, reach: f64) -> Option<Weights> {
        let found = self.tree.within(Point3::new(p.x, p.y, 0.0), reach);
        let mut near: Vec<usize> = found.into_iter().filter(|&i| self.slopes[i].norm() < STEEPEST).collect();
        let mut offs: Vec<f64> = near.iter().map(|&i| self.off_mm[i]).collect();
        let middle = median(&mut offs)?;
        let limit = STRAY * robust_sd(offs.iter().map(|off| off - middle))? + 0.05;
        near.retain(|&i| (self.off_mm[i] - middle).abs() <= limit);
        (near.len() >= LEAST_POINTS).then(|| self.plane_weights(p, reach, &near)).flatten()
    }

    /// Weights of the plane's height at `p`; of the mean where the points lie on a line or to one side,
    /// so that nothing is carried further than it was seen.
    fn plane_weights(&self, p: Point2, reach: f64, near: &[usize]) -> Option<Weights> {
        let share = |i: usize| {
            let t = ((self.places[i] - p).norm() / reach).min(1.0);
            // Tricube (Cleveland 1979, J Am Stat Assoc 74:829).
            (1.0 - t.powi(3)).powi(3).max(1e-3)
        };
        let row = |i: usize| V3::new(1.0, (self.places[i].x - p.x) / reach, (self.places[i].y - p.y) / reach);
        let normal: Matrix3<f64> = near.iter().map(|&i| row(i) * row(i).transpose() * share(i)).sum();
        let total: f64 = near.iter().map(|&i| share(i)).sum();
        let level = normal.try_inverse().map(|inverse| inverse.row(0).transpose());
        let weights = match level {
            Some(first) => near.iter().map(|&i| (i, share(i) * first.dot(&row(i)))).collect::<Weights>(),
            None => vec![],
        };
        // A plane read beyond its points weighs single ones heavily.
        let swings: f64 = weights.iter().map(|(_, w)| w.abs()).sum();
        let good = !weights.is_empty() && swings < 2.0;
        Some(if good { weights } else { near.iter().map(|&i| (i, share(i) / total)).collect() })
    }

    /// From the differences of nearest neighbours, the middle of many: noise, not shape.
    fn variance_about_neighbours(&self) -> f64 {
        const LOOKED_AT: usize = 4000;
        let every = self.places.len().div_ceil(LOOKED_AT).max(1);
        let apart = (0..self.places.len()).step_by(every).filter(|&i| self.slopes[i].norm() < LEVEL).filter_map(|i| {
            let p = self.places[i];
            let other = self.tree.several(Point3::new(p.x, p.y, 0.0), 2).into_iter().find(|&j| j != i)?;
            Some(self.off_mm[i] - self.off_mm[other])
        });
        // The difference of two has twice the variance of one.
        robust_sd(apart).map_or(0.0, |sd| 0.5 * sd * sd)
    }
}

/// A height for each mm along the normal.
pub(super) fn along(slope: Vector2) -> f64 {
    (1.0 + slope.norm_squared()).sqrt()
}
