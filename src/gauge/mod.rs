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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::foot::Stations;
    use approx::assert_abs_diff_eq;

    /// A piece of straight edges: 70 mm wide at the heel, 96 across the met heads, 260 long.
    fn edge() -> Outline {
        let corners = [(-30, 0), (40, 0), (40, 100), (52, 180), (20, 260), (-20, 260), (-44, 180), (-30, 100)];
        Outline::from_polygon(&corners.map(|(x, y)| Point2::new(f64::from(x), f64::from(y)))).unwrap()
    }

    /// On a foot of 250 mm: heel at y 40, arches at 100, dome at 150, met heads at 180.
    fn places() -> Places {
        let stations = Stations {
            heel_centre: 0.16,
            widest_cup: 0.16,
            medial_arch: 0.4,
            lateral_arch: 0.4,
            transverse_arch: 0.6,
            first_met: 0.72,
            fifth_met: 0.72,
        };
        Places::new(&edge(), 250.0, stations).unwrap()
    }

    fn reads(top: impl Fn(f64, f64) -> f64, underside: impl Fn(f64, f64) -> f64) -> Values {
        let (top, underside) = (|p: Point2| Some(top(p.x, p.y)), |p: Point2| Some(underside(p.x, p.y)));
        read(&places(), Piece { top: &top, underside: &underside, outline: &edge() })
    }

    fn assert_reads(values: &Values, expected: &[(Value, f64)]) {
        for (value, mm) in expected {
            assert_abs_diff_eq!(values[value], *mm, epsilon = 1e-6);
        }
    }

    /// z = 5 + x^2 / 100 + x / 50 + (y - 40)^2 / 1000, worked by hand: the rims stand at x 38.5 and -28.5, the met heads
    /// 14.4 mm inside the edge, the arches 6 mm inside it; the walls are the two roots of the half depth.
    #[test]
    fn a_tilted_bowl_reads_as_worked_by_hand() {
        let bowl = |x: f64, y: f64| 5.0 + 0.01 * x * x + 0.02 * x + 0.001 * (y - 40.0) * (y - 40.0);
        let values = reads(bowl, |_, _| 0.0);
        let depth = 0.005 * (38.5 * 38.5 + 28.5 * 28.5) + 0.02 * 5.0;
        let (along, across) = (30.7296 / 140.0, 0.1);
        let support = |x: f64, y: f64| 5.0 + along * (y - 40.0) + across * x;
        assert_reads(
            &values,
            &[
                (Value::HeelThickness, 5.0),
                (Value::HeelCupDepth, depth),
                (Value::HeelCupWidth, 2.0 * (1.0 + 50.0 * depth).sqrt()),
                (Value::RearfootPost, 0.02_f64.atan().to_degrees()),
                (Value::MedialArch, 20.84 - support(34.0, 100.0)),
                (Value::LateralArch, 13.88 - support(-24.0, 100.0)),
                (Value::TransverseArch, 17.34 - support(4.0, 150.0)),
                (Value::Length, 260.0),
                (Value::BallWidth, 96.0),
                (Value::HeelWidth, 70.0),
            ],
        );
    }

    /// The flat's eighteen places have their mean at x 2, y 193.5, which a sloping plane tells; above it stand no arches.
    #[test]
    fn a_plane_has_no_arches_and_no_cup() {
        let values = reads(|x, y| 4.0 + 0.01 * x + 0.02 * y, |_, _| 0.0);
        assert_reads(&values, &[(Value::ForefootThickness, 4.0 + 0.02 + 3.87), (Value::HeelThickness, 4.8)]);
        for value in [Value::MedialArch, Value::LateralArch, Value::TransverseArch] {
            assert_abs_diff_eq!(values[&value], 0.0, epsilon = 1e-9);
        }
        // The lower rim never comes up to half of the depth, and a flat seat has no walls at all.
        assert!(!values.contains_key(&Value::HeelCupWidth));
        assert!(!reads(|_, _| 4.0, |_, _| 0.0).contains_key(&Value::HeelCupWidth));
    }

    /// 80 mm wide behind and 60 ahead, from y 20 to 280: half of its length is at 150, where it is 70 wide.
    #[test]
    fn the_ball_is_looked_for_ahead_of_half_the_length() {
        let corners = [(-40, 20), (40, 20), (40, 140), (30, 160), (30, 280), (-30, 280), (-30, 160), (-40, 140)];
        let edge = Outline::from_polygon(&corners.map(|(x, y)| Point2::new(f64::from(x), f64::from(y)))).unwrap();
        assert_abs_diff_eq!(ball_width_mm(&edge).unwrap(), 70.0, epsilon = 1e-9);
    }

    #[test]
    fn the_cup_ends_at_its_outer_walls() {
        let humped = |x: f64, _| if (5.0..15.0).contains(&x.abs()) || x.abs() >= 25.0 { 12.0 } else { 5.0 };
        assert_reads(&reads(humped, |_, _| 0.0), &[(Value::HeelCupDepth, 7.0), (Value::HeelCupWidth, 50.0)]);
        // A groove of a millimetre is not stepped over.
        let grooved = |x: f64, _| if (5.0..24.0).contains(&x.abs()) || x.abs() >= 25.0 { 12.0 } else { 5.0 };
        assert_reads(&reads(grooved, |_, _| 0.0), &[(Value::HeelCupWidth, 50.0)]);
    }

    #[test]
    fn the_flex_zone_is_read_where_it_is_thinnest() {
        let (top, underside) = (|_, y: f64| 6.0 + 0.01 * (y - 120.0).powi(2), |x: f64, _: f64| 1.5 + 0.0 * x);
        assert_reads(&reads(top, underside), &[(Value::FlexZoneThickness, 4.5)]);
        let (high, low) = (|p: Point2| Some(top(p.x, p.y)), |p: Point2| (p.y < 150.0).then_some(1.5));
        let least = |underside| flex_zone(&places(), Piece { top: &high, underside, outline: &edge() });
        assert_eq!(least(&low), None);
        let found = least(&|_| Some(1.5)).unwrap();
        assert_eq!((found.thickness_mm, found.at), (4.5, Point2::new(4.75, 120.0)));
        // Equally thin all along: the first place is told.
        let flat = |_: Point2| Some(4.0);
        let even = flex_zone(&places(), Piece { top: &flat, underside: &low, outline: &edge() });
        assert_eq!(even, None);
        let even = flex_zone(&places(), Piece { top: &flat, underside: &|_| Some(1.0), outline: &edge() }).unwrap();
        assert_eq!(even.at.y, 80.0);
    }

    #[test]
    fn what_the_map_does_not_show_is_left_out() {
        let (top, none) = (|p: Point2| (p.x < 20.0).then_some(5.0 + 0.01 * p.x * p.x), |_| None);
        let values = read(&places(), Piece { top: &top, underside: &none, outline: &edge() });
        let shown = [Value::HeelThickness, Value::RearfootPost, Value::Length, Value::BallWidth, Value::HeelWidth];
        assert_eq!(values.keys().copied().collect::<Vec<_>>(), shown);
    }

    /// What a design reads of itself and what is read of its widths alone are one.
    #[test]
    fn a_designs_widths_are_those_of_its_whole_reading() {
        let support = crate::ticket::read(
            include_str!("../../output-samples/PATROL-07/ticket.toml"),
            "ticket.toml",
            &crate::profile::Shelf::built_in(),
            &|_| Err(String::new()),
        )
        .unwrap()
        .feet[0]
            .support
            .clone();
        let footbed = Footbed::build(edge(), 250.0, &support, crate::footbed::Underside::Flat).unwrap();
        let (whole, widths) = (read_design(&footbed), read_widths(&footbed));
        assert_eq!(widths.keys().copied().collect::<Vec<_>>(), [Value::HeelCupWidth, Value::HeelWidth]);
        widths.iter().for_each(|(value, mm)| assert_eq!(whole[value], *mm));
        assert_abs_diff_eq!(whole[&Value::HeelCupDepth], 12.0, epsilon = 0.01);
    }
}
