//! Triangle meshes: closed solids between two height functions, their volume and area, written as
//! STL and 3MF; and scans, read from many formats. Knows nothing of feet.

mod scan;
mod solid;
mod stl;
mod surface;
mod threemf;

pub use scan::{
    About, Dropped, Format, LARGEST_FILE, MOST_POINTS, MOST_TRIANGLES, Place, Sample, Scan, ScanError, Unit, read_scan,
};
pub use solid::solid;
pub use stl::write_stl;
pub use threemf::write_3mf;

use crate::curve::CurveError;
use crate::frame::{Placement, Point3};

/// Triangles over shared corners, mm. Seen from outside each triangle runs counter-clockwise.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mesh {
    /// The corners.
    pub vertices: Vec<Point3>,
    /// Three indices into `vertices` each.
    pub triangles: Vec<[u32; 3]>,
}

/// Why a mesh cannot be made or read. Places are mm.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeshError {
    /// The outline of a solid is no outline.
    #[error("no solid: {0}")]
    Outline(#[from] CurveError),
    /// A tolerance that is not a length, or finer than the numbers carry.
    #[error("cannot follow a surface within {tolerance_mm} mm: give a tolerance of at least {least} mm")]
    Tolerance {
        /// As asked.
        tolerance_mm: f64,
        /// Least allowed.
        least: f64,
    },
    /// A height is NaN or infinite.
    #[error("the surface has the height {z} at ({x:.3}, {y:.3}): heights must be finite")]
    Height {
        /// Where.
        x: f64,
        /// Where.
        y: f64,
        /// The height there.
        z: f64,
    },
    /// The top is not above the bottom.
    #[error(
        "the solid is {thickness_mm:.4} mm thick at ({x:.3}, {y:.3}), at least {least} mm is needed: raise the top or lower the underside there"
    )]
    Thickness {
        /// Where.
        x: f64,
        /// Where.
        y: f64,
        /// Top less bottom.
        thickness_mm: f64,
        /// Least allowed.
        least: f64,
    },
    /// The surface is too rough to follow with a reasonable number of triangles.
    #[error(
        "after {triangles} triangles the mesh is still {error_mm:.4} mm off the surface at ({x:.3}, {y:.3}), allowed is {tolerance_mm} mm: the surface has a step or ripples there; smooth it or allow more"
    )]
    TooRough {
        /// How many triangles were tried.
        triangles: usize,
        /// How far off it still is.
        error_mm: f64,
        /// What was allowed.
        tolerance_mm: f64,
        /// Where.
        x: f64,
        /// Where.
        y: f64,
    },
}

impl Mesh {
    /// The volume shut in by a closed mesh, mm3, by the divergence theorem; positive when the
    /// triangles face outward. Summed about the first corner, which keeps the terms small.
    pub fn volume_mm3(&self) -> f64 {
        let Some(&origin) = self.vertices.first() else { return 0.0 };
        self.corners().map(|[a, b, c]| (a - origin).dot(&(b - origin).cross(&(c - origin)))).sum::<f64>() / 6.0
    }

    /// The area of all triangles, mm2.
    pub fn area_mm2(&self) -> f64 {
        self.corners().map(|[a, b, c]| 0.5 * (b - a).cross(&(c - a)).norm()).sum()
    }

    /// Whether the mesh shuts in a solid: every edge is run through once in each direction, no
    /// triangle is degenerate and none names a missing corner.
    pub fn is_closed(&self) -> bool {
        let flat = |[a, b, c]: [Point3; 3]| (b - a).cross(&(c - a)).norm_squared() == 0.0;
        let whole = self.corners().count() == self.triangles.len();
        if self.triangles.is_empty() || !whole || self.corners().any(flat) {
            return false;
        }
        let edges = self.triangles.iter().flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)]);
        let mut there: Vec<(u32, u32)> = edges.collect();
        let mut back: Vec<(u32, u32)> = there.iter().map(|&(a, b)| (b, a)).collect();
        there.sort_unstable();
        back.sort_unstable();
        there == back && there.windows(2).all(|pair| pair[0] != pair[1])
    }

    /// The mesh seen in the outer frame of `placement`; still facing outward when it mirrors.
    pub fn placed(&self, placement: &Placement) -> Mesh {
        let vertices = self.vertices.iter().map(|&p| placement.place3(p)).collect();
        let turned = |&[a, b, c]: &[u32; 3]| if placement.mirrors() { [a, c, b] } else { [a, b, c] };
        Mesh { vertices, triangles: self.triangles.iter().map(turned).collect() }
    }

    /// The three corners of every triangle; one that names a missing corner is passed over.
    pub fn corners(&self) -> impl Iterator<Item = [Point3; 3]> {
        let corner = |i: u32| self.vertices.get(i as usize).copied();
        self.triangles.iter().filter_map(move |&[a, b, c]| Some([corner(a)?, corner(b)?, corner(c)?]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Side, Vector3, bench_from_foot};
    use approx::assert_relative_eq;

    pub(super) fn tetrahedron() -> Mesh {
        let p = Point3::new;
        Mesh {
            vertices: vec![p(0.0, 0.0, 0.0), p(3.0, 0.0, 0.0), p(0.0, 4.0, 0.0), p(0.0, 0.0, 5.0)],
            triangles: vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
        }
    }

    /// By hand: volume 3 4 5 / 6 = 10; area (12 + 15 + 20) / 2 + |(4 5, 3 5, 3 4)| / 2.
    #[test]
    fn tetrahedron_by_hand() {
        let t = tetrahedron();
        assert!(t.is_closed());
        assert_relative_eq!(t.volume_mm3(), 10.0, epsilon = 1e-12);
        assert_relative_eq!(t.area_mm2(), 23.5 + 0.5 * 769.0_f64.sqrt(), epsilon = 1e-12);
    }

    #[test]
    fn mirrored_and_moved_it_still_faces_outward() {
        let placement = bench_from_foot(Side::Right).then_moved(Vector3::new(100.0, -50.0, 7.0));
        let t = tetrahedron().placed(&placement);
        assert!(t.is_closed());
        assert_relative_eq!(t.volume_mm3(), 10.0, epsilon = 1e-9);
        assert_eq!(t.vertices[1], Point3::new(97.0, -50.0, 7.0));
    }

    #[test]
    fn holes_doubles_turned_and_flat_triangles_are_not_closed() {
        let good = tetrahedron();
        let changed = |change: fn(&mut Mesh)| {
            let mut mesh = good.clone();
            change(&mut mesh);
            mesh.is_closed()
        };
        assert!(!changed(|m| m.triangles.truncate(3)));
        assert!(!changed(|m| m.triangles.push([0, 2, 1])));
        assert!(!changed(|m| m.triangles[0] = [0, 1, 2]));
        assert!(!changed(|m| m.vertices[3] = Point3::origin()));
        assert!(!changed(|m| m.vertices.truncate(3)));
        assert!(!changed(|m| m.triangles.clear()));
    }
}
