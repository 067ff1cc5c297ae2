//! Whether a closed polygon crosses or touches itself, and where. Knows nothing of curves.

use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line};

use crate::frame::Point2;

/// A place where the closed polygon through `points` crosses or touches itself; `None` when it is
/// simple. Sides are met in order of their lowest end and compared with those still open at that
/// height, so that a footbed's thousand sides cost a few thousand comparisons and not a million.
pub(super) fn first_crossing(points: &[Point2]) -> Option<Point2> {
    let mut sides: Vec<Side> = sides(points).collect();
    sides.sort_by(|a, b| a.y0.total_cmp(&b.y0).then(a.index.cmp(&b.index)));
    let mut open: Vec<&Side> = Vec::new();
    for side in &sides {
        open.retain(|o| o.y1 >= side.y0);
        if let Some(p) = open.iter().find_map(|o| meeting(o, side, points.len())) {
            return Some(p);
        }
        open.push(side);
    }
    None
}

struct Side {
    index: usize,
    line: Line<f64>,
    y0: f64,
    y1: f64,
}

fn sides(points: &[Point2]) -> impl Iterator<Item = Side> {
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).enumerate().map(|(index, (a, b))| Side {
        index,
        line: Line::new(Coord { x: a.x, y: a.y }, Coord { x: b.x, y: b.y }),
        y0: a.y.min(b.y),
        y1: a.y.max(b.y),
    })
}

/// Where two sides of a polygon of `count` sides meet although they should not. Neighbours may
/// share their corner but not run back over each other.
fn meeting(a: &Side, b: &Side, count: usize) -> Option<Point2> {
    let (ax0, ax1) = (a.line.start.x.min(a.line.end.x), a.line.start.x.max(a.line.end.x));
    let (bx0, bx1) = (b.line.start.x.min(b.line.end.x), b.line.start.x.max(b.line.end.x));
    if ax0 > bx1 || bx0 > ax1 {
        return None;
    }
    let apart = a.index.abs_diff(b.index);
    let neighbours = apart == 1 || apart + 1 == count;
    match line_intersection(a.line, b.line)? {
        LineIntersection::SinglePoint { .. } if neighbours => None,
        LineIntersection::SinglePoint { intersection: at, .. } => Some(Point2::new(at.x, at.y)),
        LineIntersection::Collinear { intersection } => Some(Point2::new(intersection.start.x, intersection.start.y)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{LineString, Polygon, Validation};
    use proptest::prelude::*;

    fn at(points: &[(f64, f64)]) -> Vec<Point2> {
        points.iter().map(|&(x, y)| Point2::new(x, y)).collect()
    }

    #[test]
    fn bow_tie_is_found_where_it_crosses() {
        let tie = at(&[(0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)]);
        assert_eq!(first_crossing(&tie), Some(Point2::new(1.0, 1.0)));
    }

    #[test]
    fn spike_and_touch_are_found_square_is_not() {
        assert!(first_crossing(&at(&[(0.0, 0.0), (4.0, 0.0), (2.0, 0.0), (2.0, 3.0)])).is_some());
        assert!(first_crossing(&at(&[(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (2.0, 0.0), (0.0, 4.0)])).is_some());
        assert_eq!(first_crossing(&at(&[(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)])), None);
    }

    proptest! {
        /// Referee: geo's polygon validation, which tells whether but not where.
        #[test]
        fn agrees_with_geo(corners in prop::collection::vec((0i32..12, 0i32..12), 4..9)) {
            let mut points: Vec<Point2> = corners.iter().map(|&(x, y)| Point2::new(x.into(), y.into())).collect();
            points.dedup();
            prop_assume!(points.len() > 3 && points.first() != points.last());
            let ring: LineString<f64> = points.iter().map(|p| (p.x, p.y)).collect();
            let valid = Polygon::new(ring, vec![]).is_valid();
            prop_assert_eq!(first_crossing(&points).is_none(), valid);
        }
    }
}
