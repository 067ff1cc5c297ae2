//! Normals of a cloud that came without any, from the neighbours of each point.

use nalgebra::{Matrix3, SymmetricEigen};
use rayon::prelude::*;

use super::Nearest;
use crate::frame::{Point3, Vector3};

/// Neighbours that make a normal: enough to outvote noise, few enough to stay on one face.
const NEIGHBOURS: usize = 12;

/// The direction in which the neighbours of each point spread least (Hoppe et al. 1992, SIGGRAPH, 26:71);
/// which of its two ends looks outward is not known.
pub fn normals(points: &[Point3]) -> Vec<Vector3> {
    let tree = Nearest::new(points);
    points
        .par_iter()
        .map(|&p| {
            let near: Vec<Vector3> = tree.several(p, NEIGHBOURS).into_iter().map(|i| points[i].coords).collect();
            let centre = near.iter().sum::<Vector3>() / near.len().max(1) as f64;
            let spread: Matrix3<f64> = near.iter().map(|q| (q - centre) * (q - centre).transpose()).sum();
            let eigen = SymmetricEigen::new(spread);
            eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// On a plane all normals are the plane's.
    #[test]
    fn a_plane_has_one_normal() {
        let n = Vector3::new(1.0, -2.0, 5.0).normalize();
        let points: Vec<Point3> = (0..300)
            .map(|i| Point3::new(f64::from(i % 20), f64::from(i / 20), 0.0))
            .map(|p| p - n * n.dot(&p.coords))
            .collect();
        assert!(normals(&points).iter().all(|found| found.dot(&n).abs() > 1.0 - 1e-9));
    }
}
