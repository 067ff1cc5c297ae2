//! How a body comes to rest on a floor when it is loaded at one place: on the facet of its convex hull
//! below that place. Knows no feet.

use crate::frame::{Point3, Vector3};

/// More exchanges than these do not happen: each lowers the floor, and a dozen are usual.
const MOST_EXCHANGES: usize = 200;
/// A point this far below the floor is rounding, mm.
const BELOW_MM: f64 = 1e-7;

/// The upward normal of the floor on which `points` rest when they are loaded at `load`, with `up`
/// pointing up at first; `None` when nothing lies around the load. The facet is closed in on from above:
/// three points around the load span a floor, the point farthest below it takes the place of one of the
/// three so that the load stays between them, and so on.
pub(super) fn floor_under(points: &[Point3], up: Vector3, load: Point3) -> Option<Vector3> {
    let (ex, ey) = across(&up);
    let flat = |p: &Point3| {
        let d = p - load;
        [d.dot(&ex), d.dot(&ey), d.dot(&up)]
    };
    let around: Vec<[f64; 3]> = points.iter().map(flat).collect();
    let far = around.iter().fold(1.0, |far: f64, p| far.max(p[0].abs()).max(p[1].abs()).max(p[2].abs()));
    // Three corners far out and high up, to be replaced.
    let mut corners =
        [[-8.0 * far, -8.0 * far, 4.0 * far], [8.0 * far, -8.0 * far, 4.0 * far], [0.0, 12.0 * far, 4.0 * far]];
    for _ in 0..MOST_EXCHANGES {
        let [a, b, c] = plane(&corners)?;
        let below = |p: &[f64; 3]| p[2] - (a * p[0] + b * p[1] + c);
        let (lowest, depth) =
            around.iter().map(|p| (p, below(p))).fold((None, -BELOW_MM), |(at, least), (p, depth)| {
                if depth < least { (Some(*p), depth) } else { (at, least) }
            });
        let Some(lowest) = lowest.filter(|_| depth < -BELOW_MM) else {
            let real = corners.iter().all(|p| p[0].abs() <= far && p[1].abs() <= far);
            return real.then(|| (up - ex * a - ey * b).normalize());
        };
        let swapped = (0..3).map(|k| {
            let mut next = corners;
            next[k] = lowest;
            next
        });
        corners = swapped.max_by(|p, q| holds(p).total_cmp(&holds(q)))?;
    }
    None
}

/// Two unit vectors square to `up` and to one another, right-handed with it.
pub(super) fn across(up: &Vector3) -> (Vector3, Vector3) {
    let aside = if up.x.abs() < 0.6 { Vector3::x() } else { Vector3::y() };
    let ex = (aside - up * aside.dot(up)).normalize();
    (ex, up.cross(&ex))
}

/// z = a x + b y + c through three points.
fn plane(p: &[[f64; 3]; 3]) -> Option<[f64; 3]> {
    let [u, v] = [1, 2].map(|k| [p[k][0] - p[0][0], p[k][1] - p[0][1], p[k][2] - p[0][2]]);
    let area = u[0] * v[1] - u[1] * v[0];
    if area == 0.0 {
        return None;
    }
    let a = (u[2] * v[1] - u[1] * v[2]) / area;
    let b = (u[0] * v[2] - u[2] * v[0]) / area;
    Some([a, b, p[0][2] - a * p[0][0] - b * p[0][1]])
}

/// How well the origin lies between three corners: the least of its three shares, negative outside.
fn holds(p: &[[f64; 3]; 3]) -> f64 {
    let cross = |a: &[f64; 3], b: &[f64; 3]| a[0] * b[1] - a[1] * b[0];
    let shares = [cross(&p[1], &p[2]), cross(&p[2], &p[0]), cross(&p[0], &p[1])];
    let area: f64 = shares.iter().sum();
    if area == 0.0 { f64::NEG_INFINITY } else { shares.iter().map(|s| s / area).fold(f64::INFINITY, f64::min) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stool of three legs under a board rests on its legs wherever it is loaded between them.
    #[test]
    fn a_stool_rests_on_its_legs() {
        let p = Point3::new;
        let points =
            [p(0., 0., 0.), p(200., 0., 2.), p(90., 150., 1.), p(0., 0., 300.), p(250., 160., 260.), p(100., 50., 12.)];
        let up = Vector3::new(0.1, -0.05, 1.0).normalize();
        let floor = floor_under(&points, up, p(95., 50., 40.)).unwrap();
        let normal = (points[1] - points[0]).cross(&(points[2] - points[0])).normalize();
        assert!((floor - normal).norm() < 1e-9, "{floor} {normal}");
        assert_eq!(floor_under(&points, up, p(900., 50., 40.)), None, "beside the stool nothing carries");
    }
}
