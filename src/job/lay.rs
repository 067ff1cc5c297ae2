//! Where the footbeds of a job lie in their blanks, clamping after clamping. Knows outlines and
//! blanks; knows neither heights nor paths.

use super::design::Design;
use crate::curve::Outline;
use crate::frame::{Placement, Side, Vector3, bench_from_foot};
use crate::profile::Blank;
use crate::ticket::{Make, Underside};

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
    /// The foot frame in the mill frame while the underside is cut: the blank is turned over, its
    /// underside up at z = the blank's height. `None` when no program cuts the underside.
    pub under: Option<Placement>,
}

impl Lay {
    /// The foot frame in the mill frame while this face is cut. What is never turned over lies as
    /// for its top.
    pub fn mill_from_foot(&self, face: Face) -> Placement {
        match face {
            Face::Top => self.top,
            Face::Under => self.under.unwrap_or(self.top),
        }
    }
}

/// Lays every foot of a job, in the order they are given: each in a blank of its own.
pub fn lay(make: &Make, designs: &[&Design]) -> Vec<Lay> {
    let alone = |design: &&Design| {
        let side = design.order.side;
        let top = centred(&design.footbed.outline, side, &make.blank);
        let under = (make.underside == Underside::Relieved).then(|| turned(top, &make.blank));
        Lay { side, top, under }
    };
    designs.iter().map(alone).collect()
}

/// What lies in the mill frame as `lay`, after the blank is turned over about its long middle line:
/// (x, y, z) becomes (width - x, y, height - z), a rotation. The blank keeps its place, and what lay
/// on the bed is up. Turned twice, it lies as before.
pub fn turned(lay: Placement, blank: &Blank) -> Placement {
    lay.then_turned_over().then_moved(Vector3::new(blank.width_mm, 0.0, blank.height_mm))
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
