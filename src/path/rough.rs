//! The roughing cut: parallel passes at fixed depths, skipping what is air by then.
//!
//! Every level runs over the same lines, and the tip of level k follows
//! `max(rest height, z_k)`. What stands under the tip is therefore known without carving: the
//! level before left it at `max(rest height, z_(k-1))`. So a level is cut only where the rest
//! height lies below the level before, takes nothing deeper than one step, and a rapid may come
//! down to what the level before left. Links between lines alone leave the lines; a stock that is
//! carved along tells how deep each would cut, and one that takes more than a step goes another
//! way or gives place to a lift.

use rayon::prelude::*;

use super::cover::cover;
use super::cutting::{LEAST_AIR_MM, check};
use super::finish::{clip, growth};
use super::heights::{Band, Heights, Hills, Sampling};
use super::outline::{Axis, Outline};
use super::passes::{Region, Run, Turn, evenly, zigzag};
use super::stock::Stock;
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3};
use crate::grid::Grid;
use crate::kernel::{Shape, Surface};
use crate::ticket::Passes;

/// Cleared beyond the perimeter cutter's width, so that its outer edge meets no wall (our own
/// choice).
pub(super) const CLEAR_MM: f64 = 1.5;

/// Distance of samples along a roughing pass (our own choice: curvatures of a footbed over 0.6 mm
/// stay far below any allowance).
const SAMPLE_MM: f64 = 0.6;

/// How far above its heights a roughing pass may run: less than any allowance (our own choice).
const TOLERANCE_MM: f64 = 0.1;

/// Node distance of the map that roughing follows (our own choice): on a footbed's hills, of radius 10 and
/// more, covering chords of a millimetre lifts it by 0.03 mm at most, far less than any allowance.
const COVER_STEP_MM: f64 = 1.0;

const BAND: Band = Band { below: 0.0, above: TOLERANCE_MM, shortest: SAMPLE_MM };

/// Links may span this much; beyond it lifting is quicker than cutting air (our own choice).
const LINK_MM: f64 = 40.0;

/// Less than this is no cut (our own choice).
const NO_CUT_MM: f64 = 0.02;

/// The roughing path: everything within the outline grown by the perimeter cutter's width, down to
/// the allowance.
pub fn rough(target: &Target, cutting: &Cutting) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let cover = cover_of(target)?;
    let plan = Plan::new(target, &cover, cutting)?;
    let mut trail = Trail::new(target, cutting);
    let mut stock = Stock::blank(target);
    for level in 0.. {
        if !plan.level(level, &mut trail, &mut stock) {
            break;
        }
    }
    if trail.is_empty() {
        return Err(PathError::Nothing { step: Step::Rough });
    }
    Ok(Toolpath {
        step: Step::Rough,
        cutter: cutting.roughing.clone(),
        spindle_rpm: cutting.spindle_rpm,
        moves: trail.finish(),
    })
}

/// The target as roughing follows it.
fn cover_of(target: &Target) -> Result<Grid, PathError> {
    Surface::check(&target.surface)?;
    Ok(cover(&target.surface, (COVER_STEP_MM / target.surface.lattice.step).floor() as usize))
}

/// The region that roughing clears: as wide as the perimeter cutter, and as wide as the finishing
/// cutter sweeps, so that neither meets a wall.
pub(super) fn cleared(target: &Target, cutting: &Cutting) -> Result<Region, PathError> {
    let outline = Outline::new(&target.outline)?;
    let perimeter = 2.0 * cutting.perimeter.shape.radius();
    let finishing = growth(target, cutting, &outline) + cutting.finishing.shape.radius();
    // Beyond the region the roughing cutter sweeps its radius, less what curved edges leave between
    // the ends of two passes.
    let swept = cutting.roughing.shape.radius() - side_step(cutting);
    let by = perimeter.max(finishing - swept) + CLEAR_MM;
    Ok(Region::new(outline.region(by)?, clip(target)))
}

/// Distance of roughing passes, mm.
pub(super) fn side_step(cutting: &Cutting) -> f64 {
    2.0 * cutting.roughing.shape.radius() * cutting.rough_step_share
}

struct Plan<'t> {
    cutting: &'t Cutting,
    axis: Axis,
    top: f64,
    /// The cutter with the allowance around it.
    grown: Shape,
    surface: Surface<'t>,
    /// Rest heights along every line, with the line's number.
    lines: Vec<(usize, Heights)>,
}

impl<'t> Plan<'t> {
    fn new(target: &Target, cover: &'t Grid, cutting: &'t Cutting) -> Result<Plan<'t>, PathError> {
        let region = cleared(target, cutting)?;
        let axis = if cutting.passes == Passes::Across { Axis::Y } else { Axis::X };
        let (low, high) = region.extent(axis);
        let inset = (0.5 * side_step(cutting)).min(0.5 * (high - low));
        let runs = region.runs(axis, &evenly(low + inset, high - inset, side_step(cutting)));
        let mut plan = Plan {
            cutting,
            axis,
            top: target.blank_top_mm,
            grown: cutting.roughing.shape.grown(cutting.allowance_mm),
            surface: Surface::new(cover)?,
            lines: Vec::new(),
        };
        plan.lines = runs.par_iter().map(|run| (run.pass, plan.rest_heights(run.from, run.to))).collect();
        Ok(plan)
    }

    fn rest_heights(&self, from: Point2, to: Point2) -> Heights {
        let sampling = Sampling {
            step: SAMPLE_MM,
            bulge: 0.5 * TOLERANCE_MM,
            dip: f64::INFINITY,
            hills: Hills::under(&self.grown),
        };
        Heights::along(from, to, sampling, |p| {
            (self.surface.reach(&self.grown, p) + self.cutting.allowance_mm).max(0.0)
        })
    }

    /// Height of the level's floor; level -1 is the blank's top.
    fn floor(&self, level: i32) -> f64 {
        self.top - f64::from(level + 1) * self.cutting.step_down_mm
    }

    /// Cuts one level; false when nothing was left to cut.
    fn level(&self, level: i32, trail: &mut Trail, stock: &mut Stock) -> bool {
        let (before, floor) = (self.floor(level - 1), self.floor(level));
        let stretches: Vec<(usize, Heights)> = self
            .lines
            .iter()
            .flat_map(|(pass, line)| line.stretches(before - NO_CUT_MM).into_iter().map(move |s| (*pass, s)))
            .collect();
        let runs: Vec<Run> = stretches
            .iter()
            .filter_map(|(pass, s)| Some(Run { pass: *pass, from: s.first()?.at, to: s.last()?.at }))
            .collect();
        for turn in zigzag(&runs, |a, b| (b - a).norm() <= LINK_MM) {
            let rest = &stretches[turn.run].1;
            let rest = if turn.backward { rest.reversed() } else { rest.clone() };
            let done = trail.moves().len();
            self.cut(trail, stock, turn, &rest, before, floor);
            let way: Vec<Point3> = trail.moves()[done.saturating_sub(1)..].iter().map(|m| m.to).collect();
            stock.cut(&self.cutting.roughing.shape, &way);
        }
        !runs.is_empty()
    }

    fn cut(&self, trail: &mut Trail, stock: &mut Stock, turn: Turn, rest: &Heights, before: f64, floor: f64) {
        let Some(first) = rest.first() else { return };
        match trail.last().filter(|_| turn.linked).and_then(|last| self.link(stock, last, rest, floor)) {
            Some(link) => link.into_iter().skip(1).for_each(|p| trail.cut_to(p)),
            None => {
                let standing = first.z.max(before);
                trail.enter_over(first.at, standing + LEAST_AIR_MM);
                self.ramp(trail, rest, standing, floor);
            }
        }
        rest.raised(floor).thinned(BAND).into_iter().for_each(|p| trail.cut_to(p));
    }

    /// A way on the surface from `last` to where the next stretch begins that never takes more than a
    /// step: straight, along one of the two lines and square across to the other, or square across
    /// where both lines are cut on either side of it.
    fn link(&self, stock: &mut Stock, last: Point3, rest: &Heights, floor: f64) -> Option<Vec<Point3>> {
        let (from, to) = (last.xy(), rest.first()?.at);
        let back = self.drawn_back(from, to, rest.last()?.at);
        let ways = [vec![], vec![Point2::new(to.x, from.y)], vec![Point2::new(from.x, to.y)], back];
        ways.into_iter().find_map(|turns| {
            let places: Vec<Point2> = std::iter::once(from).chain(turns).chain(std::iter::once(to)).collect();
            let legs = places.windows(2).map(|leg| self.rest_heights(leg[0], leg[1]).raised(floor).thinned(BAND));
            let way: Vec<Point3> = legs.flatten().collect();
            let deepest = self.cutting.step_down_mm + TOLERANCE_MM;
            (stock.depth(&self.cutting.roughing.shape, &way) <= deepest).then_some(way)
        })
    }

    /// Where a link square across leaves two neighbouring lines, drawn back from the ends of both so
    /// far that it keeps within what a cutter at those ends leaves open between the lines.
    fn drawn_back(&self, from: Point2, to: Point2, to_end: Point2) -> Vec<Point2> {
        /// Kept from the cusp that the two ends leave, mm (our own choice).
        const CLEAR_MM: f64 = 0.2;
        let radius = self.cutting.roughing.shape.radius();
        let ((from_kept, from_on), (to_kept, to_on)) = (self.axis.split(from), self.axis.split(to));
        let half = (0.5 * (to_kept - from_kept)).abs().min(radius);
        let cusp = radius - (radius * radius - half * half).sqrt() + CLEAR_MM;
        let end = self.axis.split(to_end).1;
        let on = if end > to_on { (from_on.max(to_on) + cusp).min(end) } else { (from_on.min(to_on) - cusp).max(end) };
        vec![self.axis.join(from_kept, on), self.axis.join(to_kept, on)]
    }

    /// Down along the stretch from the height that stands to the floor, and back at the bottom, so
    /// that the stretch itself starts at full depth.
    fn ramp(&self, trail: &mut Trail, rest: &Heights, standing: f64, floor: f64) {
        let (Some(first), Some(last)) = (rest.first(), rest.last()) else { return };
        let depth = standing - first.z.max(floor);
        trail.cut_to(Point3::new(first.at.x, first.at.y, standing));
        if depth <= NO_CUT_MM {
            return;
        }
        let slope = self.cutting.ramp_deg.to_radians().tan().max(depth / (last.s - first.s).max(SAMPLE_MM));
        let mut down = rest.raised(floor);
        for p in &mut down.places {
            p.z = p.z.max(standing - slope * (p.s - first.s));
        }
        let bottom = down.places.iter().zip(&rest.places).position(|(d, r)| d.z <= r.z.max(floor));
        down.places.truncate(bottom.map_or(down.places.len(), |k| k + 1));
        let mut back = rest.raised(floor);
        back.places.truncate(down.places.len());
        let back = back.reversed();
        down.thinned(BAND).into_iter().chain(back.thinned(BAND)).for_each(|p| trail.cut_to(p));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Lattice;
    use crate::kernel::Sweep;
    use crate::path::Motion;
    use crate::path::testbed::{Stock, check_moves, cutting, footbed};

    /// On a dumb stock: no engagement deeper than a step, no rapid that touches anything, and
    /// nothing below the allowance.
    #[test]
    fn levels_are_never_deeper_than_a_step_and_rapids_stay_in_air() {
        let target = footbed(0.5);
        let shapes = [Shape::flat(5.0).unwrap(), Shape::ball(4.0).unwrap(), Shape::bull(5.0, 1.0).unwrap()];
        for (passes, shape) in [Passes::Along, Passes::Across].into_iter().flat_map(|p| shapes.map(|s| (p, s))) {
            let mut cutting = cutting(passes);
            cutting.roughing.shape = shape;
            let path = rough(&target, &cutting).unwrap();
            check_moves(&path, &target, &cutting);
            let (deepest, struck) = Stock::blank(&target).carry_out(&path);
            assert!(deepest <= cutting.step_down_mm + TOLERANCE_MM, "{passes:?} {shape:?}: {deepest} mm at once");
            assert!(deepest > 0.9 * cutting.step_down_mm);
            assert!(struck < 1e-9, "{passes:?} {shape:?}: a rapid takes {struck} mm");
            let surface = Surface::new(&target.surface).unwrap();
            for m in path.moves.iter().filter(|m| matches!(m.motion, Motion::Feed(_))) {
                let rest = surface.reach(&cutting.roughing.shape, m.to.xy());
                assert!(m.to.z >= rest + cutting.allowance_mm - 1e-6, "{} over {rest}", m.to);
            }
        }
    }

    /// On a stock finer than a chip and off the planner's own nodes, carved by the kernel: nothing is
    /// taken deeper than a step anywhere, slivers between links and lines included.
    #[test]
    fn no_sliver_is_left_standing_for_a_later_level() {
        let target = footbed(0.5);
        let cases = [(Passes::Along, 3.0, 0.45, 6.0), (Passes::Across, 6.0, 0.45, 3.0), (Passes::Along, 5.0, 0.9, 2.0)];
        for (passes, radius, share, step_down) in cases {
            let mut cutting = cutting(passes);
            cutting.roughing.shape = Shape::flat(radius).unwrap();
            (cutting.rough_step_share, cutting.step_down_mm) = (share, step_down);
            let path = rough(&target, &cutting).unwrap();
            let lattice = Lattice::covering(target.blank, 0.3);
            let mut stock = Grid::filled(lattice, target.blank_top_mm);
            let (mut deepest, mut at, mut row) = (0.0f64, 0, Vec::new());
            for (k, leg) in path.moves.windows(2).enumerate() {
                let sweep = Sweep::new(&cutting.roughing.shape, leg[0].to, leg[1].to);
                for j in sweep.rows(&lattice) {
                    let columns = sweep.columns(&lattice, j);
                    sweep.row(&lattice, j, columns.clone(), &mut row);
                    for (z, left) in stock.z[j * lattice.nx..][columns].iter_mut().zip(&row) {
                        (deepest, at) = if *z - left > deepest { (*z - left, k) } else { (deepest, at) };
                        *z = z.min(*left);
                    }
                }
            }
            assert!(deepest <= step_down + TOLERANCE_MM, "{passes:?} {radius}: {deepest} mm by move {at}");
        }
    }

    /// Inside the cleared region nothing is left higher than what a flat cutter's stairs explain.
    #[test]
    fn the_region_is_cleared() {
        /// What the coarse cover may lift the surface by, as its constant says.
        const COVER_LIFT_MM: f64 = 0.03;
        let target = footbed(0.5);
        let cutting = cutting(Passes::Along);
        let mut stock = Stock::blank(&target);
        stock.carry_out(&rough(&target, &cutting).unwrap());
        let region = cleared(&target, &cutting).unwrap();
        let wide = Shape::Flat { radius: cutting.roughing.shape.radius() + 0.5 * side_step(&cutting) + 1.0 };
        let surface = Surface::new(&target.surface).unwrap();
        let lat = stock.columns.lattice;
        for k in 0..lat.len() {
            let p = lat.node(k % lat.nx, k / lat.nx);
            if region.contains(p) {
                let most = surface.reach(&wide, p) + cutting.allowance_mm + TOLERANCE_MM + COVER_LIFT_MM;
                assert!(stock.columns.z[k] <= most, "{} left at {p}, at most {most}", stock.columns.z[k]);
            }
        }
    }
}
