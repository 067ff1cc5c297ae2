//! Parallel passes over a region: where they run, and in which order they are cut. Knows no
//! heights.

use super::outline::{Axis, Outline};
use crate::frame::{Point2, Rect};

/// A straight piece of a pass inside the region.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    /// Which pass it belongs to, from 0.
    pub(super) pass: usize,
    pub(super) from: Point2,
    pub(super) to: Point2,
}

/// Where the tip's axis may stand: an outline clipped by a rectangle.
pub(super) struct Region {
    outline: Outline,
    clip: Rect,
}

impl Region {
    pub(super) fn new(outline: Outline, clip: Rect) -> Region {
        Region { outline, clip }
    }

    /// Extent of the kept coordinate.
    pub(super) fn extent(&self, axis: Axis) -> (f64, f64) {
        let rect = self.outline.rect();
        match axis {
            Axis::X => (rect.x0.max(self.clip.x0), rect.x1.min(self.clip.x1)),
            Axis::Y => (rect.y0.max(self.clip.y0), rect.y1.min(self.clip.y1)),
        }
    }

    /// The nearest place to `p` in the clipping rectangle.
    pub(super) fn clipped(&self, p: Point2) -> Point2 {
        Point2::new(p.x.clamp(self.clip.x0, self.clip.x1), p.y.clamp(self.clip.y0, self.clip.y1))
    }

    pub(super) fn contains(&self, p: Point2) -> bool {
        let c = self.clip;
        p.x >= c.x0 && p.x <= c.x1 && p.y >= c.y0 && p.y <= c.y1 && self.outline.contains(p)
    }

    /// The runs of passes at these places.
    pub(super) fn runs(&self, axis: Axis, at: &[f64]) -> Vec<Run> {
        /// Shorter runs are corners that their neighbours cover.
        const SHORTEST_MM: f64 = 0.1;
        let (low, high) = match axis {
            Axis::X => (self.clip.y0, self.clip.y1),
            Axis::Y => (self.clip.x0, self.clip.x1),
        };
        let mut runs = Vec::new();
        for (pass, &kept) in at.iter().enumerate() {
            for (a, b) in self.outline.cut(axis, kept) {
                let (a, b) = (a.max(low), b.min(high));
                if b - a >= SHORTEST_MM {
                    runs.push(Run { pass, from: axis.join(kept, a), to: axis.join(kept, b) });
                }
            }
        }
        runs
    }
}

/// One run in the order of cutting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Turn {
    /// Index into the runs.
    pub(super) run: usize,
    /// Whether it is cut from its `to` end.
    pub(super) backward: bool,
    /// Whether the tip comes straight from the run before, without lifting.
    pub(super) linked: bool,
}

/// Zigzag: each run is followed by the nearest one of the next pass if `may_link` allows the way
/// there, otherwise by the first one left. `runs` must be sorted by pass.
pub(super) fn zigzag(runs: &[Run], may_link: impl Fn(Point2, Point2) -> bool) -> Vec<Turn> {
    let mut left: Vec<usize> = (0..runs.len()).collect();
    let mut turns: Vec<Turn> = Vec::with_capacity(runs.len());
    let mut here: Option<(usize, Point2)> = None;
    while let Some(&first) = left.first() {
        let next = here.and_then(|(pass, at)| {
            let near =
                left.iter().copied().skip_while(|&r| runs[r].pass <= pass).take_while(|&r| runs[r].pass == pass + 1);
            let ends = near.flat_map(|r| [(r, false, runs[r].from), (r, true, runs[r].to)]);
            ends.min_by(|a, b| (a.2 - at).norm().total_cmp(&(b.2 - at).norm())).filter(|&(.., end)| may_link(at, end))
        });
        let (run, backward, linked) = match (next, here) {
            (Some((run, backward, _)), _) => (run, backward, true),
            (None, Some((_, at))) => (first, (runs[first].to - at).norm() < (runs[first].from - at).norm(), false),
            (None, None) => (first, false, false),
        };
        left.retain(|&r| r != run);
        here = Some((runs[run].pass, if backward { runs[run].from } else { runs[run].to }));
        turns.push(Turn { run, backward, linked });
    }
    turns
}

/// Places from `low` to `high`, both included, evenly at most `step` apart.
pub(super) fn evenly(low: f64, high: f64, step: f64) -> Vec<f64> {
    let n = ((high - low) / step).ceil().max(1.0) as usize;
    (0..=n).map(|k| low + (high - low) * k as f64 / n as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(pass: usize, from: f64, to: f64) -> Run {
        Run { pass, from: Point2::new(pass as f64, from), to: Point2::new(pass as f64, to) }
    }

    #[test]
    fn neighbours_are_cut_to_and_fro() {
        let runs = [run(0, 0.0, 10.0), run(1, 0.0, 10.0), run(2, 0.0, 10.0)];
        let turns = zigzag(&runs, |_, _| true);
        let seen: Vec<_> = turns.iter().map(|t| (t.run, t.backward, t.linked)).collect();
        assert_eq!(seen, [(0, false, false), (1, true, true), (2, false, true)]);
    }

    #[test]
    fn every_run_is_cut_once_even_when_nothing_may_be_linked() {
        let runs = [run(0, 0.0, 3.0), run(0, 7.0, 10.0), run(1, 0.0, 3.0), run(1, 7.0, 10.0), run(4, 0.0, 1.0)];
        let mut cut: Vec<_> = zigzag(&runs, |a, b| (a - b).norm() < 2.0).iter().map(|t| t.run).collect();
        assert_eq!(cut, [0, 2, 1, 3, 4]);
        cut.sort_unstable();
        assert_eq!(cut, [0, 1, 2, 3, 4]);
        assert!(zigzag(&runs, |_, _| false).iter().all(|t| !t.linked));
    }
}
