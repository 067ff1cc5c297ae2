//! A coarse map that lies on or over a fine one everywhere: for cuts that leave an allowance, where
//! a hundredth too high costs nothing and a coarse map answers many times quicker. Knows no cutters.

use rayon::prelude::*;

use crate::grid::{Grid, Lattice};

/// The map on every `every`-th node, lifted until no facet of the fine one stands above it.
///
/// Both meshes cut their cells along the same diagonal, so every fine facet lies within one coarse
/// facet and its highest excess over it stands at a node. Each coarse node is lifted by the greatest
/// excess of the cells around it. Beyond the fine map's last rows the coarse one goes on level.
pub(super) fn cover(fine: &Grid, every: usize) -> Grid {
    let every = every.max(1);
    let lat = fine.lattice;
    let cells = |n: usize| n.saturating_sub(1).div_ceil(every).max(1);
    let (cx, cy) = (cells(lat.nx), cells(lat.ny));
    let lattice = Lattice { step: lat.step * every as f64, nx: cx + 1, ny: cy + 1, ..lat };
    let node = |i: usize, j: usize| fine.at((i * every).min(lat.nx - 1), (j * every).min(lat.ny - 1));
    let excess: Vec<f64> =
        (0..cx * cy).into_par_iter().with_min_len(cx).map(|k| excess(fine, every, k % cx, k / cx, &node)).collect();
    let lift = |i: usize, j: usize| {
        let (left, below) = (i.saturating_sub(1)..(i + 1).min(cx), j.saturating_sub(1)..(j + 1).min(cy));
        below.flat_map(|b| left.clone().map(move |a| b * cx + a)).fold(0.0, |most, k| f64::max(most, excess[k]))
    };
    let z = (0..lattice.len()).map(|k| (k % lattice.nx, k / lattice.nx)).map(|(i, j)| node(i, j) + lift(i, j));
    Grid { lattice, z: z.collect() }
}

/// Most that a fine node of coarse cell (ci, cj) stands above the cell's facets.
fn excess(fine: &Grid, every: usize, ci: usize, cj: usize, node: &impl Fn(usize, usize) -> f64) -> f64 {
    let (z00, z10) = (node(ci, cj), node(ci + 1, cj));
    let (z01, z11) = (node(ci, cj + 1), node(ci + 1, cj + 1));
    let share = 1.0 / every as f64;
    let mut most = 0.0f64;
    for b in 0..=every.min(fine.lattice.ny - 1 - cj * every) {
        for a in 0..=every.min(fine.lattice.nx - 1 - ci * every) {
            let (u, v) = (a as f64 * share, b as f64 * share);
            let facet =
                if a >= b { z00 + (z10 - z00) * u + (z11 - z10) * v } else { z00 + (z01 - z00) * v + (z11 - z01) * u };
            most = most.max(fine.at(ci * every + a, cj * every + b) - facet);
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Point2;
    use proptest::prelude::*;

    /// Height of the mesh at `p`, by its facets.
    fn facet(grid: &Grid, p: Point2) -> f64 {
        let (i, j, u, v) = grid.lattice.cell(p).unwrap();
        let (z00, z11) = (grid.at(i, j), grid.at(i + 1, j + 1));
        if u >= v {
            let z10 = grid.at(i + 1, j);
            z00 + (z10 - z00) * u + (z11 - z10) * v
        } else {
            let z01 = grid.at(i, j + 1);
            z00 + (z01 - z00) * v + (z11 - z01) * u
        }
    }

    proptest! {
        /// Rough ground whose size is no multiple of the coarse step.
        #[test]
        fn no_place_stands_above_the_cover(
            z in proptest::collection::vec(-1.0..1.0f64, 143), x in 0.0..5.0f64, y in 0.0..6.0f64, every in 1..6usize,
        ) {
            let fine = Grid { lattice: Lattice { x0: 0.0, y0: 0.0, step: 0.5, nx: 11, ny: 13 }, z };
            let p = Point2::new(x, y);
            prop_assert!(facet(&cover(&fine, every), p) >= facet(&fine, p) - 1e-12);
        }
    }

    /// A bowl sags under its chords, so nothing is lifted; a dome of radius r rises over them by
    /// `every^2 step^2 / 8 r` along an edge and twice that along the diagonal.
    #[test]
    fn the_cover_costs_no_more_than_the_sagitta() {
        let lattice = Lattice { x0: -4.0, y0: -4.0, step: 0.25, nx: 33, ny: 33 };
        let dome = Grid::from_fn(lattice, |p| -(p.x * p.x + p.y * p.y) / (2.0 * 20.0));
        let cover = cover(&dome, 4);
        for (k, z) in cover.z.iter().enumerate() {
            let p = cover.lattice.node(k % cover.lattice.nx, k / cover.lattice.nx);
            let over = z + (p.x * p.x + p.y * p.y) / 40.0;
            assert!((over - 2.0 / (8.0 * 20.0)).abs() < 1e-12, "{over} at {p}");
        }
    }
}
