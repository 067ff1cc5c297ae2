//! Program text in the strict common part of RS274/NGC: moves become text, and text, read back by
//! a reader that shares no type with the writer, becomes timed moves with line numbers.

use crate::frame::Point3;

/// A program as read from its text.
#[derive(Clone, Debug)]
pub struct Program {
    /// Every movement, in order.
    pub travels: Vec<Travel>,
    /// Comments with their line numbers (from 1).
    pub comments: Vec<(usize, String)>,
    /// Lines in the text.
    pub lines: usize,
}

/// One straight movement of the tip, as the text orders it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Travel {
    /// Line in the text, from 1.
    pub line: usize,
    pub rapid: bool,
    pub from: Point3,
    pub to: Point3,
    /// Ordered feed; unused by rapids.
    pub feed_mm_min: f64,
    /// 0 while the spindle is off.
    pub spindle_rpm: f64,
}
