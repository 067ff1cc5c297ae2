//! A pair in its blank as it lies on the bed, seen from above: pieces, toes, clamps, zero, and what
//! is engraved. Small; it is measured from job.json, and looked at here.

use svg::node::element::SVG;

use super::data::{LaidFoot, LayData};
use super::ink::{self, Anchor};
use super::plan::Picture;
use crate::frame::{Point2, Rect};
use crate::grid::contour;

/// Room of the picture, mm of paper.
const ROOM_MM: (f64, f64) = (44.0, 26.0);
/// Paper around the blank: clamps that stand out, and the zero's mark.
const AROUND_MM: f64 = 2.6;
/// Width of the line around the blank, as the class of its stroke says, mm of paper.
const EDGE_MM: f64 = 0.5;
/// Legs of the zero's mark, mm of paper.
const ZERO_MM: f64 = 2.4;
/// Scales to choose from, as 1:n.
const DIVISORS: [f64; 6] = [5.0, 6.0, 8.0, 10.0, 15.0, 20.0];

/// Draws the lay at the largest scale that fits its room.
pub fn picture(lay: &LayData) -> Picture {
    let [width, length] = lay.blank_mm;
    let last = DIVISORS.last().copied().unwrap_or(20.0);
    let size = |n: f64| (width / n + 2.0 * AROUND_MM, length / n + 2.0 * AROUND_MM);
    let fits = |n: &f64| size(*n).0 <= ROOM_MM.0 && size(*n).1 <= ROOM_MM.1;
    let divisor = DIVISORS.into_iter().find(fits).unwrap_or(last);
    let (w, h) = size(divisor);
    let at = |p: Point2| Point2::new(AROUND_MM + p.x / divisor, h - AROUND_MM - p.y / divisor);
    let drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(w), ink::coarse(h)))
        .set("class", "drawing lay")
        .set("role", "img")
        .add(ink::title("Both pieces in their blank, seen from above"));
    // The line stands around the blank, and not over what is engraved near its edge.
    let blank = Rect { x0: 0.0, y0: 0.0, x1: width, y1: length }.grown(0.5 * EDGE_MM * divisor);
    let blank = corners(blank).map(at);
    let drawing = drawing.add(ink::curve("w50", &blank, true));
    let drawing = lay.clamps.iter().fold(drawing, |drawing, clamp| {
        let [a, b, c, d] = corners(shown(*clamp, lay.blank_mm, AROUND_MM * divisor)).map(at);
        drawing.add(ink::curve("w50", &[a, b, c, d], true)).add(ink::line("w25", a, c)).add(ink::line("w25", b, d))
    });
    let drawing = lay.feet.iter().fold(drawing, |drawing, foot| draw_foot(drawing, foot, &at));
    // Zero: a filled corner outside the marked one, which it points at.
    let zero = at(Point2::origin());
    let corner = [zero, Point2::new(zero.x - ZERO_MM, zero.y), Point2::new(zero.x, zero.y + ZERO_MM)];
    Picture { svg: drawing.add(ink::shape("ink-fill", &corner)).to_string(), width: w, height: h, divisor }
}

fn draw_foot(drawing: SVG, foot: &LaidFoot, at: &impl Fn(Point2) -> Point2) -> SVG {
    let outline: Vec<Point2> = foot.outline.iter().map(|p| at(*p)).collect();
    let outline = contour::simplified(&outline, 0.02);
    let Some(rect) = Rect::around(&outline) else { return drawing };
    let middle = Point2::new(0.5 * (rect.x0 + rect.x1), 0.5 * (rect.y0 + rect.y1));
    // The arrow lies ahead of the letter, towards the toes.
    let toes = if foot.toes_down { 1.0 } else { -1.0 };
    let (tail, tip) = (Point2::new(middle.x, middle.y + toes * 3.2), Point2::new(middle.x, middle.y + toes * 8.2));
    let drawing = drawing
        .add(ink::curve("w25", &outline, true))
        .add(ink::line("w25", tail, tip))
        .add(ink::arrowhead(tip, 0.0, toes))
        .add(ink::label("t", Point2::new(middle.x, middle.y + 0.9), Anchor::Middle, foot.side.letter().to_string()));
    foot.mark.iter().fold(drawing, |drawing, stroke| {
        let stroke: Vec<Point2> = stroke.iter().map(|p| at(*p)).collect();
        drawing.add(ink::curve("w13", &stroke, false))
    })
}

fn corners(rect: Rect) -> [Point2; 4] {
    let Rect { x0, y0, x1, y1 } = rect;
    [(x0, y0), (x1, y0), (x1, y1), (x0, y1)].map(|(x, y)| Point2::new(x, y))
}

/// The part of a clamp that the paper has room for.
fn shown(clamp: Rect, blank_mm: [f64; 2], around_mm: f64) -> Rect {
    let [x, y] = blank_mm.map(|size| move |v: f64| v.clamp(-around_mm, size + around_mm));
    Rect { x0: x(clamp.x0), y0: y(clamp.y0), x1: x(clamp.x1), y1: y(clamp.y1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marks near the edge lay under the line around the blank, and under the zero's mark.
    #[test]
    fn what_is_drawn_of_the_blank_leaves_all_of_it_free() {
        let lay = LayData { blank_mm: [120.0, 160.0], feet: vec![], clamps: vec![], words: String::new() };
        let picture = picture(&lay);
        let (x0, y0) = (AROUND_MM, picture.height - AROUND_MM);
        let half = 0.5 * EDGE_MM;
        let (_, line) = picture.svg.split_once("<path class=\"w50\" d=\"").or(picture.svg.split_once(" d=\"")).unwrap();
        let numbers = |text: &str| -> Vec<f64> {
            let end = text.find('"').unwrap();
            text[..end]
                .split(|c: char| !(c.is_ascii_digit() || "-.".contains(c)))
                .filter_map(|n| n.parse().ok())
                .collect()
        };
        let corner = numbers(line);
        assert!(corner[0] <= x0 - half + 0.01 && corner[1] >= y0 + half - 0.01, "{corner:?}");
        let (_, zero) = picture.svg.split_once("points=\"").unwrap();
        let zero = numbers(zero);
        assert!(zero.chunks(2).all(|p| p[0] <= x0 + 0.01 && p[1] >= y0 - 0.01), "{zero:?}");
        assert!(zero.chunks(2).all(|p| p[0] >= 0.0 && p[1] <= picture.height), "{zero:?}");
    }
}
