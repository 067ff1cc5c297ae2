//! From an impression to a file of measures, and to a ticket whose top follows the sole by zone and share.
//! Knows no files.

use std::fmt::Write;

use serde::Serialize;

use super::readings;
use super::take::Impression;
use crate::foot::Loading;
use crate::footbed::{FollowedZone, Footbed, followed};
use crate::frame::{Point2, Side};
use crate::intake::{self, Intake, IntakeError};
use crate::job::{self, CheckReport, DesignError, JobError};
use crate::profile::Shelf;
use crate::ticket::{self, Problems, Relief, Ticket};
use crate::value::Value;
use crate::written::{Copied, Draft, Given};

/// How far the top follows the sole, 0..=1 each.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Shares {
    pub heel_cup: f64,
    pub arch: f64,
}

/// What a ticket is made with besides the impression.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted<'a> {
    /// The ticket's code.
    pub code: &'a str,
    /// How loaded the foot was.
    pub loading: Loading,
    /// How far the top follows.
    pub shares: Shares,
}

/// A ticket made of an impression.
#[derive(Debug)]
pub struct Followed {
    /// Its text.
    pub ticket: String,
    /// What the values rest on.
    pub intake: Intake,
    /// What differs between sole and top.
    pub fits: Vec<ZoneFit>,
    /// What the limits say.
    pub report: CheckReport,
    /// What was assumed, in sentences without a full stop.
    pub notes: Vec<String>,
}

/// How far the top is from the scanned sole in a zone, mm: absolute differences in height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ZoneFit {
    /// `heel_cup` or `arch`.
    pub zone: &'static str,
    /// How far the top was to follow, percent.
    pub share: f64,
    pub p50: f64,
    pub p95: f64,
    pub max: f64,
    /// The 95th of a hundred without following at all.
    pub p95_without: f64,
    /// How many places were compared.
    pub places: usize,
}

/// Why no ticket is made.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum FollowError {
    #[error("the measures make no ticket: {0}")]
    Intake(#[from] IntakeError),
    #[error("the measures make no ticket: {0}")]
    NoTicket(String),
    #[error("the ticket cannot be read: {0}")]
    Ticket(#[from] Problems),
    #[error("no footbed can be made of it: {0}")]
    Design(#[from] DesignError),
    #[error("no footbed can be made of it: {0}")]
    Job(#[from] JobError),
}

/// An arch sinks by 15 % from unloaded to half load (Tsung et al. 2003, J Rehabil Res Dev 40:517,
/// abstract); a seated foot is taken to lie halfway (own choice).
const UNLOADED_TO_STANDING: f64 = 0.85;
const HALF_WAY: f64 = 0.925;

/// Names of measures that go into a file of measures.
const IN_FILE: [&str; 7] =
    ["length", "ball_width", "heel_width", "medial_arch", "dorsal_arch", "first_met", "fifth_met"];

/// Loading in one word.
pub fn loading_word(loading: Loading) -> &'static str {
    match loading {
        Loading::Unloaded => "unloaded",
        Loading::Seated => "seated",
        Loading::Standing => "standing",
    }
}

/// A file of measures with what was measured, for `intake` to read; the rest is for the fitter to fill in.
pub fn measures_file(impression: &Impression, code: &str, loading: Loading) -> String {
    measures_text(impression, code, loading, None)
}

fn measures_text(impression: &Impression, code: &str, loading: Loading, standing_arch: Option<f64>) -> String {
    let state = loading_word(loading);
    let mut text = format!(
        "# Measures read from a scan of a foot, {state}, with their standard errors; mm. Other measures, weight, boot and flags:\n\
         # `sustent intake --template` shows what may be added.\n\n[person]\ncode = \"{code}\"\n\n[{}]\n",
        impression.side.name()
    );
    for measure in impression.measures.iter().filter(|measure| IN_FILE.contains(&measure.name)) {
        let mm = tenths(measure.value.max(0.0));
        let also = standing_arch.filter(|_| measure.name == "medial_arch" && loading != Loading::Standing);
        let also = also.map_or(String::new(), |mm| format!(", standing = {mm}"));
        // Writing to a String cannot fail.
        let _ =
            writeln!(text, "{} = {{ {state} = {mm}{also} }}  # +-{:.1}; {}", measure.name, measure.error, measure.how);
    }
    text
}

fn tenths(mm: f64) -> f64 {
    (10.0 * mm).round() / 10.0 + 0.0
}

/// A ticket with starting values from the impression, its arches and its top as the sole is, by the shares.
///
/// # Errors
/// Measures of which no ticket or no footbed can be made.
pub fn follow(impression: &Impression, wanted: &Wanted, shelf: &Shelf) -> Result<Followed, FollowError> {
    let mut notes = vec![];
    let measure = |name: &str| impression.measures.iter().find(|measure| measure.name == name).map(|m| m.value);
    let own = measure("medial_arch").ok_or_else(|| FollowError::NoTicket("the arch is not seen".into()))?.max(0.0);
    let (standing, ceiling) = match wanted.loading {
        Loading::Standing => (own, own),
        Loading::Seated => (HALF_WAY * own, own),
        Loading::Unloaded => (UNLOADED_TO_STANDING * own, HALF_WAY * own),
    };
    if wanted.loading != Loading::Standing {
        notes.push(format!(
            "the standing arch was not measured: {:.1} mm is taken for it, what {} {:.1} mm would sink to (Tsung 2003, and half \
             of it from seated); measure it standing",
            standing,
            loading_word(wanted.loading),
            own
        ));
    }
    let none = |_: &str| Err("an impression names no files".to_owned());
    let text = measures_text(impression, wanted.code, wanted.loading, Some(tenths(standing)));
    let intake = intake::intake(&text, "the measures", shelf, &none)?;
    let Some(start) = intake.ticket.clone() else {
        let why = intake.no_ticket.first().cloned().unwrap_or_else(|| "they suggest none".into());
        return Err(FollowError::NoTicket(why));
    };
    let side = impression.side;
    let mut text = only_measured(&start, side, wanted.loading);
    let read = |text: &str| ticket::read(text, "the ticket", shelf, &none);
    let following = wanted.shares.heel_cup > 0.0 || wanted.shares.arch > 0.0;
    let relief = relief(impression, wanted.shares, ceiling);
    let mut fits = vec![];
    if following {
        if wanted.shares.arch > 0.0 {
            text = with_station(&text, side, measure("arch_station"));
        }
        let before = read(&text)?;
        let base = footbed(&before, side)?;
        text = with_arches(&text, side, impression, &base, wanted.shares.arch, ceiling);
        text.push('\n');
        text.push_str(&relief.text(&format!("{}.relief", side.name())));
        let after = footbed(&read(&text)?, side)?;
        fits = [FollowedZone::HeelCup, FollowedZone::Arch]
            .into_iter()
            .filter_map(|zone| fit(zone, impression, &relief, [&base, &after], ceiling))
            .collect();
        notes.push(format!(
            "the top goes no higher over the support plane than {ceiling:.1} mm, the seated arch, where it follows"
        ));
    }
    let ticket = read(&text)?;
    let report = job::check(&ticket)?;
    Ok(Followed { ticket: text, intake, fits, report, notes })
}

/// The ticket without a standing arch that nobody measured.
fn only_measured(text: &str, side: Side, loading: Loading) -> String {
    let Some(mut draft) = Draft::of(text).filter(|_| loading != Loading::Standing) else { return text.to_owned() };
    draft.remove(&[side.name(), "foot", "medial_arch"], "standing");
    draft.text()
}

/// The arch's own station, kept where arches lie.
fn with_station(text: &str, side: Side, station: Option<f64>) -> String {
    const STATIONS: [f64; 2] = [0.32, 0.46];
    let (Some(station), Some(mut draft)) = (station, Draft::of(text)) else { return text.to_owned() };
    let mut stations = Copied::default();
    let hundredths = (100.0 * station.clamp(STATIONS[0], STATIONS[1])).round() / 100.0;
    stations.give("medial_arch", &Given::Number(hundredths));
    draft.set(&[side.name(), "support"], "stations", &Given::Section(stations));
    draft.text()
}

/// The three arches between what they would be without the scan and what the sole is where they are gauged.
fn with_arches(text: &str, side: Side, impression: &Impression, base: &Footbed, share: f64, ceiling: f64) -> String {
    /// The lateral arch stays so far below the medial one, and below this; the transverse one below that, mm: as in
    /// the rules for starting values.
    const BELOW_MEDIAL: f64 = 6.0;
    const MOST: [f64; 2] = [5.0, 4.0];
    let Some(mut draft) = Draft::of(text).filter(|_| share > 0.0) else { return text.to_owned() };
    let values = crate::gauge::read_design(base);
    let blended = |value: Value, at: Point2, share: f64| {
        let before = values.get(&value).copied().unwrap_or(0.0);
        let seen = readings::height(&impression.sole, at, TIP_MM).map_or(before, |mm| mm.clamp(0.0, ceiling));
        // Rounded down, so that no arch comes above the sole.
        ((10.0 * (before + share * (seen - before))).floor() / 10.0).max(0.0)
    };
    let places = &base.places;
    let medial = blended(Value::MedialArch, places.medial_arch, share).min((10.0 * ceiling).floor() / 10.0);
    // The lateral edge of a foot is round where a footbed's edge is gauged; its arch is seen further in.
    let before = values.get(&Value::LateralArch).copied().unwrap_or(0.0);
    let seen = impression.measures.iter().find(|m| m.name == "lateral_arch").map_or(before, |m| m.value.max(0.0));
    let lateral = (before + share * (seen - before)).min(MOST[0]).min((medial - BELOW_MEDIAL).max(0.0));
    let relief = relief(impression, Shares { heel_cup: 0.0, arch: share }, ceiling);
    let at_dome = followed(&base.outline, places, &relief, places.dome, 0.0).map_or(0.0, |(_, share)| share);
    let transverse = blended(Value::TransverseArch, places.dome, at_dome).min(MOST[1]);
    for (value, mm) in [(Value::MedialArch, medial), (Value::LateralArch, lateral), (Value::TransverseArch, transverse)]
    {
        // The old reason behind the value goes with it.
        draft.remove(&[side.name(), "support"], value.name());
        draft.set(&[side.name(), "support"], value.name(), &Given::Number(tenths(mm)));
    }
    draft.text()
}

/// A relief's step, mm: half of the shortest wave that the top is to follow.
const STEP_MM: f64 = 6.0;
/// Heights are means over this, mm.
const TIP_MM: f64 = 4.0;
/// The heel's relief is kept as it is up to this share of the length; from there arches begin.
const HEEL_ENDS: f64 = 0.25;

/// The sole's heights up to the met heads, under the arches no higher than `ceiling`.
fn relief(impression: &Impression, shares: Shares, ceiling: f64) -> Relief {
    let rect = impression.sole.lattice.rect();
    let [_, first_met, fifth_met] = impression.contacts;
    let length = impression.measures.first().map_or(0.0, |length| length.value);
    let first = Point2::new((rect.x0 / STEP_MM).ceil() * STEP_MM, STEP_MM);
    let columns = ((rect.x1 - first.x) / STEP_MM) as usize + 1;
    let rows = ((first_met.y.max(fifth_met.y) - first.y) / STEP_MM).max(0.0) as usize;
    let at = |i: usize, j: usize| {
        let p = Point2::new(first.x + i as f64 * STEP_MM, first.y + j as f64 * STEP_MM);
        let mm = readings::height(&impression.sole, p, TIP_MM)?;
        Some(tenths(if p.y > HEEL_ENDS * length { mm.min(ceiling) } else { mm }.clamp(-9.0, 59.0)))
    };
    Relief {
        step_mm: STEP_MM,
        first,
        rows: (0..rows).map(|j| (0..columns).map(|i| at(i, j)).collect()).collect(),
        heel_cup_share: shares.heel_cup,
        arch_share: shares.arch,
    }
}

fn footbed(ticket: &Ticket, side: Side) -> Result<Footbed, FollowError> {
    let order = ticket.feet.iter().find(|order| order.side == side);
    let order = order.ok_or_else(|| FollowError::NoTicket("the foot is not in it".into()))?;
    Ok(job::design(ticket, order)?.footbed)
}

/// What differs in a zone between the sole and the footbeds without and with the relief.
fn fit(
    zone: FollowedZone,
    impression: &Impression,
    relief: &Relief,
    [base, after]: [&Footbed; 2],
    ceiling: f64,
) -> Option<ZoneFit> {
    // Where the zone lies, as if all of it were followed fully.
    let whole = Relief { heel_cup_share: 1.0, arch_share: 1.0, ..relief.clone() };
    let off = |footbed: &Footbed, p: Point2, mm: f64| {
        let plane = footbed.places.support_plane(p).on(|q| Some(footbed.top_at(q)))?;
        Some((footbed.top_at(p) - plane - mm).abs())
    };
    let places: Vec<(Point2, f64)> = whole
        .places()
        .filter(|&(p, mm)| {
            let here = followed(&after.outline, &after.places, &whole, p, mm);
            here.is_some_and(|(own, share)| own == zone && share > 0.999)
        })
        .filter_map(|(p, _)| Some((p, readings::height(&impression.sole, p, TIP_MM)?)))
        // What is clipped at the seated arch is not to be followed.
        .filter(|(_, mm)| zone == FollowedZone::HeelCup || *mm <= ceiling)
        .collect();
    let sorted = |footbed: &Footbed| {
        let mut all: Vec<f64> = places.iter().filter_map(|&(p, mm)| off(footbed, p, mm)).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let (without, with) = (sorted(base), sorted(after));
    let at = |all: &[f64], share: f64| {
        all.get(((all.len() as f64 * share) as usize).min(all.len().saturating_sub(1))).copied()
    };
    let (name, share) = match zone {
        FollowedZone::HeelCup => ("heel_cup", relief.heel_cup_share),
        FollowedZone::Arch => ("arch", relief.arch_share),
    };
    let hundredths = |mm: f64| (100.0 * mm).round() / 100.0;
    Some(ZoneFit {
        zone: name,
        share: 100.0 * share,
        p50: hundredths(at(&with, 0.5)?),
        p95: hundredths(at(&with, 0.95)?),
        max: hundredths(*with.last()?),
        p95_without: hundredths(at(&without, 0.95)?),
        places: with.len(),
    })
}
