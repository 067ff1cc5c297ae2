//! The inspection record: one page a piece, with every value on a strip of its tolerance, the places
//! where it was measured, what to do next, and room for a signature.

use serde::Serialize;
use svg::Document;
use svg::node::element::Group;

use super::data::{DrawError, Landmarks};
use super::ink::{self, Anchor};
use super::sheet::render;
use crate::frame::{Point2, Rect, bench_from_foot};
use crate::inspect::{Inspection, Judged, Verdict};
use crate::profile::{Band, Tolerances};
use crate::value::Value;

const PAGE: &str = include_str!("templates/record.html");

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
}

/// The record as one HTML page.
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
        rows: value_rows.chain(check_rows).collect(),
        not_judged: inspection.not_judged.iter().map(|value| value.words()).collect::<Vec<_>>().join(", "),
        advice: &inspection.advice,
        notes: &inspection.notes,
        plan: plan(data),
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
    rows: Vec<Row>,
    not_judged: String,
    advice: &'a [String],
    notes: &'a [String],
    plan: String,
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
}

impl Row {
    fn new(words: String, judged: &Judged, band: Option<Band>) -> Row {
        Row {
            words,
            unit: judged.unit,
            asked: format!("{:.2}", judged.asked),
            made: format!("{:.2}", judged.made),
            difference: format!("{:+.2}", judged.difference),
            uncertainty: format!("{:.2}", judged.uncertainty),
            readings: judged.readings,
            verdict: judged.verdict.word(),
            good: judged.verdict == Verdict::Accept,
            strip: band.map_or(String::new(), |band| strip(judged, band)),
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
            (at, format!("{:+.2}{}", judged.difference, unit(judged)), judged.verdict == Verdict::Accept)
        })
        .collect();
    all.sort_by(|a, b| b.0.y.total_cmp(&a.0.y));
    all
}
