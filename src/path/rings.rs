//! Constant-scallop rings: closed passes at equal depth below the region's edge, from the edge inward,
//! joined into one way that never lifts; and short strokes where fronts met and rings alone would
//! leave more than was asked. Knows depths and the metric, no heights.

use super::depth::Depth;
use super::metric::Metric;
use super::outline::Outline;
use super::strokes::strokes;
use crate::frame::Point2;
use crate::grid::contour::{loops_above, signed_area};
use crate::ticket::Sense;

/// Depth of the outermost ring in passes: half a step, from where it still finishes the edge itself,
/// less what the map may be off (our own choice).
const FIRST: f64 = 0.47;

/// More rings than this are no footbed: half a blank of 400 mm at steps of 0.2 mm.
const MOST_RINGS: usize = 1000;

/// A ring is left this many steps before its end, for the place where it began one ring further in:
/// a slant gentle enough to be passed at full feed (our own choice).
const SLANT_STEPS: f64 = 3.0;

/// Strokes are looked for this often at most; the second look already finds next to nothing.
const MOST_ROUNDS: usize = 6;

/// Points of a ring, as a share of the map's step, and how often each is averaged with its neighbours: enough to
/// take the lattice's own bends out of a ring, too little to move one of radius 10 by 0.05 mm.
const POINTS_SHARE: f64 = 0.5;
const SMOOTHINGS: usize = 4;

/// The way of the tip's axis: lines that follow each other without a gap. Each is to be followed
/// closely; where one ends and the next begins there may be a corner.
pub(super) struct Way {
    pub(super) lines: Vec<Vec<Point2>>,
}

/// A ring and the rings within it.
struct Ring {
    /// In the sense of cutting, not repeated at the end.
    points: Vec<Point2>,
    within: Vec<usize>,
    /// Length of this ring and all within, mm.
    total: f64,
}

impl Way {
    /// Rings from the edge inward, then what they leave.
    pub(super) fn new(depth: &Depth, metric: &Metric, sense: Sense) -> Way {
        let (rings, outer) = nested(depth, sense);
        let mut tour = Tour { rings: &rings, lines: Vec::new() };
        for ring in outer {
            let start = tour.end().unwrap_or_else(|| first_place(&rings[ring]));
            tour.cut(ring, start, Entry::Outer);
        }
        let mut lines = tour.lines;
        // What a stroke does not settle, a second one beside it may.
        for _ in 0..MOST_ROUNDS {
            let found = strokes(depth, metric, &lines);
            if found.is_empty() {
                break;
            }
            found.into_iter().for_each(|stroke| insert(&mut lines, stroke));
        }
        Way { lines }
    }
}

/// All rings with what lies within each, and the outermost ones.
fn nested(depth: &Depth, sense: Sense) -> (Vec<Ring>, Vec<usize>) {
    let mut rings: Vec<Ring> = Vec::new();
    let mut outer = Vec::new();
    let mut before: Vec<(usize, Outline)> = Vec::new();
    let step = POINTS_SHARE * depth.grid.lattice.step;
    for n in 0..MOST_RINGS {
        let mut here = Vec::new();
        for points in loops_above(&depth.grid, FIRST + n as f64) {
            // Low ground within high is noise of the map: a front has no second edge.
            if signed_area(&points) <= 0.0 {
                continue;
            }
            let Ok(outline) = Outline::new(&points) else { continue };
            let ring = rings.len();
            match before.iter().find(|(_, around)| around.contains(outline.points[0])) {
                Some((parent, _)) => rings[*parent].within.push(ring),
                None => outer.push(ring),
            }
            let mut points = smoothed(&outline.points, step);
            // The material lies on the right of a climbing cutter that turns clockwise: clockwise around
            // what is still to be cut.
            if sense == Sense::Climb {
                points.reverse();
            }
            rings.push(Ring { points, within: Vec::new(), total: 0.0 });
            here.push((ring, outline));
        }
        if here.is_empty() {
            break;
        }
        before = here;
    }
    // Rings within come later than those around them.
    for k in (0..rings.len()).rev() {
        rings[k].total = length(&rings[k].points) + rings[k].within.iter().map(|&r| rings[r].total).sum::<f64>();
        let totals: Vec<f64> = rings.iter().map(|r| r.total).collect();
        // The lesser branch first: the way back is then the shorter one.
        rings[k].within.sort_by(|&a, &b| totals[a].total_cmp(&totals[b]));
    }
    (rings, outer)
}

/// Places at equal distances around a closed line, each averaged with its neighbours.
fn smoothed(points: &[Point2], step: f64) -> Vec<Point2> {
    let around = length(points);
    let n = ((around / step).round() as usize).max(8);
    let mut out = Vec::with_capacity(n);
    let mut edges = points.iter().zip(points.iter().cycle().skip(1));
    let mut edge = edges.next();
    let mut passed = 0.0;
    for k in 0..n {
        let wanted = around * k as f64 / n as f64;
        while let Some((a, b)) = edge {
            let here = (b - a).norm();
            if passed + here >= wanted || here == 0.0 && passed >= wanted {
                out.push(a + (b - a) * ((wanted - passed) / here.max(f64::MIN_POSITIVE)));
                break;
            }
            passed += here;
            edge = edges.next();
        }
    }
    for _ in 0..SMOOTHINGS {
        let n = out.len();
        let mean = |k: usize| {
            let (a, b, c) = (out[(k + n - 1) % n], out[k], out[(k + 1) % n]);
            Point2::from((a.coords + 2.0 * b.coords + c.coords) / 4.0)
        };
        out = (0..n).map(mean).collect();
    }
    out
}

fn length(points: &[Point2]) -> f64 {
    super::form::closed(points).map(|(a, b)| (b - a).norm()).sum()
}

/// Where the outermost ring begins: at the heel's end, out of sight.
fn first_place(ring: &Ring) -> Point2 {
    ring.points.iter().copied().min_by(|a, b| a.y.total_cmp(&b.y)).unwrap_or_else(Point2::origin)
}

/// How a ring is come to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Entry {
    /// From outside everything: the whole ring is cut.
    Outer,
    /// On a slant from the ring around it.
    Slant,
}

struct Tour<'r> {
    rings: &'r [Ring],
    lines: Vec<Vec<Point2>>,
}

impl Tour<'_> {
    fn end(&self) -> Option<Point2> {
        self.lines.last().and_then(|line| line.last()).copied()
    }

    /// Cuts a ring and all within it, from the place nearest to `start`.
    fn cut(&mut self, ring: usize, start: Point2, entry: Entry) {
        // Rings are many and nest deeply; a loop needs no stack for them.
        let mut waiting = vec![(ring, start, entry, None)];
        while let Some((ring, start, entry, around)) = waiting.pop() {
            let own = &self.rings[ring];
            let start = match around {
                // Back from another branch: along the ring around both.
                Some(around) => self.walk_back(around, ring),
                None => start,
            };
            let n = own.points.len();
            let slant = slant_points(own);
            let first = match entry {
                Entry::Outer => nearest(&own.points, start),
                Entry::Slant => (nearest(&own.points, start) + slant) % n,
            };
            // The innermost ring is closed; others end early, because the slant inward goes on from
            // there beside the slant that led here.
            let short = if own.within.is_empty() || entry == Entry::Outer { 0 } else { slant };
            let line: Vec<Point2> = (0..=n - short).map(|k| own.points[(first + k) % n]).collect();
            let left = line.last().copied().unwrap_or(start);
            match self.lines.last_mut() {
                // A slant continues the line; so it is followed as one.
                Some(before) if entry == Entry::Slant && around.is_none() => before.extend(line),
                Some(_) => {
                    let here = self.end().unwrap_or(line[0]);
                    self.lines.push(vec![here, line[0]]);
                    self.lines.push(line);
                }
                None => self.lines.push(line),
            }
            for (k, &within) in own.within.iter().enumerate().rev() {
                waiting.push((within, left, Entry::Slant, (k > 0).then_some(ring)));
            }
        }
    }

    /// Goes straight out to the ring `around` and along it to where it comes nearest to `to`, and
    /// returns that place. All of that way lies within the ring and is cut already.
    fn walk_back(&mut self, around: usize, to: usize) -> Point2 {
        let points = &self.rings[around].points;
        let here = self.end().unwrap_or_else(Point2::origin);
        let from = nearest(points, here);
        let target = self.rings[to].points.first().copied().unwrap_or(here);
        let leave = nearest(points, target);
        let n = points.len();
        let (ahead, back) = ((leave + n - from) % n, (from + n - leave) % n);
        let along: Vec<Point2> = if ahead <= back {
            (0..=ahead).map(|k| points[(from + k) % n]).collect()
        } else {
            (0..=back).map(|k| points[(from + n - k) % n]).collect()
        };
        let there = along.last().copied().unwrap_or(here);
        self.lines.push(vec![here, points[from]]);
        self.lines.push(along);
        there
    }
}

/// Points of a slant: a few steps long, and no more than a quarter of the ring.
fn slant_points(ring: &Ring) -> usize {
    let n = ring.points.len();
    // Points lie half a map step apart, and the map's step is three quarters of a pass.
    let per_pass = 1.0 / (POINTS_SHARE * 0.75);
    ((SLANT_STEPS * per_pass) as usize).min(n / 4)
}

fn nearest(points: &[Point2], to: Point2) -> usize {
    let far = |p: &Point2| (p - to).norm_squared();
    let best = points.iter().enumerate().min_by(|a, b| far(a.1).total_cmp(&far(b.1)));
    best.map_or(0, |(k, _)| k)
}

/// Puts a stroke into the way, out and back, where the way comes nearest to one of its ends.
fn insert(lines: &mut Vec<Vec<Point2>>, stroke: Vec<Point2>) {
    let (Some(&first), Some(&last)) = (stroke.first(), stroke.last()) else { return };
    let mut best = (f64::INFINITY, 0, 0, false);
    for (l, line) in lines.iter().enumerate() {
        for (k, p) in line.iter().enumerate() {
            for (end, turned) in [(first, false), (last, true)] {
                let far = (p - end).norm_squared();
                if far < best.0 {
                    best = (far, l, k, turned);
                }
            }
        }
    }
    let (far, l, k, turned) = best;
    if !far.is_finite() {
        return;
    }
    let leave = lines[l][k];
    let after = lines[l].split_off(k);
    lines[l].push(leave);
    let mut out = vec![leave];
    if turned {
        out.extend(stroke.iter().rev())
    } else {
        out.extend(&stroke)
    }
    let back: Vec<Point2> = out.iter().rev().copied().collect();
    lines.splice(l + 1..l + 1, [out, back, after]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::{Shape, Surface};
    use crate::path::Target;
    use crate::path::sidestep::plane_step;
    use crate::path::testbed::{footbed, plane};

    /// Depth and metric of a ball of 3 mm at a scallop of 0.05 over a target.
    fn prepared(target: &Target, shape: &Shape) -> (Depth, Metric) {
        let surface = Surface::new(&target.surface).unwrap();
        let outline = Outline::new(&target.outline).unwrap();
        let clip = target.surface.lattice.rect();
        let metric = Metric::new(&surface, shape, 0.05, &outline, 4.0, clip);
        let touches = metric.touches_outside(shape, 0.05, &outline, 4.0);
        (Depth::new(&metric, &touches).unwrap(), metric)
    }

    /// Where the rings cross the line y = 60 of a plane 60 x 80 mm, from x = 20 to its middle: on a
    /// plane of slope m their distance is the chord's step times cos, by plane geometry.
    #[test]
    fn rings_on_planes_keep_the_step_of_the_closed_form() {
        let ball = Shape::ball(3.0).unwrap();
        for slope in [0.0f64, 0.7] {
            let (depth, _) = prepared(&plane(slope, 0.0), &ball);
            let (rings, outer) = nested(&depth, Sense::Climb);
            assert_eq!(outer.len(), 1);
            let crossing = |ring: &Ring| {
                let edges = super::super::form::closed(&ring.points).filter(|(a, b)| (a.y <= 60.0) != (b.y <= 60.0));
                edges.map(|(a, b)| a.x + (b.x - a.x) * (60.0 - a.y) / (b.y - a.y)).fold(f64::INFINITY, f64::min)
            };
            let places: Vec<f64> = rings.iter().take(15).map(crossing).collect();
            let step = plane_step(&ball, 0.05) / (1.0 + slope * slope).sqrt();
            for pair in places.windows(2) {
                assert!((pair[1] - pair[0] - step).abs() < 0.02 * step, "{pair:?}, not {step} apart, slope {slope}");
            }
        }
    }

    /// Every ring lies inside the one around it, and the way is one line: each piece begins where the
    /// last one ended, unless a slant leads on.
    #[test]
    fn the_way_has_no_gap() {
        let (depth, metric) = prepared(&footbed(0.5), &Shape::ball(3.0).unwrap());
        let way = Way::new(&depth, &metric, Sense::Climb);
        for pair in way.lines.windows(2) {
            assert_eq!(pair[0].last(), pair[1].first());
        }
        let longest =
            way.lines.iter().flat_map(|line| line.windows(2)).map(|w| (w[1] - w[0]).norm()).fold(0.0, f64::max);
        assert!(longest < 40.0, "{longest}");
    }
}
