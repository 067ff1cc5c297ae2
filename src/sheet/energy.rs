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

/// The matrix A of `z^T A z = bending + tension_per_mm2 * stretching`.
pub(super) fn energy(basis: &Basis, tension_per_mm2: f64) -> Banded {
    let [value, first, second] = [Order::Value, Order::First, Order::Second].map(|order| gram(basis, order));
    let mut matrix = Banded::zero(basis.len(), 3 * basis.nx + 3);
    let block: [[f64; 16]; 16] = std::array::from_fn(|a| {
        std::array::from_fn(|b| {
            let ((ax, ay), (bx, by)) = ((a % 4, a / 4), (b % 4, b / 4));
            let bending = second[ax][bx] * value[ay][by]
                + 2.0 * first[ax][bx] * first[ay][by]
                + value[ax][bx] * second[ay][by];
            let stretching = first[ax][bx] * value[ay][by] + value[ax][bx] * first[ay][by];
            bending + tension_per_mm2 * stretching
        })
    });
    for j in 0..basis.ny - 3 {
        for i in 0..basis.nx - 3 {
            let rows = std::array::from_fn(|a| (j + a / 4) * basis.nx + i + a % 4);
            matrix.add_block(&rows, &block, 1.0);
        }
    }
    matrix
}
