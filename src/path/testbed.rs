//! A made-up footbed for tests: cupped heel, arch, flat fore part, with a foot-like outline; and a
//! dumb stock that moves are carried out on.

use std::sync::LazyLock;

use super::outline::Outline;
use super::{Cutting, Motion, Target, Toolpath};
use crate::frame::{Point2, Point3, Rect};
use crate::grid::{Grid, Lattice};
use crate::kernel::Shape;
use crate::profile::Cutter;
use crate::ticket::{Hold, Passes, Sense, Tabs};

pub(super) const MARGIN: f64 = 20.0;

/// Half widths and centre of the outline at share `t` of the length.
fn half_width(t: f64) -> f64 {
    let (heel, waist, ball) = (32.0, 30.0, 46.0);
    let bump = |at: f64, width: f64| (-((t - at) / width).powi(2)).exp();
    (waist + (heel - waist) * bump(0.15, 0.15) + (ball - waist) * bump(0.7, 0.22)).min(ball)
}

/// 265 x 92 mm, `MARGIN` away from the blank's corner.
pub(super) fn outline() -> Vec<Point2> {
    let length = 265.0;
    (0..720)
        .map(|k| {
            let a = 0.5 * f64::from(k).to_radians();
            let t = 0.5 - 0.5 * a.cos();
            // The ends are rounded by the sine.
            let end = 1.0 - (2.0 * t - 1.0).abs().powi(5);
            let x = 46.0 + a.sin().signum() * half_width(t) * end.max(0.0).sqrt();
            Point2::new(MARGIN + x, MARGIN + length * t)
        })
        .collect()
}

/// Height over the bed at a place in the piece.
fn height(p: Point2) -> f64 {
    let (x, y) = (p.x - MARGIN - 46.0, p.y - MARGIN);
    let t = (y / 265.0).clamp(0.0, 1.0);
    let fade = |from: f64, to: f64| {
        let u = ((t - from) / (to - from)).clamp(0.0, 1.0);
        1.0 - u * u * (3.0 - 2.0 * u)
    };
    let side = (x / 33.0).powi(2).min(2.0);
    let back = ((0.12 - t) / 0.12).max(0.0).powi(2);
    let cup = 12.0 * (side * fade(0.2, 0.6) + back).min(1.3);
    let arch = 9.0 * (-((x - 24.0) / 14.0).powi(2) - ((y - 110.0) / 45.0).powi(2)).exp();
    3.0 + 2.0 * fade(0.3, 0.8) + cup + arch
}

/// The footbed in a blank of 132 x 305 x 26 mm on a grid of this step.
pub(super) fn footbed(step: f64) -> Target {
    /// The finer one is asked for by most tests.
    static HALF: LazyLock<Target> = LazyLock::new(|| make_footbed(0.5));
    if step == 0.5 { HALF.clone() } else { make_footbed(step) }
}

fn make_footbed(step: f64) -> Target {
    let blank = Rect { x0: 0.0, y0: 0.0, x1: 92.0 + 2.0 * MARGIN, y1: 265.0 + 2.0 * MARGIN };
    let edge = Outline::new(&outline()).unwrap();
    // Outside the outline the height of the nearest edge point goes on as a shelf.
    let nearest = |p: Point2| {
        let by_distance = |a: &&Point2, b: &&Point2| (*a - p).norm_squared().total_cmp(&(*b - p).norm_squared());
        edge.points.iter().min_by(by_distance).copied().unwrap()
    };
    let lattice = Lattice::covering(blank, step);
    let surface = Grid::from_fn(lattice, |p| height(if edge.contains(p) { p } else { nearest(p) }));
    Target { surface, outline: outline(), blank, blank_top_mm: 26.0, safe_z_mm: 34.0 }
}

/// A tilted plane, 60 x 80 mm, in a blank 20 mm larger all round.
pub(super) fn plane(gx: f64, gy: f64) -> Target {
    let blank = Rect { x0: 0.0, y0: 0.0, x1: 100.0, y1: 120.0 };
    let surface = Grid::from_fn(Lattice::covering(blank, 0.5), |p| 2.0 + gx * p.x + gy * p.y);
    let (_, high) = surface.range();
    let outline = [(20.0, 20.0), (80.0, 20.0), (80.0, 100.0), (20.0, 100.0)].map(|(x, y)| Point2::new(x, y)).to_vec();
    Target { surface, outline, blank, blank_top_mm: high + 1.0, safe_z_mm: high + 10.0 }
}

/// A cutter with this form and a common shank.
pub(super) fn cutter(name: &str, shape: Shape) -> Cutter {
    Cutter {
        name: name.into(),
        shape,
        flutes: 2,
        flute_length_mm: 30.0,
        shank_diameter_mm: 6.0,
        stickout_mm: 40.0,
        holder_diameter_mm: 40.0,
    }
}

/// Foam: 10 mm flat, 6 mm ball, 6 mm flat.
pub(super) fn cutting(passes: Passes) -> Cutting {
    Cutting {
        roughing: cutter("flat 10", Shape::Flat { radius: 5.0 }),
        finishing: cutter("ball 6", Shape::Ball { radius: 3.0 }),
        perimeter: cutter("flat 6", Shape::Flat { radius: 3.0 }),
        spindle_rpm: 14_500.0,
        feed_mm_min: 2000.0,
        plunge_mm_min: 600.0,
        step_down_mm: 6.0,
        rough_step_share: 0.45,
        allowance_mm: 0.8,
        scallop_mm: 0.08,
        point_tolerance_mm: 0.01,
        gouge_mm: 0.003,
        passes,
        sense: Sense::Climb,
        hold: Hold::Tabs(Tabs { count: 7, length_mm: 6.0, thickness_mm: 1.2 }),
        bed_cut_mm: 0.0,
        ramp_deg: 10.0,
    }
}

/// What holds for every path: it begins and ends at the safe height, rapids go up or down or
/// sideways at the safe height, numbers are finite thousandths, and no feed or rate downward is
/// above what was allowed.
pub(super) fn check_moves(path: &Toolpath, target: &Target, cutting: &Cutting) {
    let (first, last) = (path.moves.first().unwrap(), path.moves.last().unwrap());
    assert_eq!((first.motion, first.to.z, last.to.z), (Motion::Rapid, target.safe_z_mm, target.safe_z_mm));
    for m in &path.moves {
        for v in m.to.iter() {
            assert!(v.is_finite() && (v * 1000.0 - (v * 1000.0).round()).abs() < 1e-6, "{m:?}");
        }
    }
    for pair in path.moves.windows(2) {
        let (from, to) = (pair[0].to, pair[1].to);
        assert!(from != to || matches!(pair[1].motion, Motion::Wait(_)), "a move that goes nowhere");
        match pair[1].motion {
            Motion::Rapid => {
                let sideways = from.xy() != to.xy();
                assert!(!sideways || (from.z == target.safe_z_mm && to.z == target.safe_z_mm), "{from} to {to}");
            }
            Motion::Feed(feed) => {
                assert!(feed > 0.0 && feed <= cutting.feed_mm_min);
                let down = feed * (from.z - to.z) / (to - from).norm();
                assert!(down <= cutting.plunge_mm_min * 1.000001, "{down} from {from} to {to}");
            }
            Motion::Wait(seconds) => assert!(seconds > 0.0 && from == to),
        }
    }
}

/// Stock as columns on a lattice of 1 mm.
pub(super) struct Stock {
    pub(super) columns: Grid,
}

impl Stock {
    pub(super) fn blank(target: &Target) -> Stock {
        Stock { columns: Grid::filled(Lattice::covering(target.blank, 1.0), target.blank_top_mm) }
    }

    /// Carries out a path; returns the greatest depth that a feed move took off a column, and the
    /// greatest that a rapid would have.
    pub(super) fn carry_out(&mut self, path: &Toolpath) -> (f64, f64) {
        let (mut deepest, mut struck) = (0.0f64, 0.0f64);
        for pair in path.moves.windows(2) {
            let taken = self.sweep(&path.cutter.shape, pair[0].to, pair[1].to);
            match pair[1].motion {
                Motion::Rapid => struck = struck.max(taken),
                Motion::Feed(_) => deepest = deepest.max(taken),
                Motion::Wait(_) => {}
            }
        }
        (deepest, struck)
    }

    fn sweep(&mut self, shape: &Shape, from: Point3, to: Point3) -> f64 {
        // Per column the depth of the whole move counts: it is what one engagement takes.
        let lat = self.columns.lattice;
        let r = shape.radius();
        let n = ((to - from).norm() / 0.25).ceil().max(1.0) as usize;
        let mut taken = 0.0f64;
        for k in 0..=n {
            let p = from + (to - from) * (k as f64 / n as f64);
            let span = |c: f64, start: f64, n: usize| {
                ((c - r - start).ceil().max(0.0) as usize, ((c + r - start).floor().max(-1.0) as usize).min(n - 1))
            };
            let ((i0, i1), (j0, j1)) = (span(p.x, lat.x0, lat.nx), span(p.y, lat.y0, lat.ny));
            for j in j0..=j1 {
                for i in i0..=i1 {
                    let cut = p.z + shape.height_at((lat.node(i, j) - p.xy()).norm());
                    let column = &mut self.columns.z[j * lat.nx + i];
                    if cut < *column {
                        taken = taken.max(*column - cut);
                        *column = cut;
                    }
                }
            }
        }
        taken
    }
}
