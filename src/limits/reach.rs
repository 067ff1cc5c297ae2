//! What the finishing cutters are too round for: where the top is more hollow than their ends, and how
//! much would stand there after the best path. Knows cutters' forms, no paths.

use serde::Serialize;

use super::field::{Field, Seen};
use super::{Case, Finding, Severity, shop};
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, beyond_reach};

/// Places at which it is worked out what stays, mm apart: of a crease between them, 0.02 mm more at
/// most stays under a ball of 3 mm (0.26 step^2 / R, derived in `kernel`).
const STEP_MM: f64 = 0.5;
/// The map takes the most of so many of them each way.
const MAPPED: usize = 4;
/// Less than this is no more than the ridges of a usual finish, mm. Shop's own choice.
const LEFT_MM: f64 = 0.05;

/// What would stay above the asked surface.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Unreached {
    /// The most of it, straight up, mm.
    pub most_mm: f64,
    /// Where, foot frame, mm.
    pub at_mm: [f64; 2],
    /// Over so much of the footbed, seen from above, more than 0.05 mm stays, mm2.
    pub area_mm2: f64,
    /// Middle of the map's first square, foot frame, mm.
    pub first_mm: [f64; 2],
    /// Side of a square, mm.
    pub step_mm: f64,
    /// Squares in a row, rows.
    pub size: [usize; 2],
    /// The most that stays in each square, mm, row by row from the heel: around all squares in which
    /// more than 0.05 mm stays.
    pub left_mm: Vec<f64>,
}

/// The tightest hollow against the cutter that goes into the tightest, and what stays.
pub(super) fn too_hollow(case: &Case, field: &Field) -> Option<Finding> {
    let cutter = shop::finest(case.make);
    let radius = cutter.shape.hollow_radius();
    let curvature = |s: &Seen| hollow_curvature(case, s);
    let tightest = field.seen.iter().max_by(|a, b| curvature(a).total_cmp(&curvature(b)))?;
    let hollow = 1.0 / curvature(tightest).max(1e-9);
    if hollow >= radius {
        return None;
    }
    let unreached = unreached(case);
    let (stays, at) = match &unreached {
        Some(left) => {
            let over = format!("more than {LEFT_MM} mm over {:.0} mm2", left.area_mm2);
            (format!("{:.2} mm stays at most, {over}", left.most_mm), Point2::from(left.at_mm))
        }
        None => (format!("less than {LEFT_MM} mm stays there"), tightest.at),
    };
    let message = format!(
        "the surface is hollow to a radius of {hollow:.1} mm; cutter {} has {radius:.1} mm: {stays}",
        cutter.name
    );
    let advice = match (2.0 * hollow).floor() {
        0.0 => "no ball cutter reaches it: ask a shallower or wider cup, or lower arches".to_string(),
        most => format!("finish with a ball cutter of {most} mm diameter or less, or sand what stays"),
    };
    let finding = Finding::new("hollow_radius", Severity::Caution, case.order.side, message, advice)
        .numbers(hollow, radius, "mm")
        .place(at, case.footbed.places.foot_length_mm);
    Some(Finding { unreached: unreached.map(Box::new), ..finding })
}

/// What an ideal path of the finishing cutter and of the rest cutter leaves; `None` where that is nowhere
/// more than [`LEFT_MM`].
fn unreached(case: &Case) -> Option<Unreached> {
    let (make, footbed) = (case.make, case.footbed);
    let shapes: Vec<Shape> =
        [Some(&make.finishing), make.rest.as_ref()].into_iter().flatten().map(|c| c.shape).collect();
    // The sheet goes on beyond the outline, as far as a cutter that stands on the edge overhangs it.
    let overhang = shapes.iter().map(Shape::radius).fold(0.0, f64::max) + 2.0 * STEP_MM;
    let lattice = Lattice::covering(footbed.outline.bounds().grown(overhang), STEP_MM);
    let top = footbed.top.sample(lattice);
    let inside: Vec<bool> =
        (0..lattice.len()).map(|k| footbed.outline.contains(lattice.node(k % lattice.nx, k / lattice.nx))).collect();
    let mut left = beyond_reach(&top, &inside, &shapes)?;
    left.z.iter_mut().zip(&inside).filter(|(_, inside)| !**inside).for_each(|(z, _)| *z = 0.0);
    mapped(&left)
}

fn mapped(left: &Grid) -> Option<Unreached> {
    let Lattice { x0, y0, step, nx, ny } = left.lattice;
    let (most_at, most_mm) =
        left.z.iter().enumerate().fold((0, 0.0), |best, (k, &z)| if z > best.1 { (k, z) } else { best });
    if most_mm <= LEFT_MM {
        return None;
    }
    let stays: Vec<(usize, usize)> =
        (0..left.z.len()).filter(|&k| left.z[k] > LEFT_MM).map(|k| (k % nx / MAPPED, k / nx / MAPPED)).collect();
    let span = |all: &dyn Fn(&(usize, usize)) -> usize| {
        let (lo, hi) = stays.iter().map(all).fold((usize::MAX, 0), |(lo, hi), at| (lo.min(at), hi.max(at)));
        (lo, hi + 1 - lo.min(hi))
    };
    let ((i0, columns), (j0, rows)) = (span(&|at| at.0), span(&|at| at.1));
    let square = |i: usize, j: usize| {
        let line = |j: usize| left.z.get(j * nx + i * MAPPED..j * nx + ((i + 1) * MAPPED).min(nx)).unwrap_or_default();
        let most = (j * MAPPED..((j + 1) * MAPPED).min(ny)).flat_map(line).fold(0.0, |most: f64, z| most.max(*z));
        (1000.0 * most).round() / 1000.0
    };
    let at = left.lattice.node(most_at % nx, most_at / nx);
    let half = 0.5 * (MAPPED - 1) as f64 * step;
    let corner = |origin: f64, n: usize| origin + (n * MAPPED) as f64 * step + half;
    Some(Unreached {
        most_mm,
        at_mm: [at.x, at.y],
        area_mm2: stays.len() as f64 * step * step,
        first_mm: [corner(x0, i0), corner(y0, j0)],
        step_mm: step * MAPPED as f64,
        size: [columns, rows],
        left_mm: (0..columns * rows).map(|k| square(i0 + k % columns, j0 + k / columns)).collect(),
    })
}

/// Greatest principal curvature, positive where the surface is hollow seen from above, 1/mm
/// (do Carmo 1976, sec. 3-3, for the graph of a function; from memory).
fn hollow_curvature(case: &Case, s: &Seen) -> f64 {
    let [zxx, zxy, zyy] = case.footbed.top.second(s.at);
    let (p, q) = (s.grad.x, s.grad.y);
    let w = (1.0 + p * p + q * q).sqrt();
    let mean = ((1.0 + q * q) * zxx - 2.0 * p * q * zxy + (1.0 + p * p) * zyy) / (2.0 * w * w * w);
    let gauss = (zxx * zyy - zxy * zxy) / (w * w * w * w);
    mean + (mean * mean - gauss).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Rect;
    use approx::assert_abs_diff_eq;

    /// A ball of radius R in a groove of two walls at 45 degrees stands R (sqrt 2 - 1) above its
    /// bottom (closed form), and touches the walls R / sqrt 2 out.
    #[test]
    fn a_ball_leaves_what_a_groove_is_too_sharp_for() {
        let lattice = Lattice::covering(Rect { x0: -12.0, y0: 0.0, x1: 12.0, y1: 20.0 }, 0.5);
        let groove = Grid::from_fn(lattice, |p: Point2| p.x.abs());
        let inside = vec![true; lattice.len()];
        let left = mapped(&beyond_reach(&groove, &inside, &[Shape::ball(3.0).unwrap()]).unwrap()).unwrap();
        assert_abs_diff_eq!(left.most_mm, 3.0 * (2.0_f64.sqrt() - 1.0), epsilon = 0.03);
        assert_abs_diff_eq!(left.at_mm[0], 0.0, epsilon = 1e-9);
        let width = left.area_mm2 / 20.5;
        assert!((2.0..=2.0 * 3.0 / 2.0_f64.sqrt() + 0.5).contains(&width), "{width}");
        assert!(left.size[0] <= 3 && left.size[1] >= 10, "{:?}", left.size);
        assert_eq!(left.left_mm.len(), left.size[0] * left.size[1]);
        assert!(left.left_mm.iter().any(|&z| (z - left.most_mm).abs() < 1e-3));
        let small = beyond_reach(&groove, &inside, &[Shape::ball(0.1).unwrap()]).unwrap();
        assert!(mapped(&small).is_none());
    }
}
