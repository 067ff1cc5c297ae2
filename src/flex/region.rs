//! What lies inside a closed line, as places with the area each stands for, on a spline basis that
//! covers it. Knows nothing of what is integrated.
//!
//! Lines of places run along x. Each is cut exactly where the closed line crosses it and at every
//! knot, so that a cell that the line cuts is integrated over the part inside and no test of single
//! points decides. Along y the lines are Gauss nodes between knots. What is left of the error sits
//! at the foremost and rearmost points of a round line, where the chord grows as a square root: a
//! test holds the area of a footbed's outline to 1e-4 of itself.

use super::FlexError;
use crate::frame::{Point2, Rect};
use crate::sheet::{Basis, Local};

/// Distances between knots that a plate may have, mm: finer than 1 no footbed asks for and no
/// memory holds, coarser than 40 bends no arch. Shop's own choice.
const KNOTS_MM: std::ops::RangeInclusive<f64> = 1.0..=40.0;
/// Longest side of a plate, mm: far beyond any foot; keeps a slip of units from filling the memory.
const LONGEST_MM: f64 = 1000.0;

/// Gauss nodes and weights on 0..1 (Abramowitz & Stegun 1964, table 25.4): four are exact to
/// degree 7, two to degree 3.
pub(super) const GAUSS_4: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_93),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_93),
];
const GAUSS_2: [(f64, f64); 2] = [(0.211_324_865_405_187_1, 0.5), (0.788_675_134_594_812_9, 0.5)];

/// One place with its share of the area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Where.
    pub at: Point2,
    /// What it stands for, mm2.
    pub area_mm2: f64,
    /// The spline's functions there.
    pub local: Local,
}

/// The inside of a closed line.
#[derive(Clone, Debug)]
pub struct Region {
    /// Covers the line.
    pub basis: Basis,
    /// Places at which bending is integrated, four a knot interval either way.
    pub places: Vec<Place>,
    /// Places at which contact is looked for, two a knot interval either way: more than the one
    /// freedom a cell has, so that none slips through, and no more than it can follow.
    pub touches: Vec<Place>,
}

impl Region {
    /// The inside of `polygon` (either way round, not crossing itself), knots `knot_mm` apart on
    /// multiples of that distance.
    ///
    /// # Errors
    /// A line with too few points, no area, a coordinate that is no number, or out of all size.
    pub fn inside(polygon: &[Point2], knot_mm: f64) -> Result<Region, FlexError> {
        if !KNOTS_MM.contains(&knot_mm) {
            return Err(FlexError::Knot { knot_mm });
        }
        let finite = polygon.iter().all(|p| p.x.is_finite() && p.y.is_finite());
        let bounds = Rect::around(polygon).filter(|_| finite && polygon.len() >= 3).ok_or(FlexError::Shape)?;
        if bounds.width().max(bounds.height()) > LONGEST_MM || bounds.width().min(bounds.height()) < 1e-3 * knot_mm {
            return Err(FlexError::Shape);
        }
        let basis = Basis::covering(bounds, knot_mm);
        let places = places(polygon, bounds, basis, &GAUSS_4);
        let touches = places_of_contact(polygon, bounds, basis);
        if places.is_empty() || touches.is_empty() {
            return Err(FlexError::Shape);
        }
        Ok(Region { basis, places, touches })
    }

    /// Area inside, mm2, as the places have it.
    pub fn area_mm2(&self) -> f64 {
        self.places.iter().map(|place| place.area_mm2).sum()
    }
}

fn places_of_contact(polygon: &[Point2], bounds: Rect, basis: Basis) -> Vec<Place> {
    places(polygon, bounds, basis, &GAUSS_2)
}

fn places(polygon: &[Point2], bounds: Rect, basis: Basis, gauss: &[(f64, f64)]) -> Vec<Place> {
    let mut places = vec![];
    for row in 0..basis.ny - 3 {
        let y0 = (basis.y0 + row as f64 * basis.knot).max(bounds.y0);
        let y1 = (basis.y0 + (row + 1) as f64 * basis.knot).min(bounds.y1);
        for &(t, wy) in gauss {
            let y = y0 + t * (y1 - y0);
            for [a, b] in chords(polygon, y) {
                line(&mut places, basis, [a, b], y, (y1 - y0) * wy, gauss);
            }
        }
    }
    places
}

/// Places along one chord, cut at the knots.
fn line(places: &mut Vec<Place>, basis: Basis, [a, b]: [f64; 2], y: f64, depth: f64, gauss: &[(f64, f64)]) {
    let knots = basis.nx - 3;
    for k in 0..knots {
        let x0 = (basis.x0 + k as f64 * basis.knot).max(a);
        let x1 = (basis.x0 + (k + 1) as f64 * basis.knot).min(b);
        if x1 <= x0 {
            continue;
        }
        for &(s, wx) in gauss {
            let at = Point2::new(x0 + s * (x1 - x0), y);
            places.push(Place { at, area_mm2: wx * (x1 - x0) * depth, local: basis.local(at) });
        }
    }
}

/// Where the line at this y is inside, from small x to large.
fn chords(polygon: &[Point2], y: f64) -> Vec<[f64; 2]> {
    let ends = polygon.iter().zip(polygon.iter().cycle().skip(1));
    let mut crossings: Vec<f64> = ends
        .filter(|(a, b)| (a.y <= y) != (b.y <= y))
        .map(|(a, b)| a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x))
        .collect();
    crossings.sort_by(f64::total_cmp);
    crossings.chunks_exact(2).map(|pair| [pair[0], pair[1]]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn circle(radius: f64, points: usize) -> Vec<Point2> {
        let angle = |k: usize| k as f64 / points as f64 * std::f64::consts::TAU;
        (0..points).map(|k| Point2::new(radius * angle(k).cos() + 1.7, radius * angle(k).sin() - 0.4)).collect()
    }

    /// Second moment of a disc about its own axis: pi r^4 / 4 (closed form). The polygon of 4000
    /// corners misses it by 4e-6.
    #[test]
    fn a_disc_has_its_area_and_moment_whatever_the_knots() {
        for knot in [4.0, 8.0, 12.0] {
            let region = Region::inside(&circle(40.0, 4000), knot).unwrap();
            assert_relative_eq!(region.area_mm2(), std::f64::consts::PI * 1600.0, max_relative = 2e-4);
            let moment: f64 = region.places.iter().map(|p| p.area_mm2 * (p.at.x - 1.7).powi(2)).sum();
            assert_relative_eq!(moment, std::f64::consts::PI * 40f64.powi(4) / 4.0, max_relative = 2e-4);
            let touched: f64 = region.touches.iter().map(|p| p.area_mm2).sum();
            assert_relative_eq!(touched, region.area_mm2(), max_relative = 2e-3);
        }
    }

    #[test]
    fn shapes_that_are_none_are_refused() {
        let line = [Point2::new(0.0, 0.0), Point2::new(10.0, 0.0)];
        let nan = [Point2::new(0.0, f64::NAN), Point2::new(10.0, 0.0), Point2::new(3.0, 9.0)];
        let flat = [Point2::new(0.0, 1.0), Point2::new(10.0, 1.0), Point2::new(30.0, 1.0)];
        let huge = [Point2::new(0.0, 0.0), Point2::new(1e9, 0.0), Point2::new(0.0, 1e9)];
        for polygon in [&line[..], &nan, &flat, &huge, &[]] {
            assert!(matches!(Region::inside(polygon, 8.0), Err(FlexError::Shape)));
        }
        assert!(matches!(Region::inside(&circle(30.0, 9), f64::NAN), Err(FlexError::Knot { .. })));
    }
}
