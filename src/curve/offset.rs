//! Parallel curves of a closed polygon, with true arcs around its corners. Knows nothing of feet.

use cavalier_contours::polyline::{PlineSource, PlineSourceMut, Polyline};
use geo::buffer::{BufferStyle, LineJoin};
use geo::{Buffer, LineString, Polygon};

use super::CurveError;
use super::outline::{FLATTENING_MM, JOIN_MM, LARGEST_MM};
use crate::frame::Point2;

/// The loops at distance `distance_mm` from a simple counter-clockwise polygon, outward positive.
/// Counter-clockwise, largest first; none when an inward offset leaves nothing.
pub(super) fn offset(points: &[Point2], distance_mm: f64) -> Result<Vec<Vec<Point2>>, CurveError> {
    if !distance_mm.is_finite() || distance_mm.abs() > LARGEST_MM {
        return Err(CurveError::Offset { distance_mm, allowed: LARGEST_MM });
    }
    if distance_mm == 0.0 {
        return Ok(vec![points.to_vec()]);
    }
    let mut polygon: Polyline<f64> = Polyline::new_closed();
    for p in points {
        polygon.add(p.x, p.y, 0.0);
    }
    // cavalier_contours takes the left of the running direction, the inside here, as positive.
    let mut loops: Vec<(f64, Vec<Point2>)> = polygon
        .parallel_offset(-distance_mm)
        .iter()
        .filter_map(|l| Some((l.area(), vertices(&l.arcs_to_approx_lines(FLATTENING_MM)?))))
        .filter(|(area, points)| *area > 0.0 && points.len() >= 3)
        .collect();
    loops.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(loops.into_iter().map(|(_, points)| points).collect())
}

/// The outer edges of what lies within `by` mm of the polygon, corners rounded by chords that deviate at most `chord` mm to
/// the inside: by another library than an [`super::Outline`]'s own parallels, for where those lose a loop.
pub fn grown_in_chords(points: &[Point2], by: f64, chord: f64) -> Vec<Vec<Point2>> {
    let edge: LineString = points.iter().map(|p| (p.x, p.y)).collect();
    let turn = 2.0 * (1.0 - chord / by.abs()).clamp(-1.0, 1.0).acos();
    let style = BufferStyle::new(by).line_join(LineJoin::Round(turn));
    let grown = Polygon::new(edge, vec![]).buffer_with_style(style);
    let around = grown.0.iter().map(|polygon| polygon.exterior().coords().map(|c| Point2::new(c.x, c.y)).collect());
    around.collect()
}

/// The corners of a line-only polyline, without repeats.
fn vertices(polyline: &Polyline<f64>) -> Vec<Point2> {
    let mut points: Vec<Point2> = polyline.iter_vertexes().map(|v| Point2::new(v.x, v.y)).collect();
    points.dedup_by(|b, a| (*b - *a).norm() <= JOIN_MM);
    while points.len() > 1 && points.first().zip(points.last()).is_some_and(|(a, b)| (b - a).norm() <= JOIN_MM) {
        points.pop();
    }
    points
}
