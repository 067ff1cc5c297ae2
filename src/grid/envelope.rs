//! The upper envelope of a height map under a round stamp: dilation in grey-scale morphology.

use multiversion::multiversion;
use rayon::prelude::*;

use super::{Grid, Lattice};

/// Neighbouring nodes that are computed together: few enough to stay in registers, enough to keep
/// vector instructions busy.
const RUN: usize = 16;

/// For every node c the greatest `z(p) - h(|p - c|)` over the nodes p within `radius` of c.
///
/// Only nodes are looked at, so between nodes the true envelope may be higher by up to
/// `curvature * step^2 / 4`: good for previews and bounds, not for cutter locations.
/// `h` must not decrease with distance.
pub fn envelope(grid: &Grid, radius: f64, h: impl Fn(f64) -> f64) -> Grid {
    envelope_where(grid, radius, h, |_, _| true)
}

/// As [`envelope`], at the nodes (i, j) that are `wanted`; other nodes may have minus infinity instead.
pub fn envelope_where(
    grid: &Grid,
    radius: f64,
    h: impl Fn(f64) -> f64,
    wanted: impl Fn(usize, usize) -> bool + Sync,
) -> Grid {
    let Lattice { nx, step, .. } = grid.lattice;
    let stamp = Stamp::new(radius, step, h);
    let source = Padded::new(grid, stamp.reach());
    let mut out = Grid::filled(grid.lattice, f64::NEG_INFINITY);
    out.z.par_chunks_mut(nx).enumerate().for_each(|(j, row)| {
        let any_wanted = |run: &usize| (run * RUN..nx.min((run + 1) * RUN)).any(|i| wanted(i, j));
        let runs: Vec<usize> = (0..nx.div_ceil(RUN)).filter(any_wanted).collect();
        envelope_row(&source, &stamp, j, &runs, row);
    });
    out
}

/// The drops of the stamp's nodes on one of its quarters: `quarter[dj][di]`, both from 0.
struct Stamp {
    quarter: Vec<Vec<f64>>,
}

impl Stamp {
    fn new(radius: f64, step: f64, h: impl Fn(f64) -> f64) -> Stamp {
        let reach = (radius / step).floor() as usize;
        let row = |dj: usize| {
            let dy = dj as f64 * step;
            let half = ((radius * radius - dy * dy).max(0.0).sqrt() / step).floor() as usize;
            (0..=half).map(|di| h((di as f64 * step).hypot(dy))).collect()
        };
        Stamp { quarter: (0..=reach).map(row).collect() }
    }

    /// Nodes from the axis to the edge.
    fn reach(&self) -> usize {
        self.quarter.len().saturating_sub(1)
    }
}

/// Heights with a border of minus infinity as wide as a stamp, so that no node is a special case.
struct Padded {
    margin: usize,
    width: usize,
    z: Vec<f64>,
}

impl Padded {
    fn new(grid: &Grid, margin: usize) -> Padded {
        let Lattice { nx, ny, .. } = grid.lattice;
        let width = (nx.next_multiple_of(RUN) + 2 * margin).next_multiple_of(RUN);
        let mut z = vec![f64::NEG_INFINITY; width * (ny + 2 * margin)];
        for (from, to) in grid.z.chunks(nx).zip(z.chunks_mut(width).skip(margin)) {
            to[margin..margin + nx].copy_from_slice(from);
        }
        Padded { margin, width, z }
    }

    /// A row of the grid's own numbering, shifted by the margin.
    fn row(&self, j: usize) -> &[f64] {
        &self.z[j * self.width..(j + 1) * self.width]
    }
}

/// Row `j` of the envelope, at the runs that are asked for.
///
/// The stamp looks the same from all four sides, so of the four nodes at one distance only the
/// highest counts: the rows above and below are joined first, then left and right, and the
/// drop is taken once for all four. Drops grow from the axis outward, so a row of the stamp ends
/// where even the highest node around would no longer raise the lowest of the run.
///
/// Compiled once more for wider vectors, chosen when the program runs. Comparing and subtracting
/// round the same in vectors of any width, so every machine gives the same heights.
#[multiversion(targets("x86_64+avx2"))]
fn envelope_row(source: &Padded, stamp: &Stamp, j: usize, runs: &[usize], row: &mut [f64]) {
    let mut best = vec![[f64::NEG_INFINITY; RUN]; runs.len()];
    let mut joined = vec![0.0; if runs.is_empty() { 0 } else { source.width }];
    let mut tops = Vec::with_capacity(source.width / RUN);
    for (dj, drops) in stamp.quarter.iter().enumerate() {
        let (above, below) = (source.row(j + source.margin - dj), source.row(j + source.margin + dj));
        joined.iter_mut().zip(above.iter().zip(below)).for_each(|(z, (&a, &b))| *z = larger(a, b));
        tops.clear();
        for block in joined.as_chunks().0 {
            tops.push(reduced(*block, larger));
        }
        for (best, run) in best.iter_mut().zip(runs) {
            let first = source.margin + run * RUN;
            let blocks = (first + 1 - drops.len()) / RUN..=(first + RUN + drops.len() - 2) / RUN;
            let top = tops[blocks].iter().copied().fold(f64::NEG_INFINITY, larger);
            let low = reduced(*best, |a, b| -larger(-a, -b));
            raise(best, &joined, first, &drops[..drops.partition_point(|drop| top - drop > low)]);
        }
    }
    for (best, run) in best.iter().zip(runs) {
        row[run * RUN..].iter_mut().zip(best).for_each(|(z, &best)| *z = best);
    }
}

/// Raises a run of nodes, the first of which lies at `first` of `joined`.
#[inline(always)]
fn raise(best: &mut [f64; RUN], joined: &[f64], first: usize, drops: &[f64]) {
    let mut held = *best;
    for (di, &drop) in drops.iter().enumerate() {
        let (left, right) = (&joined[first - di..][..RUN], &joined[first + di..][..RUN]);
        for ((z, &a), &b) in held.iter_mut().zip(left).zip(right) {
            *z = larger(*z, larger(a, b) - drop);
        }
    }
    *best = held;
}

/// All numbers of a run brought down to one, by halves, which vector instructions can do.
#[inline(always)]
fn reduced(mut run: [f64; RUN], pick: impl Fn(f64, f64) -> f64) -> f64 {
    let mut half = RUN / 2;
    while half > 0 {
        let (kept, other) = run.split_at_mut(half);
        kept.iter_mut().zip(other).for_each(|(a, b)| *a = pick(*a, *b));
        half /= 2;
    }
    run[0]
}

/// The plain comparison, not `f64::max`, is what the compiler turns into vector instructions.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The definition, node by node.
    fn defined(grid: &Grid, radius: f64, h: &dyn Fn(f64) -> f64, (i, j): (usize, usize)) -> f64 {
        let Lattice { nx, ny, step, .. } = grid.lattice;
        let reach = (radius / step).floor() as usize;
        let mut most = f64::NEG_INFINITY;
        for b in j.saturating_sub(reach)..ny.min(j + reach + 1) {
            for a in i.saturating_sub(reach)..nx.min(i + reach + 1) {
                let q = (a.abs_diff(i) as f64 * step).hypot(b.abs_diff(j) as f64 * step);
                if q <= radius {
                    most = most.max(grid.at(a, b) - h(q));
                }
            }
        }
        most
    }

    proptest! {
        #[test]
        fn every_node_has_what_the_definition_says(
            (nx, ny) in (2usize..40, 2usize..12),
            radius in 0.1..4.1,
            seed in prop::collection::vec(-5.0..5.0, 480),
            keep in 1usize..5,
        ) {
            let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.5, nx, ny };
            let grid = Grid { lattice, z: seed[..nx * ny].to_vec() };
            let h = |q: f64| 0.3 * q * q;
            let all = envelope(&grid, radius, h);
            let some = envelope_where(&grid, radius, h, |i, j| (j * nx + i) % keep == 0);
            for k in 0..lattice.len() {
                prop_assert_eq!(all.z[k], defined(&grid, radius, &h, (k % nx, k / nx)));
                prop_assert!(some.z[k] == all.z[k] || (k % keep != 0 && some.z[k] == f64::NEG_INFINITY));
            }
        }
    }
}
