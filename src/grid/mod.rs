//! Heights on a regular lattice: sample, map and envelope. Knows nothing of feet or cutters.

mod envelope;

pub use envelope::{envelope, envelope_where};
use rayon::prelude::*;

use crate::frame::{Point2, Rect};

/// A regular square lattice of nodes in a plane, mm. Node (i, j) lies at
/// `(x0 + i * step, y0 + j * step)`; rows run along x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lattice {
    /// x of the first node.
    pub x0: f64,
    /// y of the first node.
    pub y0: f64,
    /// Distance between neighbours, > 0.
    pub step: f64,
    /// Nodes in a row, >= 2.
    pub nx: usize,
    /// Rows, >= 2.
    pub ny: usize,
}

impl Lattice {
    /// The lattice of step `step` whose nodes lie on whole multiples of the step and cover `rect`.
    pub fn covering(rect: Rect, step: f64) -> Lattice {
        let (i0, j0) = ((rect.x0 / step).floor(), (rect.y0 / step).floor());
        let (i1, j1) = ((rect.x1 / step).ceil(), (rect.y1 / step).ceil());
        Lattice {
            x0: i0 * step,
            y0: j0 * step,
            step,
            nx: (i1 - i0).max(1.0) as usize + 1,
            ny: (j1 - j0).max(1.0) as usize + 1,
        }
    }

    /// Where node (i, j) lies.
    pub fn node(&self, i: usize, j: usize) -> Point2 {
        Point2::new(self.x0 + i as f64 * self.step, self.y0 + j as f64 * self.step)
    }

    /// How many nodes there are.
    pub fn len(&self) -> usize {
        self.nx * self.ny
    }

    /// Whether there are no nodes; never true of a lattice made by [`Lattice::covering`].
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The rectangle that the nodes span.
    pub fn rect(&self) -> Rect {
        let far = self.node(self.nx - 1, self.ny - 1);
        Rect { x0: self.x0, y0: self.y0, x1: far.x, y1: far.y }
    }

    /// The cell that holds `p` and the place within it, each coordinate 0..=1; `None` outside.
    pub fn cell(&self, p: Point2) -> Option<(usize, usize, f64, f64)> {
        let (u, v) = ((p.x - self.x0) / self.step, (p.y - self.y0) / self.step);
        let inside = u >= 0.0 && v >= 0.0 && u <= (self.nx - 1) as f64 && v <= (self.ny - 1) as f64;
        inside.then(|| {
            let (i, j) = ((u as usize).min(self.nx - 2), (v as usize).min(self.ny - 2));
            (i, j, u - i as f64, v - j as f64)
        })
    }
}

/// Heights at the nodes of a lattice, mm, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Where the nodes are.
    pub lattice: Lattice,
    /// One height a node; node (i, j) at `j * nx + i`.
    pub z: Vec<f64>,
}

impl Grid {
    /// The same height everywhere.
    pub fn filled(lattice: Lattice, z: f64) -> Grid {
        Grid { lattice, z: vec![z; lattice.len()] }
    }

    /// The height `f` gives at every node; rows are computed in parallel, the result does not
    /// depend on how many threads do it.
    pub fn from_fn(lattice: Lattice, f: impl Fn(Point2) -> f64 + Sync) -> Grid {
        let mut grid = Grid::filled(lattice, 0.0);
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            for (i, z) in row.iter_mut().enumerate() {
                *z = f(lattice.node(i, j));
            }
        });
        grid
    }

    /// Height at node (i, j).
    pub fn at(&self, i: usize, j: usize) -> f64 {
        self.z[j * self.lattice.nx + i]
    }

    /// Height at `p`, bilinear in its cell; `None` outside the lattice.
    pub fn sample(&self, p: Point2) -> Option<f64> {
        let (i, j, u, v) = self.lattice.cell(p)?;
        let low = self.at(i, j) * (1.0 - u) + self.at(i + 1, j) * u;
        let high = self.at(i, j + 1) * (1.0 - u) + self.at(i + 1, j + 1) * u;
        Some(low * (1.0 - v) + high * v)
    }

    /// Least and greatest height.
    pub fn range(&self) -> (f64, f64) {
        self.z.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &z| (lo.min(z), hi.max(z)))
    }
}
