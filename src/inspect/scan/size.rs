//! Whether a scan can be of the piece by its size, before anything is looked for in it.

use nalgebra::{Matrix3, SymmetricEigen};

use super::ScanFault;
use super::plan::Plan;
use crate::frame::{Point3, Vector3};
use crate::inspect::Case;
use crate::mesh::Unit;
use crate::register::Cloud;
use crate::regress::median;

/// Fewer points say nothing, whatever they look like.
const LEAST_POINTS: usize = 300;
/// A scan may show a bed and clamps far around the piece, but not more than this many lengths of it.
const LARGEST: f64 = 6.0;
/// Of a piece at least so much of its length is seen.
const SMALLEST: f64 = 0.6;
/// Points further from the middle than this many times the usual are strays.
const STRAY: f64 = 8.0;

/// The cloud without far strays, when it is of a size that the piece may have.
pub(super) fn of_the_piece(case: &Case, cloud: &Cloud) -> Result<Cloud, ScanFault> {
    let cloud = without_strays(cloud);
    let length_mm = case.footbed.outline.length_mm();
    let extent_mm = length_of(&cloud.points);
    let ratio = extent_mm / length_mm;
    if cloud.points.len() >= 3 && !(SMALLEST..LARGEST).contains(&ratio) {
        return Err(match Unit::that_explains(extent_mm, length_mm) {
            Some(unit) => {
                ScanFault::Unit { extent: extent_mm, unit: "mm", length_mm, guess: unit.words(), option: unit.symbol() }
            }
            None => ScanFault::Size { extent_mm, length_mm, ratio, guess: factor(ratio) },
        });
    }
    if cloud.points.len() < LEAST_POINTS {
        return Err(ScanFault::TooFew { points: cloud.points.len(), least: LEAST_POINTS });
    }
    Ok(cloud)
}

/// What a factor looks like that no unit of the file itself explains.
fn factor(ratio: f64) -> &'static str {
    /// A scan is seen to this share of its length.
    const NEAR: f64 = 0.05;
    let known = [
        (25.4, ", as if its mm had been taken for inches on the way"),
        (10.0, ", as if its mm had been taken for cm on the way"),
    ];
    let is = |factor: &f64| (ratio / factor - 1.0).abs() < NEAR;
    known.iter().find(|(factor, _)| is(factor)).map_or("", |(_, words)| words)
}

/// Whether the piece in the scan, foot frame, ends where the design does, more or less: clamps stand
/// beside it here and there, a larger piece all round.
pub(super) fn ends_at_the_edge(cloud: &Cloud, plan: &Plan) -> Result<(), ScanFault> {
    /// Of the points on the piece, so many may stand beside it.
    const MOST_BESIDE: f64 = 0.3;
    let standing = cloud.points.iter().filter(|p| (2.0..60.0).contains(&p.z)).map(|p| plan.distance(p.xy()));
    let (mut inside, mut beside) = (0_usize, 0_usize);
    for distance in standing {
        inside += usize::from(distance < -1.0);
        beside += usize::from((3.0..18.0).contains(&distance));
    }
    if beside as f64 > MOST_BESIDE * inside as f64 { Err(ScanFault::Larger) } else { Ok(()) }
}

fn without_strays(cloud: &Cloud) -> Cloud {
    let Some(middle) = middle(&cloud.points) else { return cloud.clone() };
    let far = |p: &Point3| (p - middle).norm();
    let limit = STRAY * median(&mut cloud.points.iter().map(far).collect::<Vec<f64>>()).unwrap_or(0.0);
    let kept: Vec<usize> = (0..cloud.points.len()).filter(|&i| far(&cloud.points[i]) <= limit).collect();
    Cloud {
        points: kept.iter().map(|&i| cloud.points[i]).collect(),
        normals: kept.iter().map(|&i| cloud.normals[i]).collect(),
        facing: cloud.facing,
        drawn_from: cloud.drawn_from,
    }
}

/// The middle along each axis.
fn middle(points: &[Point3]) -> Option<Point3> {
    let along = |k: usize| median(&mut points.iter().map(|p| p[k]).collect::<Vec<f64>>());
    Some(Point3::new(along(0)?, along(1)?, along(2)?))
}

/// Extent along the axis in which the points spread most, a few at each end not counted.
fn length_of(points: &[Point3]) -> f64 {
    const NOT_COUNTED: f64 = 0.002;
    let Some(middle) = middle(points) else { return 0.0 };
    let spread: Matrix3<f64> = points.iter().map(|p| (p - middle) * (p - middle).transpose()).sum();
    let eigen = SymmetricEigen::new(spread);
    let axis: Vector3 = eigen.eigenvectors.column(eigen.eigenvalues.imax()).into_owned();
    let mut along: Vec<f64> = points.iter().map(|p| axis.dot(&(p - middle))).collect();
    along.sort_by(f64::total_cmp);
    let skipped = (NOT_COUNTED * along.len() as f64) as usize;
    along[along.len() - 1 - skipped] - along[skipped]
}
