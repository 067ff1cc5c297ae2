//! The trim outline as the proof needs it: which nodes lie inside, how far a place is from it, and
//! the line on which the perimeter's cutter travels. Works on the corners themselves, apart from
//! the code that planned the perimeter.

use std::f64::consts::TAU;

use super::CarveError;
use crate::frame::{Point2, Rect, Vector2};
use crate::grid::Lattice;

/// Corners nearer to each other than this are one, mm.
const SAME_MM: f64 = 1e-9;

/// A closed outline, counter-clockwise.
pub(super) struct Rim {
    corners: Vec<Point2>,
}

impl Rim {
    /// The outline through `points`, either way round, which must lie on the blank.
    pub(super) fn new(points: &[Point2], blank: Rect) -> Result<Rim, CarveError> {
        let mut corners: Vec<Point2> = points.to_vec();
        corners.dedup_by(|b, a| (*b - *a).norm() < SAME_MM);
        while corners.len() > 1 && corners.first().zip(corners.last()).is_some_and(|(a, b)| (a - b).norm() < SAME_MM) {
            corners.pop();
        }
        if corners.len() < 3 || !corners.iter().all(|p| p.x.is_finite() && p.y.is_finite()) {
            return Err(CarveError::Outline { points: corners.len() });
        }
        let off = |p: &&Point2| p.x < blank.x0 || p.x > blank.x1 || p.y < blank.y0 || p.y > blank.y1;
        if let Some(p) = corners.iter().find(off) {
            return Err(CarveError::OutlineOff { x: p.x, y: p.y });
        }
        let mut rim = Rim { corners };
        if rim.edges().map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>() < 0.0 {
            rim.corners.reverse();
        }
        Ok(rim)
    }

    /// For every node, row by row, whether it lies inside.
    pub(super) fn inside(&self, lattice: &Lattice) -> Vec<bool> {
        let mut inside = vec![false; lattice.len()];
        for (j, row) in inside.chunks_mut(lattice.nx).enumerate() {
            let crossings = self.crossings(lattice.node(0, j).y);
            for span in crossings.chunks_exact(2) {
                let node = |x: f64| (((x - lattice.x0) / lattice.step).ceil().max(0.0) as usize).min(lattice.nx);
                row[node(span[0])..node(span[1])].fill(true);
            }
        }
        inside
    }

    /// Distance from the outline, mm, where it is less than `most`; else `most`.
    pub(super) fn distance_up_to(&self, p: Point2, most: f64) -> f64 {
        let outside = |p: f64, a: f64, b: f64| (a.min(b) - p).max(p - a.max(b));
        let near = self.edges().filter(|(a, b)| outside(p.x, a.x, b.x).max(outside(p.y, a.y, b.y)) < most);
        let square = |(a, b): (Point2, Point2)| {
            let (along, to) = (b - a, p - a);
            let t = (to.dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
            (to - along * t).norm_squared()
        };
        near.map(square).fold(most * most, f64::min).sqrt()
    }

    /// Places along the line `offset` mm outside, in order, at most `spacing` apart where the line
    /// is whole; places where it would come nearer to another part of the outline are left out.
    pub(super) fn line_outside(&self, offset: f64, spacing: f64) -> Vec<Point2> {
        let n = self.corners.len();
        let mut line = Vec::new();
        for k in 0..n {
            let (a, b, c) = (self.corners[k], self.corners[(k + 1) % n], self.corners[(k + 2) % n]);
            let (first, second) = (outward(a, b), outward(b, c));
            let steps = ((b - a).norm() / spacing).ceil().max(1.0);
            line.extend((0..steps as usize).map(|i| a + (b - a) * (i as f64 / steps) + first * offset));
            // Around a corner that points outward the cutter swings from one edge to the next.
            let turn = first.perp(&second).atan2(first.dot(&second)).rem_euclid(TAU);
            if turn < TAU / 2.0 {
                let steps = (turn * offset / spacing).ceil().max(1.0);
                let swing = (0..steps as usize).map(|i| nalgebra::Rotation2::new(turn * i as f64 / steps));
                line.extend(swing.map(|by| b + by * first * offset));
            }
        }
        line.retain(|&p| self.distance_up_to(p, offset) > offset - 1e-6);
        line
    }

    fn edges(&self) -> impl Iterator<Item = (Point2, Point2)> + '_ {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().zip(next).map(|(&a, &b)| (a, b))
    }

    /// Where the line at height `y` crosses the outline, in order of x. An even number: each corner
    /// belongs to the edge above it only.
    fn crossings(&self, y: f64) -> Vec<f64> {
        let crossing = self.edges().filter(|(a, b)| (a.y <= y) != (b.y <= y));
        let mut xs: Vec<f64> = crossing.map(|(a, b)| a.x + (b.x - a.x) * ((y - a.y) / (b.y - a.y))).collect();
        xs.sort_by(f64::total_cmp);
        xs
    }
}

/// Unit normal to the right of the way from `a` to `b`.
fn outward(a: Point2, b: Point2) -> Vector2 {
    let along = (b - a).normalize();
    Vector2::new(along.y, -along.x)
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;

    const BLANK: Rect = Rect { x0: 0.0, y0: 0.0, x1: 20.0, y1: 20.0 };

    fn square(corners: [(f64, f64); 4]) -> Rim {
        Rim::new(&corners.map(|(x, y)| Point2::new(x, y)), BLANK).unwrap()
    }

    #[test]
    fn the_nodes_of_a_square_are_counted_either_way_round() {
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.5, nx: 30, ny: 30 };
        for corners in
            [[(1.1, 1.1), (5.1, 1.1), (5.1, 3.1), (1.1, 3.1)], [(1.1, 3.1), (5.1, 3.1), (5.1, 1.1), (1.1, 1.1)]]
        {
            assert_eq!(square(corners).inside(&lattice).iter().filter(|&&inside| inside).count(), 8 * 4);
        }
    }

    /// The line around a convex outline is its length and a whole turn: 2 (4 + 2) + 2 pi 3.
    #[test]
    fn the_line_outside_a_convex_outline_has_steiner_length() {
        let line = square([(1.0, 1.0), (5.0, 1.0), (5.0, 3.0), (1.0, 3.0)]).line_outside(3.0, 0.05);
        let n = line.len();
        let length: f64 = (0..n).map(|k| (line[(k + 1) % n] - line[k]).norm()).sum();
        assert_abs_diff_eq!(length, 12.0 + TAU * 3.0, epsilon = 0.01);
    }

    #[test]
    fn the_line_keeps_its_distance_in_a_hollow() {
        let hollow = [(0.0, 0.0), (20.0, 0.0), (10.0, 4.0), (20.0, 20.0), (0.0, 20.0)].map(|(x, y)| Point2::new(x, y));
        let rim = Rim::new(&hollow, BLANK).unwrap();
        for p in rim.line_outside(3.0, 0.2) {
            assert_abs_diff_eq!(rim.distance_up_to(p, 10.0), 3.0, epsilon = 1e-5);
        }
    }

    #[test]
    fn outlines_without_an_area_or_off_the_blank_are_refused() {
        let refused = |corners: [(f64, f64); 3]| Rim::new(&corners.map(|(x, y)| Point2::new(x, y)), BLANK).err();
        assert_eq!(refused([(1.0, 1.0), (2.0, 1.0), (2.0, 1.0)]), Some(CarveError::Outline { points: 2 }));
        assert_eq!(refused([(1.0, 1.0), (2.0, f64::NAN), (2.0, 2.0)]), Some(CarveError::Outline { points: 3 }));
        assert_eq!(refused([(1.0, 1.0), (1e9, 1.0), (2.0, 2.0)]), Some(CarveError::OutlineOff { x: 1e9, y: 1.0 }));
        assert_eq!(refused([(1.0, 1.0), (3.0, 1.0), (2.0, 2.0)]), None);
    }
}
