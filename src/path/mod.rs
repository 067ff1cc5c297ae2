//! Where the cutter's tip goes: rough, finish, perimeter and frame paths over a target surface in
//! the mill frame. Knows cutters and heights; knows neither program text nor footbeds.

use crate::frame::Point3;

/// How a move is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Motion {
    /// As fast as the machine goes, through air only.
    Rapid,
    /// At this feed, mm/min.
    Feed(f64),
}

/// One straight move of the cutter's tip to a place in the mill frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// How it is made.
    pub motion: Motion,
    /// Where the tip ends, mm.
    pub to: Point3,
}
