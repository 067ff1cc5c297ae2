//! A made piece against its ticket: readings of gauges become values with an uncertainty, values
//! become verdicts, and verdicts become advice. Knows the design and the shop's tolerances; does not
//! know programs or files.
//!
//! [`read_table`] takes a table of readings apart, [`inspect`] judges them, [`Entry`] is what the log
//! keeps of it.

mod advice;
mod entry;
mod estimate;
mod made;
mod readings;
mod scan;
mod verdict;

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::footbed::Footbed;
use crate::frame::Side;
use crate::profile::{Band, Tolerances};
use crate::ticket::{FootOrder, Make};
use crate::value::{Value, Values};

pub use entry::{Entry, LONGEST_NOTE, Logged};
pub use estimate::{COVERAGE, Estimate, estimate, readings_needed};
pub use made::{Cover, InspectError};
pub use readings::{LONGEST_TABLE, Quantity, Reading, read as read_table};
pub use scan::{
    Alignment, BaseFrom, Known, Map, ScanFault, Scanned, Signature, Taken, cloud, cloud_of_mesh, inspect_scan,
};
pub use verdict::{Verdict, verdict};

use made::Made;

/// What a piece is held to.
#[derive(Clone, Copy, Debug)]
#[allow(missing_docs)]
pub struct Case<'a> {
    pub make: &'a Make,
    pub order: &'a FootOrder,
    pub footbed: &'a Footbed,
    /// Values of the design: what is asked for where the ticket leaves a value to it.
    pub read_back: &'a Values,
    pub tolerances: &'a Tolerances,
}

/// What was found of a piece.
#[derive(Clone, Debug, Serialize)]
pub struct Inspection {
    /// Which foot.
    pub side: Side,
    /// Whether the piece looks like the other foot's.
    pub probable_other_side: bool,
    /// The values that were measured.
    pub values: BTreeMap<Value, Judged>,
    /// What was measured besides.
    pub checks: Vec<CheckFound>,
    /// The surface all over; readings of single places say nothing about it.
    pub surface: Option<Surface>,
    /// How a scan was laid on the design; of readings there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alignment: Option<Alignment>,
    /// What faults of the workshop would have done to the whole top, of a scan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signature: Option<Signature>,
    /// The gravest of all verdicts.
    pub verdict: Verdict,
    /// Values that nothing was measured for.
    pub not_judged: Vec<Value>,
    /// What to do next, gravest first.
    pub advice: Vec<String>,
    /// What to know about how it was measured.
    pub notes: Vec<String>,
}

/// One value of the piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Judged {
    pub asked: f64,
    pub made: f64,
    /// Made minus asked.
    pub difference: f64,
    /// Expanded, k = 2.
    pub uncertainty: f64,
    /// The part of it that all pieces share that are measured alike, and that their mean keeps; k = 2.
    pub shared_uncertainty: f64,
    /// Accepted up to this either way.
    pub tolerance: f64,
    pub verdict: Verdict,
    pub unit: &'static str,
    /// How many readings, or points of a scan, it comes from.
    pub readings: usize,
    /// Standard deviation of repeats.
    pub spread: Option<f64>,
    /// The same value by least squares on the whole top, of a scan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted: Option<Fitted>,
}

/// A value by least squares.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fitted {
    /// The value, in its unit.
    pub made: f64,
    /// Expanded, k = 2.
    pub uncertainty: f64,
}

/// What is measured but is no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Check {
    /// The widest gap under the piece on a flat plate.
    BaseFlatness,
    /// Forefoot thickness, medial less lateral.
    ForefootTilt,
    /// Thickness at one place.
    Thickness,
}

/// One check of the piece.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct CheckFound {
    pub check: Check,
    /// Where, foot frame, mm; `None` for the whole piece.
    pub at_mm: Option<[f64; 2]>,
    #[serde(flatten)]
    pub judged: Judged,
}

/// Deviation of the surface along its normal, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Surface {
    pub p50: f64,
    pub p95: f64,
    pub max: f64,
    pub rms: f64,
}

impl Check {
    /// The check in words.
    pub fn words(self) -> &'static str {
        match self {
            Check::BaseFlatness => "base flatness",
            Check::ForefootTilt => "forefoot tilt",
            Check::Thickness => "thickness",
        }
    }

    /// What is accepted.
    pub fn band(self, tolerances: &Tolerances) -> Band {
        match self {
            Check::BaseFlatness => tolerances.base_flatness,
            Check::ForefootTilt => tolerances.forefoot_tilt,
            Check::Thickness => tolerances.surface,
        }
    }
}

/// Judges a piece by its readings.
///
/// # Errors
/// Readings that cannot be of this piece: a wrong unit, one post height without its twin, a thickness
/// outside the outline. Each with the line of the table.
pub fn inspect(case: &Case, readings: &[Reading], cover: Cover) -> Result<Inspection, InspectError> {
    let made = made::made(case, readings, cover)?;
    let values: BTreeMap<Value, Judged> = made
        .values
        .iter()
        .filter_map(|(&value, made)| Some((value, judge(advice::band(case.tolerances, value)?, value.unit(), made))))
        .collect();
    let checks: Vec<CheckFound> = made
        .checks
        .iter()
        .map(|(check, at_mm, made)| CheckFound {
            check: *check,
            at_mm: *at_mm,
            judged: judge(check.band(case.tolerances), "mm", made),
        })
        .collect();
    let verdicts = values.values().chain(checks.iter().map(|found| &found.judged)).map(|judged| judged.verdict);
    let measured: BTreeSet<Value> = values.keys().copied().collect();
    let probable_other_side = values.get(&Value::RearfootPost).is_some_and(mirrored);
    let verdict = verdicts.max().unwrap_or(Verdict::Borderline);
    Ok(Inspection {
        side: case.order.side,
        probable_other_side,
        verdict: if probable_other_side { Verdict::Reject } else { verdict },
        not_judged: Value::ALL.into_iter().filter(|value| !measured.contains(value)).collect(),
        advice: told(case, &made, &values, &checks, probable_other_side),
        notes: made.notes,
        values,
        checks,
        surface: None,
        alignment: None,
        signature: None,
    })
}

fn judge(band: Band, unit: &'static str, made: &Made) -> Judged {
    let Made { asked, estimate, .. } = made;
    let judged = judged_of(band, unit, *asked, estimate.mean, estimate.standard_uncertainty, estimate.count, None);
    Judged { spread: estimate.spread, ..judged }
}

/// A value against its band; `u` is its standard uncertainty.
fn judged_of(
    band: Band,
    unit: &'static str,
    asked: f64,
    made: f64,
    u: f64,
    readings: usize,
    fitted: Option<Fitted>,
) -> Judged {
    let (difference, uncertainty) = (made - asked, COVERAGE * u);
    let verdict = verdict(band, difference, uncertainty);
    Judged {
        asked,
        made,
        difference,
        uncertainty,
        shared_uncertainty: 0.0,
        tolerance: band.accept,
        verdict,
        unit,
        readings,
        spread: None,
        fitted,
    }
}

/// Whether a post is what its mirror twin's would be and not what was asked.
fn mirrored(post: &Judged) -> bool {
    let doubt = post.uncertainty + post.tolerance;
    (post.made + post.asked).abs() <= post.uncertainty.max(post.tolerance) && post.difference.abs() > 2.0 * doubt
}

/// Advice on a piece judged by readings, gravest first.
fn told(
    case: &Case,
    made: &made::All,
    values: &BTreeMap<Value, Judged>,
    checks: &[CheckFound],
    other_side: bool,
) -> Vec<String> {
    let mut told: Vec<(Verdict, String)> = vec![];
    if other_side {
        let words = format!(
            "the post runs the other way round: this is probably the {} foot's piece",
            case.order.side.other().name()
        );
        told.push((Verdict::Reject, words));
    }
    let more = |made: &Made| OneMore { sd: made.one_reading, step: made.estimate.resolution };
    let of_value = |value: &Value| made.values.get(value).map(more);
    let of_check = |found: &CheckFound| {
        let same = made.checks.iter().find(|(check, at_mm, _)| (*check, *at_mm) == (found.check, found.at_mm));
        same.map(|(_, _, made)| more(made))
    };
    let mut values = values.clone();
    if other_side {
        // The other foot's post is not wrong, and not to be ground.
        values.remove(&Value::RearfootPost);
    }
    told.extend(advice_on(case, &values, checks, of_value, of_check));
    in_order(told)
}

/// Advice on a piece judged by a scan, gravest first: it has no single reading that could be repeated.
fn advice_on_scan(case: &Case, values: &BTreeMap<Value, Judged>, checks: &[CheckFound]) -> Vec<String> {
    in_order(advice_on(case, values, checks, |_| None, |_| None))
}

fn in_order(mut told: Vec<(Verdict, String)>) -> Vec<String> {
    told.sort_by_key(|(verdict, _)| std::cmp::Reverse(*verdict));
    told.into_iter().map(|(_, words)| words).collect()
}

/// What one more reading is worth.
#[derive(Clone, Copy, Debug)]
struct OneMore {
    /// Its standard deviation.
    sd: f64,
    /// The gauge's step, which repeats do not reduce.
    step: f64,
}

/// What can be done at the bench about something that is off, and what to do where that is not enough.
struct Help {
    rework: Option<&'static str>,
    beyond: &'static str,
}

/// Advice for everything that is not accepted. `of_one_value` and `of_one_check` say what one more reading is
/// worth, where there can be one.
fn advice_on(
    case: &Case,
    values: &BTreeMap<Value, Judged>,
    checks: &[CheckFound],
    of_one_value: impl Fn(&Value) -> Option<OneMore>,
    of_one_check: impl Fn(&CheckFound) -> Option<OneMore>,
) -> Vec<(Verdict, String)> {
    let of_value = |(value, judged): (&Value, &Judged)| {
        let high = judged.difference > 0.0;
        let help = Help { rework: advice::remedy(*value, high), beyond: advice::beyond(*value, high) };
        advice_for(&value.words(), ways(*value), judged, of_one_value(value), &help)
    };
    let of_check = |found: &CheckFound| {
        let place = found.at_mm.map_or(String::new(), |[x, y]| {
            format!(" at {:.0} % of the foot, {x:+.0} mm from the axis", 100.0 * y / case.order.foot.length_mm())
        });
        let words = format!("{}{place}", found.check.words());
        let help = Help { rework: Some(advice::check_remedy(found.check)), beyond: advice::check_beyond(found.check) };
        advice_for(&words, HIGH, &found.judged, of_one_check(found), &help)
    };
    values.iter().filter_map(of_value).chain(checks.iter().filter_map(of_check)).collect()
}

/// What more and less of something are called.
type Ways = [&'static str; 2];
const HIGH: Ways = ["high", "low"];

/// A size is not high.
fn ways(value: Value) -> Ways {
    match value {
        Value::Length => ["too long", "too short"],
        Value::BallWidth | Value::HeelWidth | Value::HeelCupWidth => ["too wide", "too narrow"],
        _ => HIGH,
    }
}

fn advice_for(
    words: &str,
    [more, less]: Ways,
    judged: &Judged,
    one: Option<OneMore>,
    help: &Help,
) -> Option<(Verdict, String)> {
    let Judged { difference, uncertainty, tolerance, unit, verdict, .. } = *judged;
    let amount = (100.0 * difference.abs()).round() / 100.0;
    let off = match amount {
        0.0 => format!("{words} is as asked"),
        _ => format!("{words} is {amount:.2} {unit} {}", if difference > 0.0 { more } else { less }),
    };
    let told = match verdict {
        Verdict::Accept => return None,
        Verdict::Borderline => format!(
            "{off}, but that is known only to {uncertainty:.2} {unit}, and {tolerance:.2} is accepted: {}",
            doubt(judged, one)
        ),
        Verdict::Rework => format!("{off}: {}", help.rework.unwrap_or(help.beyond)),
        Verdict::Reject => format!("{off}: {}", help.beyond),
    };
    Some((verdict, told))
}

/// How to settle what is borderline: whether it is accepted. Between rework and rejection nothing is borderline.
fn doubt(judged: &Judged, one: Option<OneMore>) -> String {
    let Some(OneMore { sd, step }) = one else {
        return "too near to a bound for this scan: read it with a gauge too".to_string();
    };
    let to_bound = (judged.difference.abs() - judged.tolerance).abs();
    match readings_needed(sd, step, to_bound) {
        Some(n) if n > judged.readings => {
            format!("measure again; {n} readings in all would settle it if their mean stays, or a finer gauge")
        }
        _ => "too near to that bound for more readings with this gauge: use a finer one, or decide and note why"
            .to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn borderline(difference: f64, uncertainty: f64, tolerance: f64, readings: usize, one: OneMore) -> String {
        let band = Band { accept: tolerance, reject_below: None, reject_above: Some(2.0 * tolerance) };
        let judged =
            Judged { readings, ..judged_of(band, "mm", 3.0, 3.0 + difference, 0.5 * uncertainty, readings, None) };
        let help = Help { rework: Some("sand it"), beyond: "mill again" };
        let (verdict, words) = advice_for("forefoot tilt", HIGH, &judged, Some(one), &help).unwrap();
        assert_eq!(verdict, Verdict::Borderline, "{words}");
        words
    }

    /// Two sides read once with 0.1 mm each: 0.05 mm of tilt is 0.25 from the bound, and two readings a side leave
    /// 2 sqrt(0.02 / 2) = 0.20. The advice was to buy a finer gauge.
    #[test]
    fn where_more_readings_settle_it_their_number_is_told() {
        let one = OneMore { sd: 0.02_f64.sqrt(), step: 0.0 };
        let words = borderline(0.05, 2.0 * one.sd, 0.3, 1, one);
        assert!(words.contains("; 2 readings in all would settle it"), "{words}");
        let coarse = OneMore { step: 0.5, ..one };
        assert!(borderline(0.05, 0.41, 0.3, 1, coarse).contains("use a finer one"));
    }

    #[test]
    fn what_prints_as_zero_is_as_asked() {
        let words = borderline(-0.003, 0.82, 0.5, 1, OneMore { sd: 0.41, step: 0.0 });
        assert!(words.starts_with("forefoot tilt is as asked, but that is known only to 0.82 mm"), "{words}");
    }
}
