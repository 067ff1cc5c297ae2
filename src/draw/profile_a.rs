//! Long section A-A: the footbed cut along its axis, toes up beside its plan and at the plan's
//! scale, top surface facing the plan, boot board behind.

use svg::node::element::Group;

use super::dimension;
use super::hatch;
use super::ink::{self, Anchor};
use super::plan::Block;
use super::section::SupportPlane;
use crate::frame::Point2;
use crate::value::Value;

/// Distance between samples along the section, mm: a tenth of a mm of curve height at a radius of
/// 1 mm, far below what 1:2 shows.
const SAMPLE_MM: f64 = 0.75;
/// Hatching, mm of paper between strokes.
const HATCH_MM: f64 = 1.3;

/// Between the words of two thicknesses, mm of paper: a wide space.
const WORDS_GAP_MM: f64 = 1.5;
/// Words of thicknesses may stand this far beyond the footbed's ends, mm of paper.
const BEYOND_MM: f64 = 5.0;
/// Where along the length its words stand: between those of the flex zone and of the forefoot.
const LENGTH_SHARE: f64 = 0.66;

/// Draws section A-A of a block.
pub fn draw(b: &Block) -> Group {
    let axis = b.foot.landmarks.heel_centre.x;
    let span = along(b.foot.outline, axis);
    let Some((y0, y1)) = span else { return ink::group("section") };
    let place = |y: f64| Point2::new(axis, y);
    let count = ((y1 - y0) / SAMPLE_MM).ceil().max(1.0) as usize;
    // Ends are read a hair inside, where heights are sure to be the footbed's.
    let station = |k: usize| (y0 + (y1 - y0) * k as f64 / count as f64).clamp(y0 + 1e-3, y1 - 1e-3);
    let top: Vec<Point2> = (0..=count).map(|k| b.in_a(station(k), (b.foot.top)(place(station(k))))).collect();
    let under = (0..=count).rev().map(|k| b.in_a(station(k), (b.foot.underside)(place(station(k)))));
    let body: Vec<Point2> = top.iter().copied().chain(under).collect();
    let group = grid(b, ink::group("section")).add(ink::shape("material", &body));
    let group = hatch::strokes(&body, HATCH_MM).into_iter().fold(group, |g, (p, q)| g.add(ink::line("hatch", p, q)));
    let group = group.add(ink::curve("w50 open", &body, true));
    thicknesses(b, ground(b, support_line(b, group)), (y0, y1)).add(heading(b))
}

/// First and last y of the outline along the line at `x`.
pub fn along(outline: &[Point2], x: f64) -> Option<(f64, f64)> {
    let turned: Vec<Point2> = outline.iter().map(|p| Point2::new(p.y, p.x)).collect();
    let cuts = super::plan::crossings_at(&turned, x);
    Some((*cuts.first()?, *cuts.last()?)).filter(|(a, b)| b - a > 1.0)
}

/// A grid of 5 mm behind the section.
fn grid(b: &Block, group: Group) -> Group {
    let (low, high) = ((b.rect.y0 / 5.0).floor() as i32, (b.rect.y1 / 5.0).ceil() as i32);
    let tall = (b.peak / 5.0).ceil() as i32;
    let mm = |k: i32| f64::from(k) * 5.0;
    let group = (low..=high).fold(group, |g, k| g.add(ink::line("grid", b.in_a(mm(k), 0.0), b.in_a(mm(k), mm(tall)))));
    (0..=tall).fold(group, |g, k| g.add(ink::line("grid", b.in_a(mm(low), mm(k)), b.in_a(mm(high), mm(k)))))
}

fn support_line(b: &Block, group: Group) -> Group {
    let l = &b.foot.landmarks;
    let Some(plane) = SupportPlane::of(b.foot) else { return group };
    let z = |y: f64| plane.at(Point2::new(l.heel_centre.x, y));
    let (from, to) = (b.rect.y0, b.rect.y1);
    group.add(ink::line("w13 chain", b.in_a(from, z(from)), b.in_a(to, z(to))))
}

/// The boot board, with strokes behind it as drawings mark ground.
fn ground(b: &Block, group: Group) -> Group {
    let (from, to) = (b.in_a(b.rect.y0 - 3.0, 0.0), b.in_a(b.rect.y1 + 3.0, 0.0));
    let group = group.add(ink::line("w50", from, to));
    let count = ((from.y - to.y) / 2.0).floor() as i32;
    (0..count).fold(group, |g, k| {
        let y = to.y + f64::from(k) * 2.0 + 1.6;
        g.add(ink::line("w13", Point2::new(from.x, y), Point2::new(from.x + b.medial * 1.3, y - 1.3)))
    })
}

fn thicknesses(b: &Block, group: Group, ends: (f64, f64)) -> Group {
    let l = &b.foot.landmarks;
    let axis = l.heel_centre.x;
    let ahead = l.first_met.y + 0.35 * (ends.1 - l.first_met.y);
    let words = |value: Value| b.foot.values.iter().find(|r| r.value == value).map(dimension::words);
    let mut stations = vec![(Value::HeelThickness, l.heel_centre.y), (Value::ForefootThickness, ahead)];
    stations.extend(l.flex_zone.map(|p| (Value::FlexZoneThickness, p.y)));
    // Down the paper is toward the heel.
    stations.sort_by(|a, c| c.1.total_cmp(&a.1));
    let named: Vec<(f64, String)> = stations.into_iter().filter_map(|(v, y)| Some((y, words(v)?))).collect();
    let wanted: Vec<(f64, f64)> =
        named.iter().map(|(y, text)| (b.in_a(*y, 0.0).y, ink::width_of(text, ink::SMALL_MM))).collect();
    let room = (b.in_a(b.rect.y1, 0.0).y - BEYOND_MM, b.in_a(b.rect.y0, 0.0).y + BEYOND_MM);
    let group = named.iter().zip(apart(&wanted, room)).fold(group, |g, ((y, text), middle)| {
        let p = Point2::new(axis, *y);
        let (from, to) = (b.in_a(*y, (b.foot.underside)(p)), b.in_a(*y, (b.foot.top)(p)));
        let at = Point2::new(b.board_x + b.medial * 4.0 + 0.9, middle);
        g.add(dimension::between(from, to)).add(ink::upright_label("t halo", at, text.as_str()))
    });
    match words(Value::Length) {
        Some(text) => {
            let x = b.board_x + b.medial * 7.6;
            let (rear, front) = (b.at(Point2::new(0.0, b.rect.y0)).y, b.at(Point2::new(0.0, b.rect.y1)).y);
            group.add(length(b, x, rear, front, &text))
        }
        None => group,
    }
}

/// Middles for words of (wanted middle, extent), ascending: pushed up from `room`'s end, then down
/// from its start, until none meets the next.
fn apart(wanted: &[(f64, f64)], room: (f64, f64)) -> Vec<f64> {
    let mut limit = room.1;
    let mut middles: Vec<f64> = Vec::new();
    for (middle, extent) in wanted.iter().rev() {
        let middle = middle.min(limit - extent / 2.0);
        limit = middle - extent / 2.0 - WORDS_GAP_MM;
        middles.push(middle);
    }
    middles.reverse();
    let mut limit = room.0;
    for (middle, (_, extent)) in middles.iter_mut().zip(wanted) {
        *middle = middle.max(limit + extent / 2.0);
        limit = *middle + extent / 2.0 + WORDS_GAP_MM;
    }
    middles
}

fn length(b: &Block, x: f64, rear: f64, front: f64, text: &str) -> Group {
    let from = b.board_x + b.medial * 1.6;
    let end = |y: f64| ink::line("w13", Point2::new(from, y), Point2::new(x + b.medial, y));
    dimension::between(Point2::new(x, rear), Point2::new(x, front))
        .add(end(rear))
        .add(end(front))
        .add(ink::upright_label("t halo on-line", Point2::new(x + 0.9, rear + LENGTH_SHARE * (front - rear)), text))
}

fn heading(b: &Block) -> svg::node::element::Text {
    let y = b.at(Point2::new(0.0, b.rect.y1)).y - 3.4;
    let x = b.board_x - b.medial * b.scale * b.peak / 2.0;
    ink::label("t b", Point2::new(x, y), Anchor::Middle, format!("A-A {}", b.foot.side.letter()))
}
