//! A second simulator, for tests only: a coarse grid, moves as dense rows of standing cutters, plain
//! loops, the profile straight from its definition. Shares nothing with the first but the question.
//!
//! Every place of a continuous move lies within half a sampling distance of a sample, so the samples
//! of the cutter contain the whole move of a cutter that is slimmer by that much everywhere. What
//! they leave must therefore lie between what the exact move leaves and what the exact move of the
//! slimmer cutter leaves: a check without a tolerance of its own.

use proptest::prelude::*;

use super::stock::{Stock, slimmer};
use crate::frame::{Point3, Rect};
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, Sweep};

/// Distance of the samples along a move, mm.
const SAMPLING_MM: f64 = 0.05;

const BLANK: Rect = Rect { x0: 0.0, y0: 0.0, x1: 24.0, y1: 16.0 };
const TOP_MM: f64 = 12.0;

fn height(shape: &Shape, q: f64) -> f64 {
    match *shape {
        _ if q > shape.radius() => f64::INFINITY,
        Shape::Flat { .. } => 0.0,
        Shape::Ball { radius } => radius - (radius * radius - q * q).sqrt(),
        Shape::Bull { radius, corner } if q < radius - corner => 0.0,
        Shape::Bull { radius, corner } => corner - (corner.powi(2) - (q - radius + corner).powi(2)).max(0.0).sqrt(),
        Shape::Taper { tip, half_angle_rad, .. } if q < tip * half_angle_rad.cos() => tip - (tip * tip - q * q).sqrt(),
        Shape::Taper { tip, half_angle_rad, .. } => {
            tip * (1.0 - half_angle_rad.sin()) + (q - tip * half_angle_rad.cos()) / half_angle_rad.tan()
        }
    }
}

fn brute(lattice: Lattice, shape: &Shape, path: &[Point3]) -> Grid {
    let mut grid = Grid::filled(lattice, TOP_MM);
    for leg in path.windows(2) {
        let samples = ((leg[1] - leg[0]).norm() / SAMPLING_MM).ceil().max(1.0) as usize;
        for n in 0..=samples {
            let tip = leg[0] + (leg[1] - leg[0]) * (n as f64 / samples as f64);
            for j in 0..lattice.ny {
                for i in 0..lattice.nx {
                    let p = lattice.node(i, j);
                    let left = tip.z + height(shape, (p.x - tip.x).hypot(p.y - tip.y));
                    let z = &mut grid.z[j * lattice.nx + i];
                    *z = z.min(left);
                }
            }
        }
    }
    grid
}

fn exact(shape: &Shape, path: &[Point3], raised: f64) -> Grid {
    let mut stock = Stock::new(BLANK, TOP_MM, 0.8).unwrap();
    let up = |p: Point3| Point3::new(p.x, p.y, p.z + raised);
    for (k, leg) in path.windows(2).enumerate() {
        let sweep = Sweep::new(shape, up(leg[0]), up(leg[1]));
        stock.carve(&if k > 0 { sweep.going_on() } else { sweep });
    }
    stock.into_grid()
}

fn shapes() -> impl Strategy<Value = Shape> {
    prop_oneof![
        (1.0..4.0).prop_map(|radius| Shape::Flat { radius }),
        (1.0..4.0).prop_map(|radius| Shape::Ball { radius }),
        (1.0..4.0, 0.1..0.9).prop_map(|(radius, share)| Shape::Bull { radius, corner: radius * share }),
        (0.5..1.5, 0.1..1.0).prop_map(|(tip, half_angle_rad)| Shape::Taper { tip, half_angle_rad, radius: 3.0 }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn both_simulators_leave_the_same(
        shape in shapes(),
        path in prop::collection::vec((-3.0..27.0, -3.0..19.0, 1.0..11.0), 2..7),
    ) {
        let path: Vec<Point3> = path.into_iter().map(|(x, y, z)| Point3::new(x, y, z)).collect();
        let full = exact(&shape, &path, 0.0);
        let slim = exact(&slimmer(&shape, 0.5 * SAMPLING_MM).unwrap(), &path, 0.5 * SAMPLING_MM);
        let brute = brute(full.lattice, &shape, &path);
        for ((full, slim), brute) in full.z.iter().zip(&slim.z).zip(&brute.z) {
            prop_assert!(*full <= brute + 1e-7, "exact {full} stands above the samples {brute}");
            prop_assert!(*brute <= slim + 1e-7, "the samples {brute} stand above the slimmer cutter {slim}");
        }
    }
}
