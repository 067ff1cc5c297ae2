//! Where side, toe arrow and code are engraved: in the waste beside each piece, out of reach of
//! every other cut. Knows outlines, reaches and clamps; knows no paths.

use super::lay::{Lay, distance_mm};
use crate::curve::Outline;
use crate::frame::{Point2, Rect};
use crate::kernel::Shape;
use crate::path::letters::{self, ARROW_AHEAD, ARROW_UP};
use crate::path::{Cutting, Reach, reaches};
use crate::profile::Blank;
use crate::ticket::Make;

/// How deep the strokes lie below the blank's top, mm: seen and felt in foam (shop's own choice).
const DEPTH_MM: f64 = 0.6;
/// Where a blank that was not measured is low, so much of the depth is left, mm.
const LEAST_DEPTH_MM: f64 = 0.1;
/// Letters are so many strokes high: below four their counters close (own trials on paper).
const STROKES_HIGH: [f64; 2] = [5.0, 4.0];
/// No letters lower than this, mm, however fine the cutter.
const LOWEST_MM: f64 = 5.0;
/// Kept free around the strokes, mm: of the blank's edge, of other cuts and of clamps.
const CLEAR_MM: f64 = 2.0;
/// Places are tried this far apart, mm.
const TRY_MM: f64 = 2.0;
/// A code of more letters is told by its last part.
const SHORT_LETTERS: usize = 4;

/// What is engraved beside one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Side, arrow, and as much of the code as found room.
    pub words: String,
    /// Strokes in program coordinates, mm.
    pub strokes: Vec<Vec<Point2>>,
    /// Height of the tip, mm.
    pub z_mm: f64,
    /// What the strokes take up, their width included.
    pub rect: Rect,
}

/// A mark for each lay that finds room for one, `outlines` being the pieces as they lie.
pub(super) fn marks(make: &Make, code: &str, lays: &[Lay], outlines: &[Outline]) -> Vec<Option<Mark>> {
    let mut taken: Vec<Rect> = vec![];
    let each = lays.iter().enumerate().map(|(k, lay)| {
        let mark = Room { make, outlines, own: k, taken: &taken, stroke_mm: stroke_mm(make) }.best(code, lay);
        taken.extend(mark.as_ref().map(|mark| mark.rect));
        mark
    });
    each.collect()
}

/// Height of the tip over the bed.
fn z_mm(blank: &Blank) -> f64 {
    blank.height_mm - depth_mm(blank)
}

fn depth_mm(blank: &Blank) -> f64 {
    let scatter = if blank.measured { 0.0 } else { blank.scatter_mm };
    DEPTH_MM.max(scatter + LEAST_DEPTH_MM)
}

/// Width of a stroke at the blank's top, mm: where the cutter's form has risen by the depth.
fn stroke_mm(make: &Make) -> f64 {
    const HALVINGS: usize = 40;
    let shape: Shape = make.finishing.shape;
    let depth = depth_mm(&make.blank);
    let (mut low, mut high) = (0.0, shape.radius());
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if shape.height_at(middle) <= depth { low = middle } else { high = middle }
    }
    2.0 * low
}

/// Where marks may go.
struct Room<'a> {
    make: &'a Make,
    outlines: &'a [Outline],
    own: usize,
    taken: &'a [Rect],
    stroke_mm: f64,
}

impl Room<'_> {
    /// As much of the code as finds room; large letters before small ones.
    fn best(&self, code: &str, lay: &Lay) -> Option<Mark> {
        let short = short(code);
        let codes = [code, short, ""].into_iter().enumerate().filter(|(k, c)| *k != 1 || *c != code);
        let sizes = STROKES_HIGH.map(|n| (n * self.stroke_mm).max(LOWEST_MM));
        codes
            .flat_map(|(_, code)| sizes.into_iter().map(move |size| (code, size)))
            .flat_map(|(code, size)| [false, true].map(|upright| (code, size, upright)))
            .find_map(|(code, size, upright)| self.placed(code, size, upright, lay))
    }

    /// The place nearest to its own piece.
    fn placed(&self, code: &str, height: f64, upright: bool, lay: &Lay) -> Option<Mark> {
        let arrow = if upright { ARROW_AHEAD } else { ARROW_UP };
        let gap = if code.is_empty() { "" } else { " " };
        let text = format!("{}{arrow}{gap}{code}", lay.side.letter());
        let size = letters::size_mm(&text, height);
        let (width, length) = if upright { (size.y, size.x) } else { (size.x, size.y) };
        let half = 0.5 * self.stroke_mm;
        let blank = &self.make.blank;
        let edge = half + CLEAR_MM;
        let steps = |room: f64| (0..=(room / TRY_MM).floor().max(-1.0) as i64).map(|k| k as f64 * TRY_MM);
        let rooms = [blank.width_mm - width - 2.0 * edge, blank.length_mm - length - 2.0 * edge];
        if rooms.iter().any(|room| *room < 0.0) {
            return None;
        }
        let places = steps(rooms[0]).flat_map(|x| steps(rooms[1]).map(move |y| Point2::new(edge + x, edge + y)));
        let free = places.filter_map(|at| {
            let rect = Rect { x0: at.x, y0: at.y, x1: at.x + width, y1: at.y + length }.grown(half);
            Some((self.distance_if_free(rect)?, rect))
        });
        let (_, rect) = free.min_by(|a, b| a.0.total_cmp(&b.0))?;
        let middle = Point2::new(0.5 * (rect.x0 + rect.x1), 0.5 * (rect.y0 + rect.y1));
        let turn = if lay.half_turned() { -1.0 } else { 1.0 };
        let put = |p: &Point2| {
            let (x, y) = (p.x - 0.5 * size.x, p.y - 0.5 * size.y);
            let (x, y) = if upright { (-y, x) } else { (x, y) };
            Point2::new(middle.x + turn * x, middle.y + turn * y)
        };
        let strokes = letters::strokes(&text, height).iter().map(|stroke| stroke.iter().map(put).collect()).collect();
        let words = format!("{}{ARROW_UP}{gap}{code}", lay.side.letter());
        Some(Mark { words, strokes, z_mm: z_mm(blank), rect })
    }

    /// Distance from the own piece where nothing else is cut or stands, and the other piece is not
    /// nearer.
    fn distance_if_free(&self, rect: Rect) -> Option<f64> {
        let cutting = Cutting::of(self.make);
        let reach = reaches(&cutting).iter().map(Reach::edge_mm).fold(0.0, f64::max);
        let apart = |a: Rect, b: Rect, by: f64| {
            a.x0 - b.x1 >= by || b.x0 - a.x1 >= by || a.y0 - b.y1 >= by || b.y0 - a.y1 >= by
        };
        let cutter = &self.make.finishing;
        let widest = 0.5 * cutter.holder_diameter_mm.max(cutter.shank_diameter_mm).max(2.0 * cutter.shape.radius());
        let clear = self.taken.iter().all(|other| apart(rect, *other, CLEAR_MM))
            && self.make.clamps.iter().all(|clamp| apart(rect, clamp.rect, widest + CLEAR_MM));
        if !clear {
            return None;
        }
        let near = |outline: &Outline| {
            let by = reach + CLEAR_MM;
            // Most places lie over a piece or far from it: the box tells many of them.
            let middle = Point2::new(0.5 * (rect.x0 + rect.x1), 0.5 * (rect.y0 + rect.y1));
            if outline.contains(middle) { f64::NEG_INFINITY } else { distance_mm(outline, rect) - by }
        };
        let distances: Vec<f64> = self.outlines.iter().map(near).collect();
        let own = distances.get(self.own).copied()?;
        distances.iter().all(|d| *d >= 0.0 && *d >= own).then_some(own)
    }
}

/// The part of a code after its last sign, if it has one and is short; else its last letters.
fn short(code: &str) -> &str {
    let last = code.rsplit(['-', '_']).next().unwrap_or(code);
    let cut = last.char_indices().rev().nth(SHORT_LETTERS - 1).map_or(0, |(at, _)| at);
    last.get(cut..).unwrap_or(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_told_by_its_last_part() {
        assert_eq!((short("PATROL-07"), short("A_B-123456"), short("x"), short("")), ("07", "3456", "x", ""));
    }
}
