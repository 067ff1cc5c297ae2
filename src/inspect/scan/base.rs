//! The base plane of a scanned piece: the flat underside where the scan shows it, or the bed that the
//! piece lies on.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3 as V3};
use serde::Serialize;

use super::blocks::Blocks;
use super::plan::Plan;
use crate::frame::{Point2, Vector2};
use crate::register::{Cloud, Facing, Plane};
use crate::regress::{Fit, Noise};

/// What the heights count from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BaseFrom {
    /// The flat of the underside.
    Underside,
    /// The bed beside the piece.
    Bed,
    /// Neither was seen: heights above the base plane cannot be told.
    Nothing,
}

/// The base plane z = c0 + c1 x + c2 y, foot frame.
#[derive(Clone, Debug)]
pub(super) struct Base {
    pub(super) from: BaseFrom,
    /// mm, and mm a mm.
    pub(super) coefficients: V3<f64>,
    pub(super) covariance: Matrix3<f64>,
    /// Widest gap under the piece on its own plane and its standard uncertainty, mm; only of an underside.
    pub(super) gap_mm: Option<(f64, f64)>,
    /// What points of a plane are off by, alone and together: the scanner's own noise, since a plane has no
    /// shape that could be mistaken for it.
    pub(super) noise: Option<Noise>,
}

/// Points within this of the plane that was found belong to it, mm.
const NEAR_MM: f64 = 1.2;
/// Heights are drawn together over squares of this size, mm: about as much as a reading draws together, so
/// that the noise told from them is that of a reading.
const BLOCK_MM: f64 = 4.0;
/// Nearer to the edge than this, mm, a bevel or a burr may stand.
const EDGE_MM: f64 = 3.0;
/// Part of the length that a datum must span, or it says little of the tilt.
const LEAST_SPAN: f64 = 0.55;
/// Squares that a datum must have.
const LEAST_BLOCKS: usize = 90;

/// The base plane; `hint` is the plane that the piece was found on.
pub(super) fn base(cloud: &Cloud, plan: &Plan, hint: Option<Plane>) -> Base {
    let near = |p: &crate::frame::Point3| hint.is_some_and(|plane| plane.height(*p).abs() < NEAR_MM);
    let picked = |wanted: &dyn Fn(usize, Point2) -> bool| -> Blocks {
        let points = cloud.points.iter().enumerate();
        let kept = points.filter(|(i, p)| near(p) && wanted(*i, p.xy()));
        Blocks::of(kept.map(|(_, p)| (p.xy(), p.z)), BLOCK_MM, 1)
    };
    let level = |i: usize| cloud.normals[i].z.abs() > 0.5;
    let down = |i: usize| level(i) && (cloud.facing == Facing::Unknown || cloud.normals[i].z < 0.0);
    let up = |i: usize| level(i) && (cloud.facing == Facing::Unknown || cloud.normals[i].z > 0.0);
    let under =
        picked(&|i, p| down(i) && plan.distance(p) < -EDGE_MM && plan.is_flat_under(p) && under_half(cloud, plan, i));
    let bed = picked(&|i, p| up(i) && plan.distance(p) > EDGE_MM);
    let of_underside = fitted(&under, plan)
        .map(|fit| Base { gap_mm: Some(gap(&under, &fit)), ..known(BaseFrom::Underside, &under, &fit) });
    let of_bed = || fitted(&bed, plan).map(|fit| known(BaseFrom::Bed, &bed, &fit));
    of_underside.or_else(of_bed).unwrap_or_else(nothing)
}

/// Whether a point is on the lower half of the piece, so that a thin one's top is not taken for it.
fn under_half(cloud: &Cloud, plan: &Plan, i: usize) -> bool {
    let p = cloud.points[i];
    p.z < 0.5 * plan.footbed.top_at(p.xy())
}

fn known(from: BaseFrom, blocks: &Blocks, fit: &Fit) -> Base {
    let (c, v) = (&fit.coefficients, &fit.covariance);
    Base {
        from,
        coefficients: V3::new(c[0], c[1], c[2]),
        covariance: Matrix3::from_fn(|i, j| v[(i, j)]),
        gap_mm: None,
        noise: Some(blocks.noise_of_points(fit.noise)),
    }
}

/// Without a datum the best fit stands: its height is anyone's guess, its tilt good to a degree or so.
fn nothing() -> Base {
    const HEIGHT_SD_MM: f64 = 1000.0;
    let tilt_sd = 1.0_f64.to_radians();
    Base {
        from: BaseFrom::Nothing,
        coefficients: V3::zeros(),
        covariance: Matrix3::from_diagonal(&V3::new(HEIGHT_SD_MM, tilt_sd, tilt_sd).map(|sd| sd * sd)),
        gap_mm: None,
        noise: None,
    }
}

fn fitted(blocks: &Blocks, plan: &Plan) -> Option<Fit> {
    let places = &blocks.places;
    let ys = places.iter().map(|p| p.y);
    let span = ys.clone().fold(f64::NEG_INFINITY, f64::max) - ys.fold(f64::INFINITY, f64::min);
    if places.len() < LEAST_BLOCKS || span < LEAST_SPAN * plan.footbed.outline.length_mm() {
        return None;
    }
    let model = DMatrix::from_fn(places.len(), 3, |i, j| [1.0, places[i].x, places[i].y][j]);
    blocks.fit(&model)
}

/// The widest gap under the piece and its standard uncertainty: between the highest and the lowest place
/// of its bow, fitted as a surface of the second degree under the same noise. Noise alone bows a fit too,
/// by about its uncertainty, which is taken off in squares.
fn gap(blocks: &Blocks, plane: &Fit) -> (f64, f64) {
    const ARM_MM: f64 = 100.0;
    let places = &blocks.places;
    let middle = places.iter().map(|p| p.coords).sum::<Vector2>() / places.len() as f64;
    let row = |p: Point2| {
        let (x, y) = ((p.x - middle.x) / ARM_MM, (p.y - middle.y) / ARM_MM);
        [1.0, x, y, x * x, x * y, y * y]
    };
    let model = DMatrix::from_fn(places.len(), 6, |i, k| row(places[i])[k]);
    // Parts that left the plane altogether hang over it or stick out of it.
    let outlying = plane.residuals.iter().filter(|r| r.is_nan()).count();
    let torn = if outlying * 20 > places.len() { largest_off(blocks, plane) } else { 0.0 };
    let Some(bowed) = blocks.fit(&model) else { return (torn, 0.05) };
    let bow = |p: Point2| -> f64 { (3..6).map(|k| bowed.coefficients[k] * row(p)[k]).sum() };
    let level = least_squares_plane(places, &bow);
    let off: Vec<f64> = places.iter().map(|&p| bow(p) - level(p)).collect();
    let lowest = (0..off.len()).min_by(|&a, &b| off[a].total_cmp(&off[b])).unwrap_or(0);
    let highest = (0..off.len()).max_by(|&a, &b| off[a].total_cmp(&off[b])).unwrap_or(0);
    let between =
        DVector::from_fn(6, |k, _| if k < 3 { 0.0 } else { row(places[highest])[k] - row(places[lowest])[k] });
    let u = (between.transpose() * &bowed.covariance * &between)[(0, 0)].max(0.0).sqrt();
    let range = off[highest] - off[lowest];
    ((range * range - 4.0 * u * u).max(0.0).sqrt().max(torn), u.max(0.01))
}

/// The plane through heights at places.
fn least_squares_plane(places: &[Point2], height: &dyn Fn(Point2) -> f64) -> impl Fn(Point2) -> f64 + use<> {
    let row = |p: Point2| V3::new(1.0, p.x, p.y);
    let normal: Matrix3<f64> = places.iter().map(|&p| row(p) * row(p).transpose()).sum();
    let right: V3<f64> = places.iter().map(|&p| row(p) * height(p)).sum();
    let c = normal.cholesky().map_or(V3::zeros(), |c| c.solve(&right));
    move |p: Point2| c.dot(&V3::new(1.0, p.x, p.y))
}

fn largest_off(blocks: &Blocks, fit: &Fit) -> f64 {
    let c = &fit.coefficients;
    blocks
        .places
        .iter()
        .zip(&blocks.numbers)
        .map(|(p, z)| (z - c[0] - c[1] * p.x - c[2] * p.y).abs())
        .fold(0.0, f64::max)
}
