//! Where the top follows a sole's relief: in the heel cup and under the arches, by their shares, and nowhere
//! ahead of the met heads. Knows no scan.

use super::places::{EDGE_INSET_MM, Places};
use super::rails::{CUP_END, ease};
use crate::curve::Outline;
use crate::frame::Point2;
use crate::ticket::Relief;

/// The top is pulled so much to a place of the relief, 1/mm^2: with a place every 6 mm waves of more than some
/// 15 mm are followed (2 pi times (6 * 6 / w)^(1/4) mm [derived]), and shorter ones smoothed away.
pub(super) const RELIEF_WEIGHT: f64 = 2.0;
/// The cup follows no higher than this, mm: above it stands its wall, which depth and width order. Less than
/// the shallowest cup. Shop's own choice.
pub const CUP_UP_TO_MM: f64 = 8.0;
/// The cup's bowl ends this far inside the outline, mm: there its wall begins.
const WALL_MM: f64 = 8.0;
/// On the lateral side nothing follows nearer to the outline than this share of its width: the foot's edge is round
/// there, and a footbed that followed it up and came down to its lateral arch would have a ridge. Shop's own choice,
/// where the lateral arch is read on the foot.
const LATERAL_SHARE: f64 = 0.22;
/// Ahead of this distance behind the met line nothing follows; full share is reached behind it by as much
/// again and half, both as shares of the foot's length. Shop's own choice.
const NOTHING_BEHIND_MET: f64 = 0.04;
const FULL_BEHIND_MET: f64 = 0.10;
/// From cup to arch the one share passes into the other over this share of the foot's length.
const PASSING: f64 = 0.08;

/// The zones in which a relief is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FollowedZone {
    /// The heel cup's bowl.
    HeelCup,
    /// Medial, lateral and transverse arch, between the cup and the met heads.
    Arch,
}

/// How far the top follows at a place where the relief is `mm` high, 0..=1, and in which zone it lies; `None` where it
/// does not follow at all.
pub fn followed(
    outline: &Outline,
    places: &Places,
    relief: &Relief,
    p: Point2,
    mm: f64,
) -> Option<(FollowedZone, f64)> {
    let length = places.foot_length_mm;
    let behind_met = (places.met_line_y(p.x) - p.y) / length;
    let inside_mm = -outline.signed_distance(p);
    let arch = ease((places.station(p.y) - CUP_END) / PASSING);
    let fading = ease((behind_met - NOTHING_BEHIND_MET) / (FULL_BEHIND_MET - NOTHING_BEHIND_MET));
    let zone = if arch < 0.5 { FollowedZone::HeelCup } else { FollowedZone::Arch };
    let in_bowl = inside_mm >= WALL_MM && mm <= CUP_UP_TO_MM;
    let from_lateral = outline.section(p.y).map_or(0.0, |(lateral, medial)| (p.x - lateral) / (medial - lateral));
    let beside_arch = zone == FollowedZone::Arch && from_lateral < LATERAL_SHARE;
    if inside_mm < EDGE_INSET_MM || beside_arch || (zone == FollowedZone::HeelCup && !in_bowl) {
        return None;
    }
    let share = (relief.heel_cup_share + arch * (relief.arch_share - relief.heel_cup_share)) * fading;
    (share > 0.0).then_some((zone, share))
}
