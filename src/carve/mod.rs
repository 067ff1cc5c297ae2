//! What programs leave of a blank, and the proof that they may be run. [`Stock`] is a height map
//! that moves carve; [`prove`] carves whole programs, in the order they are run, from what their
//! text said, and holds every movement and the piece that is left to the [`Rules`].
//!
//! Knows neither who planned the moves nor the design behind the target; believes only travels that
//! were read from program text.

mod keep_out;
mod moves;
mod proof;
mod rim;
mod stock;
mod surface;
mod tabs;
mod violation;
mod walk;

#[cfg(test)]
mod brute;

pub use keep_out::KeepOut;
pub use proof::{Cut, CutFigures, Floor, Proof, Rules, Thinnest, prove};
pub use stock::{Bite, Stock};
pub use surface::FACE_MM;
pub use tabs::{Hold, Skin, Tabs};
pub use violation::{MOST_LISTED, Total, Violation, ViolationKind};

use thiserror::Error;

/// Finest lattice that is carved, mm: below it a footbed's nodes no longer fit a bench computer.
pub const FINEST_STEP_MM: f64 = 0.05;

/// Coarsest lattice that is carved, mm: beyond it a small cutter falls between the nodes.
pub const COARSEST_STEP_MM: f64 = 2.0;

/// Most nodes in a stock: a blank of 400 x 400 mm at 0.1 mm, about 130 MB.
pub const MOST_NODES: f64 = 16.1e6;

/// Why nothing could be carved; says nothing about whether the programs are good.
#[derive(Clone, Debug, PartialEq, Error)]
#[allow(missing_docs)] // the messages say what each is
pub enum CarveError {
    #[error("the lattice step is {step_mm} mm; it must lie between {FINEST_STEP_MM} and {COARSEST_STEP_MM} mm")]
    Step { step_mm: f64 },
    #[error("the blank is {width_mm} x {length_mm} x {height_mm} mm; each must be a number above 0: measure the blank")]
    Blank { width_mm: f64, length_mm: f64, height_mm: f64 },
    #[error("{nodes} nodes are needed for this blank, at most {MOST_NODES} fit: use a coarser step or a smaller blank")]
    TooLarge { nodes: f64 },
    #[error("{file} line {line}: the movement goes to a place that is not a number; write the program again")]
    Travel { file: String, line: usize },
    #[error("{file}: the cutter's {what} is {value}; it must be a number above 0: see its profile")]
    Cutter { file: String, what: &'static str, value: f64 },
    #[error("the trim outline has {points} different points; at least 3 are needed, all of them numbers")]
    Outline { points: usize },
    #[error("the trim outline reaches ({x:.1}, {y:.1}), off the blank: move the piece or use a larger blank")]
    OutlineOff { x: f64, y: f64 },
    #[error("the target has no height at ({x:.1}, {y:.1}), inside the trim outline; extend the surface")]
    NoTarget { x: f64, y: f64 },
    #[error("the underside or its least thickness has no value at ({x:.1}, {y:.1}), inside the trim outline")]
    NoFloor { x: f64, y: f64 },
    #[error(
        "a keep-out has {points} points and is {height_mm} mm high; it needs at least 3, all numbers, and a height"
    )]
    KeepOut { points: usize, height_mm: f64 },
    #[error("the rule {what} is {value}; it must be a number of 0 or more")]
    Rule { what: &'static str, value: f64 },
}
