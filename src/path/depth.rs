//! Where the tip has to go, and how many passes deep every place lies inside of it. Knows the metric and
//! the outline; knows no paths.

use super::PathError;
use super::form::{Form, distances};
use super::front::arrivals;
use super::metric::{Metric, inside};
use super::outline::Outline;
use crate::frame::Point2;
use crate::grid::contour::{loops_above, signed_area};
use crate::grid::{Grid, Lattice};

/// How deep every node lies inside the region, in passes; negative outside of it.
pub(super) struct Depth {
    pub(super) grid: Grid,
}

/// Nodes this many lattice steps or less from the region's edge get their depth from the edge
/// itself, so that the front sets out smoothly.
const SEED_STEPS: f64 = 1.5;

/// Depth is known this far outside, in passes.
const OUTSIDE: f64 = 1.5;

/// The region goes on where the cutter touches this far outside the outline, mm: what the map may be
/// off, and less than a rim that the cutter only rolls over (our own choice).
const MARGIN_MM: f64 = 0.15;

/// Pieces of region smaller than this are noise of the map, mm2.
const LEAST_AREA_MM2: f64 = 4.0;

impl Depth {
    /// The region is everywhere that the tip rests touching a place inside the outline: `touches` says how
    /// far outside.
    pub(super) fn new(metric: &Metric, touches: &Grid) -> Result<Depth, PathError> {
        let lattice = metric.lattice;
        let inward = Grid { lattice, z: touches.z.iter().map(|d| -d).collect() };
        let loops = loops_above(&inward, -MARGIN_MM).into_iter().filter(|points| signed_area(points) > LEAST_AREA_MM2);
        let region: Vec<Outline> = loops.map(|points| Outline::new(&points)).collect::<Result<_, _>>()?;
        let mut within = vec![false; lattice.len()];
        for outline in &region {
            within.iter_mut().zip(inside(&lattice, outline)).for_each(|(within, inside)| *within |= inside);
        }
        let edges: Vec<Vec<Point2>> = region.into_iter().map(|outline| outline.points).collect();
        Ok(Depth { grid: signed(&lattice, &metric.forms(), &edges, &within) })
    }

    /// Depth at `p`; far outside off the map.
    pub(super) fn at(&self, p: Point2) -> f64 {
        self.grid.sample(p).unwrap_or(-OUTSIDE)
    }

    /// The largest loop at this depth.
    pub(super) fn around(&self, depth: f64) -> Result<Outline, PathError> {
        let loops = loops_above(&self.grid, depth);
        let widest = loops.into_iter().max_by(|a, b| signed_area(a).total_cmp(&signed_area(b)));
        let none = || PathError::Outline { why: "the cutter finds no place inside it".into() };
        Outline::new(&widest.ok_or_else(none)?)
    }
}

fn signed(lattice: &Lattice, forms: &[Option<Form>], edges: &[Vec<Point2>], within: &[bool]) -> Grid {
    let seeds = distances(lattice, edges, SEED_STEPS * lattice.step, |k| forms[k]);
    let side = |wanted: bool, limit: f64| {
        let open: Vec<Option<Form>> = forms.iter().zip(within).map(|(f, w)| f.filter(|_| *w == wanted)).collect();
        let own = seeds.iter().zip(within).map(|(s, w)| if *w == wanted { *s } else { f64::INFINITY }).collect();
        arrivals(lattice, &open, own, limit)
    };
    let (deep, out) = (side(true, f64::INFINITY), side(false, OUTSIDE));
    let depth = |(k, within): (usize, &bool)| {
        // A place inside that no front reaches has no tip height; nothing is cut there.
        if *within && deep[k].is_finite() { deep[k] } else { -out[k].min(OUTSIDE) }
    };
    Grid { lattice: *lattice, z: within.iter().enumerate().map(depth).collect() }
}
