//! A map of differences with the long section A-A beside it, as the job sheet lays a plan: toes up,
//! cutting planes lettered at the edge, true scale stated; and the legend that tells how to read it.

use svg::node::element::{Group, SVG};

use super::against::{self, Against, Lettering};
use super::differences::{self, Differences, Laid, triangle};
use super::diverging::{self, Steps};
use super::hatch;
use super::ink::{self, Anchor};
use super::plan::{Picture, crossings_at};
use super::section::Cut;
use crate::frame::{Point2, Rect, Vector2, bench_from_foot};

/// Paper above the toes and below the heel: ends of plane A and words.
const HEAD_MM: f64 = 8.6;
const FOOT_MM: f64 = 5.0;
/// Beside the lateral edge: letters of the planes.
const LATERAL_MM: f64 = 6.4;
/// Between the medial edge and section A-A, with a number of its.
const MEDIAL_MM: f64 = 6.0;
/// Behind the boot board.
const BEHIND_MM: f64 = 2.4;
/// Scales to choose from, 1:n.
const DIVISORS: [f64; 5] = [2.0, 2.5, 3.0, 4.0, 5.0];

/// What one picture shows.
#[derive(Clone, Copy)]
pub struct Mapped<'a> {
    /// The map.
    pub map: Differences<'a>,
    /// The two surfaces it is the difference of, where they are to be cut along the axis.
    pub against: Option<Against<'a>>,
}

impl Mapped<'_> {
    fn rect(&self) -> Option<Rect> {
        Rect::around(self.map.outline.iter().chain(self.map.other.unwrap_or_default()))
    }

    fn section_mm(&self, scale: f64) -> f64 {
        let peak = self.against.map_or(0.0, |a| a.peak(a.axis()));
        if self.against.is_some() { MEDIAL_MM + scale * peak + BEHIND_MM } else { 2.0 }
    }

    /// Width and height of its picture at 1:`divisor`, mm of paper.
    pub(super) fn size_mm(&self, divisor: f64) -> (f64, f64) {
        let Some(rect) = self.rect() else { return (LATERAL_MM, HEAD_MM) };
        let scale = 1.0 / divisor;
        (LATERAL_MM + scale * rect.width() + self.section_mm(scale), HEAD_MM + scale * rect.height() + FOOT_MM)
    }
}

/// The largest scale at which all fit side by side into `room_mm` (width, height) of paper.
pub fn divisor(all: &[Mapped], room_mm: (f64, f64)) -> f64 {
    let fits = |n: &f64| {
        let sizes: Vec<(f64, f64)> = all.iter().map(|m| m.size_mm(*n)).collect();
        sizes.iter().map(|s| s.0).sum::<f64>() <= room_mm.0 && sizes.iter().all(|s| s.1 <= room_mm.1)
    };
    DIVISORS.into_iter().find(fits).unwrap_or(5.0)
}

/// Draws one foot; `times` is how much larger section A-A draws differences.
pub fn picture(m: &Mapped, steps: &Steps, divisor: f64, times: f64) -> Picture {
    let (width, height) = m.size_mm(divisor);
    let mut drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing plan")
        .set("role", "img")
        .add(ink::title(format!("Map of differences, {} foot, seen from above, toes up", m.map.side.name())));
    if let Some(rect) = m.rect() {
        let scale = 1.0 / divisor;
        let medial = bench_from_foot(m.map.side).place(Point2::new(1.0, 0.0)).x;
        let lateral_x = if medial > 0.0 { LATERAL_MM } else { width - LATERAL_MM };
        let origin = Point2::new(lateral_x - medial * scale * rect.x0, HEAD_MM + scale * rect.y1);
        let laid = Laid::new(m.map.side, origin, scale);
        let (map, coarser) = differences::draw(&m.map, steps, &laid);
        drawing = drawing.add(planes(m, &laid, rect)).add(map).add(heading(m, &laid, rect, medial, divisor));
        if let Some(mm) = coarser {
            let words = format!("lines averaged over {mm} mm");
            drawing = drawing.add(ink::label("t soft", Point2::new(0.4, height - 0.9), Anchor::Start, words));
        }
        let board_x = if medial > 0.0 { width - BEHIND_MM } else { BEHIND_MM };
        if let Some(a) = &m.against {
            let paper = |y: f64, z: f64| Point2::new(board_x - medial * scale * z, origin.y - scale * y);
            let middle = board_x - 0.5 * medial * scale * a.peak(a.axis());
            let drawn = if times == 1.0 { String::new() } else { format!(" \u{d7}{times}") };
            let words = format!("A-A {}{drawn}", m.map.side.letter());
            let at = Point2::new(middle, laid.at(Point2::new(0.0, rect.y1)).y - 2.6);
            drawing = drawing.add(against::profile(a, a.axis(), times, Lettering::Upright, &paper)).add(ink::label(
                "t b",
                at,
                Anchor::Middle,
                words,
            ));
        }
    }
    Picture { svg: drawing.to_string(), width, height, divisor }
}

/// The side's letter in the corner that the toes leave free, and the scale.
fn heading(m: &Mapped, laid: &Laid, rect: Rect, medial: f64, divisor: f64) -> Group {
    let corner = laid.at(Point2::new(rect.x0, rect.y1));
    let anchor = if medial > 0.0 { Anchor::Start } else { Anchor::End };
    let x = corner.x - medial * (LATERAL_MM - 0.6);
    let letter = ink::label("side", Point2::new(x, 9.2), anchor, m.map.side.letter().to_string());
    Group::new().add(letter).add(ink::label("t soft", Point2::new(x, 12.8), anchor, format!("1:{divisor}")))
}

/// Short ends of the cutting planes outside the edge, with their letters.
fn planes(m: &Mapped, laid: &Laid, rect: Rect) -> Group {
    let cuts = [("B", Cut::Heel), ("C", Cut::Arch), ("D", Cut::Ball)];
    let group = cuts.into_iter().fold(ink::group("planes"), |group, (letter, cut)| {
        let y = cut.station(m.map.landmarks);
        let edges = std::iter::once(m.map.outline).chain(m.map.other).flat_map(|outline| crossings_at(outline, y));
        let (inner, outer) = edges.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
        if inner > outer {
            return group;
        }
        let (lateral, medial) = (laid.at(Point2::new(inner, y)), laid.at(Point2::new(outer, y)));
        let out = (lateral - medial).normalize();
        group
            .add(ink::line("w50", lateral + 0.6 * out, lateral + 2.4 * out))
            .add(ink::line("w50", medial - 0.6 * out, medial - 2.4 * out))
            .add(ink::label("t b", lateral + 4.2 * out + Vector2::new(0.0, 0.9), Anchor::Middle, letter))
    });
    let x = laid.at(m.map.landmarks.heel_centre).x;
    let (top, low) = (laid.at(Point2::new(0.0, rect.y1)).y, laid.at(Point2::new(0.0, rect.y0)).y);
    let end = |y: f64, down: f64| ink::line("w50", Point2::new(x, y + 0.6 * down), Point2::new(x, y + 2.4 * down));
    let letter = |y: f64| ink::label("t b", Point2::new(x + 2.2, y), Anchor::Middle, "A");
    group.add(end(top, -1.0)).add(end(low, 1.0)).add(letter(top - 1.2)).add(letter(low + 2.8))
}

/// Width of the scale's bar, mm of paper.
const BAR_MM: f64 = 70.0;
/// Its height, and the paper above it.
const BAR_HIGH_MM: f64 = 4.0;
const BAR_TOP_MM: f64 = 4.6;

/// How a map and its sections are to be read.
#[derive(Clone, Copy, Debug)]
pub struct Legend<'a> {
    /// Colours and lines.
    pub steps: &'a Steps,
    /// What is less what.
    pub words: &'a str,
    /// What the neutral band is.
    pub neutral: &'a str,
    /// What the thin line of a section is, and the thick one.
    pub lines: [&'a str; 2],
    /// How much larger sections draw differences.
    pub times: f64,
}

/// Draws the legend, `width` mm of paper wide.
pub fn legend(l: &Legend, width: f64) -> Picture {
    let (x0, steps) = (3.0, l.steps);
    let bar = (width - 2.0 * x0).min(BAR_MM);
    let x = |mm: f64| x0 + 0.5 * bar * (1.0 + mm / steps.reach_mm);
    let heading = format!("{}, mm; scale to \u{b1}{}", l.words, ink::coarse(steps.reach_mm));
    let group = ink::group("legend").add(ink::label("t b", Point2::new(0.4, 2.8), Anchor::Start, heading));
    let group = scale_bar(group, steps, &x);
    let (group, height) = keys(group, l, BAR_TOP_MM + BAR_HIGH_MM + 6.4, width);
    let svg = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing legend")
        .set("role", "img")
        .add(ink::title("How the map of differences is to be read"))
        .add(group);
    Picture { svg: svg.to_string(), width, height, divisor: 1.0 }
}

fn scale_bar(group: Group, steps: &Steps, x: &dyn Fn(f64) -> f64) -> Group {
    let (top, low) = (BAR_TOP_MM, BAR_TOP_MM + BAR_HIGH_MM);
    let block =
        |from: f64, to: f64| [(from, top), (to, top), (to, low), (from, low)].map(|(mm, y)| Point2::new(x(mm), y));
    let reach = steps.reach_mm;
    let mut group = group.add(ink::shape("", &block(-reach, reach)).set("fill", diverging::cool_warm(0.5)));
    let levels = steps.levels();
    for sign in [-1.0, 1.0] {
        for (k, level) in levels.iter().enumerate() {
            let to = levels.get(k + 1).copied().unwrap_or(reach);
            let colour = steps.band_colour(&levels, k, sign);
            group = group.add(ink::shape("", &block(sign * level, sign * to)).set("fill", colour));
        }
    }
    let mut free = f64::NEG_INFINITY;
    let ends: Vec<f64> = levels.iter().copied().chain([reach]).collect();
    let ticks: Vec<f64> = ends.iter().rev().map(|v| -v).chain([0.0]).chain(ends.iter().copied()).collect();
    for mm in ticks {
        let class = match mm {
            mm if mm.abs() == steps.neutral_mm => "level edge",
            _ => "level",
        };
        let class = if mm < 0.0 { format!("{class} lower") } else { class.to_string() };
        let at = x(mm);
        if mm != 0.0 && mm.abs() != reach {
            group = group.add(ink::line(&class, Point2::new(at, top), Point2::new(at, low)));
        }
        let words = match mm {
            0.0 => "0".to_string(),
            mm => format!("{}{}", if mm > 0.0 { "+" } else { "\u{2212}" }, ink::coarse(mm.abs())),
        };
        let half = 0.5 * ink::width_of(&words, ink::SMALL_MM);
        if at - half > free {
            group = group.add(ink::label("t", Point2::new(at, low + 2.8), Anchor::Middle, words));
            free = at + half + 0.6;
        }
    }
    group.add(ink::shape("w25", &block(-reach, reach)))
}

/// Draws a sample of a line or a mark at a place.
type Sample = Box<dyn Fn(Point2) -> Group>;

/// Samples of lines and marks with their words, in as many rows as the width needs.
fn keys(group: Group, l: &Legend, top: f64, width: f64) -> (Group, f64) {
    const SAMPLE_MM: f64 = 6.0;
    let line = |class: &'static str| {
        move |at: Point2| Group::new().add(ink::line(class, at, at + Vector2::new(SAMPLE_MM, 0.0)))
    };
    let patch = |at: Point2| -> [Point2; 4] {
        [(0.0, -1.3), (SAMPLE_MM, -1.3), (SAMPLE_MM, 1.3), (0.0, 1.3)].map(|(x, y)| at + Vector2::new(x, y))
    };
    let mark = |sign: f64| move |at: Point2| Group::new().add(triangle(at + Vector2::new(0.5 * SAMPLE_MM, 0.0), sign));
    let ground = move |at: Point2| {
        Group::new().add(ink::shape("w13", &patch(at)).set("style", format!("fill:{}", diverging::cool_warm(0.5))))
    };
    let gap = move |at: Point2| {
        let strokes = hatch::strokes(&patch(at), 1.1).into_iter();
        strokes.fold(Group::new().add(ink::shape("w13", &patch(at))), |g, (a, b)| g.add(ink::line("w13", a, b)))
    };
    let larger = if l.times == 1.0 { String::new() } else { format!(", differences \u{d7} {}", l.times) };
    let all: [(Sample, String); 8] = [
        (Box::new(line("key")), "higher".into()),
        (Box::new(line("key lower")), "lower".into()),
        (Box::new(mark(1.0)), "greatest".into()),
        (Box::new(mark(-1.0)), "least".into()),
        (Box::new(gap), "no data".into()),
        (Box::new(ground), l.neutral.to_string()),
        (Box::new(line("w13")), format!("sections: {}", l.lines[0])),
        (Box::new(line("w50")), format!("{}{larger}", l.lines[1])),
    ];
    let (mut x, mut y) = (0.4, top);
    let mut group = group;
    for (sample, words) in all {
        let wide = SAMPLE_MM + 1.2 + ink::width_of(&words, ink::SMALL_MM);
        if x > 0.4 && x + wide > width {
            (x, y) = (0.4, y + 3.8);
        }
        group = group.add(sample(Point2::new(x, y))).add(ink::label(
            "t",
            Point2::new(x + SAMPLE_MM + 1.2, y + 0.9),
            Anchor::Start,
            words,
        ));
        x += wide + 3.0;
    }
    (group, y + 2.4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_legend_is_symmetric_and_states_its_range() {
        let steps = Steps::covering(1.03, 0.1);
        let l = Legend {
            steps: &steps,
            words: "new less old",
            neutral: "within \u{b1}0.1",
            lines: ["old", "new"],
            times: 2.0,
        };
        let svg = legend(&l, 100.0).svg;
        assert!(svg.contains("scale to \u{b1}1.2") && svg.contains("new, differences \u{d7} 2"));
        for level in ["0.2", "0.4", "1.2"] {
            assert!(svg.contains(&format!("\n+{level}\n")) && svg.contains(&format!("\n\u{2212}{level}\n")), "{level}");
        }
        assert_eq!(svg.matches("class=\"mark\"").count(), 2);
    }
}
