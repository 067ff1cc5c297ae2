//! Where the piece lies in its scan: the base plane is looked for, the top's relief above it, and the
//! best fit from there. A start for the datums, which then decide.

use nalgebra::{Matrix3, Rotation3, Translation3, UnitQuaternion};

use super::model::{COARSE_MM, Model};
use crate::frame::{Point2, Point3, Rect, Vector3};
use crate::grid::{Grid, Lattice};
use crate::register::{Best, Cloud, Facing, GATES_MM, Nearest, Plane, Pose, best_fit, lies, planes};

/// A plane's points may be this far off it, mm: a scanner's noise, a worn table.
const ON_PLANE_MM: f64 = 0.4;
/// Least share of a plane that a piece could lie on.
const LEAST_SHARE: f64 = 0.04;
/// Planes that are tried.
const PLANES: usize = 3;
/// Lies of the relief above each plane that are followed to the end.
const FOLLOWED: usize = 3;
/// At most this share of the points may be below a plane that the piece lies on.
const MOST_BELOW: f64 = 0.2;
/// Points that the best fit looks at.
const FITTED_POINTS: usize = 5000;
/// The same while several starts compete.
const COMPETING_POINTS: usize = 1000;

/// Where the piece lies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    /// Bench <- scan.
    pub(super) best: Best,
    /// The plane it was looked for on, bench frame; none when the piece was found without one.
    pub(super) base: Option<Plane>,
    pub(super) agreement: Agreement,
}

/// How far a scan agrees with a model.
#[derive(Clone, Copy, Debug)]
pub(super) struct Agreement {
    /// Share of the model's top that the scan shows.
    pub(super) seen: f64,
    /// Share of what is seen that is within [`NEAR_MM`] of the model.
    pub(super) near: f64,
    /// Mean distance of what is seen, each at most [`MOST_MM`], mm.
    pub(super) off_mm: f64,
    /// How much shape the model has where it is seen, as mean distance from a plane, mm.
    shape_mm: f64,
}

/// A made piece is nearer to its design than this nearly everywhere.
const NEAR_MM: f64 = 2.0;
/// A distance counts as no more than this, mm.
const MOST_MM: f64 = 4.0;

impl Agreement {
    /// What speaks against it: parts that are off, and parts that nothing was seen of.
    fn cost(&self) -> f64 {
        self.off_mm + 0.5 * MOST_MM * (1.0 - self.seen)
    }

    /// Whether this may be the piece at all: most of what is seen is near, and enough is seen.
    pub(super) fn is_the_piece(&self) -> bool {
        /// Less of the top than this says too little.
        const LEAST_SEEN: f64 = 0.3;
        /// Of what is seen, this much of a piece is near its design even when a value is far off.
        const LEAST_NEAR: f64 = 0.72;
        /// Nothing of this shape is off by more than this on the whole, mm.
        const MOST_OFF_MM: f64 = 1.3;
        /// A flat thing of about the same outline is off by all the shape there is, or half of it where it is
        /// looked for along the normal; a piece by a tenth or so. Noise is less than the second figure, mm.
        const MOST_OF_SHAPE: f64 = 0.45;
        const NOISE_MM: f64 = 0.4;
        let most = (MOST_OF_SHAPE * self.shape_mm).clamp(NOISE_MM, MOST_OFF_MM);
        self.seen >= LEAST_SEEN && self.near >= LEAST_NEAR && self.off_mm <= most
    }

    /// Whether there is no need to look for a better one.
    pub(super) fn is_good(&self) -> bool {
        /// A piece as made is nearer on the whole.
        const GOOD_MM: f64 = 0.6;
        self.is_the_piece() && self.off_mm < GOOD_MM
    }

    /// Whether `self` is clearly the better one.
    pub(super) fn is_clearly_better_than(&self, other: &Agreement) -> bool {
        /// What noise alone costs, mm: two good fits are equally good.
        const NOISE_MM: f64 = 0.15;
        self.cost() + NOISE_MM < 0.7 * other.cost()
    }
}

/// The best start of the scan on the model: on one of its planes, or by its own shape when none of
/// them is good; `None` when no part of it fits anywhere.
pub(super) fn start(cloud: &Cloud, tree: &Nearest, found: &[Plane], model: &Model) -> Option<Start> {
    let both_ways = found.iter().flat_map(|plane| [*plane, plane.turned()]);
    let on_planes: Vec<(Pose, Option<Plane>)> = both_ways
        .flat_map(|plane| on_plane(cloud, &plane, model).into_iter().map(move |pose| (pose, Some(plane))))
        .collect();
    let start = best_of(on_planes, cloud, tree, model);
    if start.as_ref().is_some_and(|start| start.agreement.is_good()) {
        return start;
    }
    let freely = without_plane(cloud, model).into_iter().map(|pose| (pose, None)).collect();
    let free = best_of(freely, cloud, tree, model);
    // A plane that holds a good deal less well than none was not the base.
    match (start, free) {
        (Some(start), Some(free)) if !free.agreement.is_clearly_better_than(&start.agreement) => Some(start),
        (start, free) => free.or(start),
    }
}

/// The start that ends best.
fn best_of(starts: Vec<(Pose, Option<Plane>)>, cloud: &Cloud, tree: &Nearest, model: &Model) -> Option<Start> {
    let few = cloud.thinned(COMPETING_POINTS);
    let (early, late) = GATES_MM.split_at(8);
    let followed = starts.into_iter().filter_map(|(pose, plane)| {
        let best = best_fit(&few, &model.all_round, &model.tree, pose, early)?;
        Some((agreement(tree, cloud, &best.pose, model, 5), best.pose, plane))
    });
    let (_, pose, plane) = followed.min_by(|a, b| a.0.cost().total_cmp(&b.0.cost()))?;
    let best = best_fit(&cloud.thinned(FITTED_POINTS), &model.all_round, &model.tree, pose, late)?;
    let base = plane.map(|plane| moved(&plane, &best.pose));
    Some(Start { best, base, agreement: agreement(tree, cloud, &best.pose, model, 1) })
}

/// Planes that a piece could lie on.
pub(super) fn bases(cloud: &Cloud) -> Vec<Plane> {
    planes(&cloud.points, ON_PLANE_MM, LEAST_SHARE, PLANES)
}

/// Poses, bench <- scan, of a piece that stands on this side of the plane.
fn on_plane(cloud: &Cloud, plane: &Plane, model: &Model) -> Vec<Pose> {
    let upright = upright(plane.normal, plane.offset_mm);
    let standing = cloud.thinned(60_000);
    let points: Vec<Point3> = standing.points.iter().map(|p| upright * p).collect();
    let below = points.iter().filter(|p| p.z < -2.0).count();
    if below as f64 > MOST_BELOW * points.len() as f64 {
        return vec![];
    }
    laid(&points, upright, model)
}

/// The same without a plane: the piece's own broad side, either way up, at the height where it fits
/// on the whole.
fn without_plane(cloud: &Cloud, model: &Model) -> Vec<Pose> {
    let centre = Point3::from(cloud.points.iter().map(|p| p.coords).sum::<Vector3>() / cloud.points.len() as f64);
    let spread: Matrix3<f64> = cloud.points.iter().map(|p| (p - centre) * (p - centre).transpose()).sum();
    let eigen = nalgebra::SymmetricEigen::new(spread);
    let normal: Vector3 = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned();
    let mean = model.relief.iter().map(|(_, z)| z).sum::<f64>() / model.relief.len().max(1) as f64;
    [normal, -normal]
        .into_iter()
        .flat_map(|normal| {
            let upright = upright(normal, normal.dot(&centre.coords) - mean);
            let points: Vec<Point3> = cloud.points.iter().map(|p| upright * p).collect();
            laid(&points, upright, model)
        })
        .collect()
}

/// The motion that makes `normal` the z axis and `offset_mm` along it zero.
fn upright(normal: Vector3, offset_mm: f64) -> Pose {
    let turn = UnitQuaternion::rotation_between(&normal, &Vector3::z())
        .unwrap_or_else(|| UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI));
    Translation3::new(0.0, 0.0, -offset_mm) * turn
}

/// Ways to lay the model's relief under upright points.
fn laid(points: &[Point3], upright: Pose, model: &Model) -> Vec<Pose> {
    let Some(seen) = relief_of(points) else { return vec![] };
    lies(&seen, &model.relief, FOLLOWED)
        .into_iter()
        .map(|lie| {
            let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), lie.turn_rad);
            let plane_from_bench = Translation3::new(lie.shift.x, lie.shift.y, 0.0) * UnitQuaternion::from(turn);
            plane_from_bench.inverse() * upright
        })
        .collect()
}

/// The highest that was seen in each coarse cell, but for a single stray; `None` when the points spread
/// over more than any table.
fn relief_of(points: &[Point3]) -> Option<Grid> {
    const MOST_CELLS: usize = 40_000;
    let plan: Vec<Point2> = points.iter().map(|p| p.xy()).collect();
    let lattice = Lattice::covering(Rect::around(&plan)?.grown(COARSE_MM), COARSE_MM);
    if lattice.len() > MOST_CELLS {
        return None;
    }
    let mut highest = vec![[f64::NAN; 2]; lattice.len()];
    for p in points.iter().filter(|p| p.z.abs() < 100.0) {
        let i = ((p.x - lattice.x0) / lattice.step).round() as usize;
        let j = ((p.y - lattice.y0) / lattice.step).round() as usize;
        let [first, second] = &mut highest[j * lattice.nx + i];
        if first.is_nan() || p.z > *first {
            (*second, *first) = (*first, p.z);
        } else if second.is_nan() || p.z > *second {
            *second = p.z;
        }
    }
    let z = highest.into_iter().map(|[first, second]| if second.is_nan() { first } else { second }).collect();
    Some(Grid { lattice, z })
}

/// A plane of the scan, seen on the bench.
fn moved(plane: &Plane, bench_from_scan: &Pose) -> Plane {
    let normal = bench_from_scan * plane.normal;
    let on_it = bench_from_scan * Point3::from(plane.normal * plane.offset_mm);
    Plane { normal, offset_mm: normal.dot(&on_it.coords), ..*plane }
}

/// How far the scan agrees with the model's top, asked at every `every`th of its points.
fn agreement(tree: &Nearest, cloud: &Cloud, bench_from_scan: &Pose, model: &Model, every: usize) -> Agreement {
    let scan_from_bench = bench_from_scan.inverse();
    let (mut asked, mut near, mut off) = (0_usize, 0_usize, 0.0);
    let mut seen = vec![];
    for i in (0..model.of_top).step_by(every) {
        asked += 1;
        let (q, n) = (scan_from_bench * model.all_round.points[i], scan_from_bench * model.all_round.normals[i]);
        let Some((k, _)) = tree.of(q, 2.0 * MOST_MM) else { continue };
        let faces_away = cloud.facing == Facing::Outward && n.dot(&cloud.normals[k]) < 0.0;
        let along = if faces_away { MOST_MM } else { n.dot(&(cloud.points[k] - q)).abs() };
        seen.push(model.all_round.points[i]);
        near += usize::from(along <= NEAR_MM);
        off += along.min(MOST_MM);
    }
    let share = |part: usize, whole: usize| part as f64 / whole.max(1) as f64;
    let count = seen.len();
    Agreement {
        seen: share(count, asked),
        near: share(near, count),
        off_mm: off / count.max(1) as f64,
        shape_mm: off_a_plane(&seen),
    }
}

/// Mean distance in height from the plane of least squares, mm.
fn off_a_plane(points: &[Point3]) -> f64 {
    let row = |p: &Point3| Vector3::new(1.0, p.x, p.y);
    let normal: Matrix3<f64> = points.iter().map(|p| row(p) * row(p).transpose()).sum();
    let right: Vector3 = points.iter().map(|p| row(p) * p.z).sum();
    let plane = normal.cholesky().map_or(Vector3::zeros(), |c| c.solve(&right));
    points.iter().map(|p| (p.z - plane.dot(&row(p))).abs()).sum::<f64>() / points.len().max(1) as f64
}
