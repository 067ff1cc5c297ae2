//! A blank as a height map that moves of a cutter lower. Knows cutters and moves; knows neither
//! programs nor what the piece should be.

use std::ops::Range;

use crate::frame::{Point2, Rect};
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Sweep};

use super::{COARSEST_STEP_MM, CarveError, FINEST_STEP_MM, MOST_NODES};

/// Rows that are carved as one piece of work. A fixed number, so that sums come out the same
/// whatever the number of threads; about the width of a cutter, so that few moves cross many.
const BAND_ROWS: usize = 32;

/// Depths up to this are no contact, mm: a cutter that leaves along the wall it has just cut touches
/// it, and program text is rounded to 0.001 mm. Our own choice.
pub(super) const TOUCH_MM: f64 = 0.01;

/// What is left of a blank: heights above the bed (z = 0), mm, at the nodes of a lattice.
///
/// Only the nodes are carved, each exactly; what stands between them is known to within the step.
/// Nodes outside the blank are bare bed.
#[derive(Clone, Debug)]
pub struct Stock {
    grid: Grid,
    top_mm: f64,
}

/// What one move took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bite {
    /// Volume above the bed, mm3.
    pub removed_mm3: f64,
    /// Most that was taken at one place, straight down, mm.
    pub deepest_mm: f64,
    /// Where that was.
    pub at: Point2,
    /// How far up the cutter, from its tip, stock stood against it, mm. Stock that is taken by less
    /// than 0.01 mm does not count.
    pub engaged_mm: f64,
}

/// Where a move meets standing stock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Contact {
    /// How far it dips below the stock, straight down, mm.
    pub(super) depth_mm: f64,
    /// Where it does so most.
    pub(super) at: Point2,
}

impl Stock {
    /// An uncut blank, seen from above, `top_mm` high, at nodes `step_mm` apart.
    ///
    /// # Errors
    /// When a size is not a number above zero, or the step or the number of nodes is out of range.
    pub fn new(blank: Rect, top_mm: f64, step_mm: f64) -> Result<Stock, CarveError> {
        let lattice = stock_lattice(blank, top_mm, step_mm)?;
        let edge = blank.grown(1e-9);
        let inside = |p: Point2| p.x >= edge.x0 && p.x <= edge.x1 && p.y >= edge.y0 && p.y <= edge.y1;
        let grid = Grid::from_fn(lattice, |p| if inside(p) { top_mm } else { 0.0 });
        Ok(Stock { grid, top_mm })
    }

    /// Lowers the stock to what the move leaves.
    pub fn carve(&mut self, sweep: &Sweep) -> Bite {
        self.whole().carve(sweep)
    }

    /// The heights as they are now.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The heights, given away.
    pub fn into_grid(self) -> Grid {
        self.grid
    }

    /// Height of the uncut blank, mm: nothing stands above it.
    pub(super) fn top_mm(&self) -> f64 {
        self.top_mm
    }

    fn whole(&mut self) -> Band<'_> {
        let lattice = self.grid.lattice;
        Band { lattice, first_row: 0, top_mm: self.top_mm, z: &mut self.grid.z, heights: Vec::new() }
    }

    /// The stock in strips of whole rows, which can be carved side by side.
    pub(super) fn bands(&mut self) -> Vec<Band<'_>> {
        let (lattice, top_mm) = (self.grid.lattice, self.top_mm);
        let strips = self.grid.z.chunks_mut(BAND_ROWS * lattice.nx).enumerate();
        strips.map(|(k, z)| Band { lattice, first_row: k * BAND_ROWS, top_mm, z, heights: Vec::new() }).collect()
    }
}

/// Some rows of a stock.
pub(super) struct Band<'a> {
    lattice: Lattice,
    first_row: usize,
    top_mm: f64,
    z: &'a mut [f64],
    /// What the move leaves along one row; kept to save making it anew for every row.
    heights: Vec<f64>,
}

impl Band<'_> {
    /// The rows of the lattice that these are.
    pub(super) fn rows(&self) -> Range<usize> {
        self.first_row..self.first_row + self.z.len() / self.lattice.nx
    }

    /// See [`Stock::carve`].
    pub(super) fn carve(&mut self, sweep: &Sweep) -> Bite {
        let mut bite = Bite { removed_mm3: 0.0, deepest_mm: 0.0, at: Point2::origin(), engaged_mm: 0.0 };
        let mut removed = 0.0;
        self.each_below(sweep, |lattice, i, j, z, height| {
            let (before, taken) = (*z, *z - height);
            *z = height;
            removed += before.max(0.0) - height.max(0.0);
            if taken > bite.deepest_mm {
                (bite.deepest_mm, bite.at) = (taken, lattice.node(i, j));
            }
            // The tip is at least as high as the move's lowest: most nodes need no closer look.
            if taken > TOUCH_MM && before - sweep.low_mm() > bite.engaged_mm {
                let tip_mm = sweep.lowest_at(lattice.node(i, j)).map_or(before, |lowest| lowest.tip_mm);
                bite.engaged_mm = bite.engaged_mm.max(before - tip_mm);
            }
        });
        bite.removed_mm3 = removed * self.lattice.step * self.lattice.step;
        bite
    }

    /// Where the move would dip below the stock as it stands now; `None` when it passes above.
    pub(super) fn contact(&mut self, sweep: &Sweep) -> Option<Contact> {
        let mut most = Contact { depth_mm: 0.0, at: Point2::origin() };
        self.each_below(sweep, |lattice, i, j, z, height| {
            if *z - height > most.depth_mm {
                most = Contact { depth_mm: *z - height, at: lattice.node(i, j) };
            }
        });
        (most.depth_mm > 0.0).then_some(most)
    }

    /// Calls `visit` for every node that stands higher than what the move leaves there, with that
    /// height, row by row.
    fn each_below(&mut self, sweep: &Sweep, mut visit: impl FnMut(&Lattice, usize, usize, &mut f64, f64)) {
        if sweep.low_mm() >= self.top_mm {
            return;
        }
        let (lattice, nx) = (self.lattice, self.lattice.nx);
        let (rows, mine) = (sweep.rows(&lattice), self.rows());
        for j in rows.start.max(mine.start)..rows.end.min(mine.end) {
            let start = (j - self.first_row) * nx;
            let row = &mut self.z[start..start + nx];
            let columns = sweep.trimmed(&lattice, j, sweep.columns(&lattice, j), row);
            sweep.row(&lattice, j, columns.clone(), &mut self.heights);
            for (k, (z, &height)) in row[columns.clone()].iter_mut().zip(&self.heights).enumerate() {
                if height < *z {
                    visit(&lattice, columns.start + k, j, z, height);
                }
            }
        }
    }
}

/// The form whose surface lies `by` mm inside this one everywhere and whose tip lies `by` mm higher:
/// where it touches, the whole cutter stands at least `by` mm deep. `None` when nothing is left.
pub(super) fn slimmer(shape: &Shape, by: f64) -> Option<Shape> {
    let radius = shape.radius() - by;
    if radius <= 0.0 {
        return None;
    }
    Some(match *shape {
        Shape::Flat { .. } => Shape::Flat { radius },
        Shape::Ball { .. } => Shape::Ball { radius },
        Shape::Bull { corner, .. } if corner <= by => Shape::Flat { radius },
        Shape::Bull { corner, .. } => Shape::Bull { radius, corner: corner - by },
        // A tip finer than `by` would leave a bare cone; that is kept as a cone with a minute tip.
        Shape::Taper { tip, half_angle_rad, .. } => {
            Shape::Taper { tip: (tip - by).max(1e-3 * tip), half_angle_rad, radius }
        }
    })
}

fn stock_lattice(blank: Rect, top_mm: f64, step_mm: f64) -> Result<Lattice, CarveError> {
    if !(FINEST_STEP_MM..=COARSEST_STEP_MM).contains(&step_mm) {
        return Err(CarveError::Step { step_mm });
    }
    let (width_mm, length_mm) = (blank.width(), blank.height());
    if ![width_mm, length_mm, top_mm].iter().all(|&size| size > 0.0 && size.is_finite()) {
        return Err(CarveError::Blank { width_mm, length_mm, height_mm: top_mm });
    }
    let nodes = (width_mm / step_mm + 2.0) * (length_mm / step_mm + 2.0);
    if nodes > MOST_NODES {
        return Err(CarveError::TooLarge { nodes });
    }
    Ok(Lattice::covering(blank, step_mm))
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;
    use crate::frame::Point3;

    fn block() -> Stock {
        Stock::new(Rect { x0: 0.0, y0: 0.0, x1: 60.0, y1: 30.0 }, 20.0, 0.2).unwrap()
    }

    fn ball(radius: f64, from: [f64; 3], to: [f64; 3]) -> Sweep {
        Sweep::new(&Shape::Ball { radius }, Point3::from(from), Point3::from(to))
    }

    #[test]
    fn one_ball_pass_leaves_a_round_groove() {
        let mut stock = block();
        let bite = stock.carve(&ball(3.0, [-10.0, 15.0, 18.0], [70.0, 15.0, 18.0]));
        for d in [0.0, 0.6, 1.4, 2.2] {
            let height = stock.grid().sample(Point2::new(30.0, 15.0 + d)).unwrap();
            assert_abs_diff_eq!(height, 21.0 - (9.0_f64 - d * d).sqrt(), epsilon = 1e-9);
        }
        assert_eq!(stock.grid().sample(Point2::new(30.0, 20.0)), Some(20.0));
        // Area of a circle's segment of height 2 in radius 3, times the 60 mm of the block; the
        // lattice's own sum counts half a step too much at each end: 60.2.
        let segment = 9.0 * (1.0_f64 / 3.0).acos() - 1.0 * 8.0_f64.sqrt();
        assert_abs_diff_eq!(bite.removed_mm3, segment * 60.2, epsilon = 0.002 * segment * 60.2);
        assert_abs_diff_eq!(bite.deepest_mm, 2.0, epsilon = 1e-9);
        assert_abs_diff_eq!(bite.engaged_mm, 2.0, epsilon = 1e-9);
    }

    /// Two level passes s apart leave R - sqrt(R^2 - s^2/4) between them: the circle's own height
    /// half a side step from its lowest place. At 0.25 mm the ridge lies on nodes.
    #[test]
    fn two_passes_leave_the_scallop() {
        for (radius, scallop) in [(3.0, 0.04196), (4.0, 0.03137)] {
            let mut stock = Stock::new(Rect { x0: 0.0, y0: 0.0, x1: 60.0, y1: 30.0 }, 20.0, 0.25).unwrap();
            for y in [10.0, 11.0] {
                stock.carve(&ball(radius, [-10.0, y, 15.0], [70.0, y, 15.0]));
            }
            assert_abs_diff_eq!(stock.grid().at(120, 42) - 15.0, scallop, epsilon = 5e-6);
            assert_abs_diff_eq!(stock.grid().at(120, 40) - 15.0, 0.0, epsilon = 1e-12);
        }
    }

    #[test]
    fn carving_twice_takes_nothing_more() {
        let mut stock = block();
        let sweep = ball(3.0, [5.0, 5.0, 12.0], [50.0, 25.0, 9.0]);
        assert!(stock.carve(&sweep).removed_mm3 > 100.0);
        assert_eq!(stock.carve(&sweep).removed_mm3, 0.0);
        assert_eq!(stock.whole().contact(&sweep), None);
    }

    #[test]
    fn a_cutter_may_leave_along_the_wall_it_cut_but_not_through_it() {
        let mut stock = block();
        let flat = Shape::Flat { radius: 3.0 };
        let (a, b) = (Point3::new(10.0, 15.0, 5.0), Point3::new(40.0, 15.0, 5.0));
        stock.carve(&Sweep::new(&flat, a, b));
        let slim = slimmer(&flat, TOUCH_MM).unwrap();
        let up = Sweep::new(&slim, b, Point3::new(40.0, 15.0, 30.0));
        assert_eq!(stock.whole().contact(&up), None);
        let aside = Sweep::new(&slim, b, Point3::new(40.0, 16.0, 5.0));
        assert_abs_diff_eq!(stock.whole().contact(&aside).unwrap().depth_mm, 15.0, epsilon = 1e-9);
    }

    /// The blank of 10.1 x 5 mm lies on nodes up to 10.2 mm: the last column is bare bed.
    #[test]
    fn nodes_beside_the_blank_are_bare_bed() {
        let stock = Stock::new(Rect { x0: 0.0, y0: 0.0, x1: 10.1, y1: 5.0 }, 20.0, 0.2).unwrap();
        let Lattice { nx, .. } = stock.grid().lattice;
        assert_eq!((stock.grid().at(nx - 2, 3), stock.grid().at(nx - 1, 3)), (20.0, 0.0));
    }

    /// A point of the slimmer form, moved out along its own normal by the difference, lies on the
    /// full form: both profiles then agree at the moved place.
    #[test]
    fn the_slimmer_form_lies_inside_by_as_much_everywhere() {
        let by = 0.1;
        let taper = Shape::Taper { tip: 1.0, half_angle_rad: 0.3, radius: 3.0 };
        for shape in [Shape::Ball { radius: 3.0 }, Shape::Bull { radius: 3.0, corner: 1.0 }, taper] {
            let slim = slimmer(&shape, by).unwrap();
            assert_abs_diff_eq!(slim.radius(), shape.radius() - by, epsilon = 1e-12);
            for q in [0.3, 0.7, 1.1, 2.2, 2.6] {
                let slope = slim.slope_at(q);
                let long = (1.0 + slope * slope).sqrt();
                let (out, down) = (by * slope / long, by / long);
                assert_abs_diff_eq!(shape.height_at(q + out), slim.height_at(q) + by - down, epsilon = 1e-9);
            }
        }
        let flat = Shape::Flat { radius: 3.0 };
        assert_eq!(slimmer(&Shape::Bull { radius: 3.1, corner: by }, by), Some(flat));
        assert_eq!(slimmer(&flat, 3.0), None);
    }

    #[test]
    fn impossible_blanks_are_refused() {
        let blank = Rect { x0: 0.0, y0: 0.0, x1: 60.0, y1: 30.0 };
        assert!(matches!(Stock::new(blank, 20.0, 0.01), Err(CarveError::Step { .. })));
        assert!(matches!(Stock::new(blank, f64::NAN, 0.2), Err(CarveError::Blank { .. })));
        let vast = Rect { x1: 1e7, ..blank };
        assert!(matches!(Stock::new(vast, 20.0, 0.2), Err(CarveError::TooLarge { .. })));
    }
}
