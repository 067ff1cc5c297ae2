//! Reads the values of a footbed from any height map, as a gauge would. Does not know where the
//! map came from: the design's own sheet, a carved stock and a scan are read alike.
//!
//! | value | how it is read (foot frame; z from the base plane) |
//! |---|---|
//! | heel thickness | top z at the heel centre, the seat's low point before it is tilted |
//! | heel cup depth | rim z less seat z, the rim read 1.5 mm inside the outline at the widest section of the cup, mean of medial and lateral |
//! | heel cup width | distance between the walls at half depth in that section |
//! | rearfoot post | slope of the line through the seat 10 mm to either side of the heel centre, + = medial higher |
//! | medial arch | top z above the support plane at the arch's station, 6 mm inside the medial outline |
//! | lateral arch | the same on the lateral side |
//! | transverse arch | top z above the support plane at the dome's top |
//! | forefoot thickness | mean top z over eighteen places on the flat ahead of the met line |
//! | flex-zone thickness | least top less underside along the zone's middle, from the front of the heel post to the met line |
//! | length, ball width, heel width | extent along y; extent across x ahead of half the length; extent across x at the widest section of the cup, all of the trim outline |
//!
//! The support plane goes through the seat's low point and the top at the first and fifth met heads.

use crate::curve::Outline;
use crate::footbed::{Footbed, Places};
use crate::frame::Point2;
use crate::value::{Value, Values};

/// Distance at which a wall crossing is looked for before it is closed in on, mm: the sheet's knots
/// are 4 mm apart, so a wall cannot cross back within it.
const WALK_MM: f64 = 0.25;
/// How closely a wall crossing is found, mm.
const CROSSING_MM: f64 = 1e-7;

/// A piece as a gauge meets it: heights where it has any.
#[derive(Clone, Copy)]
pub struct Piece<'a> {
    /// Height of the top above the base plane, mm; `None` where there is no material or no data.
    pub top: &'a dyn Fn(Point2) -> Option<f64>,
    /// Height of the underside above the base plane, mm.
    pub underside: &'a dyn Fn(Point2) -> Option<f64>,
    /// The edge, foot frame.
    pub outline: &'a Outline,
}

/// Every value that can be read on the piece; what the map does not show is left out.
pub fn read(places: &Places, piece: Piece) -> Values {
    let read_one = |value: Value| match value {
        Value::HeelCupWidth => cup_width_mm(places, piece.top),
        Value::FlexZoneThickness => flex_zone(places, piece).map(|least| least.thickness_mm),
        Value::Length => Some(piece.outline.length_mm()),
        Value::BallWidth => ball_width_mm(piece.outline),
        Value::HeelWidth => heel_width_mm(places, piece.outline),
        Value::RearfootPost => places.reading(value)?.on(piece.top).map(|tan| tan.atan().to_degrees()),
        _ => places.reading(value)?.on(piece.top),
    };
    Value::ALL.into_iter().filter_map(|value| Some((value, read_one(value)?))).collect()
}

/// The values of a design, read from its own surfaces.
pub fn read_design(footbed: &Footbed) -> Values {
    let top = |p| Some(footbed.top_at(p));
    let underside = |p| Some(footbed.underside_at(p));
    read(&footbed.places, Piece { top: &top, underside: &underside, outline: &footbed.outline })
}

/// Only the heel's and its cup's width of a design: what no place of the surface tells.
pub fn read_widths(footbed: &Footbed) -> Values {
    let top = |p| Some(footbed.top_at(p));
    let cup = cup_width_mm(&footbed.places, &top).map(|width| (Value::HeelCupWidth, width));
    cup.into_iter().chain(heel_width_mm(&footbed.places, &footbed.outline).map(|w| (Value::HeelWidth, w))).collect()
}

/// The least thickness along the flex zone's middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Least {
    /// Top less underside, mm.
    pub thickness_mm: f64,
    /// Where, foot frame.
    pub at: Point2,
}

/// The thinnest place along the flex zone's middle; `None` when part of it has no data.
pub fn flex_zone(places: &Places, piece: Piece) -> Option<Least> {
    let mut least: Option<Least> = None;
    for &at in &places.flex_line {
        let thickness_mm = (piece.top)(at)? - (piece.underside)(at)?;
        if least.is_none_or(|l| thickness_mm < l.thickness_mm) {
            least = Some(Least { thickness_mm, at });
        }
    }
    least
}

/// Width at the cup's widest section, mm.
fn heel_width_mm(places: &Places, outline: &Outline) -> Option<f64> {
    outline.section(places.rim[0].y).map(|(x0, x1)| x1 - x0)
}

/// Width of the part ahead of half the length, mm.
fn ball_width_mm(outline: &Outline) -> Option<f64> {
    let bounds = outline.bounds();
    outline.extent_ahead_of(bounds.y0 + 0.5 * bounds.height()).map(|(x0, x1)| x1 - x0)
}

fn cup_width_mm(places: &Places, top: &dyn Fn(Point2) -> Option<f64>) -> Option<f64> {
    let seat = places.reading(Value::HeelThickness)?.on(top)?;
    let level = seat + 0.5 * places.reading(Value::HeelCupDepth)?.on(top)?;
    let y = places.rim[0].y;
    let walls = places.rim.map(|rim| crossing(rim.x, level, |x| top(Point2::new(x, y))));
    Some(walls[0]? - walls[1]?)
}

/// The x farthest from the axis, up to `far`, at which `height` rises through `level`: the wall's
/// inner face, whatever a tilted seat does between the walls.
fn crossing(far: f64, level: f64, height: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let steps = (far.abs() / WALK_MM).ceil().max(1.0);
    let at = |k: f64| far * k / steps;
    let mut k = steps;
    if height(far)? < level {
        return None;
    }
    while height(at(k))? >= level {
        k -= 1.0;
        if k < 0.0 {
            return None;
        }
    }
    let (mut below, mut above) = (at(k), at(k + 1.0));
    while (above - below).abs() > CROSSING_MM {
        let middle = 0.5 * (below + above);
        if height(middle)? < level { below = middle } else { above = middle }
    }
    Some(0.5 * (below + above))
}
