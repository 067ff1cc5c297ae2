//! One foot's starting values: a base for each, the rules that move it, the range it is kept in; every
//! step with its source. Knows no text.

use std::collections::BTreeMap;

use serde::Serialize;

use super::facts::input_of;
use super::measures::{MeasuredFoot, Measures};
use crate::foot::{Growing, Loading, usual_ball_width_mm, usual_heel_width_mm};
use crate::profile::rules::{Bound, Condition, Effect, Facts, Line, Met, Rules, Target, all_met};
use crate::profile::{Card, Material, StartingSupport};
use crate::value::Value;

/// How far a starting value rests on this foot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Confidence {
    /// On what was measured, standing or in the boot.
    #[serde(rename = "measured")]
    Measured,
    /// On a measure whose own error matters, or one grown from another loading.
    #[serde(rename = "measured roughly")]
    Roughly,
    /// On a rule of thumb, not on this foot.
    #[serde(rename = "rule of thumb")]
    RuleOfThumb,
}

impl Confidence {
    /// As printed.
    pub fn words(self) -> &'static str {
        match self {
            Confidence::Measured => "measured",
            Confidence::Roughly => "measured roughly",
            Confidence::RuleOfThumb => "rule of thumb",
        }
    }
}

/// One step on the way to a value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// What was done and from what, in words.
    pub words: String,
    /// The number after it.
    pub result: f64,
    /// Its unit; empty for a share.
    pub unit: &'static str,
    /// Reference and strength.
    pub source: String,
}

/// A starting value with its reasons.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suggestion {
    /// The value; shares for `arch_share` and `allowed_drop`.
    pub name: &'static str,
    /// `null`: not suggested; the steps or `missing` say why.
    pub suggested: Option<f64>,
    /// Unit of it; empty for a share.
    pub unit: &'static str,
    /// Least and greatest that would be suggested for this foot.
    pub range: Option<[f64; 2]>,
    /// How far it rests on this foot.
    pub confidence: Confidence,
    /// From the base to the end, in order.
    pub steps: Vec<Step>,
    /// Rules that speak of it and do not apply, in words.
    pub not_applied: Vec<String>,
    /// What was not measured and would have moved it, in words.
    pub missing: Vec<String>,
}

/// What the suggestions for one foot lean on.
#[derive(Clone, Copy)]
pub struct Ground<'a> {
    /// The person.
    pub measures: &'a Measures,
    /// The foot.
    pub foot: &'a MeasuredFoot,
    /// All that is known of it.
    pub facts: &'a Facts,
    /// The rules.
    pub rules: &'a Rules,
    /// The kind of use.
    pub start: &'a StartingSupport,
    /// Its card, for the reasons of its numbers.
    pub card: &'a Card,
    /// What it is cut from.
    pub material: &'a Material,
}

/// Suggestions by target.
pub type Suggestions = BTreeMap<Target, Suggestion>;

/// Every starting value of one foot, in the order in which they lean on each other.
pub fn suggest(ground: &Ground) -> Suggestions {
    let mut all = Suggestions::new();
    for target in Target::all() {
        let suggestion = one(ground, target, &all);
        all.insert(target, suggestion);
    }
    all
}

/// Share of the foot's own drop that the footbed is to allow: what the shape leaves, and the give of
/// the flex zone besides. `None` when the drop is not known or not real.
pub fn allowed_drop(ground: &Ground, all: &Suggestions) -> Option<Suggestion> {
    let arch = ground.foot.loaded("medial_arch");
    let (seated, standing) = (arch.seated?, arch.standing?);
    let height = all.get(&Target::Value(Value::MedialArch))?.suggested?;
    let give = all.get(&Target::AllowedGive)?;
    let drop = seated - standing;
    let real = ground.rules.measure("medial_arch").map_or(0.0, |measure| measure.real_change);
    if drop < real.max(1.0) {
        return None;
    }
    let by_shape = (seated - height) / drop;
    let share = (20.0 * (by_shape + give.suggested?).clamp(0.0, 1.0)).round() / 20.0;
    let mut steps = vec![Step {
        words: format!(
            "the shape leaves (seated {seated} - arch {height}) / {drop} of the foot's own drop of {drop} mm"
        ),
        result: hundredths(by_shape),
        unit: "",
        source: "derived".into(),
    }];
    // The first step of the give says that there is none yet.
    let of_give = give
        .steps
        .iter()
        .skip(1)
        .map(|step| Step { words: format!("give of the flex zone: {}", step.words), ..step.clone() });
    steps.extend(of_give);
    steps.push(Step { words: "together, at most all of it".into(), result: share, unit: "", source: "derived".into() });
    let range = Some([0.0, 1.0]);
    let suggested = Some(share);
    Some(Suggestion { name: "allowed_drop", suggested, range, confidence: Confidence::Roughly, steps, ..give.clone() })
}

struct Base {
    number: f64,
    words: String,
    source: String,
    confidence: Confidence,
}

fn one(ground: &Ground, target: Target, earlier: &Suggestions) -> Suggestion {
    let unit = match target {
        Target::Value(value) => value.unit(),
        _ => "",
    };
    let mut suggestion = Suggestion {
        name: target.name(),
        suggested: None,
        unit,
        range: None,
        confidence: Confidence::RuleOfThumb,
        steps: vec![],
        not_applied: vec![],
        missing: vec![],
    };
    match base(ground, target, earlier) {
        Err(why) => {
            suggestion.missing.extend(why);
            return suggestion;
        }
        Ok(base) => {
            suggestion.confidence = base.confidence;
            if target == Target::Value(Value::MedialArch) {
                share_first(earlier, &mut suggestion);
            }
            let result = hundredths(base.number);
            suggestion.steps.push(Step { words: base.words, result, unit, source: base.source });
            let moved = moved(ground, target, base.number, earlier, &mut suggestion);
            keep(ground, target, moved, &mut suggestion);
        }
    }
    missing_base(ground, target, &mut suggestion);
    suggestion
}

/// The chain of the share that the arch is reckoned with, where it matters.
fn share_first(earlier: &Suggestions, told: &mut Suggestion) {
    let Some(share) = earlier.get(&Target::ArchShare) else { return };
    let steps = share.steps.iter().map(|step| Step { words: format!("share: {}", step.words), ..step.clone() });
    told.steps.extend(steps);
    told.not_applied.extend(share.not_applied.iter().cloned());
    told.missing.extend(share.missing.iter().cloned());
}

/// The rules of a target, one after the other.
fn moved(ground: &Ground, target: Target, base: f64, earlier: &Suggestions, told: &mut Suggestion) -> f64 {
    let mut number = base;
    for rule in ground.rules.rules.iter().filter(|rule| rule.target == target) {
        let why = conditions(&rule.when);
        match all_met(&rule.when, ground.facts) {
            Met::No => told.not_applied.push(format!("{}, as this is not so: {why}", in_words(&rule.name))),
            Met::Unknown => {
                let unknown = rule.when.iter().filter(|c| c.met(ground.facts) == Met::Unknown);
                let inputs: Vec<String> = unknown.map(|c| input_of(&c.fact)).collect();
                told.not_applied.push(format!("{}, as this is not known: {why}", in_words(&rule.name)));
                told.missing.extend(inputs);
            }
            Met::Yes => {
                let after = effect(rule.effect, number, earlier);
                if after != number {
                    let how = effect_words(rule.effect);
                    let when = if rule.when.is_empty() {
                        String::new()
                    } else {
                        format!(", as {}", measured(&rule.when, ground.facts))
                    };
                    told.steps.push(Step {
                        words: format!("{how}{when}: {}", rule.because),
                        result: hundredths(after),
                        unit: told.unit,
                        source: rule.source.told(),
                    });
                }
                number = after;
            }
        }
    }
    told.missing.sort();
    told.missing.dedup();
    number
}

/// A rule's name as it is read: "share flexible".
fn in_words(name: &str) -> String {
    name.replace('_', " ")
}

fn effect(effect: Effect, number: f64, earlier: &Suggestions) -> f64 {
    match effect {
        Effect::Add(by) => number + by,
        Effect::Set(to) => to,
        Effect::AtLeast(least) => number.max(least),
        Effect::AtMost(most) => number.min(most),
        Effect::Below(value, by) => {
            let above = earlier.get(&Target::Value(value)).and_then(|suggestion| suggestion.suggested);
            above.map_or(number, |above| number.min(above - by))
        }
    }
}

fn effect_words(effect: Effect) -> String {
    match effect {
        Effect::Add(by) => format!("{by:+}"),
        Effect::Set(to) => format!("set to {to}"),
        Effect::AtLeast(least) => format!("at least {least}"),
        Effect::AtMost(most) => format!("at most {most}"),
        Effect::Below(value, by) => format!("at least {by} mm below the {}", value.words()),
    }
}

fn conditions(all: &[Condition]) -> String {
    all.iter().map(Condition::to_string).collect::<Vec<_>>().join(" and ")
}

/// Conditions with the numbers that met them.
fn measured(all: &[Condition], facts: &Facts) -> String {
    use crate::profile::rules::Fact;
    let told = all.iter().map(|condition| match facts.get(&condition.fact) {
        Some(Fact::Number(number)) => format!("{condition} (it is {})", hundredths(*number)),
        _ => condition.to_string(),
    });
    told.collect::<Vec<_>>().join(" and ")
}

/// Rounding of sums, so that a whole step stays one.
const HAIR: f64 = 1e-9;

/// Keeps a number in its range, on whole steps.
fn keep(ground: &Ground, target: Target, number: f64, told: &mut Suggestion) {
    let Some(bound) = ground.rules.bound(target) else {
        told.suggested = Some(hundredths(number));
        return;
    };
    let (least, most, why) = range(ground, target, bound);
    let whole = |x: f64| hundredths(x * bound.step);
    // An arch is rounded down: too high presses, a little too low is hardly felt.
    let down = target == Target::Value(Value::MedialArch);
    let steps = number / bound.step;
    let steps = if down { (steps + HAIR).floor() } else { steps.round() };
    let steps = steps.max((least / bound.step - HAIR).ceil()).min((most / bound.step + HAIR).floor());
    // A range narrower than a step keeps its upper end: that one is a limit of foot or material.
    let kept = hundredths(if most < least { most } else { whole(steps).min(most) });
    if (kept - number).abs() > HAIR {
        let past = number > most + HAIR || number < least - HAIR;
        let words = match past {
            true => format!("kept within {} to {} {}{why}", hundredths(least), hundredths(most), told.unit),
            false if down => format!("down to a whole {} {}, no finer than it can be tried", bound.step, told.unit),
            false => format!("to the nearest {} {}, no finer than it can be tried", bound.step, told.unit),
        };
        let (words, unit) = (words.trim_end().to_owned(), told.unit);
        told.steps.push(Step { words, result: kept, unit, source: bound.source.told() });
    }
    told.suggested = Some(kept);
    told.range = Some([hundredths(least), hundredths(most)]);
}

/// The range of a target for this foot and material, and what narrows it.
fn range(ground: &Ground, target: Target, bound: &Bound) -> (f64, f64, String) {
    let material = ground.material;
    let thick = |least: f64| {
        let needed = least + material.sanding_mm;
        let why = format!(": {} needs {needed:.1} mm with its sanding", material.name);
        if needed > bound.least { (needed, bound.most, why) } else { (bound.least, bound.most, String::new()) }
    };
    match target {
        Target::Value(Value::HeelThickness) => thick(material.least.heel),
        Target::Value(Value::ForefootThickness) => thick(material.least.forefoot),
        Target::Value(Value::HeelCupDepth) => {
            let [least, most] = ground.start.heel_cup_depth_bounds_mm;
            (bound.least.max(least), bound.most.min(most), format!(", the range of {}", ground.start.name))
        }
        Target::Value(Value::MedialArch) => match ground.foot.loaded("medial_arch") {
            crate::foot::Loaded { seated: Some(seated), .. } if seated < bound.most => {
                (bound.least, seated, ": never above the seated arch".into())
            }
            _ => (bound.least, bound.most, String::new()),
        },
        _ => (bound.least, bound.most, String::new()),
    }
}

/// Where a value starts; `Err` with what would have to be measured, or nothing where the value is
/// left to follow from the others.
fn base(ground: &Ground, target: Target, earlier: &Suggestions) -> Result<Base, Vec<String>> {
    let insole = &ground.measures.boot.stock_insole;
    let start = ground.start;
    match target {
        Target::ArchShare => Ok(of_start(ground, start.arch_share, "arch_share")),
        Target::AllowedGive => Ok(Base {
            number: 0.0,
            words: "nothing beyond what the shape leaves".into(),
            source: "derived".into(),
            confidence: Confidence::RuleOfThumb,
        }),
        Target::Value(value) => match value {
            Value::HeelThickness => {
                Ok(thickness(ground, insole.heel_thickness, start.heel_thickness_mm, "heel_thickness_mm"))
            }
            Value::ForefootThickness => {
                Ok(thickness(ground, insole.ball_thickness, start.forefoot_thickness_mm, "forefoot_thickness_mm"))
            }
            Value::HeelCupDepth => Ok(cup_depth(ground)),
            Value::RearfootPost => Ok(of_start(ground, start.rearfoot_post_deg, "rearfoot_post_deg")),
            Value::LateralArch => Ok(of_start(ground, start.lateral_arch_mm, "lateral_arch_mm")),
            Value::TransverseArch => Ok(of_start(ground, start.transverse_arch_mm, "transverse_arch_mm")),
            Value::MedialArch => medial_arch(ground, earlier),
            Value::Length => length(ground),
            Value::BallWidth => ball_width(ground),
            Value::HeelWidth => heel_width(ground),
            Value::HeelCupWidth | Value::FlexZoneThickness => Err(vec![]),
        },
    }
}

/// A number of the starting support with its reason there.
fn of_start(ground: &Ground, number: f64, key: &str) -> Base {
    Base {
        number,
        words: format!("starting support {} ({})", ground.start.name, ground.start.title),
        source: reason(ground, key),
        confidence: Confidence::RuleOfThumb,
    }
}

fn reason(ground: &Ground, key: &str) -> String {
    let line = ground.card.lines.iter().find(|line| line.key == key);
    line.map_or_else(|| "shop's own choice".to_owned(), |line| line.why.clone())
}

fn thickness(ground: &Ground, stock: Option<f64>, usual: f64, key: &str) -> Base {
    let cover = ground.measures.making.cover_mm;
    let less = if cover > 0.0 { format!(" less the cover's {cover} mm") } else { String::new() };
    match stock {
        Some(mm) => Base {
            number: mm - cover,
            words: format!("as the stock insole it replaces, {mm} mm{less}: ramp and room stay as they are"),
            source: "thickness is a fit matter; common practice, no source".into(),
            confidence: Confidence::Measured,
        },
        None => of_start(ground, usual, key),
    }
}

fn cup_depth(ground: &Ground) -> Base {
    let (length, reference) = (length_mm(ground), StartingSupport::REFERENCE_LENGTH_MM);
    let depth = ground.start.heel_cup_depth_mm;
    Base {
        number: depth * length / reference,
        words: format!("{depth} mm x {length} / {reference}, starting support {}", ground.start.name),
        source: reason(ground, "heel_cup_depth_mm"),
        confidence: Confidence::RuleOfThumb,
    }
}

fn length_mm(ground: &Ground) -> f64 {
    ground.foot.loaded("length").most_loaded().map_or(f64::NAN, |(_, mm)| mm)
}

/// Standing height plus a share of what the arch drops: the height is measured, the share is chosen.
fn medial_arch(ground: &Ground, earlier: &Suggestions) -> Result<Base, Vec<String>> {
    let arch = ground.foot.loaded("medial_arch");
    let Some(standing) = arch.standing else { return Err(vec!["`medial_arch` standing, and seated".into()]) };
    let share = earlier.get(&Target::ArchShare).and_then(|share| share.suggested).unwrap_or(ground.start.arch_share);
    let real = ground.rules.measure("medial_arch").map_or(0.0, |measure| measure.real_change);
    let source =
        "shop's own choice; arch height does not follow foot length (Hill 2017), so it is never taken from size";
    let (number, words, confidence) = match arch.seated {
        None => (
            standing,
            format!("the standing arch, {standing} mm; its drop was not measured, so nothing is added"),
            Confidence::Roughly,
        ),
        Some(seated) => {
            let drop = seated - standing;
            let (error, confidence) = if drop < real {
                (
                    format!("; the drop of {drop} mm is smaller than the error of measuring it, about {real} mm"),
                    Confidence::RuleOfThumb,
                )
            } else {
                (String::new(), Confidence::Roughly)
            };
            let words = format!("standing {standing} + {share} x (seated {seated} - standing {standing}) mm{error}");
            (standing + share * drop.max(0.0), words, confidence)
        }
    };
    Ok(Base { number, words, source: source.into(), confidence })
}

fn as_stock(mm: f64) -> Base {
    Base {
        number: mm,
        words: format!("as the stock insole it replaces, {mm} mm"),
        source: "it has to lie where that lay; common practice, no source".into(),
        confidence: Confidence::Measured,
    }
}

fn length(ground: &Ground) -> Result<Base, Vec<String>> {
    if let Some(mm) = ground.measures.boot.stock_insole.length {
        return Ok(as_stock(mm));
    }
    let allowance = ground.start.length_allowance_mm;
    let standing = standing(ground, "length", Growing::Length).ok_or_else(|| vec!["`length`".to_owned()])?;
    let words = format!("{} + {allowance} mm, starting support {}", standing.words, ground.start.name);
    Ok(Base { number: standing.number + allowance, words, source: reason(ground, "length_allowance_mm"), ..standing })
}

fn ball_width(ground: &Ground) -> Result<Base, Vec<String>> {
    if let Some(mm) = ground.measures.boot.stock_insole.ball_width {
        return Ok(as_stock(mm));
    }
    Ok(standing(ground, "ball_width", Growing::BallWidth).unwrap_or_else(|| from_line(ground, "ball_width")))
}

fn heel_width(ground: &Ground) -> Result<Base, Vec<String>> {
    let wall = ground.start.heel_wall_mm;
    let heel = standing(ground, "heel_width", Growing::HeelWidth);
    if let Some(mm) = ground.measures.boot.stock_insole.heel_width {
        let foot = heel.map(|heel| format!("; {} and its walls would ask {:.0}", heel.words, heel.number + 2.0 * wall));
        let base = as_stock(mm);
        return Ok(Base { words: format!("{}{}", base.words, foot.unwrap_or_default()), ..base });
    }
    let heel = heel.unwrap_or_else(|| from_line(ground, "heel_width"));
    let words = format!("{} + 2 x {wall} mm of room and wall, starting support {}", heel.words, ground.start.name);
    Ok(Base {
        number: heel.number + 2.0 * wall,
        words,
        source: format!("{}; {}", heel.source, reason(ground, "heel_wall_mm")),
        ..heel
    })
}

/// A measure as it is, or would be, standing.
fn standing(ground: &Ground, name: &str, growing: Growing) -> Option<Base> {
    let measure = ground.foot.loaded(name);
    let (loading, mm) = measure.standing_mm(growing)?;
    let what = name.replace('_', " ");
    let (words, source, confidence) = match loading {
        Loading::Standing => (format!("the standing {what}, {mm} mm"), "measured", Confidence::Measured),
        Loading::Seated => (
            format!("the seated {what} grown to standing, {mm:.1} mm"),
            "half the growth from unloaded to half load of Tsung 2003 (abstract): shop's own choice",
            Confidence::Roughly,
        ),
        Loading::Unloaded => (
            format!("the unloaded {what} grown to standing, {mm:.1} mm"),
            "growth to half load, Tsung 2003, J Rehabil Res Dev 40:517 (abstract)",
            Confidence::Roughly,
        ),
    };
    Some(Base { number: mm, words, source: source.into(), confidence })
}

/// A width that was not measured, from the line through surveyed people.
fn from_line(ground: &Ground, name: &str) -> Base {
    let length = length_mm(ground);
    let what = name.replace('_', " ");
    let people = ground.measures.people;
    let line = |line: &&Line| line.measure == name && people.is_some_and(|people| people == line.people);
    match ground.rules.lines.iter().find(line) {
        Some(line) => Base {
            number: line.slope * length + line.offset,
            words: format!(
                "the {what} was not measured: {} x {length} + {} mm, the line of {}",
                line.slope, line.offset, line.people
            ),
            source: line.source.told(),
            confidence: Confidence::RuleOfThumb,
        },
        None => mean_of_lines(ground, name, &what, length),
    }
}

/// The mean of the lines that there are; those compiled in where the shop has none.
fn mean_of_lines(ground: &Ground, name: &str, what: &str, length: f64) -> Base {
    let lines: Vec<&Line> = ground.rules.lines.iter().filter(|line| line.measure == name).collect();
    let number = match lines.len() {
        0 if name == "ball_width" => usual_ball_width_mm(length),
        0 => usual_heel_width_mm(length),
        count => lines.iter().map(|line| line.slope * length + line.offset).sum::<f64>() / count as f64,
    };
    Base {
        number,
        words: format!(
            "the {what} was not measured: mean of the men's and women's lines at {length} mm, {number:.1} mm"
        ),
        source: "ANSUR II (Gordon 2014); people scatter about either line by 4 to 5 mm (one SD); published".into(),
        confidence: Confidence::RuleOfThumb,
    }
}

/// What was left out of the base and would have served better.
fn missing_base(ground: &Ground, target: Target, told: &mut Suggestion) {
    let insole = &ground.measures.boot.stock_insole;
    let foot = |name: &str| ground.foot.loaded(name).standing.is_none();
    let mut say = |is_missing: bool, words: &str| {
        if is_missing && !told.missing.iter().any(|said| said == words) {
            told.missing.push(words.to_owned());
        }
    };
    match target {
        Target::Value(Value::HeelThickness) => {
            say(insole.heel_thickness.is_none(), "`heel_thickness` of the stock insole");
        }
        Target::Value(Value::ForefootThickness) => {
            say(insole.ball_thickness.is_none(), "`ball_thickness` of the stock insole");
        }
        Target::Value(Value::MedialArch) => {
            say(ground.foot.loaded("medial_arch").seated.is_none(), "`medial_arch` seated");
        }
        Target::Value(Value::Length) => say(insole.length.is_none() && foot("length"), "`length` standing"),
        Target::Value(Value::BallWidth) => {
            say(insole.ball_width.is_none() && foot("ball_width"), "`ball_width` standing");
        }
        Target::Value(Value::HeelWidth) => say(foot("heel_width"), "`heel_width` standing"),
        _ => {}
    }
}

/// Rounded to what is printed; never minus zero.
pub(super) fn hundredths(x: f64) -> f64 {
    (100.0 * x).round() / 100.0 + 0.0
}
