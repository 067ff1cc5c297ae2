//! The energy of a sheet as a banded matrix: bending and tension, integrated exactly interval by
//! interval over the whole rectangle.

use super::banded::Banded;
use super::basis::{Basis, Order, weights};

/// Nodes and weights of four-point Gauss quadrature on 0..1: exact to degree 7, and the products
/// of two cubics have degree 6 (Abramowitz & Stegun 1964, table 25.4, moved to 0..1).
const GAUSS: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_93),
];

/// Products of the four functions of an interval, integrated over it in mm.
type Gram = [[f64; 4]; 4];

fn gram(basis: &Basis, order: Order) -> Gram {
    let mut g = [[0.0; 4]; 4];
    for (t, w) in GAUSS {
        let b = weights(t, order);
        for (row, bi) in g.iter_mut().zip(b) {
            for (entry, bj) in row.iter_mut().zip(b) {
                *entry += w * basis.knot * bi * bj * basis.per_mm(order).powi(2);
            }
        }
    }
    g
}

/// The same for all functions of one direction, interval by interval: entry (i, d) is the product of functions i and
/// i + d.
fn grams(basis: &Basis, order: Order, functions: usize) -> Vec<[f64; 4]> {
    let own = gram(basis, order);
    let mut all = vec![[0.0; 4]; functions];
    for first in 0..functions.saturating_sub(3) {
        for a in 0..4 {
            for b in a..4 {
                all[first + a][b - a] += own[a][b];
            }
        }
    }
    all
}

/// The matrix A of `z^T A z = bending + tension_per_mm2 * stretching`. The functions are products of one along x and
/// one along y, so every entry is a sum of products of integrals along x and along y.
pub(super) fn energy(basis: &Basis, tension_per_mm2: f64) -> Banded {
    let along = |functions| [Order::Value, Order::First, Order::Second].map(|order| grams(basis, order, functions));
    let (x, y) = (along(basis.nx), along(basis.ny));
    let integrals = |all: &[Vec<[f64; 4]>; 3], least: usize, apart: usize| [0, 1, 2].map(|k| all[k][least][apart]);
    let mut matrix = Banded::zero(basis.len(), 3 * basis.nx + 3);
    for j in 0..basis.ny {
        for i in 0..basis.nx {
            for (up, right) in (0..4_usize).flat_map(|up| (-3..4_isize).map(move |right| (up, right))) {
                let at = i as isize + right;
                if (up == 0 && right < 0) || at < 0 || at >= basis.nx as isize || j + up >= basis.ny {
                    continue;
                }
                let (least, apart) = (i.min(at as usize), right.unsigned_abs());
                let [x0, x1, x2] = integrals(&x, least, apart);
                let [y0, y1, y2] = integrals(&y, j, up);
                let bending = x2 * y0 + 2.0 * x1 * y1 + x0 * y2;
                let stretching = x1 * y0 + x0 * y1;
                let (r, c) = ((j + up) * basis.nx + at as usize, j * basis.nx + i);
                matrix.add(r, c, bending + tension_per_mm2 * stretching);
            }
        }
    }
    matrix
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Point2, Rect};

    /// The energy of `z = x^2 + x y` over a rectangle of 12 x 20: bending `(2^2 + 2 * 1^2) 240`, stretching the integral
    /// of `(2 x + y)^2 + x^2` (closed forms). The coefficients of x^2 are `x^2 - knot^2 / 3` at the humps' middles (Marsden's
    /// identity for cubics [from memory]; the height beside it says whether).
    #[test]
    fn a_parabola_has_its_energy() {
        let basis = Basis::covering(Rect { x0: 0.0, y0: 0.0, x1: 12.0, y1: 20.0 }, 4.0);
        let coefficients: Vec<f64> = (0..basis.len())
            .map(|k| {
                let (x, y) = (4.0 * ((k % basis.nx) as f64 - 1.0), 4.0 * ((k / basis.nx) as f64 - 1.0));
                x * x - 16.0 / 3.0 + x * y
            })
            .collect();
        let p = Point2::new(5.3, 11.1);
        approx::assert_relative_eq!(basis.height(p).of(&coefficients), p.x * p.x + p.x * p.y, max_relative = 1e-12);
        let energy = |tension: f64| -> f64 {
            let product = energy(&basis, tension).times(&coefficients);
            product.iter().zip(&coefficients).map(|(a, b)| a * b).sum()
        };
        approx::assert_relative_eq!(energy(0.0), 6.0 * 240.0, max_relative = 1e-9);
        // Integrals over 0..12 and 0..20 of 5 x^2 + 4 x y + y^2.
        let stretching = 5.0 * 576.0 * 20.0 + 4.0 * 72.0 * 200.0 + 12.0 * 8000.0 / 3.0;
        approx::assert_relative_eq!(energy(1.0) - energy(0.0), stretching, max_relative = 1e-9);
    }
}
