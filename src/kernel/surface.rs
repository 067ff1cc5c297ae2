//! The surface under the cutter: two triangles per lattice cell, and the exact height at which a
//! cutter's tip comes to rest on it. Knows nothing of outlines or moves.

use rayon::prelude::*;

use super::Shape;
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
    grid: &'a Grid,
    /// Blocks of 2, 4, 8, ... cells a side, each under its own tilted lid; see [`Lid`].
    levels: Vec<Level>,
}

struct Level {
    nx: usize,
    ny: usize,
    lids: Vec<Lid>,
}

/// A plane that no part of a block rises above. A level lid would be useless on a slope, where the
/// cutter touches most of the time; a tilted one is off by the block's curvature only.
#[derive(Clone, Copy)]
struct Lid {
    /// Height of the plane over the block's centre.
    top: f64,
    gx: f64,
    gy: f64,
}

/// Blocks of 2^5 = 32 cells: at a step of 0.25 mm 8 mm, as large as any cutter needs.
const MOST_LEVELS: usize = 5;

impl<'a> Surface<'a> {
    /// Prepares the lids of a height map, mm.
    pub fn new(grid: &'a Grid) -> Result<Surface<'a>, SurfaceError> {
        let lat = grid.lattice;
        if lat.nx < 2 || lat.ny < 2 || !(lat.step > 0.0 && lat.step.is_finite()) || grid.z.len() != lat.len() {
            return Err(SurfaceError::Lattice { nx: lat.nx, ny: lat.ny, step: lat.step, heights: grid.z.len() });
        }
        if let Some(k) = grid.z.iter().position(|z| !z.is_finite()) {
            let p = lat.node(k % lat.nx, k / lat.nx);
            return Err(SurfaceError::Height { x: p.x, y: p.y, z: grid.z[k] });
        }
        let levels = (1..=MOST_LEVELS)
            .take_while(|&level| level == 1 || (1 << (level - 1)) < lat.nx.max(lat.ny))
            .map(|level| Level::new(grid, 1 << level))
            .collect();
        Ok(Surface { grid, levels })
    }

    /// The map it was made from.
    pub fn grid(&self) -> &'a Grid {
        self.grid
    }

    /// Height at which the tip rests when the axis stands at `c`: the greatest
    /// `z(p) - h(|p - c|)` over all facets, edges and vertices within the cutter's radius, exact
    /// but for rounding (about 1e-12 mm). Negative infinity where the cutter's disc meets no facet.
    pub fn reach(&self, shape: &Shape, c: Point2) -> f64 {
        let mut search = Search::new(self, shape, c);
        search.guess();
        search.descend_all();
        search.best
    }

    /// [`Surface::reach`] at many places, on all threads; the result does not depend on how many.
    pub fn reach_many(&self, shape: &Shape, places: &[Point2]) -> Vec<f64> {
        places.par_iter().with_min_len(64).map(|&c| self.reach(shape, c)).collect()
    }
}

impl Level {
    fn new(grid: &Grid, size: usize) -> Level {
        let lat = grid.lattice;
        let (nx, ny) = ((lat.nx - 1).div_ceil(size), (lat.ny - 1).div_ceil(size));
        let mut lids = vec![Lid { top: 0.0, gx: 0.0, gy: 0.0 }; nx * ny];
        lids.par_chunks_mut(nx).enumerate().for_each(|(bj, row)| {
            for (bi, lid) in row.iter_mut().enumerate() {
                *lid = Lid::over(grid, bi * size, bj * size, size);
            }
        });
        Level { nx, ny, lids }
    }
}

impl Lid {
    /// The lid of the block of `size` cells whose first node is (i0, j0): tilted as its corners
    /// are, lifted until it clears every node (and with them the facets between).
    fn over(grid: &Grid, i0: usize, j0: usize, size: usize) -> Lid {
        let lat = grid.lattice;
        let (i1, j1) = ((i0 + size).min(lat.nx - 1), (j0 + size).min(lat.ny - 1));
        let (z00, z10, z01, z11) = (grid.at(i0, j0), grid.at(i1, j0), grid.at(i0, j1), grid.at(i1, j1));
        let gx = (z10 - z00 + z11 - z01) / (2.0 * (i1 - i0) as f64 * lat.step);
        let gy = (z01 - z00 + z11 - z10) / (2.0 * (j1 - j0) as f64 * lat.step);
        let half = 0.5 * size as f64;
        let mut top = f64::NEG_INFINITY;
        for j in j0..=j1 {
            let row = &grid.z[j * lat.nx + i0..=j * lat.nx + i1];
            let rise_y = gy * ((j - j0) as f64 - half) * lat.step;
            for (i, z) in row.iter().enumerate() {
                let above = z - rise_y - gx * (i as f64 - half) * lat.step;
                if above > top {
                    top = above;
                }
            }
        }
        Lid { top, gx, gy }
    }
}

/// One search for the highest contact.
struct Search<'s> {
    surface: &'s Surface<'s>,
    shape: &'s Shape,
    radius: f64,
    /// Least curvature of the profile in any direction, 1/mm.
    curvature: f64,
    /// Up to this distance from the axis the profile is not upright yet, and its tangents are of use.
    gentle: f64,
    c: Point2,
    best: f64,
}

impl<'s> Search<'s> {
    fn new(surface: &'s Surface<'s>, shape: &'s Shape, c: Point2) -> Search<'s> {
        let (radius, curvature, gentle) = (shape.radius(), shape.least_curvature(), shape.gentle_radius());
        Search { surface, shape, radius, curvature, gentle, c, best: f64::NEG_INFINITY }
    }
}

impl Search<'_> {
    /// Follows the slope to where the contact should be. Every cell met on the way counts fully, so
    /// a poor guess costs time but no accuracy.
    fn guess(&mut self) {
        let lat = self.surface.grid.lattice;
        let rect = lat.rect();
        let mut p = self.c;
        let mut last = None;
        for _ in 0..4 {
            let clamped = Point2::new(p.x.clamp(rect.x0, rect.x1), p.y.clamp(rect.y0, rect.y1));
            let Some((i, j, ..)) = lat.cell(clamped) else { return };
            if last == Some((i, j)) {
                return;
            }
            last = Some((i, j));
            self.cell(i, j);
            let lid = self.cell_lid(i, j);
            let m = lid.gx.hypot(lid.gy);
            let q = if m > 0.0 { self.shape.contact_radius(m) / m } else { 0.0 };
            p = Point2::new(self.c.x + q * lid.gx, self.c.y + q * lid.gy);
        }
    }

    /// Goes through every block that the cutter's disc meets, from blocks about as large as the
    /// cutter down to cells.
    fn descend_all(&mut self) {
        let lat = self.surface.grid.lattice;
        let levels = &self.surface.levels;
        let fits = levels.iter().enumerate().skip(1).take_while(|(k, _)| lat.step * (2 << k) as f64 <= self.radius);
        let k = fits.last().map_or(0, |(k, _)| k);
        let size = lat.step * (2 << k) as f64;
        let span = |centre: f64, start: f64, n: usize| {
            let (low, high) = ((centre - self.radius - start) / size, (centre + self.radius - start) / size);
            // Casts from f64 saturate, so places far outside give an empty or a clipped span.
            (low <= n as f64 && high >= 0.0).then(|| low.max(0.0) as usize..(high as usize).min(n - 1) + 1)
        };
        let (nx, ny) = (levels[k].nx, levels[k].ny);
        let (Some(across), Some(up)) = (span(self.c.x, lat.x0, nx), span(self.c.y, lat.y0, ny)) else { return };
        for bj in up {
            for bi in across.clone() {
                self.descend(k + 1, bi, bj);
            }
        }
    }

    /// Looks into block (bi, bj) of `1 << level` cells a side unless its lid rules it out.
    fn descend(&mut self, level: usize, bi: usize, bj: usize) {
        let lat = self.surface.grid.lattice;
        let (lid, nx, ny) = match level.checked_sub(1) {
            None => (self.cell_lid(bi, bj), lat.nx - 1, lat.ny - 1),
            Some(k) => {
                let l = &self.surface.levels[k];
                (l.lids[(bj * l.nx + bi).min(l.lids.len() - 1)], l.nx, l.ny)
            }
        };
        if bi >= nx || bj >= ny || self.ruled_out(lid, bi, bj, lat.step * (1 << level) as f64) {
            return;
        }
        if level == 0 {
            return self.cell(bi, bj);
        }
        for (di, dj) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            let (ci, cj) = (2 * bi + di, 2 * bj + dj);
            let (cnx, cny) = self.counts(level - 1);
            if ci < cnx && cj < cny {
                self.descend(level - 1, ci, cj);
            }
        }
    }

    /// Blocks in each direction at a level; level 0 are the cells.
    fn counts(&self, level: usize) -> (usize, usize) {
        match level.checked_sub(1) {
            None => (self.surface.grid.lattice.nx - 1, self.surface.grid.lattice.ny - 1),
            Some(k) => (self.surface.levels[k].nx, self.surface.levels[k].ny),
        }
    }

    fn cell_lid(&self, i: usize, j: usize) -> Lid {
        let grid = self.surface.grid;
        let (z00, z10, z01, z11) = (grid.at(i, j), grid.at(i + 1, j), grid.at(i, j + 1), grid.at(i + 1, j + 1));
        let half = 0.5 / grid.lattice.step;
        Lid {
            top: 0.25 * (z00 + z10 + z01 + z11 + (z00 + z11 - z10 - z01).abs()),
            gx: half * (z10 - z00 + z11 - z01),
            gy: half * (z01 - z00 + z11 - z10),
        }
    }

    /// Whether nothing under the lid of this block can beat the best contact so far.
    ///
    /// Lid minus profile is concave, so any tangent bounds it from above, less what the profile is
    /// known to curve away. Two tangents are tried: the one at the block's centre, or further in
    /// where the profile gets upright, and the one whose slope from the axis equals the lid's,
    /// which still works where the profile ends.
    fn ruled_out(&self, lid: Lid, bi: usize, bj: usize, size: f64) -> bool {
        let lat = self.surface.grid.lattice;
        let half = 0.5 * size;
        let dx = lat.x0 + bi as f64 * size + half - self.c.x;
        let dy = lat.y0 + bj as f64 * size + half - self.c.y;
        let (near_x, near_y) = ((dx.abs() - half).max(0.0), (dy.abs() - half).max(0.0));
        if near_x * near_x + near_y * near_y > self.radius * self.radius {
            return true;
        }
        let q = (dx * dx + dy * dy).sqrt();
        if q == 0.0 {
            return lid.top + half * (lid.gx.abs() + lid.gy.abs()) <= self.best;
        }
        let at = q.min(self.gentle);
        let slope = self.shape.slope_at(at);
        let curvature = if q <= self.gentle { self.curvature } else { 0.0 };
        let k = slope / q;
        let spread = rise(lid.gx - k * dx, half, curvature) + rise(lid.gy - k * dy, half, curvature);
        if lid.top - self.shape.height_within(at) - slope * (q - at) + spread <= self.best {
            return true;
        }
        let (ux, uy) = (dx / q, dy / q);
        let m = (lid.gx * ux + lid.gy * uy).max(0.0);
        let spread = half * ((lid.gx - m * ux).abs() + (lid.gy - m * uy).abs());
        lid.top + self.shape.lift_on_slope(m) - m * q + spread <= self.best
    }

    /// Both facets of a cell, exactly.
    fn cell(&mut self, i: usize, j: usize) {
        let grid = self.surface.grid;
        let s = grid.lattice.step;
        let corner = grid.lattice.node(i, j);
        let (cx, cy) = (self.c.x - corner.x, self.c.y - corner.y);
        let (z00, z10, z01, z11) = (grid.at(i, j), grid.at(i + 1, j), grid.at(i, j + 1), grid.at(i + 1, j + 1));
        let diagonal = (s * std::f64::consts::SQRT_2, std::f64::consts::FRAC_1_SQRT_2);
        // A concave function's optimum over a facet lies on an edge beyond which its optimum over
        // the whole plane lies, so the other edges need no look.
        let mut across = false;
        if let Some((x, y)) =
            self.facet(z00, (z10 - z00) / s, (z11 - z10) / s, (cx, cy), |x, y| 0.0 <= y && y <= x && x <= s)
        {
            if y < 0.0 {
                self.edge(-cx, cy, s, z00, z10);
            }
            if x > s {
                self.edge(-cy, cx - s, s, z10, z11);
            }
            across |= y > x;
        }
        if let Some((x, y)) =
            self.facet(z00, (z11 - z01) / s, (z01 - z00) / s, (cx, cy), |x, y| 0.0 <= x && x <= y && y <= s)
        {
            if y > s {
                self.edge(-cx, cy - s, s, z01, z11);
            }
            if x < 0.0 {
                self.edge(-cy, cx, s, z00, z01);
            }
            across |= x > y;
        }
        if across {
            self.edge(-(cx + cy) * diagonal.1, (cx - cy) * diagonal.1, diagonal.0, z00, z11);
        }
    }

    /// The facet's plane `z00 + gx x + gy y`, axis at `c`: raises the best when the contact lies
    /// within. Returns the contact when it does not and the facet's edges may still do better.
    fn facet(
        &mut self,
        z00: f64,
        gx: f64,
        gy: f64,
        c: (f64, f64),
        within: impl Fn(f64, f64) -> bool,
    ) -> Option<(f64, f64)> {
        let m = (gx * gx + gy * gy).sqrt();
        let tip = z00 + gx * c.0 + gy * c.1 + self.shape.lift_on_slope(m);
        if tip <= self.best {
            return None;
        }
        let q = if m > 0.0 { self.shape.contact_radius(m) / m } else { 0.0 };
        let (x, y) = (c.0 + q * gx, c.1 + q * gy);
        if within(x, y) {
            self.best = tip;
            return None;
        }
        Some((x, y))
    }

    /// An edge from `x0` to `x0 + length` along a line that passes the axis at distance `d`.
    fn edge(&mut self, x0: f64, d: f64, length: f64, z0: f64, z1: f64) {
        let half2 = self.radius * self.radius - d * d;
        if half2 < 0.0 {
            return;
        }
        let half = half2.sqrt();
        let (low, high) = (x0.max(-half), (x0 + length).min(half));
        if low > high {
            return;
        }
        let m = (z1 - z0) / length;
        let x = self.shape.edge_optimum(m, d.abs(), half).clamp(low, high);
        let q = (x * x + d * d).sqrt().min(self.radius);
        let tip = z0 + m * (x - x0) - self.shape.height_within(q);
        if tip > self.best {
            self.best = tip;
        }
    }
}

/// The most that `g x - curvature x^2 / 2` rises over `-half..=half`.
fn rise(g: f64, half: f64, curvature: f64) -> f64 {
    let g = g.abs();
    if g < curvature * half { 0.5 * g * g / curvature } else { half * (g - 0.5 * curvature * half) }
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
        let mut grid = Grid::filled(square(2.0, 0.5), 1.0);
        grid.z[6] = f64::NAN;
        let refused = Surface::new(&grid).err().unwrap();
        assert!(refused.to_string().contains("x 0.5 y 0.5 mm is NaN"), "{refused}");
        grid.z.pop();
        assert!(matches!(Surface::new(&grid), Err(SurfaceError::Lattice { .. })));
    }
}
