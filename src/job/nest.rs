//! Two outlines side by side in the narrowest strip: one of them may lie the other way round, heel
//! beside toes. Knows outlines and gaps only.

use crate::curve::Outline;
use crate::frame::{Placement, Point2, Vector3};

/// Rows in which the two outlines are compared, mm: a flank that leans by one in three is then held
/// 0.08 mm too far off, and what is chosen is looked at again exactly.
const ROW_MM: f64 = 0.25;

/// Rows in a whole millimetre, the step in which pieces are moved.
const ROWS_IN_A_MM: i64 = 4;

/// How far the middles of the two may lie apart along the strip, mm: beyond a quarter of a footbed
/// the strip only grows longer.
const MOST_ALONG_MM: i64 = 70;

/// One way of laying two pieces: where each goes from where it lies, and the room that both take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Nest {
    /// Outer frame from each piece's own frame.
    pub(super) places: [Placement; 2],
    /// Extent of both in x and y, mm.
    pub(super) size_mm: [f64; 2],
    /// Whether the second lies the other way round.
    pub(super) turned: bool,
    swapped: bool,
    /// How far the second's middle lies from the first's along the strip, mm.
    along_mm: f64,
}

/// The best way of each kind - as they are or one turned, either one left - to lay two pieces
/// `gap_mm` or more apart on whole millimetres; the narrowest that is no longer than `length_mm`
/// first. `pieces` are outlines in their own frames, `bench` their placements side up, toes ahead.
pub(super) fn nests(pieces: [&Outline; 2], bench: [Placement; 2], gap_mm: f64, length_mm: f64) -> Vec<Nest> {
    let mut found: Vec<Nest> = [(false, false), (false, true), (true, false), (true, true)]
        .into_iter()
        .filter_map(|(turned, swapped)| {
            let second = if turned { bench[1].then_half_turned() } else { bench[1] };
            best(pieces, [bench[0], second], turned, swapped, gap_mm, length_mm)
        })
        .collect();
    found.sort_by(|a, b| a.rank(length_mm).total_cmp(&b.rank(length_mm)));
    found
}

/// Distance between two polygons that do not cross: at a corner of one of them. Negative when a
/// corner of one lies inside the other.
pub(super) fn apart_mm(a: &Outline, b: &Outline) -> f64 {
    let least = |from: &Outline, to: &Outline| {
        from.points().iter().map(|&p| to.signed_distance(p)).fold(f64::INFINITY, f64::min)
    };
    least(a, b).min(least(b, a))
}

/// What is compared, the gravest first; compared as one number each, in turn.
struct Rank([f64; 6]);

impl Rank {
    fn total_cmp(&self, other: &Rank) -> std::cmp::Ordering {
        let pairs = self.0.iter().zip(&other.0);
        pairs.map(|(a, b)| a.total_cmp(b)).find(|order| order.is_ne()).unwrap_or(std::cmp::Ordering::Equal)
    }
}

impl Nest {
    /// Too long, wide, long; then plain lays before odd ones.
    fn rank(&self, length_mm: f64) -> Rank {
        let [width, length] = self.size_mm.map(|mm| (mm - 1e-6).ceil());
        let flag = |odd: bool| if odd { 1.0 } else { 0.0 };
        let too_long = (length - length_mm).max(0.0);
        Rank([too_long, width, length, flag(self.turned), flag(self.swapped), self.along_mm.abs()])
    }
}

/// The best of all shifts along the strip.
fn best(
    pieces: [&Outline; 2],
    placed: [Placement; 2],
    turned: bool,
    swapped: bool,
    gap_mm: f64,
    length_mm: f64,
) -> Option<Nest> {
    let outlines = [pieces[0].placed(placed[0]), pieces[1].placed(placed[1])];
    let [left, right] = if swapped { [&outlines[1], &outlines[0]] } else { [&outlines[0], &outlines[1]] };
    let grown = left.offset(gap_mm).ok()?.into_iter().next()?;
    let (flank, face) = (Profile::of(&grown, f64::max), Profile::of(right.points(), f64::min));
    let middle = |o: &Outline| 0.5 * (o.bounds().y0 + o.bounds().y1);
    let level = middle(left) - middle(right);
    let shifts = (-MOST_ALONG_MM..=MOST_ALONG_MM).filter_map(|k| {
        let along = level.round() as i64 + k;
        let across = flank.clear_of(&face, along * ROWS_IN_A_MM)?.ceil();
        Some((along as f64, across))
    });
    let nest = |(along, across): (f64, f64)| {
        let move_right = Vector3::new(across, along, 0.0);
        let places = if swapped {
            [placed[0].then_moved(move_right), placed[1]]
        } else {
            [placed[0], placed[1].then_moved(move_right)]
        };
        let (a, b) = (left.bounds(), right.bounds());
        let extent = |a0: f64, a1: f64, b0: f64, b1: f64| a1.max(b1) - a0.min(b0);
        let width = extent(a.x0, a.x1, b.x0 + across, b.x1 + across);
        let length = extent(a.y0, a.y1, b.y0 + along, b.y1 + along);
        Nest { places, size_mm: [width, length], turned, swapped, along_mm: along - level }
    };
    let (along, mut across) = shifts.min_by(|&a, &b| nest(a).rank(length_mm).total_cmp(&nest(b).rank(length_mm)))?;
    let apart = |across: f64| {
        let [a, b] = nest((along, across)).places;
        apart_mm(&pieces[0].placed(a), &pieces[1].placed(b))
    };
    while apart(across - 1.0) >= gap_mm {
        across -= 1.0;
    }
    while apart(across) < gap_mm {
        across += 1.0;
    }
    Some(nest((along, across)))
}

/// How far a polygon reaches to one side in each row.
struct Profile {
    first_row: i64,
    reach: Vec<f64>,
}

impl Profile {
    /// The furthest by `further` (greatest or least x) over each row's whole height.
    fn of(points: &[Point2], further: fn(f64, f64) -> f64) -> Profile {
        let row = |y: f64| (y / ROW_MM).floor() as i64;
        let ys = || points.iter().map(|p| p.y);
        let first_row = row(ys().fold(f64::INFINITY, f64::min));
        let rows = row(ys().fold(f64::NEG_INFINITY, f64::max)) - first_row + 1;
        let mut reach = vec![f64::NAN; rows.max(0) as usize];
        for (a, b) in points.iter().zip(points.iter().cycle().skip(1)) {
            let (low, high) = if a.y <= b.y { (a, b) } else { (b, a) };
            let x_at = |y: f64| {
                let t = if high.y > low.y { ((y - low.y) / (high.y - low.y)).clamp(0.0, 1.0) } else { 0.0 };
                low.x + t * (high.x - low.x)
            };
            for r in row(low.y)..=row(high.y) {
                let Some(here) = reach.get_mut((r - first_row) as usize) else { continue };
                let (y0, y1) = (r as f64 * ROW_MM, (r + 1) as f64 * ROW_MM);
                // NaN, of a row not yet seen, gives way to any number.
                for x in [x_at(y0), x_at(y1)] {
                    *here = further(*here, x);
                }
                if high.y == low.y {
                    *here = further(*here, high.x);
                }
            }
        }
        Profile { first_row, reach }
    }

    /// How far `other`, moved up by `rows`, must move in x to stand clear of this one; `None` where
    /// they have no row in common.
    fn clear_of(&self, other: &Profile, rows: i64) -> Option<f64> {
        let start = other.first_row + rows - self.first_row;
        let pairs = self.reach.iter().enumerate().filter_map(|(k, mine)| {
            let theirs = other.reach.get(usize::try_from(k as i64 - start).ok()?)?;
            Some(mine - theirs)
        });
        pairs.reduce(f64::max)
    }
}
