//! What the footbed changes in the boot against the stock insole that it replaces: rise, ramp and
//! instep, length and widths. What was not measured stays unknown, never zero.

use serde::Serialize;

use super::field::past;
use super::interval::{Bound, Interval, Intervals};
use super::line::{Line, only};
use super::{Case, Finding, Severity, advice, cup, order};
use crate::value::{Value, signed};

/// Heel to ball as a share of the foot length, for the ramp. Common practice, no source.
const HEEL_TO_BALL: f64 = 0.58;
/// Rise and ramp changes that ask for a look and that stop. Shop's own choice.
const RISE_CAUTION_MM: f64 = 1.5;
const RISE_STOP_MM: f64 = 3.0;
const RAMP_CAUTION_DEG: f64 = 0.5;
const RAMP_STOP_DEG: f64 = 1.0;
/// The same for the instep, which has no room to give under a buckle. Shop's own choice.
const INSTEP_CAUTION_MM: f64 = 1.5;
/// A footbed so much larger or smaller than the stock insole is questioned, mm. Shop's own choice.
const INSOLE_LARGER_MM: f64 = 1.0;
const INSOLE_SMALLER_MM: f64 = 4.0;

/// What changes in the boot against the stock insole; what is unknown stays `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct BootEffect {
    /// Higher under the heel, cover included, mm.
    pub heel_rise_mm: Option<f64>,
    /// Higher under the ball, mm.
    pub ball_rise_mm: Option<f64>,
    /// Steeper from heel to ball, deg.
    pub ramp_change_deg: Option<f64>,
    /// Higher under the instep: midway between heel and ball, which midfoot lift reaches nearly one
    /// to one (common practice, no source), mm.
    pub instep_lift_mm: Option<f64>,
}

/// The effect in the boot: ramp change = atan((heel rise - ball rise) / (0.58 L)).
pub fn boot_effect(case: &Case) -> BootEffect {
    let (insole, cover) = (&case.boot.stock_insole, case.make.cover_mm);
    let support = &case.order.support;
    let heel = insole.heel_thickness.map(|stock| support.heel_thickness_mm + cover - stock);
    let ball = insole.ball_thickness.map(|stock| support.forefoot_thickness_mm + cover - stock);
    let both = heel.zip(ball);
    BootEffect {
        heel_rise_mm: heel,
        ball_rise_mm: ball,
        ramp_change_deg: both.map(|(h, b)| ((h - b) / heel_to_ball_mm(case)).atan().to_degrees()),
        instep_lift_mm: both.map(|(h, b)| 0.5 * (h + b)),
    }
}

fn heel_to_ball_mm(case: &Case) -> f64 {
    HEEL_TO_BALL * case.footbed.places.foot_length_mm
}

/// The stops of this file, as far as shaping values can settle them.
pub(super) fn lines(case: &Case) -> Vec<Line> {
    let (insole, cover) = (&case.boot.stock_insole, case.make.cover_mm);
    let (heel, ball) = (only(Value::HeelThickness), only(Value::ForefootThickness));
    let rise = |weights, stock: f64, limit| Line::within(weights, stock - cover, RISE_STOP_MM, Bound::of(limit));
    let mut lines = vec![];
    lines.extend(insole.heel_thickness.into_iter().flat_map(|stock| rise(heel, stock, "heel_rise")));
    lines.extend(insole.ball_thickness.into_iter().flat_map(|stock| rise(ball, stock, "ball_rise")));
    if let (Some(stock_heel), Some(stock_ball)) = (insole.heel_thickness, insole.ball_thickness) {
        let steeper = std::array::from_fn(|k| heel[k] - ball[k]);
        let by = Bound::of("ramp_change");
        lines.extend(Line::within(steeper, stock_heel - stock_ball, ramp_mm(case, RAMP_STOP_DEG), by));
    }
    lines
}

/// How much more the heel rises than the ball at a change of ramp, mm.
fn ramp_mm(case: &Case, deg: f64) -> f64 {
    deg.to_radians().tan() * heel_to_ball_mm(case)
}

/// Sizes that lie well where the stock insole lay, mm; nothing where that was not measured.
pub(super) fn for_insole(case: &Case, value: Value) -> Option<Interval> {
    let insole = &case.boot.stock_insole;
    let (limit, stock) = match value {
        Value::Length => ("insole_length", insole.length),
        Value::BallWidth => ("insole_width", insole.ball_width),
        Value::HeelWidth => ("insole_width", insole.heel_width),
        _ => return None,
    };
    let stock = stock?;
    Some(Interval::between(stock - INSOLE_SMALLER_MM, stock + INSOLE_LARGER_MM, Bound::of(limit)))
}

pub(super) fn findings(case: &Case, intervals: &Intervals) -> Vec<Finding> {
    let effect = boot_effect(case);
    let mut found = vec![];
    let mut effects = vec![];
    effects.extend(rise(case, "heel_rise", "rise under the heel", effect.heel_rise_mm, Value::HeelThickness));
    effects.extend(rise(case, "ball_rise", "rise under the ball", effect.ball_rise_mm, Value::ForefootThickness));
    effects.extend(ramp(case, effect.ramp_change_deg));
    effects.extend(instep(case, effect.instep_lift_mm));
    let wishes: Vec<(Value, Interval)> = effects.iter().map(|effect| (effect.value, effect.own)).collect();
    found.extend(effects.into_iter().map(|effect| effect.advised(case, intervals, &wishes)));
    found.extend(insole_sizes(case, intervals));
    found.extend(unknown(case));
    found
}

/// How grave a change is, and what it is past; `None` for a change that nobody minds.
fn gravity(change: f64, caution: f64, stop: f64) -> Option<(Severity, f64)> {
    match change.abs() {
        c if past(c, stop) => Some((Severity::Stop, stop)),
        c if past(c, caution) => Some((Severity::Caution, caution)),
        _ => None,
    }
}

/// Something that is found, the value that settles it and where that would do, and what may be done instead.
struct Effect {
    finding: Finding,
    value: Value,
    own: Interval,
    or_else: &'static str,
}

impl Effect {
    /// The finding with its advice: one value for all effects that it settles, where there is one.
    fn advised(self, case: &Case, intervals: &Intervals, wishes: &[(Value, Interval)]) -> Finding {
        let Effect { finding, value, own, or_else } = self;
        let wishes: Vec<Interval> = wishes.iter().filter(|(other, _)| *other == value).map(|(_, own)| *own).collect();
        let set = match advice::nearest_of_all(case, intervals, value, own, &wishes) {
            Some(to) => format!("set {} to {to} {}", value.name(), value.unit()),
            None => "choose another cover or measure the stock insole again".to_string(),
        };
        Finding { advice: format!("{set}, {or_else}"), ..finding }
    }

    fn new(finding: Finding, value: Value, own: Interval, or_else: &'static str) -> Effect {
        Effect { finding, value, own, or_else }
    }
}

fn meant(severity: Severity) -> &'static str {
    if severity == Severity::Stop { "or type a reason" } else { "unless that is meant" }
}

fn against_insole(words: &str, change: f64, allowed: f64, unit: &str) -> String {
    format!("{words} {} {unit} against the stock insole, past {allowed} {unit}", signed(change, 2))
}

fn rise(case: &Case, limit: &'static str, words: &str, change: Option<f64>, value: Value) -> Option<Effect> {
    let change = change?;
    let (severity, allowed) = gravity(change, RISE_CAUTION_MM, RISE_STOP_MM)?;
    let message = against_insole(words, change, allowed, "mm");
    let finding = Finding::new(limit, severity, case.order.side, message, String::new()).numbers(change, allowed, "mm");
    let level = case.order.asked(value)? - change;
    let own = Interval::between(level - allowed, level + allowed, Bound::of(limit));
    Some(Effect::new(finding, value, own, meant(severity)))
}

fn ramp(case: &Case, change: Option<f64>) -> Option<Effect> {
    let change = change?;
    let (severity, allowed) = gravity(change, RAMP_CAUTION_DEG, RAMP_STOP_DEG)?;
    let message = against_insole("change of ramp", change, allowed, "deg");
    let finding = Finding::new("ramp_change", severity, case.order.side, message, String::new());
    let level = case.order.support.heel_thickness_mm - ramp_mm(case, change);
    let room = ramp_mm(case, allowed);
    let own = Interval::between(level - room, level + room, Bound::of("ramp_change"));
    Some(Effect::new(finding.numbers(change, allowed, "deg"), Value::HeelThickness, own, meant(severity)))
}

/// Only a lift: a lower instep leaves room.
fn instep(case: &Case, lift: Option<f64>) -> Option<Effect> {
    let lift = lift.filter(|lift| past(*lift, INSTEP_CAUTION_MM))?;
    let message = format!("the instep is lifted by {lift:.2} mm against the stock insole, past {INSTEP_CAUTION_MM} mm");
    // Heel and ball share the lift by half.
    let by = 2.0 * (INSTEP_CAUTION_MM - lift);
    let own = Interval::at_most(case.order.support.heel_thickness_mm + by, Bound::of("instep_lift"));
    let finding = Finding::new("instep_lift", Severity::Caution, case.order.side, message, String::new()).numbers(
        lift,
        INSTEP_CAUTION_MM,
        "mm",
    );
    Some(Effect::new(finding, Value::HeelThickness, own, "or open the boot over the instep"))
}

/// Length and widths of the outline against the insole that lay in the liner.
fn insole_sizes(case: &Case, intervals: &Intervals) -> Vec<Finding> {
    let rows = [
        (Value::Length, order::for_foot(case)),
        (Value::BallWidth, Interval::ALL),
        (Value::HeelWidth, cup::for_heel(case)),
    ];
    let found = rows.into_iter().filter_map(|(value, foot)| {
        let (own, made) = (for_insole(case, value)?, *case.read_back.get(&value)?);
        let (limit, stock) = (own.by[0].limit, own.lo + INSOLE_SMALLER_MM);
        let (allowed, what) = match made {
            m if past(m, own.hi) => (own.hi, "it may not lie flat in the liner"),
            m if past(own.lo, m) => (own.lo, "it may slide about in the liner"),
            _ => return None,
        };
        let message = format!("{} {made:.1} mm against {stock} mm of the stock insole: {what}", value.words());
        let advice = match &case.order.traced {
            Some(_) => "change the tracing's clearance, or measure the stock insole again".to_string(),
            // What the foot itself needs is not advised away.
            None => match advice::nearest(case, intervals, value, own.and(foot)) {
                Some(to) => format!("set {} to {to} mm, or measure the stock insole again", value.name()),
                None => {
                    "the foot asks for it: measure the stock insole again, or take a liner that holds it".to_string()
                }
            },
        };
        let finding = Finding::new(limit, Severity::Caution, case.order.side, message, advice);
        Some(finding.numbers(made, allowed, "mm"))
    });
    found.collect()
}

/// What was not measured, and what cannot be told for it. A traced insole has its sizes from the tracing.
fn unknown(case: &Case) -> Option<Finding> {
    let insole = &case.boot.stock_insole;
    let traced = case.order.traced.is_some();
    let thickness = [("heel_thickness", insole.heel_thickness), ("ball_thickness", insole.ball_thickness)];
    let sizes = [("length", insole.length), ("ball_width", insole.ball_width), ("heel_width", insole.heel_width)];
    let missing = |rows: &[(&'static str, Option<f64>)]| -> Vec<&'static str> {
        rows.iter().filter(|(_, known)| known.is_none()).map(|(key, _)| *key).collect()
    };
    let (thickness, sizes) = (missing(&thickness), if traced { vec![] } else { missing(&sizes) });
    let mut untold = vec![];
    if !thickness.is_empty() {
        untold.push("the change of ramp and volume");
    }
    if !sizes.is_empty() {
        untold.push("the room beside it in the liner");
    }
    if untold.is_empty() {
        return None;
    }
    let keys: Vec<&str> = thickness.into_iter().chain(sizes).collect();
    let words: Vec<String> = keys.iter().map(|key| key.replace('_', " ")).collect();
    let are = if untold.len() > 1 { "are" } else { "is" };
    let message = format!("of the stock insole {} is unknown, so {} {are} too", words.join(", "), untold.join(" and "));
    let advice = format!("measure it and write {} under [boot.stock_insole]", keys.join(", "));
    Some(Finding::new("boot_unknown", Severity::Note, case.order.side, message, advice))
}
