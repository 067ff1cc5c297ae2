//! The rigid motion that lays a cloud onto a surface best, from a start that is nearly right.

use nalgebra::{Matrix6, Vector6};
use rayon::prelude::*;

use super::{Cloud, Facing, Nearest, Pose};
use crate::frame::{Point3, Vector3};

/// How far a point may be from the surface to count, mm, round by round: wide enough at first for a
/// start that is a few millimetres and degrees off, then narrow, so that clamps do not pull.
pub const GATES_MM: [f64; 16] = [10.0, 9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 4.0, 3.0, 3.0, 2.5, 2.5, 2.0, 2.0, 2.0, 2.0];

/// How a cloud lies on a surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Best {
    /// Surface <- cloud.
    pub pose: Pose,
    /// Root mean square of the distances that count, mm.
    pub rms_mm: f64,
    /// Share of the cloud's points that count.
    pub share: f64,
}

/// The most that normals may differ, as a cosine: 60 degrees, so that the underside is not laid onto
/// the top.
const LEAST_COSINE: f64 = 0.5;
/// Points of the cloud in one sum, which is then added up in a fixed order.
const CHUNK: usize = 256;

/// Lays `cloud` onto `surface`, whose points `tree` holds, by distances to the tangent planes (Chen &
/// Medioni 1992, Image Vis Comput 10:145), each weighed down as it grows (Beaton & Tukey 1974, Technometrics
/// 16:147). `None` when too little of the cloud is near the surface.
pub fn best_fit(cloud: &Cloud, surface: &Cloud, tree: &Nearest, start: Pose, gates_mm: &[f64]) -> Option<Best> {
    let mut best = Best { pose: start, rms_mm: f64::INFINITY, share: 0.0 };
    for &gate_mm in gates_mm {
        best = round(cloud, surface, tree, best.pose, gate_mm)?;
    }
    Some(best)
}

/// Sums over points: the normal equations, squared distances and how many count.
#[derive(Clone, Copy)]
struct Sums {
    normal: Matrix6<f64>,
    right: Vector6<f64>,
    squares: f64,
    count: usize,
}

fn round(cloud: &Cloud, surface: &Cloud, tree: &Nearest, pose: Pose, gate_mm: f64) -> Option<Best> {
    const LEAST_POINTS: usize = 30;
    let centre = pose * middle(&cloud.points);
    let chunks: Vec<Sums> = cloud
        .points
        .par_chunks(CHUNK)
        .zip(cloud.normals.par_chunks(CHUNK))
        .map(|(points, normals)| {
            let pairs = points.iter().zip(normals).map(|(p, n)| (pose * p, pose * n));
            let met = pairs.filter_map(|(p, n)| meet(p, n, cloud.facing, surface, tree, gate_mm).map(|m| (p, m)));
            met.fold(Sums::none(), |sums, (p, (off, normal))| sums.plus(p - centre, normal, off, gate_mm))
        })
        .collect();
    let sums = chunks.into_iter().fold(Sums::none(), Sums::and);
    if sums.count < LEAST_POINTS {
        return None;
    }
    // A hair of damping: a cloud of one plane alone says nothing of slides along it.
    let damped = sums.normal + Matrix6::identity() * (1e-9 * sums.normal.trace());
    let step = damped.cholesky()?.solve(&sums.right);
    let turn = nalgebra::UnitQuaternion::from_scaled_axis(Vector3::new(step[0], step[1], step[2]));
    let slide = Vector3::new(step[3], step[4], step[5]);
    let about = nalgebra::Translation3::from(centre.coords);
    let moved = about * turn * about.inverse() * pose;
    Some(Best {
        pose: nalgebra::Translation3::from(slide) * moved,
        rms_mm: (sums.squares / sums.count as f64).sqrt(),
        share: sums.count as f64 / cloud.points.len() as f64,
    })
}

/// How far `p` is from the tangent plane of the surface's nearest point, and that plane's normal.
fn meet(
    p: Point3,
    n: Vector3,
    facing: Facing,
    surface: &Cloud,
    tree: &Nearest,
    gate_mm: f64,
) -> Option<(f64, Vector3)> {
    let (i, _) = tree.of(p, gate_mm)?;
    let normal = surface.normals[i];
    let alike = match facing {
        Facing::Outward => n.dot(&normal),
        Facing::Unknown => n.dot(&normal).abs(),
    };
    (alike >= LEAST_COSINE).then(|| (normal.dot(&(surface.points[i] - p)), normal))
}

impl Sums {
    fn none() -> Sums {
        Sums { normal: Matrix6::zeros(), right: Vector6::zeros(), squares: 0.0, count: 0 }
    }

    /// With one point more: `off` is what it lacks along `normal`.
    fn plus(mut self, arm: Vector3, normal: Vector3, off: f64, gate_mm: f64) -> Sums {
        let u = (off / gate_mm).powi(2);
        let weight = if u < 1.0 { (1.0 - u).powi(2) } else { 0.0 };
        let turning = arm.cross(&normal);
        let row = Vector6::new(turning.x, turning.y, turning.z, normal.x, normal.y, normal.z);
        self.normal += row * row.transpose() * weight;
        self.right += row * (weight * off);
        self.squares += off * off;
        self.count += 1;
        self
    }

    fn and(self, other: Sums) -> Sums {
        Sums {
            normal: self.normal + other.normal,
            right: self.right + other.right,
            squares: self.squares + other.squares,
            count: self.count + other.count,
        }
    }
}

fn middle(points: &[Point3]) -> Point3 {
    Point3::from(points.iter().map(|p| p.coords).sum::<Vector3>() / points.len().max(1) as f64)
}
