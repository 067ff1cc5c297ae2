//! Where the footbeds of a job lie in their blanks, clamping after clamping. Knows outlines and
//! blanks; knows neither heights nor paths.

use super::design::Design;
use crate::curve::Outline;
use crate::frame::{Placement, Side, Vector3, bench_from_foot};
use crate::profile::Blank;
use crate::ticket::Make;

/// The side of the footbed that a program cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    /// The side the foot stands on.
    Top,
    /// The side that lies on the boot board.
    Under,
}

impl Face {
    /// The word for it in file names and in `job.json`.
    pub fn name(self) -> &'static str {
        match self {
            Face::Top => "top",
            Face::Under => "under",
        }
    }
}

/// How one footbed lies in its blank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lay {
    /// Which foot.
    pub side: Side,
    /// The foot frame in the mill frame while the top is cut: underside on the bed, z = 0.
    pub top: Placement,
}

impl Lay {
    /// The foot frame in the mill frame while this face is cut.
    pub fn mill_from_foot(&self, face: Face) -> Placement {
        match face {
            Face::Top | Face::Under => self.top,
        }
    }
}

/// Lays every foot of a job, in the order they are given: each in a blank of its own.
pub fn lay(make: &Make, designs: &[&Design]) -> Vec<Lay> {
    let alone = |design: &&Design| {
        let side = design.order.side;
        Lay { side, top: centred(&design.footbed.outline, side, &make.blank) }
    };
    designs.iter().map(alone).collect()
}

/// The outline's box centred in the blank, to the whole millimetre, so that a technician can
/// measure it.
fn centred(outline: &Outline, side: Side, blank: &Blank) -> Placement {
    let bench = bench_from_foot(side);
    let bounds = outline.placed(bench).bounds();
    let centre = |lo: f64, hi: f64, size: f64| (0.5 * (size - lo - hi)).round();
    bench.then_moved(Vector3::new(
        centre(bounds.x0, bounds.x1, blank.width_mm),
        centre(bounds.y0, bounds.y1, blank.length_mm),
        0.0,
    ))
}
