//! The rest cut: a smaller round cutter goes only where the finishing cutter is too large to leave
//! the ordered surface. Knows what ideal paths of both cutters would leave; carves nothing.

use super::cutting::check;
use super::finish::{clip, growth};
use super::metric::{Metric, inside};
use super::outline::{Axis, Outline};
use super::passes::{Region, Run};
use super::sidestep::axis_beyond_contact;
use super::surfacing::{Surfacing, planned_scallop_mm};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Rect};
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
    let within = clip(target).overlap(places.rect);
    let region = Region::new(outline.region(by)?, within);
    let metric = Metric::new(&surface, &cutter.shape, planned_scallop_mm(&own), &outline, by, within);
    let axis = if cutting.passes == Passes::Along { Axis::X } else { Axis::Y };
    let runs = places.runs(axis, &metric, &region);
    let on = Surfacing::new(target, own, surface, region);
    let mut trail = Trail::new(target, &on.cutting);
    on.cut(&runs, &on.turns(&runs), &mut trail);
    Ok((!trail.is_empty()).then(|| on.toolpath(Step::Rest, trail)))
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

    /// The passes over these places.
    fn runs(&self, axis: Axis, metric: &Metric, region: &Region) -> Vec<Run> {
        let (low, high) = region.extent(axis);
        let lattice = metric.lattice;
        let node = |k: usize| lattice.node(k % lattice.nx, k / lattice.nx);
        let asked: Vec<bool> = (0..lattice.len()).map(|k| self.is_asked(node(k))).collect();
        let runs = region.runs(axis, &metric.places(axis, &asked, low, high));
        runs.iter().flat_map(|run| self.cut(run)).collect()
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
