//! The design laid into the blank: heights to cut in the mill frame, with the shelf that goes on
//! outside the outline so that a cutter rolls over the edge.

use crate::curve::Outline;
use crate::footbed::Footbed;
use crate::frame::{Placement, Point2, Rect, Side, Vector3, bench_from_foot};
use crate::grid::{Grid, Lattice};
use crate::path::Target;
use crate::profile::{Blank, Machine};

/// The shelf reaches this far outside the outline, mm: the groove of the perimeter cutter and the
/// largest cutter's radius beyond it.
const SHELF_MM: f64 = 24.0;
/// The shelf begins this many lattice steps outside the outline, more than a cell's diagonal: so
/// no facet that covers a place of the piece reaches across the shelf's kink and cuts its rim.
const LEDGE_STEPS: f64 = 1.5;
/// Where the sheet falls away outside the outline, the shelf follows it down by at most this much,
/// mm: enough to finish the edge, little enough to leave the waste standing.
const SHELF_FALL_MM: f64 = 2.0;

/// Where the footbed lies in the blank: the outline's box centred, to the whole millimetre, so
/// that a technician can measure it.
pub fn mill_from_foot(outline: &Outline, side: Side, blank: &Blank) -> Placement {
    let bench = bench_from_foot(side);
    let bounds = outline.placed(bench).bounds();
    let centre = |lo: f64, hi: f64, size: f64| (0.5 * (size - lo - hi)).round();
    bench.then_moved(Vector3::new(
        centre(bounds.x0, bounds.x1, blank.width_mm),
        centre(bounds.y0, bounds.y1, blank.length_mm),
        0.0,
    ))
}

/// Highest that the blank's top may lie, mm: its scatter counts until it is measured.
pub fn blank_top_mm(blank: &Blank) -> f64 {
    blank.height_mm + if blank.measured { 0.0 } else { blank.scatter_mm }
}

/// The target on a lattice of `step_mm`. The lattice is laid in the foot frame and then placed, so
/// that a left and a right of the same values are cut from the same numbers.
pub fn target(footbed: &Footbed, placement: Placement, blank: &Blank, machine: &Machine, step_mm: f64) -> Target {
    let outline = footbed.outline.placed(placement);
    let top = blank_top_mm(blank);
    Target {
        surface: placed(&shelved(footbed, step_mm), placement),
        outline: outline.points().to_vec(),
        blank: Rect { x0: 0.0, y0: 0.0, x1: blank.width_mm, y1: blank.length_mm },
        blank_top_mm: top,
        safe_z_mm: top + machine.safe_above_blank_mm,
    }
}

/// The top inside the outline, the shelf outside, foot frame.
fn shelved(footbed: &Footbed, step_mm: f64) -> Grid {
    let lattice = Lattice::covering(footbed.outline.bounds().grown(SHELF_MM), step_mm);
    let sheet = footbed.top.sample(lattice);
    let distance = footbed.outline.distance_field(&lattice, SHELF_MM);
    let ledge_mm = LEDGE_STEPS * step_mm;
    let row_of = |p: Point2| ((p.y - lattice.y0) / step_mm).round() as usize;
    let column_of = |p: Point2| ((p.x - lattice.x0) / step_mm).round() as usize;
    Grid::from_fn(lattice, |p| {
        let (i, j) = (column_of(p), row_of(p));
        let own = sheet.at(i, j);
        if distance.at(i, j) <= 0.0 {
            return own;
        }
        let at = footbed.outline.nearest(p);
        let edge = footbed.top_at(at + (p - at) * (ledge_mm / distance.at(i, j)).min(1.0));
        own.min(edge).max(edge - SHELF_FALL_MM).max(0.0)
    })
}

/// A grid of the foot frame, seen in the placement's outer frame.
pub fn placed(grid: &Grid, placement: Placement) -> Grid {
    let lattice = grid.lattice;
    let first_column = if placement.mirrors() { lattice.nx - 1 } else { 0 };
    let corner = placement.place(lattice.node(first_column, 0));
    let mut z = grid.z.clone();
    if placement.mirrors() {
        z.chunks_mut(lattice.nx).for_each(<[f64]>::reverse);
    }
    z.iter_mut().for_each(|z| *z += placement.lift_mm());
    Grid { lattice: Lattice { x0: corner.x, y0: corner.y, ..lattice }, z }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mirrored_grid_has_the_same_heights_at_mirrored_places() {
        let lattice = Lattice { x0: -2.0, y0: 1.0, step: 0.5, nx: 7, ny: 5 };
        let grid = Grid::from_fn(lattice, |p| p.x + 10.0 * p.y);
        let placement = bench_from_foot(Side::Right).then_moved(Vector3::new(40.0, 3.0, 0.0));
        let seen = placed(&grid, placement);
        let p = Point2::new(-1.0, 2.0);
        assert_eq!(seen.sample(placement.place(p)), grid.sample(p));
    }
}
