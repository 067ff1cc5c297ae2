//! Readings become values of the piece: repeats are drawn together, two post heights become an
//! angle, a cover is taken off. Knows where values live; judges nothing.

use std::collections::BTreeMap;

use super::estimate::{Estimate, estimate};
use super::readings::{Quantity, Reading};
use super::{Case, Check};
use crate::frame::Point2;
use crate::value::Value;

/// Whether the piece was measured with its cover on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cover {
    /// Before the cover was glued on.
    Off,
    /// With the cover: its thickness on the ticket is taken off what it thickens.
    On,
}

/// Readings that cannot be of this piece.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // every field is named in the message
pub enum InspectError {
    #[error(
        "line {line}: {name} is {reading} {unit} where {asked:.1} is asked for; that looks like {guess}: \
         say in the column `unit` what it is"
    )]
    Unit { line: usize, name: String, reading: f64, unit: &'static str, asked: f64, guess: &'static str },
    #[error("line {line}: a post height on one side alone says nothing; read the {missing} side at the same arm too")]
    Alone { line: usize, missing: &'static str },
    #[error("line {line}: the post heights were read {medial} mm and {lateral} mm from the heel centre; use one arm")]
    Arms { line: usize, medial: f64, lateral: f64 },
    #[error("line {line}: that place, x {x:.0} y {y:.0} mm, is {by_mm:.0} mm outside the outline")]
    Outside { line: usize, x: f64, y: f64, by_mm: f64 },
}

/// One quantity: what is asked, and what the readings say.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Made {
    pub(super) asked: f64,
    pub(super) estimate: Estimate,
    /// Standard deviation of a single reading, the gauge's step left out.
    pub(super) one_reading: f64,
}

/// Everything that was measured.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct All {
    pub(super) values: BTreeMap<Value, Made>,
    pub(super) checks: Vec<(Check, Option<[f64; 2]>, Made)>,
    pub(super) notes: Vec<String>,
}

/// Draws the readings together.
pub(super) fn made(case: &Case, readings: &[Reading], cover: Cover) -> Result<All, InspectError> {
    let mut all = All { values: BTreeMap::new(), checks: vec![], notes: vec![] };
    for value in Value::ALL {
        let of_value = group(readings, |q| *q == Quantity::Value(value));
        if let Some(first) = of_value.first() {
            direct(case, value, first.line, &of_value, cover, &mut all)?;
        }
    }
    post(case, readings, &mut all)?;
    forefoot(case, readings, cover, &mut all);
    flatness(case, readings, &mut all);
    thicknesses(case, readings, cover, &mut all)?;
    Ok(all)
}

fn group(readings: &[Reading], is: impl Fn(&Quantity) -> bool) -> Vec<&Reading> {
    readings.iter().filter(|reading| is(&reading.quantity)).collect()
}

fn drawn_together(readings: &[&Reading], less: f64, repeatability: f64) -> Option<Estimate> {
    let numbers: Vec<f64> = readings.iter().map(|reading| reading.reading - less).collect();
    let resolution = readings.iter().filter_map(|reading| reading.resolution).fold(0.0, f64::max);
    estimate(&numbers, resolution, repeatability)
}

/// A value that was read as such.
fn direct(
    case: &Case,
    value: Value,
    line: usize,
    readings: &[&Reading],
    cover: Cover,
    all: &mut All,
) -> Result<(), InspectError> {
    let Some(asked) = case.order.asked(value).or_else(|| case.read_back.get(&value).copied()) else { return Ok(()) };
    let repeatability =
        if value == Value::RearfootPost { case.tolerances.reading_sd_deg } else { case.tolerances.reading_sd_mm };
    if cover == Cover::On && value == Value::HeelCupWidth {
        all.notes.push(
            "heel cup width cannot be judged under the cover: how much a cover narrows a sloping wall is not known"
                .into(),
        );
        return Ok(());
    }
    let cover_mm = cover_mm(case, cover, value);
    let Some(estimate) = drawn_together(readings, cover_mm, repeatability) else { return Ok(()) };
    let is_said = readings.iter().all(|reading| reading.unit_is_said);
    plausible(value, line, estimate.mean + cover_mm, asked + cover_mm, is_said)?;
    gauge_notes(case, value, &estimate, repeatability, all);
    let one_reading = estimate.one_reading();
    all.values.insert(value, Made { asked, estimate, one_reading });
    Ok(())
}

/// How much of a reading is cover.
fn cover_mm(case: &Case, cover: Cover, value: Value) -> f64 {
    let thickened = matches!(value, Value::HeelThickness | Value::ForefootThickness | Value::FlexZoneThickness);
    if cover == Cover::On && thickened { case.make.cover_mm } else { 0.0 }
}

/// Sizes that only another unit explains.
fn plausible(value: Value, line: usize, reading: f64, asked: f64, unit_is_said: bool) -> Result<(), InspectError> {
    /// A value below this may be off by so much through a fault of the piece, where somebody has said its unit.
    const TELLING_MM: f64 = 20.0;
    /// Below this no unit can be told from a fault.
    const TELLING_UNSAID_MM: f64 = 4.0;
    /// A unit explains a size when it comes this near to what was asked.
    const NEAR: f64 = 0.1;
    let telling_mm = if unit_is_said { TELLING_MM } else { TELLING_UNSAID_MM };
    if value == Value::RearfootPost || asked < telling_mm {
        return Ok(());
    }
    let guess = [(25.4, "inches"), (10.0, "centimetres"), (1000.0, "metres")]
        .into_iter()
        .find(|(factor, _)| (reading * factor / asked - 1.0).abs() < NEAR);
    match guess {
        None => Ok(()),
        Some((_, guess)) => {
            Err(InspectError::Unit { line, name: value.words(), reading, unit: value.unit(), asked, guess })
        }
    }
}

/// Rules of thumb for the gauge itself: its step at most a tenth of the tolerance, and repeats that
/// spread little against it (AIAG MSA 4th ed. 2010: under 10 % of the tolerance good, over 30 % no).
fn gauge_notes(case: &Case, value: Value, estimate: &Estimate, repeatability: f64, all: &mut All) {
    let Some(band) = case.tolerances.bands.get(&value) else { return };
    let (words, unit, accept) = (value.words(), value.unit(), band.accept);
    if estimate.resolution > accept / 10.0 + 1e-9 {
        all.notes.push(format!(
            "{words}: the gauge's step of {} {unit} is coarse for a tolerance of {accept} {unit}; a tenth of it is usual",
            estimate.resolution
        ));
    }
    if let Some(spread) = estimate.spread
        && estimate.count >= 3
    {
        // Six standard deviations against the whole width of the tolerance.
        let share = 100.0 * 6.0 * spread / (2.0 * accept);
        if share > 30.0 {
            all.notes.push(format!(
                "{words}: repeats spread over {share:.0} % of the tolerance; 10 % is good, over 30 % is too much for this gauge"
            ));
        }
        if spread > 2.0 * repeatability {
            all.notes.push(format!(
                "{words}: repeats differ by {spread:.2} {unit} (SD), more than the {repeatability} the shop expects: was each \
                 at the same place?"
            ));
        }
    }
}

/// The post from heights of the seat on both sides of the heel centre.
fn post(case: &Case, readings: &[Reading], all: &mut All) -> Result<(), InspectError> {
    let medial = group(readings, |q| matches!(q, Quantity::PostHeightMedial { .. }));
    let lateral = group(readings, |q| matches!(q, Quantity::PostHeightLateral { .. }));
    match (medial.first(), lateral.first()) {
        (None, None) => return Ok(()),
        (Some(one), None) => return Err(InspectError::Alone { line: one.line, missing: "lateral" }),
        (None, Some(one)) => return Err(InspectError::Alone { line: one.line, missing: "medial" }),
        (Some(_), Some(_)) => {}
    }
    let arm_mm = one_arm(&medial, &lateral)?;
    let sd = case.tolerances.reading_sd_mm;
    let (Some(m), Some(l)) = (drawn_together(&medial, 0.0, sd), drawn_together(&lateral, 0.0, sd)) else {
        return Ok(());
    };
    let Some(asked) = case.order.asked(Value::RearfootPost) else { return Ok(()) };
    let rise = (m.mean - l.mean) / (2.0 * arm_mm);
    // d(atan t) = dt / (1 + t^2); the two heights err independently (JCGM 100:2008, 5.1.2).
    let per_mm = (1.0 / (2.0 * arm_mm * (1.0 + rise * rise))).to_degrees();
    let angle = |u: f64| (u * per_mm).abs();
    let estimate = Estimate {
        mean: rise.atan().to_degrees(),
        spread: None,
        standard_uncertainty: angle(m.standard_uncertainty.hypot(l.standard_uncertainty)),
        count: m.count.min(l.count),
        resolution: angle(m.resolution.hypot(l.resolution)),
    };
    if all.values.contains_key(&Value::RearfootPost) {
        all.notes.push("rearfoot post: the angle and two heights were read; the heights count".into());
    }
    let one_reading = angle(m.one_reading().hypot(l.one_reading()));
    all.values.insert(Value::RearfootPost, Made { asked, estimate, one_reading });
    Ok(())
}

/// The arm that all post heights share.
fn one_arm(medial: &[&Reading], lateral: &[&Reading]) -> Result<f64, InspectError> {
    let arms: Vec<(usize, f64)> = medial
        .iter()
        .chain(lateral)
        .filter_map(|reading| match reading.quantity {
            Quantity::PostHeightMedial { arm_mm } | Quantity::PostHeightLateral { arm_mm } => {
                Some((reading.line, arm_mm))
            }
            _ => None,
        })
        .collect();
    let first = arms.first().map_or(crate::footbed::POST_ARM_MM, |(_, arm)| *arm);
    match arms.iter().find(|(_, arm)| (arm - first).abs() > 1e-9) {
        Some(&(line, other)) => Err(InspectError::Arms { line, medial: first, lateral: other }),
        None => Ok(first),
    }
}

/// Both sides of the forefoot: their mean is its thickness, their difference a hidden cant.
fn forefoot(case: &Case, readings: &[Reading], cover: Cover, all: &mut All) {
    let sd = case.tolerances.reading_sd_mm;
    let less = cover_mm(case, cover, Value::ForefootThickness);
    let of = |quantity: Quantity| drawn_together(&group(readings, |q| *q == quantity), less, sd);
    let (Some(m), Some(l)) = (of(Quantity::ForefootMedial), of(Quantity::ForefootLateral)) else { return };
    let both = |mean: f64, share: f64| Estimate {
        mean,
        spread: None,
        standard_uncertainty: share * m.standard_uncertainty.hypot(l.standard_uncertainty),
        count: m.count.min(l.count),
        resolution: share * m.resolution.hypot(l.resolution),
    };
    let asked = case.footbed.places.forefoot_balance().on(|p| Some(case.footbed.top_at(p))).unwrap_or(0.0);
    let one_reading = m.one_reading().hypot(l.one_reading());
    all.checks.push((Check::ForefootTilt, None, Made { asked, estimate: both(m.mean - l.mean, 1.0), one_reading }));
    if let Some(asked) = case.order.asked(Value::ForefootThickness) {
        let mean = Made { asked, estimate: both(0.5 * (m.mean + l.mean), 0.5), one_reading: 0.5 * one_reading };
        all.values.entry(Value::ForefootThickness).or_insert(mean);
    }
}

fn flatness(case: &Case, readings: &[Reading], all: &mut All) {
    let sd = case.tolerances.reading_sd_mm;
    let gaps = group(readings, |q| *q == Quantity::BaseFlatness);
    if let Some(estimate) = drawn_together(&gaps, 0.0, sd) {
        let one_reading = estimate.one_reading();
        all.checks.push((Check::BaseFlatness, None, Made { asked: 0.0, estimate, one_reading }));
    }
}

/// Thicknesses at single places, each against the design there.
fn thicknesses(case: &Case, readings: &[Reading], cover: Cover, all: &mut All) -> Result<(), InspectError> {
    let sd = case.tolerances.reading_sd_mm;
    let less = if cover == Cover::On { case.make.cover_mm } else { 0.0 };
    let mut places: Vec<(usize, f64, f64)> = vec![];
    for reading in readings {
        if let Quantity::Thickness { station_percent, medial_mm } = reading.quantity
            && !places.iter().any(|&(_, s, m)| (s, m) == (station_percent, medial_mm))
        {
            places.push((reading.line, station_percent, medial_mm));
        }
    }
    for (line, station_percent, medial_mm) in places {
        let at = Point2::new(medial_mm, 0.01 * station_percent * case.order.foot.length_mm());
        let by_mm = case.footbed.outline.signed_distance(at);
        if by_mm > 0.0 {
            return Err(InspectError::Outside { line, x: at.x, y: at.y, by_mm });
        }
        let of_place = group(readings, |q| *q == Quantity::Thickness { station_percent, medial_mm });
        if let Some(estimate) = drawn_together(&of_place, less, sd) {
            let asked = case.footbed.top_at(at) - case.footbed.underside_at(at);
            let one_reading = estimate.one_reading();
            all.checks.push((Check::Thickness, Some([at.x, at.y]), Made { asked, estimate, one_reading }));
        }
    }
    Ok(())
}
