//! Points laid onto a surface: planes in a cloud, where a relief lies in it, and the rigid motion
//! that fits best. Knows points and normals; does not know what they are of.
//!
//! The best fit is a way to begin and a thing to compare with. It is never the frame in which a piece
//! is judged: it would turn away the very tilt that one looks for.

mod best;
mod chance;
mod lie;
mod nearest;
mod normals;
mod plane;

pub use best::{Best, GATES_MM, best_fit};
pub use lie::{Lie, lies};
pub use nearest::Nearest;
pub use normals::normals;
pub use plane::{Plane, planes};

use crate::frame::{Point3, Vector3};
use crate::mesh::Sample;

/// A rigid motion.
pub type Pose = nalgebra::Isometry3<f64>;

/// Points of a surface with their normals, unit vectors.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Cloud {
    pub points: Vec<Point3>,
    pub normals: Vec<Vector3>,
    /// What is known of the normals.
    pub facing: Facing,
    /// How many points of a scan each of these is the mean of, on the whole; infinite of a mesh, whose
    /// surface is everywhere.
    pub drawn_from: f64,
}

impl Default for Cloud {
    fn default() -> Cloud {
        Cloud { points: vec![], normals: vec![], facing: Facing::Outward, drawn_from: 1.0 }
    }
}

/// Which way normals point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Facing {
    /// Out of the material.
    #[default]
    Outward,
    /// Either way: they were estimated from the points alone.
    Unknown,
}

impl Cloud {
    /// The cloud of a scan's samples, `mm` millimetres to their unit. Normals that are not there are
    /// estimated.
    pub fn of_samples(samples: &[Sample], mm: f64) -> Cloud {
        let points: Vec<Point3> = samples.iter().map(|sample| sample.at * mm).collect();
        match samples.iter().map(|sample| sample.normal).collect() {
            Some(normals) => Cloud { points, normals, facing: Facing::Outward, drawn_from: f64::INFINITY },
            None => {
                let all: f64 = samples.iter().map(|sample| sample.weight).sum();
                let drawn_from = all / samples.len().max(1) as f64;
                Cloud { normals: normals(&points), points, facing: Facing::Unknown, drawn_from }
            }
        }
    }

    /// The same points when their normals cannot be trusted: estimated from the points alone.
    pub fn without_facing(&self) -> Cloud {
        Cloud { normals: normals(&self.points), facing: Facing::Unknown, ..self.clone() }
    }

    /// The same points facing the other way.
    pub fn turned_inside_out(&self) -> Cloud {
        Cloud { normals: self.normals.iter().map(|n| -n).collect(), ..self.clone() }
    }

    /// The cloud moved by `pose`.
    pub fn moved(&self, pose: &Pose) -> Cloud {
        Cloud {
            points: self.points.iter().map(|p| pose * p).collect(),
            normals: self.normals.iter().map(|n| pose * n).collect(),
            facing: self.facing,
            drawn_from: self.drawn_from,
        }
    }

    /// At most about `count` of its points: one of each run of neighbours in the list, drawn by chance,
    /// since a scan may list top and underside in turn.
    pub fn thinned(&self, count: usize) -> Cloud {
        let picked = chance::one_of_each_run(self.points.len(), count);
        Cloud {
            points: picked.iter().map(|&i| self.points[i]).collect(),
            normals: picked.iter().map(|&i| self.normals[i]).collect(),
            facing: self.facing,
            drawn_from: self.drawn_from,
        }
    }
}
