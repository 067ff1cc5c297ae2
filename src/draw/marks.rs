//! What is marked on a plan: bevel, tabs, landmarks, cutting planes, widths, side letter, balloons.

use crate::grid::contour::simplified;
use svg::node::element::Group;

use super::depths;
use super::dimension;
use super::ink::{self, Anchor};
use super::notes::{self, Numbered};
use super::plan::{Block, LATERAL_MM, crossings_at};
use crate::frame::Point2;
use crate::value::Value;

/// The bevel line, dashed.
pub fn bevel(b: &Block, group: Group) -> Group {
    match &b.foot.bevel {
        Some(bevel) => {
            let line: Vec<Point2> = bevel.line.iter().map(|p| b.at(*p)).collect();
            group.add(ink::curve("w13 dash open", &simplified(&line, 0.02), true))
        }
        None => group,
    }
}

/// The edge of the hollow in the underside, dashed as hidden edges are.
pub fn hollow(b: &Block, group: Group) -> Group {
    depths::hollow(b.foot).into_iter().fold(group, |group, edge| {
        let line: Vec<Point2> = edge.iter().map(|p| b.at(*p)).collect();
        group.add(ink::curve("w25 hidden", &simplified(&line, 0.02), true))
    })
}

/// Tabs as short thick strokes outward from the outline.
pub fn tabs(b: &Block, group: Group) -> Group {
    let middle = b.at(Point2::new((b.rect.x0 + b.rect.x1) / 2.0, (b.rect.y0 + b.rect.y1) / 2.0));
    b.foot.tabs.iter().fold(group, |group, p| {
        let at = b.at(*p);
        let out = if at.x > middle.x { 1.0 } else { -1.0 };
        group.add(ink::line("w50", at, Point2::new(at.x + 1.6 * out, at.y)))
    })
}

/// Heel centre, met line, and where arches are read.
pub fn landmarks(b: &Block, group: Group) -> Group {
    let l = &b.foot.landmarks;
    let cross = |group: Group, p: Point2| {
        let at = b.at(p);
        let (dx, dy) = (nalgebra::Vector2::new(1.3, 0.0), nalgebra::Vector2::new(0.0, 1.3));
        group.add(ink::line("w25", at - dx, at + dx)).add(ink::line("w25", at - dy, at + dy))
    };
    let group = group.add(ink::line("w13 chain", b.at(l.first_met), b.at(l.fifth_met)));
    let group = [l.first_met, l.fifth_met, l.medial_arch, l.lateral_arch, l.dome].into_iter().fold(group, cross);
    group.add(ink::circle("w25 open", b.at(l.heel_centre), 1.4)).add(ink::line(
        "w25",
        b.at(l.heel_centre) - nalgebra::Vector2::new(2.2, 0.0),
        b.at(l.heel_centre) + nalgebra::Vector2::new(2.2, 0.0),
    ))
}

/// Letters and stations of the planes across.
pub fn stations(b: &Block) -> [(&'static str, f64); 3] {
    let l = &b.foot.landmarks;
    [("B", l.widest_cup_y), ("C", l.medial_arch.y), ("D", l.dome.y)]
}

/// The cutting planes: chain lines with thick ends, arrows the way one looks, letters.
pub fn cutting_planes(b: &Block, group: Group) -> Group {
    let (out, inn) = (b.lateral(0.0), b.at(Point2::new(b.rect.x1, 0.0)).x);
    let group = stations(b).into_iter().fold(group, |group, (letter, station)| {
        let y = b.at(Point2::new(0.0, station)).y;
        let (from, to) = (Point2::new(out - 2.4 * b.medial, y), Point2::new(inn + 2.4 * b.medial, y));
        let thick = |x: f64| ink::line("w50", Point2::new(x, y), Point2::new(x + 3.0 * b.medial, y));
        let head = |x: f64| [ink::line("w25", Point2::new(x, y), Point2::new(x, y - 1.2))].into_iter();
        let group = group.add(ink::line("w13 chain", from, to)).add(thick(from.x)).add(thick(to.x - 3.0 * b.medial));
        let group = head(from.x).chain(head(to.x)).fold(group, Group::add);
        let arrow = |x: f64| ink::arrowhead(Point2::new(x, y - 3.2), 0.0, -1.0);
        let group = group.add(arrow(from.x)).add(arrow(to.x));
        let at = Point2::new(from.x - 1.9 * b.medial, y + 0.2);
        group.add(ink::label("t b", at, Anchor::Middle, letter))
    });
    plane_a(b, group)
}

/// Plane A runs along the axis; one looks at it from the medial side.
fn plane_a(b: &Block, group: Group) -> Group {
    let x = b.at(b.foot.landmarks.heel_centre).x;
    let (top, low) = (b.at(Point2::new(0.0, b.rect.y1)).y, b.at(Point2::new(0.0, b.rect.y0)).y);
    let (from, to) = (Point2::new(x, top - 10.4), Point2::new(x, low + 10.0));
    let thick = |y: f64| ink::line("w50", Point2::new(x, y), Point2::new(x, y + 2.6));
    let arrow = |y: f64| {
        let tip = Point2::new(x - 3.2 * b.medial, y);
        [ink::line("w25", Point2::new(x, y), Point2::new(x - 1.2 * b.medial, y))]
            .into_iter()
            .fold(Group::new(), Group::add)
            .add(ink::arrowhead(tip, -b.medial, 0.0))
    };
    let group = group.add(ink::line("w13 chain", from, to)).add(thick(from.y)).add(thick(to.y - 2.6));
    let group = group.add(arrow(from.y)).add(arrow(to.y));
    let letter = |y: f64| ink::label("t b", Point2::new(x + 2.0 * b.medial, y), Anchor::Middle, "A");
    group.add(letter(from.y + 2.2)).add(letter(to.y))
}

/// Where the side letter stands: in the flat forefoot, between axis and medial edge.
pub fn letter_place(b: &Block) -> Point2 {
    let met = b.foot.landmarks.first_met.y;
    let y = met + 0.5 * (b.rect.y1 - met);
    let cuts = crossings_at(b.foot.outline, y);
    let inner = cuts.last().copied().unwrap_or(b.rect.x1);
    let axis = b.foot.landmarks.heel_centre.x;
    let at = b.at(Point2::new(axis + 0.52 * (inner - axis), y));
    Point2::new(at.x, at.y + 4.0)
}

/// The big L or R.
pub fn side_letter(b: &Block) -> svg::node::element::Text {
    ink::label("side", letter_place(b), Anchor::Middle, b.foot.side.letter().to_string())
}

/// Ball width above the toes, heel width below the heel, and which edge is which.
pub fn widths(b: &Block, group: Group) -> Group {
    let ball = widest(b, 0.5, 1.0);
    let heel = widest(b, 0.0, 0.35);
    let (top, low) = (b.at(Point2::new(0.0, b.rect.y1)).y, b.at(Point2::new(0.0, b.rect.y0)).y);
    let words = |value: Value| b.foot.values.iter().find(|r| r.value == value).map(dimension::words);
    let sorted = |(a, c): (Point2, Point2)| if a.x < c.x { (a, c) } else { (c, a) };
    let rows = [(ball, top - 3.4, words(Value::BallWidth)), (heel, low + 5.6, words(Value::HeelWidth))];
    let group = rows.into_iter().fold(group, |group, (ends, y, text)| match (ends, text) {
        (Some(ends), Some(text)) => {
            let (a, c) = sorted(ends);
            group.add(dimension::level(a, c, y, &text))
        }
        _ => group,
    });
    edge_words(b, group)
}

fn edge_words(b: &Block, group: Group) -> Group {
    let y = b.foot.landmarks.medial_arch.y + 0.42 * (b.foot.landmarks.dome.y - b.foot.landmarks.medial_arch.y);
    let cuts = crossings_at(b.foot.outline, y);
    let (Some(lateral), Some(medial)) = (cuts.first(), cuts.last()) else { return group };
    let (lateral, medial) = (b.at(Point2::new(*lateral, y)), b.at(Point2::new(*medial, y)));
    // A base line of upright words stands to their right: half a letter's height more on that side.
    let off = |p: Point2, out: f64| Point2::new(p.x + 2.2 * out + 0.9, p.y);
    group.add(ink::upright_label("t soft", off(lateral, -b.medial), "lateral")).add(ink::upright_label(
        "t soft",
        off(medial, b.medial),
        "medial",
    ))
}

/// The widest level of the outline between two shares of its length, as its two ends on paper.
fn widest(b: &Block, from: f64, to: f64) -> Option<(Point2, Point2)> {
    let ys = (0..=200).map(|k| b.rect.y0 + b.rect.height() * (from + (to - from) * f64::from(k) / 200.0));
    let spans = ys.filter_map(|y| {
        let cuts = crossings_at(b.foot.outline, y);
        Some((*cuts.first()?, *cuts.last()?, y))
    });
    let best = spans.fold(None, |best: Option<(f64, f64, f64)>, s| match best {
        Some(b) if b.1 - b.0 >= s.1 - s.0 => Some(b),
        _ => Some(s),
    });
    best.map(|(a, c, y)| (b.at(Point2::new(a, y)), b.at(Point2::new(c, y))))
}

/// The height nearest to `y` at which a leader passes clear of the planes' letters.
fn clear_of(y: f64, letters: &[f64]) -> f64 {
    let gap = 3.4;
    letters.iter().find(|l| (y - **l).abs() < gap).map_or(y, |l| if y < *l { l - gap } else { l + gap })
}

/// A balloon's note, the place it points at and where it stands, on paper.
pub struct Placed<'a> {
    /// The note.
    pub note: &'a Numbered<'a>,
    /// The place of the finding.
    pub target: Point2,
    /// The balloon's middle.
    pub at: Point2,
}

/// Balloons in a column beside the lateral edge, each with a leader to its place.
pub fn balloons(b: &Block, list: &[Numbered], group: Group) -> Group {
    placed_balloons(b, list).into_iter().fold(group, |group, placed| {
        let note = placed.note;
        leader(b, &placed, group).add(notes::balloon(note.row.severity, note.number, placed.at))
    })
}

/// The line from a balloon to its place.
pub fn leader(b: &Block, placed: &Placed, group: Group) -> Group {
    let start = Point2::new(placed.at.x + b.medial * 2.3, placed.at.y);
    group.add(ink::line("leader", start, placed.target)).add(ink::circle("leader-end", placed.target, 0.55))
}

/// Where the balloons of a block stand.
pub fn placed_balloons<'a>(b: &Block, list: &'a [Numbered<'a>]) -> Vec<Placed<'a>> {
    let mine = list.iter().flat_map(|n| {
        let here = n.at.iter().filter(|(side, _)| *side == b.foot.side);
        here.filter_map(move |(_, at)| at.map(|at| (n, b.at(at))))
    });
    let mut mine: Vec<(&Numbered, Point2)> = mine.filter(|(_, at)| at.x.is_finite() && at.y.is_finite()).collect();
    mine.sort_by(|a, c| a.1.y.total_cmp(&c.1.y));
    let x = b.lateral(LATERAL_MM - 3.9);
    let end = b.at(Point2::new(0.0, b.rect.y0)).y + 4.0;
    let letters = stations(b).map(|(_, station)| b.at(Point2::new(0.0, station)).y);
    let wanted: Vec<f64> = mine.iter().map(|m| clear_of(m.1.y, &letters)).collect();
    let ys = notes::spread(&wanted, 6.2, end);
    mine.iter().zip(ys).map(|((note, target), y)| Placed { note, target: *target, at: Point2::new(x, y) }).collect()
}
