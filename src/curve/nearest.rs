//! The nearest place on a closed polygon, and fields of signed distance. Knows nothing of curves.

use rayon::prelude::*;

use crate::frame::{Point2, Rect};
use crate::grid::{Grid, Lattice};

/// Sides of a closed polygon, sorted into square cells so that a question looks at the few sides
/// near it. Finite points, at least three, by construction in `outline`.
#[derive(Clone, Debug)]
pub(super) struct Sides {
    points: Vec<Point2>,
    rect: Rect,
    cell_mm: f64,
    nx: usize,
    ny: usize,
    /// Where each cell's sides start in `listed`; one entry more than there are cells.
    starts: Vec<u32>,
    /// The sides of the first cell, then of the second, and so on; side i runs from point i to the
    /// next.
    listed: Vec<u32>,
}

/// Cells per side of the polygon, about: with one, a query near a typical footbed outline looks at
/// one or two sides, and the table stays as small as the outline itself.
const CELLS_PER_SIDE: f64 = 1.0;

impl Sides {
    pub(super) fn new(points: Vec<Point2>, rect: Rect) -> Sides {
        let wanted = points.len() as f64 * CELLS_PER_SIDE;
        // The second term keeps a sliver's table from growing long.
        let cell_mm = (rect.width() * rect.height() / wanted).sqrt().max((rect.width() + rect.height()) / wanted);
        let cells_over = |extent: f64| (extent / cell_mm).floor() as usize + 1;
        let (nx, ny) = (cells_over(rect.width()), cells_over(rect.height()));
        let mut sides = Sides { points, rect, cell_mm, nx, ny, starts: vec![0; nx * ny + 1], listed: Vec::new() };
        sides.fill();
        sides
    }

    pub(super) fn points(&self) -> &[Point2] {
        &self.points
    }

    pub(super) fn ends(&self, side: usize) -> (Point2, Point2) {
        let next = if side + 1 == self.points.len() { 0 } else { side + 1 };
        (self.points[side], self.points[next])
    }

    /// The place on the polygon nearest to `p`. Rings of cells around `p` are searched until the
    /// best place found is nearer than anything in the next ring can be; a cell that cannot hold a
    /// nearer one is passed over.
    pub(super) fn nearest(&self, p: Point2) -> Point2 {
        let (ci, cj) = self.cell_of(p);
        let (mut best, mut best_d2) = (self.points[0], f64::INFINITY);
        for ring in 0..self.nx.max(self.ny) {
            let (i0, i1) = (ci.saturating_sub(ring), (ci + ring).min(self.nx - 1));
            let (j0, j1) = (cj.saturating_sub(ring), (cj + ring).min(self.ny - 1));
            for j in j0..=j1 {
                let whole_row = j + ring == cj || j == cj + ring;
                let step = if whole_row || ring == 0 { 1 } else { 2 * ring };
                let first = if whole_row || ci >= ring { i0 } else { ci + ring };
                for i in (first..=i1).step_by(step) {
                    let near = self.in_cell(i, j);
                    if !near.is_empty() && self.least_d2(p, i, j) < best_d2 {
                        self.improve(p, near, &mut best, &mut best_d2);
                    }
                }
            }
            let unseen = ring as f64 * self.cell_mm;
            if best_d2 <= unseen * unseen {
                break;
            }
        }
        best
    }

    /// Whether `p` lies inside, by the crossings of the ray from `p` towards -x.
    pub(super) fn contains(&self, p: Point2) -> bool {
        let r = self.rect;
        if !(p.x >= r.x0 && p.x <= r.x1 && p.y >= r.y0 && p.y <= r.y1) {
            return false;
        }
        let (ci, cj) = self.cell_of(p);
        let mut inside = false;
        for i in 0..=ci {
            for &side in self.in_cell(i, cj) {
                let (a, b) = self.ends(side as usize);
                // A side is listed in each cell it passes: the one that holds the crossing counts.
                if let Some(x) = crossing_x(a, b, p.y).filter(|&x| x < p.x)
                    && self.column_of(x) == i
                {
                    inside = !inside;
                }
            }
        }
        inside
    }

    /// Signed distance, negative inside, at every node, held within +-`band_mm`.
    pub(super) fn distance_field(&self, lattice: &Lattice, band_mm: f64) -> Grid {
        let mut grid = Grid::filled(*lattice, band_mm);
        grid.z.par_chunks_mut(lattice.nx).enumerate().for_each(|(j, row)| {
            let y = lattice.node(0, j).y;
            self.fill_distance_row(lattice, y, band_mm, row);
            self.negate_inside(lattice, y, row);
        });
        grid
    }

    fn fill_distance_row(&self, lattice: &Lattice, y: f64, band_mm: f64, row: &mut [f64]) {
        row.fill(band_mm * band_mm);
        for side in 0..self.points.len() {
            let (a, b) = self.ends(side);
            if a.y.min(b.y) - band_mm > y || a.y.max(b.y) + band_mm < y {
                continue;
            }
            let column = |x: f64| ((x - lattice.x0) / lattice.step).clamp(0.0, row.len() as f64);
            let first = column(a.x.min(b.x) - band_mm).floor() as usize;
            let last = column(a.x.max(b.x) + band_mm).ceil() as usize;
            for (i, d2) in row.iter_mut().enumerate().take(last).skip(first) {
                let p = Point2::new(lattice.x0 + i as f64 * lattice.step, y);
                let here = (p - on_side(a, b, p)).norm_squared();
                if here < *d2 {
                    *d2 = here;
                }
            }
        }
        for d in row {
            *d = d.sqrt();
        }
    }

    fn negate_inside(&self, lattice: &Lattice, y: f64, row: &mut [f64]) {
        let mut crossings: Vec<f64> = (0..self.points.len())
            .filter_map(|side| {
                let (a, b) = self.ends(side);
                crossing_x(a, b, y)
            })
            .collect();
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let column = |x: f64| ((x - lattice.x0) / lattice.step).ceil().clamp(0.0, row.len() as f64) as usize;
            let (first, last) = (column(pair[0]), column(pair[1]));
            for d in &mut row[first..last] {
                *d = -*d;
            }
        }
    }

    /// Enters every side in the cells that its own rectangle touches.
    fn fill(&mut self) {
        let mut lists: Vec<Vec<u32>> = vec![Vec::new(); self.nx * self.ny];
        for side in 0..self.points.len() {
            let (a, b) = self.ends(side);
            let (i0, j0) = self.cell_of(Point2::new(a.x.min(b.x), a.y.min(b.y)));
            let (i1, j1) = self.cell_of(Point2::new(a.x.max(b.x), a.y.max(b.y)));
            for j in j0..=j1 {
                for i in i0..=i1 {
                    lists[j * self.nx + i].push(side as u32);
                }
            }
        }
        for (cell, list) in lists.iter().enumerate() {
            self.listed.extend(list);
            self.starts[cell + 1] = self.listed.len() as u32;
        }
    }

    fn improve(&self, p: Point2, near: &[u32], best: &mut Point2, best_d2: &mut f64) {
        for &side in near {
            let (a, b) = self.ends(side as usize);
            let q = on_side(a, b, p);
            let d2 = (p - q).norm_squared();
            if d2 < *best_d2 {
                (*best, *best_d2) = (q, d2);
            }
        }
    }

    /// Squared distance from `p` to a cell: nothing in it is nearer.
    fn least_d2(&self, p: Point2, i: usize, j: usize) -> f64 {
        let short_of = |from: f64, x: f64| (from - x).max(x - from - self.cell_mm).max(0.0);
        let dx = short_of(self.rect.x0 + i as f64 * self.cell_mm, p.x);
        let dy = short_of(self.rect.y0 + j as f64 * self.cell_mm, p.y);
        dx * dx + dy * dy
    }

    fn in_cell(&self, i: usize, j: usize) -> &[u32] {
        let cell = j * self.nx + i;
        &self.listed[self.starts[cell] as usize..self.starts[cell + 1] as usize]
    }

    /// The cell that holds `p`, or the nearest one. The cast sends NaN to the first cell.
    fn cell_of(&self, p: Point2) -> (usize, usize) {
        let row = ((p.y - self.rect.y0) / self.cell_mm) as usize;
        (self.column_of(p.x), row.min(self.ny - 1))
    }

    fn column_of(&self, x: f64) -> usize {
        (((x - self.rect.x0) / self.cell_mm) as usize).min(self.nx - 1)
    }
}

/// The place on the side from `a` to `b` nearest to `p`.
fn on_side(a: Point2, b: Point2, p: Point2) -> Point2 {
    let along = b - a;
    let t = ((p - a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
    a + along * t
}

/// Where the side from `a` to `b` crosses height `y`. A corner counts with the side below it
/// only, so that a ray through a corner crosses once.
fn crossing_x(a: Point2, b: Point2, y: f64) -> Option<f64> {
    ((a.y < y) != (b.y < y)).then(|| {
        let x = a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x);
        x.clamp(a.x.min(b.x), a.x.max(b.x))
    })
}
