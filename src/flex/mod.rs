//! Will the arch give, and how much: a footbed as a plate of varying thickness that lies on the boot
//! board without sticking to it, under a stated load. Knows no limits: what a strain or a squeeze is
//! worth is judged elsewhere.
//!
//! Deflections are mm, down is positive, in the foot frame. The model, its assumptions and what it is
//! not stand in `docs/flex.md`.

mod answer;
mod contact;
mod laminate;
mod load;
mod material;
mod piece;
mod plate;
mod region;
mod words;

pub use answer::{
    Bending, Drop, Figures, Flex, KNOT_MM, Maps, Question, Sensitivity, Squeeze, Suggestion, answer, answer_at,
};
pub use contact::{Grip, Rest, Spring, settle};
pub use laminate::{Laminate, Layer};
pub use material::{gent_mpa, log_hardness_mpa, squeeze_kpa, squeezed};
pub use plate::{BEYOND, stiffness};
pub use region::{Place, Region};
pub use words::{ASSUMED, SHORTLY_ASSUMED};

/// Why there is no answer about flexing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FlexError {
    /// Knots too far apart, too near, or no number.
    #[error("knots {knot_mm} mm apart: a plate takes 1 to 40 mm")]
    Knot {
        /// As asked.
        knot_mm: f64,
    },
    /// No plate of this outline.
    #[error(
        "the plate's outline is no closed line of a footbed's size: at most 1000 mm, with an area, every point a number"
    )]
    Shape,
    /// A load, gap or stiffness that is no number.
    #[error("a load, a gap or a stiffness is no number of its kind: check weight, material and thickness")]
    NotFinite,
    /// Nothing holds the plate.
    #[error("nothing holds the plate: it needs springs under it, not all on one line")]
    NotHeld,
    /// Contact was not found.
    #[error("the plate has not come to rest after {rounds} rounds: try knots of another distance")]
    Restless {
        /// How many were tried.
        rounds: usize,
    },
    /// A load that lies beside the plate.
    #[error("the load's {patch} lies outside the trim outline: check the stations")]
    BesideThePlate {
        /// Which patch.
        patch: &'static str,
    },
}
