//! Tip heights along a straight line, dense enough to trust what lies between, and thinned to the
//! fewest moves that stay within their tolerance. Knows no order of passes.

use super::trail::{ceil3, round3};
use crate::frame::{Point2, Point3};
use crate::kernel::Shape;

/// Tip heights at places along a line. Places are rounded to what is printed before heights are
/// asked for, so that the heights belong to the printed places.
#[derive(Clone, Debug, Default)]
pub(super) struct Heights {
    pub(super) places: Vec<Place>,
    hills: Hills,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// Distance from the start, mm.
    pub(super) s: f64,
    pub(super) at: Point2,
    /// Tip height, mm.
    pub(super) z: f64,
}

/// How far a path may leave the heights.
#[derive(Clone, Copy, Debug)]
pub(super) struct Band {
    pub(super) below: f64,
    pub(super) above: f64,
    /// No move is made shorter where the tolerances allow, mm: short ones starve a controller.
    pub(super) shortest: f64,
}

/// How the line is sampled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sampling {
    /// Distance of samples, mm.
    pub(super) step: f64,
    /// Where the heights may bulge more than this above a chord between samples, more are taken.
    pub(super) bulge: f64,
    /// The same for how far they may sink below it.
    pub(super) dip: f64,
    /// What hills may look like.
    pub(super) hills: Hills,
}

/// How sharp the heights can turn downward. Heights of a cutter's rest are the highest of many of
/// its profiles turned over: their valleys may be sharp, their hills only as sharp as the profile.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Hills {
    /// No sharper than a rounded cutter.
    #[default]
    Round,
    /// A flat end's rim turns every crest into a corner.
    Sharp,
}

impl Hills {
    pub(super) fn under(shape: &Shape) -> Hills {
        if matches!(shape, Shape::Flat { .. }) { Hills::Sharp } else { Hills::Round }
    }

    /// The bulge over a chord of this length, given the turning per length at its ends: of a round
    /// hill `turning length^2 / 8`; a corner half way shows in each end's turning by half only and
    /// bulges twice as high.
    fn bulge(self, turning: f64, length: f64) -> f64 {
        let round = turning * length * length / 8.0;
        match self {
            Hills::Round => round,
            Hills::Sharp => 4.0 * round,
        }
    }
}

/// Longest single move, seen from above, mm (our own choice): a controller that slows down on one then knows soon what
/// comes next, and a program that was stopped can be taken up nearby.
const LONGEST_MM: f64 = 10.0;

/// A chord's sample interval is halved at most this often: 1/8 of the step.
const HALVINGS: usize = 3;

impl Heights {
    /// Heights `reach` along the line from `a` to `b`, both included.
    pub(super) fn along(a: Point2, b: Point2, sampling: Sampling, reach: impl Fn(Point2) -> f64) -> Heights {
        let length = (b - a).norm();
        let n = (length / sampling.step).ceil().max(1.0) as usize;
        let place = |s: f64| {
            let p = if length > 0.0 { a + (b - a) * (s / length) } else { a };
            let at = Point2::new(round3(p.x), round3(p.y));
            Place { s, at, z: reach(at) }
        };
        if length <= 0.0 {
            return Heights { places: vec![place(0.0)], hills: sampling.hills };
        }
        let mut places: Vec<Place> = (0..=n).map(|k| place(length * k as f64 / n as f64)).collect();
        for _ in 0..HALVINGS {
            let (bulges, dips) = (bulges(&places, sampling.hills), dips(&places));
            let wanted = |k: usize| bulges[k] > sampling.bulge || dips[k] > sampling.dip;
            let mut finer = Vec::with_capacity(2 * places.len());
            for (k, p) in places.iter().enumerate() {
                finer.push(*p);
                let next = places.get(k + 1).filter(|next| wanted(k) && next.s - p.s > 0.2 * sampling.step);
                if let Some(next) = next {
                    finer.push(place(0.5 * (p.s + next.s)));
                }
            }
            if finer.len() == places.len() {
                break;
            }
            places = finer;
        }
        Heights { places, hills: sampling.hills }
    }

    pub(super) fn reversed(&self) -> Heights {
        let length = self.places.last().map_or(0.0, |p| p.s);
        let places = self.places.iter().rev().map(|p| Place { s: length - p.s, ..*p }).collect();
        Heights { places, ..*self }
    }

    /// The same, nowhere lower than `floor`.
    pub(super) fn raised(&self, floor: f64) -> Heights {
        Heights { places: self.places.iter().map(|p| Place { z: p.z.max(floor), ..*p }).collect(), ..*self }
    }

    /// The stretches that lie below `level`, each with its neighbours at or above it.
    pub(super) fn stretches(&self, level: f64) -> Vec<Heights> {
        let low: Vec<bool> = self.places.iter().map(|p| p.z < level).collect();
        let wanted = |k: usize| low[k] || (k > 0 && low[k - 1]) || low.get(k + 1).copied().unwrap_or(false);
        let mut out: Vec<Heights> = Vec::new();
        let mut open = false;
        for (k, p) in self.places.iter().enumerate() {
            if wanted(k) {
                if !open {
                    out.push(Heights { places: Vec::new(), ..*self });
                }
                if let Some(stretch) = out.last_mut() {
                    stretch.places.push(*p);
                }
            }
            open = wanted(k);
        }
        out
    }

    pub(super) fn first(&self) -> Option<Place> {
        self.places.first().copied()
    }

    pub(super) fn last(&self) -> Option<Place> {
        self.places.last().copied()
    }

    /// The fewest points, roughly, whose chords stay within `band` of the heights: from each point
    /// the cone of directions that pass through every window so far, until none is left (the
    /// cone-intersection method, Williams 1978 [from memory], for a band with two edges). Windows are raised by what
    /// may bulge between samples. Heights are multiples of a thousandth before they are checked,
    /// so what was checked is what is printed. Ends are the heights there, rounded up.
    pub(super) fn thinned(&self, band: Band) -> Vec<Point3> {
        let windows = self.windows(band);
        let (Some(first), Some(last)) = (self.first(), windows.len().checked_sub(1)) else { return Vec::new() };
        let mut out = vec![Point3::new(first.at.x, first.at.y, ceil3(first.z))];
        let mut anchor = (0, ceil3(first.z));
        while anchor.0 < last {
            let (mut steepest_down, mut steepest_up) = (f64::NEG_INFINITY, f64::INFINITY);
            let mut best = None;
            for (j, window) in windows.iter().enumerate().skip(anchor.0 + 1) {
                let run = self.places[j].s - self.places[anchor.0].s;
                if run > LONGEST_MM && j > anchor.0 + 1 {
                    break;
                }
                steepest_down = steepest_down.max((window.0 - anchor.1) / run);
                steepest_up = steepest_up.min((window.1 - anchor.1) / run);
                if steepest_down > steepest_up {
                    break;
                }
                let lowest = (anchor.1 + steepest_down * run).max(self.places[j].z);
                let highest = anchor.1 + steepest_up * run;
                let wanted = (j == last).then(|| ceil3(self.places[j].z));
                if let Some(z) = end_height(lowest, highest, wanted) {
                    let rest = self.places[last].s - self.places[j].s;
                    // The line's end takes any length; a point just before it would leave a stub.
                    if j == last || rest >= band.shortest || best.is_none() {
                        best = Some((j, z));
                    }
                }
            }
            // The next sample alone bounds nothing: any height in its window does.
            let (j, z) = best.unwrap_or((anchor.0 + 1, ceil3(self.places[anchor.0 + 1].z)));
            out.push(Point3::new(self.places[j].at.x, self.places[j].at.y, z));
            anchor = (j, z);
        }
        out
    }

    /// Lowest and highest allowed height of a chord at each sample.
    fn windows(&self, band: Band) -> Vec<(f64, f64)> {
        /// A window must hold at least one printable height.
        const LEAST_WIDTH: f64 = 0.002;
        let bulges = bulges(&self.places, self.hills);
        let bulge = |k: usize| bulges.get(k).copied().unwrap_or(0.0);
        let window = |(k, p): (usize, &Place)| {
            let lowest = p.z - band.below + bulge(k).max(if k > 0 { bulge(k - 1) } else { 0.0 });
            (lowest, (p.z + band.above).max(lowest.max(p.z) + LEAST_WIDTH))
        };
        self.places.iter().enumerate().map(window).collect()
    }
}

/// A printable height within the bounds, near their middle, or exactly `wanted`.
fn end_height(lowest: f64, highest: f64, wanted: Option<f64>) -> Option<f64> {
    /// Rounding in the bounds themselves.
    const SLACK: f64 = 1e-9;
    let z = wanted.unwrap_or_else(|| round3(0.5 * (lowest + highest)));
    (z >= lowest - SLACK && z <= highest + SLACK).then_some(z)
}

/// How far the heights may bulge above the chord of each interval, with the greater downward turning
/// of its two ends.
fn bulges(places: &[Place], hills: Hills) -> Vec<f64> {
    let turning = turnings(places);
    intervals(places, |k, length| hills.bulge(turning[k].max(turning[k + 1]).max(0.0), length))
}

/// How far the heights may dip below the chord of each interval; valleys may be sharp.
fn dips(places: &[Place]) -> Vec<f64> {
    let turning = turnings(places);
    intervals(places, |k, length| Hills::Sharp.bulge(-turning[k].min(turning[k + 1]).min(0.0), length))
}

fn intervals(places: &[Place], f: impl Fn(usize, f64) -> f64) -> Vec<f64> {
    places.windows(2).enumerate().map(|(k, pair)| f(k, pair[1].s - pair[0].s)).collect()
}

/// Downward turning per length at each place; 0 at the ends.
fn turnings(places: &[Place]) -> Vec<f64> {
    let mut out = vec![0.0; places.len()];
    for (w, turning) in places.windows(3).zip(out.iter_mut().skip(1)) {
        let (before, after) = ((w[1].z - w[0].z) / (w[1].s - w[0].s), (w[2].z - w[1].z) / (w[2].s - w[1].s));
        *turning = 2.0 * (before - after) / (w[2].s - w[0].s);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const BAND: Band = Band { below: 0.003, above: 0.01, shortest: 0.25 };

    fn line(z: impl Fn(f64) -> f64) -> Heights {
        let sampling = Sampling { step: 0.25, bulge: 0.001, dip: 0.01, hills: Hills::Round };
        Heights::along(Point2::new(1.0, 2.0), Point2::new(1.0, 42.0), sampling, |p| z(p.y))
    }

    /// Height of the thinned path at y.
    fn height(path: &[Point3], y: f64) -> f64 {
        let k = path.windows(2).position(|w| y <= w[1].y).unwrap();
        let (a, b) = (path[k], path[k + 1]);
        a.z + (b.z - a.z) * (y - a.y) / (b.y - a.y)
    }

    #[test]
    fn a_line_of_no_length_is_one_point() {
        let here = Point2::new(3.0, 4.0);
        let heights =
            Heights::along(here, here, Sampling { step: 0.25, bulge: 0.001, dip: 0.01, hills: Hills::Round }, |_| 1.5);
        assert_eq!(heights.thinned(BAND), [Point3::new(3.0, 4.0, 1.5)]);
    }

    #[test]
    fn a_straight_line_needs_only_the_moves_that_its_length_asks_for() {
        let path = line(|y| 1.0 + 0.5 * y).thinned(BAND);
        let along: Vec<f64> = path.iter().map(|p| p.y - 2.0).collect();
        assert_eq!(along, [0.0, 10.0, 20.0, 30.0, 40.0]);
        // Where a move could end higher or lower within the band it ends in its middle.
        let above = |p: &Point3| p.z - (1.0 + 0.5 * p.y);
        assert!(path.iter().all(|p| (-1e-9..=BAND.above).contains(&above(p))), "{path:?}");
    }

    /// A chord of a circle of radius r with sagitta e is sqrt(8 r e) long: with a band of 0.013
    /// in all on r = 50 that is 2.28 mm, so 40 mm need at least 18 chords.
    #[test]
    fn a_bowl_needs_about_as_many_chords_as_its_sagitta_allows() {
        let path = line(|y| 50.0 - (2500.0 - (y - 22.0).powi(2)).sqrt()).thinned(BAND);
        assert!((18..=26).contains(&(path.len() - 1)), "{}", path.len() - 1);
    }

    proptest! {
        #[test]
        fn the_path_stays_in_its_band(a in -2.0..2.0f64, f in 0.05..0.6f64, b in 0.0..0.4f64, kink in 5.0..35.0f64) {
            let z = |y: f64| 10.0 + a * (f * y).sin() + b * (y - kink).abs();
            let path = line(z).thinned(BAND);
            for k in 0..=4000 {
                let y = 2.0 + 0.01 * f64::from(k);
                let over = height(&path, y) - z(y);
                prop_assert!(over >= -0.0031, "{over} at {y}");
                prop_assert!(path.iter().all(|p| (p.z * 1000.0 - (p.z * 1000.0).round()).abs() < 1e-6));
            }
            for p in &path {
                let over = p.z - z(p.y);
                prop_assert!((-1e-9..=0.0121).contains(&over), "{over} at {}", p.y);
            }
        }
    }
}
