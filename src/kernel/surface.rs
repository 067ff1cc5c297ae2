//! The surface under the cutter: two triangles per lattice cell, and the exact height at which a
//! cutter's tip comes to rest on it. Knows nothing of outlines or moves.

use rayon::prelude::*;

use super::Shape;
use super::lid::Level;
use super::search;
use crate::frame::Point2;
use crate::grid::Grid;

/// Why heights are no surface.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SurfaceError {
    /// A height that is no finite number.
    #[error("the height at x {x} y {y} mm is {z}; every height of a surface must be a finite number")]
    Height {
        /// Where, mm.
        x: f64,
        /// Where, mm.
        y: f64,
        /// As given.
        z: f64,
    },
    /// Fewer nodes than a cell has, a step that is no length, or a wrong number of heights.
    #[error(
        "the lattice of {nx} x {ny} nodes, step {step} mm, with {heights} heights is no surface: it needs at least 2 x 2 nodes, a positive step and a height for every node"
    )]
    Lattice {
        /// Nodes in a row.
        nx: usize,
        /// Rows.
        ny: usize,
        /// Distance between nodes, mm.
        step: f64,
        /// Heights given.
        heights: usize,
    },
}

/// A height map as a mesh: every cell is cut along its diagonal from node (i, j) to node
/// (i + 1, j + 1). Made once for a map; answers [`Surface::reach`] in a few microseconds.
pub struct Surface<'a> {
    pub(super) grid: &'a Grid,
    /// Blocks of 2, 4, 8, ... cells a side, each under its own tilted lid.
    pub(super) levels: Vec<Level>,
}

/// Blocks of 2^5 = 32 cells: at a step of 0.25 mm 8 mm, as large as any cutter needs.
const MOST_LEVELS: usize = 5;

impl<'a> Surface<'a> {
    /// Prepares the lids of a height map, mm.
    pub fn new(grid: &'a Grid) -> Result<Surface<'a>, SurfaceError> {
        Surface::check(grid)?;
        let lat = grid.lattice;
        let levels = (1..=MOST_LEVELS)
            .take_while(|&level| level == 1 || (1 << (level - 1)) < lat.nx.max(lat.ny))
            .map(|level| Level::new(grid, 1 << level))
            .collect();
        Ok(Surface { grid, levels })
    }

    /// Whether a height map is a surface at all.
    pub fn check(grid: &Grid) -> Result<(), SurfaceError> {
        let lat = grid.lattice;
        if lat.nx < 2 || lat.ny < 2 || !(lat.step > 0.0 && lat.step.is_finite()) || grid.z.len() != lat.len() {
            return Err(SurfaceError::Lattice { nx: lat.nx, ny: lat.ny, step: lat.step, heights: grid.z.len() });
        }
        if let Some(k) = grid.z.iter().position(|z| !z.is_finite()) {
            let p = lat.node(k % lat.nx, k / lat.nx);
            return Err(SurfaceError::Height { x: p.x, y: p.y, z: grid.z[k] });
        }
        Ok(())
    }

    /// The map it was made from.
    pub fn grid(&self) -> &'a Grid {
        self.grid
    }

    /// Height at which the tip rests when the axis stands at `c`: the greatest
    /// `z(p) - h(|p - c|)` over all facets, edges and vertices within the cutter's radius, exact
    /// but for rounding (about 1e-12 mm). Negative infinity where the cutter's disc meets no facet.
    pub fn reach(&self, shape: &Shape, c: Point2) -> f64 {
        search::highest(self, shape, c)
    }

    /// [`Surface::reach`] at many places, on all threads; the result does not depend on how many.
    pub fn reach_many(&self, shape: &Shape, places: &[Point2]) -> Vec<f64> {
        places.par_iter().with_min_len(64).map(|&c| self.reach(shape, c)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Rect;
    use crate::grid::Lattice;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    fn shapes(radius: f64) -> [Shape; 4] {
        [
            Shape::flat(radius).unwrap(),
            Shape::ball(radius).unwrap(),
            Shape::bull(radius, 0.4 * radius).unwrap(),
            Shape::taper(0.4 * radius, 25.0, radius).unwrap(),
        ]
    }

    fn square(side: f64, step: f64) -> Lattice {
        Lattice::covering(Rect { x0: 0.0, y0: 0.0, x1: side, y1: side }, step)
    }

    /// Heights all over every facet, `n` steps a side, edges and vertices included; no pruning, no
    /// closed form. Never above the true reach, and below it by at most what can hide between
    /// samples.
    fn brute(grid: &Grid, shape: &Shape, c: Point2, n: u32) -> f64 {
        let lat = grid.lattice;
        let mut best = f64::NEG_INFINITY;
        for j in 0..lat.ny - 1 {
            for i in 0..lat.nx - 1 {
                for b in 0..=n {
                    for a in 0..=n {
                        let (u, v) = (f64::from(a) / f64::from(n), f64::from(b) / f64::from(n));
                        let (z00, z11) = (grid.at(i, j), grid.at(i + 1, j + 1));
                        let z = if u >= v {
                            let z10 = grid.at(i + 1, j);
                            z00 + (z10 - z00) * u + (z11 - z10) * v
                        } else {
                            let z01 = grid.at(i, j + 1);
                            z00 + (z01 - z00) * v + (z11 - z01) * u
                        };
                        let p = lat.node(i, j);
                        let q = (p.x + u * lat.step - c.x).hypot(p.y + v * lat.step - c.y);
                        best = f64::max(best, z - shape.height_at(q));
                    }
                }
            }
        }
        best
    }

    /// Rough ground of small slopes on 8 x 8 cells.
    fn ground() -> impl Strategy<Value = Grid> {
        proptest::collection::vec(-0.5..0.5f64, 81)
            .prop_map(|z| Grid { lattice: Lattice { x0: -1.0, y0: 2.0, step: 0.5, nx: 9, ny: 9 }, z })
    }

    /// Ground with walls, on few heights, so that contacts tie.
    fn steep_ground() -> impl Strategy<Value = Grid> {
        proptest::collection::vec(-5i32..=5, 81).prop_map(|z| {
            let z = z.into_iter().map(|z| 0.5 * f64::from(z)).collect();
            Grid { lattice: Lattice { x0: -1.0, y0: 2.0, step: 0.5, nx: 9, ny: 9 }, z }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// A slope of at most sqrt(8) on the ground and the ball's own slope hide little between
        /// samples 0.5 / 16 mm apart once the contact is inside the disc; at the rim of a flat
        /// cutter a whole sample's rise.
        #[test]
        fn reach_is_never_below_brute_force_and_close_above(
            grid in ground(), x in -2.0..4.0f64, y in 1.0..7.0f64, radius in 0.6..2.5f64,
        ) {
            let surface = Surface::new(&grid).unwrap();
            for shape in shapes(radius) {
                let c = Point2::new(x, y);
                let (exact, dumb) = (surface.reach(&shape, c), brute(&grid, &shape, c, 16));
                if dumb == f64::NEG_INFINITY {
                    // The disc may still touch the lattice between two samples.
                    continue;
                }
                prop_assert!(exact >= dumb - 1e-9, "{shape:?}: {exact} < {dumb}");
                prop_assert!(exact <= dumb + 0.13, "{shape:?}: {exact} > {dumb}");
            }
        }

        /// Steep steps of up to 10, cutters from far smaller than a cell up, axes on nodes, on edges, on
        /// diagonals and anywhere, several nodes of one height: whatever the search passes by, no
        /// place that samples find stands above the tip.
        #[test]
        fn steep_ground_and_fine_cutters_are_never_cut_into(
            grid in steep_ground(), (x, y) in (0u8..=16, 0u8..=16), (u, v) in (-0.5..0.5f64, -0.5..0.5f64),
            on in 0u8..4, radius in 0.05..2.5f64,
        ) {
            let surface = Surface::new(&grid).unwrap();
            let half = 0.5 * grid.lattice.step;
            let node = Point2::new(grid.lattice.x0 + f64::from(x / 2 * 2) * half, grid.lattice.y0 + f64::from(y / 2 * 2) * half);
            let c = match on {
                0 => node,
                1 => Point2::new(node.x + u, node.y),
                2 => Point2::new(node.x + u, node.y + u),
                _ => Point2::new(node.x + u, node.y + v),
            };
            for shape in shapes(radius) {
                let (exact, dumb) = (surface.reach(&shape, c), brute(&grid, &shape, c, 16));
                prop_assert!(exact >= dumb - 1e-9, "{shape:?} at {c:?}: {exact} < {dumb}");
            }
        }

        /// Every point under a larger ball or flat is under the smaller one's lift or higher: a
        /// larger cutter of the same kind never goes deeper.
        #[test]
        fn larger_cutters_never_reach_deeper(
            grid in ground(), x in -1.0..3.0f64, y in 2.0..6.0f64, radius in 0.6..2.0f64, more in 0.0..1.0f64,
        ) {
            let surface = Surface::new(&grid).unwrap();
            let c = Point2::new(x, y);
            for (small, large) in [
                (Shape::Flat { radius }, Shape::Flat { radius: radius + more }),
                (Shape::Ball { radius }, Shape::Ball { radius: radius + more }),
                (Shape::Bull { radius, corner: 0.3 }, Shape::Bull { radius: radius + more, corner: 0.3 }),
            ] {
                prop_assert!(surface.reach(&small, c) <= surface.reach(&large, c) + 1e-12);
            }
        }

        /// Planes of any tilt: `zc + lift(m)`, the closed form, exactly.
        #[test]
        fn planes_give_the_closed_form(gx in -2.0..2.0f64, gy in -2.0..2.0f64, radius in 0.5..4.0f64) {
            let grid = Grid::from_fn(square(12.0, 0.25), |p| 3.0 + gx * p.x + gy * p.y);
            let surface = Surface::new(&grid).unwrap();
            let c = Point2::new(6.1, 5.93);
            for shape in shapes(radius) {
                let expected = 3.0 + gx * c.x + gy * c.y + shape.lift_on_slope(gx.hypot(gy));
                prop_assert!((surface.reach(&shape, c) - expected).abs() < 1e-9);
            }
        }
    }

    /// A ball over a sphere rests where the centres are R + r apart (plain geometry). The mesh
    /// lies below the sphere by at most step^2 / (4 r) and the tip with it.
    #[test]
    fn ball_on_a_sphere() {
        let (sphere, r) = (20.0, 3.0);
        let grid = Grid::from_fn(square(24.0, 0.25), |p| {
            (sphere * sphere - (p.x - 12.0).powi(2) - (p.y - 12.0).powi(2)).max(0.0).sqrt()
        });
        let surface = Surface::new(&grid).unwrap();
        let ball = Shape::ball(r).unwrap();
        for k in 0..40 {
            let d = 0.2 * f64::from(k);
            let tip = ((sphere + r).powi(2) - d * d).sqrt() - r;
            let got = surface.reach(&ball, Point2::new(12.0 + 0.6 * d, 12.0 + 0.8 * d));
            assert!(got <= tip + 1e-9 && got >= tip - 0.25 * 0.25 / (4.0 * sphere) * 1.5, "{d}: {got} {tip}");
        }
    }

    /// One raised node: the tip follows the cutter's own profile turned upside down.
    #[test]
    fn a_single_peak_prints_the_profile() {
        let mut grid = Grid::filled(square(10.0, 0.5), 0.0);
        let nx = grid.lattice.nx;
        grid.z[10 * nx + 10] = 4.0;
        let surface = Surface::new(&grid).unwrap();
        for shape in shapes(2.0) {
            for k in 0..10 {
                let q = 0.19 * f64::from(k);
                let peak = 4.0 - shape.height_at(q);
                let got = surface.reach(&shape, Point2::new(5.0 + q * 0.6, 5.0 - q * 0.8));
                assert!(got >= peak - 1e-12);
                // The gentlest way down from the peak is the diagonal edge.
                if shape.slope_at(q) < 4.0 / (0.5 * std::f64::consts::SQRT_2) {
                    assert_abs_diff_eq!(got, peak, epsilon = 1e-12);
                }
            }
        }
    }

    #[test]
    fn far_outside_there_is_nothing_to_rest_on() {
        let grid = Grid::filled(square(5.0, 0.5), 1.0);
        let surface = Surface::new(&grid).unwrap();
        let ball = Shape::ball(1.0).unwrap();
        assert_eq!(surface.reach(&ball, Point2::new(6.5, 2.0)), f64::NEG_INFINITY);
        assert_eq!(surface.reach(&ball, Point2::new(-1e300, 2.0)), f64::NEG_INFINITY);
        assert_eq!(surface.reach(&ball, Point2::new(f64::NAN, 2.0)), f64::NEG_INFINITY);
        assert_abs_diff_eq!(surface.reach(&ball, Point2::new(5.6, 2.0)), 1.0 - ball.height_at(0.6), epsilon = 1e-12);
    }

    #[test]
    fn many_equals_one_by_one() {
        let grid = Grid::from_fn(square(20.0, 0.5), |p| (0.3 * p.x).sin() + (0.2 * p.y).cos());
        let surface = Surface::new(&grid).unwrap();
        let places: Vec<Point2> = (0..500).map(|k| Point2::new(0.04 * f64::from(k), 0.03 * f64::from(k))).collect();
        let ball = Shape::ball(3.0).unwrap();
        let one_by_one: Vec<f64> = places.iter().map(|&c| surface.reach(&ball, c)).collect();
        assert_eq!(surface.reach_many(&ball, &places), one_by_one);
    }

    #[test]
    fn broken_maps_are_refused_with_the_place() {
        let lattice = Lattice { x0: 1.0, y0: -2.0, step: 0.5, nx: 5, ny: 7 };
        let mut grid = Grid::filled(lattice, 1.0);
        grid.z[13] = f64::NAN;
        let refused = Surface::new(&grid).err().unwrap();
        assert!(refused.to_string().contains("x 2.5 y -1 mm is NaN"), "{refused}");
        grid.z.pop();
        assert!(matches!(Surface::new(&grid), Err(SurfaceError::Lattice { .. })));
        let of = |nx, ny, step| Surface::new(&Grid::filled(Lattice { step, nx, ny, ..lattice }, 1.0)).is_ok();
        assert!(of(2, 2, 0.5) && of(2, 7, 0.5) && of(5, 2, 0.5));
        assert!(![of(1, 7, 0.5), of(5, 1, 0.5), of(0, 7, 0.5), of(5, 0, 0.5)].contains(&true));
        assert!(![of(5, 7, 0.0), of(5, 7, -0.5), of(5, 7, f64::NAN), of(5, 7, f64::INFINITY)].contains(&true));
    }
}
