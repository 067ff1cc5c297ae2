//! The cutter's profile and its two uses: where the tip may go over a surface ([`Surface::reach`])
//! and what a move leaves standing ([`swept_height`]). Knows nothing of feet, paths or machines.

mod removal;

pub use removal::{Lowest, Sweep, swept_height};

/// A cutter's form, as a surface of revolution about its axis with the tip at height zero.
/// Radii in mm. Made by the constructors, which keep every number positive and consistent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Flat end: height 0 up to `radius`.
    Flat {
        /// Cutter radius.
        radius: f64,
    },
    /// Ball end.
    Ball {
        /// Cutter and ball radius.
        radius: f64,
    },
    /// Bull-nose: flat up to `radius - corner`, then a rounded corner; `0 < corner < radius`.
    Bull {
        /// Cutter radius.
        radius: f64,
        /// Corner radius.
        corner: f64,
    },
    /// Tapered ball: a ball of radius `tip` that runs into a cone of `half_angle_rad`
    /// (from the axis, 0..pi/2) up to `radius`.
    Taper {
        /// Tip ball radius.
        tip: f64,
        /// Half of the cone's angle, rad.
        half_angle_rad: f64,
        /// Greatest radius that cuts.
        radius: f64,
    },
}

impl Shape {
    /// Greatest radius that cuts, mm.
    pub fn radius(&self) -> f64 {
        match *self {
            Shape::Flat { radius }
            | Shape::Ball { radius }
            | Shape::Bull { radius, .. }
            | Shape::Taper { radius, .. } => radius,
        }
    }
}
