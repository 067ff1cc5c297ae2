//! The rest cut: a smaller round cutter goes only where the finishing cutter is too large to leave
//! the ordered surface. Knows what ideal paths of both cutters would leave; carves nothing.

use rayon::prelude::*;

use super::cutting::{LEAST_AIR_MM, check, shortest};
use super::finish::{RAISED_SHARE, above_mm, clip, growth, sample_step};
use super::heights::{Band, Heights, Hills, Sampling};
use super::metric::Metric;
use super::outline::{Axis, Outline};
use super::passes::{Region, Run, Turn, zigzag};
use super::sidestep::{axis_beyond_contact, plane_step};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3, Rect};
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Surface, beyond_reach};
use crate::profile::Cutter;
use crate::ticket::Passes;

/// The finishing cutter counts as too large where it would leave more than this share of the
/// scallop height: ridges stand on what it leaves, and both together shall stay about as low as ordered
/// (our own choice).
const LEFT_SHARE: f64 = 0.5;

/// The smaller cutter is worth its way where it takes away at least this share of what the
/// finishing cutter leaves (our own choice).
const GAIN_SHARE: f64 = 0.25;

/// How far the passes go on beyond such a place, mm: there both cutters reach the surface and one
/// blends into the other (our own choice).
const BLEND_MM: f64 = 1.0;

/// Links on the surface may span this much; beyond it lifting is quicker (our own choice).
const LINK_MM: f64 = 20.0;

/// Straight links may be this many side steps long, as in finishing.
const STRAIGHT_STEPS: f64 = 4.0;

/// The path of `cutter` over what `cutting.finishing` cannot reach; `None` where that is nothing.
/// It runs after the finish.
pub fn rest(target: &Target, cutting: &Cutting, cutter: &Cutter) -> Result<Option<Toolpath>, PathError> {
    check(target, cutting)?;
    let surface = Surface::new(&target.surface)?;
    let outline = Outline::new(&target.outline)?;
    let Some(places) = Places::new(target, cutting, &cutter.shape, &outline) else { return Ok(None) };
    let own = Cutting { finishing: cutter.clone(), ..cutting.clone() };
    // Never beyond what finishing has swept.
    let by = growth(target, &own, &outline).min(growth(target, cutting, &outline));
    let within = overlap(clip(target), places.rect);
    let region = Region::new(outline.region(by)?, within);
    let scallop = own.scallop_mm - RAISED_SHARE * above_mm(&own);
    let metric = Metric::new(&surface, &cutter.shape, scallop, &outline, by, within);
    let plan = Plan::new(target, own, surface, region);
    let axis = if cutting.passes == Passes::Along { Axis::X } else { Axis::Y };
    Ok(plan.toolpath(&plan.runs(axis, &metric, &places)))
}

/// Where the smaller cutter's axis has something to do.
struct Places {
    lattice: Lattice,
    asked: Vec<bool>,
    /// Around all of them.
    rect: Rect,
}

impl Places {
    /// `None` where the finishing cutter reaches everything, or the smaller one does no better.
    fn new(target: &Target, cutting: &Cutting, shape: &Shape, outline: &Outline) -> Option<Places> {
        let inside = inside(&target.surface.lattice, outline);
        let left = |shape: Shape| beyond_reach(&target.surface, &inside, &[shape]);
        let (finish, rest) = rayon::join(|| left(cutting.finishing.shape), || left(*shape));
        let (finish, rest) = (finish?, rest?);
        let lattice = finish.lattice;
        let heights = target.surface.resampled(lattice, 0.0);
        let most = LEFT_SHARE * cutting.scallop_mm;
        let mut steepest = 0.0f64;
        let worth: Vec<bool> = (0..lattice.len())
            .map(|k| {
                let slope = slope(&heights, k % lattice.nx, k / lattice.nx);
                let across = finish.z[k] / (1.0 + slope * slope).sqrt();
                let worth = across > most && finish.z[k] - rest.z[k] > GAIN_SHARE * finish.z[k];
                steepest = if worth { steepest.max(slope) } else { steepest };
                worth
            })
            .collect();
        // The axis stands beside what the cutter touches by no more than this.
        let beside = axis_beyond_contact(shape, steepest) + BLEND_MM;
        let asked = grown(&worth, &lattice, beside);
        let rect = Rect::around(&nodes(&asked, &lattice).collect::<Vec<_>>())?;
        Some(Places { lattice, asked, rect })
    }

    fn is_asked(&self, p: Point2) -> bool {
        let near = |at: f64, start: f64, n: usize| {
            let k = ((at - start) / self.lattice.step).round();
            (k >= 0.0 && k < n as f64).then_some(k as usize)
        };
        let (i, j) = (near(p.x, self.lattice.x0, self.lattice.nx), near(p.y, self.lattice.y0, self.lattice.ny));
        i.zip(j).is_some_and(|(i, j)| self.asked[j * self.lattice.nx + i])
    }

    /// The pieces of a run over these places.
    fn cut(&self, run: &Run) -> Vec<Run> {
        let (length, step) = ((run.to - run.from).norm(), self.lattice.step);
        let n = (length / step).ceil().max(1.0) as usize;
        let at = |k: usize| run.from + (run.to - run.from) * (k as f64 / n as f64);
        let asked: Vec<usize> = (0..=n).filter(|&k| self.is_asked(at(k))).collect();
        let pieces = asked.chunk_by(|a, b| b - a == 1).filter_map(|piece| Some((*piece.first()?, *piece.last()?)));
        pieces.filter(|(a, b)| b > a).map(|(a, b)| Run { pass: run.pass, from: at(a), to: at(b) }).collect()
    }
}

/// The nodes within the outline.
fn inside(lattice: &Lattice, outline: &Outline) -> Vec<bool> {
    let mut inside = vec![false; lattice.len()];
    inside.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
        let spans = outline.cut(Axis::Y, lattice.node(0, j).y);
        for (i, inside) in row.iter_mut().enumerate() {
            let x = lattice.node(i, j).x;
            *inside = spans.iter().any(|&(a, b)| x >= a && x <= b);
        }
    });
    inside
}

/// Greatest slope of the heights at a node.
fn slope(heights: &Grid, i: usize, j: usize) -> f64 {
    let Lattice { step, nx, ny, .. } = heights.lattice;
    let rise = |(i0, j0): (usize, usize), (i1, j1): (usize, usize)| {
        let cells = (i1 - i0 + j1 - j0).max(1) as f64;
        (heights.at(i1, j1) - heights.at(i0, j0)) / (cells * step)
    };
    let across = rise((i.saturating_sub(1), j), ((i + 1).min(nx - 1), j));
    across.hypot(rise((i, j.saturating_sub(1)), (i, (j + 1).min(ny - 1))))
}

/// All nodes within `by` mm of a marked one.
fn grown(marked: &[bool], lattice: &Lattice, by: f64) -> Vec<bool> {
    let (nx, ny) = (lattice.nx, lattice.ny);
    let cells = (by / lattice.step).floor();
    // Half the width of the disc in each of its rows.
    let widths: Vec<usize> =
        (0..=cells as usize).map(|dj| (cells * cells - (dj * dj) as f64).sqrt() as usize).collect();
    let mut out = vec![false; marked.len()];
    for (j, row) in marked.chunks(nx).enumerate() {
        let ends: Vec<usize> = (0..nx).filter(|&i| row[i]).collect();
        for piece in ends.chunk_by(|a, b| b - a == 1) {
            let (Some(&first), Some(&last)) = (piece.first(), piece.last()) else { continue };
            for (dj, width) in widths.iter().enumerate() {
                let span = first.saturating_sub(*width)..(last + width + 1).min(nx);
                for line in [j.checked_sub(dj), Some(j + dj).filter(|&line| line < ny)].into_iter().flatten() {
                    out[line * nx..][span.clone()].fill(true);
                }
            }
        }
    }
    out
}

fn nodes<'a>(marked: &'a [bool], lattice: &'a Lattice) -> impl Iterator<Item = Point2> + 'a {
    let marked = marked.iter().enumerate().filter(|(_, marked)| **marked);
    marked.map(|(k, _)| lattice.node(k % lattice.nx, k / lattice.nx))
}

fn overlap(a: Rect, b: Rect) -> Rect {
    Rect { x0: a.x0.max(b.x0), y0: a.y0.max(b.y0), x1: a.x1.min(b.x1), y1: a.y1.min(b.y1) }
}

/// The passes of the smaller cutter.
struct Plan<'t> {
    target: &'t Target,
    /// With the smaller cutter as the one that finishes.
    cutting: Cutting,
    surface: Surface<'t>,
    region: Region,
    sampling: Sampling,
}

impl<'t> Plan<'t> {
    fn new(target: &'t Target, cutting: Cutting, surface: Surface<'t>, region: Region) -> Plan<'t> {
        let shape = cutting.finishing.shape;
        let sampling = Sampling {
            step: sample_step(&shape, target.surface.lattice.step, cutting.gouge_mm),
            bulge: cutting.gouge_mm / 3.0,
            dip: above_mm(&cutting),
            hills: Hills::under(&shape),
        };
        Plan { target, cutting, surface, region, sampling }
    }

    fn shape(&self) -> &Shape {
        &self.cutting.finishing.shape
    }

    fn runs(&self, axis: Axis, metric: &Metric, places: &Places) -> Vec<Run> {
        let (low, high) = self.region.extent(axis);
        let lattice = metric.lattice;
        let node = |k: usize| lattice.node(k % lattice.nx, k / lattice.nx);
        let asked: Vec<bool> = (0..lattice.len()).map(|k| places.is_asked(node(k))).collect();
        let runs = self.region.runs(axis, &metric.places(axis, &asked, low, high));
        runs.iter().flat_map(|run| places.cut(run)).collect()
    }

    fn toolpath(&self, runs: &[Run]) -> Option<Toolpath> {
        let turns = zigzag(runs, |a, b| self.corner(a, b).is_some());
        let cut: Vec<Vec<Point3>> = turns.par_iter().map(|turn| self.points(runs, *turn)).collect();
        let mut trail = Trail::new(self.target, &self.cutting);
        for (turn, points) in turns.iter().zip(&cut) {
            let Some(first) = points.first() else { continue };
            match trail.last().filter(|_| turn.linked).and_then(|last| self.link(last.xy(), first.xy())) {
                Some(link) => link.into_iter().for_each(|p| trail.cut_to(p)),
                None => trail.enter_over(first.xy(), self.target.blank_top_mm + LEAST_AIR_MM),
            }
            points.iter().for_each(|p| trail.cut_to(*p));
        }
        (!trail.is_empty()).then(|| Toolpath {
            step: Step::Rest,
            cutter: self.cutting.finishing.clone(),
            spindle_rpm: self.cutting.spindle_rpm,
            moves: trail.finish(),
        })
    }

    fn points(&self, runs: &[Run], turn: Turn) -> Vec<Point3> {
        let run = runs[turn.run];
        let heights = self.heights(run.from, run.to);
        let heights = if turn.backward { heights.reversed() } else { heights };
        heights.thinned(self.band())
    }

    fn link(&self, from: Point2, to: Point2) -> Option<Vec<Point3>> {
        let corner = self.corner(from, to)?;
        let legs = [(from, corner), (corner, to)].map(|(a, b)| self.heights(a, b).thinned(self.band()));
        Some(legs.concat())
    }

    /// Where a link on the surface turns, if it is short enough and stays in the region.
    fn corner(&self, from: Point2, to: Point2) -> Option<Point2> {
        let length = (to - from).norm();
        if length <= STRAIGHT_STEPS * plane_step(self.shape(), self.cutting.scallop_mm) {
            return Some(from);
        }
        let corners = [Point2::new(to.x, from.y), Point2::new(from.x, to.y)];
        corners.into_iter().find(|c| length <= LINK_MM && self.region.contains(*c))
    }

    fn heights(&self, from: Point2, to: Point2) -> Heights {
        let top = self.target.blank_top_mm + LEAST_AIR_MM;
        Heights::along(from, to, self.sampling, |p| self.surface.reach(self.shape(), p).clamp(0.0, top))
    }

    fn band(&self) -> Band {
        // A third of the gouge share is kept for what may hide between samples.
        let below = self.cutting.gouge_mm * 2.0 / 3.0;
        Band { below, above: above_mm(&self.cutting), shortest: shortest(&self.cutting) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::Motion;
    use crate::path::testbed::{check_moves, cutter, cutting, plane};

    /// A plane with a round groove of radius 3 along y, 2.5 mm deep, in its middle.
    fn grooved() -> Target {
        let mut target = plane(0.0, 0.0);
        let lattice = target.surface.lattice;
        target.surface = Grid::from_fn(lattice, |p| {
            let off = (p.x - 50.0).abs();
            let groove = 3.5 - (9.0 - off * off).max(0.0).sqrt();
            if off < 3.0 { groove.min(3.0) } else { 3.0 }
        });
        (target.blank_top_mm, target.safe_z_mm) = (5.0, 12.0);
        target
    }

    fn large() -> Cutting {
        let mut cutting = cutting(Passes::Quickest);
        cutting.finishing = cutter("ball 10", Shape::ball(5.0).unwrap());
        cutting
    }

    #[test]
    fn only_the_groove_is_visited_and_at_exact_rest_heights() {
        let (target, cutting) = (grooved(), large());
        let small = cutter("ball 4", Shape::ball(2.0).unwrap());
        let path = rest(&target, &cutting, &small).unwrap().unwrap();
        check_moves(&path, &target, &cutting);
        let surface = Surface::new(&target.surface).unwrap();
        let feeds = path.moves.iter().filter(|m| matches!(m.motion, Motion::Feed(_)));
        for m in feeds.clone() {
            let over = m.to.z - surface.reach(&small.shape, m.to.xy());
            assert!((-1e-6..=0.0131).contains(&over), "{over} at {}", m.to);
            // Half the groove, the ball's radius and the blend.
            assert!((m.to.x - 50.0).abs() <= 3.0 + 2.0 + BLEND_MM, "{}", m.to);
        }
        // It runs along the whole of it, the piece being 80 mm long.
        let (low, high) = feeds.fold((f64::MAX, f64::MIN), |(a, b), m| (a.min(m.to.y), b.max(m.to.y)));
        assert!(low < 21.0 && high > 99.0, "{low} to {high}");
    }

    #[test]
    fn nothing_is_done_where_nothing_is_left() {
        let small = cutter("ball 4", Shape::ball(2.0).unwrap());
        assert!(rest(&plane(0.3, 0.1), &large(), &small).unwrap().is_none());
        // The same cutter again does no better.
        let same = large().finishing;
        assert!(rest(&grooved(), &large(), &same).unwrap().is_none());
    }
}
