//! The planes of a cloud, the one with most points first.

use nalgebra::{Matrix3, SymmetricEigen, Unit};
use rayon::prelude::*;

use super::chance;
use crate::frame::{Point3, Vector3};

/// A plane: points p with normal . p = offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    /// Unit vector.
    pub normal: Vector3,
    /// Distance from the origin along the normal, mm.
    pub offset_mm: f64,
    /// Share of the cloud's points that lie on it.
    pub share: f64,
}

/// Triples that are tried for each plane: one that holds a fifth of the points is met by one triple in
/// 125, and missed by all of these once in 10,000.
const TRIALS: usize = 1200;
/// Points looked at; more would not change which plane has most.
const LOOKED_AT: usize = 3000;

impl Plane {
    /// Signed distance, mm.
    pub fn height(&self, p: Point3) -> f64 {
        self.normal.dot(&p.coords) - self.offset_mm
    }

    /// The same plane seen from the other side.
    pub fn turned(&self) -> Plane {
        Plane { normal: -self.normal, offset_mm: -self.offset_mm, ..*self }
    }
}

/// Up to `count` planes with at least `least_share` of the points within `within_mm`, by random
/// sampling (Fischler & Bolles 1981, Commun ACM 24:381) with numbers that are always the same, each
/// then fitted to its points.
pub fn planes(points: &[Point3], within_mm: f64, least_share: f64, count: usize) -> Vec<Plane> {
    let mut left: Vec<Point3> =
        chance::one_of_each_run(points.len(), LOOKED_AT).into_iter().map(|i| points[i]).collect();
    let all = left.len() as f64;
    let mut found = vec![];
    while found.len() < count && left.len() > 20 {
        let Some(plane) = largest(&left, within_mm) else { break };
        let on = |p: &Point3| plane.height(*p).abs() <= within_mm;
        let share = left.iter().filter(|p| on(p)).count() as f64 / all;
        if share < least_share {
            break;
        }
        left.retain(|p| !on(p));
        found.push(Plane { share, ..plane });
    }
    found
}

/// The plane with most points near it.
fn largest(points: &[Point3], within_mm: f64) -> Option<Plane> {
    let tried = (0..TRIALS).into_par_iter().filter_map(|trial| {
        let [a, b, c] = [0, 1, 2].map(|k| points[chance::below(3 * trial as u64 + k, points.len())]);
        let plane = through(a, b, c)?;
        Some((points.iter().filter(|p| plane.height(**p).abs() <= within_mm).count(), trial, plane))
    });
    let (_, _, mut plane) = tried.max_by_key(|&(on, trial, _)| (on, std::cmp::Reverse(trial)))?;
    for _ in 0..3 {
        let on: Vec<Point3> = points.iter().copied().filter(|p| plane.height(*p).abs() <= within_mm).collect();
        plane = fitted(&on).unwrap_or(plane);
    }
    Some(plane)
}

fn through(a: Point3, b: Point3, c: Point3) -> Option<Plane> {
    let normal = Unit::try_new((b - a).cross(&(c - a)), 1e-6)?.into_inner();
    Some(Plane { normal, offset_mm: normal.dot(&a.coords), share: 0.0 })
}

/// The plane with the least squares of distances: normal to the direction of least spread.
fn fitted(points: &[Point3]) -> Option<Plane> {
    if points.len() < 3 {
        return None;
    }
    let centre = points.iter().map(|p| p.coords).sum::<Vector3>() / points.len() as f64;
    let spread: Matrix3<f64> = points.iter().map(|p| (p.coords - centre) * (p.coords - centre).transpose()).sum();
    let eigen = SymmetricEigen::new(spread);
    let normal: Vector3 = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned();
    Some(Plane { normal, offset_mm: normal.dot(&centre), share: 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A tilted table with a box's lid above it, and strays between.
    #[test]
    fn the_table_and_the_lid() {
        let n = Vector3::new(0.2, -0.3, 1.0).normalize();
        let across = n.cross(&Vector3::x()).normalize();
        let along = across.cross(&n);
        let at = |u: f64, v: f64, h: f64| Point3::from(u * along + v * across + (h + 17.0) * n);
        let mut points = vec![];
        for i in 0..60 {
            for j in 0..40 {
                let (u, v) = (f64::from(i) * 5.0, f64::from(j) * 5.0);
                let ripple = 0.05 * (f64::from(i * 7 + j * 3)).sin();
                points.push(at(u, v, ripple));
                if (20..40).contains(&i) && (10..30).contains(&j) {
                    points.push(at(u, v, 30.0 + ripple));
                }
                if (i + j) % 9 == 0 {
                    points.push(at(u, v, 3.0 * f64::from(i % 7)));
                }
            }
        }
        let found = planes(&points, 0.3, 0.05, 3);
        assert_eq!(found.len(), 2);
        assert!(found[0].share > 0.7 && found[1].share > 0.1, "{found:?}");
        for (plane, height) in found.iter().zip([17.0, 47.0]) {
            let up = if plane.normal.dot(&n) > 0.0 { *plane } else { plane.turned() };
            assert!(up.normal.dot(&n) > 1.0 - 1e-7);
            assert_abs_diff_eq!(up.offset_mm, height, epsilon = 0.1);
        }
    }

    #[test]
    fn no_points_no_planes() {
        assert!(planes(&[], 0.3, 0.05, 3).is_empty());
        assert!(planes(&[Point3::origin(); 100], 0.3, 0.05, 3).is_empty());
    }
}
