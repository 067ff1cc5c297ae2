//! How far apart finishing passes may lie: from one number, the height of the ridge between them.
//! Knows tip heights, not the order of passes.

use super::outline::Axis;
use super::passes::Region;
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Surface};

/// Side steps allowed at the nodes of a coarse lattice, for passes along y and along x.
pub(super) struct SideSteps {
    lattice: Lattice,
    /// Step in x of passes along y, and step in y of passes along x; infinite outside the region.
    steps: Vec<(f64, f64)>,
    widest: f64,
    /// Tip heights at the nodes.
    tips: Grid,
}

/// Node distance of the map of tip heights that curvatures are read from: about one side step, the
/// scale on which neighbouring passes see each other (our own choice).
const MAP_STEP_MM: f64 = 1.5;

/// On hills narrower steps than needed are free of risk and wider ones gain little, so the widest
/// step is this much of the plane's; in the sharpest valleys no step is under the second share
/// (our own choice: there the cutter touches on both sides and no step helps).
const WIDEST_SHARE: f64 = 1.5;
const NARROWEST_SHARE: f64 = 0.25;

impl SideSteps {
    pub(super) fn new(surface: &Surface, shape: &Shape, scallop: f64, region: &Region) -> SideSteps {
        let ((x0, x1), (y0, y1)) = (region.extent(Axis::X), region.extent(Axis::Y));
        let rect = crate::frame::Rect { x0, y0, x1, y1 };
        let lattice = Lattice::covering(rect.grown(MAP_STEP_MM), MAP_STEP_MM);
        let tips = Grid::from_fn(lattice, |p| surface.reach(shape, p));
        let plane = plane_step(shape, scallop);
        let steps = (0..lattice.len())
            .map(|k| {
                let (i, j) = (k % lattice.nx, k / lattice.nx);
                let inside = region.contains(lattice.node(i, j));
                let local = inside.then(|| Local::at(&tips, i, j)).flatten();
                local.map_or((f64::INFINITY, f64::INFINITY), |l| l.steps(shape, scallop, plane))
            })
            .collect();
        SideSteps { lattice, steps, widest: WIDEST_SHARE * plane, tips }
    }

    /// About how high the tip stands at `p`; 0 outside the map.
    pub(super) fn tip(&self, p: Point2) -> f64 {
        self.tips.sample(p).unwrap_or(0.0)
    }

    /// Places of passes from `low` to `high`, each as far from the last as the tightest place
    /// between them allows.
    pub(super) fn places(&self, axis: Axis, low: f64, high: f64) -> Vec<f64> {
        let tightest = self.tightest(axis);
        let start = match axis {
            Axis::X => self.lattice.x0,
            Axis::Y => self.lattice.y0,
        };
        let mut places = vec![low];
        let mut here = low;
        while here < high {
            let mut step = self.widest;
            let first = ((here - start) / MAP_STEP_MM).floor().max(0.0) as usize;
            for (k, &s) in tightest.iter().enumerate().skip(first) {
                if start + k as f64 * MAP_STEP_MM > here + step {
                    break;
                }
                step = step.min(s);
            }
            here = (here + step).min(high);
            places.push(here);
        }
        places
    }

    /// The tightest step of each line of nodes across the passes.
    fn tightest(&self, axis: Axis) -> Vec<f64> {
        let (nx, ny) = (self.lattice.nx, self.lattice.ny);
        let mut out = vec![self.widest; if axis == Axis::X { nx } else { ny }];
        for (k, steps) in self.steps.iter().enumerate() {
            let (line, step) = match axis {
                Axis::X => (k % nx, steps.0),
                Axis::Y => (k / nx, steps.1),
            };
            if let Some(t) = out.get_mut(line) {
                *t = t.min(step);
            }
        }
        out
    }
}

/// Slopes and second derivatives of the tip heights at a node.
struct Local {
    gx: f64,
    gy: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Local {
    fn at(tips: &Grid, i: usize, j: usize) -> Option<Local> {
        let lat = tips.lattice;
        if i == 0 || j == 0 || i + 1 >= lat.nx || j + 1 >= lat.ny {
            return None;
        }
        let z = |di: usize, dj: usize| tips.at(i + di - 1, j + dj - 1);
        let d = lat.step;
        let local = Local {
            gx: (z(2, 1) - z(0, 1)) / (2.0 * d),
            gy: (z(1, 2) - z(1, 0)) / (2.0 * d),
            xx: (z(2, 1) - 2.0 * z(1, 1) + z(0, 1)) / (d * d),
            yy: (z(1, 2) - 2.0 * z(1, 1) + z(1, 0)) / (d * d),
            xy: (z(2, 2) - z(0, 2) - z(2, 0) + z(0, 0)) / (4.0 * d * d),
        };
        let sum = local.gx + local.gy + local.xx + local.yy + local.xy;
        sum.is_finite().then_some(local)
    }

    /// Steps in x and in y that leave ridges of `h`.
    ///
    /// A round cutter of radius R on tip heights with first form I and second form II (hills
    /// counted positive) leaves `h = s^2 / 8` in the metric `G = I / R - II`; between parallel
    /// lines the step across is then `sqrt(8 h G_along / det G)`. On a plane that is
    /// `sqrt(8 R h) cos(slope across)`. The parabola in `h = s^2 / 8 R` lies below the circle; the
    /// chord's own `s^2 = 8 R h - 4 h^2` takes its place.
    fn steps(&self, shape: &Shape, h: f64, plane: f64) -> (f64, f64) {
        let bounds = |s: f64| s.clamp(NARROWEST_SHARE * plane, WIDEST_SHARE * plane);
        let Some(r) = round_radius(shape) else {
            return (bounds(flat_step(self.gx, h, plane)), bounds(flat_step(self.gy, h, plane)));
        };
        let w = (1.0 + self.gx * self.gx + self.gy * self.gy).sqrt();
        let g_xx = (1.0 + self.gx * self.gx) / r + self.xx / w;
        let g_yy = (1.0 + self.gy * self.gy) / r + self.yy / w;
        let g_xy = self.gx * self.gy / r + self.xy / w;
        let det = g_xx * g_yy - g_xy * g_xy;
        let rise = 8.0 * h - 4.0 * h * h / r.max(h);
        let step = |along: f64| {
            // A metric that is not positive belongs to an edge the cutter rolls over: no ridge.
            if det > 0.0 && along > 0.0 { (rise * along / det).sqrt() } else { f64::INFINITY }
        };
        (bounds(step(g_yy)), bounds(step(g_xx)))
    }
}

/// The radius that shapes the ridges; none for a flat end.
pub(super) fn round_radius(shape: &Shape) -> Option<f64> {
    match *shape {
        Shape::Flat { .. } => None,
        Shape::Ball { radius } => Some(radius),
        // On a level place a bull-nose may step further by its flat; on a slope only its corner
        // shapes the ridge, so the corner alone is the safe rule.
        Shape::Bull { corner, .. } => Some(corner),
        Shape::Taper { tip, .. } => Some(tip),
    }
}

/// Side step on a level plane: `2 sqrt(2 R h - h^2)`, the chord at height h. A flat end leaves no
/// ridge there; its step is half the diameter, so that neighbours overlap (common practice, no
/// source).
pub(super) fn plane_step(shape: &Shape, h: f64) -> f64 {
    match round_radius(shape) {
        Some(r) => 2.0 * (2.0 * r * h.min(r) - h.min(r) * h.min(r)).sqrt(),
        None => shape.radius(),
    }
}

/// A flat end climbs a slope in stairs: their corners stand `s sin(slope)` off the surface.
fn flat_step(m: f64, h: f64, widest: f64) -> f64 {
    if m == 0.0 { widest } else { h * (1.0 + m * m).sqrt() / m.abs() }
}

/// Where the tip's axis may have to stand beyond the outline so that the edge itself is cut: how
/// far outside its contact the axis of `shape` stands on ground that falls outward with slope `m`.
pub(super) fn axis_beyond_contact(shape: &Shape, m: f64) -> f64 {
    if m > 0.0 { shape.contact_radius(m) } else { 0.0 }
}

/// Steepest fall outward along the outline, read a little inside it where the design is sure.
pub(super) fn steepest_fall(grid: &Grid, points: &[Point2], normals: &[crate::frame::Vector2]) -> f64 {
    const INSIDE_MM: [f64; 2] = [0.5, 1.5];
    points.iter().zip(normals).fold(0.0, |steepest, (p, n)| {
        let [near, far] = INSIDE_MM.map(|d| grid.sample(p - n * d));
        let fall = near.zip(far).map_or(0.0, |(near, far)| (far - near) / (INSIDE_MM[1] - INSIDE_MM[0]));
        f64::max(steepest, fall)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// R 3: step 0.5 leaves 0.0104 and step 1 leaves 0.04196; height 0.005 asks for step 0.346
    /// (workshop tables of scallop heights; the closed form gives all three).
    #[test]
    fn plane_steps_follow_the_chord() {
        let ball = Shape::ball(3.0).unwrap();
        assert_abs_diff_eq!(plane_step(&ball, 0.0104345), 0.5, epsilon = 1e-4);
        assert_abs_diff_eq!(plane_step(&ball, 0.04196), 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(plane_step(&ball, 0.005), 0.346, epsilon = 5e-4);
    }

    fn local(gx: f64, xx: f64) -> Local {
        Local { gx, gy: 0.0, xx, yy: 0.0, xy: 0.0 }
    }

    #[test]
    fn slopes_across_shorten_the_step_by_their_cosine() {
        let ball = Shape::ball(3.0).unwrap();
        let (h, plane) = (0.01, plane_step(&ball, 0.01));
        let (across, along) = local(1.0, 0.0).steps(&ball, h, plane);
        assert_abs_diff_eq!(across, plane * std::f64::consts::FRAC_1_SQRT_2, epsilon = 1e-12);
        assert_abs_diff_eq!(along, plane, epsilon = 1e-12);
    }

    /// A cylinder of radius 20 cut by a ball of 3 in passes along it, by plane trigonometry: centres
    /// on the circle 20 -+ 3 a step s apart; the ridge stands where two balls meet.
    #[test]
    fn valleys_and_hills_follow_the_circles() {
        let ball = Shape::ball(3.0).unwrap();
        let h = 0.02;
        for (centres, sign) in [(17.0, 1.0), (23.0, -1.0)] {
            let (step, _) = local(0.0, sign / centres).steps(&ball, h, plane_step(&ball, h));
            let half = (0.5 * step / centres).asin();
            let along = (9.0 - (centres * half.sin()).powi(2)).sqrt();
            let ridge = centres * half.cos() + sign * along;
            let left = (20.0 - ridge) * sign;
            assert_abs_diff_eq!(left, h, epsilon = 0.03 * h);
        }
    }
}
