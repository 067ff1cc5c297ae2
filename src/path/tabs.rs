//! Where holding tabs go along a closed centre line: spread evenly, on its straightest parts, away
//! from the ends of the piece. Knows no heights.

use super::PathError;
use crate::frame::{Point2, Rect};
use crate::ticket::Tabs;

/// A tab's extent along the centre line, mm; `from < to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tab {
    pub(super) from: f64,
    pub(super) to: f64,
}

/// The coordinate along the piece.
pub(super) fn long_axis(points: &[Point2]) -> impl Fn(Point2) -> f64 + use<> {
    let upright = Rect::around(points).is_none_or(|r| r.height() >= r.width());
    move |p: Point2| if upright { p.y } else { p.x }
}

/// Tabs on the loop through `places` (distance along it, point), which begins at an end of the
/// piece. Each is the ordered length plus the cutter's diameter long.
pub(super) fn place(places: &[(f64, Point2)], length: f64, tabs: Tabs, radius: f64) -> Result<Vec<Tab>, PathError> {
    let value = |name, value: f64, least, most| Err(PathError::Value { name, value, least, most });
    if tabs.count > 24 {
        return value("number of holding tabs", tabs.count as f64, 0.0, 24.0);
    }
    if !(tabs.length_mm > 0.0 && tabs.length_mm <= 50.0) {
        return value("length of holding tabs, mm", tabs.length_mm, 0.1, 50.0);
    }
    if !(tabs.thickness_mm > 0.0 && tabs.thickness_mm <= 20.0) {
        return value("thickness of holding tabs, mm", tabs.thickness_mm, 0.1, 20.0);
    }
    let half = 0.5 * tabs.length_mm + radius;
    let fit = candidates(places, length, half);
    let total = fit.last().map_or(0.0, |c| c.before);
    let share = total / tabs.count.max(1) as f64;
    let mut out: Vec<Tab> = Vec::new();
    for k in 0..tabs.count {
        // The middle of each equal share keeps neighbours apart.
        let middle = (k as f64 + 0.2) * share..=(k as f64 + 0.8) * share;
        let free = |c: &&Candidate| out.last().is_none_or(|tab| c.s - half > tab.to + half);
        let here = fit.iter().filter(|c| middle.contains(&c.before)).filter(free);
        if let Some(c) = here.min_by(|a, b| a.turning.total_cmp(&b.turning)) {
            out.push(Tab { from: c.s - half, to: c.s + half });
        }
    }
    let found = out.len();
    if found < tabs.count {
        return Err(PathError::Tabs { asked: tabs.count, found, length_mm: 2.0 * half });
    }
    Ok(out)
}

struct Candidate {
    s: f64,
    /// How much of the line that may carry tabs lies before it, mm.
    before: f64,
    /// How much the line turns over the tab, rad.
    turning: f64,
}

/// Places whose whole tab lies off the ends, in order.
fn candidates(places: &[(f64, Point2)], length: f64, half: f64) -> Vec<Candidate> {
    let points: Vec<Point2> = places.iter().map(|p| p.1).collect();
    let along = long_axis(&points);
    let reach = points.iter().map(|p| along(*p));
    let (low, high) = reach.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let end = Tabs::END_SHARE * (high - low);
    let on_the_sides = |p: Point2| along(p) > low + end && along(p) < high - end;
    let mut out: Vec<Candidate> = Vec::new();
    let mut before = 0.0;
    let mut last_fit = None;
    for &(s, at) in places {
        let over = places.iter().filter(|(t, _)| (t - s).abs() <= half);
        let fits = s > half && s + half < length && on_the_sides(at) && over.clone().all(|(_, p)| on_the_sides(*p));
        if fits {
            before += last_fit.map_or(0.0, |last: f64| s - last);
            out.push(Candidate { s, before, turning: turning(over.map(|p| p.1)) });
        }
        last_fit = fits.then_some(s);
    }
    out
}

/// Sum of the absolute turns along a polyline, rad.
fn turning(points: impl Iterator<Item = Point2>) -> f64 {
    let points: Vec<Point2> = points.collect();
    points
        .windows(3)
        .map(|w| {
            let (a, b) = (w[1] - w[0], w[2] - w[1]);
            (a.x * b.y - a.y * b.x).atan2(a.dot(&b)).abs()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An oblong with round ends, 200 x 60, starting at its top: the sides are straight.
    fn oblong() -> (Vec<(f64, Point2)>, f64) {
        let mut points = Vec::new();
        for k in 0..=45 {
            let a = std::f64::consts::FRAC_PI_2 - 2.0 * f64::from(k).to_radians();
            points.push(Point2::new(30.0 * a.cos(), 170.0 + 30.0 * a.sin()));
        }
        points.extend((1..70).map(|k| Point2::new(30.0, 170.0 - 2.0 * f64::from(k))));
        for k in 0..=90 {
            let a = -2.0 * f64::from(k).to_radians();
            points.push(Point2::new(30.0 * a.cos(), 30.0 + 30.0 * a.sin()));
        }
        points.extend((1..70).map(|k| Point2::new(-30.0, 30.0 + 2.0 * f64::from(k))));
        for k in 0..45 {
            let a = std::f64::consts::PI - 2.0 * f64::from(k).to_radians();
            points.push(Point2::new(30.0 * a.cos(), 170.0 + 30.0 * a.sin()));
        }
        let mut s = 0.0;
        let mut out = Vec::new();
        for (k, p) in points.iter().enumerate() {
            out.push((s, *p));
            s += (points[(k + 1) % points.len()] - p).norm();
        }
        (out, s)
    }

    #[test]
    fn tabs_lie_apart_on_the_straight_sides() {
        let (places, length) = oblong();
        let asked = Tabs { count: 6, length_mm: 6.0, thickness_mm: 1.5 };
        let tabs = place(&places, length, asked, 3.0).unwrap();
        assert_eq!(tabs.len(), 6);
        for tab in &tabs {
            assert!((tab.to - tab.from - 12.0).abs() < 1e-9);
            let at = places.iter().find(|p| p.0 >= tab.from).unwrap().1;
            assert!((29.0..=171.0).contains(&at.y), "{at}");
        }
        assert!(tabs.windows(2).all(|w| w[1].from - w[0].to > 10.0));
        let long = Tabs { length_mm: 45.0, ..asked };
        assert!(matches!(place(&places, length, long, 3.0), Err(PathError::Tabs { asked: 6, .. })));
    }
}
