//! The design laid into the blank: heights to cut in the mill frame, with the shelf that goes on
//! outside the outline so that a cutter rolls over the edge.

use rayon::prelude::*;

use super::lay::Face;
use crate::footbed::Footbed;
use crate::frame::{Placement, Point2, Rect, Vector2};
use crate::grid::{Grid, Lattice};
use crate::path::Target;
use crate::profile::{Blank, Cutter};
use crate::ticket::Make;

/// The shelf reaches this far beyond the perimeter cutter's groove and the largest cutter's radius
/// beyond that, mm: room for the roughing passes' own margin.
const SHELF_MARGIN_MM: f64 = 4.0;
/// The shelf begins this many lattice steps outside the outline, more than a cell's diagonal: so
/// no facet that covers a place of the piece reaches across the shelf's kink and cuts its rim.
const LEDGE_STEPS: f64 = 1.5;
/// Where the sheet falls away outside the outline, the shelf follows it down by at most this much,
/// mm: enough to finish the edge, little enough to leave the waste standing.
pub(super) const SHELF_FALL_MM: f64 = 2.0;

/// Highest that the blank's top may lie, mm: its scatter counts until it is measured.
pub fn blank_top_mm(blank: &Blank) -> f64 {
    blank.height_mm + if blank.measured { 0.0 } else { blank.scatter_mm }
}

/// The target on a lattice of `step_mm`. The lattice is laid in the foot frame and then placed, so
/// that a left and a right of the same values are cut from the same numbers.
pub fn target(footbed: &Footbed, placement: Placement, make: &Make, step_mm: f64) -> Target {
    let outline = footbed.outline.placed(placement);
    let blank = &make.blank;
    Target {
        surface: placed(&shelved(footbed, shelf_mm(make), make.hold.floor_mm(), step_mm), placement),
        outline: outline.points().to_vec(),
        blank: Rect { x0: 0.0, y0: 0.0, x1: blank.width_mm, y1: blank.length_mm },
        blank_top_mm: blank_top_mm(blank),
        safe_z_mm: safe_z_mm(Face::Top, make),
    }
}

/// The design's underside on the lattice of [`target`], placed as that is.
pub(super) fn underside(footbed: &Footbed, placement: Placement, make: &Make, step_mm: f64) -> Grid {
    let lattice = Lattice::covering(footbed.outline.bounds().grown(shelf_mm(make)), step_mm);
    placed(&footbed.underside_sampled(lattice), placement)
}

/// Height at which rapids in x and y are made while this face is cut, mm: over the blank and over
/// every clamp.
pub fn safe_z_mm(face: Face, make: &Make) -> f64 {
    let top = match face {
        Face::Top => blank_top_mm(&make.blank),
        Face::Under => make.blank.height_mm,
    };
    (top + make.machine.safe_above_blank_mm).max(make.above_clamps_mm())
}

/// How far outside the outline any cutter's edge may reach.
pub(super) fn shelf_mm(make: &Make) -> f64 {
    let radius = |cutter: &Cutter| cutter.shape.radius();
    let cutters = [&make.roughing, &make.finishing, &make.perimeter].into_iter().chain(&make.rest);
    let widest = cutters.map(radius).fold(0.0, f64::max);
    2.0 * radius(&make.perimeter) + widest + SHELF_MARGIN_MM
}

/// The top inside the outline, the shelf outside and no lower than `floor_mm`, foot frame.
fn shelved(footbed: &Footbed, shelf_mm: f64, floor_mm: f64, step_mm: f64) -> Grid {
    let lattice = Lattice::covering(footbed.outline.bounds().grown(shelf_mm), step_mm);
    let mut grid = footbed.top.sample(lattice);
    let distance = footbed.outline.distance_field(&lattice, shelf_mm);
    let ledge_mm = LEDGE_STEPS * step_mm;
    grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
        for (i, z) in row.iter_mut().enumerate() {
            let d = distance.at(i, j);
            if d > ledge_mm {
                // The distance's own slope points away from the edge; out here, where only waste
                // is cut, differences on the lattice are good enough.
                let edge = footbed.top_at(lattice.node(i, j) - outward(&distance, i, j) * (d - ledge_mm));
                *z = z.min(edge).max(edge - SHELF_FALL_MM).max(floor_mm);
            }
        }
    });
    grid
}

/// The shelf's height at one place outside the outline, by the same rule; for questions, never for
/// cuts.
pub(super) fn shelf_height(footbed: &Footbed, p: Point2) -> f64 {
    let edge = footbed.top_at(footbed.outline.nearest(p));
    footbed.top_at(p).min(edge).max(edge - SHELF_FALL_MM).max(0.0)
}

/// Unit vector away from the outline at a node outside it, from differences of the distance.
fn outward(distance: &Grid, i: usize, j: usize) -> Vector2 {
    let (nx, ny) = (distance.lattice.nx, distance.lattice.ny);
    let dx = distance.at((i + 1).min(nx - 1), j) - distance.at(i.saturating_sub(1), j);
    let dy = distance.at(i, (j + 1).min(ny - 1)) - distance.at(i, j.saturating_sub(1));
    Vector2::new(dx, dy).try_normalize(1e-12).unwrap_or_default()
}

/// A grid of the foot frame, seen in the placement's outer frame.
pub fn placed(grid: &Grid, placement: Placement) -> Grid {
    let lattice = grid.lattice;
    let [x_runs_back, y_runs_back, _] = placement.signs().map(|sign| sign < 0.0);
    let first = |runs_back, count: usize| if runs_back { count - 1 } else { 0 };
    let corner = placement.place(lattice.node(first(x_runs_back, lattice.nx), first(y_runs_back, lattice.ny)));
    let mut z = grid.z.clone();
    // Reversed from end to end, both axes run back; reversed row by row, x alone.
    if y_runs_back {
        z.reverse();
    }
    if x_runs_back != y_runs_back {
        z.chunks_mut(lattice.nx).for_each(<[f64]>::reverse);
    }
    z.iter_mut().for_each(|z| *z = placement.place_height(*z));
    Grid { lattice: Lattice { x0: corner.x, y0: corner.y, ..lattice }, z }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Side, Vector3, bench_from_foot};

    #[test]
    fn a_placed_grid_has_the_same_heights_at_placed_places() {
        let lattice = Lattice { x0: -2.0, y0: 1.0, step: 0.5, nx: 7, ny: 5 };
        let grid = Grid::from_fn(lattice, |p| p.x + 10.0 * p.y);
        let mirrored = bench_from_foot(Side::Right).then_moved(Vector3::new(40.0, 3.0, 0.0));
        let p = Point2::new(-1.0, 2.0);
        for placement in [mirrored, mirrored.then_half_turned(), mirrored.then_turned_over()] {
            let seen = placed(&grid, placement).sample(placement.place(p)).unwrap();
            assert_eq!(placement.unplace_height(seen), grid.sample(p).unwrap());
        }
    }
}
