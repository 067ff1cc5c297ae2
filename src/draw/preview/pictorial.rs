//! The pictorial view as a drawing: cross sections every few mm, the nearer hiding the farther. It is
//! what the page shows on paper, and where the screen cannot draw the surface itself.

use svg::node::element::SVG;

use crate::draw::data::DrawnFoot;
use crate::draw::ink;
use crate::draw::plan::crossings_at;
use crate::frame::{Point2, Rect, bench_from_foot};

/// Between sections, mm.
const STEP_MM: f64 = 4.0;
/// Between samples of a section, mm.
const SAMPLE_MM: f64 = 1.5;
/// mm of paper per mm.
const SCALE: f64 = 0.3;
/// How far one looks down, and how much is seen from the side: an axonometric view (ISO 5456-3
/// [from memory]) chosen so that neither rim hides the arch.
const DOWN_DEG: f64 = 40.0;
const ASIDE_DEG: f64 = 24.0;
/// Paper around the picture and between the feet, mm.
const MARGIN_MM: f64 = 3.0;

/// Draws one foot or the pair.
pub fn pictorial(feet: &[&DrawnFoot]) -> (String, f64, f64) {
    let mut bands: Vec<(f64, Vec<Point2>)> = Vec::new();
    let mut cursor = 0.0;
    for foot in ordered(feet) {
        let Some(rect) = Rect::around(foot.outline) else { continue };
        let medial = bench_from_foot(foot.side).place(Point2::new(1.0, 0.0)).x;
        let shift = if medial > 0.0 { cursor - rect.x0 } else { cursor + rect.x1 };
        cursor += rect.width() + 10.0;
        let count = (rect.height() / STEP_MM).floor().max(1.0) as usize;
        for k in 0..=count {
            // The last is drawn a hair inside, so that the toe's edge is there.
            let y = (rect.y0 + k as f64 * STEP_MM).clamp(rect.y0 + 0.2, rect.y1 - 0.2);
            bands.extend(band(foot, y, |x| shift + medial * x).map(|points| (y, points)));
        }
    }
    // Far sections first.
    bands.sort_by(|a, b| b.0.total_cmp(&a.0));
    let all: Vec<Point2> = bands.iter().flat_map(|(_, points)| points.iter().copied()).collect();
    let bounds = Rect::around(&all).unwrap_or(Rect { x0: 0.0, y0: 0.0, x1: 1.0, y1: 1.0 }).grown(MARGIN_MM);
    let mut drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(bounds.width()), ink::coarse(bounds.height())))
        .set("class", "drawing pictorial")
        .set("role", "img")
        .set("aria-label", "Pictorial view from the heel side, cross sections every 4 mm");
    for (_, points) in &bands {
        let points: Vec<Point2> = points.iter().map(|p| Point2::new(p.x - bounds.x0, p.y - bounds.y0)).collect();
        drawing = drawing.add(ink::shape("band", &points));
    }
    (drawing.to_string(), bounds.width(), bounds.height())
}

/// The foot whose medial edge faces right first.
fn ordered<'a>(feet: &[&'a DrawnFoot<'a>]) -> Vec<&'a DrawnFoot<'a>> {
    let mut feet = feet.to_vec();
    feet.sort_by(|a, b| {
        let medial = |foot: &DrawnFoot| bench_from_foot(foot.side).place(Point2::new(1.0, 0.0)).x;
        medial(b).total_cmp(&medial(a))
    });
    feet
}

/// One section as a closed shape on paper.
fn band(foot: &DrawnFoot, y: f64, bench_x: impl Fn(f64) -> f64) -> Option<Vec<Point2>> {
    let cuts = crossings_at(foot.outline, y);
    let (x0, x1) = (*cuts.first()?, *cuts.last()?);
    if x1 - x0 < 0.5 {
        return None;
    }
    let count = ((x1 - x0) / SAMPLE_MM).ceil().max(1.0) as usize;
    let at = |k: usize| Point2::new((x0 + (x1 - x0) * k as f64 / count as f64).clamp(x0 + 1e-3, x1 - 1e-3), y);
    let on_paper = |p: Point2, z: f64| project(bench_x(p.x), p.y, z);
    let top = (0..=count).map(|k| on_paper(at(k), (foot.top)(at(k))));
    let under = (0..=count).rev().map(|k| on_paper(at(k), (foot.underside)(at(k))));
    Some(top.chain(under).collect())
}

/// Turned about the upright axis, then seen from above the heel.
fn project(x: f64, y: f64, z: f64) -> Point2 {
    let (aside, down) = (ASIDE_DEG.to_radians(), DOWN_DEG.to_radians());
    let across = x * aside.cos() + y * aside.sin();
    let away = y * aside.cos() - x * aside.sin();
    Point2::new(SCALE * across, -SCALE * (away * down.sin() + z * down.cos()))
}
