//! What many inspected pieces have in common: how far each value is off on average and how much it
//! scatters, for all pieces and for those of one cutter, material or machine; whether it has begun to
//! wander; and what would explain it. Knows entries of the log; does not know files.

mod cause;
mod statistics;

use std::collections::BTreeMap;

use serde::Serialize;

use crate::inspect::Entry;
use crate::value::Value;

pub use cause::{Cause, CauseKind};
pub use statistics::{Limits, Spread, limits, spread};

/// What a log says.
#[derive(Clone, Debug, Serialize)]
pub struct Drift {
    /// Pieces in the log.
    pub pieces: usize,
    /// Pieces by verdict.
    pub verdicts: BTreeMap<&'static str, usize>,
    /// One for each value that was measured, over all pieces.
    pub values: BTreeMap<Value, Trend>,
    /// The same for the pieces of one finishing cutter, material or machine, where there are several.
    pub groups: Vec<Group>,
    /// What would explain it, the largest first.
    pub causes: Vec<Cause>,
}

/// One value over many pieces.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trend {
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Of the differences made minus asked.
    #[serde(flatten)]
    pub spread: Spread,
    /// Accepted up to this either way, by the newest piece's record.
    pub tolerance: f64,
    /// Width of the tolerance over that of the process, `tolerance / 3 s`.
    pub cp: Option<f64>,
    /// The same from the mean to the nearer bound, `(tolerance - |mean|) / 3 s`.
    pub cpk: Option<f64>,
    /// Limits for single pieces, from the differences between neighbours.
    pub limits: Option<Limits>,
    /// Pieces outside those limits, from 1 in the order of the log.
    pub outside: Vec<usize>,
    /// Whether the newest eight or more pieces all lie on one side of the mean.
    pub wandering: bool,
    /// The differences in the order of the log, with the piece each belongs to, from 1.
    pub differences: Vec<(usize, f64)>,
}

/// The pieces that share a cutter, material or machine.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Group {
    /// `finishing`, `perimeter`, `material` or `machine`.
    pub by: &'static str,
    pub name: String,
    pub pieces: usize,
    pub values: BTreeMap<Value, Spread>,
}

/// So many in a row on one side of the mean are no chance: 1 in 128 ([from memory]: the usual rule of
/// control charts, Western Electric 1956).
const RUN: usize = 8;

/// Draws the pieces of a log together.
pub fn drift(entries: &[Entry]) -> Drift {
    let mut verdicts = BTreeMap::new();
    for entry in entries {
        *verdicts.entry(entry.verdict.word()).or_insert(0) += 1;
    }
    let values: BTreeMap<Value, Trend> =
        Value::ALL.into_iter().filter_map(|value| Some((value, trend(entries, value)?))).collect();
    let spreads = values.iter().map(|(value, trend)| (*value, trend.spread)).collect();
    Drift { pieces: entries.len(), verdicts, groups: groups(entries), causes: cause::causes(entries, &spreads), values }
}

/// What the pieces may all be off by together in these values, as they were measured, half interval;
/// the mean of what each says.
fn shared_doubt(entries: &[Entry], values: &[Value]) -> f64 {
    let each: Vec<f64> = entries
        .iter()
        .flat_map(|entry| values.iter().filter_map(|value| entry.values.get(value)))
        .map(|logged| logged.shared_uncertainty)
        .collect();
    each.iter().sum::<f64>() / each.len().max(1) as f64
}

/// The differences of one value, with the piece each belongs to.
fn differences(entries: &[Entry], value: Value) -> Vec<(usize, f64)> {
    let of = |(k, entry): (usize, &Entry)| Some((k + 1, entry.values.get(&value)?.difference()));
    entries.iter().enumerate().filter_map(of).collect()
}

fn trend(entries: &[Entry], value: Value) -> Option<Trend> {
    let differences = differences(entries, value);
    let numbers: Vec<f64> = differences.iter().map(|(_, d)| *d).collect();
    let spread = spread(&numbers)?.with_shared(shared_doubt(entries, &[value]));
    let tolerance = entries.iter().rev().find_map(|entry| entry.values.get(&value))?.tolerance;
    let capable = |room: f64| spread.sd.filter(|sd| *sd > 0.0).map(|sd| room / (3.0 * sd));
    let limits = limits(&numbers);
    let is_outside = |d: f64| limits.is_some_and(|l| d < l.low || d > l.high);
    Some(Trend {
        unit: value.unit(),
        tolerance,
        cp: capable(tolerance),
        cpk: capable(tolerance - spread.mean.abs()),
        outside: differences.iter().filter(|(_, d)| is_outside(*d)).map(|(piece, _)| *piece).collect(),
        limits,
        wandering: wandering(&numbers, spread.mean),
        spread,
        differences,
    })
}

/// Whether the newest eight lie on one side of the mean.
fn wandering(numbers: &[f64], mean: f64) -> bool {
    let newest = || numbers.iter().rev().take(RUN);
    numbers.len() >= 2 * RUN && (newest().all(|d| *d > mean) || newest().all(|d| *d < mean))
}

fn groups(entries: &[Entry]) -> Vec<Group> {
    type Key = fn(&Entry) -> &str;
    let keys: [(&'static str, Key); 4] = [
        ("finishing", |e| &e.finishing),
        ("perimeter", |e| &e.perimeter),
        ("material", |e| &e.material),
        ("machine", |e| &e.machine),
    ];
    let mut groups = vec![];
    for (by, key) in keys {
        let mut named: BTreeMap<&str, Vec<Entry>> = BTreeMap::new();
        for entry in entries {
            named.entry(key(entry)).or_default().push(entry.clone());
        }
        if named.len() > 1 {
            groups.extend(named.into_iter().map(|(name, of_name)| group(by, name, &of_name)));
        }
    }
    groups
}

fn group(by: &'static str, name: &str, entries: &[Entry]) -> Group {
    let of_value = |value: Value| {
        let numbers: Vec<f64> = differences(entries, value).into_iter().map(|(_, d)| d).collect();
        Some((value, spread(&numbers)?.with_shared(shared_doubt(entries, &[value]))))
    };
    let values = Value::ALL.into_iter().filter_map(of_value).collect();
    Group { by, name: name.to_string(), pieces: entries.len(), values }
}
