//! Stands a found foot on its three contacts, heel, first and fifth met head, its long axis along y: the
//! frame in which it is measured. Knows no side but the sign it is handed, and no loading.

use super::search::Lying;
use super::sole::{Edges, lowest};
use crate::frame::{Point2, Point3, Side, Vector3};

/// A foot in a frame of its own: x to the medial side, y to the toes from the rear of the heel, z up from the
/// plane through its three contacts; mm.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    pub(super) points: Vec<Point3>,
    /// Unit vectors in the scan's own frame: to the medial side, to the toes, up.
    pub(super) axes: [Vector3; 3],
    /// The three contacts: heel, first and fifth met head.
    pub(super) contacts: [Point3; 3],
    pub(super) edges: Edges,
}

/// Where heel and ball are cut to find the long axis, as shares of the length: the widest of the heel pad and
/// the middle of the two met bulges.
const HEEL_CUT: [f64; 2] = [0.12, 0.20];
const BALL_CUT: [f64; 2] = [0.60, 0.76];
/// The met heads' middles lie this share of the ball's width inside its edges [from memory], the same
/// share as on a footbed.
pub(super) const MET_INSET: f64 = 0.15;
/// A contact is looked for this far around its place, as a share of the length.
const CONTACT_AROUND: f64 = 0.055;
/// The frame is found in rounds, each from the landmarks of the last: three leave less than 0.01 degrees.
const ROUNDS: usize = 5;

/// Stands the foot of this side; `None` when heel or met heads are not there.
pub(super) fn stand(points: &[Point3], lying: &Lying, side: Side) -> Option<Standing> {
    // Seen from above with the toes ahead, a left foot's medial side is on the right.
    let medial = match side {
        Side::Left => 1.0,
        Side::Right => -1.0,
    };
    let mut axes = [lying.right * medial, lying.ahead, lying.up];
    for round in 0..=ROUNDS {
        let standing = in_axes(points, axes)?;
        if round == ROUNDS {
            return Some(standing);
        }
        axes = better(&standing)?;
    }
    None
}

/// The foot in these axes, its heel's rear at y = 0, the middle of the heel at x = 0, its contacts at the mean
/// height 0.
pub(super) fn in_axes(points: &[Point3], axes: [Vector3; 3]) -> Option<Standing> {
    let turned = |p: &Point3| Point3::from(axes.map(|axis| axis.dot(&p.coords)));
    let mut points: Vec<Point3> = points.iter().map(turned).collect();
    let floor = points.iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
    points.iter_mut().for_each(|p| p.z -= floor);
    let edges = Edges::of(&points)?;
    let rear = edges.rear_mm;
    let heel = edges.middle(HEEL_CUT)?;
    points.iter_mut().for_each(|p| (p.x, p.y) = (p.x - heel, p.y - rear));
    let edges = edges.moved(-heel, -rear);
    let contacts = contacts(&points, &edges)?;
    let normal = (contacts[1] - contacts[0]).cross(&(contacts[2] - contacts[0]));
    let height =
        |p: &Point3| contacts[0].z - (normal.x * (p.x - contacts[0].x) + normal.y * (p.y - contacts[0].y)) / normal.z;
    let level = height(&Point3::new(0.0, 0.4 * edges.length_mm, 0.0));
    if !level.is_finite() {
        return None;
    }
    points.iter_mut().for_each(|p| p.z -= level);
    let contacts = contacts.map(|p| Point3::new(p.x, p.y, p.z - level));
    Some(Standing { points, axes, contacts, edges })
}

/// Where heel and met heads touch the floor.
fn contacts(points: &[Point3], edges: &Edges) -> Option<[Point3; 3]> {
    let length = edges.length_mm;
    let heel_y = 0.15 * length;
    let inset = MET_INSET * edges.ball_width_mm();
    let places = [
        Point2::new(0.0, heel_y),
        Point2::new(edges.medial.x - inset, edges.medial.y),
        Point2::new(edges.lateral.x + inset, edges.lateral.y),
    ];
    let found = places.map(|place| lowest(points, place, CONTACT_AROUND * length));
    Some([found[0]?, found[1]?, found[2]?])
}

/// Axes through this foot's landmarks.
fn better(standing: &Standing) -> Option<[Vector3; 3]> {
    let [heel, first, fifth] = standing.contacts;
    let normal = (first - heel).cross(&(fifth - heel)).try_normalize(0.0)?;
    let up = if normal.z < 0.0 { -normal } else { normal };
    let edges = &standing.edges;
    let ball = edges.middle(BALL_CUT)?;
    let along =
        Vector3::new(ball, 0.5 * (BALL_CUT[0] + BALL_CUT[1] - HEEL_CUT[0] - HEEL_CUT[1]) * edges.length_mm, 0.0);
    let ahead = (along - up * along.dot(&up)).try_normalize(0.0)?;
    // A right-handed turn keeps a mirrored frame mirrored.
    let aside = ahead.cross(&up);
    let whole = |v: Vector3| standing.axes[0] * v.x + standing.axes[1] * v.y + standing.axes[2] * v.z;
    Some([aside, ahead, up].map(whole))
}
