//! Hatching: parallel strokes clipped to a polygon, computed so that paper shows what the screen
//! does. Knows nothing of what is hatched.

use crate::frame::Point2;

/// Strokes at 45 degrees, `gap` apart, inside the closed polygon (even-odd), as pairs of ends.
pub fn strokes(polygon: &[Point2], gap: f64) -> Vec<(Point2, Point2)> {
    // Along a stroke x - y is constant; strokes lie on whole multiples of the gap so that two
    // neighbouring pieces match.
    let key = |p: &Point2| p.x - p.y;
    let pitch = gap * std::f64::consts::SQRT_2;
    let lo = polygon.iter().map(key).fold(f64::INFINITY, f64::min);
    let hi = polygon.iter().map(key).fold(f64::NEG_INFINITY, f64::max);
    if !(lo.is_finite() && hi.is_finite() && pitch > 0.0) {
        return Vec::new();
    }
    let rows = ((lo / pitch).ceil() as i64)..=((hi / pitch).floor() as i64);
    rows.flat_map(|row| cut(polygon, row as f64 * pitch)).collect()
}

/// The parts of the line `x - y = c` inside the polygon.
fn cut(polygon: &[Point2], c: f64) -> Vec<(Point2, Point2)> {
    let next = polygon.iter().cycle().skip(1);
    let mut xs: Vec<f64> = polygon
        .iter()
        .zip(next)
        .filter_map(|(a, b)| {
            let (ka, kb) = (a.x - a.y - c, b.x - b.y - c);
            ((ka < 0.0) != (kb < 0.0)).then(|| a.x + (b.x - a.x) * ka / (ka - kb))
        })
        .collect();
    xs.sort_by(f64::total_cmp);
    xs.chunks_exact(2).map(|pair| (Point2::new(pair[0], pair[0] - c), Point2::new(pair[1], pair[1] - c))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_of_a_square_cover_it_evenly() {
        let square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)].map(|(x, y)| Point2::new(x, y));
        let length: f64 = strokes(&square, 0.05).iter().map(|(a, b)| (b - a).norm()).sum();
        // Closed form: total length times gap is the area.
        approx::assert_relative_eq!(length * 0.05, 100.0, max_relative = 0.01);
    }

    #[test]
    fn nothing_to_hatch() {
        assert!(strokes(&[], 1.0).is_empty());
        assert!(strokes(&[Point2::new(f64::NAN, 0.0); 3], 1.0).is_empty());
    }
}
