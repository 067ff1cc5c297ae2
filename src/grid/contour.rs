//! Contour lines of a height map by marching squares (Lorensen & Cline 1987 in the plane
//! [from memory]): closed loops around everything at or above a level. Knows nothing of feet.

use super::Grid;
use crate::frame::Point2;

/// No crossing follows: marks edges that no contour leaves.
const NONE: usize = usize::MAX;

/// The closed loops that bound `z >= level`, high ground to the left, not repeated at the end.
///
/// Ground outside the lattice counts as low, so that every loop closes half a step outside it; a
/// node that is not finite counts as low too. Crossings are linear between nodes: off by at most
/// `curvature * step^2 / (8 * slope)`.
pub fn loops_above(grid: &Grid, level: f64) -> Vec<Vec<Point2>> {
    let walk = Walk::new(grid, level);
    let mut next = walk.links();
    let mut loops = Vec::new();
    for start in 0..next.len() {
        let mut points = Vec::new();
        let mut edge = start;
        while let Some(after) = next.get(edge).copied().filter(|&n| n != NONE) {
            points.push(walk.crossing(edge));
            next[edge] = NONE;
            edge = after;
        }
        if points.len() > 2 {
            loops.push(points);
        }
    }
    loops
}

/// Area inside a loop that is not repeated at its end, mm2; negative when it runs clockwise.
pub fn signed_area(points: &[Point2]) -> f64 {
    let n = points.len();
    (0..n).map(|k| (points[k], points[(k + 1) % n])).map(|(a, b)| 0.5 * (a.x * b.y - b.x * a.y)).sum()
}

/// The loop with every point left out that lies within `tolerance` of the chord it would leave
/// (Douglas & Peucker 1973).
pub fn simplified(points: &[Point2], tolerance: f64) -> Vec<Point2> {
    let mut keep = vec![false; points.len()];
    let mut spans = vec![(0, points.len().saturating_sub(1))];
    for end in [0, points.len().saturating_sub(1)] {
        if let Some(k) = keep.get_mut(end) {
            *k = true;
        }
    }
    while let Some((a, b)) = spans.pop() {
        if let Some((far, _)) = farthest(points, a, b).filter(|(_, off)| *off > tolerance) {
            keep[far] = true;
            spans.extend([(a, far), (far, b)]);
        }
    }
    points.iter().zip(keep).filter(|(_, kept)| *kept).map(|(p, _)| *p).collect()
}

/// The point strictly between `a` and `b` that lies farthest from their chord, and how far.
fn farthest(points: &[Point2], a: usize, b: usize) -> Option<(usize, f64)> {
    let (pa, pb) = (*points.get(a)?, *points.get(b)?);
    let chord = pb - pa;
    let length = chord.norm();
    let off = |p: Point2| {
        let v = p - pa;
        if length > 1e-9 { (chord.x * v.y - chord.y * v.x).abs() / length } else { v.norm() }
    };
    (a + 1..b).map(|k| (k, off(points[k]))).fold(None, |best, (k, d)| match best {
        Some((_, most)) if most >= d => best,
        _ => Some((k, d)),
    })
}

/// The lattice with one ring of low ground around it. Edge `2 * node` runs from the node along x,
/// edge `2 * node + 1` along y.
struct Walk<'a> {
    grid: &'a Grid,
    level: f64,
    wide: usize,
    high: usize,
}

impl Walk<'_> {
    fn new(grid: &Grid, level: f64) -> Walk<'_> {
        Walk { grid, level, wide: grid.lattice.nx + 2, high: grid.lattice.ny + 2 }
    }

    /// Height at node (i, j) of the ringed lattice; low ground is half a step of interpolation off.
    fn z(&self, i: usize, j: usize) -> f64 {
        let inside = (1..self.wide - 1).contains(&i) && (1..self.high - 1).contains(&j);
        let z = if inside { self.grid.at(i - 1, j - 1) } else { f64::NAN };
        if z.is_finite() { z } else { f64::NEG_INFINITY }
    }

    /// For each edge, the edge at which the contour that enters the next cell through it leaves.
    fn links(&self) -> Vec<usize> {
        let mut next = vec![NONE; 2 * self.wide * self.high];
        for j in 0..self.high - 1 {
            for i in 0..self.wide - 1 {
                self.link_cell(i, j, &mut next);
            }
        }
        next
    }

    fn link_cell(&self, i: usize, j: usize, next: &mut [usize]) {
        let node = j * self.wide + i;
        let edges = [2 * node, 2 * (node + 1) + 1, 2 * (node + self.wide), 2 * node + 1];
        let z = [self.z(i, j), self.z(i + 1, j), self.z(i + 1, j + 1), self.z(i, j + 1)];
        let above = z.map(|z| z >= self.level);
        // Walking the cell counter-clockwise, the contour starts where ground falls and ends where
        // it rises. In a saddle the mean height says whether the high corners are joined.
        let joined = z.iter().sum::<f64>() / 4.0 >= self.level;
        let falls = |k: usize| above[k % 4] && !above[(k + 1) % 4];
        let rises = |k: usize| !above[k % 4] && above[(k + 1) % 4];
        for k in (0..4).filter(|&k| falls(k)) {
            let mut order = (1..4).map(|n| if joined { k + n } else { k + 4 - n });
            if let Some(end) = order.find(|&e| rises(e)) {
                next[edges[k]] = edges[end % 4];
            }
        }
    }

    /// Where the contour crosses an edge.
    fn crossing(&self, edge: usize) -> Point2 {
        let (node, along_y) = (edge / 2, edge % 2);
        let (i, j) = (node % self.wide, node / self.wide);
        let (a, b) = (self.z(i, j), self.z(i + 1 - along_y, j + along_y));
        let share = if a.is_finite() && b.is_finite() { (self.level - a) / (b - a) } else { 0.5 };
        let (u, v) = if along_y == 1 { (0.0, share) } else { (share, 0.0) };
        let l = &self.grid.lattice;
        Point2::new(l.x0 + (i as f64 + u - 1.0) * l.step, l.y0 + (j as f64 + v - 1.0) * l.step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Rect;
    use crate::grid::Lattice;

    fn cone() -> Grid {
        let rect = Rect { x0: -20.0, y0: -20.0, x1: 20.0, y1: 20.0 };
        Grid::from_fn(Lattice::covering(rect, 1.0), |p| 15.0 - p.x.hypot(p.y))
    }

    fn area(points: &[Point2]) -> f64 {
        let next = points.iter().cycle().skip(1);
        points.iter().zip(next).map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>() / 2.0
    }

    #[test]
    fn contour_of_a_cone_is_a_circle_counter_clockwise() {
        let loops = loops_above(&cone(), 5.0);
        assert_eq!(loops.len(), 1);
        // Closed form: radius 10; the linear crossing is off by at most 1/(8*10) mm.
        assert!(loops[0].iter().all(|p| (p.x.hypot(p.y) - 10.0).abs() < 0.0126));
        approx::assert_relative_eq!(area(&loops[0]), std::f64::consts::PI * 100.0, max_relative = 0.01);
    }

    #[test]
    fn a_hole_runs_clockwise() {
        let mut bowl = cone();
        bowl.z.iter_mut().for_each(|z| *z = -*z);
        let areas: Vec<f64> = loops_above(&bowl, -5.0).iter().map(|l| area(l)).collect();
        assert_eq!(areas.len(), 2);
        assert!(areas[0] > 0.0 && areas[1] < 0.0, "{areas:?}");
    }

    #[test]
    fn a_saddle_keeps_loops_closed() {
        let rect = Rect { x0: 0.0, y0: 0.0, x1: 3.0, y1: 3.0 };
        let board =
            Grid::from_fn(Lattice::covering(rect, 1.0), |p| if (p.x + p.y) as i64 % 2 == 0 { 1.0 } else { 0.0 });
        // Eight high nodes; saddles whose mean is the level count as joined.
        let joined = loops_above(&board, 0.5);
        let apart = loops_above(&board, 0.6);
        let total = |loops: &[Vec<Point2>]| loops.iter().map(|l| area(l)).sum::<f64>();
        assert_eq!(apart.len(), 8);
        assert!(joined.len() < 8 && total(&joined) > total(&apart));
    }

    #[test]
    fn simplifying_stays_within_tolerance() {
        let loops = loops_above(&cone(), 5.0);
        let less = simplified(&loops[0], 0.05);
        assert!(less.len() < loops[0].len());
        assert!(less.iter().all(|p| loops[0].contains(p)));
    }

    #[test]
    fn holes_in_the_data_count_as_low() {
        let mut grid = cone();
        let middle = grid.z.len() / 2;
        grid.z[middle] = f64::NAN;
        assert_eq!(loops_above(&grid, 5.0).len(), 2);
    }
}
