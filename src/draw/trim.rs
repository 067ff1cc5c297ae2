//! The trim outline at 1:1: what a technician prints, checks with a rule, glues on and cuts along.
//! Plain attributes and no style sheet, so that any drawing program and any cutter reads it.

use svg::Document;
use svg::node::element::{Circle, Group, Line, Path, Rectangle, Text, Title};

use super::cautions;
use super::data::{DrawError, DrawnFoot, check_foot};
use super::ink::{self, Anchor, num};
use crate::frame::{Point2, Rect, bench_from_foot};

/// A4 standing, mm (ISO 216).
const PAGE_MM: (f64, f64) = (210.0, 297.0);
/// What office printers leave blank on each edge, mm (common practice, no source). It allows
/// outlines of 287 mm on one page.
const EDGE_MM: f64 = 5.0;
/// On a longer sheet, pages join at this pitch, mm: A4 less 10 mm above and below for overlap.
const TILE_MM: f64 = 277.0;
/// From the left edge of the paper to the outline, mm.
const LEFT_MM: f64 = 9.0;
/// The column of words and bars beside the outline, mm.
const COLUMN_MM: f64 = 84.0;
/// Length of the check bar, mm. It stands along the feed of a printer, where scale errs most.
const BAR_MM: f64 = 100.0;
/// Length of the second bar across, mm: a printer may stretch one way only.
const ACROSS_MM: f64 = 50.0;
/// The ink: black-blue.
const INK: &str = "#15233f";

/// The trim outline of one footbed as an SVG document in mm, with a bar to check the print by.
///
/// The element `outline` is one path through the points of [`DrawnFoot::outline`] in the bench
/// frame, to 0.001 mm; the element `check-bar` is a path of exactly 100 mm.
pub fn trim_svg(foot: &DrawnFoot, code: &str, revision: u32) -> Result<String, DrawError> {
    check_foot(foot)?;
    let page = Page::around(foot);
    let mut drawing = Document::new()
        .set("width", format!("{}mm", num(page.width)))
        .set("height", format!("{}mm", num(page.height)))
        .set("viewBox", format!("0 0 {} {}", num(page.width), num(page.height)))
        .set("font-family", "Helvetica Neue, Arial, Liberation Sans, sans-serif")
        .set("fill", INK)
        .add(Title::new(format!(
            "{code} revision {revision} {} foot, trim outline 1:1, seen from above",
            foot.side.name()
        )));
    for part in [lines(&page), marks(&page), inside(&page, code, revision), tiles(&page)] {
        drawing = drawing.add(part);
    }
    drawing = drawing.add(column_words(&page)).add(bars(&page)).add(title_block(&page, code, revision));
    Ok(format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{drawing}\n"))
}

/// Where things lie on the paper.
struct Page<'a> {
    foot: &'a DrawnFoot<'a>,
    width: f64,
    height: f64,
    /// Paper place of the bench frame's origin, whole mm so that rounding stays that of the input.
    origin: Point2,
    /// Extent of the outline on paper.
    rect: Rect,
    /// Left edge of the column of words.
    column: f64,
    /// Lower end of the column: the paper's, or where the first A4 page joins the next.
    floor: f64,
}

impl<'a> Page<'a> {
    fn around(foot: &'a DrawnFoot<'a>) -> Page<'a> {
        let place = bench_from_foot(foot.side);
        let bench: Vec<Point2> = foot.outline.iter().map(|p| place.place(*p)).collect();
        let size = Rect::around(&bench).unwrap_or(Rect { x0: 0.0, y0: 0.0, x1: 0.0, y1: 0.0 });
        let fits = size.height() <= PAGE_MM.1 - 2.0 * EDGE_MM;
        let height = if fits { PAGE_MM.1 } else { (size.height() + 20.0).ceil() };
        let above = ((height - size.height()) / 2.0).min(14.0);
        // Rounding the origin to whole mm may take half a mm from the margins and no more.
        let origin = Point2::new((LEFT_MM - size.x0).round(), (above + size.y1).round());
        let rect =
            Rect { x0: origin.x + size.x0, y0: origin.y - size.y1, x1: origin.x + size.x1, y1: origin.y - size.y0 };
        let width = PAGE_MM.0.max((rect.x1 + COLUMN_MM + 14.0).ceil());
        let floor = if fits { height } else { TILE_MM };
        Page { foot, width, height, origin, rect, column: width - COLUMN_MM - 8.0, floor }
    }

    fn at(&self, p: Point2) -> Point2 {
        let bench = bench_from_foot(self.foot.side).place(p);
        Point2::new(self.origin.x + bench.x, self.origin.y - bench.y)
    }

    /// The direction of the medial side on paper, +1 or -1.
    fn medial(&self) -> f64 {
        bench_from_foot(self.foot.side).place(Point2::new(1.0, 0.0)).x
    }
}

fn stroke(a: Point2, b: Point2, width: f64) -> Line {
    let line = Line::new().set("x1", num(a.x)).set("y1", num(a.y)).set("x2", num(b.x)).set("y2", num(b.y));
    line.set("stroke", INK).set("stroke-width", num(width))
}

fn chain(a: Point2, b: Point2) -> Line {
    stroke(a, b, 0.25).set("stroke-dasharray", "10 1.5 1 1.5")
}

fn words(at: Point2, size: f64, anchor: Anchor, text: impl Into<String>) -> Text {
    let name = match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    Text::new(text).set("x", num(at.x)).set("y", num(at.y)).set("font-size", num(size)).set("text-anchor", name)
}

fn upward(at: Point2, size: f64, text: &str) -> Text {
    words(at, size, Anchor::Middle, text).set("transform", format!("rotate(-90 {} {})", num(at.x), num(at.y)))
}

/// Outline, bevel and tabs.
fn lines(page: &Page) -> Group {
    let loop_of = |points: &[Point2]| {
        let points: Vec<Point2> = points.iter().map(|p| page.at(*p)).collect();
        Path::new().set("d", ink::path_data(&points, true, num)).set("fill", "none").set("stroke", INK)
    };
    let outline =
        loop_of(page.foot.outline).set("id", "outline").set("stroke-width", "0.4").set("stroke-linejoin", "round");
    let group = Group::new().add(outline);
    let group = match &page.foot.bevel {
        Some(bevel) => {
            let line = loop_of(bevel.line).set("id", "bevel").set("stroke-width", "0.25");
            group.add(line.set("stroke-dasharray", "3 1.5"))
        }
        None => group,
    };
    let middle = (page.rect.x0 + page.rect.x1) / 2.0;
    page.foot.tabs.iter().fold(group, |group, p| {
        let at = page.at(*p);
        let out = if at.x > middle { 4.0 } else { -4.0 };
        group.add(stroke(at, Point2::new(at.x + out, at.y), 0.8))
    })
}

/// Heel centre, long axis and met line.
fn marks(page: &Page) -> Group {
    let l = &page.foot.landmarks;
    let heel = page.at(l.heel_centre);
    let (left, right, low, high) =
        (Point2::new(heel.x - 6.0, heel.y), Point2::new(heel.x + 6.0, heel.y), page.rect.y1 + 3.0, page.rect.y0 - 3.0);
    let (gap_low, gap_high) = letter_gap(page);
    let (first, fifth) = (page.at(l.first_met), page.at(l.fifth_met));
    let lateral = if first.x < fifth.x { first } else { fifth };
    let tilt = (first.y - fifth.y).atan2(first.x - fifth.x).to_degrees();
    let tilt = if tilt.abs() > 90.0 { tilt - 180.0_f64.copysign(tilt) } else { tilt };
    let ring = Circle::new().set("cx", num(heel.x)).set("cy", num(heel.y)).set("r", "2.5");
    let met = words(lateral, 3.0, Anchor::Start, "met line")
        .set("transform", format!("rotate({} {} {}) translate(7 -1.2)", num(tilt), num(lateral.x), num(lateral.y)));
    Group::new()
        .add(ring.set("fill", "none").set("stroke", INK).set("stroke-width", "0.25"))
        .add(stroke(left, right, 0.25))
        .add(words(Point2::new(heel.x + 7.5, heel.y + 1.0), 3.0, Anchor::Start, "heel centre"))
        .add(chain(Point2::new(heel.x, low), Point2::new(heel.x, gap_low)))
        .add(chain(Point2::new(heel.x, gap_high), Point2::new(heel.x, high)))
        .add(chain(first, fifth))
        .add(dot(first))
        .add(dot(fifth))
        .add(met)
}

fn dot(at: Point2) -> Circle {
    Circle::new().set("cx", num(at.x)).set("cy", num(at.y)).set("r", "0.8")
}

/// Paper y of the lower and upper end of the axis' gap that the side letter stands in.
fn letter_gap(page: &Page) -> (f64, f64) {
    let l = &page.foot.landmarks;
    let middle = page.at(Point2::new(0.0, 0.5 * (l.heel_centre.y + l.fifth_met.y))).y;
    (middle + 25.0, middle - 25.0)
}

/// Side letter, code, words at the edges and the toe arrow.
fn inside(page: &Page, code: &str, revision: u32) -> Group {
    let (low, high) = letter_gap(page);
    let x = page.at(page.foot.landmarks.heel_centre).x;
    let letter =
        words(Point2::new(x, (low + high) / 2.0 + 10.0), 34.0, Anchor::Middle, page.foot.side.letter().to_string());
    let name = format!("{code} r{revision}");
    let size = ink::fitted(&name, 4.5, 0.55 * page.rect.width());
    let group = Group::new()
        .add(letter.set("font-weight", "700"))
        .add(words(Point2::new(x, high + 5.0), size, Anchor::Middle, name))
        .add(words(Point2::new(x, low - 6.5), 3.5, Anchor::Middle, "seen from above"));
    let y = page.at(page.foot.landmarks.medial_arch).y;
    let level = page.origin.y - y;
    let cuts = super::plan::crossings_at(page.foot.outline, level);
    let edge = |x: Option<&f64>, inward: f64| {
        let at = page.at(Point2::new(x.copied().unwrap_or(0.0), level));
        // The base line of upright words is at their right: 1.2 mm brings their middle to the place.
        Point2::new(at.x + inward * 6.5 + 1.2, at.y)
    };
    let group = group.add(upward(edge(cuts.first(), page.medial()), 3.5, "lateral")).add(upward(
        edge(cuts.last(), -page.medial()),
        3.5,
        "medial",
    ));
    toe_arrow(page, group)
}

fn toe_arrow(page: &Page, group: Group) -> Group {
    let x = page.at(page.foot.landmarks.heel_centre).x;
    let met = page.at(page.foot.landmarks.first_met).y;
    let tip = Point2::new(x, page.rect.y0 + 0.3 * (met - page.rect.y0));
    let corner = |dx: f64, dy: f64| format!("{},{}", num(tip.x + dx), num(tip.y + dy));
    let head = svg::node::element::Polygon::new()
        .set("points", [corner(0.0, 0.0), corner(-3.0, 8.0), corner(3.0, 8.0)].join(" "));
    let tail = stroke(Point2::new(x, tip.y + 8.0), Point2::new(x, tip.y + 22.0), 0.8);
    group.add(head).add(tail).add(words(Point2::new(x + 4.5, tip.y + 16.0), 4.5, Anchor::Start, "toes"))
}

/// Where A4 pages join when the sheet is longer than one: a line and crosses at both edges.
fn tiles(page: &Page) -> Group {
    let group = Group::new().set("id", "tile-marks");
    if page.height <= PAGE_MM.1 {
        return group;
    }
    let joins = (1..).map(|k| f64::from(k) * TILE_MM).take_while(|y| *y < page.height);
    joins.fold(group, |group, y| {
        let across = stroke(Point2::new(0.0, y), Point2::new(page.width, y), 0.13).set("stroke-dasharray", "2 2");
        let cross = |x: f64| stroke(Point2::new(x, y - 4.0), Point2::new(x, y + 4.0), 0.25);
        let text = words(
            Point2::new(page.width - 10.0, y - 2.0),
            3.0,
            Anchor::End,
            "A4 pages join on this line, cross on cross",
        );
        group.add(across).add(cross(6.0)).add(cross(page.width - 6.0)).add(text)
    })
}

/// What the lines mean, and the cautions.
fn column_words(page: &Page) -> Group {
    let top = 14.0;
    let mut legend: Vec<(String, Line)> = Vec::new();
    let sample = |width: f64| stroke(Point2::new(0.0, 0.0), Point2::new(14.0, 0.0), width);
    legend.push(("trim line: cut here".into(), sample(0.4)));
    if let Some(bevel) = &page.foot.bevel {
        legend.push((format!("bevel: {}", bevel.words), sample(0.25).set("stroke-dasharray", "3 1.5")));
    }
    legend.push(("long axis, met line".into(), sample(0.25).set("stroke-dasharray", "10 1.5 1 1.5")));
    if !page.foot.tabs.is_empty() {
        legend.push(("holding tab: part and sand".into(), sample(0.8)));
    }
    let heading =
        words(Point2::new(page.column, top), 5.0, Anchor::Start, "Trim outline 1:1").set("font-weight", "700");
    let after = top + 9.0 + 6.0 * legend.len() as f64;
    let group = legend.into_iter().enumerate().fold(Group::new().add(heading), |group, (k, (text, line))| {
        let y = top + 9.0 + 6.0 * k as f64;
        let line = line.set("transform", format!("translate({} {})", num(page.column), num(y - 1.2)));
        let size = ink::fitted(&text, 3.5, COLUMN_MM - 18.0);
        group.add(line).add(words(Point2::new(page.column + 18.0, y), size, Anchor::Start, text))
    });
    let lines = cautions::TRIMMING.into_iter().enumerate();
    lines.fold(group, |group, (k, text)| {
        group.add(words(Point2::new(page.column, after + 4.0 + 5.0 * k as f64), 3.5, Anchor::Start, text))
    })
}

/// The check bar of 100 mm along the paper and one of 50 mm across.
fn bars(page: &Page) -> Group {
    let low = (page.floor - 72.0).round();
    let x = (page.column + 6.0).round();
    let (top, y) = (low - BAR_MM, low);
    let bar = |id: &str, d: String| {
        Path::new().set("id", id).set("d", d).set("fill", "none").set("stroke", INK).set("stroke-width", "0.5")
    };
    let group = Group::new()
        .add(bar("check-bar", format!("M{} {}L{} {}", num(x), num(top), num(x), num(y))))
        .add(upward(Point2::new(x - 2.0, (top + y) / 2.0), 3.5, "must measure 100 mm"))
        .add(bar("check-bar-across", format!("M{} {}L{} {}", num(x + 20.0), num(y), num(x + 20.0 + ACROSS_MM), num(y))))
        .add(words(Point2::new(x + 20.0 + ACROSS_MM / 2.0, y + 4.8), 3.5, Anchor::Middle, "must measure 50 mm"));
    let group = (0..=10).fold(group, |group, k| {
        let at = top + 10.0 * f64::from(k);
        let reach = if k % 5 == 0 { 6.0 } else { 3.0 };
        let label = words(Point2::new(x + 7.5, at + 1.1), 3.0, Anchor::Start, (100 - 10 * k).to_string());
        let group = group.add(stroke(Point2::new(x, at), Point2::new(x + reach, at), 0.25));
        if k % 5 == 0 { group.add(label) } else { group }
    });
    (0..=5).fold(group, |group, k| {
        let at = x + 20.0 + 10.0 * f64::from(k);
        let reach = if k % 5 == 0 { 5.0 } else { 3.0 };
        group.add(stroke(Point2::new(at, y), Point2::new(at, y - reach), 0.25))
    })
}

/// Code, revision, foot, scale and what to check, in a frame at the lower right.
fn title_block(page: &Page, code: &str, revision: u32) -> Group {
    let (x, y, w, h) = (page.column, page.floor - 58.0, COLUMN_MM, 48.0);
    let frame = Rectangle::new().set("x", num(x)).set("y", num(y)).set("width", num(w)).set("height", num(h));
    let rule = |from: (f64, f64), to: (f64, f64)| {
        stroke(Point2::new(x + from.0, y + from.1), Point2::new(x + to.0, y + to.1), 0.25)
    };
    let cap = |dx: f64, dy: f64, text: &str| {
        words(Point2::new(x + dx, y + dy), 2.5, Anchor::Start, text).set("fill-opacity", "0.75")
    };
    let body =
        |dx: f64, dy: f64, size: f64, text: String| words(Point2::new(x + dx, y + dy), size, Anchor::Start, text);
    let side = page.foot.side;
    let letter = words(Point2::new(x + 73.0, y + 15.0), 15.0, Anchor::Middle, side.letter().to_string());
    Group::new()
        .add(frame.set("fill", "none").set("stroke", INK).set("stroke-width", "0.5"))
        .add(rule((0.0, 18.0), (w, 18.0)))
        .add(rule((0.0, 33.0), (w, 33.0)))
        .add(rule((62.0, 0.0), (62.0, 18.0)))
        .add(rule((28.0, 18.0), (28.0, 48.0)))
        .add(rule((56.0, 18.0), (56.0, 48.0)))
        .add(cap(2.0, 4.0, "code"))
        .add(body(2.0, 12.0, ink::fitted(code, 6.5, 54.0), code.to_string()).set("font-weight", "700"))
        .add(letter.set("font-weight", "700"))
        .add(cap(2.0, 22.0, "revision"))
        .add(body(2.0, 29.0, 5.0, revision.to_string()))
        .add(cap(30.0, 22.0, "foot"))
        .add(body(30.0, 29.0, 5.0, side.name().to_string()))
        .add(cap(58.0, 22.0, "scale, unit"))
        .add(body(58.0, 29.0, 5.0, "1:1, mm".to_string()))
        .add(cap(2.0, 37.0, "length x width"))
        .add(body(2.0, 44.0, 3.5, format!("{:.1} x {:.1}", page.rect.height(), page.rect.width())))
        .add(cap(30.0, 37.0, "bars measured"))
        .add(cap(58.0, 37.0, "trimmed by"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;
    use crate::frame::Side;

    fn drawn(sample: &Sample, side: Side) -> String {
        trim_svg(&sample.foot(side, &|_| 5.0, &|_| 0.0), "P-17", 2).expect("a drawing")
    }

    /// Points of the path with this id, as another reader would take them from the text.
    fn points_of(svg: &str, id: &str) -> Vec<(f64, f64)> {
        let end = svg.find(&format!("id=\"{id}\"")).expect("the element");
        let start = svg[..end].rfind("<path").expect("a path");
        let d = svg[start..].split("d=\"").nth(1).and_then(|t| t.split('"').next()).expect("path data");
        let pair = |text: &str| {
            let mut numbers = text.split(' ').map(|n| n.parse::<f64>().expect("a number"));
            (numbers.next().expect("x"), numbers.next().expect("y"))
        };
        d.trim_end_matches('Z').split(['M', 'L']).filter(|t| !t.is_empty()).map(pair).collect()
    }

    #[test]
    fn outline_is_the_input_in_the_bench_frame() {
        let sample = Sample::of_length(270.0);
        for (side, sign) in [(Side::Left, 1.0), (Side::Right, -1.0)] {
            let svg = drawn(&sample, side);
            let got = points_of(&svg, "outline");
            assert_eq!(got.len(), sample.outline.len());
            let shift = (got[0].0 - sign * sample.outline[0].x, got[0].1 + sample.outline[0].y);
            for (p, q) in got.iter().zip(&sample.outline) {
                // Paper's y runs down; three decimals round by at most half a thousandth.
                assert!((p.0 - sign * q.x - shift.0).abs() < 1.001e-3, "{p:?} {q:?}");
                assert!((p.1 + q.y - shift.1).abs() < 1.001e-3, "{p:?} {q:?}");
            }
        }
    }

    #[test]
    fn check_bar_is_100_mm_also_for_another_reader() {
        let svg = drawn(&Sample::of_length(270.0), Side::Left);
        let bar = points_of(&svg, "check-bar");
        assert_eq!(bar.len(), 2);
        assert_eq!((bar[0].0 - bar[1].0, (bar[0].1 - bar[1].1).abs()), (0.0, 100.0));
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
        let bar = tree.node_by_id("check-bar").expect("the bar").abs_bounding_box();
        // CSS: 96 px to 25.4 mm.
        approx::assert_relative_eq!(f64::from(bar.height()) * 25.4 / 96.0, 100.0, epsilon = 1e-3);
        approx::assert_relative_eq!(f64::from(tree.size().height()) * 25.4 / 96.0, 297.0, epsilon = 1e-3);
    }

    #[test]
    fn says_which_foot_it_is() {
        let sample = Sample::of_length(270.0);
        let (left, right) = (drawn(&sample, Side::Left), drawn(&sample, Side::Right));
        let says = |svg: &str, words: &str| svg.lines().any(|line| line == words);
        assert!(says(&left, "L") && says(&left, "left") && !says(&left, "R") && !says(&left, "right"));
        assert!(says(&right, "R") && says(&right, "right") && !says(&right, "L") && !says(&right, "left"));
        assert!([left, right].iter().all(|svg| says(svg, "seen from above") && says(svg, "toes")));
    }

    #[test]
    fn a_long_outline_takes_a_longer_sheet_with_marks() {
        let short = drawn(&Sample::of_length(286.0), Side::Left);
        let long = drawn(&Sample::of_length(310.0), Side::Left);
        assert!(short.contains("height=\"297mm\"") && !short.contains("pages join"));
        assert!(long.contains("height=\"330mm\"") && long.contains("pages join"));
    }

    #[test]
    fn everything_lies_on_the_paper() {
        for length in [150.0, 270.0, 287.0, 340.0] {
            let svg = drawn(&Sample::of_length(length), Side::Right);
            let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
            let (size, drawing) = (tree.size(), tree.root().abs_stroke_bounding_box());
            assert!(drawing.left() >= 0.0 && drawing.right() <= size.width() + 0.01, "{length}");
            assert!(drawing.top() >= 0.0 && drawing.bottom() <= size.height() + 0.01, "{length}");
        }
    }

    #[test]
    fn markup_in_the_code_is_text() {
        let sample = Sample::of_length(270.0);
        let foot = sample.foot(Side::Left, &|_| 5.0, &|_| 0.0);
        let svg = trim_svg(&foot, "<script>&\"'</script>", 1).expect("a drawing");
        assert!(!svg.contains("<script") && svg.contains("&lt;script&gt;&amp;"));
        usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
    }

    #[test]
    fn what_cannot_be_drawn_is_told() {
        let sample = Sample::of_length(270.0);
        let mut foot = sample.foot(Side::Left, &|_| 5.0, &|_| 0.0);
        foot.landmarks.dome.x = f64::NAN;
        assert!(matches!(trim_svg(&foot, "P", 1), Err(DrawError::NotFinite { what: "a landmark", .. })));
        foot.outline = &sample.outline[..2];
        assert!(matches!(trim_svg(&foot, "P", 1), Err(DrawError::ShortOutline { count: 2, .. })));
        let inches = Sample::of_length(10.6);
        let foot = inches.foot(Side::Left, &|_| 5.0, &|_| 0.0);
        assert!(matches!(trim_svg(&foot, "P", 1), Err(DrawError::OutlineSize { .. })));
    }

    #[test]
    fn picture() {
        let mut sample = Sample::of_length(270.0);
        sample.outline = sample.outline.into_iter().step_by(16).collect();
        sample.bevel = sample.bevel.into_iter().step_by(16).collect();
        insta::assert_snapshot!(drawn(&sample, Side::Right));
    }
}
