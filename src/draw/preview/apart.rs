//! Left against right: both footbeds laid on each other in the foot frame, in which they are mirror
//! images already, and by how much the left one is higher.

use svg::node::element::{ClipPath, Definitions, Group, Path, SVG};

use crate::draw::data::DrawnFoot;
use crate::draw::ink::{self, Anchor};
use crate::draw::plan::{Block, inside_nodes};
use crate::frame::{Point2, Rect};
use crate::grid::contour::{loops_above, simplified};
use crate::grid::{Grid, Lattice};

/// Between lines of equal difference, mm: half of the least that is changed at a bench, 1 mm.
const LEVEL_MM: f64 = 0.5;
/// More lines than this on either side of zero are not drawn.
const MOST_LEVELS: i32 = 24;
/// A difference of this much has the full tone, mm.
const FULL_MM: f64 = 3.0;
/// Paper around the picture, mm.
const MARGIN_MM: f64 = 4.0;

/// The picture, and in words what it shows.
pub struct Apart {
    pub svg: String,
    pub words: String,
}

/// Draws the left foot against the right at 1:`divisor`.
pub fn apart(left: &DrawnFoot, right: &DrawnFoot, divisor: f64) -> Option<Apart> {
    let (a, b) = (Rect::around(left.outline)?, Rect::around(right.outline)?);
    let all = Rect { x0: a.x0.min(b.x0), y0: a.y0.min(b.y0), x1: a.x1.max(b.x1), y1: a.y1.max(b.y1) };
    let lattice = Lattice::covering(all.grown(2.0), 1.0);
    let difference = Grid::from_fn(lattice, |p| (left.top)(p) - (right.top)(p));
    let both: Vec<bool> = inside_nodes(left.outline, &lattice)
        .into_iter()
        .zip(inside_nodes(right.outline, &lattice))
        .map(|(l, r)| l && r)
        .collect();
    let scale = 1.0 / divisor;
    let at = |p: Point2| Point2::new(MARGIN_MM + scale * (p.x - all.x0), MARGIN_MM + scale * (all.y1 - p.y));
    let (width, height) = (2.0 * MARGIN_MM + scale * all.width(), 2.0 * MARGIN_MM + scale * all.height());
    let (high, low) = extremes(&difference, &both)?;
    let line = |points: &[Point2]| simplified(&points.iter().map(|p| at(*p)).collect::<Vec<_>>(), 0.01);
    let outlines = [line(left.outline), line(right.outline)];
    let group = maps("apart", &difference, &outlines, &at);
    let group = group.add(ink::curve("w50 open", &outlines[0], true));
    let group = group.add(ink::curve("w25 open hidden", &outlines[1], true));
    let group = [high, low].into_iter().fold(group, |g, (p, mm)| g.add(number(at(p), mm)));
    let words = "Left footbed against the right one, mirrored: lines of equal difference in height";
    let drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing apart")
        .set("role", "img")
        .set("aria-label", words);
    let told = format!("left higher by {} at most, lower by {} at most", told(high.1), told(-low.1));
    Some(Apart { svg: drawing.add(group).to_string(), words: told })
}

/// Less than this is no change, mm: what rounding does to a value.
const NO_CHANGE_MM: f64 = 0.005;

/// Where a footbed is higher or lower than it was saved, laid over its plan: tints with lines of equal change, and
/// the most and the least of it as numbers. `None` when nothing changed.
pub fn change(b: &Block, saved: &DrawnFoot) -> Option<(Group, Group)> {
    let lattice = b.heights.lattice;
    let difference = Grid::from_fn(lattice, |p| (b.foot.top)(p) - (saved.top)(p));
    let both: Vec<bool> = inside_nodes(b.foot.outline, &lattice)
        .into_iter()
        .zip(inside_nodes(saved.outline, &lattice))
        .map(|(now, then)| now && then)
        .collect();
    let (high, low) = extremes(&difference, &both)?;
    if high.1.max(-low.1) < NO_CHANGE_MM && b.foot.outline == saved.outline {
        return None;
    }
    let line = |points: &[Point2]| simplified(&points.iter().map(|p| b.at(*p)).collect::<Vec<_>>(), 0.01);
    let outlines = [line(b.foot.outline), line(saved.outline)];
    let name = format!("change-{}", b.foot.side.letter());
    let map = ink::group("map change").add(maps(&name, &difference, &outlines, &|p| b.at(p)));
    let most = [high, low].into_iter().filter(|(_, mm)| mm.abs() >= NO_CHANGE_MM);
    let numbers = most.fold(ink::group("map change"), |g, (p, mm)| g.add(number(b.at(p), mm)));
    Some((map, numbers))
}

fn told(mm: f64) -> String {
    format!("{:.2}", mm.max(0.0))
}

/// A cross with a signed amount over it.
pub fn number(at: Point2, mm: f64) -> Group {
    let cross = [Point2::new(1.1, 0.0), Point2::new(0.0, 1.1)].map(|d| ink::line("w25", at - d.coords, at + d.coords));
    let words = format!("{}{:.2}", if mm >= 0.0 { "+" } else { "\u{2212}" }, mm.abs());
    cross.into_iter().fold(Group::new(), Group::add).add(ink::label(
        "t b halo",
        Point2::new(at.x, at.y - 1.6),
        Anchor::Middle,
        words,
    ))
}

/// The places where the left is highest and lowest against the right.
fn extremes(difference: &Grid, both: &[bool]) -> Option<((Point2, f64), (Point2, f64))> {
    let nx = difference.lattice.nx;
    let each = || difference.z.iter().zip(both).enumerate().filter(|(_, (_, inside))| **inside);
    let found = |(k, (z, _)): (usize, (&f64, &bool))| (difference.lattice.node(k % nx, k / nx), *z);
    let high = each().max_by(|a, b| a.1.0.total_cmp(b.1.0)).map(found)?;
    let low = each().min_by(|a, b| a.1.0.total_cmp(b.1.0)).map(found)?;
    Some((high, low))
}

/// Tints and lines of equal difference, where both footbeds are.
fn maps(name: &str, difference: &Grid, outlines: &[Vec<Point2>; 2], at: &impl Fn(Point2) -> Point2) -> Group {
    let inner = ClipPath::new().set("id", format!("{name}-inner")).add(ink::curve("", &outlines[1], true));
    let outer = ClipPath::new()
        .set("id", format!("{name}-both"))
        .add(ink::curve("", &outlines[0], true).set("clip-path", format!("url(#{name}-inner)")));
    let (low, high) = difference.range();
    let first = (low / LEVEL_MM).ceil().max(f64::from(-MOST_LEVELS)) as i32;
    let last = (high / LEVEL_MM).floor().min(f64::from(MOST_LEVELS)) as i32;
    let mut tint = ink::group("tint");
    let mut lines = ink::group("lines");
    // Painted from the lowest up, each level over the last.
    let ground = ink::curve(if first > -1 { "neutral" } else { "" }, &outlines[0], true);
    tint = tint.add(if first > -1 { ground } else { ground.set("fill", tone((f64::from(first) - 0.5) * LEVEL_MM)) });
    // Zero is no line: where both are flat it would be drawn around rounding.
    for k in (first..=last).filter(|k| *k != 0) {
        let level = f64::from(k) * LEVEL_MM;
        let d: String = loops_above(difference, level)
            .iter()
            .map(|l| simplified(&l.iter().map(|p| at(*p)).collect::<Vec<_>>(), 0.02))
            .map(|l| ink::path_data(&l, true, ink::coarse))
            .collect();
        let class = if k % 2 == 0 { "contour index" } else { "contour" };
        let area = Path::new().set("d", d.as_str()).set("fill-rule", "evenodd");
        // Between the lines on both sides of zero there is bare paper.
        tint = tint.add(if k == -1 {
            area.set("class", "neutral")
        } else {
            area.set("fill", tone(level + LEVEL_MM / 2.0))
        });
        lines = lines.add(Path::new().set("class", class).set("d", d));
    }
    let maps = Group::new().add(tint).add(lines).set("clip-path", format!("url(#{name}-both)"));
    Group::new().add(Definitions::new().add(inner).add(outer)).add(maps)
}

/// From violet (left lower) through paper to orange (left higher): five classes of the scheme PuOr
/// (Harrower & Brewer 2003, The Cartographic Journal 40, doi 10.1179/000870403235002042; values
/// [from memory]), which readers who confuse red and green tell apart.
fn tone(mm: f64) -> String {
    const ENDS: [[f64; 3]; 5] =
        [[94.0, 60.0, 153.0], [178.0, 171.0, 210.0], [247.0, 247.0, 247.0], [253.0, 184.0, 99.0], [230.0, 97.0, 1.0]];
    let place = ((mm / FULL_MM).clamp(-1.0, 1.0) + 1.0) * 2.0;
    let k = (place.floor() as usize).min(3);
    let t = place - k as f64;
    let byte = |c: usize| (ENDS[k][c] + (ENDS[k + 1][c] - ENDS[k][c]) * t).round() as u8;
    format!("#{:02x}{:02x}{:02x}", byte(0), byte(1), byte(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;
    use crate::frame::Side;

    #[test]
    fn a_constant_difference_is_told_and_equal_feet_differ_by_nothing() {
        let sample = Sample::of_length(270.0);
        let (low, high) = (|p: Point2| sample.top(p), |p: Point2| sample.top(p) + 0.75);
        let flat = |_: Point2| 0.0;
        let (left, right) = (sample.foot(Side::Left, &high, &flat), sample.foot(Side::Right, &low, &flat));
        let seen = apart(&left, &right, 3.0).expect("a picture");
        assert_eq!(seen.words, "left higher by 0.75 at most, lower by 0.00 at most");
        let twin = sample.foot(Side::Left, &low, &flat);
        let seen = apart(&twin, &right, 3.0).expect("a picture");
        assert_eq!(seen.words, "left higher by 0.00 at most, lower by 0.00 at most");
    }

    #[test]
    fn tones_run_from_violet_to_orange() {
        assert_eq!(tone(-9.0), "#5e3c99");
        assert_eq!(tone(0.0), "#f7f7f7");
        assert_eq!(tone(9.0), "#e66101");
    }
}
