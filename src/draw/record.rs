//! The inspection record: one page a piece, with every value on a strip of its tolerance, the places
//! where it was measured or the map of a scan, what to do next, and room for a signature.

use serde::Serialize;
use svg::Document;
use svg::node::element::Group;

use super::data::{DrawError, Landmarks};
use super::ink::{self, Anchor};
use super::record_map::{self, MapPart, RecordMap};
use super::record_words::Words;
use super::sheet::render;
use crate::frame::{Point2, Rect, bench_from_foot};
use crate::inspect::{Inspection, Judged, Verdict};
use crate::profile::{Band, Tolerances};
use crate::value::{Value, figure, signed};

const PAGE: &str = include_str!("templates/record.html");
const MAP_STYLE: &str = include_str!("templates/map.css");

/// What A4 and Letter, both standing, have in common inside margins of 8 mm, and a little less.
const SHEET_MM: (f64, f64) = (194.0, 262.0);
/// Heading, head of the table, foot and the gaps between them, mm, as the style sheet sets them.
const FRAME_MM: f64 = 46.0;
/// Height of a row of the table, mm: alone, and with a map.
const ROW_MM: [f64; 2] = [5.9, 4.9];
/// Height of a line that counts what is not on paper, mm.
const COUNT_MM: f64 = 6.5;
/// Most rows on paper, so that the plan or the map below them keeps its room.
const MOST_ROWS: [usize; 2] = [22, 18];
/// Letters and lines of words, mm, without a map and with one: 10 and 8.5 points.
const LETTERS_MM: [(f64, f64); 2] = [(3.53, 4.6), (3.0, 3.9)];

/// What a record is drawn from, besides what was found.
#[derive(Clone, Copy)]
#[allow(missing_docs)]
pub struct RecordData<'a> {
    pub code: &'a str,
    pub revision: u32,
    pub material: &'a str,
    pub machine: &'a str,
    /// SHA-256 of the ticket, hexadecimal.
    pub ticket_sha256: &'a str,
    /// What a person wrote with it; may be empty.
    pub note: &'a str,
    /// The trim outline, foot frame.
    pub outline: &'a [Point2],
    pub landmarks: &'a Landmarks,
    pub tolerances: &'a Tolerances,
    pub inspection: &'a Inspection,
    /// What a scan showed; `None` of a piece that was measured by gauge alone.
    pub map: Option<RecordMap<'a>>,
}

/// The record as one HTML page that prints to one sheet.
pub fn record_html(data: &RecordData) -> Result<String, DrawError> {
    let inspection = data.inspection;
    let value_rows = inspection.values.iter().map(|(value, judged)| {
        let band = data.tolerances.bands.get(value).copied();
        Row::new(value.words(), judged, band)
    });
    let check_rows = inspection.checks.iter().map(|found| {
        let place = found.at_mm.map_or(String::new(), |[x, y]| format!(", x {x:.0} y {y:.0}"));
        Row::new(format!("{}{place}", found.check.words()), &found.judged, Some(found.check.band(data.tolerances)))
    });
    let mut rows: Vec<Row> = value_rows.chain(check_rows).collect();
    let kind = usize::from(data.map.is_some());
    keep_gravest(&mut rows, MOST_ROWS[kind]);
    let shown = rows.iter().filter(|row| !row.overflow).count();
    let counted = if shown < rows.len() { COUNT_MM } else { 0.0 };
    let height = SHEET_MM.1 - FRAME_MM - ROW_MM[kind] * shown as f64 - counted;
    let map = data.map.as_ref().map(|map| record_map::part(data, map, SHEET_MM.0, height));
    let (room, width) = match &map {
        Some(map) => (map.words_mm, map.beside_mm.parse().unwrap_or(100.0)),
        None => (height, SHEET_MM.0 - 101.0),
    };
    let words = Words::fitting(data, &map, room - COUNT_MM, width - 5.0, LETTERS_MM[kind]);
    let page = Page {
        code: data.code,
        revision: data.revision,
        side: inspection.side.letter(),
        side_words: inspection.side.name(),
        verdict: inspection.verdict.word(),
        good: inspection.verdict == Verdict::Accept,
        material: data.material,
        machine: data.machine,
        checksum: super::tables::short(data.ticket_sha256),
        tolerances: &data.tolerances.title,
        note: data.note,
        sheet_mm: [SHEET_MM.0, SHEET_MM.1],
        more_rows: rows.len() - shown,
        rows,
        words,
        plan: if map.is_some() { String::new() } else { plan(data) },
        map,
        map_style: MAP_STYLE,
    };
    render("record.html", PAGE, &page)
}

#[derive(Serialize)]
struct Page<'a> {
    code: &'a str,
    revision: u32,
    side: char,
    side_words: &'static str,
    verdict: &'static str,
    good: bool,
    material: &'a str,
    machine: &'a str,
    checksum: String,
    tolerances: &'a str,
    note: &'a str,
    sheet_mm: [f64; 2],
    rows: Vec<Row>,
    more_rows: usize,
    words: Words,
    plan: String,
    map: Option<MapPart>,
    map_style: &'static str,
}

/// Marks the rows that paper has no room for: those with the lightest verdict, from the end.
fn keep_gravest(rows: &mut [Row], most: usize) {
    let off = rows.len().saturating_sub(most);
    let mut lightest: Vec<&mut Row> = rows.iter_mut().rev().collect();
    lightest.sort_by_key(|row| row.weight);
    lightest.into_iter().take(off).for_each(|row| row.overflow = true);
}

#[derive(Serialize)]
struct Row {
    words: String,
    unit: &'static str,
    asked: String,
    made: String,
    difference: String,
    uncertainty: String,
    readings: usize,
    verdict: &'static str,
    good: bool,
    strip: String,
    #[serde(skip)]
    weight: Verdict,
    /// Whether paper has no room for it.
    overflow: bool,
}

impl Row {
    fn new(words: String, judged: &Judged, band: Option<Band>) -> Row {
        Row {
            words,
            unit: judged.unit,
            asked: figure(judged.asked, 2),
            made: figure(judged.made, 2),
            difference: signed(judged.difference, 2),
            uncertainty: format!("{:.2}", judged.uncertainty),
            readings: judged.readings,
            verdict: judged.verdict.word(),
            good: judged.verdict == Verdict::Accept,
            strip: band.map_or(String::new(), |band| strip(judged, band)),
            weight: judged.verdict,
            overflow: false,
        }
    }
}

/// A strip's size, mm of paper.
const STRIP_MM: (f64, f64) = (50.0, 5.0);
/// A strip shows differences up to this many accepted ones either way.
const STRIP_REACH: f64 = 3.0;

/// A difference on its tolerance: the accepted part as a box, the bounds of rejection as upright
/// strokes, the difference as a dot with its uncertainty. What lies beyond the strip is an arrow.
fn strip(judged: &Judged, band: Band) -> String {
    let (width, height) = STRIP_MM;
    let middle = 0.5 * height;
    let x = |difference: f64| 0.5 * width * (1.0 + difference / (STRIP_REACH * band.accept));
    let inside = |difference: f64| x(difference).clamp(1.0, width - 1.0);
    let corner = |difference: f64, y: f64| Point2::new(x(difference), y);
    let accepted = [
        corner(-band.accept, 0.8),
        corner(band.accept, 0.8),
        corner(band.accept, height - 0.8),
        corner(-band.accept, height - 0.8),
    ];
    let mut picture = ink::group("strip")
        .add(ink::shape("accepted", &accepted))
        .add(ink::line("w13", Point2::new(0.0, middle), Point2::new(width, middle)))
        .add(ink::line("w13", corner(0.0, 0.8), corner(0.0, height - 0.8)));
    for bound in [band.reject_below, band.reject_above].into_iter().flatten() {
        if (0.0..=width).contains(&x(bound)) {
            picture = picture.add(ink::line("w50", corner(bound, 0.2), corner(bound, height - 0.2)));
        }
    }
    let (low, high) = (judged.difference - judged.uncertainty, judged.difference + judged.uncertainty);
    let doubt = ink::line("doubt", Point2::new(inside(low), middle), Point2::new(inside(high), middle));
    picture = picture.add(doubt);
    let beyond = x(judged.difference) < 0.0 || x(judged.difference) > width;
    let at = Point2::new(inside(judged.difference), middle);
    picture = if beyond {
        picture.add(ink::arrowhead(at, judged.difference.signum(), 0.0))
    } else {
        picture.add(ink::circle("ink-fill", at, 0.9))
    };
    document(width, height, picture)
}

fn document(width: f64, height: f64, picture: Group) -> String {
    let size = (ink::coarse(width), ink::coarse(height));
    Document::new()
        .set("class", "drawing")
        .set("viewBox", format!("0 0 {} {}", size.0, size.1))
        .add(picture)
        .to_string()
}

/// Paper mm for one mm of footbed.
const PLAN_SCALE: f64 = 0.5;
/// Room around the outline for words, mm of paper.
const PLAN_MARGIN_MM: f64 = 24.0;

/// The outline seen from above, toes up, with the difference at each place that was measured.
fn plan(data: &RecordData) -> String {
    let side = data.inspection.side;
    let outline: Vec<Point2> = data.outline.iter().map(|p| bench_from_foot(side).place(*p)).collect();
    let Some(rect) = Rect::around(&outline) else { return String::new() };
    let on_paper =
        |p: Point2| Point2::new(PLAN_MARGIN_MM + PLAN_SCALE * (p.x - rect.x0), 4.0 + PLAN_SCALE * (rect.y1 - p.y));
    let loop_on_paper: Vec<Point2> = outline.iter().map(|p| on_paper(*p)).collect();
    let (width, height) = (2.0 * PLAN_MARGIN_MM + PLAN_SCALE * rect.width(), 8.0 + PLAN_SCALE * rect.height());
    let letter = ink::label(
        "side",
        on_paper(Point2::new(0.5 * (rect.x0 + rect.x1), rect.y1 - 45.0)),
        Anchor::Middle,
        side.letter(),
    );
    let mut picture = ink::group("record-plan").add(ink::curve("w50 material", &loop_on_paper, true)).add(letter);
    let mut taken: Vec<(bool, f64)> = vec![];
    for (place, words, good) in measured(data) {
        let at = on_paper(bench_from_foot(side).place(place));
        let left = at.x < 0.5 * width;
        let mut y = at.y;
        while taken.iter().any(|&(side, other)| side == left && (other - y).abs() < 3.2) {
            y += 0.4;
        }
        taken.push((left, y));
        let end = Point2::new(if left { PLAN_MARGIN_MM - 3.0 } else { width - PLAN_MARGIN_MM + 3.0 }, y);
        let anchor = if left { Anchor::End } else { Anchor::Start };
        let class = if good { "t" } else { "t b signal" };
        picture = picture.add(ink::circle("ink-fill", at, 0.7)).add(ink::line("w13", at, end)).add(ink::label(
            class,
            Point2::new(end.x + if left { -0.8 } else { 0.8 }, y + 0.9),
            anchor,
            words,
        ));
    }
    document(width, height, picture)
}

/// Places that were measured, from the toes down, each with its difference.
fn measured(data: &RecordData) -> Vec<(Point2, String, bool)> {
    let l = data.landmarks;
    let between = |a: Point2, b: Point2| a + 0.5 * (b - a);
    let place = |value: Value| match value {
        Value::HeelThickness => Some(l.heel_centre),
        Value::RearfootPost => Some(Point2::new(l.heel_centre.x + 10.0, l.heel_centre.y)),
        Value::MedialArch => Some(l.medial_arch),
        Value::LateralArch => Some(l.lateral_arch),
        Value::TransverseArch => Some(l.dome),
        Value::ForefootThickness => Some(between(l.first_met, l.fifth_met) + crate::frame::Vector2::new(0.0, 25.0)),
        Value::FlexZoneThickness => l.flex_zone,
        Value::HeelCupDepth => Some(Point2::new(-25.0, l.widest_cup_y)),
        Value::HeelCupWidth => Some(Point2::new(25.0, l.widest_cup_y)),
        Value::Length | Value::BallWidth | Value::HeelWidth => None,
    };
    let values = data.inspection.values.iter().filter_map(|(value, judged)| Some((place(*value)?, judged)));
    let checks = data.inspection.checks.iter().filter_map(|found| {
        let [x, y] = found.at_mm?;
        Some((Point2::new(x, y), &found.judged))
    });
    let unit = |judged: &Judged| if judged.unit == "deg" { "\u{b0}" } else { "" };
    let mut all: Vec<_> = values
        .chain(checks)
        .map(|(at, judged)| {
            (at, format!("{}{}", signed(judged.difference, 2), unit(judged)), judged.verdict == Verdict::Accept)
        })
        .collect();
    all.sort_by(|a, b| b.0.y.total_cmp(&a.0.y));
    all
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::draw::against::Surface;
    use crate::draw::sample::Sample;
    use crate::frame::Side;
    use crate::grid::{Grid, Lattice};
    use crate::inspect::{Check, CheckFound};
    use crate::profile::Shelf;

    fn judged(difference: f64, verdict: Verdict) -> Judged {
        Judged {
            asked: 5.0,
            made: 5.0 + difference,
            difference,
            uncertainty: 0.2,
            shared_uncertainty: 0.0,
            tolerance: 0.7,
            verdict,
            unit: "mm",
            readings: 1,
            fitted: None,
            spread: None,
        }
    }

    fn inspection(places: usize) -> Inspection {
        let place = |k: usize| CheckFound {
            check: Check::Thickness,
            at_mm: Some([0.0, 60.0 + k as f64]),
            judged: match k {
                59 => judged(1.9, Verdict::Reject),
                _ if k < 30 => judged(0.9, Verdict::Rework),
                _ => judged(0.1, Verdict::Accept),
            },
        };
        Inspection {
            side: Side::Right,
            probable_other_side: false,
            values: Value::ALL
                .into_iter()
                .map(|value| (value, judged(0.1, Verdict::Accept)))
                .collect::<BTreeMap<_, _>>(),
            checks: (0..places).map(place).collect(),
            alignment: None,
            signature: None,
            surface: None,
            verdict: Verdict::Reject,
            not_judged: vec![],
            advice: vec!["<b>thickness</b> is 1.90 mm high: sand it down".into()],
            notes: vec![],
        }
    }

    fn page(inspection: &Inspection, deviation: Option<&Grid>) -> String {
        let sample = Sample::of_length(270.0);
        let shelf = Shelf::built_in();
        let tolerances = shelf.tolerances("workshop").expect("the shop's own");
        let (top, flat) = (|p: Point2| Some(sample.top(p)), |_: Point2| Some(0.0));
        let made = |p: Point2| Some(sample.top(p) + deviation?.sample(p)?);
        record_html(&RecordData {
            code: "PATROL-07",
            revision: 2,
            material: "EVA",
            machine: "router",
            ticket_sha256: "5f2c0a9d7e31b46488aa",
            note: "</style><img src=x>",
            outline: &sample.outline,
            landmarks: &sample.landmarks(),
            tolerances,
            inspection,
            map: deviation.map(|deviation| RecordMap {
                deviation,
                words: "Made less asked, along the normal",
                tolerance_mm: 0.7,
                asked: Surface { top: &top, underside: &flat },
                made: Surface { top: &made, underside: &flat },
            }),
        })
        .expect("a page")
    }

    fn deviation() -> Grid {
        let sample = Sample::of_length(270.0);
        let rect = Rect::around(&sample.outline).expect("an outline");
        Grid::from_fn(Lattice::covering(rect.grown(2.0), 1.0), |p| {
            let bump = 1.9 * (-(p - Point2::new(20.0, 105.0)).norm_squared() / 500.0).exp();
            if (p - Point2::new(-15.0, 200.0)).norm() < 12.0 { f64::NAN } else { bump - 0.2 }
        })
    }

    #[test]
    fn pictures_are_well_formed_with_and_without_a_map() {
        let grid = deviation();
        for map in [None, Some(&grid)] {
            let html = page(&inspection(4), map);
            let pictures: Vec<&str> = html.split("<svg").skip(1).filter_map(|t| t.split("</svg>").next()).collect();
            // A strip for each row, and the plan or the map, its sections and its legend.
            assert_eq!(pictures.len(), 12 + 4 + if map.is_some() { 3 } else { 1 });
            for picture in pictures {
                let svg = format!("<svg{picture}</svg>").replacen(
                    "<svg",
                    "<svg xmlns=\"http://www.w3.org/2000/svg\"",
                    usize::from(!picture.contains("xmlns")),
                );
                usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
                assert!(!svg.contains("NaN") && !svg.contains("inf"));
            }
            assert!(!html.contains("<img") && html.contains("&lt;b&gt;thickness"));
            assert!(html.len() < 250_000, "{} bytes", html.len());
        }
    }

    #[test]
    fn a_map_tells_its_scale_its_tolerance_and_its_places() {
        let html = page(&inspection(0), Some(&deviation()));
        for words in [
            "accepted, \u{b1}0.7",
            "1:2",
            "Made less asked, along the normal",
            "+1.70 at 39 % of the foot, 20 mm medial",
        ] {
            assert!(html.contains(words), "{words}");
        }
        assert!(html.contains("gap-hatch") && html.contains("sections: asked"));
    }

    /// What is printed is one box that both papers hold: A4 is 210 x 297 mm (ISO 216), Letter 215.9 x
    /// 279.4 mm, less margins of 8 mm.
    #[test]
    fn paper_holds_the_page() {
        assert!(SHEET_MM.0 <= 210.0 - 16.0 && SHEET_MM.1 <= 279.4 - 16.0);
        for map in [None, Some(&deviation())] {
            let html = page(&inspection(60), map);
            let print = html.split("@media print").nth(1).expect("a style for paper");
            assert!(print.contains("width:194.0mm;max-width:none;height:262.0mm;overflow:hidden"), "{print}");
            assert_eq!(html.matches("@page").count(), 1);
        }
    }

    /// However many places were measured, paper has the gravest and says how many it leaves out.
    #[test]
    fn what_paper_has_no_room_for_is_counted_and_is_not_what_matters() {
        let html = page(&inspection(60), None);
        assert_eq!(html.matches("<tr class=\"overflow\"").count(), 12 + 60 - MOST_ROWS[0]);
        assert!(html.contains(&format!("{} more rows on screen", 12 + 60 - MOST_ROWS[0])));
        let rejected = html.split("<tr").find(|row| row.contains(">6.90<")).expect("the rejected place");
        assert!(!rejected.starts_with(" class=\"overflow\""));
    }
}
