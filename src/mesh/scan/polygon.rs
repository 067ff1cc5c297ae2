//! Faces of more than three corners become triangles, hollow ones too, by cutting off ears (Meisters
//! 1975, "Polygons have ears"). Knows no format.

use crate::frame::{Point2, Point3, Vector3};

/// The most corners of a face. The flat underside of a footbed drawn as one face has some hundreds;
/// the time to cut a face grows with the square.
pub(super) const MOST_CORNERS: usize = 4096;

/// Cuts polygons; kept between them for its memory.
#[derive(Default)]
pub(super) struct Cutter {
    flat: Vec<Point2>,
    /// Corners not yet cut off, as places in `flat`.
    left: Vec<usize>,
}

impl Cutter {
    /// Adds the triangles of the face with these corners. Corners that `points` lacks make
    /// triangles all the same, for whoever counts them.
    pub(super) fn cut(&mut self, corners: &[u32], points: &[Point3], into: &mut Vec<[u32; 3]>) {
        let places: Option<Vec<Point3>> =
            corners.iter().map(|&at| points.get(at as usize).copied().filter(|p| p.x.is_finite())).collect();
        match places {
            Some(places) if !self.lay_flat(&places) => self.cut_ears(corners, into),
            // Every corner bulges, or there is nothing to see: a fan will do.
            _ => into.extend(corners.iter().zip(corners.iter().skip(1)).skip(1).map(|(&b, &c)| [corners[0], b, c])),
        }
    }

    /// Lays the polygon into the plane it comes nearest to, seen so that it turns left; whether
    /// every corner bulges.
    fn lay_flat(&mut self, places: &[Point3]) -> bool {
        let normal = newell(places);
        let drop = normal.iamax();
        let sign = if normal[drop] < 0.0 { -1.0 } else { 1.0 };
        let (u, v) = ((drop + 1) % 3, (drop + 2) % 3);
        self.flat.clear();
        self.flat.extend(places.iter().map(|p| Point2::new(sign * p[u], p[v])));
        self.left.clear();
        self.left.extend(0..places.len());
        let count = places.len();
        (0..count).all(|k| self.turn([(k + count - 1) % count, k, (k + 1) % count]) >= 0.0)
    }

    fn cut_ears(&mut self, corners: &[u32], into: &mut Vec<[u32; 3]>) {
        let mut at = 0;
        while self.left.len() > 3 {
            let count = self.left.len();
            // A polygon that crosses itself may have no ear; something is cut off all the same, so
            // that it ends.
            let ear = (0..count).map(|k| (at + k) % count).find(|&k| self.is_ear(k)).unwrap_or(at % count);
            into.push(self.around(ear).map(|k| corners[k]));
            self.left.remove(ear);
            // Going on one corner farther keeps the triangles from all meeting in one corner.
            at = (ear + 1) % (count - 1);
        }
        into.extend(<[usize; 3]>::try_from(self.left.as_slice()).map(|last| last.map(|k| corners[k])));
    }

    /// The corner at place `k` of those left, between its neighbours.
    fn around(&self, k: usize) -> [usize; 3] {
        let count = self.left.len();
        [self.left[(k + count - 1) % count], self.left[k], self.left[(k + 1) % count]]
    }

    /// Whether the corner bulges and no other lies in the triangle that it would cut off.
    fn is_ear(&self, k: usize) -> bool {
        let [a, b, c] = self.around(k);
        if self.turn([a, b, c]) <= 0.0 {
            return false;
        }
        let ends = [a, b, c].map(|k| self.flat[k]);
        let inside = |&p: &usize| {
            !ends.contains(&self.flat[p])
                && [[a, b], [b, c], [c, a]].iter().all(|&[from, to]| self.turn([from, to, p]) >= 0.0)
        };
        !self.left.iter().any(inside)
    }

    /// Twice the area of a triangle, positive when it turns left.
    fn turn(&self, [a, b, c]: [usize; 3]) -> f64 {
        let [a, b, c] = [a, b, c].map(|k| self.flat[k]);
        (b - a).perp(&(c - a))
    }
}

/// The mean normal of a polygon, also of one that is not flat: the sum of the cross products of
/// neighbouring corners (Newell's method; Sutherland, Sproull & Schumacker 1974).
fn newell(places: &[Point3]) -> Vector3 {
    let Some(&first) = places.first() else { return Vector3::zeros() };
    let arms = || places.iter().map(|p| p - first);
    arms().zip(arms().skip(1)).map(|(a, b)| a.cross(&b)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    fn cut(places: &[Point3]) -> Vec<[u32; 3]> {
        let (corners, mut triangles): (Vec<u32>, _) = ((0..places.len() as u32).collect(), vec![]);
        Cutter::default().cut(&corners, places, &mut triangles);
        triangles
    }

    /// Areas of the triangles along the normal: a triangle turned over counts against.
    fn areas(places: &[Point3], normal: Vector3) -> Vec<f64> {
        let corner = |k: u32| places[k as usize];
        cut(places)
            .iter()
            .map(|&[a, b, c]| 0.5 * (corner(b) - corner(a)).cross(&(corner(c) - corner(a))).dot(&normal))
            .collect()
    }

    /// An L of 3 by 3 with 2 by 2 cut out: area 5 by hand, from whichever corner it begins.
    #[test]
    fn a_hollow_corner_stays_hollow() {
        let l = [(0.0, 0.0), (3.0, 0.0), (3.0, 1.0), (1.0, 1.0), (1.0, 3.0), (0.0, 3.0)];
        for first in 0..6 {
            for upside in [1.0, -1.0] {
                let mut places: Vec<Point3> = l.iter().map(|&(x, y)| Point3::new(2.0, x, upside * y)).collect();
                places.rotate_left(first);
                let areas = areas(&places, Vector3::x() * upside);
                assert_eq!(areas.len(), 4);
                assert!(areas.iter().all(|&a| a > 0.0), "{areas:?}");
                assert_relative_eq!(areas.iter().sum::<f64>(), 5.0, epsilon = 1e-12);
            }
        }
    }

    #[test]
    fn a_bulging_face_is_a_fan_and_a_crossing_one_ends() {
        let square = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| Point3::new(x, y, 0.0));
        assert_eq!(cut(&square), [[0, 1, 2], [0, 2, 3]]);
        let bow_tie = [(0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.2)].map(|(x, y)| Point3::new(x, y, 0.0));
        assert_eq!(cut(&bow_tie).len(), 2);
        assert_eq!(cut(&[Point3::origin(); 5]).len(), 3);
        let missing = [Point3::new(f64::NAN, 0.0, 0.0); 5];
        assert_eq!(cut(&missing).len(), 3);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// Stars about a middle are covered exactly once: by the shoelace formula.
        #[test]
        fn stars_are_covered_once(radii in prop::collection::vec(0.3..2.0_f64, 4..60), tilt in -1.0..1.0_f64) {
            let turn = |k: usize| TAU * k as f64 / radii.len() as f64;
            let places: Vec<Point3> = radii.iter().enumerate().map(|(k, r)| {
                let (x, y) = (r * turn(k).cos(), r * turn(k).sin());
                Point3::new(x, y, tilt * x)
            }).collect();
            let normal = Vector3::new(-tilt, 0.0, 1.0).normalize();
            let areas = areas(&places, normal);
            let next = |k: usize| places[(k + 1) % places.len()];
            let shoelace: f64 = places.iter().enumerate().map(|(k, p)| 0.5 * p.xy().coords.perp(&next(k).xy().coords)).sum();
            prop_assert!(areas.iter().all(|&a| a > -1e-12));
            prop_assert!((areas.iter().sum::<f64>() * normal.z - shoelace).abs() < 1e-9);
        }
    }
}
