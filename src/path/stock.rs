//! What still stands while a path is planned: a height map carved by the same kernel as the proof's,
//! so that links and ramps are kept out of uncut material, slivers included. The proof of a program
//! is made elsewhere, from its text.

use super::Target;
use crate::frame::Point3;
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Sweep};

/// Distance of nodes, mm: what is thinner folds aside in every material on the shelf (our own choice).
const STEP_MM: f64 = 0.2;

/// Heights of stock at the nodes of a lattice.
pub(super) struct Stock {
    grid: Grid,
    /// What a move leaves along one row; kept to save making it anew for every row.
    row: Vec<f64>,
}

impl Stock {
    /// The blank as it comes.
    pub(super) fn blank(target: &Target) -> Stock {
        let lattice = Lattice::covering(target.blank, STEP_MM);
        Stock { grid: Grid::filled(lattice, target.blank_top_mm), row: Vec::new() }
    }

    /// Takes away what a way of moves removes.
    pub(super) fn cut(&mut self, shape: &Shape, way: &[Point3]) {
        for (k, leg) in way.windows(2).enumerate() {
            let sweep = Sweep::new(shape, leg[0], leg[1]);
            let sweep = if k > 0 { sweep.going_on() } else { sweep };
            self.each_below(&sweep, |z, left| *z = left);
        }
    }

    /// The most that this way would take off any place, straight down, mm.
    pub(super) fn depth(&mut self, shape: &Shape, way: &[Point3]) -> f64 {
        let mut most = 0.0f64;
        for leg in way.windows(2) {
            self.each_below(&Sweep::new(shape, leg[0], leg[1]), |z, left| most = most.max(*z - left));
        }
        most
    }

    /// Calls `visit` for every node that stands higher than what the move leaves there, with that
    /// height.
    fn each_below(&mut self, sweep: &Sweep, mut visit: impl FnMut(&mut f64, f64)) {
        let lattice = self.grid.lattice;
        for j in sweep.rows(&lattice) {
            let row = &mut self.grid.z[j * lattice.nx..][..lattice.nx];
            let columns = sweep.trimmed(&lattice, j, sweep.columns(&lattice, j), row);
            sweep.row(&lattice, j, columns.clone(), &mut self.row);
            for (z, &left) in row[columns].iter_mut().zip(&self.row).filter(|(z, left)| *left < z) {
                visit(z, left);
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
        let way = [Point3::new(20.0, 20.0, 1.0), Point3::new(20.0, 60.0, 1.0), Point3::new(50.0, 60.0, 1.0)];
        assert_eq!(stock.depth(&flat, &way), target.blank_top_mm - 1.0);
        stock.cut(&flat, &way);
        assert_eq!(stock.depth(&flat, &way), 0.0);
        let outside = Point3::new(-50.0, -50.0, 0.0);
        assert_eq!(stock.depth(&flat, &[outside, outside]), 0.0);
    }

    /// Two grooves 0.4 mm apart leave a wall that a third one between them meets at its full height.
    #[test]
    fn a_thin_wall_between_two_grooves_is_seen() {
        let target = plane(0.0, 0.0);
        let mut stock = Stock::blank(&target);
        let flat = Shape::Flat { radius: 3.0 };
        let groove = |x: f64, z: f64| [Point3::new(x, 20.0, z), Point3::new(x, 60.0, z)];
        stock.cut(&flat, &groove(20.05, 1.0));
        stock.cut(&flat, &groove(26.45, 1.0));
        assert_eq!(stock.depth(&flat, &groove(23.0, 1.0)), target.blank_top_mm - 1.0);
        assert_eq!(stock.depth(&flat, &groove(20.0, 1.0)), target.blank_top_mm - 1.0);
        assert_eq!(stock.depth(&flat, &groove(20.05, 1.0)), 0.0);
    }
}
