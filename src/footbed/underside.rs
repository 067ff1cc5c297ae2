//! The side that lies on the boot board: flat, or hollowed under the arch so that the flex zone is
//! left as thick as asked.

use super::places::Places;
use crate::curve::Outline;
use crate::frame::Point2;

/// Walls kept standing between the hollow and the outline, mm. Shop's own choice.
const WALL_MM: f64 = 8.0;
/// Within this distance of its edge the hollow comes down to the base plane, mm.
const FILLET_MM: f64 = 10.0;
/// So far inside the outline the hollow is as deep as it may be, mm.
pub(super) const INSIDE_MM: f64 = WALL_MM + FILLET_MM;
/// A hollow deeper than this keeps the asked thickness exactly; shallower places keep more, so
/// that the hollow starts without a crease, mm.
const START_MM: f64 = 1.0;
/// The stabiliser's wall falls over this share of the hollow's width.
const STABILISER_FALL: f64 = 0.12;

/// How the underside is shaped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Underside {
    /// On the base plane everywhere.
    Flat,
    /// Hollowed so that `left_mm` stays between top and underside.
    Relieved {
        /// Thickness that is left, mm.
        left_mm: f64,
        /// Share of the hollow's width that is filled back from the medial wall, 0..=1.
        stabiliser_share: f64,
    },
}

impl Underside {
    /// Height of the underside above the base plane at `p`, under a top of height `top_mm`.
    pub(super) fn height(&self, outline: &Outline, places: &Places, p: Point2, top_mm: f64) -> f64 {
        self.height_inside(places, p, top_mm, || outline.section(p.y), || -outline.signed_distance(p))
    }

    /// The same where the outline's section at this place and the distance inside it are known or cheaply found; more than
    /// [`INSIDE_MM`] need not be told apart.
    pub(super) fn height_inside(
        &self,
        places: &Places,
        p: Point2,
        top_mm: f64,
        section: impl FnOnce() -> Option<(f64, f64)>,
        inside_mm: impl FnOnce() -> f64,
    ) -> f64 {
        let Underside::Relieved { left_mm, stabiliser_share } = *self else { return 0.0 };
        let hollow = hollow_depth(top_mm - left_mm);
        if hollow == 0.0 {
            return 0.0;
        }
        let along = along(places, p);
        if along == 0.0 {
            return 0.0;
        }
        let from_wall = ease((inside_mm() - WALL_MM) / FILLET_MM);
        if from_wall == 0.0 {
            return 0.0;
        }
        hollow * (along * (1.0 - filled(section, p.x, stabiliser_share))) * from_wall
    }
}

/// The depth that may go: all that is above the thickness to leave, eased in over [`START_MM`] by
/// the cubic with matching slopes. Never more than `spare_mm`, so never thinner than asked.
fn hollow_depth(spare_mm: f64) -> f64 {
    let u = spare_mm / START_MM;
    if u <= 0.0 {
        0.0
    } else if u >= 1.0 {
        spare_mm
    } else {
        START_MM * u * u * (2.0 - u)
    }
}

/// 1 in the flex zone, 0 under the heel post and the forefoot.
fn along(places: &Places, p: Point2) -> f64 {
    let behind = ease((p.y - places.heel_post_front_y()) / FILLET_MM);
    let ahead = ease((places.met_line_y(p.x) - FILLET_MM - p.y) / FILLET_MM);
    behind * ahead
}

/// 1 where the stabiliser fills the hollow back; `x` is on a section from its lateral to its medial edge.
fn filled(section: impl FnOnce() -> Option<(f64, f64)>, x: f64, share: f64) -> f64 {
    if share <= 0.0 {
        return 0.0;
    }
    let Some((x0, x1)) = section() else { return 1.0 };
    let from_medial = (x1 - WALL_MM - x) / (x1 - x0 - 2.0 * WALL_MM).max(1.0);
    1.0 - ease((from_medial - share) / STABILISER_FALL)
}

fn ease(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
