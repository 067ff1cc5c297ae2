//! Cross sections B-B heel, C-C arch and D-D ball: seen from the heel, at true proportion, on the
//! boot board, with the dimensions of what they cut. Section A-A stands in the plan.

use svg::node::element::{Group, SVG};

use super::data::{DrawnFoot, Landmarks};
use super::dimension;
use super::hatch;
use super::ink::{self, Anchor};
use super::plan::{Picture, crossings_at};
use crate::frame::{Point2, bench_from_foot};
use crate::value::Value;

/// Scales to choose from, 1:n, largest first; see the plan's list.
const DIVISORS: [f64; 6] = [1.0, 2.0, 2.5, 3.0, 4.0, 5.0];
/// Hatching, mm of paper between strokes.
const HATCH_MM: f64 = 1.3;
/// Paper above a section: its name, then its dimensions' words.
const HEAD_MM: f64 = 8.8;
/// The same where a dimension's arrow stands on top of the section.
const TALL_HEAD_MM: f64 = 10.6;
/// Paper below: ground and a gap.
const FOOT_MM: f64 = 3.0;
/// Paper kept free on each side of a section for upright dimensions.
const SIDE_MM: f64 = 1.6;
/// From the end of a cell to its words, mm.
const MARGIN_MM: f64 = 1.6;
/// Distance between samples, mm.
const SAMPLE_MM: f64 = 0.5;

/// The plane on which heights of arches stand: through the top surface at the heel seat's low point
/// and at the first and fifth met heads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupportPlane {
    origin: Point2,
    z: f64,
    slope: (f64, f64),
}

impl SupportPlane {
    /// The support plane of a footbed; `None` when the three places lie on a line.
    pub fn of(foot: &DrawnFoot) -> Option<SupportPlane> {
        let l = &foot.landmarks;
        let z = |p: Point2| (foot.top)(p);
        let (a, b) = (l.first_met - l.heel_centre, l.fifth_met - l.heel_centre);
        let (za, zb) = (z(l.first_met) - z(l.heel_centre), z(l.fifth_met) - z(l.heel_centre));
        let det = a.x * b.y - a.y * b.x;
        let slope = ((za * b.y - zb * a.y) / det, (a.x * zb - b.x * za) / det);
        (slope.0.is_finite() && slope.1.is_finite()).then(|| SupportPlane {
            origin: l.heel_centre,
            z: z(l.heel_centre),
            slope,
        })
    }

    /// Its height above the base plane, mm.
    pub fn at(&self, p: Point2) -> f64 {
        self.z + self.slope.0 * (p.x - self.origin.x) + self.slope.1 * (p.y - self.origin.y)
    }
}

/// Which cross section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cut {
    /// B-B, where the cup is widest.
    Heel,
    /// C-C, where the medial arch is read.
    Arch,
    /// D-D, through the dome.
    Ball,
    /// E-E, at any y of the foot frame.
    Free(f64),
}

impl Cut {
    /// Those that every sheet shows.
    pub const ALL: [Cut; 3] = [Cut::Heel, Cut::Arch, Cut::Ball];

    /// Its letters and what it cuts.
    pub fn name(self) -> &'static str {
        match self {
            Cut::Heel => "B-B heel",
            Cut::Arch => "C-C arch",
            Cut::Ball => "D-D ball",
            Cut::Free(_) => "E-E",
        }
    }

    fn head_mm(self) -> f64 {
        if matches!(self, Cut::Arch | Cut::Free(_)) { HEAD_MM } else { TALL_HEAD_MM }
    }

    /// The y at which it cuts, foot frame, mm.
    pub fn station(self, landmarks: &Landmarks) -> f64 {
        match self {
            Cut::Heel => landmarks.widest_cup_y,
            Cut::Arch => landmarks.medial_arch.y,
            Cut::Ball => landmarks.dome.y,
            Cut::Free(y) => y,
        }
    }
}

/// One cross section, sampled in the foot frame.
struct Slice<'a> {
    foot: &'a DrawnFoot<'a>,
    cut: Cut,
    y: f64,
    x0: f64,
    x1: f64,
    peak: f64,
}

impl<'a> Slice<'a> {
    fn of(foot: &'a DrawnFoot<'a>, cut: Cut) -> Option<Slice<'a>> {
        let y = cut.station(&foot.landmarks);
        let cuts = crossings_at(foot.outline, y);
        let (x0, x1) = (*cuts.first()?, *cuts.last()?);
        let slice = Slice { foot, cut, y, x0, x1, peak: 0.0 };
        let peak = slice.stations().into_iter().map(|x| slice.top(x)).fold(0.0, f64::max);
        (x1 - x0 > 1.0 && peak.is_finite()).then_some(Slice { peak, ..slice })
    }

    fn top(&self, x: f64) -> f64 {
        (self.foot.top)(Point2::new(x, self.y))
    }

    fn under(&self, x: f64) -> f64 {
        (self.foot.underside)(Point2::new(x, self.y))
    }

    /// Places across, ends read a hair inside the outline.
    fn stations(&self) -> Vec<f64> {
        let count = ((self.x1 - self.x0) / SAMPLE_MM).ceil().max(1.0) as usize;
        let at = |k: usize| self.x0 + (self.x1 - self.x0) * k as f64 / count as f64;
        (0..=count).map(|k| at(k).clamp(self.x0 + 1e-3, self.x1 - 1e-3)).collect()
    }

    /// Where the top crosses height z going out from x = `from` toward `to`.
    fn wall(&self, from: f64, to: f64, z: f64) -> Option<f64> {
        let steps = 400;
        let at = |k: usize| from + (to - from) * k as f64 / steps as f64;
        (1..=steps).map(at).find(|x| self.top(*x) >= z)
    }
}

/// A slice laid on paper.
struct Laid<'a> {
    slice: Slice<'a>,
    scale: f64,
    /// +1 when medial is to the right.
    medial: f64,
    /// Paper place of x = 0, z = 0.
    origin: Point2,
    /// Left and right end of the cell.
    cell: (f64, f64),
    /// Base line of the dimensions' words.
    words_y: f64,
}

impl Laid<'_> {
    fn at(&self, x: f64, z: f64) -> Point2 {
        Point2::new(self.origin.x + self.medial * self.scale * x, self.origin.y - self.scale * z)
    }
}

/// Draws the cross sections of one foot or the pair, `width` mm of paper wide.
pub fn sections(feet: &[DrawnFoot], width: f64, most_height: f64) -> Picture {
    let mut rows: Vec<Vec<Slice>> = Vec::new();
    for cut in Cut::ALL {
        let row: Vec<Slice> = feet.iter().filter_map(|foot| Slice::of(foot, cut)).collect();
        // One foot alone has its sections two abreast, so that they can be twice as large.
        match rows.last_mut().filter(|last| feet.len() == 1 && last.len() < 2) {
            Some(last) => last.extend(row),
            None => rows.push(row),
        }
    }
    let cell = |row: &[Slice]| width / row.len().max(feet.len()) as f64;
    let fits = |n: &f64| {
        let narrow = |row: &Vec<Slice>| row.iter().all(|s| (s.x1 - s.x0) / n + 2.0 * SIDE_MM <= cell(row));
        rows.iter().all(narrow) && height_of(&rows, 1.0 / n) <= most_height
    };
    let divisor = DIVISORS.into_iter().find(fits).unwrap_or(5.0);
    let height = height_of(&rows, 1.0 / divisor);
    let mut drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing sections")
        .set("role", "img")
        .add(ink::title("Cross sections B-B heel, C-C arch and D-D ball, seen from the heel"));
    let x = width / 2.0;
    let low = if feet.len() > 1 { height } else { rows.first().map_or(0.0, |row| row_height(row, 1.0 / divisor)) };
    drawing = drawing.add(ink::line("grid", Point2::new(x, 1.0), Point2::new(x, low - 1.0)));
    let mut top = 0.0;
    for row in rows {
        let (tall, cell) = (row_height(&row, 1.0 / divisor), cell(&row));
        for (k, slice) in row.into_iter().enumerate() {
            let laid = lay(slice, 1.0 / divisor, (k as f64 * cell, (k + 1) as f64 * cell), top, top + tall - FOOT_MM);
            drawing = drawing.add(draw(&laid, divisor));
        }
        top += tall;
    }
    Picture { svg: drawing.to_string(), width, height, divisor }
}

/// A section on paper of its own.
pub struct Hung {
    /// The picture; its elements are in mm of paper.
    pub group: Group,
    /// Width of the paper, mm.
    pub width: f64,
    /// Height of the paper, mm.
    pub height: f64,
    /// Where x = 0, z = 0 lies on it.
    pub origin: Point2,
    /// The boot board's height on it.
    pub board_y: f64,
}

/// One cross section at 1:`divisor` on paper `width` mm wide; `None` where the outline has no width.
pub fn hung(foot: &DrawnFoot, cut: Cut, divisor: f64, width: f64) -> Option<Hung> {
    let slice = Slice::of(foot, cut)?;
    let scale = 1.0 / divisor;
    let height = cut.head_mm() + scale * slice.peak + FOOT_MM;
    let laid = lay(slice, scale, (0.0, width), 0.0, height - FOOT_MM);
    Some(Hung { group: draw(&laid, divisor), width, height, origin: laid.origin, board_y: height - FOOT_MM })
}

fn row_height(row: &[Slice], scale: f64) -> f64 {
    let tallest = row.iter().map(|s| s.cut.head_mm() + scale * s.peak).fold(0.0, f64::max);
    tallest + FOOT_MM
}

fn height_of(rows: &[Vec<Slice>], scale: f64) -> f64 {
    rows.iter().map(|row| row_height(row, scale)).sum()
}

fn lay(slice: Slice, scale: f64, cell: (f64, f64), top: f64, board: f64) -> Laid {
    let medial = bench_from_foot(slice.foot.side).place(Point2::new(1.0, 0.0)).x;
    let middle = (slice.x0 + slice.x1) / 2.0;
    let origin = Point2::new((cell.0 + cell.1) / 2.0 - medial * scale * middle, board);
    Laid { slice, scale, medial, origin, cell, words_y: top + 6.4 }
}

fn draw(laid: &Laid, divisor: f64) -> Group {
    let s = &laid.slice;
    let stations = s.stations();
    let top = stations.iter().map(|x| laid.at(*x, s.top(*x)));
    let under = stations.iter().rev().map(|x| laid.at(*x, s.under(*x)));
    let body: Vec<Point2> = top.chain(under).collect();
    let group = grid(laid, ink::group("section")).add(ink::shape("material", &body));
    let group = hatch::strokes(&body, HATCH_MM).into_iter().fold(group, |g, (p, q)| g.add(ink::line("hatch", p, q)));
    let group = group.add(ink::curve("w50 open", &body, true));
    let group = support_line(laid, ground(laid, group));
    let words = format!("{} {}", s.cut.name(), s.foot.side.letter());
    let (x, y) = (laid.cell.0 + MARGIN_MM, laid.words_y - 3.4);
    let after = x + ink::width_of(&words, ink::SMALL_MM) + 2.6;
    let group = group.add(ink::label("t b", Point2::new(x, y), Anchor::Start, words)).add(ink::label(
        "t soft",
        Point2::new(after, y),
        Anchor::Start,
        format!("1:{divisor}"),
    ));
    match s.cut {
        Cut::Heel => heel(laid, group),
        Cut::Arch => arches(laid, group),
        Cut::Ball => ball(laid, group),
        Cut::Free(_) => group,
    }
}

fn grid(laid: &Laid, group: Group) -> Group {
    let s = &laid.slice;
    let (first, last) = ((s.x0 / 5.0).floor() as i32, (s.x1 / 5.0).ceil() as i32);
    let tall = (s.peak / 5.0).ceil() as i32;
    let mm = |k: i32| f64::from(k) * 5.0;
    let group =
        (first..=last).fold(group, |g, k| g.add(ink::line("grid", laid.at(mm(k), 0.0), laid.at(mm(k), mm(tall)))));
    (0..=tall).fold(group, |g, k| g.add(ink::line("grid", laid.at(mm(first), mm(k)), laid.at(mm(last), mm(k)))))
}

fn ground(laid: &Laid, group: Group) -> Group {
    let (a, b) = (laid.at(laid.slice.x0, 0.0), laid.at(laid.slice.x1, 0.0));
    let (from, to) = (a.x.min(b.x) - 1.4, a.x.max(b.x) + 1.4);
    let y = laid.origin.y;
    let group = group.add(ink::line("w50", Point2::new(from, y), Point2::new(to, y)));
    let count = ((to - from) / 2.0).floor() as i32;
    (0..count).fold(group, |g, k| {
        let x = from + f64::from(k) * 2.0 + 1.6;
        g.add(ink::line("w13", Point2::new(x, y), Point2::new(x - 1.3, y + 1.3)))
    })
}

fn support_line(laid: &Laid, group: Group) -> Group {
    let s = &laid.slice;
    match SupportPlane::of(s.foot) {
        Some(plane) => {
            let end = |x: f64| laid.at(x, plane.at(Point2::new(x, s.y)));
            group.add(ink::line("w13 chain", end(s.x0), end(s.x1)))
        }
        None => group,
    }
}

fn words(foot: &DrawnFoot, value: Value) -> Option<String> {
    foot.values.iter().find(|r| r.value == value).map(dimension::words)
}

/// Words in the row above a section, at its lateral or medial end.
fn beside(laid: &Laid, outward: f64, text: String) -> svg::node::element::Text {
    if outward > 0.0 {
        ink::label("t", Point2::new(laid.cell.1 - MARGIN_MM, laid.words_y), Anchor::End, text)
    } else {
        ink::label("t", Point2::new(laid.cell.0 + MARGIN_MM, laid.words_y), Anchor::Start, text)
    }
}

/// An upright dimension outside one end of the section between two heights read at `x`.
fn outside(laid: &Laid, lateral: bool, x: f64, low: f64, high: f64) -> Group {
    let s = &laid.slice;
    let (edge, outward) = if lateral { (s.x0, -laid.medial) } else { (s.x1, laid.medial) };
    let line_x = laid.at(edge, 0.0).x + outward * 0.9;
    let (from, to) = (laid.at(x, low), laid.at(x, high));
    let reach = |p: Point2| ink::line("w13", p, Point2::new(line_x + outward * 0.7, p.y));
    let dim = dimension::between(Point2::new(line_x, from.y), Point2::new(line_x, to.y));
    dim.add(reach(from)).add(reach(to))
}

/// Cup depth at the lateral rim, inner width at half depth, and the seat's tilt.
fn heel(laid: &Laid, group: Group) -> Group {
    let s = &laid.slice;
    let seat_x = s.foot.landmarks.heel_centre.x;
    let seat = (s.foot.top)(s.foot.landmarks.heel_centre);
    let rim = s.top(s.x0 + 1e-3);
    let mut group = group;
    if let Some(text) = words(s.foot, Value::HeelCupDepth) {
        group = group.add(outside(laid, true, s.x0 + 1.0, seat, rim)).add(beside(laid, -laid.medial, text));
    }
    let half = (seat + rim) / 2.0;
    let walls = s.wall(seat_x, s.x0, half).zip(s.wall(seat_x, s.x1, half));
    if let Some(((a, b), text)) = walls.zip(words(s.foot, Value::HeelCupWidth)) {
        let (a, b) = (laid.at(a, half), laid.at(b, half));
        // Words wider than the cup stand over its rims, not across its walls.
        let tight = ink::width_of(&text, ink::SMALL_MM) > (b.x - a.x).abs();
        let over = if tight { laid.at(seat_x, s.peak).y } else { a.y };
        let middle = Point2::new((a.x + b.x) / 2.0, over - 0.7);
        group = group.add(dimension::between(a, b)).add(ink::label("t halo", middle, Anchor::Middle, text));
    }
    match words(s.foot, Value::RearfootPost) {
        Some(text) => seat_tilt(laid, group, seat_x).add(beside(laid, laid.medial, text)),
        None => group,
    }
}

/// The line whose slope is the rearfoot post: through the seat 10 mm either side of its low point.
fn seat_tilt(laid: &Laid, group: Group, seat_x: f64) -> Group {
    let s = &laid.slice;
    let y = s.foot.landmarks.heel_centre.y;
    let z = |x: f64| (s.foot.top)(Point2::new(x, y));
    let (a, b) = (z(seat_x - 10.0), z(seat_x + 10.0));
    let at = |x: f64| laid.at(seat_x + x, (a + b) / 2.0 + (b - a) / 20.0 * x);
    group.add(ink::line("w25", at(-16.0), at(16.0)))
}

fn arches(laid: &Laid, group: Group) -> Group {
    let s = &laid.slice;
    let plane = SupportPlane::of(s.foot);
    let rows = [
        (Value::LateralArch, true, s.foot.landmarks.lateral_arch.x),
        (Value::MedialArch, false, s.foot.landmarks.medial_arch.x),
    ];
    rows.into_iter().fold(group, |group, (value, lateral, x)| match (plane, words(s.foot, value)) {
        (Some(plane), Some(text)) => {
            let outward = if lateral { -laid.medial } else { laid.medial };
            let low = plane.at(Point2::new(x, s.y));
            group.add(outside(laid, lateral, x, low, s.top(x))).add(beside(laid, outward, text))
        }
        _ => group,
    })
}

fn ball(laid: &Laid, group: Group) -> Group {
    let s = &laid.slice;
    let x = s.foot.landmarks.dome.x;
    match (SupportPlane::of(s.foot), words(s.foot, Value::TransverseArch)) {
        (Some(plane), Some(text)) => {
            let (low, high) = (laid.at(x, plane.at(Point2::new(x, s.y))), laid.at(x, s.top(x)));
            let at = Point2::new(high.x, laid.words_y);
            group.add(dimension::between(low, high)).add(ink::label("t", at, Anchor::Middle, text))
        }
        _ => group,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;
    use crate::frame::Side;

    #[test]
    fn support_plane_of_a_plane_is_that_plane() {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| 5.0 + 0.1 * p.x - 0.02 * p.y;
        let foot = sample.foot(Side::Right, &top, &|_| 0.0);
        let plane = SupportPlane::of(&foot).expect("three places that are no line");
        for p in [Point2::new(0.0, 0.0), Point2::new(30.0, 200.0), Point2::new(-40.0, 90.0)] {
            approx::assert_relative_eq!(plane.at(p), top(p), epsilon = 1e-9);
        }
    }

    #[test]
    fn three_places_on_a_line_carry_no_plane() {
        let sample = Sample::of_length(270.0);
        let mut foot = sample.foot(Side::Left, &|_| 5.0, &|_| 0.0);
        foot.landmarks.first_met = Point2::new(0.0, 200.0);
        foot.landmarks.fifth_met = Point2::new(0.0, 170.0);
        assert_eq!(SupportPlane::of(&foot), None);
    }

    #[test]
    fn medial_is_right_on_a_left_foot_and_left_on_a_right_foot() {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        let ends = |side| {
            let foot = sample.foot(side, &top, &|_| 0.0);
            let slice = Slice::of(&foot, Cut::Arch).expect("a section");
            let (medial, lateral) = (slice.x1, slice.x0);
            let laid = lay(slice, 0.5, (0.0, 50.0), 0.0, 20.0);
            (laid.at(lateral, 0.0).x, laid.at(medial, 0.0).x)
        };
        let ((ll, lm), (rl, rm)) = (ends(Side::Left), ends(Side::Right));
        assert!(ll < lm && rm < rl);
        approx::assert_relative_eq!(lm - ll, rl - rm, epsilon = 1e-9);
    }
}
