//! What one thing in the workshop would do to all values at once, and whether that is what the log
//! shows. Each cause has a signature of its own; what fits none is not explained away.

use std::collections::BTreeMap;

use serde::Serialize;

use super::shared_doubt;
use super::statistics::{Spread, spread};
use crate::inspect::{Entry, Signature};
use crate::value::Value;

/// Something to look at in the workshop.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cause {
    /// What it is.
    pub cause: CauseKind,
    /// How large, in the unit that `evidence` names.
    pub size: f64,
    /// Half width of its 95 % interval.
    pub uncertainty: f64,
    /// What in the log speaks for it.
    pub evidence: String,
    /// What to do.
    pub advice: String,
}

/// The causes that are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CauseKind {
    /// All heights above the bed are off by the same.
    ZZero,
    /// All sizes of the outline are off by the same.
    EdgeOffset,
    /// All sizes of the outline are off by the same share.
    Scale,
    /// Steep places are off, level ones are not.
    FinishingCutter,
    /// The top lies to one side of its own edge.
    SideStep,
}

/// A mean that is off by less is nobody's concern, mm (shop's own choice: well under every tolerance).
const LEAST_MM: f64 = 0.1;

/// Heights above the bed; the other heights are differences of two and hide a shift of both.
const ABOVE_BED: [Value; 3] = [Value::HeelThickness, Value::ForefootThickness, Value::FlexZoneThickness];
/// Sizes of the outline.
const EDGE: [Value; 3] = [Value::Length, Value::BallWidth, Value::HeelWidth];

/// Everything that the log speaks for, the largest first.
pub(super) fn causes(entries: &[Entry], values: &BTreeMap<Value, Spread>) -> Vec<Cause> {
    let cutter = cutter_radius(entries).or_else(|| finishing_cutter(values));
    let mut causes: Vec<Cause> =
        [z_zero(entries, values), edge(entries, values), cutter, side_step(entries)].into_iter().flatten().collect();
    causes.sort_by(|a, b| b.size.abs().total_cmp(&a.size.abs()));
    causes
}

/// Whether a mean is off beyond doubt and by more than nobody cares for.
fn is_off(mean: &Spread) -> bool {
    mean.mean_uncertainty.is_some_and(|u| mean.mean.abs() > u) && mean.mean.abs() >= LEAST_MM
}

/// The mean over the named values of each piece, so that what they share counts and what they do not
/// cancels; with the values that were there.
fn shared(
    entries: &[Entry],
    values: &[Value],
    scaled: impl Fn(Value, f64, f64) -> f64,
) -> Option<(Spread, Vec<Value>)> {
    let measured: Vec<Value> =
        values.iter().copied().filter(|v| entries.iter().filter(|e| e.values.contains_key(v)).count() > 1).collect();
    if measured.len() < 2 {
        return None;
    }
    let of_piece = |entry: &Entry| {
        let each: Vec<f64> = measured
            .iter()
            .filter_map(|v| entry.values.get(v).map(|logged| scaled(*v, logged.difference(), logged.asked)))
            .collect();
        (!each.is_empty()).then(|| each.iter().sum::<f64>() / each.len() as f64)
    };
    let means: Vec<f64> = entries.iter().filter_map(of_piece).collect();
    let doubt = shared_doubt(entries, &measured);
    let asked = entries.iter().flat_map(|e| measured.iter().filter_map(|v| Some((*v, e.values.get(v)?.asked))));
    // What is the same in mm is largest as a share where it is asked for the least.
    let largest = asked.map(|(value, asked)| scaled(value, doubt, asked)).fold(0.0, f64::max);
    Some((spread(&means)?.with_shared(largest), measured))
}

/// Whether every one of these values is off by about `expected`: within the doubt of its own mean and
/// half of what is expected.
fn agree(values: &BTreeMap<Value, Spread>, measured: &[Value], expected: impl Fn(Value) -> f64) -> bool {
    measured.iter().all(|value| {
        values.get(value).is_some_and(|of_value| {
            let doubt = of_value.mean_uncertainty.unwrap_or(f64::INFINITY);
            (of_value.mean - expected(*value)).abs() <= doubt.max(0.5 * expected(*value).abs())
        })
    })
}

fn z_zero(entries: &[Entry], values: &BTreeMap<Value, Spread>) -> Option<Cause> {
    let (mean, measured) = shared(entries, &ABOVE_BED, |_, difference, _| difference)?;
    if !is_off(&mean) || !agree(values, &measured, |_| mean.mean) {
        return None;
    }
    let way = if mean.mean > 0.0 { "high" } else { "low" };
    Some(Cause {
        cause: CauseKind::ZZero,
        size: mean.mean,
        uncertainty: mean.mean_uncertainty.unwrap_or(f64::INFINITY),
        evidence: format!(
            "{} all stand {:.2} mm {way} on average, {} pieces",
            list(&measured),
            mean.mean.abs(),
            mean.count
        ),
        advice:
            "check Z zero: touch off on the bed, not on the blank; then the cutter's length if it was entered by hand"
                .into(),
    })
}

fn edge(entries: &[Entry], values: &BTreeMap<Value, Spread>) -> Option<Cause> {
    let (mean, measured) = shared(entries, &EDGE, |_, difference, _| difference)?;
    if is_off(&mean) && agree(values, &measured, |_| mean.mean) {
        let way = if mean.mean > 0.0 { "too large" } else { "too small" };
        return Some(Cause {
            cause: CauseKind::EdgeOffset,
            size: mean.mean,
            uncertainty: mean.mean_uncertainty.unwrap_or(f64::INFINITY),
            evidence: format!(
                "{} are all {:.2} mm {way} on average, {} pieces",
                list(&measured),
                mean.mean.abs(),
                mean.count
            ),
            advice: format!(
                "measure the perimeter cutter: its diameter is probably {:.2} mm {} than its profile says, or the edge is {}",
                mean.mean.abs(),
                if mean.mean > 0.0 { "smaller" } else { "larger" },
                if mean.mean > 0.0 { "sanded too little" } else { "sanded too much" },
            ),
        });
    }
    scale(entries, values)
}

fn scale(entries: &[Entry], values: &BTreeMap<Value, Spread>) -> Option<Cause> {
    let (share, measured) = shared(entries, &EDGE, |_, difference, asked| difference / asked)?;
    let asked = |value: Value| {
        let each: Vec<f64> = entries.iter().filter_map(|e| e.values.get(&value).map(|l| l.asked)).collect();
        each.iter().sum::<f64>() / each.len().max(1) as f64
    };
    let longest = measured.iter().map(|v| asked(*v)).fold(0.0, f64::max);
    let is_off = share.mean_uncertainty.is_some_and(|u| share.mean.abs() > u) && share.mean.abs() * longest >= LEAST_MM;
    if !is_off || !agree(values, &measured, |value| share.mean * asked(value)) {
        return None;
    }
    let percent = 100.0 * share.mean;
    Some(Cause {
        cause: CauseKind::Scale,
        size: percent,
        uncertainty: 100.0 * share.mean_uncertainty.unwrap_or(f64::INFINITY),
        evidence: format!("{} are all off by {percent:+.2} %, {} pieces", list(&measured), share.count),
        advice: "check the machine's steps per mm on both axes against a steel rule, and that the blank does not creep"
            .into(),
    })
}

/// A finishing cutter that is not as wide as planned leaves level ground alone and moves steep walls:
/// the cup's width, both walls at once, while its seat stays.
fn finishing_cutter(values: &BTreeMap<Value, Spread>) -> Option<Cause> {
    let width = values.get(&Value::HeelCupWidth).filter(|width| is_off(width))?;
    let level = [Value::HeelThickness, Value::ForefootThickness];
    let measured: Vec<Value> = level.into_iter().filter(|v| values.contains_key(v)).collect();
    let stays = |value: &Value| values.get(value).is_some_and(|of_value| of_value.mean.abs() < 0.25 * width.mean.abs());
    if measured.is_empty() || !measured.iter().all(stays) {
        return None;
    }
    let wide = width.mean > 0.0;
    Some(Cause {
        cause: CauseKind::FinishingCutter,
        size: width.mean,
        uncertainty: width.mean_uncertainty.unwrap_or(f64::INFINITY),
        evidence: format!(
            "the heel cup is {:.2} mm too {} on average while {} {} right, {} pieces",
            width.mean.abs(),
            if wide { "wide" } else { "narrow" },
            list(&measured),
            if measured.len() > 1 { "are" } else { "is" },
            width.count
        ),
        advice: format!(
            "measure the finishing cutter: steep walls move and level ground does not when it is {} than its profile says",
            if wide { "thicker" } else { "thinner, or worn" }
        ),
    })
}

/// Figures of the scanned pieces, drawn together.
fn signed(entries: &[Entry], of: impl Fn(&Signature) -> f64) -> Option<Spread> {
    let sizes: Vec<f64> = entries.iter().filter_map(|entry| entry.signature.as_ref().map(&of)).collect();
    spread(&sizes).filter(is_off)
}

/// Scans show directly how the deviation grows with slope.
fn cutter_radius(entries: &[Entry]) -> Option<Cause> {
    let radius = signed(entries, |signature| signature.cutter_radius.size)?;
    let (way, other) = if radius.mean > 0.0 { ("thicker", "low") } else { ("thinner, or worn,", "high") };
    Some(Cause {
        cause: CauseKind::FinishingCutter,
        size: radius.mean,
        uncertainty: radius.mean_uncertainty.unwrap_or(f64::INFINITY),
        evidence: format!(
            "the steeper a place the more {other} it stands, as with {:.2} mm of the cutter's radius, {} scans",
            radius.mean.abs(),
            radius.count
        ),
        advice: format!(
            "measure the finishing cutter: it is probably {:.2} mm {way} in diameter than its profile says",
            2.0 * radius.mean.abs()
        ),
    })
}

/// The top of every piece lies to the same side of its edge on the bench, whichever foot it is for.
fn side_step(entries: &[Entry]) -> Option<Cause> {
    let of_axis = |k: usize| Some((k, signed(entries, |signature| signature.side_step[k].size)?));
    let (k, step) = [0, 1].into_iter().filter_map(of_axis).max_by(|a, b| a.1.mean.abs().total_cmp(&b.1.mean.abs()))?;
    let axis = ["X", "Y"][k];
    Some(Cause {
        cause: CauseKind::SideStep,
        size: step.mean,
        uncertainty: step.mean_uncertainty.unwrap_or(f64::INFINITY),
        evidence: format!("tops lie {:+.2} mm along {axis} of their edges on average, {} scans", step.mean, step.count),
        advice: format!(
            "the blank or the zero moved along {axis} between finish and perimeter: check the clamping, and whether zero \
             was touched again"
        ),
    })
}

/// `a, b and c`.
fn list(values: &[Value]) -> String {
    let words: Vec<String> = values.iter().map(|v| v.words()).collect();
    match words.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drift::drift;
    use crate::frame::Side;
    use crate::inspect::{Known, Logged, Verdict};

    /// Thirty pieces whose values are off by `bias` and scatter evenly by a tenth of a millimetre.
    fn pieces(bias: impl Fn(Value, f64) -> f64) -> Vec<Entry> {
        let asked = |value: Value| match value {
            Value::Length => 270.0,
            Value::BallWidth => 95.0,
            Value::HeelWidth => 70.0,
            Value::HeelCupWidth => 66.0,
            _ => 8.0,
        };
        let one = |k: usize| {
            let logged = |(v, value): (usize, Value)| {
                let asked = asked(value);
                let scatter = 0.1 * (((k * 7 + v * 11) % 13) as f64 / 6.0 - 1.0);
                let made = asked + bias(value, asked) + scatter;
                (
                    value,
                    Logged {
                        asked,
                        made,
                        uncertainty: 0.1,
                        shared_uncertainty: 0.0,
                        tolerance: 0.5,
                        verdict: Verdict::Accept,
                    },
                )
            };
            Entry {
                ticket: "PATROL-07".into(),
                revision: 1,
                side: Side::Left,
                material: "eva-firm".into(),
                machine: "fast-router".into(),
                blank: "foam-300".into(),
                finishing: if k.is_multiple_of(2) { "ball-6" } else { "ball-8" }.into(),
                perimeter: "flat-6".into(),
                verdict: Verdict::Accept,
                values: Value::ALL.into_iter().enumerate().map(logged).collect(),
                signature: None,
                note: String::new(),
            }
        };
        (0..30).map(one).collect()
    }

    fn kinds(bias: impl Fn(Value, f64) -> f64) -> Vec<(CauseKind, f64)> {
        drift(&pieces(bias)).causes.iter().map(|c| (c.cause, (100.0 * c.size).round() / 100.0)).collect()
    }

    #[test]
    fn each_cause_has_its_own_signature() {
        let high = |by: f64| move |value: Value, _: f64| if ABOVE_BED.contains(&value) { by } else { 0.0 };
        assert_eq!(kinds(high(0.4)), [(CauseKind::ZZero, 0.4)]);
        assert_eq!(kinds(high(-0.4)), [(CauseKind::ZZero, -0.4)]);
        let edge = |value: Value, _: f64| if EDGE.contains(&value) { 0.3 } else { 0.0 };
        assert_eq!(kinds(edge), [(CauseKind::EdgeOffset, 0.3)]);
        let scale = |value: Value, asked: f64| if EDGE.contains(&value) { 0.01 * asked } else { 0.0 };
        assert_eq!(kinds(scale), [(CauseKind::Scale, 1.0)]);
        let walls = |value: Value, _: f64| if value == Value::HeelCupWidth { -0.5 } else { 0.0 };
        assert_eq!(kinds(walls), [(CauseKind::FinishingCutter, -0.5)]);
    }

    /// Scans tell a side step and a cutter's radius apart; a step to and fro is none.
    #[test]
    fn scans_have_signatures_of_their_own() {
        let scanned = |of: fn(usize) -> [f64; 4]| {
            let mut log = pieces(|_, _| 0.0);
            for (k, entry) in log.iter_mut().enumerate() {
                let known = |size: f64| Known { size: size + 0.02 * ((k * 5) % 7) as f64 - 0.06, uncertainty: 0.05 };
                let [height, cutter_radius, x, y] = of(k).map(known);
                entry.signature = Some(Signature { height, cutter_radius, side_step: [x, y] });
            }
            drift(&log).causes.iter().map(|c| (c.cause, (10.0 * c.size).round() / 10.0)).collect::<Vec<_>>()
        };
        assert_eq!(scanned(|_| [0.0, 0.3, 0.0, 0.0]), [(CauseKind::FinishingCutter, 0.3)]);
        assert_eq!(scanned(|_| [0.0, 0.0, -0.4, 0.0]), [(CauseKind::SideStep, -0.4)]);
        assert_eq!(scanned(|k| [0.0, 0.0, if k % 2 == 0 { 0.4 } else { -0.4 }, 0.0]), []);
    }

    /// What a way of measuring adds to all pieces alike is not the workshop's doing.
    #[test]
    fn what_all_pieces_share_by_how_they_were_measured_is_no_cause() {
        let mut log = pieces(|value, _| if EDGE.contains(&value) { -0.15 } else { 0.0 });
        assert_eq!(drift(&log).causes.len(), 1);
        for value in EDGE {
            log.iter_mut().filter_map(|entry| entry.values.get_mut(&value)).for_each(|v| v.shared_uncertainty = 0.3);
        }
        assert_eq!(drift(&log).causes, []);
    }

    #[test]
    fn what_fits_no_signature_is_not_explained_away() {
        assert_eq!(kinds(|_, _| 0.0), []);
        assert_eq!(kinds(|value, _| if value == Value::MedialArch { 0.8 } else { 0.0 }), []);
        assert_eq!(kinds(|value, _| if value == Value::HeelThickness { 0.8 } else { 0.0 }), []);
        // Off beyond doubt, but by nothing that matters.
        assert_eq!(kinds(|value, _| if ABOVE_BED.contains(&value) { 0.05 } else { 0.0 }), []);
    }

    #[test]
    fn groups_wandering_and_capability() {
        let mut log = pieces(|_, _| 0.0);
        for (k, entry) in log.iter_mut().enumerate() {
            if let Some(arch) = entry.values.get_mut(&Value::MedialArch) {
                arch.made += if k >= 20 { 0.6 } else { 0.0 };
            }
        }
        let drift = drift(&log);
        let arch = &drift.values[&Value::MedialArch];
        assert!(arch.wandering && !drift.values[&Value::HeelThickness].wandering);
        assert!(arch.cpk.unwrap() < arch.cp.unwrap());
        assert_eq!(
            drift.groups.iter().map(|g| (g.by, g.name.as_str(), g.pieces)).collect::<Vec<_>>(),
            [("finishing", "ball-6", 15), ("finishing", "ball-8", 15)]
        );
        assert_eq!(drift.verdicts["accept"], 30);
    }
}
