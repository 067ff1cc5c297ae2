//! The search for the highest contact of one cutter at one place: a good guess first, then every
//! block of the surface that might still beat it.

use super::Shape;
use super::contact::Profile;
use super::lid::Lid;
use super::surface::Surface;
use crate::frame::Point2;

/// The greatest height at which the tip touches anything when the axis stands at `c`.
pub(super) fn highest(surface: &Surface, shape: &Shape, c: Point2) -> f64 {
    let mut search = Search::new(surface, shape, c);
    search.guess();
    search.look_everywhere();
    search.best
}

/// The outermost tangent of use: further out the profile gets upright.
struct Gentle {
    radius: f64,
    height: f64,
    slope: f64,
}

impl Gentle {
    fn of(shape: &Shape) -> Gentle {
        let radius = shape.gentle_radius();
        Gentle { radius, height: shape.height_within(radius), slope: shape.slope_at(radius) }
    }

    /// Height of the tangent at distance `q` from the axis, and its slope over `q`.
    fn beyond(&self, q: f64) -> (f64, f64) {
        (self.height + self.slope * (q - self.radius), self.slope / q)
    }
}

/// One search for the highest contact.
struct Search<'s> {
    surface: &'s Surface<'s>,
    shape: &'s Shape,
    radius: f64,
    /// Least curvature of the profile in any direction, 1/mm.
    curvature: f64,
    gentle: Gentle,
    profile: Profile,
    c: Point2,
    best: f64,
    /// How many blocks were asked for their lids, how many cells were looked at, on how many edges an optimum was sought.
    #[cfg(test)]
    looked_at: [usize; 3],
}

impl<'s> Search<'s> {
    fn new(surface: &'s Surface<'s>, shape: &'s Shape, c: Point2) -> Search<'s> {
        let (radius, curvature) = (shape.radius(), shape.least_curvature());
        let (gentle, profile) = (Gentle::of(shape), Profile::of(shape));
        Search {
            surface,
            shape,
            radius,
            curvature,
            gentle,
            profile,
            c,
            best: f64::NEG_INFINITY,
            #[cfg(test)]
            looked_at: [0; 3],
        }
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
            let lid = Lid::over_cell(self.surface.grid, i, j);
            let m = lid.gx.hypot(lid.gy);
            let q = if m > 0.0 { self.profile.contact_radius(m) / m } else { 0.0 };
            p = Point2::new(self.c.x + q * lid.gx, self.c.y + q * lid.gy);
        }
    }

    /// Goes through every block that the cutter's disc meets, from blocks about as large as the
    /// cutter down to cells.
    fn look_everywhere(&mut self) {
        let lat = self.surface.grid.lattice;
        let size = |level: usize| lat.step * (1 << level) as f64;
        let level = (2..=self.surface.levels.len()).take_while(|&k| size(k) <= self.radius).last().unwrap_or(1);
        let span = |centre: f64, start: f64, n: usize| {
            let (low, high) =
                ((centre - self.radius - start) / size(level), (centre + self.radius - start) / size(level));
            // Casts from f64 saturate, so places far outside give an empty or a clipped span.
            (low <= n as f64 && high >= 0.0).then(|| low.max(0.0) as usize..(high as usize).min(n - 1) + 1)
        };
        let (nx, ny) = self.counts(level);
        let (Some(across), Some(up)) = (span(self.c.x, lat.x0, nx), span(self.c.y, lat.y0, ny)) else { return };
        for bj in up {
            for bi in across.clone() {
                self.look_into(level, bi, bj);
            }
        }
    }

    /// Looks into block (bi, bj) of `1 << level` cells a side unless its lid rules it out.
    fn look_into(&mut self, level: usize, bi: usize, bj: usize) {
        #[cfg(test)]
        {
            self.looked_at[0] += 1;
        }
        let size = self.surface.grid.lattice.step * (1 << level) as f64;
        if self.ruled_out(self.lid(level, bi, bj), bi, bj, size) {
            return;
        }
        let Some(finer) = level.checked_sub(1) else { return self.cell(bi, bj) };
        let (nx, ny) = self.counts(finer);
        for cj in 2 * bj..(2 * bj + 2).min(ny) {
            for ci in 2 * bi..(2 * bi + 2).min(nx) {
                self.look_into(finer, ci, cj);
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

    fn lid(&self, level: usize, bi: usize, bj: usize) -> Lid {
        match level.checked_sub(1) {
            None => Lid::over_cell(self.surface.grid, bi, bj),
            Some(k) => self.surface.levels[k].lids[bj * self.surface.levels[k].nx + bi],
        }
    }

    /// Whether nothing under the lid of this block can beat the best contact so far.
    ///
    /// Lid minus profile is concave, so any tangent bounds it from above, less what the profile is
    /// known to curve away. Two tangents are tried: the one at the block's centre, or further in
    /// where the profile gets upright, and the one whose slope from the axis equals the lid's,
    /// which still works where the profile ends.
    #[inline]
    fn ruled_out(&self, lid: Lid, bi: usize, bj: usize, size: f64) -> bool {
        let lat = self.surface.grid.lattice;
        let half = 0.5 * size;
        let dx = lat.x0 + bi as f64 * size + half - self.c.x;
        let dy = lat.y0 + bj as f64 * size + half - self.c.y;
        let (near_x, near_y) = ((dx.abs() - half).max(0.0), (dy.abs() - half).max(0.0));
        if near_x * near_x + near_y * near_y > self.radius * self.radius {
            return true;
        }
        let q2 = dx * dx + dy * dy;
        let inside = q2 <= self.gentle.radius * self.gentle.radius;
        let (height, k) = if inside { self.profile.tangent(q2) } else { self.gentle.beyond(q2.sqrt()) };
        let curvature = if inside { self.curvature } else { 0.0 };
        let spread = rise(lid.gx - k * dx, half, curvature) + rise(lid.gy - k * dy, half, curvature);
        if lid.top - height + spread <= self.best {
            return true;
        }
        let q = q2.sqrt();
        if q == 0.0 {
            return false;
        }
        let (ux, uy) = (dx / q, dy / q);
        let m = (lid.gx * ux + lid.gy * uy).max(0.0);
        let spread = half * ((lid.gx - m * ux).abs() + (lid.gy - m * uy).abs());
        lid.top + self.profile.lift_on_slope(m) - m * q + spread <= self.best
    }

    /// Both facets of a cell, exactly.
    fn cell(&mut self, i: usize, j: usize) {
        #[cfg(test)]
        {
            self.looked_at[1] += 1;
        }
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
    #[inline]
    fn facet(
        &mut self,
        z00: f64,
        gx: f64,
        gy: f64,
        c: (f64, f64),
        within: impl Fn(f64, f64) -> bool,
    ) -> Option<(f64, f64)> {
        let m = (gx * gx + gy * gy).sqrt();
        let tip = z00 + gx * c.0 + gy * c.1 + self.profile.lift_on_slope(m);
        if tip <= self.best {
            return None;
        }
        let q = if m > 0.0 { self.profile.contact_radius(m) / m } else { 0.0 };
        let (x, y) = (c.0 + q * gx, c.1 + q * gy);
        if within(x, y) {
            self.best = tip;
            return None;
        }
        Some((x, y))
    }

    /// An edge from `x0` to `x0 + length` along a line that passes the axis at distance `d`.
    #[inline]
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
        let end = if self.profile.is_compound() { self.leaning(m, d, (low, high), z0 - m * x0) } else { Lean::Within };
        let x = match end {
            Lean::Lost => return,
            Lean::At(x) => x,
            Lean::Within => {
                #[cfg(test)]
                {
                    self.looked_at[2] += 1;
                }
                self.shape.edge_optimum(m, d.abs(), half).clamp(low, high)
            }
        };
        let q = (x * x + d * d).sqrt().min(self.radius);
        let tip = z0 + m * (x - x0) - self.shape.height_within(q);
        if tip > self.best {
            self.best = tip;
        }
    }

    /// Where the optimum of a part of a line takes steps to find, tangents rule most parts out: the
    /// one in the middle bounds what the rising half holds, the one at that half's end tells whether
    /// the optimum lies beyond. The line has height `z` at the foot of the axis and slope `m`.
    #[inline]
    fn leaning(&self, m: f64, d: f64, (low, high): (f64, f64), z: f64) -> Lean {
        let gentle2 = self.gentle.radius * self.gentle.radius;
        let middle = 0.5 * (low + high);
        let q2 = middle * middle + d * d;
        if q2 > gentle2 {
            return Lean::Within;
        }
        let (height, k) = self.profile.tangent(q2);
        let rising = m - k * middle;
        if z + m * middle - height + rising.abs() * 0.5 * (high - low) <= self.best {
            return Lean::Lost;
        }
        let end = if rising > 0.0 { high } else { low };
        let q2 = end * end + d * d;
        if q2 <= gentle2 && (m - self.profile.tangent(q2).1 * end) * rising > 0.0 {
            Lean::At(end)
        } else {
            Lean::Within
        }
    }
}

/// What tangents tell of an edge before its optimum is looked for.
enum Lean {
    /// Nothing on it beats the best.
    Lost,
    /// The optimum is this end.
    At(f64),
    /// It lies between the ends, or it is not known where.
    Within,
}

/// The most that `g x - curvature x^2 / 2` rises over `-half..=half`.
#[inline]
fn rise(g: f64, half: f64, curvature: f64) -> f64 {
    let g = g.abs();
    if g < curvature * half { 0.5 * g * g / curvature } else { half * (g - 0.5 * curvature * half) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::grid::{Grid, Lattice};

    /// Every cell, none passed by.
    fn of_all_cells(surface: &Surface, shape: &Shape, c: Point2) -> f64 {
        let Lattice { nx, ny, .. } = surface.grid.lattice;
        let mut search = Search::new(surface, shape, c);
        (0..ny - 1).for_each(|j| (0..nx - 1).for_each(|i| search.cell(i, j)));
        search.best
    }

    /// A search that passes nothing by is right and of no use: what it costs is part of what it promises. Of 452 cells
    /// under the cutter, so many blocks, cells and edges on average as were seen when this was written.
    #[test]
    fn few_cells_are_looked_at() {
        const ON_SMOOTH: [[f64; 3]; 4] =
            [[53.677, 6.748, 10.683], [55.881, 4.168, 5.474], [78.511, 8.972, 3.889], [69.061, 7.093, 2.789]];
        const ON_STEPS: [[f64; 3]; 4] =
            [[27.065, 1.969, 2.451], [27.825, 2.818, 4.95], [28.233, 2.638, 0.706], [26.541, 2.664, 1.422]];
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.25, nx: 321, ny: 301 };
        let smooth = Grid::from_fn(lattice, |p| 8.0 + 4.0 * (0.09 * p.x).sin() * (0.07 * p.y).cos() + 0.2 * p.x);
        let stepped = Grid::from_fn(lattice, |p| if (p.x - 40.0).hypot(p.y - 37.0) < 18.0 { 12.0 } else { 4.0 });
        for (grid, seen) in [(&smooth, ON_SMOOTH), (&stepped, ON_STEPS)] {
            let surface = Surface::new(grid).unwrap();
            for (shape, seen) in shapes(3.0, 0.4, 0.5).into_iter().zip(seen) {
                let mut all = [0; 3];
                for k in (0..1000).map(f64::from) {
                    let c = Point2::new(80.0 * (k * 0.754_877_67).fract(), 75.0 * (k * 0.569_840_29).fract());
                    let mut search = Search::new(&surface, &shape, c);
                    search.guess();
                    search.look_everywhere();
                    all.iter_mut().zip(search.looked_at).for_each(|(all, own)| *all += own);
                }
                let mean = all.map(|n| n as f64 / 1000.0);
                assert!(
                    mean.iter().zip(seen).all(|(mean, seen)| (mean - seen).abs() <= 0.01 * seen),
                    "{shape:?}: {mean:?}, not {seen:?}"
                );
            }
        }
    }

    fn shapes(radius: f64, share: f64, half_angle_rad: f64) -> [Shape; 4] {
        let taper = Shape::Taper { tip: share * radius, half_angle_rad, radius };
        [Shape::Flat { radius }, Shape::Ball { radius }, Shape::Bull { radius, corner: share * radius }, taper]
    }

    proptest! {
        /// Lids and tangents may only rule out what does not count: smooth slopes, where lids lie close,
        /// with ripples, steps and walls of a slope of up to 10 or so on them. The cells are odd in number,
        /// so that the last blocks are half empty.
        #[test]
        fn blocks_that_are_passed_by_hold_nothing_higher(
            ripples in prop::collection::vec(-1.0..1.0f64, 34 * 30),
            rough in prop_oneof![Just(0.0), 0.0..0.1f64, 0.0..2.5f64],
            (gx, gy, bend) in (-2.0..2.0f64, -2.0..2.0f64, -0.1..0.1f64),
            (x, y) in (-2.0..18.0f64, -2.0..16.0f64),
            (radius, share, half_angle_rad) in (0.1..6.0f64, 0.05..0.95f64, 0.1..1.4f64),
        ) {
            let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.5, nx: 34, ny: 30 };
            let height = |(k, r): (usize, &f64)| {
                let p = lattice.node(k % 34, k / 34);
                gx * p.x + gy * p.y + bend * (p.x * p.x - p.x * p.y) + rough * r
            };
            let grid = Grid { lattice, z: ripples.iter().enumerate().map(height).collect() };
            let surface = Surface::new(&grid).unwrap();
            let c = Point2::new(x, y);
            for shape in shapes(radius, share, half_angle_rad) {
                let (found, all) = (highest(&surface, &shape, c), of_all_cells(&surface, &shape, c));
                prop_assert!(found == all || (found - all).abs() < 1e-10, "{shape:?}: {found}, all cells {all}");
            }
        }

        /// The one profile of all forms gives what each form's own closed forms give.
        #[test]
        fn the_profile_of_all_forms_is_each_forms_own(
            (radius, share, half_angle_rad) in (0.1..6.0f64, 0.05..0.95f64, 0.1..1.4f64),
            at in 0.001..0.95f64,
            m in 0.0..12.0f64,
        ) {
            for shape in shapes(radius, share, half_angle_rad) {
                let (profile, q) = (Profile::of(&shape), at * radius);
                let (height, k) = profile.tangent(q * q);
                let (own, slope) = (shape.height_at(q), shape.slope_at(q));
                prop_assert!((height - own).abs() < 1e-9 && (k * q - slope).abs() < 1e-6 * (1.0 + slope));
                prop_assert!((profile.contact_radius(m) - shape.contact_radius(m)).abs() < 1e-9);
                prop_assert!((profile.lift_on_slope(m) - shape.lift_on_slope(m)).abs() < 1e-9);
            }
        }
    }
}
