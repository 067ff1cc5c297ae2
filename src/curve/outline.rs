//! The closed outline of a piece. Knows its shape and sizes, not what it is an outline of.

use super::bezier::{self, Bezier};
use super::crossing::first_crossing;
use super::nearest::Sides;
use super::{CurveError, offset};
use crate::frame::{Placement, Point2, Rect};
use crate::grid::{Grid, Lattice};

/// How far the polyline of an outline may lie from its Beziers, mm. A tenth of what a sanded edge
/// can show, and small against the 0.25 mm lattice; a footbed's outline is then some 500 points.
pub const FLATTENING_MM: f64 = 0.005;

/// How far a corner of an offset may be from its distance, mm: twice the flattening of edge and arcs together.
const ASTRAY_MM: f64 = 4.0 * FLATTENING_MM;

/// Ends closer than this are one point, mm: a thousandth of the least step of any mill, a thousand
/// times the rounding of coordinates of some hundred millimetres.
pub(super) const JOIN_MM: f64 = 1e-6;

/// Nothing on a bench is farther from its origin than ten metres; the bound keeps the number of
/// points of a flattened outline within reason.
pub(super) const LARGEST_MM: f64 = 1e4;

/// The least area of an outline, mm2: a thousandth of a millimetre squared is no piece.
const LEAST_AREA_MM2: f64 = 1e-6;

/// A drawn outline has tens of pieces, a traced one hundreds; ten thousand still cost only
/// milliseconds to check.
const MOST_PIECES: usize = 10_000;

/// A footbed's outline flattens to some 400 points, a rough tracing to some thousand; a hundred
/// thousand are still checked in about a second.
const MOST_POINTS: usize = 100_000;

/// How far the quadratics that [`Outline::perimeter_mm`] measures may lie from the cubics, mm; the
/// length is then off by far less.
const LENGTH_MM: f64 = 1e-4;

/// A closed, simple, counter-clockwise loop of cubic Beziers, mm, with its polyline.
///
/// Sizes ([`area_mm2`](Outline::area_mm2), [`bounds`](Outline::bounds),
/// [`section`](Outline::section)) are those of the Beziers; distances and
/// [`contains`](Outline::contains) are those of the polyline, which lies within
/// [`FLATTENING_MM`] of them.
#[derive(Clone, Debug)]
pub struct Outline {
    pieces: Vec<Bezier>,
    sides: Sides,
    bounds: Rect,
}

impl Outline {
    /// The outline made of `pieces`, each starting where the one before it ends and the first
    /// where the last ends, in either turning sense.
    pub fn from_beziers(pieces: Vec<Bezier>) -> Result<Outline, CurveError> {
        check_numbers(&pieces)?;
        let mut pieces = joined(pieces)?;
        let area_mm2 = 0.5 * pieces.iter().map(bezier::doubled_area).sum::<f64>();
        if area_mm2 < 0.0 {
            reverse(&mut pieces);
        }
        let points = flattened(&pieces)?;
        if points.len() < 3 || area_mm2.abs() < LEAST_AREA_MM2 {
            return Err(CurveError::NoArea { area_mm2: area_mm2.abs(), allowed: LEAST_AREA_MM2 });
        }
        match first_crossing(&points) {
            Some(p) => Err(CurveError::Crossing { x: p.x, y: p.y }),
            None => Ok(Outline::known_good(pieces, points)),
        }
    }

    /// The outline with straight sides through `points`, which are not repeated at the end.
    pub fn from_polygon(points: &[Point2]) -> Result<Outline, CurveError> {
        let next = points.iter().cycle().skip(1);
        Outline::from_beziers(points.iter().zip(next).map(|(&a, &b)| bezier::straight(a, b)).collect())
    }

    /// The pieces, counter-clockwise.
    pub fn pieces(&self) -> &[Bezier] {
        &self.pieces
    }

    /// The polyline, counter-clockwise, the first point not repeated at the end.
    pub fn points(&self) -> &[Point2] {
        self.sides.points()
    }

    /// The area shut in, mm2, by Green's theorem on the Beziers.
    pub fn area_mm2(&self) -> f64 {
        0.5 * self.pieces.iter().map(bezier::doubled_area).sum::<f64>()
    }

    /// The length of the loop, mm.
    pub fn perimeter_mm(&self) -> f64 {
        self.pieces.iter().map(|p| p.approximate_length(LENGTH_MM)).sum()
    }

    /// The least rectangle around the Beziers.
    pub fn bounds(&self) -> Rect {
        self.bounds
    }

    /// Extent in y, mm: what a footbed's length is in the foot frame.
    pub fn length_mm(&self) -> f64 {
        self.bounds.height()
    }

    /// Least and greatest x on the Beziers at height `y`; `None` where the outline has no such
    /// height.
    pub fn section(&self, y: f64) -> Option<(f64, f64)> {
        let mut found: Option<(f64, f64)> = None;
        for piece in &self.pieces {
            bezier::for_each_x_at(piece, y, |x| {
                let (lo, hi) = found.unwrap_or((x, x));
                found = Some((lo.min(x), hi.max(x)));
            });
        }
        found
    }

    /// Least and greatest x on the part of the Beziers with a y of at least `y`; `None` where there
    /// is no such part.
    pub fn extent_ahead_of(&self, y: f64) -> Option<(f64, f64)> {
        let mut found = self.section(y);
        for piece in &self.pieces {
            bezier::for_each_x_extreme(piece, |p| {
                if p.y >= y {
                    let (lo, hi) = found.unwrap_or((p.x, p.x));
                    found = Some((lo.min(p.x), hi.max(p.x)));
                }
            });
        }
        found
    }

    /// Whether `p` lies inside; either answer may be given within rounding of the edge.
    pub fn contains(&self, p: Point2) -> bool {
        self.sides.contains(p)
    }

    /// The place on the edge nearest to `p`, which must be finite.
    pub fn nearest(&self, p: Point2) -> Point2 {
        self.sides.nearest(p)
    }

    /// Distance from the edge, mm, negative inside.
    pub fn signed_distance(&self, p: Point2) -> f64 {
        let d = (p - self.nearest(p)).norm();
        if self.contains(p) { -d } else { d }
    }

    /// The signed distance at every node of `lattice`, mm, negative inside, held within
    /// +-`band_mm`. Much faster than asking node by node.
    pub fn distance_field(&self, lattice: &Lattice, band_mm: f64) -> Grid {
        self.sides.distance_field(lattice, band_mm)
    }

    /// The loops at `distance_mm` from the edge, outward positive, as counter-clockwise polygons
    /// within twice [`FLATTENING_MM`]; largest first, none when nothing is left. Corners turned
    /// outward become arcs.
    pub fn offset(&self, distance_mm: f64) -> Result<Vec<Vec<Point2>>, CurveError> {
        let loops = offset::offset(self.points(), distance_mm)?;
        // The library does not say when it could not join what it moved: its answer is held against the edge itself.
        let astray = |p: &Point2| (self.signed_distance(*p) - distance_mm).abs() > ASTRAY_MM;
        if loops.iter().flatten().any(astray) {
            return Err(CurveError::Astray { distance_mm });
        }
        Ok(loops)
    }

    /// The outline moved by an affine map such as a shift, a reflection or a scale; kept
    /// counter-clockwise. A map that makes it degenerate is an error.
    pub fn mapped(&self, f: impl Fn(Point2) -> Point2) -> Result<Outline, CurveError> {
        Outline::from_beziers(self.pieces.iter().map(|p| bezier::mapped(p, &f)).collect())
    }

    /// The outline seen in the outer frame of `placement`; a rigid motion cannot spoil it.
    pub fn placed(&self, placement: Placement) -> Outline {
        let place = |p| placement.place(p);
        let mut pieces: Vec<Bezier> = self.pieces.iter().map(|p| bezier::mapped(p, place)).collect();
        let mut points: Vec<Point2> = self.points().iter().map(|&p| place(p)).collect();
        if placement.mirrors_plan() {
            reverse(&mut pieces);
            points.reverse();
        }
        Outline::known_good(pieces, points)
    }

    fn known_good(pieces: Vec<Bezier>, points: Vec<Point2>) -> Outline {
        let bounds =
            pieces.iter().map(bezier::bounds).reduce(united).unwrap_or(Rect { x0: 0.0, y0: 0.0, x1: 0.0, y1: 0.0 });
        Outline { pieces, sides: Sides::new(points, bounds), bounds }
    }
}

fn check_numbers(pieces: &[Bezier]) -> Result<(), CurveError> {
    if pieces.is_empty() {
        return Err(CurveError::Empty);
    }
    if pieces.len() > MOST_PIECES {
        return Err(CurveError::TooMany { pieces: pieces.len(), allowed: MOST_PIECES });
    }
    for (i, piece) in pieces.iter().enumerate() {
        let numbers = bezier::controls(piece).into_iter().flat_map(|p| [p.x, p.y]);
        if let Some(value) = numbers.into_iter().find(|v| !v.is_finite() || v.abs() > LARGEST_MM) {
            return Err(CurveError::Coordinate { piece: i + 1, value, allowed: LARGEST_MM });
        }
    }
    Ok(())
}

/// The pieces with ends that meet exactly; an error where they are farther apart than rounding.
fn joined(mut pieces: Vec<Bezier>) -> Result<Vec<Bezier>, CurveError> {
    let ends: Vec<_> = pieces.iter().map(|p| p.to).collect();
    let before = ends.iter().cycle().skip(ends.len() - 1);
    for (i, (piece, &end)) in pieces.iter_mut().zip(before).enumerate() {
        let gap_mm = (piece.from - end).length();
        if gap_mm > JOIN_MM {
            return Err(CurveError::Open { piece: i + 1, gap_mm, x: end.x, y: end.y });
        }
        piece.from = end;
    }
    Ok(pieces)
}

fn reverse(pieces: &mut [Bezier]) {
    pieces.reverse();
    for piece in pieces {
        *piece = piece.flip();
    }
}

fn flattened(pieces: &[Bezier]) -> Result<Vec<Point2>, CurveError> {
    let mut points: Vec<Point2> = Vec::new();
    for piece in pieces {
        piece.for_each_flattened(FLATTENING_MM, &mut |line| {
            let p = Point2::new(line.to.x, line.to.y);
            if points.last().is_none_or(|last| (p - last).norm() > JOIN_MM) {
                points.push(p);
            }
        });
        if points.len() > MOST_POINTS {
            return Err(CurveError::TooIntricate { allowed: MOST_POINTS });
        }
    }
    while points.len() > 1 && points.first().zip(points.last()).is_some_and(|(a, b)| (b - a).norm() <= JOIN_MM) {
        points.pop();
    }
    Ok(points)
}

fn united(a: Rect, b: Rect) -> Rect {
    Rect { x0: a.x0.min(b.x0), y0: a.y0.min(b.y0), x1: a.x1.max(b.x1), y1: a.y1.max(b.y1) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::{TrimMeasures, outline_from_measures};
    use crate::frame::{Side, bench_from_foot};
    use approx::assert_abs_diff_eq;
    use geo::{Area, Buffer, LineString, Polygon};
    use std::f64::consts::PI;

    /// A circle of four cubics. Its greatest radial error is 2.73e-4 of the radius with this
    /// handle length (Goldapp 1991, Computer Aided Geometric Design 8:227; re-measured below).
    fn circle(radius: f64, centre: Point2) -> Outline {
        let k = 0.552_284_749_830_793_4 * radius;
        let at = |x: f64, y: f64| centre + crate::frame::Vector2::new(x, y);
        let r = radius;
        let quarter = |a: (f64, f64), b: (f64, f64)| {
            let handle = |p: (f64, f64), q: (f64, f64)| at(p.0 + q.0 * k / r, p.1 + q.1 * k / r);
            bezier::bezier(at(a.0, a.1), handle(a, b), handle(b, a), at(b.0, b.1))
        };
        let c = [(r, 0.0), (0.0, r), (-r, 0.0), (0.0, -r)];
        Outline::from_beziers((0..4).map(|i| quarter(c[i], c[(i + 1) % 4])).collect()).unwrap()
    }

    fn polygon_of(points: &[Point2]) -> Polygon<f64> {
        Polygon::new(points.iter().map(|p| (p.x, p.y)).collect::<LineString<f64>>(), vec![])
    }

    #[test]
    fn circle_closed_forms() {
        let c = circle(30.0, Point2::new(5.0, 40.0));
        assert_abs_diff_eq!(c.area_mm2(), PI * 900.0, epsilon = 900.0 * PI * 2.0 * 2.8e-4);
        assert_abs_diff_eq!(c.perimeter_mm(), PI * 60.0, epsilon = PI * 60.0 * 2.8e-4);
        assert_eq!(c.bounds(), Rect { x0: -25.0, y0: 10.0, x1: 35.0, y1: 70.0 });
        assert_eq!(c.length_mm(), 60.0);
        let (x0, x1) = c.section(40.0 + 18.0).unwrap();
        assert_abs_diff_eq!(x0, 5.0 - 24.0, epsilon = 30.0 * 4e-4);
        assert_abs_diff_eq!(x1, 5.0 + 24.0, epsilon = 30.0 * 4e-4);
        assert_eq!(c.section(70.000001), None);
        assert_eq!(c.section(f64::NAN), None);
        let (top0, top1) = c.section(70.0).unwrap();
        assert_eq!((top0, top1), (5.0, 5.0));
    }

    #[test]
    fn polyline_stays_within_its_tolerance() {
        let c = circle(30.0, Point2::origin());
        for p in c.points() {
            assert!((p.coords.norm() - 30.0).abs() < 30.0 * 2.8e-4);
        }
        for piece in c.pieces() {
            for k in 0..=1000 {
                let p = piece.sample(k as f64 / 1000.0);
                assert!(c.signed_distance(Point2::new(p.x, p.y)).abs() <= FLATTENING_MM);
            }
        }
    }

    #[test]
    fn distances_from_a_circle() {
        let c = circle(30.0, Point2::new(5.0, 40.0));
        for (x, y) in [(5.0, 40.0), (5.1, 69.0), (34.9, 40.0), (36.0, 41.0), (300.0, -200.0), (5.0, 1e4), (-1e5, 40.0)]
        {
            let p = Point2::new(x, y);
            let expected = (p - Point2::new(5.0, 40.0)).norm() - 30.0;
            assert_abs_diff_eq!(c.signed_distance(p), expected, epsilon = 0.015);
            assert_eq!(c.contains(p), expected < 0.0);
        }
    }

    #[test]
    fn field_equals_point_by_point() {
        let c = circle(17.0, Point2::new(5.0, 40.0));
        let lattice = Lattice { x0: -20.0, y0: 15.0, step: 0.8, nx: 60, ny: 70 };
        let field = c.distance_field(&lattice, 6.0);
        for j in 0..lattice.ny {
            for i in 0..lattice.nx {
                let d = c.signed_distance(lattice.node(i, j)).clamp(-6.0, 6.0);
                assert_abs_diff_eq!(field.at(i, j), d, epsilon = 1e-12);
            }
        }
    }

    /// The nearest place by trying every side, for points all over and far away.
    #[test]
    fn nearest_equals_trying_every_side() {
        let l_shape = [(0.0, 0.0), (60.0, 0.0), (60.0, 8.0), (9.0, 8.0), (9.0, 90.0), (0.0, 90.0)];
        let corners: Vec<Point2> = l_shape.iter().map(|&(x, y)| Point2::new(x, y)).collect();
        let outline = Outline::from_polygon(&corners).unwrap();
        for k in 0..400 {
            let p = Point2::new(-40.0 + 0.35 * k as f64, 130.0 - ((k * 37) % 200) as f64);
            let by_trying = corners
                .iter()
                .zip(corners.iter().cycle().skip(1))
                .map(|(a, b)| {
                    let t = ((p - a).dot(&(b - a)) / (b - a).norm_squared()).clamp(0.0, 1.0);
                    (p - (a + (b - a) * t)).norm()
                })
                .fold(f64::INFINITY, f64::min);
            assert_abs_diff_eq!((p - outline.nearest(p)).norm(), by_trying, epsilon = 1e-12);
        }
    }

    #[test]
    fn offset_against_closed_form_and_geo() {
        let square: Vec<Point2> =
            [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)].iter().map(|&(x, y)| Point2::new(x, y)).collect();
        let outline = Outline::from_polygon(&square).unwrap();
        // Area of a rectangle's outward parallel curve: A + P d + pi d^2 (Steiner).
        let grown = outline.offset(5.0).unwrap();
        assert_eq!(grown.len(), 1);
        let area = polygon_of(&grown[0]).signed_area();
        assert_abs_diff_eq!(area, 1200.0 + 140.0 * 5.0 + PI * 25.0, epsilon = 10.0 * PI * FLATTENING_MM);
        let shrunk = outline.offset(-5.0).unwrap();
        assert_abs_diff_eq!(polygon_of(&shrunk[0]).signed_area(), 30.0 * 20.0, epsilon = 1e-9);
        assert!(outline.offset(-16.0).unwrap().is_empty());

        let round = circle(30.0, Point2::origin());
        for d in [4.0, -4.0] {
            let ours = polygon_of(&round.offset(d).unwrap()[0]).signed_area();
            let geos = polygon_of(round.points()).buffer(d).unsigned_area();
            assert_abs_diff_eq!(ours, geos, epsilon = 2.0 * PI * 34.0 * 2.0 * FLATTENING_MM);
        }
    }

    /// Referee: geo's buffer with round joins, on a footbed's outline with its concave waist.
    #[test]
    fn offset_of_a_footbed_against_geo() {
        let measures = TrimMeasures {
            length_mm: 262.0,
            ball_width_mm: 96.0,
            heel_width_mm: 65.0,
            heel_station_y_mm: 42.0,
            first_met_y_mm: 194.0,
            fifth_met_y_mm: 168.0,
        };
        let outline = outline_from_measures(&measures).unwrap();
        for d in [0.5, 3.0, 8.0, -0.5, -3.0, -8.0] {
            let loops = outline.offset(d).unwrap();
            assert_eq!(loops.len(), 1);
            let ours = polygon_of(&loops[0]).signed_area();
            let geos = polygon_of(outline.points()).buffer(d).unsigned_area();
            // Both flatten their arcs; half the tolerance, on average, along the whole edge.
            assert_abs_diff_eq!(ours, geos, epsilon = 0.5 * FLATTENING_MM * outline.perimeter_mm());
            for p in &loops[0] {
                assert_abs_diff_eq!(outline.signed_distance(*p), d, epsilon = 1e-6);
            }
        }
    }

    #[test]
    fn offset_may_fall_apart() {
        let bone = [(0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (12.0, 20.0), (12.0, 40.0), (20.0, 40.0), (20.0, 60.0)];
        let bone = bone.into_iter().chain([(0.0, 60.0), (0.0, 40.0), (8.0, 40.0), (8.0, 20.0), (0.0, 20.0)]);
        let corners: Vec<Point2> = bone.map(|(x, y)| Point2::new(x, y)).collect();
        let loops = Outline::from_polygon(&corners).unwrap().offset(-3.0).unwrap();
        assert_eq!(loops.len(), 2);
        assert!(loops.iter().all(|l| polygon_of(l).signed_area() > 0.0));
    }

    #[test]
    fn clockwise_is_turned_and_mirror_keeps_turning_sense() {
        let c = circle(20.0, Point2::new(3.0, 4.0));
        let mirrored = c.mapped(|p| Point2::new(-p.x, p.y)).unwrap();
        let placed = c.placed(bench_from_foot(Side::Right));
        for m in [&mirrored, &placed] {
            assert_abs_diff_eq!(m.area_mm2(), c.area_mm2(), epsilon = 1e-9);
            assert!(polygon_of(m.points()).signed_area() > 0.0);
            assert!(m.contains(Point2::new(-20.0, 4.0)) && !m.contains(Point2::new(20.0, 4.0)));
        }
    }

    #[test]
    fn bad_pieces_are_refused_with_the_place() {
        let p = Point2::new;
        assert_eq!(Outline::from_beziers(vec![]).unwrap_err(), CurveError::Empty);
        let nan = bezier::straight(p(0.0, 0.0), p(f64::NAN, 1.0));
        assert!(matches!(Outline::from_beziers(vec![nan]), Err(CurveError::Coordinate { piece: 1, .. })));
        let far = bezier::straight(p(0.0, 0.0), p(1e9, 1.0));
        assert!(matches!(Outline::from_beziers(vec![far]), Err(CurveError::Coordinate { .. })));
        let open = vec![bezier::straight(p(0.0, 0.0), p(4.0, 0.0)), bezier::straight(p(4.0, 0.5), p(0.0, 0.0))];
        let err = Outline::from_beziers(open).unwrap_err();
        assert_eq!(err, CurveError::Open { piece: 2, gap_mm: 0.5, x: 4.0, y: 0.0 });
        assert!(matches!(Outline::from_polygon(&[p(0.0, 0.0), p(5.0, 5.0)]), Err(CurveError::NoArea { .. })));
        let eight = [p(0.0, 0.0), p(4.0, 4.0), p(4.0, 0.0), p(0.0, 3.0)];
        assert!(matches!(Outline::from_polygon(&eight), Err(CurveError::Crossing { .. })));
        let many = vec![bezier::straight(p(0.0, 0.0), p(0.0, 0.0)); MOST_PIECES + 1];
        assert!(matches!(Outline::from_beziers(many), Err(CurveError::TooMany { .. })));
        let loops = |k: f64| bezier::bezier(p(0.0, 0.0), p(9e3, k), p(-9e3, k), p(0.0, 0.0));
        let scribble = (0..1000).map(|k| loops(k as f64)).collect();
        assert!(matches!(Outline::from_beziers(scribble), Err(CurveError::TooIntricate { .. })));
        let c = circle(20.0, Point2::origin());
        assert!(matches!(c.offset(f64::NAN), Err(CurveError::Offset { .. })));
        assert!(c.mapped(|q| p(q.x, 0.0)).is_err());
    }
}
