//! Tries that no two words of a drawing lie on each other, whatever the job. Boxes are laid out by
//! [`ink::width_of`], so they are as true as it is.

use usvg::roxmltree::{Document, Node};

use super::data::{NoteRow, SheetData};
use super::ink;
use super::sample::{Sample, job};
use super::sheet_html;
use crate::frame::{Point2, Rect, Side};
use crate::limits::Severity;
use crate::value::Value;

/// Capitals stand this high above the base line and tails hang this low, shares of the size, read
/// off Liberation Sans.
const CAPITALS: f64 = 0.72;
const TAILS: f64 = 0.2;

fn boxes(html: &str) -> Vec<Vec<(String, Rect)>> {
    let pictures = html.split("<svg").skip(1).filter_map(|t| t.split("</svg>").next());
    pictures.map(|picture| words_in(&format!("<svg{picture}</svg>"))).collect()
}

fn words_in(svg: &str) -> Vec<(String, Rect)> {
    let document = Document::parse(svg).expect("well-formed SVG");
    document.descendants().filter(|n| n.has_tag_name("text")).map(|n| word(&n)).collect()
}

fn word(node: &Node) -> (String, Rect) {
    let words = node.text().unwrap_or("").trim().to_string();
    let number = |name: &str| node.attribute(name).and_then(|v| v.parse::<f64>().ok()).expect("a place");
    let (x, y) = (number("x"), number("y"));
    let size = if node.attribute("class") == Some("side") { 11.0 } else { ink::SMALL_MM };
    let width = ink::width_of(&words, size);
    let left = match node.attribute("text-anchor") {
        Some("middle") => -width / 2.0,
        Some("end") => -width,
        _ => 0.0,
    };
    let level = Rect { x0: left, y0: -CAPITALS * size, x1: left + width, y1: TAILS * size };
    // Upright words are turned by -90 about their own place: (dx, dy) becomes (dy, -dx).
    let turned = if node.attribute("transform").is_some() {
        Rect { x0: level.y0, y0: -level.x1, x1: level.y1, y1: -level.x0 }
    } else {
        level
    };
    let rect = Rect { x0: x + turned.x0, y0: y + turned.y0, x1: x + turned.x1, y1: y + turned.y1 };
    (words, rect)
}

fn meet(a: &Rect, b: &Rect) -> bool {
    a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1
}

fn overlaps(html: &str) -> Vec<String> {
    let mut found = Vec::new();
    for words in boxes(html) {
        for (k, (one, a)) in words.iter().enumerate() {
            let hit = words.iter().skip(k + 1).filter(|(_, b)| meet(a, b));
            found.extend(hit.map(|(other, b)| format!("{one} / {other}: {a:?} {b:?}")));
        }
    }
    found
}

/// The sheet of feet of `length` with what `change` makes of it.
fn sheet(length: f64, sides: &[Side], relieved: bool, change: impl FnOnce(&mut SheetData)) -> String {
    let sample = Sample::of_length(length);
    let top = |p: Point2| sample.top(p);
    let hollow = |p: Point2| if relieved { (sample.top(p) - 3.0).max(0.0) } else { 0.0 };
    let mut data = job(sides.iter().map(|side| sample.foot(*side, &top, &hollow)).collect());
    change(&mut data);
    sheet_html(&data).expect("a page")
}

#[test]
fn no_words_of_a_drawing_lie_on_others() {
    for length in [170.0, 200.0, 235.0, 270.0, 300.0, 320.0] {
        for sides in [&Side::BOTH[..], &[Side::Left], &[Side::Right]] {
            for relieved in [false, true] {
                let found = overlaps(&sheet(length, sides, relieved, |_| {}));
                assert!(found.is_empty(), "{length} mm, {sides:?}, relieved {relieved}: {found:#?}");
            }
        }
    }
}

#[test]
fn long_numbers_and_near_stations_keep_apart() {
    for share in [0.16, 0.3, 0.42, 0.5, 0.6, 0.72, 0.8] {
        let html = sheet(170.0, &Side::BOTH, false, |data| {
            for foot in &mut data.feet {
                foot.landmarks.flex_zone = Some(Point2::new(0.0, share * 170.0));
                for row in foot.values.iter_mut().filter(|row| row.value != Value::HeelCupWidth) {
                    row.asked = row.asked.map(|v| v + 0.25);
                }
            }
        });
        let found = overlaps(&html);
        assert!(found.is_empty(), "flex zone at {share}: {found:#?}");
    }
}

#[test]
fn a_crowd_of_balloons_at_one_place_keeps_apart() {
    for (count, station) in [(8, 40.0), (12, 110.0), (14, 230.0)] {
        let html = sheet(270.0, &Side::BOTH, false, |data| {
            let row = |k: usize| NoteRow {
                severity: [Severity::Stop, Severity::Caution, Severity::Note][k % 3],
                limit: format!("limit_{k}"),
                at: Some(Point2::new(0.0, station)),
                measured: "1 mm".into(),
                allowed: "2 mm".into(),
                message: format!("Message {k}."),
                advice: "Change it.".into(),
                accepted: None,
            };
            data.feet[0].notes = (0..count).map(row).collect();
        });
        let found = overlaps(&html);
        assert!(found.is_empty(), "{count} at {station}: {found:#?}");
    }
}

#[test]
fn words_on_each_other_are_found() {
    let picture = |x: i32| {
        format!(
            "<svg><text class=\"t\" x=\"0\" y=\"9\">heel width</text><text class=\"t\" x=\"{x}\" y=\"9\">b</text></svg>"
        )
    };
    assert_eq!(overlaps(&picture(5)).len(), 1);
    assert!(overlaps(&picture(40)).is_empty());
}
