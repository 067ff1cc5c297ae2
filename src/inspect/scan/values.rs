//! The values of a scanned piece, two ways: as a gauge would read them, and by least squares on what
//! each value does to the whole top.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, Matrix3, Vector3 as V3};
use rayon::prelude::*;

use super::base::{Base, BaseFrom};
use super::blocks::Blocks;
use super::edge::Edge;
use super::field::{Field, Weights};
use super::plan::Plan;
use crate::footbed::{Footbed, Places, SHAPING};
use crate::frame::{Point2, Vector2};
use crate::gauge;
use crate::regress::{self, Fit, median, robust_sd};
use crate::value::{Value, Values};

/// One value of the piece, mm or degrees.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    pub(super) made: f64,
    /// Standard uncertainty.
    pub(super) u: f64,
    /// The part of it that all pieces share that are scanned alike.
    pub(super) shared_u: f64,
    /// By least squares on the whole top, with its standard uncertainty.
    pub(super) fitted: Option<(f64, f64)>,
    /// How many points were read.
    pub(super) count: usize,
}

/// What the piece lies in: how well the datums are known.
pub(super) struct Frame<'a> {
    pub(super) base: &'a Base,
    /// Covariance of shift and turn of the outline.
    pub(super) edge: Matrix3<f64>,
    /// The turn is about this y, mm.
    pub(super) about_y: f64,
    /// The turn is told in mm at this arm.
    pub(super) arm_mm: f64,
    /// The edge, where it was seen.
    pub(super) found: Option<&'a Edge>,
}

impl Frame<'_> {
    /// Where a reading touches the piece: rim and arches are read at a distance from the edge, so they
    /// move with an edge that lies elsewhere.
    fn touches(&self, places: &Places, value: Value) -> Option<Vec<(Point2, f64)>> {
        let by_edge = [places.rim[0], places.rim[1], places.medial_arch, places.lateral_arch];
        let place = |p: Point2| match self.found {
            Some(edge) if by_edge.contains(&p) => p + edge.moved_near(p),
            _ => p,
        };
        Some(places.reading(value)?.touches.into_iter().map(|(p, share)| (place(p), share)).collect())
    }

    /// Variance of a weighted sum of the field, with what the frame adds.
    fn variance(&self, field: &Field, weights: &Weights) -> f64 {
        let (by_base, by_edge) = (field.moments(weights), field.slips(weights, self.about_y, self.arm_mm));
        let quadratic = |v: V3<f64>, m: &Matrix3<f64>| (v.transpose() * m * v)[(0, 0)];
        field.variance(weights) + quadratic(by_base, &self.base.covariance) + quadratic(by_edge, &self.edge)
    }
}

/// Squares over which the least squares are taken, mm.
const BLOCK_MM: f64 = 5.0;
/// Nearer to the edge than this, mm, a point is not used for them.
const EDGE_MM: f64 = 3.0;
/// Steeper places say more of a slip to the side than of heights.
const STEEPEST: f64 = 0.8;
/// A square with fewer points is not used.
const LEAST_POINTS: usize = 3;

/// The least squares of the field on the responses.
pub(super) struct Responses {
    fit: Fit,
    blocks: Blocks,
}

impl Responses {
    /// `None` when too little of the top was seen to tell the values apart.
    pub(super) fn fitted(plan: &Plan, field: &Field) -> Option<Responses> {
        let used = |i: &usize| field.slopes[*i].norm() <= STEEPEST && plan.distance(field.places[*i]) <= -EDGE_MM;
        let points = (0..field.places.len()).filter(used).map(|i| (field.places[i], field.height_off(i)));
        let blocks = Blocks::of(points, BLOCK_MM, LEAST_POINTS);
        let responses = &plan.footbed.responses;
        let rows: Vec<f64> =
            blocks.places.par_iter().flat_map_iter(|&p| responses.iter().map(move |r| r.height(p))).collect();
        let model = DMatrix::from_row_slice(blocks.places.len(), responses.len(), &rows);
        let fit = blocks.fit(&model)?;
        Some(Responses { fit, blocks })
    }

    /// What points are off by, alone and together.
    pub(super) fn noise(&self) -> regress::Noise {
        self.blocks.noise_of_points(self.fit.noise)
    }

    /// What is left once all values are fitted, standard deviation, mm.
    pub(super) fn left_sd_mm(&self) -> f64 {
        self.fit.noise.sd()
    }

    /// How many independent heights the noise leaves of all that were fitted: the number whose mean
    /// would be as uncertain.
    pub(super) fn independent(&self) -> f64 {
        let places = &self.blocks.places;
        let mean = vec![1.0 / places.len() as f64; places.len()];
        self.fit.noise.covariance(0.0) / self.fit.noise.variance_of(places, &mean).max(f64::MIN_POSITIVE)
    }

    fn value(&self, footbed: &Footbed, frame: &Frame, value: Value, designed: f64) -> Option<(f64, f64)> {
        let k = SHAPING.iter().position(|&shaping| shaping == value)?;
        let row = self.fit.estimator.row(k);
        let sums = |of_place: &dyn Fn(Point2) -> V3<f64>| -> V3<f64> {
            row.iter().zip(&self.blocks.places).map(|(w, p)| of_place(*p) * *w).sum()
        };
        let by_base = sums(&|p| V3::new(1.0, p.x, p.y));
        let by_edge = sums(&|p| {
            let s = footbed.top.slope(p);
            V3::new(s.x, s.y, (s.y * p.x - s.x * (p.y - frame.about_y)) / frame.arm_mm)
        });
        let quadratic = |v: V3<f64>, m: &Matrix3<f64>| (v.transpose() * m * v)[(0, 0)];
        let variance =
            self.fit.covariance[(k, k)] + quadratic(by_base, &frame.base.covariance) + quadratic(by_edge, &frame.edge);
        let change = self.fit.coefficients[k];
        Some(match value {
            Value::RearfootPost => as_angle(designed.to_radians().tan() + change, variance.max(0.0).sqrt()),
            _ => (designed + change, variance.max(0.0).sqrt()),
        })
    }
}

/// An angle in degrees from its tangent; d atan t = dt / (1 + t^2).
fn as_angle(tangent: f64, u: f64) -> (f64, f64) {
    (tangent.atan().to_degrees(), (u / (1.0 + tangent * tangent)).to_degrees())
}

/// Every value that the faces show; sizes of the outline come from the edge.
pub(super) fn read(
    plan: &Plan,
    frame: &Frame,
    top: &Field,
    underside: Option<&Field>,
    responses: Option<&Responses>,
    designed: &Values,
) -> BTreeMap<Value, Found> {
    let of_value = |value: Value| -> Option<Found> {
        let designed = *designed.get(&value)?;
        match value {
            Value::HeelCupWidth => cup_width(plan, frame, top, designed),
            Value::FlexZoneThickness => flex_zone(plan, frame, top, underside),
            Value::Length | Value::BallWidth | Value::HeelWidth => None,
            _ => {
                let fitted = responses.and_then(|r| r.value(plan.footbed, frame, value, designed));
                touched(plan, frame, top, value).map(|found| Found { fitted, ..found })
            }
        }
    };
    Value::ALL.into_iter().filter_map(|value| Some((value, of_value(value)?))).collect()
}

/// A value that is weights on heights: the design's at its places, and the same weights on what the piece
/// has more or less there.
fn touched(plan: &Plan, frame: &Frame, top: &Field, value: Value) -> Option<Found> {
    let (designed, weights) = read_at(plan, frame, top, value)?;
    let (made, u) = (designed + top.sum(&weights), frame.variance(top, &weights).max(0.0).sqrt());
    let (made, u) = if value == Value::RearfootPost { as_angle(made, u) } else { (made, u) };
    Some(Found { made, u, shared_u: 0.0, fitted: None, count: weights.len() })
}

/// What the design reads at the places of a value on this piece, and the weights on the field there.
fn read_at(plan: &Plan, frame: &Frame, top: &Field, value: Value) -> Option<(f64, Weights)> {
    let touches = frame.touches(&plan.footbed.places, value)?;
    let designed = touches.iter().map(|(p, share)| share * plan.footbed.top_at(*p)).sum();
    Some((designed, gathered(plan, top, &touches)?))
}

/// Medial less lateral thickness of the forefoot, the designed difference included.
pub(super) fn forefoot_tilt(plan: &Plan, frame: &Frame, top: &Field) -> Option<Found> {
    let reading = plan.footbed.places.forefoot_balance();
    let designed = reading.on(|p| Some(plan.footbed.top_at(p)))?;
    let weights = gathered(plan, top, &reading.touches)?;
    let u = frame.variance(top, &weights).max(0.0).sqrt();
    Some(Found { made: designed + top.sum(&weights), u, shared_u: 0.0, fitted: None, count: weights.len() })
}

/// Weights on the field's points of a sum over places. A mean over many places may lack some of them.
fn gathered(plan: &Plan, field: &Field, touches: &[(Point2, f64)]) -> Option<Weights> {
    /// A mean over at least so many places is one over those that were seen ...
    const MANY: usize = 6;
    /// ... when at least this share was.
    const LEAST_SEEN: f64 = 0.6;
    let mut sum = vec![];
    for sign in [1.0, -1.0] {
        let group: Vec<(Point2, f64)> = touches.iter().copied().filter(|(_, share)| share * sign > 0.0).collect();
        let read =
            group.iter().filter_map(|&(p, share)| Some((share, field.weights_at(p, plan.footbed.top.slope(p))?)));
        let read: Vec<(f64, Weights)> = read.collect();
        let seen: f64 = read.iter().map(|(share, _)| share * sign).sum();
        let whole: f64 = group.iter().map(|(_, share)| share * sign).sum();
        if read.len() < group.len() && (group.len() < MANY || seen < LEAST_SEEN * whole) {
            return None;
        }
        for (share, weights) in read {
            sum.extend(weights.into_iter().map(|(i, w)| (i, share * w * whole / seen)));
        }
    }
    Some(added(sum.into_iter()))
}

/// Weights with one number for each point, points in order.
fn added(weights: impl Iterator<Item = (usize, f64)>) -> Weights {
    let mut sum: BTreeMap<usize, f64> = BTreeMap::new();
    weights.for_each(|(i, w)| *sum.entry(i).or_insert(0.0) += w);
    sum.into_iter().collect()
}

/// The cup's width at half depth: the designed one, and how far each wall stands out there.
///
/// A wall that stands out by e has a height less by its slope times e; the level itself moves with the
/// seat and the depth, and a level that is higher by h meets the wall h over its slope further out.
fn cup_width(plan: &Plan, frame: &Frame, top: &Field, designed: f64) -> Option<Found> {
    const ALONG_MM: f64 = 5.0;
    const LEVEL_MM: f64 = 1.5;
    /// Of points on one wall only so many err by themselves.
    const INDEPENDENT: f64 = 2.0;
    let (footbed, places) = (plan.footbed, &plan.footbed.places);
    let height = |p: Point2| Some(footbed.top_at(p));
    let (seat, depth) = (places.reading(Value::HeelThickness)?, places.reading(Value::HeelCupDepth)?);
    let level = seat.on(height)? + 0.5 * depth.on(height)?;
    let (seat_designed, seat) = read_at(plan, frame, top, Value::HeelThickness)?;
    let (depth_designed, depth) = read_at(plan, frame, top, Value::HeelCupDepth)?;
    let halved = depth.into_iter().map(|(i, w)| (i, 0.5 * w));
    let of_level = added(seat.into_iter().chain(halved));
    let raised = seat_designed + 0.5 * depth_designed + top.sum(&of_level) - level;
    let cup_y = places.rim[0].y;
    // A level that is off by one moves both walls outward.
    let (mut wider, mut by_level) = (0.0, 0.0);
    let (mut variance, mut count) = (0.0, 0);
    for side in [1.0, -1.0] {
        let on_wall = |i: &usize| {
            let (p, s) = (top.places[*i], top.slopes[*i]);
            let z = footbed.top_at(p) + top.height_off(*i);
            (p.y - cup_y).abs() < ALONG_MM
                && (z - level - raised).abs() < LEVEL_MM
                && p.x * side > 0.0
                && s.x * side > 0.2
        };
        let points: Vec<usize> = (0..top.places.len()).filter(on_wall).collect();
        let mut out: Vec<f64> = points.iter().map(|&i| (raised - top.height_off(i)) / top.slopes[i].x.abs()).collect();
        if out.len() < 4 {
            return None;
        }
        let n = out.len();
        let middle = median(&mut out)?;
        let spread = robust_sd(out.iter().map(|o| o - middle))?;
        wider += middle;
        by_level += median(&mut points.iter().map(|&i| top.slopes[i].x.abs().recip()).collect::<Vec<f64>>())?;
        variance += spread * spread / (n as f64).min(INDEPENDENT);
        count += n;
    }
    variance += by_level * by_level * top.variance(&of_level);
    Some(Found { made: designed + wider, u: variance.sqrt(), shared_u: 0.0, fitted: None, count })
}

/// The least thickness along the flex zone's middle. A flat underside on a datum is the datum.
fn flex_zone(plan: &Plan, frame: &Frame, top: &Field, underside: Option<&Field>) -> Option<Found> {
    if frame.base.from == BaseFrom::Nothing {
        return None;
    }
    let footbed = plan.footbed;
    let flat = footbed.underside == crate::footbed::Underside::Flat;
    let above = |p: Point2| Some(footbed.top_at(p) + top.at(p, footbed.top.slope(p))?);
    let below = |p: Point2| match underside {
        Some(field) => Some(footbed.underside_at(p) + field.at(p, Vector2::zeros())?),
        None => flat.then_some(0.0),
    };
    let least =
        gauge::flex_zone(&footbed.places, gauge::Piece { top: &above, underside: &below, outline: &footbed.outline })?;
    let weights = top.weights_at(least.at, footbed.top.slope(least.at))?;
    let mut variance = frame.variance(top, &weights);
    if let Some(field) = underside {
        variance += field.variance(&field.weights_at(least.at, Vector2::zeros())?);
    }
    Some(Found {
        made: least.thickness_mm,
        u: variance.max(0.0).sqrt(),
        shared_u: 0.0,
        fitted: None,
        count: weights.len(),
    })
}
