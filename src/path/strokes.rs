//! What lies too far from every pass: where fronts met, rings alone leave more than was asked. Finds such
//! places and the strokes that settle them. Knows depths and the metric, no heights.

use super::depth::Depth;
use super::form::Form;
use super::metric::Metric;
use crate::frame::{Point2, Vector2};
use crate::grid::Lattice;

/// Fronts met where the depth rises by less than this per pass: two that come together at an angle
/// leave `2 / (1 + sin(half of it))` times the usual gap, and their mean gradient is that sine.
const MET: f64 = 0.9;

/// A place further than this from every pass is left too high: half a step and an eighth of it, where
/// the ridge stands a quarter higher than asked (our own choice; half is what no place may exceed).
const TOO_FAR: f64 = 0.565;

/// A stroke that one place asks for goes on as long as places are further than this: it is made for
/// the whole ridge at once (our own choice).
const FAR: f64 = 0.53;

/// Looked at this many places along each side of a cell of the map.
const FINER: usize = 5;

/// Places this many apart are settled by one stroke (our own choice).
const GAP: usize = 3;

/// A stroke has a place every so often, mm (our own choice).
const BIN_MM: f64 = 1.4;

/// Strokes through the places that are too far from all `lines`.
pub(super) fn strokes(depth: &Depth, metric: &Metric, lines: &[Vec<Point2>]) -> Vec<Vec<Point2>> {
    let lattice = depth.grid.lattice;
    let met = met(depth, metric);
    let buckets = Buckets::new(&lattice, lines);
    let fine = lattice.step / FINER as f64;
    let (wide, high) = (lattice.nx * FINER, lattice.ny * FINER);
    let mut far = vec![false; wide * high];
    let mut worst = vec![false; wide * high];
    for (cell, _) in met.iter().enumerate().filter(|(_, met)| **met) {
        let (i, j) = (cell % lattice.nx, cell / lattice.nx);
        for (b, a) in (0..FINER).flat_map(|b| (0..FINER).map(move |a| (b, a))) {
            let at = lattice.node(i, j) + Vector2::new(a as f64, b as f64) * fine;
            let Some(form) = metric.form(at) else { continue };
            if depth.at(at) > 0.0 {
                let (k, distance) = ((j * FINER + b) * wide + i * FINER + a, buckets.distance(form, at));
                (far[k], worst[k]) = (distance > FAR, distance > TOO_FAR);
            }
        }
    }
    let place = |k: usize| lattice.node(0, 0) + Vector2::new((k % wide) as f64, (k / wide) as f64) * fine;
    let patches = patches(&mut far, wide).into_iter().filter(|patch| patch.iter().any(|&k| worst[k]));
    patches.map(|patch| middle_line(patch.into_iter().map(place).collect(), fine)).collect()
}

/// Cells, by their first node, around the nodes at which fronts met.
fn met(depth: &Depth, metric: &Metric) -> Vec<bool> {
    let (l, u) = (depth.grid.lattice, &depth.grid);
    let mut met = vec![false; l.len()];
    for j in 2..l.ny.saturating_sub(2) {
        for i in 2..l.nx.saturating_sub(2) {
            let k = j * l.nx + i;
            // Differences over two cells: a meeting line between two nodes or through one shows alike.
            let gradient = Vector2::new(u.z[k + 1] - u.z[k - 1], u.z[k + l.nx] - u.z[k - l.nx]) / (2.0 * l.step);
            let rises = metric.form(l.node(i, j)).map_or(1.0, |form| form.steepness(gradient));
            if rises < MET && u.z[k] > 0.0 {
                for row in j - 2..j + 2 {
                    met[row * l.nx + i - 2..row * l.nx + i + 2].fill(true);
                }
            }
        }
    }
    met
}

/// The segments of lines by the squares they lie in.
struct Buckets {
    lattice: Lattice,
    starts: Vec<u32>,
    segments: Vec<(Point2, Point2)>,
}

impl Buckets {
    /// Squares of two steps of the map: a segment within one pass lies in the square or beside it.
    fn new(map: &Lattice, lines: &[Vec<Point2>]) -> Buckets {
        let rect = map.rect();
        let lattice = Lattice::covering(rect, 2.0 * map.step);
        let each = || lines.iter().flat_map(|line| line.windows(2)).map(|w| (w[0], w[1]));
        let square = |(a, b): (Point2, Point2)| {
            let p = a + (b - a) * 0.5;
            lattice.cell(p).map(|(i, j, ..)| j * lattice.nx + i)
        };
        let mut starts = vec![0u32; lattice.len() + 1];
        each().filter_map(square).for_each(|k| starts[k + 1] += 1);
        for k in 0..lattice.len() {
            starts[k + 1] += starts[k];
        }
        let mut filled = starts.clone();
        let mut segments = vec![(Point2::origin(), Point2::origin()); starts[lattice.len()] as usize];
        for segment in each() {
            if let Some(k) = square(segment) {
                segments[filled[k] as usize] = segment;
                filled[k] += 1;
            }
        }
        Buckets { lattice, starts, segments }
    }

    /// From `p` to the nearest segment in the squares around it.
    fn distance(&self, form: Form, p: Point2) -> f64 {
        let Some((i, j, ..)) = self.lattice.cell(p) else { return f64::INFINITY };
        let (nx, ny) = (self.lattice.nx, self.lattice.ny);
        let mut best = f64::INFINITY;
        for row in j.saturating_sub(1)..=(j + 1).min(ny - 1) {
            let (first, last) = (row * nx + i.saturating_sub(1), row * nx + (i + 1).min(nx - 1));
            for &(a, b) in &self.segments[self.starts[first] as usize..self.starts[last + 1] as usize] {
                best = best.min(form.to_segment(p, a, b));
            }
        }
        best
    }
}

/// Groups of marked places with small gaps at most; takes the marks away.
fn patches(marked: &mut [bool], wide: usize) -> Vec<Vec<usize>> {
    let mut patches = Vec::new();
    for start in 0..marked.len() {
        if !std::mem::take(&mut marked[start]) {
            continue;
        }
        let mut patch = vec![start];
        let mut next = 0;
        while let Some(&k) = patch.get(next) {
            next += 1;
            for row in 0..=2 * GAP {
                let first = (k + row * wide).wrapping_sub(GAP * wide + GAP);
                for n in (0..=2 * GAP).map(|n| first.wrapping_add(n)) {
                    if marked.get_mut(n).is_some_and(std::mem::take) {
                        patch.push(n);
                    }
                }
            }
        }
        patches.push(patch);
    }
    patches
}

/// A line through the middle of a patch, along its longer axis.
fn middle_line(patch: Vec<Point2>, fine: f64) -> Vec<Point2> {
    let n = patch.len() as f64;
    let centre = patch.iter().fold(Vector2::zeros(), |sum, p| sum + p.coords) / n;
    let spread = patch.iter().fold(Form { xx: 0.0, xy: 0.0, yy: 0.0 }, |f, p| {
        let v = p.coords - centre;
        Form { xx: f.xx + v.x * v.x, xy: f.xy + v.x * v.y, yy: f.yy + v.y * v.y }
    });
    let turn = 0.5 * (2.0 * spread.xy).atan2(spread.xx - spread.yy);
    let axis = Vector2::new(turn.cos(), turn.sin());
    let square = Vector2::new(-axis.y, axis.x);
    let width = BIN_MM.max(2.0 * fine);
    let along = |p: &Point2| (p.coords - centre).dot(&axis);
    let low = patch.iter().map(along).fold(f64::INFINITY, f64::min);
    let mut sums: Vec<(f64, f64, f64)> = Vec::new();
    for p in &patch {
        let bin = ((along(p) - low) / width) as usize;
        if sums.len() <= bin {
            sums.resize(bin + 1, (0.0, 0.0, 0.0));
        }
        let v = p.coords - centre;
        let sum = &mut sums[bin];
        *sum = (sum.0 + 1.0, sum.1 + v.dot(&axis), sum.2 + v.dot(&square));
    }
    let means = sums.iter().filter(|s| s.0 > 0.0);
    means.map(|s| Point2::from(centre + axis * (s.1 / s.0) + square * (s.2 / s.0))).collect()
}
