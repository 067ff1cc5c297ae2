//! A scanned piece against its ticket: found in the scan, laid on its datums, read like a gauge would
//! and by least squares, judged like any other piece. Knows points and the design; does not know files.
//!
//! [`inspect_scan`] is the whole of it on one page. Datums decide, never the best fit: the base plane
//! gives height and both tilts, the edge gives the heel centre and the long axis. So a piece whose seat
//! is tilted by a degree is a degree off, and one that is too long is too long.

mod base;
mod blocks;
mod edge;
mod faults;
mod field;
mod foreign;
mod map;
mod model;
mod plan;
mod pose;
mod signature;
mod size;
mod values;

use std::collections::BTreeMap;

use nalgebra::{Matrix3, Translation3, UnitQuaternion, Vector3 as V3};
use serde::Serialize;

use super::{Case, Check, CheckFound, Cover, Fitted, Inspection, Judged, Verdict, advice, advice_on_scan, judged_of};
use crate::footbed::{POST_ARM_MM, Underside};
use crate::frame::{Point3, Side, Vector2, Vector3};
use crate::mesh::{Mesh, Scan, ScanError, Unit};
use crate::profile::Band;
use crate::register::{Cloud, Facing, Nearest, Plane, Pose};
use crate::value::Value;

pub use base::BaseFrom;
pub use map::Map;
pub use signature::{Known, Signature};

use base::Base;
use edge::Edge;
use field::{Field, along};
use model::Model;
use plan::Plan;
use pose::Start;
use values::{Found, Frame, Responses};

/// How a scan was taken.
#[derive(Clone, Copy, Debug)]
pub struct Taken {
    /// With or without the cover.
    pub cover: Cover,
    /// Standard uncertainty of a length by the scanner itself, mm, as its maker or the shop's own check
    /// states it; 0 when nobody knows.
    pub scanner_mm: f64,
}

/// What was found of a scanned piece.
#[derive(Clone, Debug)]
pub struct Scanned {
    /// The verdict and all that led to it.
    pub inspection: Inspection,
    /// The piece against the design, place by place; `None` of a piece that is the other foot's.
    pub map: Option<Map>,
}

/// How a scan was laid on the design.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Alignment {
    /// What heights count from.
    pub base: BaseFrom,
    /// Share of the edge that was seen.
    pub edge_seen: f64,
    /// Share of the top that was seen.
    pub top_seen: f64,
    /// Standard uncertainty of the base plane's height at the heel centre, mm, and of its tilt across
    /// and along, degrees.
    pub base_uncertainty: [f64; 3],
    /// What a best fit would have turned and moved away: tilt across (positive lifts the medial side) and
    /// along, degrees, and height, mm.
    pub hidden_by_best_fit: [f64; 3],
    /// Standard deviation of one point about its neighbours, mm.
    pub noise_mm: f64,
    /// Standard deviation of what all values together do not explain, mm.
    pub left_over_mm: f64,
    /// As many independent heights as the noise leaves.
    pub independent: f64,
}

/// Why a scan cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // every field is named in the message
pub enum ScanFault {
    #[error("the scan has {points} points after thinning; a piece needs some {least}: scan it again, all of its top")]
    TooFew { points: usize, least: usize },
    #[error(
        "the scan, taken in {unit}, is {extent:.4} long and the piece is {length_mm:.0} mm long; it would be right in {guess}: \
         say so with --unit {option}"
    )]
    Unit { extent: f64, unit: &'static str, length_mm: f64, guess: &'static str, option: &'static str },
    #[error(
        "the scan is {extent_mm:.1} mm long and the piece {length_mm:.0} mm, {ratio:.3} times{guess}: is it the whole \
         piece, written once, and in which unit? Say the unit with --unit"
    )]
    Size { extent_mm: f64, length_mm: f64, ratio: f64, guess: &'static str },
    #[error(
        "what was scanned goes on beyond the edge of this piece nearly all round: it is larger. Is it the right ticket, \
         and the right unit (--unit)?"
    )]
    Larger,
    #[error(
        "nothing in the scan looks like this piece: where it fits best, {near:.0} % of what is seen of the top is within \
         2 mm of the design and {seen:.0} % of the top is seen. Is it the right ticket and revision, and is the top in \
         the scan?"
    )]
    NotThisPiece { near: f64, seen: f64 },
}

/// A scan is thinned to samples this far apart, mm: finer than anything that is judged, and each the mean
/// of all points around it.
const SPACING_MM: f64 = 0.8;

/// A scan in another unit may be a few hundredths across; so many samples still tell its length.
const LEAST_ACROSS: f64 = 300.0;

/// What is possible at the least is not at its very end.
const WELL_OVER: f64 = 1.01;

/// The largest side of the box around all points; infinite where there is none, so that it sets no bound.
fn extent(points: &[Point3]) -> f64 {
    let side = |k: usize| {
        let (low, high) =
            points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(p[k]), b.max(p[k])));
        high - low
    };
    let largest = (0..3).map(side).fold(0.0, f64::max);
    if largest > 0.0 { largest } else { f64::INFINITY }
}

/// The cloud of a scan that is written in this unit, mm.
pub fn cloud(scan: &Scan, unit: Unit) -> Result<Cloud, ScanError> {
    let spacing = (SPACING_MM / unit.in_mm()).min(extent(&scan.points) / LEAST_ACROSS);
    let samples = match scan.samples(spacing) {
        // Too large to be sampled so finely, as in the wrong unit: its length is all that is to be told of it.
        Err(ScanError::Spacing { least, .. }) => scan.samples(WELL_OVER * least)?,
        samples => samples?,
    };
    Ok(Cloud::of_samples(&samples, unit.in_mm()))
}

/// The cloud of a mesh of our own, mm.
pub fn cloud_of_mesh(mesh: &Mesh) -> Result<Cloud, ScanError> {
    Ok(Cloud::of_samples(&mesh.samples(SPACING_MM)?, 1.0))
}

/// Judges a piece by its scan, a cloud in mm in any pose.
///
/// # Errors
/// A scan that is too thin, in another unit, or of something else.
pub fn inspect_scan(case: &Case, cloud: &Cloud, taken: Taken) -> Result<Scanned, ScanFault> {
    let cloud = &size::of_the_piece(case, cloud)?;
    let tree = Nearest::new(&cloud.points);
    let (start, other_side, facing) = found(case, cloud, &tree)?;
    let side = case.order.side;
    if other_side {
        // A piece of another size may look more like the other foot's than like its own.
        size::ends_at_the_edge(&in_foot_frame(cloud, &start, side.other()).0, &Plan::new(case.footbed))?;
        return Ok(Scanned { inspection: the_other_side(case), map: None });
    }
    let plan = Plan::new(case.footbed);
    let cloud = facing.of(cloud);
    let (cloud, hint) = in_foot_frame(&cloud, &start, side);
    size::ends_at_the_edge(&cloud, &plan)?;
    let base = base::base(&cloud, &plan, hint);
    let cloud = cloud.moved(&base_pose(&base));
    let (cloud, edge) = on_edge(cloud, &plan);
    let frame = Frame {
        base: &base,
        edge: edge.as_ref().map_or_else(unknown_edge, |edge| edge.covariance),
        about_y: case.footbed.places.rim[0].y,
        arm_mm: edge::ARM_MM,
        found: edge.as_ref(),
    };
    let [top, underside] = faces(&cloud, &plan, case, taken.cover);
    let responses = Responses::fitted(&plan, &top);
    // What a local reading may be off by is told by the plane, which has no shape of its own; what the
    // values leave unexplained of the top is shape as much as noise.
    let noise = base.noise.or_else(|| responses.as_ref().map(Responses::noise)).unwrap_or_default();
    let (top, underside) = (top.with_noise(noise), underside.with_noise(noise));
    let under = (case.footbed.underside != Underside::Flat).then_some(&underside);
    let found = values::read(&plan, &frame, &top, under, responses.as_ref(), case.read_back);
    let map = Map::new(&plan, &top, under);
    let alignment = Alignment {
        base: base.from,
        edge_seen: edge.as_ref().map_or(0.0, |edge| edge.seen),
        top_seen: start.agreement.seen,
        base_uncertainty: base_uncertainty(&base, frame.about_y),
        hidden_by_best_fit: hidden(&base, frame.about_y),
        noise_mm: top.own_sd(),
        left_over_mm: responses.as_ref().map_or(f64::NAN, Responses::left_sd_mm),
        independent: responses.as_ref().map_or(f64::NAN, Responses::independent),
    };
    let tilt = values::forefoot_tilt(&plan, &frame, &top);
    let signature = (base.from != BaseFrom::Nothing).then(|| signature::signature(&plan, &top, side)).flatten();
    let inspection = judged(case, taken, &found, edge.as_ref(), &base, tilt, &map, alignment);
    Ok(Scanned { inspection: Inspection { signature, ..inspection }, map: Some(map) })
}

/// How a scan's normals have to be taken: some programs write triangles the other way round, and some
/// as it comes.
#[derive(Clone, Copy)]
enum Faces {
    AsTheyAre,
    InsideOut,
    Untold,
}

impl Faces {
    fn of(self, cloud: &Cloud) -> Cloud {
        match self {
            Faces::AsTheyAre => cloud.clone(),
            Faces::InsideOut => cloud.turned_inside_out(),
            Faces::Untold => cloud.without_facing(),
        }
    }
}

/// Where the piece lies, whether as the other side's, and how its normals have to be taken: as they are
/// when that is good, else the way that is clearly better.
fn found(case: &Case, cloud: &Cloud, tree: &Nearest) -> Result<(Start, bool, Faces), ScanFault> {
    let planes = pose::bases(cloud);
    let (own, other) =
        rayon::join(|| Model::new(case.footbed, case.order.side), || Model::new(case.footbed, case.order.side.other()));
    let best = |faces: Faces| {
        let cloud = &faces.of(cloud);
        let starts =
            rayon::join(|| pose::start(cloud, tree, &planes, &own), || pose::start(cloud, tree, &planes, &other));
        chosen(starts).map(|(start, other_side)| (start, other_side, faces))
    };
    let as_they_are = best(Faces::AsTheyAre);
    let fits_well = |found: &Result<(Start, bool, Faces), ScanFault>| {
        found.as_ref().is_ok_and(|(start, ..)| start.agreement.is_good())
    };
    if cloud.facing == Facing::Unknown || fits_well(&as_they_are) {
        return as_they_are;
    }
    match (as_they_are, best(Faces::InsideOut)) {
        (Ok(as_they_are), Ok(turned)) if !turned.0.agreement.is_clearly_better_than(&as_they_are.0.agreement) => {
            Ok(as_they_are)
        }
        (_, Ok(turned)) => Ok(turned),
        (Ok(as_they_are), Err(_)) => Ok(as_they_are),
        (Err(fault), Err(_)) => best(Faces::Untold).map_err(|_| fault),
    }
}

/// Which of two starts counts, as this side's and as the other's; true for the other.
fn chosen((own, other): (Option<Start>, Option<Start>)) -> Result<(Start, bool), ScanFault> {
    let likely = |start: &Start| start.agreement.is_the_piece();
    match (own, other) {
        (own, Some(other))
            if likely(&other)
                && own.is_none_or(|own| !likely(&own) || other.agreement.is_clearly_better_than(&own.agreement)) =>
        {
            Ok((other, true))
        }
        (Some(own), _) if likely(&own) => Ok((own, false)),
        (own, _) => {
            let percent = |share: Option<f64>| 100.0 * share.unwrap_or(0.0);
            let agreement = own.map(|own| own.agreement);
            Err(ScanFault::NotThisPiece {
                near: percent(agreement.map(|a| a.near)),
                seen: percent(agreement.map(|a| a.seen)),
            })
        }
    }
}

/// The cloud and the plane it was found on, foot frame.
fn in_foot_frame(cloud: &Cloud, start: &Start, side: Side) -> (Cloud, Option<Plane>) {
    let placement = crate::frame::bench_from_foot(side);
    let unplaced = |p: Point3| {
        let q = placement.unplace(p.xy());
        Point3::new(q.x, q.y, placement.unplace_height(p.z))
    };
    // The bench frame shares its origin with the foot frame, so directions go the same way.
    let turned = |n: Vector3| unplaced(Point3::from(n)).coords;
    let on_bench = cloud.moved(&start.best.pose);
    let in_foot = Cloud {
        points: on_bench.points.iter().map(|&p| unplaced(p)).collect(),
        normals: on_bench.normals.iter().map(|&n| turned(n)).collect(),
        facing: cloud.facing,
        drawn_from: cloud.drawn_from,
    };
    let base = start.base.map(|plane| Plane { normal: turned(plane.normal), ..plane });
    // A best fit lies on its base to a few millimetres and degrees, or that plane was another.
    let is_base = |plane: &Plane| plane.normal.z > 0.99 && plane.height(Point3::new(0.0, 100.0, 0.0)).abs() < 4.0;
    (in_foot, base.filter(is_base))
}

/// The motion that makes the base plane z = 0.
fn base_pose(base: &Base) -> Pose {
    let c = base.coefficients;
    let normal = Vector3::new(-c[1], -c[2], 1.0).normalize();
    let turn = UnitQuaternion::rotation_between(&normal, &Vector3::z()).unwrap_or_else(UnitQuaternion::identity);
    let height = normal.dot(&Vector3::new(0.0, 0.0, c[0]));
    Translation3::new(0.0, 0.0, -height) * turn
}

/// The cloud moved so that its edge lies on the designed heel and long axis, and the edge there.
fn on_edge(cloud: Cloud, plan: &Plan) -> (Cloud, Option<Edge>) {
    /// Each round finds the edge at places that the last one moved.
    const ROUNDS: usize = 3;
    let about = Translation3::new(0.0, plan.footbed.places.rim[0].y, 0.0);
    let mut cloud = cloud;
    let mut found = None;
    for _ in 0..ROUNDS {
        found = edge::edge(&cloud, plan);
        let Some(edge) = &found else { break };
        let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), -edge.off[2] / edge::ARM_MM);
        let back = Translation3::new(-edge.off[0], -edge.off[1], 0.0);
        cloud = cloud.moved(&(about * turn * about.inverse() * back));
    }
    (cloud, found)
}

/// Without an edge the best fit stands, good to half a millimetre and half a degree or so.
fn unknown_edge() -> Matrix3<f64> {
    let turn = 0.5_f64.to_radians() * edge::ARM_MM;
    Matrix3::from_diagonal(&V3::new(0.25, 0.25, turn * turn))
}

/// Top and underside of the cloud as differences from the design.
fn faces(cloud: &Cloud, plan: &Plan, case: &Case, cover: Cover) -> [Field; 2] {
    /// Nearer to the edge than this the top's round and the wall mix, mm.
    const EDGE_MM: f64 = 0.5;
    const UNDER_EDGE_MM: f64 = 3.0;
    /// Further from the design is not the piece, mm along the normal.
    const FARTHEST_MM: f64 = 6.0;
    let covered_mm = if cover == Cover::On { case.make.cover_mm } else { 0.0 };
    let foreign = foreign::foreign(cloud, plan);
    let (mut top, mut under) = ((vec![], vec![], vec![]), (vec![], vec![], vec![]));
    for (p, n) in cloud.points.iter().zip(&cloud.normals) {
        let (at, distance) = (p.xy(), plan.distance(p.xy()));
        if distance > -EDGE_MM || foreign.covers(at) {
            continue;
        }
        let (high, low) = (plan.footbed.top_at(at), plan.underside(at));
        let is_top = match cloud.facing {
            Facing::Outward => n.z > 0.15,
            Facing::Unknown => p.z > 0.5 * (high + low),
        };
        let slope = plan.footbed.top.slope(at);
        let off = if is_top { (p.z - high) / along(slope) - covered_mm } else { p.z - low };
        if off.abs() > FARTHEST_MM {
            continue;
        }
        if is_top {
            top.0.push(at);
            top.1.push(off);
            top.2.push(slope);
        } else if distance < -UNDER_EDGE_MM {
            under.0.push(at);
            under.1.push(off);
            under.2.push(Vector2::zeros());
        }
    }
    [top, under].map(|(places, offs, slopes)| Field::new(places, offs, slopes))
}

/// Standard uncertainties of the base plane at the heel: mm, degrees across and along.
fn base_uncertainty(base: &Base, heel_y: f64) -> [f64; 3] {
    let at = V3::new(1.0, 0.0, heel_y);
    let height = (at.transpose() * base.covariance * at)[(0, 0)].max(0.0).sqrt();
    let tilt = |k: usize| base.covariance[(k, k)].max(0.0).sqrt().atan().to_degrees();
    [height, tilt(1), tilt(2)]
}

/// What the best fit had turned away.
fn hidden(base: &Base, heel_y: f64) -> [f64; 3] {
    let c = base.coefficients;
    [-c[1].atan().to_degrees(), -c[2].atan().to_degrees(), -(c[0] + c[2] * heel_y)]
}

fn the_other_side(case: &Case) -> Inspection {
    let (side, other) = (case.order.side, case.order.side.other());
    let advice = format!(
        "the scan fits the {other} foot's shape and not the {side} one's: this is probably the {other} piece; \
         inspect it with --side {other}",
        side = side.name(),
        other = other.name()
    );
    Inspection {
        side,
        probable_other_side: true,
        values: BTreeMap::new(),
        checks: vec![],
        surface: None,
        alignment: None,
        signature: None,
        verdict: Verdict::Reject,
        not_judged: Value::ALL.to_vec(),
        advice: vec![advice],
        notes: vec![],
    }
}

#[allow(clippy::too_many_arguments)] // each is one of the things that were found
fn judged(
    case: &Case,
    taken: Taken,
    found: &BTreeMap<Value, Found>,
    edge: Option<&Edge>,
    base: &Base,
    tilt: Option<Found>,
    map: &Map,
    alignment: Alignment,
) -> Inspection {
    let mut notes = vec![];
    let mut values = BTreeMap::new();
    let sizes = edge.map_or(&[][..], |edge| &edge.sizes[..]);
    let of_size = |size: &edge::Size| {
        let fitted = Some((size.fitted, size.fitted_u));
        let (made, u) = size.gauged.unwrap_or((size.fitted, size.fitted_u));
        (size.value, Found { made, u, shared_u: size.shared_u, fitted, count: size.count })
    };
    for (value, found) in found.iter().map(|(value, found)| (*value, *found)).chain(sizes.iter().map(of_size)) {
        let Some(asked) = case.order.asked(value).or_else(|| case.read_back.get(&value).copied()) else { continue };
        let Some(band) = advice::band(case.tolerances, value) else { continue };
        let judged = judge(band, value.unit(), asked, &found, scanner_u(value, taken));
        if judged.uncertainty > worst_uncertainty(band) {
            continue;
        }
        notes.extend(disagreement(value, &judged));
        values.insert(value, judged);
    }
    let checks = checks(case, taken, base, tilt);
    let surface = map.surface();
    let surface_verdict = surface.map(|surface| map::verdict(&surface, case.tolerances, alignment.base_uncertainty[0]));
    let verdicts = values.values().chain(checks.iter().map(|check| &check.judged)).map(|judged| judged.verdict);
    // What was asked and could not be read may be anything.
    let unread: Vec<Value> = Value::ALL
        .into_iter()
        .filter(|value| case.order.asked(*value).is_some() && case.tolerances.bands.contains_key(value))
        .filter(|value| !values.contains_key(value))
        .collect();
    let doubtful = (!unread.is_empty()).then_some(Verdict::Borderline);
    let verdict = verdicts.chain(surface_verdict).chain(doubtful).max().unwrap_or(Verdict::Borderline);
    notes.extend(datum_notes(case, base, edge, taken));
    notes.extend(sizes.iter().filter(|size| size.gauged.is_none()).map(|size| {
        format!(
            "{}: its place on the edge was not seen or something stands there; told from the rest of the edge",
            size.value.words()
        )
    }));
    notes.extend(scale_note(&values));
    let mut advice = advice_on_scan(case, &values, &checks);
    if !unread.is_empty() {
        let words: Vec<String> = unread.iter().map(|value| value.words()).collect();
        advice.push(format!("not seen well enough to judge: {}; read with a gauge, or scan again", words.join(", ")));
    }
    advice.extend(faults::faults(map, case).into_iter().chain(surface.and_then(|s| map::remark(&s, surface_verdict))));
    Inspection {
        side: case.order.side,
        probable_other_side: false,
        not_judged: Value::ALL.into_iter().filter(|value| !values.contains_key(value)).collect(),
        values,
        checks,
        surface,
        alignment: Some(alignment),
        signature: None,
        verdict,
        advice,
        notes,
    }
}

/// A value known no better than this is not known, and not judged.
fn worst_uncertainty(band: Band) -> f64 {
    3.0 * band.accept
}

/// What the scanner itself adds: to a length once, to the post by two heights.
fn scanner_u(value: Value, taken: Taken) -> f64 {
    match value {
        Value::RearfootPost => (taken.scanner_mm * std::f64::consts::SQRT_2 / (2.0 * POST_ARM_MM)).atan().to_degrees(),
        _ => taken.scanner_mm,
    }
}

fn judge(band: Band, unit: &'static str, asked: f64, found: &Found, scanner_u: f64) -> Judged {
    let fitted = found.fitted.map(|(made, u)| Fitted { made, uncertainty: super::COVERAGE * u.hypot(scanner_u) });
    let judged = judged_of(band, unit, asked, found.made, found.u.hypot(scanner_u), found.count, fitted);
    Judged { shared_uncertainty: super::COVERAGE * found.shared_u.hypot(scanner_u), ..judged }
}

fn checks(case: &Case, taken: Taken, base: &Base, tilt: Option<Found>) -> Vec<CheckFound> {
    let of = |check: Check, asked: f64, found: Found| CheckFound {
        check,
        at_mm: None,
        judged: judge(check.band(case.tolerances), "mm", asked, &found, taken.scanner_mm),
    };
    let flatness = base
        .gap_mm
        .map(|(gap, u)| of(Check::BaseFlatness, 0.0, Found { made: gap, u, shared_u: 0.0, fitted: None, count: 1 }));
    let asked = case.footbed.places.forefoot_balance().on(|p| Some(case.footbed.top_at(p))).unwrap_or(0.0);
    let tilted = tilt.filter(|_| base.from != BaseFrom::Nothing).map(|found| of(Check::ForefootTilt, asked, found));
    flatness.into_iter().chain(tilted).collect()
}

/// Both ways of reading a value, when they do not agree.
fn disagreement(value: Value, judged: &Judged) -> Option<String> {
    let fitted = judged.fitted?;
    let apart = (fitted.made - judged.made).abs();
    let allowed = 1.5 * fitted.uncertainty.hypot(judged.uncertainty) + 0.3 * judged.tolerance;
    (apart > allowed).then(|| {
        format!(
            "{}: {:.2} {unit} at its place, {:.2} {unit} from the whole top: something local stands there or the shape \
             differs in another way; look at the map",
            value.words(),
            judged.made,
            fitted.made,
            unit = judged.unit
        )
    })
}

fn datum_notes(case: &Case, base: &Base, edge: Option<&Edge>, taken: Taken) -> Vec<String> {
    let mut notes = vec![match base.from {
        BaseFrom::Underside => "heights count from the flat of the underside".to_string(),
        BaseFrom::Bed => {
            "heights count from the bed beside the piece: a gap or dirt under it is counted as height".into()
        }
        BaseFrom::Nothing => {
            "the scan shows neither the underside nor the bed beside the piece: thicknesses and the post cannot be \
             told; scan the piece on a flat bed and leave a hand's breadth of it in"
                .into()
        }
    }];
    if edge.is_none() {
        notes.push(
            "less than half of the edge was seen: sizes cannot be told, and the place along and across is a best fit"
                .into(),
        );
    }
    if base.from == BaseFrom::Bed && case.footbed.underside != Underside::Flat {
        notes.push("the underside was not seen: the flex zone's thickness cannot be told".into());
    }
    if taken.scanner_mm == 0.0 {
        notes.push(
            "the uncertainty holds what the scan's own scatter shows; what the scanner is off by as a whole is not in it \
             (--scanner-error)"
                .into(),
        );
    }
    notes
}

/// One share by which all sizes of the edge differ.
fn scale_note(values: &BTreeMap<Value, Judged>) -> Option<String> {
    /// A smaller share is within what edges are off by.
    const LEAST: f64 = 0.004;
    let sizes: Vec<&Judged> =
        [Value::Length, Value::BallWidth, Value::HeelWidth].iter().filter_map(|v| values.get(v)).collect();
    let shares: Vec<f64> = sizes.iter().map(|j| j.difference / j.asked).collect();
    let mean = shares.iter().sum::<f64>() / shares.len().max(1) as f64;
    let alike = sizes
        .iter()
        .zip(&shares)
        .all(|(j, share)| (share - mean).abs() * j.asked <= j.uncertainty + 0.25 * mean.abs() * j.asked);
    (sizes.len() == 3 && mean.abs() > LEAST && alike).then(|| {
        format!(
            "all sizes are {:.1} % {}: one scale for all, so look at the scanner's or the program's unit first",
            100.0 * mean.abs(),
            if mean > 0.0 { "large" } else { "small" }
        )
    })
}
