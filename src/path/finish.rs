//! The finishing cut: passes, parallel or in rings, whose tip heights are exact and whose distance
//! follows from the scallop height alone.

use std::sync::OnceLock;

use rayon::prelude::*;

use super::cutting::check;
use super::depth::Depth;
use super::metric::Metric;
use super::outline::{Axis, Outline, thinned_line};
use super::passes::{Region, Run, Turn, evenly};
use super::rings::Way;
use super::sidestep::{axis_beyond_contact, plane_step, round_radius, steepest_fall};
use super::surfacing::{Surfacing, planned_scallop_mm};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3, Rect};
use crate::kernel::Surface;
use crate::ticket::Passes;

/// Sketched times that differ by less than this decide nothing (our own choice: on nine footbeds and
/// cutters the sketches' proportion came within 0.3 % of the planned times').
const CLOSE: f64 = 0.05;

/// How the surface is gone over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Strategy {
    /// Parallel passes.
    Parallel(Axis),
    /// Rings from the edge inward.
    Rings,
}

const STRATEGIES: [Strategy; 3] = [Strategy::Parallel(Axis::X), Strategy::Parallel(Axis::Y), Strategy::Rings];

/// The finishing path over everything inside the outline, its edge included. With
/// [`Passes::Quickest`] passes along, across and in rings are all sketched and `time` (s, or anything that
/// grows with it) decides; those that come close are planned in full. A tie goes to the first.
pub fn finish(
    target: &Target,
    cutting: &Cutting,
    time: &(dyn Fn(&Toolpath) -> f64 + Sync),
) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let plan = Plan::new(target, cutting)?;
    match cutting.passes {
        Passes::Along => plan.toolpath(Strategy::Parallel(Axis::X)),
        Passes::Across => plan.toolpath(Strategy::Parallel(Axis::Y)),
        Passes::Rings if round_radius(&plan.on.shape()).is_none() => {
            Err(PathError::RingsFlat { name: cutting.finishing.name.clone() })
        }
        Passes::Rings => plan.toolpath(Strategy::Rings),
        Passes::Quickest => plan.quickest(time),
    }
}

/// What all strategies share.
pub(super) struct Plan<'t> {
    on: Surfacing<'t>,
    pub(super) metric: Metric,
    pub(super) depth: Depth,
    /// The way of the rings as straight pieces, once anyone asked for it.
    chords: OnceLock<Vec<(Point2, Point2)>>,
}

impl<'t> Plan<'t> {
    pub(super) fn new(target: &'t Target, cutting: &Cutting) -> Result<Plan<'t>, PathError> {
        let shape = cutting.finishing.shape;
        let surface = Surface::new(&target.surface)?;
        let scallop = planned_scallop_mm(cutting);
        let outline = Outline::new(&target.outline)?;
        let reach = growth(target, cutting, &outline);
        let clip = clip(target);
        let metric = Metric::new(&surface, &shape, scallop, &outline, reach, clip);
        let depth = Depth::new(&metric, &metric.touches_outside(&shape, scallop, &outline, reach))?;
        let region = Region::new(depth.around(-BEYOND)?.thinned(REGION_MM), clip);
        let on = Surfacing::new(target, cutting.clone(), surface, region);
        Ok(Plan { on, metric, depth, chords: OnceLock::new() })
    }

    fn quickest(&self, time: &(dyn Fn(&Toolpath) -> f64 + Sync)) -> Result<Toolpath, PathError> {
        // A flat end leaves stairs, whose height is no distance: there are no rings of it.
        let strategies = if round_radius(&self.on.shape()).is_some() { &STRATEGIES[..] } else { &STRATEGIES[..2] };
        let sketched: Vec<f64> = strategies.par_iter().map(|s| time(&self.sketch(*s))).collect();
        let least = sketched.iter().copied().fold(f64::INFINITY, f64::min);
        let close: Vec<Strategy> = strategies
            .iter()
            .zip(&sketched)
            .filter(|(_, t)| **t <= least + CLOSE * least.abs())
            .map(|(s, _)| *s)
            .collect();
        if let [only] = close[..] {
            return self.toolpath(only);
        }
        let planned: Vec<Toolpath> = close.par_iter().map(|s| self.toolpath(*s)).collect::<Result<_, _>>()?;
        let timed = planned.into_iter().map(|path| (time(&path), path));
        let best = timed.reduce(|best, next| if next.0 < best.0 { next } else { best });
        best.map(|(_, path)| path).ok_or(PathError::Nothing { step: Step::Finish })
    }

    /// The passes and their order.
    fn order(&self, axis: Axis) -> (Vec<Run>, Vec<Turn>) {
        let (low, high) = self.on.region.extent(axis);
        let within: Vec<bool> = self.depth.grid.z.iter().map(|d| *d >= -BEYOND).collect();
        self.order_of(axis, &self.metric.places(axis, &within, low, high))
    }

    fn order_of(&self, axis: Axis, places: &[f64]) -> (Vec<Run>, Vec<Turn>) {
        let runs = self.on.region.runs(axis, places);
        let turns = self.on.turns(&runs);
        (runs, turns)
    }

    /// The same passes at heights read from the coarse map: good enough to time, never to cut.
    fn sketch(&self, strategy: Strategy) -> Toolpath {
        let mut trail = Trail::new(self.on.target, &self.on.cutting);
        match strategy {
            Strategy::Parallel(axis) => self.sketch_parallel(axis, &mut trail),
            Strategy::Rings => {
                let chords = self.chords();
                if let Some((first, _)) = chords.first() {
                    self.on.enter(&mut trail, *first);
                    trail.cut_to(self.sketched(*first));
                }
                chords.iter().for_each(|(_, to)| trail.cut_to(self.sketched(*to)));
            }
        }
        self.finished(trail)
    }

    fn sketch_parallel(&self, axis: Axis, trail: &mut Trail) {
        let (runs, turns) = self.order(axis);
        for turn in turns {
            let Run { from, to, .. } = runs[turn.run];
            let (from, to) = if turn.backward { (to, from) } else { (from, to) };
            if !turn.linked {
                self.on.enter(trail, from);
            }
            let length = (to - from).norm();
            for s in evenly(0.0, 1.0, SKETCH_MM / length) {
                trail.cut_to(self.sketched(from + (to - from) * s));
            }
        }
    }

    fn sketched(&self, p: Point2) -> Point3 {
        Point3::new(p.x, p.y, self.metric.tip(p).clamp(0.0, self.on.target.blank_top_mm))
    }

    fn finished(&self, trail: Trail) -> Toolpath {
        self.on.toolpath(Step::Finish, trail)
    }

    fn toolpath(&self, strategy: Strategy) -> Result<Toolpath, PathError> {
        let mut trail = Trail::new(self.on.target, &self.on.cutting);
        match strategy {
            Strategy::Parallel(axis) => {
                let (runs, turns) = self.order(axis);
                self.on.cut(&runs, &turns, &mut trail);
            }
            Strategy::Rings => self.cut_rings(&mut trail),
        }
        self.cut(trail)
    }

    /// Parallel passes at most `step` apart everywhere.
    pub(super) fn constant(&self, axis: Axis, step: f64) -> Result<Toolpath, PathError> {
        let (low, high) = self.on.region.extent(axis);
        let mut trail = Trail::new(self.on.target, &self.on.cutting);
        let (runs, turns) = self.order_of(axis, &evenly(low, high, step));
        self.on.cut(&runs, &turns, &mut trail);
        self.cut(trail)
    }

    fn cut(&self, trail: Trail) -> Result<Toolpath, PathError> {
        if trail.is_empty() {
            return Err(PathError::Nothing { step: Step::Finish });
        }
        Ok(self.finished(trail))
    }

    fn cut_rings(&self, trail: &mut Trail) {
        let chords = self.chords();
        let cut: Vec<Vec<Point3>> = chords.par_iter().map(|(from, to)| self.on.points(*from, *to)).collect();
        let points = || cut.iter().flatten();
        if let Some(first) = points().next() {
            self.on.enter(trail, first.xy());
        }
        points().for_each(|p| trail.cut_to(*p));
    }

    fn chords(&self) -> &[(Point2, Point2)] {
        self.chords.get_or_init(|| {
            let way = Way::new(&self.depth, &self.metric, self.on.cutting.sense);
            let lines = way.lines.iter().map(|line| thinned_line(line, RING_MM));
            let clip = |p: Point2| self.on.region.clipped(p);
            lines.flat_map(|line| line.windows(2).map(|w| (clip(w[0]), clip(w[1]))).collect::<Vec<_>>()).collect()
        })
    }
}

/// Distance of a sketch's points: about as far apart as the planned path's on a footbed (our own
/// choice).
const SKETCH_MM: f64 = 3.0;

/// Parallel passes run this many steps beyond the region, so that a pass lies beside every place of
/// its edge, and a little more for what the map may be off (our own choice).
const BEYOND: f64 = 0.55;

/// The region's edge needs no more detail than this, mm.
const REGION_MM: f64 = 0.03;

/// How far chords may stray from a ring, mm: a fiftieth of a common side step, which makes a ridge a
/// twenty-fifth higher where both its rings stray from it (our own choice).
const RING_MM: f64 = 0.025;

/// How far beyond the outline the axis must go so that the cutter touches the piece everywhere, and
/// one pass further, mm.
pub(super) fn growth(target: &Target, cutting: &Cutting, outline: &Outline) -> f64 {
    let shape = cutting.finishing.shape;
    let fall = steepest_fall(&target.surface, &outline.points, &outline.normals());
    axis_beyond_contact(&shape, fall) + plane_step(&shape, cutting.scallop_mm)
}

/// Where the axis may stand at all: over the blank and over the surface, because a place without
/// heights must not be cut.
pub(super) fn clip(target: &Target) -> Rect {
    let (a, b) = (target.blank, target.surface.lattice.rect());
    a.overlap(b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Vector2;
    use crate::kernel::Shape;
    use crate::path::Motion;
    use crate::path::testbed::{check_moves, cutting, footbed, plane};
    use crate::ticket::Sense;

    fn cut_pairs(path: &Toolpath) -> impl Iterator<Item = (Point3, Point3)> {
        path.moves.windows(2).filter(|w| matches!(w[1].motion, Motion::Feed(_))).map(|w| (w[0].to, w[1].to))
    }

    fn no_time(_: &Toolpath) -> f64 {
        0.0
    }

    /// Programmed points lie on the exact rest height or up to the tolerance above; between them
    /// the path is never lower than the gouge share, with a thousandth for rounding.
    #[test]
    fn the_path_keeps_to_the_exact_rest_heights() {
        let target = footbed(0.5);
        let surface = Surface::new(&target.surface).unwrap();
        let ball = Shape::ball(3.0).unwrap();
        let other = [Shape::bull(4.0, 2.0).unwrap(), Shape::taper(2.0, 10.0, 4.0).unwrap(), Shape::flat(3.0).unwrap()];
        let balls = [Passes::Along, Passes::Across, Passes::Rings].map(|passes| (passes, ball));
        for (passes, shape) in balls.into_iter().chain(other.map(|shape| (Passes::Across, shape))) {
            let mut cutting = cutting(passes);
            cutting.finishing.shape = shape;
            let path = finish(&target, &cutting, &no_time).unwrap();
            check_moves(&path, &target, &cutting);
            assert!(shape != ball || path.moves.len() < 12_000, "{}", path.moves.len());
            let rest = |p: Point3| surface.reach(&cutting.finishing.shape, p.xy());
            for (from, to) in cut_pairs(&path) {
                let over = to.z - rest(to);
                // A flat end's rest height has corners; where one hides between samples the path is
                // lifted over the highest it could be.
                let most = if matches!(shape, Shape::Flat { .. }) { 0.03 } else { 0.0131 };
                assert!((-1e-6..=most).contains(&over), "{over} at {to}, {shape:?}");
                let flat = (to.xy() - from.xy()).norm();
                for k in 1..=(flat / 0.2) as usize {
                    let p = from + (to - from) * (0.2 * k as f64 / flat);
                    let over = p.z - rest(p);
                    assert!((-0.004..=most + 0.01).contains(&over), "{over} at {p}, {shape:?}");
                }
            }
        }
    }

    /// What stands after passes along y over a plane, cut through at a right angle: the lowest of
    /// the passes' circles, less the plane, square to it. Ridges must reach the ordered height and
    /// not exceed it.
    #[test]
    fn ridges_on_planes_have_the_ordered_height() {
        for (slope, passes) in [0.0, 0.7].into_iter().flat_map(|s| [(s, Passes::Along), (s, Passes::Rings)]) {
            let target = plane(slope, 0.0);
            let cutting = cutting(passes);
            let shape = cutting.finishing.shape;
            let path = finish(&target, &cutting, &no_time).unwrap();
            // Of rings, what crosses the middle on the way along.
            let middle = |(a, b): (Point3, Point3)| {
                let t = (60.0 - a.y) / (b.y - a.y);
                (0.0..1.0).contains(&t).then(|| a + (b - a) * t).map(|p| (p.x, p.z))
            };
            let mut lines: Vec<(f64, f64)> = cut_pairs(&path).filter_map(middle).collect();
            lines.sort_by(|a, b| a.0.total_cmp(&b.0));
            lines.dedup_by(|a, b| (a.0 - b.0).abs() < 1e-9);
            let ridge = (0..4000).map(|k| 25.0 + 0.0125 * f64::from(k)).map(|x| {
                let stands = lines.iter().map(|l| l.1 + shape.height_at((l.0 - x).abs())).fold(f64::INFINITY, f64::min);
                (stands - (2.0 + slope * x)) / (1.0 + slope * slope).sqrt()
            });
            let highest = ridge.fold(0.0, f64::max);
            // In the middle rings meet, and may leave more before a stroke is worth its way.
            let most = if passes == Passes::Rings { 1.5 * 0.08 } else { 0.08 + 0.012 };
            assert!((0.9 * 0.08..=most).contains(&highest), "{highest} on slope {slope}");
        }
    }

    /// What stands over the surface at places all over the inside of the outline, its very edge included,
    /// carved by brute force: square to the surface, from the highest down.
    fn standing(target: &Target, path: &Toolpath) -> Vec<f64> {
        let surface = Surface::new(&target.surface).unwrap();
        let shape = path.cutter.shape;
        let mut dots: Vec<Point3> = cut_pairs(path)
            .flat_map(|(a, b)| {
                let n = ((b - a).norm() / 0.1).ceil().max(1.0) as usize;
                (1..=n).map(move |k| a + (b - a) * (k as f64 / n as f64))
            })
            .collect();
        dots.sort_by(|a, b| a.y.total_cmp(&b.y));
        let centre = Point2::new(66.0, 150.0);
        let over = |(k, edge): (usize, &Point2)| {
            let share = 1.0 - 0.07 * (k / 5 % 13) as f64;
            let p = centre + (edge - centre) * share;
            let r = shape.radius();
            let first = dots.partition_point(|d| d.y < p.y - r);
            let near = dots[first..].iter().take_while(|d| d.y < p.y + r).filter(|d| (d.x - p.x).abs() < r);
            let stands = near.map(|d| d.z + shape.height_at((d.xy() - p).norm())).fold(f64::INFINITY, f64::min);
            let fine = 0.05;
            let z = |dx: f64, dy: f64| target.surface.sample(Point2::new(p.x + dx, p.y + dy)).unwrap();
            let slope =
                ((z(fine, 0.0) - z(-fine, 0.0)) / (2.0 * fine)).hypot((z(0.0, fine) - z(0.0, -fine)) / (2.0 * fine));
            let square = |stands: f64| (stands - z(0.0, 0.0)) / (1.0 + slope * slope).sqrt();
            // What even a tip that rests everywhere would leave is no fault of the path.
            let steps = (r / 0.25).floor() as i32;
            let rests =
                (-steps..=steps).flat_map(|b| (-steps..=steps).map(move |a| Vector2::new(f64::from(a), f64::from(b))));
            let rests = rests.map(|v| p + v * 0.25).map(|c| surface.reach(&shape, c) + shape.height_at((c - p).norm()));
            if square(rests.fold(f64::INFINITY, f64::min)) > 0.02 { 0.0 } else { square(stands) }
        };
        let mut over: Vec<f64> = target.outline.iter().enumerate().step_by(5).map(over).collect();
        over.sort_by(|a, b| b.total_cmp(a));
        over
    }

    /// With every rounded cutter and every strategy ridges stand no higher than ordered, but for the
    /// tolerance and the steps' second-order error; where fronts met, by half at most.
    #[test]
    fn everything_inside_the_outline_is_finished() {
        let target = footbed(0.5);
        let ball = Shape::ball(3.0).unwrap();
        let others = [Shape::ball(5.0).unwrap(), Shape::bull(4.0, 2.0).unwrap(), Shape::taper(1.5, 5.0, 3.0).unwrap()];
        let parallel = [Passes::Along, Passes::Across].map(|passes| (passes, ball));
        for (passes, shape) in parallel.into_iter().chain([ball].into_iter().chain(others).map(|s| (Passes::Rings, s)))
        {
            let mut cutting = cutting(passes);
            cutting.finishing.shape = shape;
            let path = finish(&target, &cutting, &no_time).unwrap();
            check_moves(&path, &target, &cutting);
            let over = standing(&target, &path);
            let most = if passes == Passes::Rings { 1.5 * 0.08 } else { 0.08 * 1.15 + 0.013 };
            assert!(over[0] <= most, "{} for {passes:?}, {shape:?}", over[0]);
            assert!(over[over.len() / 50] <= 0.08 * 1.05, "{} for {passes:?}, {shape:?}", over[over.len() / 50]);
        }
    }

    /// Rings never lift: one way down, one way up.
    #[test]
    fn rings_are_one_way() {
        let target = footbed(0.5);
        let path = finish(&target, &cutting(Passes::Rings), &no_time).unwrap();
        assert_eq!(path.moves.iter().filter(|m| m.motion == Motion::Rapid).count(), 3);
    }

    /// Material on the right of a cutter that turns clockwise is climbed into: clockwise rings, whose
    /// moves turn around more area to their right than to their left.
    #[test]
    fn rings_climb_unless_told_otherwise() {
        let target = footbed(1.0);
        for (sense, sign) in [(Sense::Climb, -1.0), (Sense::Conventional, 1.0)] {
            let cutting = Cutting { sense, ..cutting(Passes::Rings) };
            let path = finish(&target, &cutting, &no_time).unwrap();
            let area: f64 = cut_pairs(&path).map(|(a, b)| 0.5 * (a.x * b.y - b.x * a.y)).sum();
            assert!(sign * area > 10.0 * 265.0 * 60.0, "{area} for {sense:?}");
        }
    }

    #[test]
    fn rings_of_a_flat_end_are_refused() {
        let mut cutting = cutting(Passes::Rings);
        cutting.finishing.shape = Shape::flat(3.0).unwrap();
        assert!(matches!(finish(&footbed(1.0), &cutting, &no_time), Err(PathError::RingsFlat { .. })));
    }

    #[test]
    fn quickest_takes_the_lesser_time() {
        let target = footbed(1.0);
        let cutting = cutting(Passes::Quickest);
        let moves = |path: &Toolpath| path.moves.len() as f64;
        let fewer = finish(&target, &cutting, &moves).unwrap();
        let more = finish(&target, &cutting, &|path| -moves(path)).unwrap();
        assert!(fewer.moves.len() < more.moves.len());
    }

    #[test]
    fn an_outline_beyond_the_blank_is_refused_with_the_measure() {
        let mut target = footbed(1.0);
        target.blank.x1 = 100.0;
        let refused = finish(&target, &cutting(Passes::Along), &no_time).unwrap_err();
        assert!(matches!(refused, PathError::OutsideBlank { by_mm, .. } if by_mm > 5.0), "{refused}");
        target.outline.clear();
        assert!(matches!(finish(&target, &cutting(Passes::Along), &no_time), Err(PathError::Outline { .. })));
    }
}
