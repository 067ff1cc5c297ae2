//! Where the cutter's tip goes: rough, finish, perimeter, pin and frame paths over a target surface in
//! the mill frame. Knows cutters and heights; knows neither program text nor footbeds.

mod cover;
mod cutting;
mod depth;
mod finish;
mod form;
mod frame_run;
mod front;
mod heights;
pub mod letters;
mod marks;
mod metric;
mod outline;
mod passes;
mod perimeter;
mod pins;
mod reach;
mod rest;
mod rings;
mod rough;
mod sidestep;
mod stock;
mod strokes;
mod surfacing;
mod tabs;
#[cfg(test)]
mod testbed;
mod trail;
mod yardstick;

pub use cutting::{Cutting, PathError};
pub use finish::finish;
pub use frame_run::frame;
pub use marks::engraved;
pub use perimeter::{OUTWARD_MM, perimeter};
pub use pins::{PinHole, TOUCH_ABOVE_MM, pin_holes, touch_pins};
pub use reach::{Reach, reaches};
pub use rest::rest;
pub use rough::rough;
pub use yardstick::{Yardstick, yardstick};

use crate::frame::{Point2, Point3, Rect};
use crate::grid::Grid;
use crate::profile::Cutter;

/// How a move is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Motion {
    /// As fast as the machine goes, through air only.
    Rapid,
    /// At this feed, mm/min.
    Feed(f64),
    /// Not at all: the tip waits where it is, s.
    Wait(f64),
}

/// One straight move of the cutter's tip to a place in the mill frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// How it is made.
    pub motion: Motion,
    /// Where the tip ends, mm.
    pub to: Point3,
}

/// What is to be cut, in the mill frame.
#[derive(Clone, Debug)]
pub struct Target {
    /// Heights of the piece's top. Inside the outline they are the design; outside they go on as a
    /// shelf no higher than the nearest edge, far enough for every cutter's radius.
    pub surface: Grid,
    /// The trim outline, counter-clockwise, not repeated at the end.
    pub outline: Vec<Point2>,
    /// The blank, seen from above.
    pub blank: Rect,
    /// Height of the blank's top above the bed (z = 0), mm.
    pub blank_top_mm: f64,
    /// Height at which rapids in x and y are made, mm.
    pub safe_z_mm: f64,
}

/// What a program does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // page words: the order on the job sheet
pub enum Step {
    PinHoles,
    Pins,
    Rough,
    Finish,
    Rest,
    Perimeter,
    Frame,
}

impl Step {
    /// Whether it is a dry run: nothing is cut and the spindle stands.
    pub fn is_dry(self) -> bool {
        matches!(self, Step::Frame | Step::Pins)
    }
}

/// One cutter's moves for one step.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Toolpath {
    pub step: Step,
    pub cutter: Cutter,
    /// 0 for a dry run.
    pub spindle_rpm: f64,
    /// The first is a rapid to the safe height over the first place: z is to be moved before x and
    /// y, because nobody knows where the tip was. The last ends at the safe height.
    pub moves: Vec<Move>,
}
