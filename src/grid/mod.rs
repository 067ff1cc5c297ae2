//! Heights on a regular lattice: sample, map, contour and envelope. Knows nothing of feet or cutters.

pub mod contour;
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

    /// How many steps along x and y lead from this lattice's first node to the other's, when these are
    /// whole steps of the same length.
    fn whole_steps_to(&self, other: &Lattice) -> Option<(i64, i64)> {
        /// As much as sums of rounded coordinates may differ, steps.
        const ROUNDING: f64 = 1e-7;
        let (u, v) = ((other.x0 - self.x0) / self.step, (other.y0 - self.y0) / self.step);
        let whole = |steps: f64| (steps - steps.round()).abs() < ROUNDING && steps.abs() < 1e9;
        let same = (other.step / self.step - 1.0).abs() * (other.nx.max(other.ny) as f64) < ROUNDING;
        (same && whole(u) && whole(v)).then_some((u.round() as i64, v.round() as i64))
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

    /// The heights at the nodes of another lattice, `outside` where that goes beyond this one. Where
    /// all nodes of both lie on one lattice, heights are copied and nothing is interpolated.
    pub fn resampled(&self, lattice: Lattice, outside: f64) -> Grid {
        let Some((di, dj)) = self.lattice.whole_steps_to(&lattice) else {
            return Grid::from_fn(lattice, |p| self.sample(p).unwrap_or(outside));
        };
        let mut grid = Grid::filled(lattice, outside);
        let shared = |n: usize, d: i64| (n as i64 + d).try_into().ok();
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            let own = shared(j, dj).filter(|&j: &usize| j < self.lattice.ny);
            let Some(own) = own.map(|j| &self.z[j * self.lattice.nx..(j + 1) * self.lattice.nx]) else { return };
            let (here, there) = (di.min(0).unsigned_abs() as usize, di.max(0) as usize);
            let both = row.iter_mut().skip(here).zip(own.iter().skip(there));
            both.for_each(|(z, &own)| *z = own);
        });
        grid
    }

    /// Least and greatest height.
    pub fn range(&self) -> (f64, f64) {
        self.z.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &z| (lo.min(z), hi.max(z)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plane is interpolated exactly, so both ways must give its heights; only the copy keeps a
    /// height that is none from its neighbours.
    #[test]
    fn nodes_in_common_are_copied_and_others_interpolated() {
        let lattice = Lattice { x0: -0.4, y0: 0.2, step: 0.2, nx: 6, ny: 5 };
        let plane = |p: Point2| 3.0 + 2.0 * p.x - p.y;
        let mut grid = Grid::from_fn(lattice, plane);
        for (x0, y0) in [(-1.0, -0.6), (0.2, 0.6), (0.0, 0.2), (-0.3, 0.3), (5.0, 5.0)] {
            let other = Lattice { x0, y0, nx: 7, ny: 6, ..lattice };
            let seen = grid.resampled(other, -1.0);
            let rect = lattice.rect().grown(1e-9);
            let near = |p: Point2| p.x > rect.x0 && p.x < rect.x1 && p.y > rect.y0 && p.y < rect.y1;
            for (k, &z) in seen.z.iter().enumerate() {
                let p = other.node(k % 7, k / 7);
                let expected = if near(p) { plane(p) } else { -1.0 };
                assert!((z - expected).abs() < 1e-12, "{z} at {p:?}, not {expected}");
            }
        }
        grid.z[7] = f64::NAN;
        let seen = grid.resampled(Lattice { x0: -0.6, nx: 7, ..lattice }, 0.0);
        assert_eq!(seen.z.iter().filter(|z| z.is_nan()).count(), 1);
    }
}
