//! How far apart finishing passes may lie: from one number, the height of the ridge between them.
//! Knows tip heights, not the order of passes.

use crate::frame::Point2;
use crate::grid::Grid;
use crate::kernel::Shape;

/// The radius that shapes the ridges; none for a flat end.
pub(super) fn round_radius(shape: &Shape) -> Option<f64> {
    match *shape {
        Shape::Flat { .. } => None,
        Shape::Ball { radius } => Some(radius),
        // On a level place a bull-nose may step further by its flat; on a slope only its corner
        // shapes the ridge, so the corner alone is the safe rule.
        Shape::Bull { corner, .. } => Some(corner),
        Shape::Taper { tip, .. } => Some(tip),
    }
}

/// Side step on a level plane: `2 sqrt(2 R h - h^2)`, the chord at height h. A flat end leaves no
/// ridge there; its step is half the diameter, so that neighbours overlap (common practice, no
/// source).
pub(super) fn plane_step(shape: &Shape, h: f64) -> f64 {
    match round_radius(shape) {
        Some(r) => 2.0 * (2.0 * r * h.min(r) - h.min(r) * h.min(r)).sqrt(),
        None => shape.radius(),
    }
}

/// A flat end climbs a slope in stairs: their corners stand `s sin(slope)` off the surface.
pub(super) fn flat_step(m: f64, h: f64, widest: f64) -> f64 {
    if m == 0.0 { widest } else { h * (1.0 + m * m).sqrt() / m.abs() }
}

/// Where the tip's axis may have to stand beyond the outline so that the edge itself is cut: how
/// far outside its contact the axis of `shape` stands on ground that falls outward with slope `m`.
pub(super) fn axis_beyond_contact(shape: &Shape, m: f64) -> f64 {
    if m > 0.0 { shape.contact_radius(m) } else { 0.0 }
}

/// Steepest fall outward along the outline, read a little inside it where the design is sure.
pub(super) fn steepest_fall(grid: &Grid, points: &[Point2], normals: &[crate::frame::Vector2]) -> f64 {
    const INSIDE_MM: [f64; 2] = [0.5, 1.5];
    points.iter().zip(normals).fold(0.0, |steepest, (p, n)| {
        let [near, far] = INSIDE_MM.map(|d| grid.sample(p - n * d));
        let fall = near.zip(far).map_or(0.0, |(near, far)| (far - near) / (INSIDE_MM[1] - INSIDE_MM[0]));
        f64::max(steepest, fall)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// R 3: step 0.5 leaves 0.0104 and step 1 leaves 0.04196; height 0.005 asks for step 0.346
    /// (workshop tables of scallop heights; the closed form gives all three).
    #[test]
    fn plane_steps_follow_the_chord() {
        let ball = Shape::ball(3.0).unwrap();
        assert_abs_diff_eq!(plane_step(&ball, 0.0104345), 0.5, epsilon = 1e-4);
        assert_abs_diff_eq!(plane_step(&ball, 0.04196), 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(plane_step(&ball, 0.005), 0.346, epsilon = 5e-4);
    }
}
