//! Uniform cubic B-splines on a rectangle: values and derivatives as sparse rows over the
//! coefficients, and the sheet that a set of coefficients stands for.

use rayon::prelude::*;

use crate::frame::{Point2, Rect, Vector2};
use crate::grid::{Grid, Lattice};

/// Tensor-product uniform cubic B-splines: coefficient (i, j) at index `j * nx + i`, with its hump
/// centred at `(x0 + (i - 1) * knot, y0 + (j - 1) * knot)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Basis {
    /// The rectangle's lower left corner.
    pub x0: f64,
    /// The rectangle's lower left corner.
    pub y0: f64,
    /// Distance between knots, mm.
    pub knot: f64,
    /// Coefficients along x: knot intervals + 3.
    pub nx: usize,
    /// Coefficients along y: knot intervals + 3.
    pub ny: usize,
}

/// A linear functional on sheets: weights of the coefficients it touches, by rising index.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// (index of a coefficient, its weight), indices rising.
    pub terms: Vec<(usize, f64)>,
}

impl Row {
    /// `self + factor * other`.
    pub fn plus(&self, factor: f64, other: &Row) -> Row {
        let mut terms: Vec<(usize, f64)> = Vec::with_capacity(self.terms.len() + other.terms.len());
        let (mut a, mut b) = (self.terms.iter().peekable(), other.terms.iter().peekable());
        loop {
            match (a.peek(), b.peek()) {
                (Some(&&(i, w)), Some(&&(k, v))) if i == k => {
                    terms.push((i, w + factor * v));
                    a.next();
                    b.next();
                }
                (Some(&&(i, w)), Some(&&(k, _))) if i < k => {
                    terms.push((i, w));
                    a.next();
                }
                (Some(&&(i, w)), None) => {
                    terms.push((i, w));
                    a.next();
                }
                (_, Some(&&(k, v))) => {
                    terms.push((k, factor * v));
                    b.next();
                }
                (None, None) => return Row { terms },
            }
        }
    }

    /// The mean of several rows; empty for none.
    pub fn mean(rows: &[Row]) -> Row {
        let share = 1.0 / rows.len().max(1) as f64;
        rows.iter().fold(Row::default(), |sum, row| sum.plus(share, row))
    }

    /// The functional's value on these coefficients.
    pub fn of(&self, coefficients: &[f64]) -> f64 {
        self.terms.iter().map(|&(i, w)| w * coefficients[i]).sum()
    }
}

/// The sixteen functions that are not zero at a place, as products of four along x and four along
/// y: function k is number k % 4 along x and k / 4 along y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Local {
    /// Index of the first function's coefficient.
    pub first: usize,
    /// Coefficients from one row of the sheet to the next.
    pub stride: usize,
    /// Value, first and second derivative along x, per mm.
    pub x: [[f64; 4]; 3],
    /// The same along y.
    pub y: [[f64; 4]; 3],
}

impl Local {
    /// Indices of the sixteen coefficients, rising.
    pub fn indices(&self) -> [usize; 16] {
        std::array::from_fn(|k| self.first + (k / 4) * self.stride + k % 4)
    }

    /// The functions' derivatives: `in_x` times along x, `in_y` times along y, each 0 to 2.
    pub fn terms(&self, in_x: usize, in_y: usize) -> [f64; 16] {
        let (x, y) = (&self.x[in_x.min(2)], &self.y[in_y.min(2)]);
        std::array::from_fn(|k| x[k % 4] * y[k / 4])
    }

    /// The same derivative of the sheet with these coefficients.
    pub fn of(&self, coefficients: &[f64], in_x: usize, in_y: usize) -> f64 {
        let (x, y) = (&self.x[in_x.min(2)], &self.y[in_y.min(2)]);
        (0..4)
            .map(|j| {
                let c = &coefficients[self.first + j * self.stride..][..4];
                y[j] * (x[0] * c[0] + x[1] * c[1] + x[2] * c[2] + x[3] * c[3])
            })
            .sum()
    }
}

/// Which derivative in one direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    Value,
    First,
    Second,
}

/// The four cubic B-spline weights at fraction `t` (0..=1) of a knot interval, and their
/// derivatives with respect to t (de Boor 1978, uniform case).
pub(super) fn weights(t: f64, order: Order) -> [f64; 4] {
    let u = 1.0 - t;
    match order {
        Order::Value => [
            u * u * u / 6.0,
            (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0,
            (3.0 * u * u * u - 6.0 * u * u + 4.0) / 6.0,
            t * t * t / 6.0,
        ],
        Order::First => [-u * u / 2.0, (3.0 * t * t - 4.0 * t) / 2.0, (4.0 * u - 3.0 * u * u) / 2.0, t * t / 2.0],
        Order::Second => [u, 3.0 * t - 2.0, 3.0 * u - 2.0, t],
    }
}

impl Basis {
    /// The basis whose whole knot intervals cover `rect`, with knots on multiples of `knot`
    /// counted from x = 0 and y = 0, so that a rectangle symmetrical in x has a symmetrical basis.
    pub fn covering(rect: Rect, knot: f64) -> Basis {
        let (i0, i1) = ((rect.x0 / knot).floor(), (rect.x1 / knot).ceil());
        let (j0, j1) = ((rect.y0 / knot).floor(), (rect.y1 / knot).ceil());
        let intervals = |a: f64, b: f64| (b - a).max(1.0) as usize;
        Basis { x0: i0 * knot, y0: j0 * knot, knot, nx: intervals(i0, i1) + 3, ny: intervals(j0, j1) + 3 }
    }

    /// Number of coefficients.
    pub fn len(&self) -> usize {
        self.nx * self.ny
    }

    /// Never true of a basis made by [`Basis::covering`].
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The interval that holds `p` and the fractions within it. Beyond the rectangle the last
    /// interval's cubic goes on.
    fn interval(&self, p: Point2) -> (usize, usize, f64, f64) {
        let along = |c: f64, c0: f64, n: usize| {
            let u = (c - c0) / self.knot;
            let i = (u.max(0.0) as usize).min(n - 4);
            (i, u - i as f64)
        };
        let ((i, tx), (j, ty)) = (along(p.x, self.x0, self.nx), along(p.y, self.y0, self.ny));
        (i, j, tx, ty)
    }

    /// The functions at `p` with their derivatives.
    pub fn local(&self, p: Point2) -> Local {
        let (i, j, tx, ty) = self.interval(p);
        let along = |t: f64| {
            [Order::Value, Order::First, Order::Second].map(|order| weights(t, order).map(|w| w * self.per_mm(order)))
        };
        Local { first: j * self.nx + i, stride: self.nx, x: along(tx), y: along(ty) }
    }

    fn row(&self, p: Point2, in_x: Order, in_y: Order) -> Row {
        let (i, j, tx, ty) = self.interval(p);
        let (wx, wy) = (weights(tx, in_x), weights(ty, in_y));
        let scale = self.per_mm(in_x) * self.per_mm(in_y);
        let terms = (0..16).map(|k| ((j + k / 4) * self.nx + i + k % 4, scale * wx[k % 4] * wy[k / 4])).collect();
        Row { terms }
    }

    /// What a derivative with respect to the fraction is worth per mm.
    pub(super) fn per_mm(&self, order: Order) -> f64 {
        match order {
            Order::Value => 1.0,
            Order::First => 1.0 / self.knot,
            Order::Second => 1.0 / (self.knot * self.knot),
        }
    }

    /// The sheet's height at `p`.
    pub fn height(&self, p: Point2) -> Row {
        self.row(p, Order::Value, Order::Value)
    }

    /// The sheet's slope in x at `p`.
    pub fn slope_x(&self, p: Point2) -> Row {
        self.row(p, Order::First, Order::Value)
    }

    /// The sheet's slope in y at `p`.
    pub fn slope_y(&self, p: Point2) -> Row {
        self.row(p, Order::Value, Order::First)
    }
}

/// A surface z(x, y): C2 everywhere within its basis' rectangle.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The functions.
    pub basis: Basis,
    /// One number a function.
    pub coefficients: Vec<f64>,
}

impl Sheet {
    /// The sheet that is zero everywhere.
    pub fn zero(basis: Basis) -> Sheet {
        Sheet { basis, coefficients: vec![0.0; basis.len()] }
    }

    /// Height at `p`, mm.
    pub fn height(&self, p: Point2) -> f64 {
        self.derivative(p, Order::Value, Order::Value)
    }

    /// Slope at `p`, mm per mm.
    pub fn slope(&self, p: Point2) -> Vector2 {
        Vector2::new(self.derivative(p, Order::First, Order::Value), self.derivative(p, Order::Value, Order::First))
    }

    /// Height and slope at `p` at the price of little more than one of them.
    pub fn height_and_slope(&self, p: Point2) -> (f64, Vector2) {
        let b = &self.basis;
        let (i, j, tx, ty) = b.interval(p);
        let (wx, dx) = (weights(tx, Order::Value), weights(tx, Order::First));
        let (wy, dy) = (weights(ty, Order::Value), weights(ty, Order::First));
        let (mut z, mut zx, mut zy) = (0.0, 0.0, 0.0);
        for k in 0..4 {
            let at = (j + k) * b.nx + i;
            let c = &self.coefficients[at..at + 4];
            let line = wx[0] * c[0] + wx[1] * c[1] + wx[2] * c[2] + wx[3] * c[3];
            zx += wy[k] * (dx[0] * c[0] + dx[1] * c[1] + dx[2] * c[2] + dx[3] * c[3]);
            z += wy[k] * line;
            zy += dy[k] * line;
        }
        let per_mm = b.per_mm(Order::First);
        (z, Vector2::new(zx * per_mm, zy * per_mm))
    }

    /// Second derivatives (zxx, zxy, zyy) at `p`, 1/mm.
    pub fn second(&self, p: Point2) -> [f64; 3] {
        [
            self.derivative(p, Order::Second, Order::Value),
            self.derivative(p, Order::First, Order::First),
            self.derivative(p, Order::Value, Order::Second),
        ]
    }

    /// `self + factor * other`; both must be on the same basis.
    pub fn add_scaled(&mut self, factor: f64, other: &Sheet) {
        debug_assert_eq!(self.basis, other.basis);
        for (c, o) in self.coefficients.iter_mut().zip(&other.coefficients) {
            *c += factor * o;
        }
    }

    fn derivative(&self, p: Point2, in_x: Order, in_y: Order) -> f64 {
        let b = &self.basis;
        let (i, j, tx, ty) = b.interval(p);
        let (wx, wy) = (weights(tx, in_x), weights(ty, in_y));
        let mut sum = 0.0;
        for (dj, wy) in wy.iter().enumerate() {
            let at = (j + dj) * b.nx + i;
            let c = &self.coefficients[at..at + 4];
            sum += wy * (wx[0] * c[0] + wx[1] * c[1] + wx[2] * c[2] + wx[3] * c[3]);
        }
        sum * b.per_mm(in_x) * b.per_mm(in_y)
    }

    /// Heights at the nodes of a lattice given in the sheet's own frame, row by row: each row's
    /// spline in x is collapsed once in y, so a node costs four products.
    pub fn sample(&self, lattice: Lattice) -> Grid {
        let b = self.basis;
        let columns: Vec<(usize, [f64; 4])> = (0..lattice.nx)
            .map(|i| {
                let (k, _, t, _) = b.interval(lattice.node(i, 0));
                (k, weights(t, Order::Value))
            })
            .collect();
        let mut grid = Grid::filled(lattice, 0.0);
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            let (_, k, _, t) = b.interval(lattice.node(0, j));
            let wy = weights(t, Order::Value);
            let line: Vec<f64> =
                (0..b.nx).map(|i| (0..4).map(|d| wy[d] * self.coefficients[(k + d) * b.nx + i]).sum()).collect();
            for (z, (i, wx)) in row.iter_mut().zip(&columns) {
                *z = wx[0] * line[*i] + wx[1] * line[i + 1] + wx[2] * line[i + 2] + wx[3] * line[i + 3];
            }
        });
        grid
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn basis() -> Basis {
        Basis::covering(Rect { x0: -20.0, y0: -3.0, x1: 20.0, y1: 50.0 }, 5.0)
    }

    /// Greville: coefficients taken from a linear function at the humps' centres reproduce it.
    #[test]
    fn reproduces_a_plane_with_its_slopes() {
        let b = basis();
        let plane = |x: f64, y: f64| 3.0 + 0.2 * x - 0.1 * y;
        let coefficients = (0..b.len())
            .map(|k| {
                let (i, j) = (k % b.nx, k / b.nx);
                plane(b.x0 + (i as f64 - 1.0) * b.knot, b.y0 + (j as f64 - 1.0) * b.knot)
            })
            .collect();
        let sheet = Sheet { basis: b, coefficients };
        let p = Point2::new(3.3, 17.7);
        assert_abs_diff_eq!(sheet.height(p), plane(p.x, p.y), epsilon = 1e-12);
        assert_abs_diff_eq!(sheet.slope(p).x, 0.2, epsilon = 1e-12);
        assert_abs_diff_eq!(sheet.slope(p).y, -0.1, epsilon = 1e-12);
        let grid = sheet.sample(Lattice { x0: -20.0, y0: 0.0, step: 0.7, nx: 11, ny: 13 });
        assert_abs_diff_eq!(grid.at(5, 6), plane(-16.5, 4.2), epsilon = 1e-12);
    }

    #[test]
    fn rows_and_sheets_agree_and_derivatives_match_differences() {
        let b = basis();
        let coefficients: Vec<f64> = (0..b.len()).map(|k| ((k * 37) % 23) as f64 * 0.1).collect();
        let sheet = Sheet { basis: b, coefficients };
        let (p, e) = (Point2::new(-7.3, 22.1), 1e-5);
        let (height, slope) = sheet.height_and_slope(p);
        assert_abs_diff_eq!(height, sheet.height(p), epsilon = 1e-12);
        assert_abs_diff_eq!(slope, sheet.slope(p), epsilon = 1e-12);
        assert_abs_diff_eq!(b.height(p).of(&sheet.coefficients), sheet.height(p), epsilon = 1e-12);
        assert_abs_diff_eq!(b.slope_x(p).of(&sheet.coefficients), sheet.slope(p).x, epsilon = 1e-12);
        let dx = (sheet.height(p + Vector2::new(e, 0.0)) - sheet.height(p - Vector2::new(e, 0.0))) / (2.0 * e);
        let dyy = (sheet.slope(p + Vector2::new(0.0, e)).y - sheet.slope(p - Vector2::new(0.0, e)).y) / (2.0 * e);
        assert_abs_diff_eq!(sheet.slope(p).x, dx, epsilon = 1e-8);
        assert_abs_diff_eq!(sheet.second(p)[2], dyy, epsilon = 1e-7);
    }

    #[test]
    fn local_functions_are_the_sheet() {
        let b = basis();
        let coefficients: Vec<f64> = (0..b.len()).map(|k| ((k * 37) % 23) as f64 * 0.1).collect();
        let sheet = Sheet { basis: b, coefficients };
        let p = Point2::new(11.3, 8.2);
        let local = b.local(p);
        let of = |in_x, in_y| local.of(&sheet.coefficients, in_x, in_y);
        assert_abs_diff_eq!(of(0, 0), sheet.height(p), epsilon = 1e-12);
        let [xx, xy, yy] = sheet.second(p);
        for (ours, theirs) in [(of(2, 0), xx), (of(1, 1), xy), (of(0, 2), yy)] {
            assert_abs_diff_eq!(ours, theirs, epsilon = 1e-12);
        }
        let sum: f64 = local.indices().iter().zip(local.terms(0, 1)).map(|(&i, w)| w * sheet.coefficients[i]).sum();
        assert_abs_diff_eq!(sum, sheet.slope(p).y, epsilon = 1e-12);
    }

    #[test]
    fn rows_add_by_index() {
        let a = Row { terms: vec![(1, 1.0), (4, 2.0)] };
        let b = Row { terms: vec![(0, 3.0), (4, 1.0), (9, 1.0)] };
        assert_eq!(a.plus(-2.0, &b).terms, vec![(0, -6.0), (1, 1.0), (4, 0.0), (9, -2.0)]);
    }
}
