//! One scan -> one foot: unit, pose, side, landmarks, measures; or what has to be asked or done first.

use std::collections::BTreeMap;

use serde::Serialize;

use super::readings::{self, COUNT, Errors, Readings};
use super::search::{Lying, lyings};
use super::stand::{Standing, stand};
use crate::frame::{Point3, Side};
use crate::grid::Grid;
use crate::mesh::{Scan, ScanError, Unit};
use crate::register::{Cloud, Facing, planes};

/// What is asked of a scan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// Which foot it is said to be.
    pub side: Side,
    /// The scan's unit; `None`: as the file says, else the one in which it is a foot.
    pub unit: Option<Unit>,
}

/// A foot found in a scan.
#[derive(Clone, Debug)]
pub struct Impression {
    /// Which foot.
    pub side: Side,
    /// The scan's unit.
    pub unit: Unit,
    /// What the scan is of.
    pub kind: Kind,
    /// How much less the sole looks like the other side's, 0 to 1.
    pub side_margin: f64,
    /// How unlike a usual sole it looks from below, thousandths of its length a place.
    pub unlike: f64,
    /// Landmarks, foot frame.
    pub landmarks: Vec<Landmark>,
    /// Measures; those that the scan does not show are left out.
    pub measures: Vec<Measure>,
    /// What is worth knowing, in sentences without a full stop.
    pub notes: Vec<String>,
    /// Standard deviation of the scan's noise on the sole, mm.
    pub noise_mm: f64,
    /// Heights of the sole above the plane through its contacts, mm, foot frame; NaN where nothing was seen.
    pub sole: Grid,
    /// Where heel, first and fifth met head touch.
    pub contacts: [Point3; 3],
    /// Number of samples that were measured.
    pub samples: usize,
}

/// What a scan is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A foot with its back.
    Foot,
    /// A sole from outside, such as a cast.
    Sole,
    /// A sole from inside: a foam box, a mould.
    Mould,
    /// A sole whose inside and outside the scan does not tell apart.
    Either,
}

/// A place on the foot, foot frame, mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Landmark {
    pub name: &'static str,
    pub at_mm: [f64; 3],
    /// Standard error along the foot, mm.
    pub along_mm: f64,
}

/// A measure of the foot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Measure {
    /// Its name, as in a file of measures where it has one there.
    pub name: &'static str,
    /// The number.
    pub value: f64,
    /// `mm`, or empty for a share.
    pub unit: &'static str,
    /// Standard error, all in all.
    pub error: f64,
    /// Of that, from the scan's own noise.
    pub noise: f64,
    /// Of that, from where another look would put the frame.
    pub definition: f64,
    /// How it is read.
    pub how: &'static str,
}

/// Why nothing is measured; each says what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum Fault {
    #[error("{0}")]
    Scan(#[from] ScanError),
    #[error("the scan is {extent:.4} units across, {tried}; say its unit with --unit, or scan again")]
    Size { extent: f64, tried: String },
    #[error("no foot is found in the scan: {why}; scan one bare foot or its mould, heel to toes, with the sole seen")]
    NoFoot { why: String },
    #[error(
        "no foot is found in the scan: it has a sole's outline and is flat from edge to edge, as a footbed or an insole; scan \
         one bare foot or its mould"
    )]
    Plate,
    #[error("the scan holds two things, {share:.0} % of it apart from the rest: save one foot to a file of its own")]
    TwoThings { share: f64 },
    #[error("the foot is cut off at the {end}: scan it whole, from the rear of the heel to the longest toe")]
    CutOff { end: &'static str },
    #[error("this looks like a {} foot, and {} was asked for: if the scan is right, say --side {}; if it was mirrored on the way, scan or save it again", found.name(), found.other().name(), found.name())]
    OtherSide { found: Side },
}

impl Fault {
    /// Whether the scan is probably of the other foot.
    pub fn probable_other_side(&self) -> bool {
        matches!(self, Fault::OtherSide { .. })
    }
}

/// Samples are taken this far apart, mm.
const SPACING_MM: f64 = 0.7;
/// The foot is looked for in about this many of them.
const LOOKED_AT: usize = 4000;
/// Sizes of a scan in which there may be a foot, mm: with a leg to the knee, or a block around it.
const EXTENTS_MM: [f64; 2] = [140.0, 900.0];
/// Lengths of feet, mm: as in a file of measures.
const LENGTHS_MM: [f64; 2] = [150.0, 340.0];
/// A view more unlike a sole than this, thousandths of the length, is of something else. Shop's own choice, between
/// the feet and the things of `tests/impression.rs`.
const MOST_UNLIKE: f64 = 23.0;
/// Less of a difference than this between the sides tells nothing, as a share of the worse.
const LEAST_SIDE_MARGIN: f64 = 0.06;

/// Finds and measures the foot in a scan.
///
/// # Errors
/// What keeps it from being measured and what to do.
pub fn take(scan: &Scan, asked: Asked) -> Result<Impression, Fault> {
    let [low, high] = scan.bounds();
    let extent = (high - low).norm();
    let said = asked.unit.or(scan.about.unit.map(|(unit, _)| unit));
    let fits = |unit: &Unit| (EXTENTS_MM[0]..=EXTENTS_MM[1]).contains(&(extent * unit.in_mm()));
    let tried: Vec<Unit> =
        Unit::ALL.into_iter().filter(|unit| said.is_none_or(|said| said == *unit)).filter(fits).collect();
    if tried.is_empty() {
        let none = said.map_or("which is no foot in any unit".to_owned(), |unit| format!("which is no foot in {unit}"));
        let guess = Unit::ALL.into_iter().find(fits).map_or(String::new(), |unit| format!(", but one in {unit}"));
        return Err(Fault::Size { extent, tried: none + &guess });
    }
    let mut fault = None;
    for &unit in &tried {
        match in_unit(scan, asked.side, unit) {
            Ok(mut impression) => {
                if said.is_none() && unit != Unit::Millimetres {
                    let [length, ..] = impression.measures.as_slice() else { continue };
                    impression.notes.push(format!(
                        "the scan names no unit; in {} the foot is {:.0} mm long, so that is what it is taken for: say --unit {} \
                         if so",
                        unit.words(),
                        length.value,
                        unit.symbol()
                    ));
                }
                return Ok(impression);
            }
            Err(why) => fault = fault.or(Some(why)),
        }
    }
    Err(fault.unwrap_or(Fault::NoFoot { why: "it has no foot's size".into() }))
}

fn in_unit(scan: &Scan, side: Side, unit: Unit) -> Result<Impression, Fault> {
    let mm = unit.in_mm();
    let cloud = Cloud::of_samples(&scan.samples(SPACING_MM / mm)?, mm);
    let (cloud, mut notes) = one_thing(cloud)?;
    let (cloud, lying, standing, map) = match seen(cloud, side) {
        Ok(seen) => seen,
        Err((fault, cloud)) => {
            // A box around a mould, or the plate under a cast, is what was looked at.
            if fault == Fault::Plate {
                return Err(fault);
            }
            let Some(seen) = bared(&cloud).find_map(|bare| seen(bare, side).ok()) else { return Err(fault) };
            notes.push("what is flat around the foot was taken for a box, a plate or a cut and left out".into());
            seen
        }
    };
    let margin = lying.side_margin();
    if lying.side() != side && margin >= LEAST_SIDE_MARGIN {
        return Err(Fault::OtherSide { found: lying.side() });
    }
    if margin < LEAST_SIDE_MARGIN {
        notes.push("the sole looks as much like a left as like a right one: the side is as you say".into());
    }
    let kind = kind(&cloud, &standing, &map, &mut notes);
    let mut read = readings::read(&standing, &map);
    if kind != Kind::Foot {
        read.dorsal_arch = f64::NAN;
        notes.push("a sole alone: widths and arches are read within the edge that it has; a low edge tells less of a high arch".into());
    }
    if !(LENGTHS_MM[0]..=LENGTHS_MM[1]).contains(&read.length) {
        return Err(none(&format!("in {} it would be {:.0} mm long", unit.words(), read.length)));
    }
    let errors = readings::errors(&cloud.points, &standing, &map, &read);
    notes.extend(odd(&read));
    Ok(Impression {
        side,
        unit,
        kind,
        side_margin: if lying.side() == side { margin } else { 0.0 },
        unlike: lying.least_unlike(),
        landmarks: landmarks(&standing, &map, &read, &errors),
        measures: measures(&read, &errors),
        notes,
        noise_mm: readings::roughness(&map),
        sole: map,
        contacts: standing.contacts,
        samples: cloud.points.len(),
    })
}

fn none(why: &str) -> Fault {
    Fault::NoFoot { why: why.into() }
}

/// A foot that is seen: its points, how it lies and stands, and its sole.
type Seen = (Cloud, Lying, Standing, Grid);

/// The foot in a cloud; or why there is none, with the cloud.
fn seen(cloud: Cloud, side: Side) -> Result<Seen, (Fault, Cloud)> {
    let looked = || -> Result<(Lying, Standing, Grid), Fault> {
        let thin = cloud.thinned(LOOKED_AT);
        let lying = lyings(&thin.points)
            .into_iter()
            .next()
            .ok_or_else(|| none("nothing in it has a foot's length and width"))?;
        let unlike = lying.least_unlike();
        if unlike > MOST_UNLIKE {
            return Err(none(&format!(
                "from no side does it look like a sole (nearest {unlike:.0} thousandths of its length off, feet are within \
                 {MOST_UNLIKE:.0})"
            )));
        }
        // A foot of the other side is looked at as what it is, and told so by whoever asked.
        let side = if lying.side_margin() < LEAST_SIDE_MARGIN { side } else { lying.side() };
        let standing = stand(&cloud.points, &lying, side).ok_or_else(|| none("heel and met heads are not seen"))?;
        let map = readings::sole_map(&standing).ok_or_else(|| none("the sole is not seen"))?;
        match (plate(&map), whole(&standing)) {
            (Err(_), Ok(())) => return Err(Fault::Plate),
            (flat, whole) => flat.and(whole)?,
        }
        little(&standing, &map)?;
        proportioned(&standing)?;
        Ok((lying, standing, map))
    };
    match looked() {
        Ok((lying, standing, map)) => Ok((cloud, lying, standing, map)),
        Err(fault) => Err((fault, cloud)),
    }
}

/// Proportions that no whole foot has: wider than those that are asked about by as much again.
fn proportioned(standing: &Standing) -> Result<(), Fault> {
    const BALL: [f64; 2] = [0.27, 0.48];
    const HEEL: [f64; 2] = [0.18, 0.365];
    let edges = &standing.edges;
    let shares = [edges.ball_width_mm(), edges.heel_width_mm()].map(|mm| mm / edges.length_mm);
    for (what, share, [least, most]) in [("ball", shares[0], BALL), ("heel", shares[1], HEEL)] {
        if !(least..=most).contains(&share) {
            return Err(none(&format!(
                "its {what} would be {share:.2} of its length wide, and a foot's is {least} to {most}: is it cut off, or something else?"
            )));
        }
    }
    Ok(())
}

/// The largest connected part, and a note on what was left out; two large ones are two feet.
fn one_thing(cloud: Cloud) -> Result<(Cloud, Vec<String>), Fault> {
    /// Nearer than this is one thing, mm: wider than holes in a scan, narrower than between two feet.
    const APART_MM: f64 = 7.0;
    const SECOND_THING: f64 = 0.2;
    let cell = |p: &Point3| [p.x, p.y, p.z].map(|c| (c / APART_MM).floor() as i64);
    let mut cells: BTreeMap<[i64; 3], Vec<u32>> = BTreeMap::new();
    for (k, p) in cloud.points.iter().enumerate() {
        cells.entry(cell(p)).or_default().push(k as u32);
    }
    let mut parts: Vec<Vec<u32>> = vec![];
    while let Some((first, points)) = cells.pop_first() {
        let (mut part, mut next) = (points, vec![first]);
        while let Some([x, y, z]) = next.pop() {
            for d in 0..27 {
                let near = [x + d % 3 - 1, y + d / 3 % 3 - 1, z + d / 9 - 1];
                if let Some(points) = cells.remove(&near) {
                    part.extend(points);
                    next.push(near);
                }
            }
        }
        parts.push(part);
    }
    parts.sort_by_key(|part| std::cmp::Reverse(part.len()));
    let all = cloud.points.len();
    let Some(largest) = parts.first_mut() else { return Err(none("it is empty")) };
    let left_out = all - largest.len();
    if let Some(second) = parts.get(1)
        && second.len() as f64 > SECOND_THING * parts[0].len() as f64
    {
        return Err(Fault::TwoThings { share: 100.0 * second.len() as f64 / all as f64 });
    }
    if left_out == 0 {
        return Ok((cloud, vec![]));
    }
    let largest = &mut parts[0];
    largest.sort_unstable();
    let kept = picked(&cloud, largest.iter().map(|&k| k as usize));
    let note = format!("{:.1} % of the scan lies apart and was left out", 100.0 * left_out as f64 / all as f64);
    Ok((kept, vec![note]))
}

fn picked(cloud: &Cloud, at: impl Iterator<Item = usize> + Clone) -> Cloud {
    Cloud {
        points: at.clone().map(|k| cloud.points[k]).collect(),
        normals: at.map(|k| cloud.normals[k]).collect(),
        facing: cloud.facing,
        drawn_from: cloud.drawn_from,
    }
}

/// The cloud without its largest plane, without its two largest, and so on: the faces of a foam box, the plate under a
/// cast.
fn bared(cloud: &Cloud) -> impl Iterator<Item = Cloud> + '_ {
    /// A plane that holds this share of the points, and how far from it points are taken with it, mm.
    const LEAST_SHARE: f64 = 0.06;
    const WITHIN_MM: f64 = 1.0;
    const TAKEN_MM: f64 = 2.5;
    let flat = planes(&cloud.points, WITHIN_MM, LEAST_SHARE, 6);
    (1..=flat.len()).filter_map(move |count| {
        let off = |k: &usize| flat[..count].iter().all(|plane| plane.height(cloud.points[*k]).abs() > TAKEN_MM);
        let kept: Vec<usize> = (0..cloud.points.len()).filter(off).collect();
        one_thing(picked(cloud, kept.into_iter())).ok().map(|(bare, _)| bare)
    })
}

/// Whether heel and toes are there.
fn whole(standing: &Standing) -> Result<(), Fault> {
    /// A round end is narrower than this a hundredth of the length inside it, as a share of the ball.
    const MOST_BLUNT: f64 = 0.66;
    let [heel, toes] = standing.edges.bluntness();
    match (heel > MOST_BLUNT, toes > MOST_BLUNT) {
        (true, _) => Err(Fault::CutOff { end: "heel" }),
        (_, true) => Err(Fault::CutOff { end: "toes" }),
        _ => Ok(()),
    }
}

/// A sole is round at its edges; what touches nearly everywhere is a plate, a footbed or a box.
fn plate(map: &Grid) -> Result<(), Fault> {
    const MOST_TOUCHING: f64 = 0.8;
    const TOUCHING_MM: f64 = 1.2;
    let seen: Vec<f64> = map.z.iter().copied().filter(|z| z.is_finite()).collect();
    let touching = seen.iter().filter(|z| **z < TOUCHING_MM).count() as f64;
    if touching > MOST_TOUCHING * seen.len() as f64 {
        return Err(none("it is flat from edge to edge"));
    }
    Ok(())
}

/// The box around a foot is filled by a good half; a sole of which little is seen cannot be measured.
fn little(standing: &Standing, map: &Grid) -> Result<(), Fault> {
    const LEAST_SEEN: f64 = 0.38;
    let area = map.z.iter().filter(|z| z.is_finite()).count() as f64 * readings::MAP_MM.powi(2);
    if area < LEAST_SEEN * standing.edges.length_mm * standing.edges.ball_width_mm() {
        return Err(none("little of the sole is seen"));
    }
    Ok(())
}

/// Proportions that deserve a question: breadth over length outside 0.32 to 0.43, a width of the heel outside what
/// surveyed people have (ANSUR II: 0.27 of the length, SD 0.018; wider than four of these is asked).
fn odd(read: &Readings) -> Vec<String> {
    let mut notes = vec![];
    let ball = read.ball_width / read.length;
    if !(0.32..=0.43).contains(&ball) {
        notes.push(format!(
            "the ball is {ball:.2} of the length wide, usual is 0.32 to 0.43: is the scan whole and to scale?"
        ));
    }
    let heel = read.heel_width / read.length;
    if !(0.20..=0.345).contains(&heel) {
        notes.push(format!(
            "the heel is {heel:.2} of the length wide, usual is 0.20 to 0.34: is the scan whole and to scale?"
        ));
    }
    notes
}

/// What it is of: the back of a foot shows a foot; else which way the facets of the sole face.
fn kind(cloud: &Cloud, standing: &Standing, map: &Grid, notes: &mut Vec<String>) -> Kind {
    const BACK_SHARE: f64 = 0.22;
    let length = standing.edges.length_mm;
    let has_back = standing.points.iter().filter(|p| p.z > BACK_SHARE * length).count() * 50 > standing.points.len();
    if cloud.facing == Facing::Unknown {
        return if has_back { Kind::Foot } else { Kind::Either };
    }
    let up = standing.axes[2];
    let sole = standing.points.iter().zip(&cloud.normals).filter(|(p, _)| {
        let here = readings::height(map, p.xy(), readings::MAP_MM);
        here.is_some_and(|z| (p.z - z).abs() < 2.5)
    });
    let facing: f64 = sole.step_by(7).map(|(_, n)| n.dot(&up)).sum();
    match (has_back, facing > 0.0) {
        (true, true) => {
            notes.push("the facets face inward; only their places were used".into());
            Kind::Foot
        }
        (true, false) => Kind::Foot,
        (false, true) => Kind::Mould,
        (false, false) => Kind::Sole,
    }
}

fn landmarks(standing: &Standing, map: &Grid, read: &Readings, errors: &Errors) -> Vec<Landmark> {
    let error = |k: usize| errors.noise[k].hypot(errors.definition[k]);
    let [heel, first, fifth] = standing.contacts;
    let edges = &standing.edges;
    let length = read.length;
    let end = |least: bool| {
        let at = if least { 0.0 } else { length };
        let near: Vec<&Point3> =
            standing.points.iter().filter(|p| (p.y - at).abs() < 1.5 && p.z < 0.17 * length).collect();
        let n = near.len().max(1) as f64;
        let sum = near.iter().fold(nalgebra::Vector3::zeros(), |sum, p| sum + p.coords) / n;
        [sum.x, at, sum.z]
    };
    let mut found = vec![
        Landmark { name: "rear_of_heel", at_mm: end(true), along_mm: errors.noise[0] },
        Landmark { name: "heel_contact", at_mm: heel.coords.into(), along_mm: 0.02 * length },
        Landmark { name: "first_met_edge", at_mm: [edges.medial.x, edges.medial.y, first.z], along_mm: error(3) },
        Landmark { name: "first_met_contact", at_mm: first.coords.into(), along_mm: error(3) },
        Landmark { name: "fifth_met_edge", at_mm: [edges.lateral.x, edges.lateral.y, fifth.z], along_mm: error(4) },
        Landmark { name: "fifth_met_contact", at_mm: fifth.coords.into(), along_mm: error(4) },
        Landmark { name: "longest_toe", at_mm: end(false), along_mm: error(0) },
    ];
    let arch = read.arch_station;
    if let Some([lateral, medial]) = edges.at(arch).filter(|_| arch.is_finite()) {
        let x = medial - readings::ARCH_LINE * (medial - lateral);
        let z = readings::height(map, crate::frame::Point2::new(x, arch * length), 4.0).unwrap_or(read.medial_arch);
        found.push(Landmark { name: "arch_top", at_mm: [x, arch * length, z], along_mm: error(6) * length });
    }
    found
}

const NAMED: [(&str, &str, &str); COUNT] = [
    ("length", "mm", "rear of the heel to the longest toe along the foot"),
    ("ball_width", "mm", "greatest extent across, 55 to 85 % of the length"),
    ("heel_width", "mm", "widest section, 8 to 22 % of the length"),
    ("first_met", "mm", "rear of the heel to where the medial edge stands out farthest"),
    ("fifth_met", "mm", "rear of the heel to where the lateral edge stands out farthest"),
    (
        "medial_arch",
        "mm",
        "top of the sole a fifth of the width inside the medial edge, above the plane through heel and met heads",
    ),
    ("arch_station", "", "where that top lies, share of the length"),
    (
        "lateral_arch",
        "mm",
        "sole a fifth of the width inside the lateral edge at 42 % of the length, above the same plane",
    ),
    ("transverse_arch", "mm", "top of the sole between the met heads at 62 % of the length, above the same plane"),
    ("dorsal_arch", "mm", "back of the foot at half its length above the same plane"),
    ("arch_index", "", "contact (within 3 mm of that plane) without toes: middle third over all"),
];

fn measures(read: &Readings, errors: &Errors) -> Vec<Measure> {
    let numbers = read.numbers();
    let all = NAMED.into_iter().enumerate().filter(|(k, _)| numbers[*k].is_finite());
    all.map(|(k, (name, unit, how))| {
        let (noise, definition) = (errors.noise[k], errors.definition[k]);
        Measure { name, value: numbers[k], unit, error: noise.hypot(definition), noise, definition, how }
    })
    .collect()
}
