//! How far neighbouring passes may lie apart, in every direction and at every place: the scallop
//! metric, read from a map of tip heights, in which neighbours are one apart. And where the tip has
//! to go at all. Knows tip heights, not passes.
//!
//! A round cutter whose surface has the second form B where it touches, with tip heights of first
//! form I and second form II (valleys counted positive), leaves ridges of `h = s^2 / 8` between passes
//! a distance s apart in the metric `G = B + II`. (The surface cut has the form A there; the tip moves
//! by `B^-1 (B - A)` of what the contact moves by, so the tip's form is `II = A (B - A)^-1 B`, and the
//! gap `x'(B - A) x / 2` between cutter and surface reads `G = B (B - A)^-1 B = B + II` in the tip's own
//! displacements. Derived here; for a ball, B = I / R, known since Faux and Pratt 1979 [from memory].)

use rayon::prelude::*;

use super::form::{Form, distances};
use super::outline::{Axis, Outline};
use super::sidestep::{flat_step, plane_step, round_radius};
use crate::frame::{Point2, Rect, Vector2};
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Surface};

/// The metric at the nodes of a coarse lattice.
pub(super) struct Metric {
    pub(super) lattice: Lattice,
    /// What is known of each node; none where no tip height was asked for.
    nodes: Vec<Option<Node>>,
    /// Tip heights at the nodes.
    tips: Grid,
    /// Widest step that any pass takes.
    pub(super) widest: f64,
}

/// What is known of a node.
#[derive(Clone, Copy, Debug)]
struct Node {
    /// Neighbouring passes are one apart in it.
    form: Form,
    /// The same before it is kept within bounds.
    bare: Form,
    /// Slopes of the tip heights.
    slope: Vector2,
    /// Of a flat end, ridge height and widest step: it climbs in stairs, which are no parabolas.
    stairs: Option<(f64, f64)>,
}

/// Node distance of the map as a share of the plane's step, and its bounds, mm: the scale on which
/// neighbouring passes see each other, fine enough for a cup's wall, coarse enough to stay quick
/// (our own choice).
const MAP_SHARE: f64 = 0.75;
const MAP_STEP_MM: [f64; 2] = [0.4, 1.5];

/// On hills narrower steps than needed are free of risk and wider ones gain little, so the widest
/// step is this much of the plane's; in the sharpest valleys no step is under the second share
/// (our own choice: there the cutter touches on both sides and no step helps).
const WIDEST_SHARE: f64 = 1.5;
const NARROWEST_SHARE: f64 = 0.25;

impl Metric {
    /// Over everything that lies within `reach` mm of the outline and inside `clip`.
    pub(super) fn new(
        surface: &Surface,
        shape: &Shape,
        scallop: f64,
        outline: &Outline,
        reach: f64,
        clip: Rect,
    ) -> Metric {
        let plane = plane_step(shape, scallop);
        let step = (MAP_SHARE * plane).clamp(MAP_STEP_MM[0], MAP_STEP_MM[1]);
        let rect = outline.rect().grown(reach);
        let lattice = Lattice::covering(rect.grown(step), step);
        let asked = near(&lattice, outline, reach + step, clip);
        let mut tips = Grid::filled(lattice, f64::NAN);
        tips.z.par_chunks_mut(lattice.nx).zip(asked.par_chunks(lattice.nx)).enumerate().for_each(
            |(j, (row, asked))| {
                for (i, (z, asked)) in row.iter_mut().zip(asked).enumerate() {
                    if *asked {
                        *z = surface.reach(shape, lattice.node(i, j));
                    }
                }
            },
        );
        let nodes = (0..lattice.len())
            .map(|k| Bend::at(&tips, k % lattice.nx, k / lattice.nx).and_then(|b| b.node(shape, scallop, lattice.step)))
            .collect();
        Metric { lattice, nodes, tips, widest: widest(shape, plane) }
    }

    /// About how high the tip stands at `p`; 0 outside the map.
    pub(super) fn tip(&self, p: Point2) -> f64 {
        self.tips.sample(p).filter(|z| z.is_finite()).unwrap_or(0.0)
    }

    /// The forms of the nodes.
    pub(super) fn forms(&self) -> Vec<Option<Form>> {
        self.nodes.iter().map(|node| node.map(|n| n.form)).collect()
    }

    /// The form of the node nearest to `p`.
    pub(super) fn form(&self, p: Point2) -> Option<Form> {
        let l = &self.lattice;
        let (i, j) = (((p.x - l.x0) / l.step).round(), ((p.y - l.y0) / l.step).round());
        let on = i >= 0.0 && j >= 0.0 && i < l.nx as f64 && j < l.ny as f64;
        let node = on.then(|| j as usize * l.nx + i as usize).and_then(|k| self.nodes.get(k).copied().flatten());
        node.map(|n| n.form)
    }

    /// How far outside the outline the cutter touches when its tip rests over each node, mm; negative
    /// inside. Large where that is further than `reach`.
    pub(super) fn touches_outside(&self, shape: &Shape, scallop: f64, outline: &Outline, reach: f64) -> Grid {
        let l = self.lattice;
        let band = reach + 2.0 * l.step;
        let inside = inside(&l, outline);
        let away = distances(&l, std::slice::from_ref(&outline.points), band, |_| Some(Form::RULER));
        let signed = |(d, inside): (&f64, &bool)| if *inside { -d.min(band) } else { d.min(band) };
        let rim = Grid { lattice: l, z: away.iter().zip(&inside).map(signed).collect() };
        let touches = |k: usize| {
            let at = l.node(k % l.nx, k / l.nx);
            let node = self.nodes[k].as_ref()?;
            // A flat end touches nearly level ground anywhere: it goes out as far as it may have to.
            if let Shape::Flat { radius } = *shape {
                return rim.sample(at).map(|d| d - radius);
            }
            rim.sample(at + contact(shape, scallop, node.slope))
        };
        Grid { lattice: l, z: (0..l.len()).map(|k| touches(k).unwrap_or(band)).collect() }
    }

    /// Places of parallel passes from `low` to `high`, each as far from the last as the tightest of
    /// the nodes that are `within` allows between them.
    pub(super) fn places(&self, axis: Axis, within: &[bool], low: f64, high: f64) -> Vec<f64> {
        let tightest = self.tightest(axis, within);
        let (start, step) = (if axis == Axis::X { self.lattice.x0 } else { self.lattice.y0 }, self.lattice.step);
        let mut places = vec![low];
        let mut here = low;
        while here < high {
            let mut wide = self.widest;
            let first = ((here - start) / step).floor().max(0.0) as usize;
            for (k, &s) in tightest.iter().enumerate().skip(first) {
                if start + k as f64 * step > here + wide {
                    break;
                }
                wide = wide.min(s);
            }
            here = (here + wide).min(high);
            places.push(here);
        }
        places
    }

    /// The tightest step of each line of nodes across the passes.
    pub(super) fn tightest(&self, axis: Axis, within: &[bool]) -> Vec<f64> {
        let (nx, ny) = (self.lattice.nx, self.lattice.ny);
        let mut out = vec![self.widest; if axis == Axis::X { nx } else { ny }];
        for (k, node) in self.nodes.iter().enumerate().filter(|(k, _)| within[*k]) {
            let Some(node) = node else { continue };
            let line = if axis == Axis::X { k % nx } else { k / nx };
            out[line] = out[line].min(node.step(axis));
        }
        out
    }

    /// Least length of passes per area seen from above at each node, over all directions: passes along
    /// the greater axis of the form.
    pub(super) fn least_density(&self, k: usize) -> f64 {
        let Some(node) = self.nodes.get(k).copied().flatten() else { return 0.0 };
        // Relative to lengths on the tip's surface, and per its area.
        let (g, w2) = (node.slope, 1.0 + node.slope.norm_squared());
        let first = Form { xx: 1.0 + g.x * g.x, xy: g.x * g.y, yy: 1.0 + g.y * g.y };
        let (trace, det) = (relative_trace(node.bare, first), node.bare.det() / first.det());
        let least = 0.5 * trace - (0.25 * trace * trace - det).max(0.0).sqrt();
        least.max(0.0).sqrt() * w2.sqrt()
    }
}

impl Node {
    /// Step between parallel passes that lie one apart.
    fn step(&self, axis: Axis) -> f64 {
        if let Some((h, widest)) = self.stairs {
            let rise = if axis == Axis::X { self.slope.x } else { self.slope.y };
            return flat_step(rise, h, widest);
        }
        let along = if axis == Axis::X { self.form.yy } else { self.form.xx };
        (along / self.form.det()).sqrt()
    }
}

/// Trace of `first^-1 form`.
fn relative_trace(form: Form, first: Form) -> f64 {
    (form.xx * first.yy - 2.0 * form.xy * first.xy + form.yy * first.xx) / first.det()
}

/// The widest step of any pass.
fn widest(shape: &Shape, plane: f64) -> f64 {
    match *shape {
        // Half its width: neighbours overlap (common practice, no source).
        Shape::Flat { radius } => radius,
        Shape::Bull { radius, .. } => (0.5 * radius).max(WIDEST_SHARE * plane),
        Shape::Ball { .. } | Shape::Taper { .. } => WIDEST_SHARE * plane,
    }
}

/// From the axis to the place that the cutter touches on ground of this slope. What a bull-nose touches
/// on ground that is nearly level matters less than the scallop: there its axis stands for it, and on
/// steeper ground gradually its rim.
fn contact(shape: &Shape, scallop: f64, slope: Vector2) -> Vector2 {
    let m = slope.norm();
    if m == 0.0 {
        return Vector2::zeros();
    }
    let flat = match *shape {
        Shape::Bull { radius, corner } => radius - corner,
        Shape::Ball { .. } | Shape::Taper { .. } | Shape::Flat { .. } => 0.0,
    };
    let out = shape.contact_radius(m);
    let level = if flat > 0.0 { (0.25 * scallop / flat).min(1.0) } else { 0.0 };
    let share = if m < level { m / level } else { 1.0 };
    slope * ((out - flat + share * flat) / m)
}

/// Nodes inside the outline.
pub(super) fn inside(lattice: &Lattice, outline: &Outline) -> Vec<bool> {
    let mut inside = vec![false; lattice.len()];
    for (j, row) in inside.chunks_mut(lattice.nx).enumerate() {
        for (a, b) in outline.cut(Axis::Y, lattice.node(0, j).y) {
            let first = ((a - lattice.x0) / lattice.step).ceil().max(0.0) as usize;
            let end = (((b - lattice.x0) / lattice.step).floor() + 1.0).max(0.0) as usize;
            row.iter_mut().take(end).skip(first).for_each(|node| *node = true);
        }
    }
    inside
}

/// Nodes inside the outline or within `reach` of it, and inside `clip`.
fn near(lattice: &Lattice, outline: &Outline, reach: f64, clip: Rect) -> Vec<bool> {
    let away = distances(lattice, std::slice::from_ref(&outline.points), reach, |_| Some(Form::RULER));
    let mut near = inside(lattice, outline);
    for (k, near) in near.iter_mut().enumerate() {
        let p = lattice.node(k % lattice.nx, k / lattice.nx);
        let clipped = p.x >= clip.x0 && p.x <= clip.x1 && p.y >= clip.y0 && p.y <= clip.y1;
        *near = clipped && (*near || away[k] <= reach);
    }
    near
}

/// Slopes and second derivatives of the tip heights at a node.
#[derive(Clone, Copy)]
struct Bend {
    slope: Vector2,
    second: Form,
}

impl Bend {
    fn at(tips: &Grid, i: usize, j: usize) -> Option<Bend> {
        let lat = tips.lattice;
        if i == 0 || j == 0 || i + 1 >= lat.nx || j + 1 >= lat.ny {
            return None;
        }
        let z = |di: usize, dj: usize| tips.at(i + di - 1, j + dj - 1);
        let d = lat.step;
        let bend = Bend {
            slope: Vector2::new(z(2, 1) - z(0, 1), z(1, 2) - z(1, 0)) / (2.0 * d),
            second: Form {
                xx: z(2, 1) - 2.0 * z(1, 1) + z(0, 1),
                yy: z(1, 2) - 2.0 * z(1, 1) + z(1, 0),
                xy: 0.25 * (z(2, 2) - z(0, 2) - z(2, 0) + z(0, 0)),
            }
            .scaled(1.0 / (d * d)),
        };
        let sum = bend.slope.x + bend.slope.y + bend.second.xx + bend.second.yy + bend.second.xy;
        sum.is_finite().then_some(bend)
    }

    /// The form in which passes that leave ridges of `h` lie one apart.
    fn node(self, shape: &Shape, h: f64, map_step: f64) -> Option<Node> {
        let m = self.slope.norm();
        let plane = plane_step(shape, h);
        let Some(r) = round_radius(shape) else {
            let form = Form::RULER.scaled(flat_step(m, h, plane).powi(-2));
            return Some(Node { form, bare: form, slope: self.slope, stairs: Some((h, plane)) });
        };
        // The parabola in `h = s^2 / 8 R` lies below the circle; the chord's own
        // `s^2 = 8 R h - 4 h^2` takes its place.
        let rise = 8.0 * h - 4.0 * h * h / r.max(h);
        // Axes up the slope and level, in lengths on the tip's own surface.
        let up = if m > 0.0 { self.slope / m } else { Vector2::x() };
        let level = Vector2::new(-up.y, up.x);
        let w = (1.0 + m * m).sqrt();
        let over = m + OVER_MM.min(map_step) * self.second.eigenvalues().1.abs().max(self.second.eigenvalues().0.abs());
        let own = Form {
            xx: 1.0 / r + self.second.dot(up, up) / (w * w * w),
            xy: self.second.dot(up, level) / (w * w),
            yy: level_bend(shape, r, over, rise) + self.second.dot(level, level) / w,
        };
        let own = own.scaled(1.0 / rise);
        let bounds = [widest(shape, plane), NARROWEST_SHARE * plane].map(|s| s.powi(-2));
        let seen = |f: Form| {
            let scaled = Form { xx: f.xx * w * w, xy: f.xy * w, yy: f.yy };
            Form {
                xx: scaled.xx * up.x * up.x + 2.0 * scaled.xy * up.x * level.x + scaled.yy * level.x * level.x,
                xy: scaled.xx * up.x * up.y
                    + scaled.xy * (up.x * level.y + up.y * level.x)
                    + scaled.yy * level.x * level.y,
                yy: scaled.xx * up.y * up.y + 2.0 * scaled.xy * up.y * level.y + scaled.yy * level.y * level.y,
            }
        };
        Some(Node { form: seen(own.clamped(bounds[0], bounds[1])), bare: seen(own), slope: self.slope, stairs: None })
    }
}

/// A slope is read within this much of its place, mm, when it decides how far a flat end may step: half a wide
/// step (our own choice).
const OVER_MM: f64 = 1.5;

/// Curvature of the cutter's surface along level lines where it touches ground of slope m. A ball's is
/// 1 / R. A bull-nose touches with its rounded corner on a circle of radius `a + r sin th`, whose
/// plane leans away by th: `sin th / (a + r sin th)`, a radius of `r + a / sin th` (Meusnier's
/// theorem). On level ground that is flat; steps then end where the circle has turned too far for a
/// parabola.
fn level_bend(shape: &Shape, r: f64, m: f64, rise: f64) -> f64 {
    let Shape::Bull { radius, corner } = *shape else { return 1.0 / r };
    let sine = m / (1.0 + m * m).sqrt();
    let around = radius - corner + corner * sine;
    (sine / around).max(rise / (around * around))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Steps in x and in y at a node with this slope and second derivative in x.
    fn steps(shape: &Shape, h: f64, slope: f64, second: f64) -> (f64, f64) {
        let bend = Bend { slope: Vector2::new(slope, 0.0), second: Form { xx: second, xy: 0.0, yy: 0.0 } };
        let node = bend.node(shape, h, 1.0).unwrap();
        (node.step(Axis::X), node.step(Axis::Y))
    }

    #[test]
    fn slopes_across_shorten_the_step_by_their_cosine() {
        let ball = Shape::ball(3.0).unwrap();
        let plane = plane_step(&ball, 0.01);
        let (across, along) = steps(&ball, 0.01, 1.0, 0.0);
        assert_abs_diff_eq!(across, plane * std::f64::consts::FRAC_1_SQRT_2, epsilon = 1e-12);
        assert_abs_diff_eq!(along, plane, epsilon = 1e-12);
    }

    /// A cylinder of radius 20 cut by a ball of 3 in passes along it, by plane trigonometry: centres
    /// on the circle 20 -+ 3 a step s apart; the ridge stands where two balls meet.
    #[test]
    fn valleys_and_hills_follow_the_circles() {
        let (ball, h) = (Shape::ball(3.0).unwrap(), 0.02);
        for (centres, sign) in [(17.0, 1.0), (23.0, -1.0)] {
            let (step, _) = steps(&ball, h, 0.0, sign / centres);
            let half = (0.5 * step / centres).asin();
            let along = (9.0 - (centres * half.sin()).powi(2)).sqrt();
            let ridge = centres * half.cos() + sign * along;
            let left = (20.0 - ridge) * sign;
            assert_abs_diff_eq!(left, h, epsilon = 0.03 * h);
        }
    }

    /// A bull-nose of 5 with a corner of 2 on a slope of 30 degrees touches on a circle of radius
    /// 3 + 2 sin 30 = 4 that leans with the slope. Two passes up the slope, a step s apart: between
    /// them their circles cut each other `4 - sqrt(16 - s^2 / 4)` uphill of the contact, and that
    /// times sin 30 stands, square to the slope.
    #[test]
    fn a_bull_nose_uses_its_flat_between_passes_up_a_slope() {
        let (bull, h) = (Shape::bull(5.0, 2.0).unwrap(), 0.08);
        let (down, level) = steps(&bull, h, 30f64.to_radians().tan(), 0.0);
        assert_abs_diff_eq!(down, plane_step(&Shape::ball(2.0).unwrap(), h) * 30f64.to_radians().cos(), epsilon = 1e-9);
        assert_abs_diff_eq!((4.0 - (16.0 - level * level / 4.0).sqrt()) * 0.5, h, epsilon = 0.03 * h);
        assert!(level > 1.8 * plane_step(&Shape::ball(2.0).unwrap(), h), "{level}");
    }

    /// No direction of passes covers less than the integrand of the least length: on a plane all
    /// directions are equal and the surface's area over the step is what is needed; in a valley,
    /// passes along it.
    #[test]
    fn the_least_density_is_that_of_the_best_direction() {
        let ball = Shape::ball(3.0).unwrap();
        let h = 0.05;
        for (slope, second) in [(0.0, 0.0), (0.8, 0.0), (0.0, 0.05), (0.0, -0.05)] {
            let bend = Bend { slope: Vector2::new(slope, 0.0), second: Form { xx: second, xy: 0.0, yy: 0.0 } };
            let node = bend.node(&ball, h, 1.0).unwrap();
            let lattice = Lattice { x0: 0.0, y0: 0.0, step: 1.0, nx: 1, ny: 1 };
            let metric = Metric { lattice, nodes: vec![Some(node)], tips: Grid::filled(lattice, 0.0), widest: 2.0 };
            // Length per area of parallel passes, as seen from above in each of the two directions.
            let along_x = (1.0f64 + slope * slope).sqrt() / node.step(Axis::Y);
            let along_y = 1.0 / node.step(Axis::X);
            assert_abs_diff_eq!(metric.least_density(0), along_x.min(along_y), epsilon = 1e-7);
        }
    }
}
