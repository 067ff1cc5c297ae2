//! What a straight move of a cutter leaves standing: at every place the least height of the
//! cutter's surface while its tip travels. Knows nothing of stock, programs or proofs.
//!
//! At a place p the tip travels at distance D from p's own line along the move; with x counted along
//! the move from the foot of p, the height above p is `z + m x + h(sqrt(x^2 + D^2))`, where m is the
//! move's slope and h the cutter's profile. That is a convex function of x: it has one lowest place,
//! which is known in closed form for ball, flat and taper and is clamped to the part of the move
//! that reaches p. A bull-nose is part of a torus, whose lowest place is the root of a quartic; it
//! is found by bracketed Newton steps instead.

mod rows;

use std::ops::Range;

use rows::{BallRow, LevelRow};

use super::{Shape, root};
use crate::frame::{Point2, Point3};
use crate::grid::Lattice;

/// Moves shorter than this in x and y count as vertical, mm: programs carry three decimals.
const VERTICAL_MM: f64 = 1e-9;

/// A place is reached up to this share beyond the cutter's radius. Nodes that lie exactly under the
/// cutter's edge are common (3 mm is 15 steps of 0.2 mm), and rounding alone must not make one move
/// reach them and the next one, on the same path, not.
const EDGE_SLACK: f64 = 1e-9;

/// Height that the straight move of a cutter's tip `from` - `to` leaves at `at`, mm; infinite where
/// the cutter never stands above `at`.
pub fn swept_height(shape: &Shape, from: Point3, to: Point3, at: Point2) -> f64 {
    Sweep::new(shape, from, to).height_at(at)
}

/// A straight move of a cutter, prepared for many places.
#[derive(Clone, Copy, Debug)]
pub struct Sweep {
    shape: Shape,
    from: Point3,
    /// Unit direction in x and y; (1, 0) for a vertical move.
    along: [f64; 2],
    /// Length in x and y; 0 for a vertical move.
    length: f64,
    /// Rise of the tip over `length`.
    slope: f64,
    /// Least height of the tip.
    low: f64,
    /// Whether its start was left by the move before, and so takes nothing any more.
    goes_on: bool,
}

/// Where over a place the cutter stands lowest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lowest {
    /// Height of the tip then, mm.
    pub tip_mm: f64,
    /// Height of the cutter's surface over the place then, mm.
    pub height_mm: f64,
}

impl Sweep {
    /// The move `from` - `to` of `shape`'s tip.
    pub fn new(shape: &Shape, from: Point3, to: Point3) -> Sweep {
        let (dx, dy) = (to.x - from.x, to.y - from.y);
        let length = dx.hypot(dy);
        let low = from.z.min(to.z);
        if length < VERTICAL_MM {
            let from = Point3::new(from.x, from.y, low);
            return Sweep { shape: *shape, from, along: [1.0, 0.0], length: 0.0, slope: 0.0, low, goes_on: false };
        }
        let along = [dx / length, dy / length];
        Sweep { shape: *shape, from, along, length, slope: (to.z - from.z) / length, low, goes_on: false }
    }

    /// The same move where it goes on from one that ended at its start, and that was carved: places
    /// over which this one stands lowest at its start hold nothing for it, and [`Sweep::columns`]
    /// leaves most of them out. What is carved in all stays the same.
    pub fn going_on(self) -> Sweep {
        Sweep { goes_on: self.length > 0.0, ..self }
    }

    /// Least height of the tip on the move, mm: nothing below it is touched.
    pub fn low_mm(&self) -> f64 {
        self.low
    }

    /// Height left at `at`, mm; infinite where the cutter never stands above it.
    pub fn height_at(&self, at: Point2) -> f64 {
        self.lowest_at(at).map_or(f64::INFINITY, |lowest| lowest.height_mm)
    }

    /// Where over `at` the cutter stands lowest; `None` where it never stands above `at`.
    pub fn lowest_at(&self, at: Point2) -> Option<Lowest> {
        let (s, d2) = self.foot(at.x, at.y);
        self.lowest(s, d2)
    }

    /// The rows of `lattice` that the move can reach.
    pub fn rows(&self, lattice: &Lattice) -> Range<usize> {
        let reach = self.shape.radius() * (1.0 + EDGE_SLACK);
        let (y0, y1) = ordered(self.from.y, self.from.y + self.length * self.along[1]);
        indices((y0 - reach - lattice.y0) / lattice.step, (y1 + reach - lattice.y0) / lattice.step, lattice.ny)
    }

    /// The nodes of row `j` of `lattice` that the move can reach: the row cut by the outline of the
    /// swept cutter as seen from above, widened by rounding only.
    pub fn columns(&self, lattice: &Lattice, j: usize) -> Range<usize> {
        let y = lattice.y0 + j as f64 * lattice.step;
        let Some((x0, x1)) = self.chord(y).and_then(|chord| self.ahead(y, chord)) else { return 0..0 };
        indices((x0 - lattice.x0) / lattice.step, (x1 - lattice.x0) / lattice.step, lattice.nx)
    }

    /// Of `columns` of row `j`, which stands at `row`, the part outside of which the move surely
    /// takes nothing. Costs far less than the heights do.
    pub fn trimmed(&self, lattice: &Lattice, j: usize, columns: Range<usize>, row: &[f64]) -> Range<usize> {
        let beyond = |at: f64, (lo, hi): (f64, f64)| larger(larger(lo - at, at - hi), 0.0);
        let rise = self.least_rise();
        let [xs, ys] = [(self.from.x, self.along[0]), (self.from.y, self.along[1])]
            .map(|(from, along)| ordered(from, from + self.length * along));
        let dy = beyond(lattice.y0 + j as f64 * lattice.step, ys);
        let base = self.low + rise * dy * dy;
        let may_take = |i: &usize| {
            let dx = beyond(lattice.x0 + *i as f64 * lattice.step, xs);
            row.get(*i).is_some_and(|&z| z > base + rise * dx * dx)
        };
        let Some(first) = columns.clone().find(may_take) else { return columns.start..columns.start };
        let end = columns.rev().find(may_take).map_or(first, |last| last + 1);
        first..end
    }

    /// Heights left at the nodes `columns` of row `j`, in place of what `heights` held; infinite
    /// where the cutter never stands above a node.
    pub fn row(&self, lattice: &Lattice, j: usize, columns: Range<usize>, heights: &mut Vec<f64>) {
        let y = lattice.y0 + j as f64 * lattice.step;
        heights.clear();
        heights.resize(columns.len(), f64::INFINITY);
        // 32-bit counters turn into numbers by vector instructions, 64-bit ones do not; no lattice
        // that fits a memory has longer rows.
        let first = columns.start as f64;
        let foot = |k: usize| self.foot(lattice.x0 + (first + f64::from(k as i32)) * lattice.step, y);
        let nodes = heights.iter_mut().enumerate();
        match self.shape {
            Shape::Ball { radius } => {
                let ball = BallRow::new(self, radius);
                nodes.for_each(|(k, height)| {
                    let (s, d2) = foot(k);
                    *height = ball.height(s, d2);
                });
            }
            Shape::Flat { radius } if self.slope == 0.0 => {
                let level = LevelRow::new(self, radius, 0.0);
                nodes.for_each(|(k, height)| {
                    let (s, d2) = foot(k);
                    *height = level.height(s, d2);
                });
            }
            Shape::Bull { radius, corner } if self.slope == 0.0 => {
                let level = LevelRow::new(self, radius, corner);
                nodes.for_each(|(k, height)| {
                    let (s, d2) = foot(k);
                    *height = level.height(s, d2);
                });
            }
            _ => nodes.for_each(|(k, height)| {
                let (s, d2) = foot(k);
                *height = self.lowest(s, d2).map_or(f64::INFINITY, |lowest| lowest.height_mm);
            }),
        }
    }

    /// At a distance q from the move's box, seen from above, nothing is left below `low + q^2 * this`:
    /// a ball's profile lies above its parabola, and for the other forms, flat in the middle or
    /// straight at the sides, zero serves.
    fn least_rise(&self) -> f64 {
        match self.shape {
            Shape::Ball { radius } => 0.5 / radius,
            Shape::Flat { .. } | Shape::Bull { .. } | Shape::Taper { .. } => 0.0,
        }
    }

    /// How far along the move the foot of a place lies, and the square of its distance from it.
    fn foot(&self, x: f64, y: f64) -> (f64, f64) {
        let (px, py) = (x - self.from.x, y - self.from.y);
        let d = py * self.along[0] - px * self.along[1];
        (px * self.along[0] + py * self.along[1], d * d)
    }

    fn lowest(&self, s: f64, d2: f64) -> Option<Lowest> {
        let radius = self.shape.radius();
        let half2 = radius * radius * (1.0 + 2.0 * EDGE_SLACK) - d2;
        let half = half2.max(0.0).sqrt();
        let (lo, hi) = ((-s).max(-half), (self.length - s).min(half));
        // Asked this way round so that numbers that are none count as out of reach.
        let reached = half2 >= 0.0 && lo <= hi;
        reached.then(|| self.lowest_within(s, d2, half, (lo, hi)))
    }

    fn lowest_within(&self, s: f64, d2: f64, half: f64, (lo, hi): (f64, f64)) -> Lowest {
        let x = match self.shape {
            Shape::Bull { radius, corner } => lowest_of_bull(radius, corner, self.slope, d2, lo, hi),
            _ => lowest_of(&self.shape, self.slope, d2, half).clamp(lo, hi),
        };
        let tip_mm = self.from.z + self.slope * (s + x);
        let q = (x * x + d2).sqrt().min(self.shape.radius());
        Lowest { tip_mm, height_mm: tip_mm + self.shape.height_at(q) }
    }

    /// Where the line at height `y` enters and leaves the swept outline (a stadium).
    fn chord(&self, y: f64) -> Option<(f64, f64)> {
        let reach = self.shape.radius() * (1.0 + EDGE_SLACK);
        let [ux, uy] = self.along;
        let ends = [0.0, self.length].map(|t| {
            let half2 = reach * reach - (y - self.from.y - t * uy).powi(2);
            let half = (half2 >= 0.0).then(|| half2.sqrt())?;
            let x = self.from.x + t * ux;
            Some((x - half, x + half))
        });
        let sides = [-reach, reach].map(|side| {
            let t = (y - self.from.y - side * ux) / uy;
            let x = self.from.x + t * ux - side * uy;
            (uy != 0.0 && (0.0..=self.length).contains(&t)).then_some((x, x))
        });
        ends.into_iter().chain(sides).flatten().reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }

    /// The part of a row's chord that a move which goes on may still change. A cutter that climbs is
    /// lowest behind the foot of a place, one that falls ahead of it by no more than where its
    /// profile is as steep as the move; a foot farther behind the start than that means that the
    /// start is lowest.
    fn ahead(&self, y: f64, (x0, x1): (f64, f64)) -> Option<(f64, f64)> {
        let [ux, uy] = self.along;
        let lead = match self.shape {
            _ if self.slope >= 0.0 => 0.0,
            Shape::Ball { radius } => -lean(self.slope) * radius,
            _ => self.shape.radius(),
        };
        // The foot's place along the move is `from_row + ux * (x - from.x)`.
        let from_row = (y - self.from.y) * uy;
        let needed = -lead - EDGE_SLACK * self.shape.radius() - from_row;
        if !self.goes_on {
            Some((x0, x1))
        } else if ux.abs() < VERTICAL_MM {
            (needed <= VERTICAL_MM * (x1 - x0)).then_some((x0, x1))
        } else if ux > 0.0 {
            Some((x0.max(self.from.x + needed / ux), x1))
        } else {
            Some((x0, x1.min(self.from.x + needed / ux)))
        }
    }
}

/// Where a ball of unit radius stands lowest on a slope m: the place whose surface has slope -m.
fn lean(slope: f64) -> f64 {
    slope / (1.0 + slope * slope).sqrt()
}

/// The x of the least `slope * x + h`, before it is clamped to the move; `half` bounds |x|.
fn lowest_of(shape: &Shape, slope: f64, d2: f64, half: f64) -> f64 {
    match *shape {
        Shape::Ball { .. } => -lean(slope) * half,
        Shape::Taper { tip, half_angle_rad, .. } => {
            let (sin, cos) = half_angle_rad.sin_cos();
            let on_ball = -lean(slope) * (tip * tip - d2).max(0.0).sqrt();
            if on_ball * on_ball + d2 <= (tip * cos).powi(2) {
                return on_ball;
            }
            // On the cone of slope k the condition k x / q = -m gives x = -m D / sqrt(k^2 - m^2).
            let k = cos / sin;
            if slope.abs() < k { -slope * (d2 / (k * k - slope * slope)).sqrt() } else { -half * slope.signum() }
        }
        // The rest of a flat has no slope of its own: its trailing edge is the lowest.
        _ if slope == 0.0 => 0.0,
        _ => -half * slope.signum(),
    }
}

/// As [`lowest_of`], clamped to `lo..=hi`, for a bull-nose: the root of the increasing function
/// `m + h'(q) x / q`.
fn lowest_of_bull(radius: f64, corner: f64, slope: f64, d2: f64, lo: f64, hi: f64) -> f64 {
    if slope == 0.0 {
        return 0.0_f64.clamp(lo, hi);
    }
    let flat = radius - corner;
    // The sign alone needs no division, and for most places an end of the move decides.
    let sign = |x: f64| {
        let q = (x * x + d2).sqrt();
        let out = q - flat;
        if out <= 0.0 { slope } else { slope * q * (corner * corner - out * out).max(0.0).sqrt() + out * x }
    };
    if sign(lo) >= 0.0 {
        return lo;
    }
    if sign(hi) <= 0.0 {
        return hi;
    }
    // The height is stationary there: 1e-6 mm beside it, it differs by the order of 1e-12 mm.
    root::of_increasing(|x| bull_rise(flat, corner, slope, d2, x), (lo, hi), 0.5 * (lo + hi), 1e-6)
}

/// `m + h'(q) x / q` of a bull-nose, and its derivative by x.
fn bull_rise(flat: f64, corner: f64, slope: f64, d2: f64, x: f64) -> (f64, f64) {
    let q = (x * x + d2).sqrt();
    let out = q - flat;
    if out <= 0.0 {
        return (slope, 0.0);
    }
    let depth = (corner * corner - out * out).max(0.0).sqrt();
    let (first, second) = (out / depth, (corner / depth).powi(2) / depth);
    (slope + first * x / q, (second * x * x + first * d2 / q) / (q * q))
}

fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

fn ordered(a: f64, b: f64) -> (f64, f64) {
    if a <= b { (a, b) } else { (b, a) }
}

/// Whole numbers within `lo..=hi`, as a range cut to `0..n`.
fn indices(lo: f64, hi: f64, n: usize) -> Range<usize> {
    let first = (lo - EDGE_SLACK).ceil().max(0.0) as usize;
    let end = ((hi + EDGE_SLACK).floor() + 1.0).max(0.0) as usize;
    first.min(n)..end.min(n).max(first.min(n))
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;

    fn shapes() -> impl Strategy<Value = Shape> {
        prop_oneof![
            (0.5..8.0).prop_map(|radius| Shape::Flat { radius }),
            (0.5..8.0).prop_map(|radius| Shape::Ball { radius }),
            (0.5..8.0, 0.05..0.95).prop_map(|(radius, share)| Shape::Bull { radius, corner: radius * share }),
            (0.3..2.0, 0.05..1.2, 1.05..4.0).prop_map(|(tip, half_angle_rad, more)| Shape::Taper {
                tip,
                half_angle_rad,
                radius: tip * more
            }),
        ]
    }

    fn point3() -> impl Strategy<Value = Point3> {
        (-6.0..6.0, -6.0..6.0, -4.0..4.0).prop_map(|(x, y, z)| Point3::new(x, y, z))
    }

    /// Profile straight from its definition, on its own: infinite beyond the radius.
    fn defined_height(shape: &Shape, q: f64) -> f64 {
        if q > shape.radius() {
            return f64::INFINITY;
        }
        match *shape {
            Shape::Flat { .. } => 0.0,
            Shape::Ball { radius } => radius - (radius * radius - q * q).sqrt(),
            Shape::Bull { radius, corner } if q <= radius - corner => 0.0,
            Shape::Bull { radius, corner } => {
                corner - (corner * corner - (q - radius + corner).powi(2)).max(0.0).sqrt()
            }
            Shape::Taper { tip, half_angle_rad, .. } if q <= tip * half_angle_rad.cos() => {
                tip - (tip * tip - q * q).sqrt()
            }
            Shape::Taper { tip, half_angle_rad, .. } => {
                let touch = tip * half_angle_rad.cos();
                tip - tip * half_angle_rad.sin() + (q - touch) / half_angle_rad.tan()
            }
        }
    }

    fn at_time(shape: &Shape, from: Point3, to: Point3, at: Point2, t: f64) -> f64 {
        let tip = from + (to - from) * t;
        tip.z + defined_height(shape, (tip.x - at.x).hypot(tip.y - at.y))
    }

    /// The least over 2001 places on the move, then over 2001 around the best of them.
    fn brute(shape: &Shape, from: Point3, to: Point3, at: Point2) -> f64 {
        let best = |t0: f64, t1: f64| {
            (0..=2000)
                .map(|k| t0 + (t1 - t0) * k as f64 / 2000.0)
                .map(|t| (at_time(shape, from, to, at, t), t))
                .fold((f64::INFINITY, t0), |a, b| if b.0 < a.0 { b } else { a })
        };
        let (_, t) = best(0.0, 1.0);
        best((t - 1e-3).max(0.0), (t + 1e-3).min(1.0)).0
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn exact_is_never_above_and_hardly_below_dense_sampling(
            shape in shapes(), from in point3(), to in point3(), x in -8.0..8.0, y in -8.0..8.0,
        ) {
            let at = Point2::new(x, y);
            let (exact, dense) = (swept_height(&shape, from, to, at), brute(&shape, from, to, at));
            prop_assert!(exact <= dense + 1e-9, "{exact} above {dense}");
            // Where the move only grazes a place, sampling may miss it; elsewhere it is this close:
            // one step of 1e-6 of the move's length on the profile's slope there.
            let half_step = Shape::radius(&shape) - 0.02;
            let (s, d2) = Sweep::new(&shape, from, to).foot(at.x, at.y);
            let inside = (s.clamp(0.0, Sweep::new(&shape, from, to).length) - s).powi(2) + d2 < half_step * half_step;
            if inside {
                prop_assert!(dense - exact < 1e-3, "{dense} against {exact}");
            }
        }

        #[test]
        fn the_lowest_place_lies_on_the_move(
            shape in shapes(), from in point3(), to in point3(), x in -8.0..8.0, y in -8.0..8.0,
        ) {
            if let Some(lowest) = Sweep::new(&shape, from, to).lowest_at(Point2::new(x, y)) {
                prop_assert!(lowest.tip_mm >= from.z.min(to.z) - 1e-9);
                prop_assert!(lowest.tip_mm <= from.z.max(to.z) + 1e-9);
                prop_assert!(lowest.height_mm >= lowest.tip_mm - 1e-9);
            }
        }

        #[test]
        fn a_move_and_its_reverse_leave_the_same(
            shape in shapes(), from in point3(), to in point3(), x in -8.0..8.0, y in -8.0..8.0,
        ) {
            let at = Point2::new(x, y);
            let (there, back) = (swept_height(&shape, from, to, at), swept_height(&shape, to, from, at));
            prop_assert!(there == back || (there - back).abs() < 1e-8, "{there} against {back}");
        }

        #[test]
        fn rows_agree_with_single_places(shape in shapes(), from in point3(), to in point3()) {
            let lattice = Lattice { x0: -11.0, y0: -10.0, step: 0.37, nx: 60, ny: 55 };
            let sweep = Sweep::new(&shape, from, to);
            let mut row = Vec::new();
            for j in 0..lattice.ny {
                let columns = if sweep.rows(&lattice).contains(&j) { sweep.columns(&lattice, j) } else { 0..0 };
                sweep.row(&lattice, j, columns.clone(), &mut row);
                for i in 0..lattice.nx {
                    let single = sweep.height_at(lattice.node(i, j));
                    let fast = if columns.contains(&i) { row[i - columns.start] } else { f64::INFINITY };
                    prop_assert!(single == fast || (single - fast).abs() < 1e-9, "{single} against {fast} at {i} {j}");
                }
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(500))]

        /// What a move cannot reach is not looked at.
        #[test]
        fn rows_and_columns_end_at_nodes_that_are_reached(shape in shapes(), from in point3(), to in point3()) {
            let lattice = Lattice { x0: -16.0, y0: -17.0, step: 0.37, nx: 90, ny: 95 };
            let sweep = Sweep::new(&shape, from, to);
            let (rows, reach) = (sweep.rows(&lattice), shape.radius() * (1.0 + 2.0 * EDGE_SLACK));
            let y = |j: usize| lattice.node(0, j).y;
            prop_assert!(y(rows.start) >= from.y.min(to.y) - reach && y(rows.end - 1) <= from.y.max(to.y) + reach);
            for j in rows {
                let columns = sweep.columns(&lattice, j);
                if !columns.is_empty() {
                    let ends = [columns.start, columns.end - 1].map(|i| sweep.height_at(lattice.node(i, j)));
                    prop_assert!(ends.iter().all(|z| z.is_finite()), "{ends:?} in row {j}, {columns:?}");
                }
            }
        }

        /// What the move before has taken is left out, and nothing else.
        #[test]
        fn a_move_that_goes_on_leaves_out_only_what_was_taken(
            shape in shapes(), a in point3(), b in point3(), c in point3(), level in any::<bool>(),
        ) {
            let lattice = Lattice { x0: -16.0, y0: -17.0, step: 0.37, nx: 90, ny: 95 };
            let (a, c) = if level { (Point3::new(a.x, a.y, b.z), Point3::new(c.x, c.y, b.z)) } else { (a, c) };
            let (before, own) = (Sweep::new(&shape, a, b), Sweep::new(&shape, b, c));
            let going_on = own.going_on();
            prop_assert_eq!(going_on.rows(&lattice), own.rows(&lattice));
            for j in own.rows(&lattice) {
                let (all, kept) = (own.columns(&lattice, j), going_on.columns(&lattice, j));
                prop_assert!(kept.is_empty() || all.start <= kept.start && kept.end <= all.end);
                for i in all.filter(|i| !kept.contains(i)) {
                    let p = lattice.node(i, j);
                    prop_assert!(own.height_at(p) >= before.height_at(p) - 1e-9, "row {j}, node {i}");
                }
            }
        }

        /// Whatever stands in a row, what is trimmed off is no higher than what the move leaves.
        #[test]
        fn what_is_trimmed_off_loses_nothing(
            shape in shapes(), from in point3(), to in point3(), stands in prop::collection::vec(-5.0..9.0f64, 60),
        ) {
            let lattice = Lattice { x0: -11.0, y0: -10.0, step: 0.37, nx: 60, ny: 55 };
            let sweep = Sweep::new(&shape, from, to);
            for j in sweep.rows(&lattice) {
                let columns = sweep.columns(&lattice, j);
                let kept = sweep.trimmed(&lattice, j, columns.clone(), &stands);
                prop_assert!(kept.is_empty() || columns.start <= kept.start && kept.end <= columns.end);
                for i in columns.filter(|i| !kept.contains(i)) {
                    let left = sweep.height_at(lattice.node(i, j));
                    prop_assert!(left >= stands[i] - 1e-9, "{left} below {} in row {j}, node {i}", stands[i]);
                }
            }
        }
    }

    /// A level ball of 3 mm along x from 0 to 20: which nodes of its own line, 1 mm apart, are looked at.
    #[test]
    fn a_move_that_goes_on_looks_ahead_of_its_start() {
        let lattice = Lattice { x0: -10.0, y0: 0.0, step: 1.0, nx: 41, ny: 1 };
        let columns = |shape: Shape, fall: f64| {
            let sweep = Sweep::new(&shape, Point3::new(0.0, 0.0, 2.0), Point3::new(20.0, 0.0, 2.0 - fall));
            [sweep, sweep.going_on()].map(|sweep| sweep.columns(&lattice, 0))
        };
        let (ball, flat) = (Shape::Ball { radius: 3.0 }, Shape::Flat { radius: 3.0 });
        assert_eq!(columns(ball, 0.0), [7..34, 10..34]);
        assert_eq!(columns(ball, -20.0), [7..34, 10..34], "climbing, it is lowest where it was");
        // Down 45 degrees the ball's lowest place is 3 sin 45 = 2.1 ahead; a flat's is its leading edge.
        assert_eq!(columns(ball, 20.0), [7..34, 8..34]);
        assert_eq!(columns(flat, 20.0), [7..34, 7..34]);
        let back = Sweep::new(&ball, Point3::new(20.0, 0.0, 2.0), Point3::new(0.0, 0.0, 2.0)).going_on();
        assert_eq!(back.columns(&lattice, 0), 7..31);
        let across = Sweep::new(&ball, Point3::new(10.0, 0.0, 2.0), Point3::new(10.0, 20.0, 2.0)).going_on();
        let rows = Lattice { x0: 0.0, y0: -3.0, step: 1.0, nx: 21, ny: 7 };
        let looked_at: Vec<usize> = (0..7).map(|j| across.columns(&rows, j).len()).collect();
        assert_eq!(looked_at, [0, 0, 0, 7, 7, 7, 7], "behind its start nothing, ahead the whole width");
    }

    /// A ball of 4 mm that ends its fall at height 1.5: 3 mm beside its line it leaves 9 / 8 more at least.
    #[test]
    fn what_is_lower_than_the_move_is_trimmed_off() {
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 1.0, nx: 21, ny: 7 };
        let sweep = |shape: Shape| Sweep::new(&shape, Point3::new(5.0, 3.0, 2.5), Point3::new(15.0, 3.0, 1.5));
        let trimmed = |shape: Shape, j: usize, above: f64| sweep(shape).trimmed(&lattice, j, 0..21, &[1.5 + above; 21]);
        let (ball, flat) = (Shape::Ball { radius: 4.0 }, Shape::Flat { radius: 4.0 });
        assert_eq!(sweep(ball).low_mm(), 1.5);
        assert!(trimmed(ball, 3, 0.0).is_empty());
        assert!(trimmed(ball, 0, 9.0 / 8.0).is_empty() && trimmed(ball, 6, 9.0 / 8.0).is_empty());
        assert_eq!(trimmed(ball, 3, 0.001), 5..16);
        assert_eq!([trimmed(ball, 0, 0.01 + 9.0 / 8.0), trimmed(ball, 6, 0.01 + 9.0 / 8.0)], [5..16, 5..16]);
        assert_eq!(trimmed(ball, 3, 0.01 + 4.0 / 8.0), 3..18, "two columns beside its ends");
        assert_eq!(trimmed(flat, 0, 0.001), 0..21);
        let mut stands = [0.0; 21];
        (stands[8], stands[12]) = (5.0, 5.0);
        assert_eq!(sweep(ball).trimmed(&lattice, 3, 6..15, &stands), 8..13);
        assert_eq!(sweep(ball).trimmed(&lattice, 3, 9..12, &stands), 9..9);
        // Across, by 6 in x and 8 in y.
        let across = Sweep::new(&ball, Point3::new(5.0, -8.0, 1.5), Point3::new(11.0, 0.0, 1.5));
        assert_eq!(across.trimmed(&lattice, 3, 0..21, &[1.51 + 9.0 / 8.0; 21]), 5..12);
    }

    #[test]
    fn a_plunge_goes_on_from_nothing() {
        let lattice = Lattice { x0: -3.0, y0: 0.0, step: 1.0, nx: 7, ny: 1 };
        let (high, low) = (Point3::new(0.0, 0.0, 9.0), Point3::new(0.0, 0.0, 2.0));
        assert_eq!(Sweep::new(&Shape::Ball { radius: 3.0 }, high, low).going_on().columns(&lattice, 0), 0..7);
    }

    #[test]
    fn a_bull_noses_rise_changes_as_its_derivative_tells() {
        for (flat, corner, slope, d2, x) in
            [(2.0, 1.0, 0.5, 0.7, 2.2), (0.4, 2.5, -1.5, 2.0, -1.1), (1.0, 3.0, 0.2, 9.0, 0.4)]
        {
            let by = 1e-6;
            let [more, less] = [x + by, x - by].map(|x| bull_rise(flat, corner, slope, d2, x).0);
            assert_abs_diff_eq!(bull_rise(flat, corner, slope, d2, x).1, (more - less) / (2.0 * by), epsilon = 1e-7);
        }
        assert_eq!(bull_rise(2.0, 1.0, 0.5, 1.0, 1.5), (0.5, 0.0), "under the flat nothing rises but the move");
    }

    /// A ball that travels down a slope of angle th leaves, on its own line, a surface lower than
    /// the tip's line by R (1/cos th - 1): the Legendre transform of the ball's profile.
    #[test]
    fn a_sloping_ball_cuts_below_its_tip_line() {
        let (from, to) = (Point3::new(-10.0, 0.0, 10.0), Point3::new(10.0, 0.0, -10.0));
        let left = swept_height(&Shape::Ball { radius: 3.0 }, from, to, Point2::new(0.0, 0.0));
        assert_abs_diff_eq!(left, -3.0 * (2.0_f64.sqrt() - 1.0), epsilon = 1e-12);
        let bull = Shape::Bull { radius: 3.0, corner: 1.0 };
        let left = swept_height(&bull, from, to, Point2::new(0.0, 0.0));
        assert_abs_diff_eq!(left, -2.0 - (2.0_f64.sqrt() - 1.0), epsilon = 1e-9);
        let left = swept_height(&Shape::Flat { radius: 3.0 }, from, to, Point2::new(0.0, 0.0));
        assert_abs_diff_eq!(left, -3.0, epsilon = 1e-8);
    }

    #[test]
    fn a_level_ball_leaves_a_round_groove() {
        let (from, to) = (Point3::new(0.0, 0.0, 2.0), Point3::new(20.0, 0.0, 2.0));
        for d in [0.0, 0.5, 1.0, 2.0, 2.9, 3.0] {
            let left = swept_height(&Shape::Ball { radius: 3.0 }, from, to, Point2::new(9.0, d));
            assert_abs_diff_eq!(left, 2.0 + 3.0 - (9.0_f64 - d * d).sqrt(), epsilon = 1e-12);
        }
        assert_eq!(swept_height(&Shape::Ball { radius: 3.0 }, from, to, Point2::new(9.0, 3.001)), f64::INFINITY);
    }

    #[test]
    fn numbers_that_are_none_reach_nothing() {
        let (a, b) = (Point3::new(0.0, 0.0, 2.0), Point3::new(f64::NAN, 0.0, 2.0));
        for shape in [Shape::Ball { radius: 3.0 }, Shape::Bull { radius: 3.0, corner: 1.0 }] {
            assert_eq!(swept_height(&shape, a, b, Point2::new(1.0, 0.0)), f64::INFINITY);
            assert_eq!(swept_height(&shape, a, a, Point2::new(1.0, f64::NAN)), f64::INFINITY);
        }
    }

    #[test]
    fn a_plunge_leaves_the_cutter_itself() {
        let (from, to) = (Point3::new(1.0, 2.0, 30.0), Point3::new(1.0, 2.0, 4.0));
        let taper = Shape::Taper { tip: 1.0, half_angle_rad: 0.25, radius: 3.0 };
        for shape in [Shape::Flat { radius: 3.0 }, Shape::Ball { radius: 3.0 }, taper] {
            let left = swept_height(&shape, from, to, Point2::new(3.0, 2.0));
            assert_abs_diff_eq!(left, 4.0 + defined_height(&shape, 2.0), epsilon = 1e-12);
        }
    }
}
