//! What a scan is laid onto: points of the designed piece, all around, on the bench.

use crate::footbed::Footbed;
use crate::frame::{Point2, Point3, Side, Vector3, bench_from_foot};
use crate::grid::Lattice;
use crate::register::{Cloud, Nearest};

/// Distance between the model's points, mm: fine enough that the tangent plane of the nearest leaves
/// the surface by less than 0.1 mm anywhere on a cup's round of 15 mm radius (2^2 / (8 x 15)).
const STEP_MM: f64 = 2.0;
/// The same on the underside, which is mostly flat.
const UNDER_STEP_MM: f64 = 4.0;
/// Distance between the places that the first search looks at, mm.
pub(super) const COARSE_MM: f64 = 8.0;

/// A designed piece as one side's, bench frame.
pub(super) struct Model {
    /// Points all around, normals outward.
    pub(super) all_round: Cloud,
    /// Their neighbours.
    pub(super) tree: Nearest,
    /// How many of the points, the first ones, are of the top.
    pub(super) of_top: usize,
    /// Places of the top, far apart, with their heights.
    pub(super) relief: Vec<(Point2, f64)>,
}

impl Model {
    pub(super) fn new(footbed: &Footbed, side: Side) -> Model {
        let placement = bench_from_foot(side);
        let mut cloud = Cloud::default();
        let mut add = |p: Point3, n: Vector3| {
            cloud.points.push(placement.place3(p));
            cloud.normals.push(Vector3::from(placement.place3(Point3::from(n.normalize())).coords));
        };
        let places = inside(footbed, STEP_MM);
        let of_top = places.len();
        for p in places {
            let slope = footbed.top.slope(p);
            add(Point3::new(p.x, p.y, footbed.top_at(p)), Vector3::new(-slope.x, -slope.y, 1.0));
        }
        for p in inside(footbed, UNDER_STEP_MM) {
            add(Point3::new(p.x, p.y, footbed.underside_at(p)), under_normal(footbed, p));
        }
        for (p, n) in stations(footbed, STEP_MM) {
            let (low, high) = (footbed.underside_at(p), footbed.top_at(p));
            let rows = ((high - low) / STEP_MM).ceil().max(1.0) as usize;
            for k in 0..=rows {
                add(Point3::new(p.x, p.y, low + (high - low) * k as f64 / rows as f64), Vector3::new(n.x, n.y, 0.0));
            }
        }
        let relief = inside(footbed, COARSE_MM).into_iter().map(|p| (placement.place(p), footbed.top_at(p))).collect();
        let tree = Nearest::new(&cloud.points);
        Model { all_round: cloud, tree, of_top, relief }
    }
}

/// Downward; of a hollow by differences, since it follows the top only in part.
fn under_normal(footbed: &Footbed, p: Point2) -> Vector3 {
    const STEP: f64 = 0.1;
    let at = |dx: f64, dy: f64| footbed.underside_at(Point2::new(p.x + dx, p.y + dy));
    let slope = |ahead: f64, behind: f64| (ahead - behind) / (2.0 * STEP);
    Vector3::new(slope(at(STEP, 0.0), at(-STEP, 0.0)), slope(at(0.0, STEP), at(0.0, -STEP)), -1.0)
}

/// Places of a square lattice inside the outline.
fn inside(footbed: &Footbed, step_mm: f64) -> Vec<Point2> {
    let lattice = Lattice::covering(footbed.outline.bounds(), step_mm);
    let nodes = (0..lattice.len()).map(|k| lattice.node(k % lattice.nx, k / lattice.nx));
    nodes.filter(|p| footbed.outline.contains(*p)).collect()
}

/// Places along the edge, about `step_mm` apart, with the direction out of it.
pub(super) fn stations(footbed: &Footbed, step_mm: f64) -> Vec<(Point2, crate::frame::Vector2)> {
    let points = footbed.outline.points();
    let mut found = vec![];
    // Arc length that is left before the next place.
    let mut left = 0.5 * step_mm;
    for (i, &a) in points.iter().enumerate() {
        let b = points[(i + 1) % points.len()];
        let length = (b - a).norm();
        if length == 0.0 {
            continue;
        }
        let along = (b - a) / length;
        while left <= length {
            // Counter-clockwise, so that out is to the right.
            found.push((a + along * left, crate::frame::Vector2::new(along.y, -along.x)));
            left += step_mm;
        }
        left -= length;
    }
    found
}
