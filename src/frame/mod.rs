//! Sides and frames. The one place that knows how a foot lies on the bench; everything else works
//! either in the foot frame (see the crate's front page) or in coordinates it is handed.

use nalgebra::Matrix4;
use serde::{Deserialize, Serialize};

/// A point in a plane, mm.
pub type Point2 = nalgebra::Point2<f64>;
/// A displacement in a plane, mm.
pub type Vector2 = nalgebra::Vector2<f64>;
/// A point in space, mm.
pub type Point3 = nalgebra::Point3<f64>;
/// A displacement in space, mm.
pub type Vector3 = nalgebra::Vector3<f64>;

/// Which foot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The left foot.
    Left,
    /// The right foot.
    Right,
}

impl Side {
    /// Both sides, left first: the order of every listing.
    pub const BOTH: [Side; 2] = [Side::Left, Side::Right];

    /// The other one.
    pub fn other(self) -> Side {
        match self {
            Side::Left => Side::Right,
            Side::Right => Side::Left,
        }
    }

    /// `left` or `right`.
    pub fn name(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }

    /// `L` or `R`, as marked on pieces, sheets and file names.
    pub fn letter(self) -> char {
        match self {
            Side::Left => 'L',
            Side::Right => 'R',
        }
    }
}

/// An axis-parallel rectangle, mm; `x0 <= x1` and `y0 <= y1`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rect {
    /// Least x.
    pub x0: f64,
    /// Least y.
    pub y0: f64,
    /// Greatest x.
    pub x1: f64,
    /// Greatest y.
    pub y1: f64,
}

impl Rect {
    /// The least rectangle around `points`; `None` when there are none.
    pub fn around<'a>(points: impl IntoIterator<Item = &'a Point2>) -> Option<Rect> {
        points.into_iter().fold(None, |rect, p| {
            let r = rect.unwrap_or(Rect { x0: p.x, y0: p.y, x1: p.x, y1: p.y });
            Some(Rect { x0: r.x0.min(p.x), y0: r.y0.min(p.y), x1: r.x1.max(p.x), y1: r.y1.max(p.y) })
        })
    }

    /// The rectangle with every side moved outward by `margin` mm.
    pub fn grown(self, margin: f64) -> Rect {
        Rect { x0: self.x0 - margin, y0: self.y0 - margin, x1: self.x1 + margin, y1: self.y1 + margin }
    }

    /// What lies in both rectangles; x0 > x1 or y0 > y1 where they do not meet.
    pub fn overlap(self, other: Rect) -> Rect {
        Rect {
            x0: self.x0.max(other.x0),
            y0: self.y0.max(other.y0),
            x1: self.x1.min(other.x1),
            y1: self.y1.min(other.y1),
        }
    }

    /// Extent in x, mm.
    pub fn width(self) -> f64 {
        self.x1 - self.x0
    }

    /// Extent in y, mm.
    pub fn height(self) -> f64 {
        self.y1 - self.y0
    }
}

/// A placement of the foot frame in another: each axis kept or turned round, then a move. What is
/// placed stays square to the outer frame, so that a lattice stays a lattice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placement {
    /// 1 or -1 for each axis.
    signs: Vector3,
    move_mm: Vector3,
}

/// The placement of the foot frame in the bench frame: the only function that knows about sides.
pub fn bench_from_foot(side: Side) -> Placement {
    let x_sign = match side {
        Side::Left => 1.0,
        Side::Right => -1.0,
    };
    Placement { signs: Vector3::new(x_sign, 1.0, 1.0), move_mm: Vector3::zeros() }
}

impl Placement {
    /// The frame in itself.
    pub fn identity() -> Placement {
        Placement { signs: Vector3::repeat(1.0), move_mm: Vector3::zeros() }
    }

    /// The same placement, moved on by `by` mm in the outer frame.
    pub fn then_moved(self, by: Vector3) -> Placement {
        Placement { move_mm: self.move_mm + by, ..self }
    }

    /// The same placement, turned by half a turn about the outer frame's z axis: toes to heel.
    pub fn then_half_turned(self) -> Placement {
        self.then_rotated(Vector3::new(-1.0, -1.0, 1.0))
    }

    /// The same placement, turned over by half a turn about the outer frame's y axis: underside up.
    pub fn then_turned_over(self) -> Placement {
        self.then_rotated(Vector3::new(-1.0, 1.0, -1.0))
    }

    /// Two signs are turned round at once: a rotation, never a reflection.
    fn then_rotated(self, turn: Vector3) -> Placement {
        Placement { signs: self.signs.component_mul(&turn), move_mm: self.move_mm.component_mul(&turn) }
    }

    /// Whether the plan, seen from above, is reflected: outlines turn the other way round.
    pub fn mirrors_plan(self) -> bool {
        self.signs.x * self.signs.y < 0.0
    }

    /// Whether this placement reflects space: triangles wind the other way round, a left foot's
    /// numbers make a right foot's piece.
    pub fn mirrors(self) -> bool {
        self.signs.product() < 0.0
    }

    /// 1 or -1 for each axis: whether it runs with or against the outer frame's.
    pub fn signs(self) -> [f64; 3] {
        self.signs.into()
    }

    /// A point of the foot frame, seen in the outer frame.
    pub fn place(self, p: Point2) -> Point2 {
        Point2::new(self.signs.x * p.x + self.move_mm.x, self.signs.y * p.y + self.move_mm.y)
    }

    /// A point in space of the foot frame, seen in the outer frame.
    pub fn place3(self, p: Point3) -> Point3 {
        Point3::from(self.signs.component_mul(&p.coords) + self.move_mm)
    }

    /// A height of the foot frame, seen in the outer frame.
    pub fn place_height(self, z_mm: f64) -> f64 {
        self.signs.z * z_mm + self.move_mm.z
    }

    /// A point of the outer frame, seen in the foot frame.
    pub fn unplace(self, p: Point2) -> Point2 {
        Point2::new(self.signs.x * (p.x - self.move_mm.x), self.signs.y * (p.y - self.move_mm.y))
    }

    /// A height of the outer frame, seen in the foot frame.
    pub fn unplace_height(self, z_mm: f64) -> f64 {
        self.signs.z * (z_mm - self.move_mm.z)
    }

    /// The 4x4 matrix outer <- foot, for homogeneous column vectors.
    pub fn matrix(self) -> Matrix4<f64> {
        Matrix4::new_translation(&self.move_mm) * Matrix4::new_nonuniform_scaling(&self.signs)
    }

    /// The 4x4 matrix foot <- outer.
    pub fn inverse_matrix(self) -> Matrix4<f64> {
        Matrix4::new_nonuniform_scaling(&self.signs) * Matrix4::new_translation(&-self.move_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn right_foot_is_the_mirror_of_the_left() {
        let p = Point2::new(30.0, 100.0);
        assert_eq!(bench_from_foot(Side::Left).place(p), p);
        assert_eq!(bench_from_foot(Side::Right).place(p), Point2::new(-30.0, 100.0));
        assert_eq!(bench_from_foot(Side::Right).matrix().determinant(), -1.0);
    }

    #[test]
    fn unplace_undoes_place() {
        let placed = bench_from_foot(Side::Right).then_moved(Vector3::new(5.0, 7.0, 0.0));
        let p = Point2::new(-3.0, 11.0);
        assert_eq!(placed.unplace(placed.place(p)), p);
        let over = placed.then_turned_over().then_half_turned();
        assert_eq!(over.unplace(over.place(p)), p);
        assert_eq!(over.unplace_height(over.place_height(4.0)), 4.0);
        assert_eq!(over.matrix() * over.inverse_matrix(), Matrix4::identity());
    }

    /// A reflection would make a left footbed of a right one's numbers; a turn must not.
    #[test]
    fn turning_over_and_round_is_a_rotation() {
        for side in Side::BOTH {
            let bench = bench_from_foot(side).then_moved(Vector3::new(3.0, 4.0, 5.0));
            for turned in [bench.then_turned_over(), bench.then_half_turned()] {
                assert_eq!((turned.matrix() * bench.inverse_matrix()).determinant(), 1.0);
                assert_eq!(turned.mirrors(), bench.mirrors());
            }
            assert_ne!(bench.then_turned_over().mirrors_plan(), bench.mirrors_plan());
            assert_eq!(bench.then_half_turned().mirrors_plan(), bench.mirrors_plan());
            let p = Point3::new(1.0, 2.0, 3.0);
            let here = bench.place3(p);
            assert_eq!(bench.then_turned_over().place3(p), Point3::new(-here.x, here.y, -here.z));
            assert_eq!(bench.then_half_turned().place3(p), Point3::new(-here.x, -here.y, here.z));
        }
    }
}
