//! Finds a foot in points of any pose: which way is up, where the toes are, which side it is. Every way to
//! lie on a floor is tried, and seen from below held against what a sole looks like.

use rayon::prelude::*;

use super::likeness::View;
use super::rest::{across, floor_under};
use crate::frame::{Point3, Side, Vector3};

/// A way the foot may lie: three unit vectors, right-handed, and how unlike a sole the view from below is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lying {
    /// To the right when the toes point ahead, seen from above.
    pub(super) right: Vector3,
    /// To the toes.
    pub(super) ahead: Vector3,
    /// Up.
    pub(super) up: Vector3,
    /// As a left and as a right foot, thousandths of the length.
    pub(super) unlike: [f64; 2],
}

impl Lying {
    pub(super) fn side(&self) -> Side {
        if self.unlike[0] <= self.unlike[1] { Side::Left } else { Side::Right }
    }

    /// How much less it looks like the one side's sole than like the other's, 0 to 1.
    pub(super) fn side_margin(&self) -> f64 {
        let [left, right] = self.unlike;
        (left - right).abs() / left.max(right).max(f64::MIN_POSITIVE)
    }

    pub(super) fn least_unlike(&self) -> f64 {
        self.unlike[0].min(self.unlike[1])
    }
}

/// Up to this height the outline of a foot is that of its sole, mm: above the bulge of heel and ball, below
/// ankle and calf.
const LOW_MM: f64 = 38.0;
/// Directions that are tried as up: every 8 degrees. From there the body settles by itself.
const DIRECTIONS: usize = 640;
/// Turns about the long axis of what lies low that are tried, degrees: where an ankle or a bent toe pulls
/// that axis aside.
const TURNS_DEG: [f64; 9] = [0.0, -3.0, 3.0, -6.0, 6.0, -9.0, 9.0, -13.0, 13.0];
/// Lengths and proportions that are looked at, wider than those of feet, since the box is not yet the
/// foot's own.
const LENGTHS_MM: [f64; 2] = [120.0, 380.0];
const PROPORTIONS: [f64; 2] = [0.26, 0.58];
/// Floors nearer to one another than this are one, as a cosine: 1.5 degrees.
const SAME_FLOOR: f64 = 0.999_66;

/// The ways to lie, the one most like a sole first; none when nothing has a foot's size.
pub(super) fn lyings(points: &[Point3]) -> Vec<Lying> {
    let settled: Vec<Option<Vector3>> =
        (0..DIRECTIONS).into_par_iter().map(|k| settled(points, direction(k))).collect();
    let mut floors: Vec<Vector3> = vec![];
    for up in settled.into_iter().flatten().chain((0..DIRECTIONS).map(direction)) {
        if !floors.iter().any(|other| other.dot(&up) > SAME_FLOOR) {
            floors.push(up);
        }
    }
    let mut found: Vec<Lying> = floors.par_iter().flat_map_iter(|&up| on_floor(points, up)).collect();
    found.sort_by(|a, b| a.least_unlike().total_cmp(&b.least_unlike()));
    found
}

/// Evenly spread directions on the ball (Fibonacci lattice).
fn direction(k: usize) -> Vector3 {
    let z = 1.0 - (2 * k + 1) as f64 / DIRECTIONS as f64;
    let turn = k as f64 * std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let r = (1.0 - z * z).sqrt();
    Vector3::new(r * turn.cos(), r * turn.sin(), z)
}

/// The floor on which the body comes to rest when the middle of what lies low is loaded.
fn settled(points: &[Point3], mut up: Vector3) -> Option<Vector3> {
    for _ in 0..2 {
        let (ex, ey) = across(&up);
        let low = low(points, &ex, &ey, &up);
        let [x, y] = [0, 1].map(|k| extent(&low, k));
        if x[0] > x[1] {
            return None;
        }
        let load = Point3::from(ex * (0.5 * (x[0] + x[1])) + ey * (0.5 * (y[0] + y[1])));
        up = floor_under(points, up, load)?;
    }
    Some(up)
}

/// What lies low, in the axes given, heights above the lowest.
fn low(points: &[Point3], ex: &Vector3, ey: &Vector3, up: &Vector3) -> Vec<[f64; 3]> {
    let floor = points.iter().map(|p| p.coords.dot(up)).fold(f64::INFINITY, f64::min);
    let seen = points.iter().map(|p| [p.coords.dot(ex), p.coords.dot(ey), p.coords.dot(up) - floor]);
    seen.filter(|p| p[2] < LOW_MM).collect()
}

fn extent(points: &[[f64; 3]], axis: usize) -> [f64; 2] {
    points.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], p| [a.min(p[axis]), b.max(p[axis])])
}

/// The ways to lie on one floor: with the toes to either end.
fn on_floor(points: &[Point3], up: Vector3) -> Vec<Lying> {
    let (ex, ey) = across(&up);
    let low = low(points, &ex, &ey, &up);
    let Some(turn) = long_axis(&low) else { return vec![] };
    let mut best: [Option<Lying>; 2] = [None, None];
    for by in TURNS_DEG {
        let (sin, cos) = (turn + by.to_radians()).sin_cos();
        let (ahead, right) = (ex * cos + ey * sin, ex * sin - ey * cos);
        let turned: Vec<[f64; 3]> =
            low.iter().map(|p| [p[0] * sin - p[1] * cos, p[0] * cos + p[1] * sin, p[2]]).collect();
        let [x, y] = [0, 1].map(|k| extent(&turned, k));
        let (width_mm, length_mm) = (x[1] - x[0], y[1] - y[0]);
        let fits = (LENGTHS_MM[0]..LENGTHS_MM[1]).contains(&length_mm)
            && (PROPORTIONS[0]..PROPORTIONS[1]).contains(&(width_mm / length_mm));
        if !fits {
            continue;
        }
        let view = View::of(&turned, x, y);
        let other = turned_round(&view);
        for (k, (view, sign)) in [(view, 1.0), (other, -1.0)].into_iter().enumerate() {
            let unlike = Side::BOTH.map(|side| view.unlike(side));
            let lying = Lying { right: right * sign, ahead: ahead * sign, up, unlike };
            if best[k].is_none_or(|best| lying.least_unlike() < best.least_unlike()) {
                best[k] = Some(lying);
            }
        }
    }
    best.into_iter().flatten().collect()
}

/// The same view with toes and heel exchanged.
fn turned_round(view: &View) -> View {
    let mut heights = view.heights;
    heights.reverse();
    heights.iter_mut().for_each(|row| row.reverse());
    View { heights, ..*view }
}

/// The direction of greatest spread, rad.
fn long_axis(low: &[[f64; 3]]) -> Option<f64> {
    if low.len() < 30 {
        return None;
    }
    let n = low.len() as f64;
    let [mx, my] = [0, 1].map(|k| low.iter().map(|p| p[k]).sum::<f64>() / n);
    let (xx, yy, xy) = low.iter().fold((0.0, 0.0, 0.0), |(xx, yy, xy), p| {
        let (dx, dy) = (p[0] - mx, p[1] - my);
        (xx + dx * dx, yy + dy * dy, xy + dx * dy)
    });
    Some(0.5 * (2.0 * xy).atan2(xx - yy))
}
