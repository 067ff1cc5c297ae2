//! Closed outlines as the paths need them: grown by a distance, cut by lines, asked for inside and
//! distance. The only door to cavalier_contours here; knows no heights.

use cavalier_contours::polyline::{PlineSource, PlineSourceMut, Polyline};

use super::PathError;
use crate::curve::grown_in_chords;
use crate::frame::{Point2, Rect, Vector2};
use crate::grid::contour::signed_area;

/// A closed outline, counter-clockwise, without repeated points.
#[derive(Clone, Debug)]
pub(super) struct Outline {
    pub(super) points: Vec<Point2>,
}

/// Points closer than this are one point; a tenth of what a program prints.
const SAME_MM: f64 = 1e-4;

impl Outline {
    pub(super) fn new(points: &[Point2]) -> Result<Outline, PathError> {
        if let Some(p) = points.iter().find(|p| !(p.x.is_finite() && p.y.is_finite())) {
            return Err(PathError::Outline { why: format!("a point is x {} y {}", p.x, p.y) });
        }
        let mut kept: Vec<Point2> = Vec::with_capacity(points.len());
        for p in points {
            if kept.last().is_none_or(|last| (p - last).norm() > SAME_MM) {
                kept.push(*p);
            }
        }
        while kept.len() > 1 && (kept[0] - kept[kept.len() - 1]).norm() <= SAME_MM {
            kept.pop();
        }
        let area = signed_area(&kept);
        if kept.len() < 3 || area.abs() < 1.0 {
            return Err(PathError::Outline {
                why: format!("{} points around {:.3} mm2 are no piece", kept.len(), area.abs()),
            });
        }
        if area < 0.0 {
            kept.reverse();
        }
        Ok(Outline { points: kept })
    }

    /// Every loop of the outline moved outward by `by` mm, arcs turned into chords that deviate at
    /// most `chord` mm to the inside. A sound outline gives one loop. Now and then (seen once in some nine
    /// hundred random draws) cavalier_contours loses it; what makes chords from the start then has it.
    pub(super) fn grown(&self, by: f64, chord: f64) -> Vec<Outline> {
        let loops = self.with_arcs(by, chord);
        if loops.is_empty() { self.with_chords(by, chord) } else { loops }
    }

    fn with_chords(&self, by: f64, chord: f64) -> Vec<Outline> {
        let loops = grown_in_chords(&self.points, by, chord);
        loops.iter().filter_map(|points| Outline::new(points).ok()).collect()
    }

    fn with_arcs(&self, by: f64, chord: f64) -> Vec<Outline> {
        let mut line = Polyline::new_closed();
        for p in &self.points {
            line.add(p.x, p.y, 0.0);
        }
        // Positive offsets go to the left, which is the inside of a counter-clockwise loop.
        let loops = line.parallel_offset(-by);
        let flat = loops.iter().filter_map(|l| l.arcs_to_approx_lines(chord));
        flat.filter_map(|l| {
            let points: Vec<Point2> = l.iter_vertexes().map(|v| Point2::new(v.x, v.y)).collect();
            Outline::new(&points).ok()
        })
        .collect()
    }

    /// As [`Outline::grown`], but only the loop around everything: for regions, in which narrow
    /// gaps may be filled.
    pub(super) fn region(&self, by: f64) -> Result<Outline, PathError> {
        /// Regions need no finer edge.
        const CHORD_MM: f64 = 0.05;
        let loops = self.grown(by, CHORD_MM);
        let around = loops.into_iter().max_by(|a, b| signed_area(&a.points).total_cmp(&signed_area(&b.points)));
        around.ok_or_else(|| PathError::Outline { why: format!("it cannot be grown by {by:.2} mm") })
    }

    /// Fewer points: none that was left out lies further than `tolerance` from the chord in its
    /// place (Douglas and Peucker 1973), on both halves between the two points furthest apart in
    /// the list.
    pub(super) fn thinned(&self, tolerance: f64) -> Outline {
        let (first, second) = self.points.split_at(self.points.len() / 2);
        let joined = |half: &[Point2], end: Option<&Point2>| {
            let line: Vec<Point2> = half.iter().chain(end).copied().collect();
            let mut line = thinned_line(&line, tolerance);
            line.pop();
            line
        };
        let mut points = joined(first, second.first());
        points.extend(joined(second, first.first()));
        Outline { points }
    }

    pub(super) fn rect(&self) -> Rect {
        Rect::around(&self.points).unwrap_or(Rect { x0: 0.0, y0: 0.0, x1: 0.0, y1: 0.0 })
    }

    /// Pairs of places between which the line `axis = at` runs inside; along x when `axis` is y.
    pub(super) fn cut(&self, axis: Axis, at: f64) -> Vec<(f64, f64)> {
        let mut crossings: Vec<f64> = self
            .edges()
            .filter_map(|(a, b)| {
                let ((a_at, a_on), (b_at, b_on)) = (axis.split(a), axis.split(b));
                // Half-open, so that a vertex on the line counts once.
                ((a_at <= at) != (b_at <= at)).then(|| a_on + (b_on - a_on) * (at - a_at) / (b_at - a_at))
            })
            .collect();
        crossings.sort_by(f64::total_cmp);
        crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
    }

    pub(super) fn contains(&self, p: Point2) -> bool {
        let crossings = self
            .edges()
            .filter(|(a, b)| (a.y <= p.y) != (b.y <= p.y) && a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y) > p.x);
        crossings.count() % 2 == 1
    }

    /// Distance from `p` to the nearest point of the line.
    pub(super) fn distance(&self, p: Point2) -> f64 {
        self.edges().map(|(a, b)| segment_distance(p, a, b)).fold(f64::INFINITY, f64::min)
    }

    pub(super) fn edges(&self) -> impl Iterator<Item = (Point2, Point2)> {
        let n = self.points.len();
        (0..n).map(move |k| (self.points[k], self.points[(k + 1) % n]))
    }

    /// Unit normals at the points, outward.
    pub(super) fn normals(&self) -> Vec<Vector2> {
        let n = self.points.len();
        let normal = |k: usize| {
            let along = self.points[(k + 1) % n] - self.points[(k + n - 1) % n];
            Vector2::new(along.y, -along.x).try_normalize(1e-12).unwrap_or_else(Vector2::zeros)
        };
        (0..n).map(normal).collect()
    }
}

/// Which coordinate a straight pass keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Axis {
    /// Passes along y, each at one x.
    X,
    /// Passes along x, each at one y.
    Y,
}

impl Axis {
    /// The kept coordinate and the running one.
    pub(super) fn split(self, p: Point2) -> (f64, f64) {
        match self {
            Axis::X => (p.x, p.y),
            Axis::Y => (p.y, p.x),
        }
    }

    pub(super) fn join(self, kept: f64, running: f64) -> Point2 {
        match self {
            Axis::X => Point2::new(kept, running),
            Axis::Y => Point2::new(running, kept),
        }
    }
}

/// Fewer points of an open line, its ends among them: none that was left out lies further than
/// `tolerance` from the chord in its place (Douglas and Peucker 1973).
pub(super) fn thinned_line(points: &[Point2], tolerance: f64) -> Vec<Point2> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut keep = vec![false; points.len()];
    (keep[0], keep[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((a, b)) = open.pop() {
        let far = (a + 1..b).map(|k| (k, segment_distance(points[k], points[a], points[b])));
        if let Some((k, _)) = far.max_by(|x, y| x.1.total_cmp(&y.1)).filter(|far| far.1 > tolerance) {
            keep[k] = true;
            open.extend([(a, k), (k, b)]);
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(p, _)| *p).collect()
}

pub(super) fn segment_distance(p: Point2, a: Point2, b: Point2) -> f64 {
    let ab = b - a;
    let t = ((p - a).dot(&ab) / ab.norm_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    (p - (a + t * ab)).norm()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A square grown with round corners: its area in closed form, less what chords cut off at most.
    #[test]
    fn arcs_and_chords_grow_alike() {
        let at = |x: f64, y: f64| Point2::new(x, y);
        let square = Outline::new(&[at(0.0, 0.0), at(40.0, 0.0), at(40.0, 40.0), at(0.0, 40.0)]).unwrap();
        let (by, chord) = (3.0, 0.01);
        let area = 1600.0 + 160.0 * by + std::f64::consts::PI * by * by;
        for loops in [square.with_arcs(by, chord), square.with_chords(by, chord)] {
            assert_eq!(loops.len(), 1);
            let grown = signed_area(&loops[0].points);
            assert!((0.0..=2.0 * std::f64::consts::PI * by * chord).contains(&(area - grown)), "{grown} {area}");
            let far = loops[0].points.iter().map(|p| (p.x - 20.0).max(p.y - 20.0)).fold(0.0, f64::max);
            assert_abs_diff_eq!(far, 23.0, epsilon = 1e-6);
        }
    }
}
