//! Where a footbed is gauged: every value as weights on heights at places. The same definitions
//! hold the sheet when it is designed and read any height map back, so asked and made can only
//! mean the same thing.

use super::BuildError;
use crate::curve::Outline;
use crate::foot::Stations;
use crate::frame::{Point2, Vector2};
use crate::value::Value;

/// How far inside the outline the arch heights are read, mm: nearer the edge the bevel and the
/// grinder decide, not the design. Shop's own choice.
pub const EDGE_INSET_MM: f64 = 6.0;
/// How far inside the outline the cup's rim is read, mm: the middle of a 3 mm rim. Shop's own choice.
pub const RIM_INSET_MM: f64 = 1.5;
/// The post is read between two places this far to either side of the heel centre, mm.
pub const POST_ARM_MM: f64 = 10.0;
/// The met heads' centres lie this share of the ball width inside the outline. [from memory]
const MET_HEAD_INSET_SHARE: f64 = 0.15;
/// The forefoot's flat is read from this far ahead of the met line, mm, over `FLAT_DEPTH_SHARE`
/// of the length: ahead of the met heads' round, short of the toes. Shop's own choice.
const FLAT_START_MM: f64 = 6.0;
const FLAT_DEPTH_SHARE: f64 = 0.06;

/// A value's definition on heights: the sum of weight times height over places, mm (for the post:
/// the tangent of its angle).
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Places in the foot frame with their weights.
    pub touches: Vec<(Point2, f64)>,
}

impl Reading {
    fn at(p: Point2) -> Reading {
        Reading { touches: vec![(p, 1.0)] }
    }

    fn mean(places: &[Point2]) -> Reading {
        Reading { touches: places.iter().map(|&p| (p, 1.0 / places.len() as f64)).collect() }
    }

    fn less(mut self, other: &Reading) -> Reading {
        self.touches.extend(other.touches.iter().map(|&(p, w)| (p, -w)));
        self
    }

    /// The reading on a height map; `None` where the map has no height at a place touched.
    pub fn on(&self, height: impl Fn(Point2) -> Option<f64>) -> Option<f64> {
        self.touches.iter().try_fold(0.0, |sum, &(p, w)| Some(sum + w * height(p)?))
    }
}

/// The places of one footbed, foot frame, mm.
#[derive(Clone, Debug)]
pub struct Places {
    /// Foot length that stations are fractions of.
    pub foot_length_mm: f64,
    /// The stations these places were made from.
    pub stations: Stations,
    /// The seat's low point when it is not tilted.
    pub heel_centre: Point2,
    /// Medial and lateral rim at the cup's widest section.
    pub rim: [Point2; 2],
    /// Medial edge inset at the arch's station.
    pub medial_arch: Point2,
    /// Lateral edge inset at its station.
    pub lateral_arch: Point2,
    /// Top of the transverse arch.
    pub dome: Point2,
    /// First met head.
    pub first_met: Point2,
    /// Fifth met head.
    pub fifth_met: Point2,
    /// Places that read the forefoot's flat on the medial and on the lateral half.
    pub flat: [Vec<Point2>; 2],
    /// The flex zone's middle, from the front of the heel post to the met line.
    pub flex_line: Vec<Point2>,
}

impl Places {
    /// The places on this outline. Fails when the outline is not there at a station.
    pub fn new(outline: &Outline, foot_length_mm: f64, stations: Stations) -> Result<Places, BuildError> {
        let at = |station: f64| station * foot_length_mm;
        let section = |what: &'static str, station: f64| {
            outline.section(at(station)).ok_or(BuildError::NoSection { what, station, length_mm: outline.length_mm() })
        };
        let (cup, medial) =
            (section("widest cup", stations.widest_cup)?, section("medial arch", stations.medial_arch)?);
        let (lateral, dome) =
            (section("lateral arch", stations.lateral_arch)?, section("transverse arch", stations.transverse_arch)?);
        let (first, fifth) = (section("first met", stations.first_met)?, section("fifth met", stations.fifth_met)?);
        let inset = MET_HEAD_INSET_SHARE * (first.1 - first.0);
        let first_met = Point2::new(first.1 - inset, at(stations.first_met));
        let fifth_met = Point2::new(fifth.0 + inset, at(stations.fifth_met));
        let dome_x = (0.5 * (first_met.x + fifth_met.x)).clamp(dome.0 + inset, dome.1 - inset);
        let mut places = Places {
            foot_length_mm,
            stations,
            heel_centre: Point2::new(0.0, at(stations.heel_centre)),
            rim: [cup.1 - RIM_INSET_MM, cup.0 + RIM_INSET_MM].map(|x| Point2::new(x, at(stations.widest_cup))),
            medial_arch: Point2::new(medial.1 - EDGE_INSET_MM, at(stations.medial_arch)),
            lateral_arch: Point2::new(lateral.0 + EDGE_INSET_MM, at(stations.lateral_arch)),
            dome: Point2::new(dome_x, at(stations.transverse_arch)),
            first_met,
            fifth_met,
            flat: [vec![], vec![]],
            flex_line: vec![],
        };
        places.flat = [first_met.x, fifth_met.x].map(|x| places.flat_half(x));
        places.flex_line = places.middle(outline)?;
        Ok(places)
    }

    /// Where the line through the met heads crosses this x.
    pub fn met_line_y(&self, x: f64) -> f64 {
        let across = self.first_met - self.fifth_met;
        self.fifth_met.y + (x - self.fifth_met.x) * across.y / across.x
    }

    /// The foremost y of the heel post: as far ahead of the heel centre as that is from the rear.
    pub fn heel_post_front_y(&self) -> f64 {
        2.0 * self.heel_centre.y
    }

    /// A y as a fraction of the foot length.
    pub fn station(&self, y: f64) -> f64 {
        y / self.foot_length_mm
    }

    /// Weights of the three contact places in the support plane's height at `p`: the plane through
    /// the heel seat's low point and the top at the first and fifth met heads.
    pub fn support_plane(&self, p: Point2) -> Reading {
        let corners = [self.heel_centre, self.first_met, self.fifth_met];
        let cross = |a: Vector2, b: Vector2| a.x * b.y - a.y * b.x;
        let area = cross(corners[1] - corners[0], corners[2] - corners[0]);
        let touches = (0..3)
            .map(|k| {
                let (a, b) = (corners[(k + 1) % 3], corners[(k + 2) % 3]);
                (corners[k], cross(a - p, b - p) / area)
            })
            .collect();
        Reading { touches }
    }

    fn above_support(&self, p: Point2) -> Reading {
        Reading::at(p).less(&self.support_plane(p))
    }

    /// How `value` is read on a height map of the top; `None` for the values that are not weights
    /// on heights: cup width, flex-zone thickness and the outline's sizes.
    pub fn reading(&self, value: Value) -> Option<Reading> {
        let seat = Reading::at(self.heel_centre);
        let arm = Vector2::new(POST_ARM_MM, 0.0);
        match value {
            Value::HeelThickness => Some(seat),
            Value::HeelCupDepth => Some(Reading::mean(&self.rim).less(&seat)),
            Value::RearfootPost => {
                let share = 0.5 / POST_ARM_MM;
                Some(Reading { touches: vec![(self.heel_centre + arm, share), (self.heel_centre - arm, -share)] })
            }
            Value::MedialArch => Some(self.above_support(self.medial_arch)),
            Value::LateralArch => Some(self.above_support(self.lateral_arch)),
            Value::TransverseArch => Some(self.above_support(self.dome)),
            Value::ForefootThickness => Some(Reading::mean(&self.flat.concat())),
            _ => None,
        }
    }

    /// Medial less lateral thickness of the forefoot's flat: a hidden cant when it is not zero.
    pub fn forefoot_balance(&self) -> Reading {
        Reading::mean(&self.flat[0]).less(&Reading::mean(&self.flat[1]))
    }

    /// Medial less lateral rim height.
    pub fn rim_balance(&self) -> Reading {
        Reading::at(self.rim[0]).less(&Reading::at(self.rim[1]))
    }

    /// Nine places on the flat ahead of the met line, between the axis and the met head at `met_x`.
    fn flat_half(&self, met_x: f64) -> Vec<Point2> {
        let shares = [0.25, 0.5, 0.75];
        let ahead = |k: usize| FLAT_START_MM + 0.5 * k as f64 * FLAT_DEPTH_SHARE * self.foot_length_mm;
        let place = |share: f64, k: usize| {
            let x = share * met_x;
            Point2::new(x, self.met_line_y(x) + ahead(k))
        };
        shares.iter().flat_map(|&share| (0..3).map(move |k| (share, k))).map(|(share, k)| place(share, k)).collect()
    }

    fn middle(&self, outline: &Outline) -> Result<Vec<Point2>, BuildError> {
        const STEP_MM: f64 = 1.0;
        let mut line = vec![];
        let mut y = self.heel_post_front_y();
        loop {
            let station = self.station(y);
            let (x0, x1) = outline.section(y).ok_or(BuildError::NoSection {
                what: "flex zone",
                station,
                length_mm: outline.length_mm(),
            })?;
            let x = 0.5 * (x0 + x1);
            if y > self.met_line_y(x) {
                return Ok(line);
            }
            line.push(Point2::new(x, y));
            y += STEP_MM;
        }
    }
}
