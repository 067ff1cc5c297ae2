//! What still stands while a path is planned, as columns on a coarse lattice: enough to keep links
//! out of uncut material. The proof of a program is made elsewhere and finer.

use super::Target;
use crate::frame::Point3;
use crate::grid::{Grid, Lattice};
use crate::kernel::Shape;

/// Distance of columns, mm: slivers narrower than this are no engagement (our own choice).
const COLUMN_MM: f64 = 1.0;

/// Distance of tip places at which a move is carried out, mm.
const SWEEP_MM: f64 = 0.4;

/// Columns of stock.
pub(super) struct Stock {
    columns: Grid,
}

impl Stock {
    /// The blank as it comes.
    pub(super) fn blank(target: &Target) -> Stock {
        Stock { columns: Grid::filled(Lattice::covering(target.blank, COLUMN_MM), target.blank_top_mm) }
    }

    /// Takes away what a move removes.
    pub(super) fn cut(&mut self, shape: &Shape, from: Point3, to: Point3) {
        let columns = &mut self.columns;
        sweep(columns.lattice, shape, from, to, |k, cut| columns.z[k] = columns.z[k].min(cut));
    }

    /// The most that a move would take off any column.
    pub(super) fn depth(&self, shape: &Shape, from: Point3, to: Point3) -> f64 {
        let mut depth = 0.0f64;
        sweep(self.columns.lattice, shape, from, to, |k, cut| depth = depth.max(self.columns.z[k] - cut));
        depth
    }
}

/// Calls `at` with every column under the cutter and the height the cutter leaves there, at places
/// along the move.
fn sweep(lat: Lattice, shape: &Shape, from: Point3, to: Point3, mut at: impl FnMut(usize, f64)) {
    let r = shape.radius();
    let n = ((to - from).norm() / SWEEP_MM).ceil().max(1.0) as usize;
    let span = |low: f64, high: f64, n: usize| {
        // Casts saturate: what lies off the lattice gives an empty span.
        low.ceil().max(0.0) as usize..((high.floor() + 1.0).max(0.0) as usize).min(n)
    };
    for k in 0..=n {
        let p = from + (to - from) * (k as f64 / n as f64);
        for j in span((p.y - r - lat.y0) / lat.step, (p.y + r - lat.y0) / lat.step, lat.ny) {
            for i in span((p.x - r - lat.x0) / lat.step, (p.x + r - lat.x0) / lat.step, lat.nx) {
                let q = (lat.node(i, j) - p.xy()).norm();
                if q <= r {
                    at(j * lat.nx + i, p.z + shape.height_at(q));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::testbed::plane;

    #[test]
    fn a_groove_is_as_deep_as_it_was_cut_and_no_deeper_twice() {
        let target = plane(0.0, 0.0);
        let mut stock = Stock::blank(&target);
        let flat = Shape::Flat { radius: 3.0 };
        let (a, b) = (Point3::new(20.0, 20.0, 1.0), Point3::new(20.0, 60.0, 1.0));
        assert_eq!(stock.depth(&flat, a, b), target.blank_top_mm - 1.0);
        stock.cut(&flat, a, b);
        assert_eq!(stock.depth(&flat, a, b), 0.0);
        let outside = Point3::new(-50.0, -50.0, 0.0);
        assert_eq!(stock.depth(&flat, outside, outside), 0.0);
    }
}
