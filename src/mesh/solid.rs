//! The closed solid between two height functions over an outline, with upright walls. Knows
//! nothing of what the heights mean.

use super::surface::{Surface, triangulate};
use super::{Mesh, MeshError};
use crate::curve::Outline;
use crate::frame::Point2;

/// A height function over the plane, mm.
type Height<'a> = &'a (dyn Fn(Point2) -> f64 + Sync);

/// The finest tolerance, mm: heights of some ten millimetres written as f32 carry about 1e-6.
const LEAST_TOLERANCE_MM: f64 = 1e-5;

/// The least thickness, mm: thinner than a hundredth of the thinnest foil the two faces of the
/// written mesh may touch.
const LEAST_THICKNESS_MM: f64 = 1e-3;

/// How often a side of the outline may be halved so that its ends' heights follow the surface;
/// 1 mm sides end at 4 micrometres.
const MOST_HALVINGS: u32 = 8;

/// The solid over the inside of the simple polygon `outline` (not repeated at its end), from
/// `bottom` up to `top`. Both faces follow their functions within `tolerance_mm`, measured upright,
/// with few triangles; faces and walls share their corners, so the mesh is closed.
pub fn solid(
    outline: &[Point2],
    top: &(dyn Fn(Point2) -> f64 + Sync),
    bottom: &(dyn Fn(Point2) -> f64 + Sync),
    tolerance_mm: f64,
) -> Result<Mesh, MeshError> {
    if !tolerance_mm.is_finite() || tolerance_mm < LEAST_TOLERANCE_MM {
        return Err(MeshError::Tolerance { tolerance_mm, least: LEAST_TOLERANCE_MM });
    }
    let outline = Outline::from_polygon(outline)?;
    let boundary = divided_sides(outline.points(), &[top, bottom], 0.5 * tolerance_mm);
    let (upper, lower) = rayon::join(
        || triangulate(&outline, &boundary, top, tolerance_mm),
        || triangulate(&outline, &boundary, bottom, tolerance_mm),
    );
    let (upper, lower) = (upper?, lower?);
    for p in upper.vertices.iter().chain(&lower.vertices) {
        let at = Point2::new(p.x, p.y);
        let thickness_mm = top(at) - bottom(at);
        if thickness_mm.is_nan() || thickness_mm < LEAST_THICKNESS_MM {
            return Err(MeshError::Thickness { x: p.x, y: p.y, thickness_mm, least: LEAST_THICKNESS_MM });
        }
    }
    Ok(joined(upper, lower, boundary.len() as u32))
}

/// The outline's corners with further ones on its sides where a straight side would leave one of
/// the surfaces by more than `tolerance_mm`.
fn divided_sides(points: &[Point2], surfaces: &[Height], tolerance_mm: f64) -> Vec<Point2> {
    let mut divided = Vec::new();
    for (&a, &b) in points.iter().zip(points.iter().cycle().skip(1)) {
        divide_side(a, b, surfaces, tolerance_mm, MOST_HALVINGS, &mut divided);
    }
    divided
}

/// Adds `a` and what lies between `a` and `b`, but not `b`.
fn divide_side(a: Point2, b: Point2, surfaces: &[Height], tolerance_mm: f64, halvings: u32, into: &mut Vec<Point2>) {
    let off = |height: &Height, share: f64| {
        let chord = height(a) * (1.0 - share) + height(b) * share;
        (height(a + (b - a) * share) - chord).abs()
    };
    let follows = |height: &Height| [0.25, 0.5, 0.75].iter().all(|&share| off(height, share) <= tolerance_mm);
    if halvings == 0 || surfaces.iter().all(follows) {
        into.push(a);
        return;
    }
    let middle = nalgebra::center(&a, &b);
    divide_side(a, middle, surfaces, tolerance_mm, halvings - 1, into);
    divide_side(middle, b, surfaces, tolerance_mm, halvings - 1, into);
}

/// One mesh of two surfaces that both start with the same `sides` corners: the top as it is, the
/// bottom turned over, a wall of two triangles over every side.
fn joined(upper: Surface, lower: Surface, sides: u32) -> Mesh {
    let shift = upper.vertices.len() as u32;
    let mut vertices = upper.vertices;
    vertices.extend(lower.vertices);
    let mut triangles = upper.triangles;
    triangles.extend(lower.triangles.iter().map(|&[a, b, c]| [a + shift, c + shift, b + shift]));
    for i in 0..sides {
        let j = (i + 1) % sides;
        triangles.push([i, i + shift, j + shift]);
        triangles.push([i, j + shift, j]);
    }
    Mesh { vertices, triangles }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::{TrimMeasures, outline_from_measures};
    use approx::assert_relative_eq;
    use proptest::prelude::*;
    use std::f64::consts::PI;

    fn rectangle(x: f64, y: f64) -> Vec<Point2> {
        [(0.0, 0.0), (x, 0.0), (x, y), (0.0, y)].iter().map(|&(x, y)| Point2::new(x, y)).collect()
    }

    fn circle(radius: f64, sides: usize) -> Vec<Point2> {
        (0..sides)
            .map(|k| k as f64 / sides as f64 * 2.0 * PI)
            .map(|a| Point2::new(radius * a.cos(), radius * a.sin()))
            .collect()
    }

    /// The mesh's own upper height at `p`, by trying every upward triangle.
    fn upper_height(mesh: &Mesh, p: Point2) -> Option<f64> {
        mesh.corners().find_map(|[a, b, c]| {
            let area = (b.xy() - a.xy()).perp(&(c.xy() - a.xy()));
            let wb = (p - a.xy()).perp(&(c.xy() - a.xy())) / area;
            let wc = (b.xy() - a.xy()).perp(&(p - a.xy())) / area;
            let inside = area > 0.0 && wb >= -1e-9 && wc >= -1e-9 && wb + wc <= 1.0 + 1e-9;
            inside.then(|| a.z * (1.0 - wb - wc) + b.z * wb + c.z * wc)
        })
    }

    #[test]
    fn box_by_hand() {
        let mesh = solid(&rectangle(40.0, 30.0), &|_| 5.0, &|_| 2.0, 0.01).unwrap();
        assert!(mesh.is_closed());
        assert_eq!(mesh.triangles.len(), 12);
        assert_relative_eq!(mesh.volume_mm3(), 3600.0, epsilon = 1e-9);
        assert_relative_eq!(mesh.area_mm2(), 2.0 * 1200.0 + 140.0 * 3.0, epsilon = 1e-9);
    }

    #[test]
    fn clockwise_outlines_are_turned() {
        let mut outline = rectangle(40.0, 30.0);
        outline.reverse();
        let mesh = solid(&outline, &|_| 5.0, &|_| 2.0, 0.01).unwrap();
        assert!(mesh.is_closed());
        assert_relative_eq!(mesh.volume_mm3(), 3600.0, epsilon = 1e-9);
    }

    /// A cap of a sphere of radius R over a circle of radius a, on a plate of thickness t: volume
    /// pi h (3 a^2 + h^2) / 6 + pi a^2 t with h = R - sqrt(R^2 - a^2) (any handbook of geometry).
    #[test]
    fn spherical_cap_against_closed_form() {
        let (r, a, t): (f64, f64, f64) = (50.0, 30.0, 2.0);
        let floor = (r * r - a * a).sqrt();
        let top = |p: Point2| t + (r * r - p.coords.norm_squared()).max(0.0).sqrt() - floor;
        let mesh = solid(&circle(a, 400), &top, &|_| 0.0, 0.01).unwrap();
        assert!(mesh.is_closed());
        let h = r - floor;
        let expected = PI * h * (3.0 * a * a + h * h) / 6.0 + PI * a * a * t;
        assert_relative_eq!(mesh.volume_mm3(), expected, max_relative = 0.01 / t);
        assert!(mesh.volume_mm3() < expected);
    }

    fn footbed() -> Vec<Point2> {
        let measures = TrimMeasures {
            length_mm: 265.0,
            ball_width_mm: 95.0,
            heel_width_mm: 66.0,
            heel_station_y_mm: 42.4,
            first_met_y_mm: 196.4,
            fifth_met_y_mm: 169.6,
        };
        outline_from_measures(&measures).unwrap().points().to_vec()
    }

    /// A cup, an arch and a dome with radii of 20-100 mm, much like a footbed.
    fn cupped(p: Point2) -> f64 {
        let bump = |x: f64, y: f64, sx: f64, sy: f64| (-((p.x - x) / sx).powi(2) - ((p.y - y) / sy).powi(2)).exp();
        let cup = 14.0 * (1.0 - bump(0.0, 40.0, 32.0, 45.0)) * (1.0 - ((p.y - 70.0) / 30.0).tanh()) * 0.5;
        4.0 + cup
            + 12.0 * bump(40.0, 110.0, 22.0, 45.0)
            + 4.0 * bump(-45.0, 110.0, 18.0, 50.0)
            + 2.0 * bump(-5.0, 160.0, 18.0, 22.0)
    }

    #[test]
    fn footbed_like_solid_is_closed_light_and_true() {
        let outline = footbed();
        let mesh = solid(&outline, &cupped, &|_| 0.0, 0.02).unwrap();
        assert!(mesh.is_closed());
        assert!(mesh.triangles.len() <= 12_000, "{} triangles", mesh.triangles.len());
        let reference = Outline::from_polygon(&outline).unwrap();
        for k in 0..3000 {
            let p = Point2::new(-55.0 + ((k * 71) % 1100) as f64 * 0.1, 265.0 * k as f64 / 3000.0);
            if reference.signed_distance(p) < -0.001 {
                let z = upper_height(&mesh, p).unwrap();
                assert!((z - cupped(p)).abs() <= 0.02, "off by {} at {p}", z - cupped(p));
            }
        }
    }

    /// Corners that lie a rounding error off a straight side leave slivers between the outline and
    /// its hull; none of them may be taken for a part of the piece.
    #[test]
    fn a_side_that_is_hollow_by_a_rounding_error_is_closed() {
        let hollow = |k: usize, depth: f64| {
            let share = k as f64 / 40.0;
            Point2::new(40.0 + 7.0 * share - depth * (share * (1.0 - share)), 0.3 + 30.0 * share)
        };
        for depth in [1e-6, 1e-9, 1e-12, 1e-14, 0.0] {
            let mut outline: Vec<Point2> = (0..=40).map(|k| hollow(k, depth)).collect();
            outline.extend([Point2::new(0.1, 30.3), Point2::new(0.0, 0.3)]);
            let mesh = solid(&outline, &|p| 5.0 + 0.002 * p.y * p.y, &|_| 0.0, 0.02).unwrap();
            assert!(mesh.is_closed(), "hollow by {depth}");
        }
    }

    #[test]
    fn same_solid_twice_is_the_same_to_the_bit() {
        let make = || solid(&footbed(), &cupped, &|p| 0.01 * p.x, 0.05).unwrap();
        assert_eq!(make(), make());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Any gentle wave is followed within the tolerance everywhere, above and below.
        #[test]
        fn waves_are_followed(
            fx in 0.02..0.12_f64, fy in 0.02..0.12_f64, phase in 0.0..6.0_f64, height in 1.0..5.0_f64, tolerance in 0.02..0.2_f64,
        ) {
            let wave = move |p: Point2| 10.0 + height * (fx * p.x + phase).sin() * (fy * p.y).cos();
            let under = move |p: Point2| 2.0 * (fy * p.x).sin();
            let mesh = solid(&rectangle(60.0, 45.0), &wave, &under, tolerance).unwrap();
            prop_assert!(mesh.is_closed());
            for k in 0..900 {
                let p = Point2::new(1.0 + 58.0 * (k % 30) as f64 / 29.0, 1.0 + 43.0 * (k / 30) as f64 / 29.0);
                let z = upper_height(&mesh, p).unwrap();
                prop_assert!((z - wave(p)).abs() <= tolerance, "{} at {p}", z - wave(p));
            }
        }
    }

    #[test]
    fn impossible_solids_are_refused_with_the_place() {
        let square = rectangle(20.0, 20.0);
        let refused = |r: Result<Mesh, MeshError>, words: &str| {
            let text = r.unwrap_err().to_string();
            assert!(text.contains(words), "{text}");
        };
        refused(solid(&square, &|_| 1.0, &|_| 1.0, 0.01), "0.0000 mm thick");
        refused(solid(&square, &|p| p.x - 10.0, &|_| 0.0, 0.01), "raise the top");
        refused(solid(&square, &|_| f64::NAN, &|_| 0.0, 0.01), "height NaN");
        refused(solid(&square, &|_| 3.0, &|_| f64::INFINITY, 0.01), "height inf");
        refused(solid(&square, &|_| 3.0, &|_| 0.0, f64::NAN), "tolerance");
        refused(solid(&square, &|_| 3.0, &|_| 0.0, 0.0), "tolerance");
        refused(solid(&[], &|_| 3.0, &|_| 0.0, 0.1), "no solid");
        let bow_tie = [(0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 7.0)].map(|(x, y)| Point2::new(x, y));
        refused(solid(&bow_tie, &|_| 3.0, &|_| 0.0, 0.1), "crosses");
        let noise = |p: Point2| 5.0 + ((p.x * 7919.0).sin() * 43758.5 + (p.y * 6271.0).cos() * 22578.1).fract();
        refused(solid(&square, &noise, &|_| 0.0, 0.01), "ripples");
    }
}
