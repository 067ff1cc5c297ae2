//! Lids over blocks of a height map: planes that bound what stands in a block, so that a search may
//! pass whole blocks by. Knows no cutters.

use rayon::prelude::*;

use crate::grid::Grid;

/// All blocks of one size.
pub(super) struct Level {
    pub(super) nx: usize,
    pub(super) ny: usize,
    pub(super) lids: Vec<Lid>,
}

/// A plane that no part of a block rises above. A level lid would be useless on a slope, where the
/// cutter touches most of the time; a tilted one is off by the block's curvature only.
#[derive(Clone, Copy)]
pub(super) struct Lid {
    /// Height of the plane over the block's centre.
    pub(super) top: f64,
    pub(super) gx: f64,
    pub(super) gy: f64,
}

impl Level {
    /// The lids of all blocks of `size` cells a side.
    pub(super) fn new(grid: &Grid, size: usize) -> Level {
        let lat = grid.lattice;
        let (nx, ny) = ((lat.nx - 1).div_ceil(size), (lat.ny - 1).div_ceil(size));
        let mut lids = vec![Lid { top: 0.0, gx: 0.0, gy: 0.0 }; nx * ny];
        lids.par_chunks_mut(nx).enumerate().for_each(|(bj, row)| {
            for (bi, lid) in row.iter_mut().enumerate() {
                *lid = Lid::over(grid, bi * size, bj * size, size);
            }
        });
        Level { nx, ny, lids }
    }
}

impl Lid {
    /// The lid of the block of `size` cells whose first node is (i0, j0): tilted as its corners
    /// are, lifted until it clears every node (and with them the facets between).
    fn over(grid: &Grid, i0: usize, j0: usize, size: usize) -> Lid {
        let lat = grid.lattice;
        let (i1, j1) = ((i0 + size).min(lat.nx - 1), (j0 + size).min(lat.ny - 1));
        let (z00, z10, z01, z11) = (grid.at(i0, j0), grid.at(i1, j0), grid.at(i0, j1), grid.at(i1, j1));
        let gx = (z10 - z00 + z11 - z01) / (2.0 * (i1 - i0) as f64 * lat.step);
        let gy = (z01 - z00 + z11 - z10) / (2.0 * (j1 - j0) as f64 * lat.step);
        let half = 0.5 * size as f64;
        let mut top = f64::NEG_INFINITY;
        for j in j0..=j1 {
            let row = &grid.z[j * lat.nx + i0..=j * lat.nx + i1];
            let rise_y = gy * ((j - j0) as f64 - half) * lat.step;
            for (i, z) in row.iter().enumerate() {
                let above = z - rise_y - gx * (i as f64 - half) * lat.step;
                if above > top {
                    top = above;
                }
            }
        }
        Lid { top, gx, gy }
    }

    /// The lid of one cell; its two facets twist away from their mean plane by a quarter of this.
    #[inline]
    pub(super) fn over_cell(grid: &Grid, i: usize, j: usize) -> Lid {
        let (z00, z10, z01, z11) = (grid.at(i, j), grid.at(i + 1, j), grid.at(i, j + 1), grid.at(i + 1, j + 1));
        let half = 0.5 / grid.lattice.step;
        Lid {
            top: 0.25 * (z00 + z10 + z01 + z11 + (z00 + z11 - z10 - z01).abs()),
            gx: half * (z10 - z00 + z11 - z01),
            gy: half * (z01 - z00 + z11 - z10),
        }
    }
}
