//! One cubic Bezier piece: what an outline is made of. Knows nothing of loops.

use crate::frame::{Point2, Rect};

/// A cubic Bezier piece, mm: from `from` to `to`, leaving towards `ctrl1` and arriving from `ctrl2`.
pub type Bezier = lyon_geom::CubicBezierSegment<f64>;

/// The piece with these four control points.
pub fn bezier(from: Point2, ctrl1: Point2, ctrl2: Point2, to: Point2) -> Bezier {
    Bezier { from: lyon(from), ctrl1: lyon(ctrl1), ctrl2: lyon(ctrl2), to: lyon(to) }
}

/// The straight piece between two points, run through at even speed.
pub fn straight(from: Point2, to: Point2) -> Bezier {
    let step = (to - from) / 3.0;
    bezier(from, from + step, to - step, to)
}

/// The four control points in order.
pub(super) fn controls(piece: &Bezier) -> [Point2; 4] {
    [piece.from, piece.ctrl1, piece.ctrl2, piece.to].map(|p| Point2::new(p.x, p.y))
}

/// The piece with every control point moved by `f`.
pub(super) fn mapped(piece: &Bezier, f: impl Fn(Point2) -> Point2) -> Bezier {
    let [from, ctrl1, ctrl2, to] = controls(piece).map(f);
    bezier(from, ctrl1, ctrl2, to)
}

/// Twice the area between the piece and the origin, by Green's theorem: the integral of
/// x dy - y dx, which for a cubic is this sum over its control points (the products of Bernstein
/// polynomials integrate to 1/20 times whole numbers).
pub(super) fn doubled_area(piece: &Bezier) -> f64 {
    let [a, b, c, d] = controls(piece);
    let cross = |p: Point2, q: Point2| p.x * q.y - p.y * q.x;
    (6.0 * cross(a, b) + 3.0 * cross(a, c) + cross(a, d) + 3.0 * cross(b, c) + 3.0 * cross(b, d) + 6.0 * cross(c, d))
        / 10.0
}

/// The least rectangle around the piece.
pub(super) fn bounds(piece: &Bezier) -> Rect {
    let [a, b, c, d] = controls(piece);
    let (x0, x1) = range(piece, [a.x, b.x, c.x, d.x], |p| p.x);
    let (y0, y1) = range(piece, [a.y, b.y, c.y, d.y], |p| p.y);
    Rect { x0, y0, x1, y1 }
}

/// Calls `found` with the x of every place where the piece has height `y`.
pub(super) fn for_each_x_at(piece: &Bezier, y: f64, mut found: impl FnMut(f64)) {
    let (mut t0, mut y0) = (0.0, piece.from.y);
    let [a, b, c, d] = controls(piece);
    let [first, second] = extrema([a.y, b.y, c.y, d.y]);
    for t1 in [first, second, Some(1.0)].into_iter().flatten() {
        let y1 = piece.sample(t1).y;
        if y >= y0.min(y1) && y <= y0.max(y1) {
            if y0 == y1 {
                found(piece.sample(t0).x);
            }
            found(piece.sample(monotone_root(piece, y, t0, t1)).x);
        }
        (t0, y0) = (t1, y1);
    }
}

/// Calls `found` with the ends of the piece and every place where its x is extreme.
pub(super) fn for_each_x_extreme(piece: &Bezier, mut found: impl FnMut(Point2)) {
    let [a, b, c, d] = controls(piece);
    let inner = extrema([a.x, b.x, c.x, d.x]).into_iter().flatten();
    for t in inner.chain([0.0, 1.0]) {
        let p = piece.sample(t);
        found(Point2::new(p.x, p.y));
    }
}

/// Where between `t0` and `t1`, over which the piece's height is monotone, it equals `y`.
/// Bisection down to neighbouring floating-point numbers: slower than Newton's steps by a few
/// hundred nanoseconds, but it cannot leave the interval or stall at a level tangent.
fn monotone_root(piece: &Bezier, y: f64, mut t0: f64, mut t1: f64) -> f64 {
    let (y0, y1) = (piece.sample(t0).y, piece.sample(t1).y);
    if y == y0 {
        return t0;
    }
    if y == y1 {
        return t1;
    }
    let rising = y1 > y0;
    loop {
        let t = 0.5 * (t0 + t1);
        if t <= t0 || t >= t1 {
            return t;
        }
        if (piece.sample(t).y < y) == rising {
            t0 = t;
        } else {
            t1 = t;
        }
    }
}

/// Least and greatest value of one coordinate whose control values are `p`.
fn range(piece: &Bezier, p: [f64; 4], coordinate: impl Fn(lyon_geom::Point<f64>) -> f64) -> (f64, f64) {
    let ends = (p[0].min(p[3]), p[0].max(p[3]));
    extrema(p).into_iter().flatten().fold(ends, |(lo, hi), t| {
        let v = coordinate(piece.sample(t));
        (lo.min(v), hi.max(v))
    })
}

/// Where, strictly within 0..1 and in rising order, the cubic with Bernstein coefficients `p` has
/// a level tangent. The roots of a t^2 - 2 h t + c are taken as q / a and c / q with q the larger
/// in size of h +- sqrt(h^2 - a c), so that a leading coefficient that is mere rounding, as in a
/// line or a quadratic raised to a cubic, does not spoil the root that matters.
fn extrema(p: [f64; 4]) -> [Option<f64>; 2] {
    let (d0, d1, d2) = (p[1] - p[0], p[2] - p[1], p[3] - p[2]);
    let (a, h, c) = (d0 - 2.0 * d1 + d2, d0 - d1, d0);
    let discriminant = h * h - a * c;
    if discriminant < 0.0 {
        return [None, None];
    }
    let q = h + discriminant.sqrt().copysign(h);
    let within = |t: f64| (t > 0.0 && t < 1.0).then_some(t);
    match (within(q / a), within(c / q)) {
        (Some(s), Some(t)) => [Some(s.min(t)), Some(s.max(t))],
        (found, None) | (None, found) => [found, None],
    }
}

fn lyon(p: Point2) -> lyon_geom::Point<f64> {
    lyon_geom::point(p.x, p.y)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn arch() -> Bezier {
        bezier(Point2::new(0.0, 0.0), Point2::new(0.0, 4.0), Point2::new(3.0, 4.0), Point2::new(3.0, 0.0))
    }

    /// By hand: y = 12 t (1 - t), greatest 3 at t = 1/2; area under it = integral of y dx = 7.2
    /// with x = 9 t^2 - 6 t^3.
    #[test]
    fn arch_by_hand() {
        assert_eq!(bounds(&arch()), Rect { x0: 0.0, y0: 0.0, x1: 3.0, y1: 3.0 });
        assert_abs_diff_eq!(0.5 * doubled_area(&arch()), -7.2, epsilon = 1e-12);
    }

    #[test]
    fn heights_are_found_exactly() {
        let mut found = Vec::new();
        for_each_x_at(&arch(), 12.0 * 0.2 * 0.8, |x| found.push(x));
        assert_eq!(found.len(), 2);
        assert_abs_diff_eq!(found[0], 9.0 * 0.04 - 6.0 * 0.008, epsilon = 1e-12);
        assert_abs_diff_eq!(found[1], 9.0 * 0.64 - 6.0 * 0.512, epsilon = 1e-12);
    }

    /// A quadratic raised to a cubic has a leading coefficient that is zero or rounding.
    #[test]
    fn raised_quadratic_keeps_its_extremum() {
        let (a, b, c) = (0.1, 0.7, 0.3);
        let raised = [a, a + (b - a) * 2.0 / 3.0, c + (b - c) * 2.0 / 3.0, c];
        let [t, other] = extrema(raised);
        assert_abs_diff_eq!(t.unwrap(), 0.6, epsilon = 1e-12);
        assert_eq!(other, None);
    }

    #[test]
    fn straight_pieces_have_no_extremum() {
        let line = straight(Point2::new(1.0, 2.0), Point2::new(4.0, 8.0));
        assert_eq!(bounds(&line), Rect { x0: 1.0, y0: 2.0, x1: 4.0, y1: 8.0 });
        let mut found = Vec::new();
        for_each_x_at(&line, 5.0, |x| found.push(x));
        assert_eq!(found.len(), 1);
        assert_abs_diff_eq!(found[0], 2.5, epsilon = 1e-12);
    }
}
