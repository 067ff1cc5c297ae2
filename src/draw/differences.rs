//! A map of differences seen from above, toes up, in the bench frame of its side: coloured bands,
//! contour lines (full where higher, dashed where lower), printed numbers, the greatest and the least
//! place, gaps in the data hatched. Knows nothing of what was subtracted from what.

use svg::node::element::{ClipPath, Definitions, Group, Path, Use};

use super::bands::{Bands, inside_all};
use super::data::Landmarks;
use super::diverging::{self, Steps};
use super::hatch;
use super::ink::{self, Anchor};
use super::plan::crossings_at;
use crate::frame::{Placement, Point2, Side, Vector2, bench_from_foot};
use crate::grid::Grid;
use crate::grid::contour::simplified;

/// Between printed numbers, mm of paper: two numbers with their signs and a gap.
const NUMBERS_MM: (f64, f64) = (11.0, 10.0);
/// Hatching of gaps, mm of paper between strokes.
const HATCH_MM: f64 = 1.1;
/// Room that a printed number takes either way of its middle, mm of paper.
const ROOM_MM: (f64, f64) = (6.4, 3.1);

/// What is mapped, all in the foot frame, mm.
#[derive(Clone, Copy)]
pub struct Differences<'a> {
    /// Which foot.
    pub side: Side,
    /// The edge of the piece.
    pub outline: &'a [Point2],
    /// The edge of what it is compared with, where that may differ: only what lies within both is
    /// mapped.
    pub other: Option<&'a [Point2]>,
    /// Differences of height, NaN where there is no data.
    pub grid: &'a Grid,
    /// Where the features are.
    pub landmarks: &'a Landmarks,
}

/// The greatest and the least difference of a map.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Extremes {
    pub greatest: (f64, Point2),
    pub least: (f64, Point2),
}

impl Differences<'_> {
    /// The outlines that bound the map.
    fn outlines(&self) -> Vec<&[Point2]> {
        std::iter::once(self.outline).chain(self.other).collect()
    }

    /// The greatest and the least difference inside; `None` where nothing has data.
    pub fn extremes(&self) -> Option<Extremes> {
        let lattice = self.grid.lattice;
        let inside = inside_all(&self.outlines(), &lattice);
        let place = |k: usize| lattice.node(k % lattice.nx, k / lattice.nx);
        let known = self.grid.z.iter().zip(&inside).enumerate().filter(|(_, (z, inside))| **inside && z.is_finite());
        known.fold(None, |found: Option<Extremes>, (k, (&z, _))| {
            let here = (z, place(k));
            let Some(found) = found else { return Some(Extremes { greatest: here, least: here }) };
            Some(Extremes {
                greatest: if z > found.greatest.0 { here } else { found.greatest },
                least: if z < found.least.0 { here } else { found.least },
            })
        })
    }
}

impl Extremes {
    /// The larger of the two amounts, mm.
    pub fn most_mm(&self) -> f64 {
        self.greatest.0.abs().max(self.least.0.abs())
    }
}

/// A place of the foot in words, such as `42 % of the foot, 25 mm medial`: `station` is its share of
/// the foot's length, `medial_mm` how far medial of the axis it lies.
pub fn place_words(station: f64, medial_mm: f64) -> String {
    let off = match medial_mm.round() {
        0.0 => "on the axis".to_string(),
        x if x > 0.0 => format!("{x:.0} mm medial"),
        x => format!("{:.0} mm lateral", -x),
    };
    format!("{:.0} % of the foot, {off}", 100.0 * station)
}

/// A difference with its sign, to hundredths; nothing less than half of one has a sign.
pub fn signed(difference: f64) -> String {
    match (100.0 * difference).round() / 100.0 {
        d if d > 0.0 => format!("+{d:.2}"),
        d if d < 0.0 => format!("\u{2212}{:.2}", -d),
        _ => "0".to_string(),
    }
}

/// A level with its sign and no more decimals than it needs.
fn level_words(level: f64, sign: f64) -> String {
    format!("{}{}", if sign > 0.0 { "+" } else { "\u{2212}" }, ink::coarse(level))
}

/// Where the foot frame lies on paper.
#[derive(Clone, Copy)]
pub struct Laid {
    place: Placement,
    /// The foot frame's origin on paper.
    pub origin: Point2,
    /// mm of paper per mm.
    pub scale: f64,
}

impl Laid {
    /// A foot of this side with its origin at a place of the paper.
    pub fn new(side: Side, origin: Point2, scale: f64) -> Laid {
        Laid { place: bench_from_foot(side), origin, scale }
    }

    /// Where a place of the foot frame lies on paper.
    pub fn at(&self, p: Point2) -> Point2 {
        let bench = self.place.place(p);
        Point2::new(self.origin.x + self.scale * bench.x, self.origin.y - self.scale * bench.y)
    }

    /// The place of the foot frame that lies there.
    fn on_foot(&self, p: Point2) -> Point2 {
        let bench = Point2::new((p.x - self.origin.x) / self.scale, (self.origin.y - p.y) / self.scale);
        self.place.unplace(bench)
    }
}

/// Draws the map where it is laid, and says how coarse its lines are where they are coarser than the
/// data, mm.
pub fn draw(d: &Differences, steps: &Steps, laid: &Laid) -> (Group, Option<f64>) {
    let bands = Bands::of(d.grid, &d.outlines(), steps);
    let on_paper = |points: &[Point2]| -> Vec<Point2> {
        let points: Vec<Point2> = points.iter().map(|p| laid.at(*p)).collect();
        simplified(&points, 0.01)
    };
    let edges: Vec<Vec<Point2>> = d.outlines().into_iter().map(on_paper).collect();
    let name = format!("map-{}", d.side.name());
    let group = ink::group("map").add(shapes(&bands, steps, laid, &edges, &name));
    let group = group.add(gaps(&bands, laid, &name));
    let group = edges.iter().enumerate().fold(group, |group, (k, edge)| {
        group.add(ink::curve(if k == 0 { "w50 open" } else { "w25 hidden" }, edge, true))
    });
    let coarser = (bands.step_mm > d.grid.lattice.step).then_some(bands.step_mm);
    (numbers(d, &bands, laid, &edges, group), coarser)
}

/// Coloured bands and their lines, within the edges.
fn shapes(bands: &Bands, steps: &Steps, laid: &Laid, edges: &[Vec<Point2>], name: &str) -> Group {
    let mut shapes = Definitions::new();
    // A clip within a clip is what both leave.
    for (k, edge) in edges.iter().enumerate() {
        let clip = ClipPath::new().set("id", format!("{name}-in-{k}")).add(ink::curve("", edge, true));
        let clip = if k > 0 { clip.set("clip-path", format!("url(#{name}-in-{})", k - 1)) } else { clip };
        shapes = shapes.add(clip);
    }
    let inside = format!("url(#{name}-in-{})", edges.len().saturating_sub(1));
    let mut tint = ink::group("bands").set("clip-path", inside.as_str());
    let mut lines = ink::group("lines").set("clip-path", inside.as_str());
    tint = edges
        .iter()
        .take(1)
        .fold(tint, |tint, edge| tint.add(ink::curve("", edge, true).set("fill", diverging::cool_warm(0.5))));
    let levels = steps.levels();
    for (k, band) in bands.beyond.iter().enumerate() {
        let d: String = band
            .loops
            .iter()
            .map(|points| points.iter().map(|p| laid.at(*p)).collect::<Vec<_>>())
            .map(|points| ink::path_data(&points, true, ink::coarse))
            .collect();
        let id = format!("{name}-{k}");
        shapes = shapes.add(Path::new().set("id", id.as_str()).set("d", d));
        let colour = steps.band_colour(&levels, band.index, band.sign);
        let part = || Use::new().set("href", format!("#{id}"));
        tint = tint.add(part().set("fill", colour));
        let edge = if band.level == steps.neutral_mm { " edge" } else { "" };
        let lower = if band.sign < 0.0 { " lower" } else { "" };
        lines = lines.add(part().set("class", format!("level{edge}{lower}")));
    }
    Group::new().add(shapes).add(tint).add(lines)
}

/// Where there is no data: paper with strokes across.
fn gaps(bands: &Bands, laid: &Laid, name: &str) -> Group {
    let mut group = ink::group("gaps").set("clip-path", format!("url(#{name}-in-0)"));
    let loops: Vec<Vec<Point2>> =
        bands.gaps.iter().map(|points| points.iter().map(|p| laid.at(*p)).collect()).collect();
    if loops.is_empty() {
        return group;
    }
    let d: String = loops.iter().map(|points| ink::path_data(points, true, ink::coarse)).collect();
    group = group.add(Path::new().set("class", "gap").set("d", d));
    group.add(Path::new().set("class", "gap-hatch").set("d", strokes(&loops)))
}

/// Strokes across the loops as one path.
fn strokes(loops: &[Vec<Point2>]) -> String {
    let all = joined(loops);
    hatch::strokes(&all, HATCH_MM).iter().map(|(a, b)| ink::path_data(&[*a, *b], false, ink::coarse)).collect()
}

/// All loops as one: from the first point of the first to each other and back, so that what joins
/// them counts twice and cancels.
fn joined(loops: &[Vec<Point2>]) -> Vec<Point2> {
    let Some(home) = loops.first().and_then(|points| points.first()).copied() else { return vec![] };
    loops.iter().flat_map(|points| points.iter().chain(points.first()).copied().chain([home])).collect()
}

/// Numbers, labels and marks that do not cover each other.
struct Sheet<'a> {
    edges: &'a [Vec<Point2>],
    taken: Vec<Point2>,
}

impl Sheet<'_> {
    fn is_free(&self, p: Point2) -> bool {
        let near = |q: &Point2| (p.x - q.x).abs() < ROOM_MM.0 && (p.y - q.y).abs() < ROOM_MM.1;
        let corners = [(-2.9, -1.2), (2.9, -1.2), (-2.9, 1.2), (2.9, 1.2)];
        let inside = |dx: f64, dy: f64| {
            self.edges
                .iter()
                .all(|edge| crossings_at(edge, p.y + dy).iter().filter(|x| **x <= p.x + dx).count() % 2 == 1)
        };
        !self.taken.iter().any(near) && corners.iter().all(|(dx, dy)| inside(*dx, *dy))
    }

    fn put(&mut self, group: Group, at: Point2, class: &str, words: String) -> Group {
        self.taken.push(at);
        group.add(ink::label(class, Point2::new(at.x, at.y + 0.9), Anchor::Middle, words))
    }
}

fn numbers(d: &Differences, bands: &Bands, laid: &Laid, edges: &[Vec<Point2>], group: Group) -> Group {
    let mut sheet = Sheet { edges, taken: vec![] };
    let group = marks(d, laid, &mut sheet, group);
    let group = levels(bands, laid, &mut sheet, group);
    lattice(d, laid, &mut sheet, group)
}

/// The greatest place as a triangle pointing up, the least as one pointing down.
fn marks(d: &Differences, laid: &Laid, sheet: &mut Sheet, group: Group) -> Group {
    let Some(extremes) = d.extremes() else { return group };
    let both = [(extremes.greatest, 1.0), (extremes.least, -1.0)];
    both.into_iter().filter(|((z, _), sign)| z * sign > 0.005).fold(group, |group, ((z, place), sign)| {
        let at = laid.at(place);
        let group = group.add(triangle(at, sign));
        let beside = [Vector2::new(0.0, 3.0), Vector2::new(0.0, -2.8), Vector2::new(-5.0, 0.0), Vector2::new(5.0, 0.0)];
        let inward = beside.into_iter().map(|off| at + off).find(|p| sheet.is_free(*p));
        sheet.taken.push(at);
        // At a narrow edge the number stands beside it all the same: this one is never left out.
        let words = inward.unwrap_or(at + Vector2::new(0.0, 3.0));
        sheet.put(group, words, "m b", signed(z))
    })
}

/// A mark of 2 mm, point up for `sign` 1 and down for -1.
pub fn triangle(at: Point2, sign: f64) -> svg::node::element::Polygon {
    let corner = |dx: f64, dy: f64| Point2::new(at.x + dx, at.y - sign * dy);
    ink::shape("mark", &[corner(0.0, 1.2), corner(-1.05, -0.6), corner(1.05, -0.6)])
}

/// A label on each contour line that has room for one.
fn levels(bands: &Bands, laid: &Laid, sheet: &mut Sheet, group: Group) -> Group {
    let loops = bands.beyond.iter().flat_map(|band| band.loops.iter().map(move |points| (band, points)));
    loops.fold(group, |group, (band, points)| {
        let free = points.iter().map(|p| laid.at(*p)).find(|p| sheet.is_free(*p));
        match free {
            Some(at) => sheet.put(group, at, "m level-words", level_words(band.level, band.sign)),
            None => group,
        }
    })
}

/// Numbers on a lattice of the paper, in even rows from the heel centre.
fn lattice(d: &Differences, laid: &Laid, sheet: &mut Sheet, group: Group) -> Group {
    let Some(rect) = crate::frame::Rect::around(edges_of(sheet)) else { return group };
    let home = laid.at(d.landmarks.heel_centre);
    let span = |low: f64, high: f64, at: f64, step: f64| {
        (((low - at) / step).ceil() as i64..=((high - at) / step).floor() as i64).map(move |k| at + k as f64 * step)
    };
    let rows = span(rect.y0, rect.y1, home.y, NUMBERS_MM.1);
    let places = rows.flat_map(|y| span(rect.x0, rect.x1, home.x, NUMBERS_MM.0).map(move |x| Point2::new(x, y)));
    places.fold(group, |group, at| {
        let here = d.grid.sample(laid.on_foot(at)).filter(|z| z.is_finite());
        match here.filter(|_| sheet.is_free(at)) {
            Some(z) => sheet.put(group, at, "m", signed(z)),
            None => group,
        }
    })
}

fn edges_of<'a>(sheet: &Sheet<'a>) -> impl Iterator<Item = &'a Point2> + use<'a> {
    sheet.edges.iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;
    use crate::frame::Rect;
    use crate::grid::Lattice;

    fn grid(sample: &Sample, f: impl Fn(Point2) -> f64 + Sync) -> Grid {
        let rect = Rect::around(&sample.outline).expect("an outline");
        Grid::from_fn(Lattice::covering(rect.grown(2.0), 1.0), f)
    }

    fn bump(at: Point2, high: f64) -> impl Fn(Point2) -> f64 + Sync {
        move |p| high * (-(p - at).norm_squared() / 400.0).exp()
    }

    fn drawn(side: Side, grid: &Grid, sample: &Sample) -> String {
        let landmarks = sample.landmarks();
        let d = Differences { side, outline: &sample.outline, other: None, grid, landmarks: &landmarks };
        let most = d.extremes().map_or(0.0, |e| e.most_mm());
        draw(&d, &Steps::covering(most, 0.1), &Laid::new(side, Point2::new(40.0, 150.0), 0.5)).0.to_string()
    }

    #[test]
    fn a_rise_is_full_and_a_hollow_is_dashed() {
        let sample = Sample::of_length(270.0);
        let at = Point2::new(15.0, 100.0);
        let up = drawn(Side::Left, &grid(&sample, bump(at, 1.0)), &sample);
        let down = drawn(Side::Left, &grid(&sample, bump(at, -1.0)), &sample);
        assert!(!up.contains("lower") && up.contains("+1.00") && up.contains("+0.4") && !up.contains('\u{2212}'));
        assert!(down.contains("lower") && down.contains("\u{2212}1.00") && !down.contains("+0"));
        assert_eq!(up.matches("class=\"mark\"").count(), 1);
    }

    /// The same numbers on the other side: every x is mirrored about the origin.
    #[test]
    fn a_right_map_is_the_left_one_mirrored() {
        let sample = Sample::of_length(270.0);
        let grid = grid(&sample, bump(Point2::new(15.0, 100.0), 1.0));
        let (left, right) = (drawn(Side::Left, &grid, &sample), drawn(Side::Right, &grid, &sample));
        let mark = |svg: &str| {
            let points = svg.split("class=\"mark\" points=\"").nth(1).and_then(|t| t.split([',', ' ']).next());
            points.and_then(|x| x.parse::<f64>().ok()).expect("a mark")
        };
        approx::assert_relative_eq!(mark(&left) - 40.0, 40.0 - mark(&right), epsilon = 1e-9);
        assert!(mark(&left) > 40.0, "medial is to the right of a left foot");
    }

    #[test]
    fn no_difference_has_no_mark_no_line_and_noughts() {
        let sample = Sample::of_length(270.0);
        let svg = drawn(Side::Right, &grid(&sample, |_| 0.0), &sample);
        assert!(!svg.contains("class=\"mark\"") && !svg.contains("<use class") && svg.contains("\n0\n"));
    }

    #[test]
    fn what_has_no_data_is_hatched_and_has_no_number() {
        let sample = Sample::of_length(270.0);
        let hole = |p: Point2| if p.y > 150.0 { f64::NAN } else { 0.3 };
        let svg = drawn(Side::Left, &grid(&sample, hole), &sample);
        assert!(svg.contains("gap-hatch") && !svg.contains("NaN"));
        let nothing = drawn(Side::Left, &grid(&sample, |_| f64::NAN), &sample);
        assert!(!nothing.contains("class=\"m\"") && nothing.contains("gap-hatch"));
    }

    #[test]
    fn words_for_places_and_differences() {
        assert_eq!(place_words(0.4, 24.6), "40 % of the foot, 25 mm medial");
        assert_eq!(place_words(0.2, -0.2), "20 % of the foot, on the axis");
        assert_eq!((signed(0.004), signed(-0.126), signed(1.0)), ("0".into(), "\u{2212}0.13".into(), "+1.00".into()));
    }
}
