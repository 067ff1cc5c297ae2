//! From measured feet to a ticket with starting values: what the measures deserve to be asked, what
//! follows from them by published definitions, which signs come first, and every value with its rule,
//! inputs, range, confidence and source. Knows no files.
//!
//! The rules are data (`profiles/rules/`); here is only what they are applied to.

mod adjust;
mod chain;
mod derived;
mod facts;
mod footprint;
pub mod guided;
mod measures;
mod questions;
mod suggest;
mod write;

use std::collections::BTreeMap;

use serde::Serialize;

use crate::frame::Side;
use crate::job::{self, CheckReport, JobError};
use crate::profile::rules::{Class, Fact, Facts, Met, Rules, Source, Target, all_met};
use crate::profile::{Kind, Shelf, Unknown};
use crate::ticket::{self, Problems, RaisedFlag, Ticket, Underside};

pub use adjust::{AdjustError, Adjustment, Refusal, adjust};
pub use chain::chain;
pub use derived::{Mondopoint, arch_height_index, arch_stiffness, mondopoint};
pub use facts::{class_of, facts};
pub use footprint::{Footprint, arch_index, footprint};
pub use measures::{MeasuredFoot, Measures, Wanted, read};
pub use questions::Asked;
pub use suggest::{Confidence, Ground, Step, Suggestion, Suggestions, allowed_drop, suggest};

/// The page to fill in.
pub const TEMPLATE: &str = include_str!("template.toml");

/// What became of a file of measures.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Intake {
    /// Whose.
    pub code: String,
    /// Referral flags, those that stop first.
    pub flags: Vec<FlagReport>,
    /// Whether a flag that stops was not cleared: then no shape is suggested.
    pub stopped: bool,
    /// What the measures deserve to be asked.
    pub questions: Vec<Asked>,
    /// Differences that are smaller than their own error, in words.
    pub within_error: Vec<Asked>,
    /// One or two feet, left first.
    pub feet: Vec<FootIntake>,
    /// What was not measured, and which values it would move.
    pub missing: Vec<Missing>,
    /// Why there is no ticket; empty when there is one.
    pub no_ticket: Vec<String>,
    /// How it is to be made, in words with the source.
    pub making: Vec<String>,
    /// The ticket's text.
    #[serde(skip)]
    pub ticket: Option<String>,
}

/// A referral flag as told.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct FlagReport {
    pub name: String,
    pub words: String,
    pub stops: bool,
    pub cleared: Option<String>,
    pub source: String,
}

/// One foot's derived measures and values.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct FootIntake {
    pub side: Side,
    pub derived: Vec<DerivedReport>,
    /// In the order of tables; empty when a flag stops.
    pub values: Vec<Suggestion>,
}

/// A derived measure as told.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DerivedReport {
    /// Its name.
    pub name: String,
    /// The number as printed, or a size such as `265/98`.
    pub value: String,
    /// Its class; `null` when no cut-offs are used.
    pub class: Option<String>,
    /// The classes' cut-offs in words; empty when none are used.
    pub cut_offs: String,
    /// How it is defined.
    pub definition: String,
    /// What it is not.
    pub is_not: String,
    /// What another reading of the same foot may change of it, in words; empty where it is not known.
    pub error: String,
    /// Where the cut-offs come from.
    pub source: String,
}

/// Something that was not measured.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Missing {
    /// What, in words.
    pub input: String,
    /// The values that it would move or make surer.
    pub would_change: Vec<String>,
}

/// Why there is no intake at all.
#[derive(Clone, Debug, thiserror::Error)]
pub enum IntakeError {
    /// The measures cannot be read, or cannot be of one foot.
    #[error("{0}")]
    Measures(#[from] Problems),
    /// A rule names a profile that is not on the shelf.
    #[error("{0}")]
    Unknown(#[from] Unknown),
    /// What was suggested makes no ticket.
    #[error("the suggested values make no ticket: {0}; look at the ranges of the rules")]
    Ticket(Problems),
}

/// The intake of a file of measures. `beside` gives the text of a drawing that it names.
///
/// # Errors
/// Measures that cannot be read or are impossible, each with its line; rules that name what is not
/// there.
pub fn intake(
    text: &str,
    file_name: &str,
    shelf: &Shelf,
    beside: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Intake, IntakeError> {
    let measures = measures::read(text, file_name, shelf, beside)?;
    let rules = shelf.rules();
    let feet: Vec<Facts> = measures.feet.iter().map(|foot| facts(&measures, foot, &rules.classes)).collect();
    let (questions, within_error) = questions::ask(&measures, &feet, &rules, file_name, text)?;
    let flags = raised(&measures, &feet, &rules);
    let stopped = measures.cleared.is_none() && flags.iter().any(|(flag, _)| flag.stops);
    let report = |(flag, source): &(RaisedFlag, Source)| FlagReport {
        name: flag.name.clone(),
        words: flag.words.clone(),
        stops: flag.stops,
        cleared: measures.cleared.clone().filter(|_| flag.stops),
        source: source.told(),
    };
    let mut intake = Intake {
        code: measures.code.clone(),
        flags: flags.iter().map(report).collect(),
        stopped,
        questions,
        within_error,
        feet: vec![],
        missing: vec![],
        no_ticket: vec![],
        making: vec![],
        ticket: None,
    };
    let raised: Vec<RaisedFlag> = flags.into_iter().map(|(flag, _)| flag).collect();
    fill(&mut intake, &measures, &feet, &rules, shelf, &raised)?;
    if let Some(text) = &intake.ticket {
        ticket::read(text, "the suggested ticket", shelf, beside).map_err(IntakeError::Ticket)?;
    }
    Ok(intake)
}

/// Flags that were written and those that the facts raise, those that stop first.
fn raised(measures: &Measures, feet: &[Facts], rules: &Rules) -> Vec<(RaisedFlag, Source)> {
    let written = |name: &str| measures.flags.iter().any(|flag| flag.name == name);
    let by_facts = |when: &[_]| !when.is_empty() && feet.iter().any(|facts| all_met(when, facts) == Met::Yes);
    let is_raised = rules.flags.iter().filter(|flag| written(&flag.name) || by_facts(&flag.when));
    let mut all: Vec<(RaisedFlag, Source)> =
        is_raised.map(|flag| (RaisedFlag::of(flag), flag.source.clone())).collect();
    all.sort_by_key(|(flag, _)| !flag.stops);
    all
}

fn fill(
    intake: &mut Intake,
    measures: &Measures,
    feet: &[Facts],
    rules: &Rules,
    shelf: &Shelf,
    flags: &[RaisedFlag],
) -> Result<(), IntakeError> {
    let making = write::making(measures, rules, shelf)?;
    let (start, card) = (shelf.support(&measures.usage)?, shelf.card(Kind::Support, &measures.usage)?);
    let material = shelf.material(&making.material)?;
    let mut missing: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (foot, facts) in measures.feet.iter().zip(feet) {
        let mut values = vec![];
        if !intake.stopped {
            let ground = Ground { measures, foot, facts, rules, start, card, material };
            let all = suggest(&ground);
            let drop = allowed_drop(&ground, &all);
            note_missing(&mut missing, &all);
            values.extend(all.into_iter().filter(|(target, _)| matches!(target, Target::Value(_))).map(|(_, s)| s));
            values.extend(drop);
        }
        intake.feet.push(FootIntake { side: foot.side, derived: derived_reports(foot, facts, rules), values });
    }
    if measures.weight_kg.is_none() && !intake.stopped {
        missing.entry("`weight`".into()).or_default().push("flex zone thickness".into());
    }
    intake.missing = missing.into_iter().map(|(input, would_change)| Missing { input, would_change }).collect();
    let making = making.with_blank(rules, shelf, &intake.feet)?;
    intake.making = making.words.clone();
    intake.no_ticket = no_ticket(intake);
    if intake.no_ticket.is_empty() {
        intake.ticket = Some(write::ticket(measures, &making, intake, flags));
    }
    Ok(())
}

/// What each missing measure would change, value by value, both feet together.
fn note_missing(missing: &mut BTreeMap<String, Vec<String>>, all: &Suggestions) {
    for (target, suggestion) in all {
        for input in &suggestion.missing {
            let would = missing.entry(input.clone()).or_default();
            let name = match target {
                Target::ArchShare => "medial arch".to_owned(),
                Target::AllowedGive => "flex zone thickness".to_owned(),
                Target::Value(value) => value.words(),
            };
            if !would.contains(&name) {
                would.push(name);
            }
        }
    }
}

/// Why no ticket can be made of what is known.
fn no_ticket(intake: &Intake) -> Vec<String> {
    if intake.stopped {
        let stops = intake.flags.iter().filter(|flag| flag.stops);
        return stops
            .map(|flag| {
                format!(
                    "{}: no shape is suggested; a clinician sees this first. Who has said that a footbed may be made, and \
                     when, goes under [person] as cleared",
                    flag.words
                )
            })
            .collect();
    }
    let unknown =
        intake.feet.iter().filter(|foot| foot.values.iter().any(|v| v.name == "medial_arch" && v.suggested.is_none()));
    unknown
        .map(|foot| {
            format!(
                "how high is the {} foot's medial arch? Measure `medial_arch` standing, better seated as well: arch height \
                 does not follow foot length (Hill 2017), so it is not filled in from size",
                foot.side.name()
            )
        })
        .collect()
}

fn derived_reports(foot: &MeasuredFoot, facts: &Facts, rules: &Rules) -> Vec<DerivedReport> {
    let of_class = rules.classes.iter().filter_map(|class| {
        let Some(Fact::Number(number)) = facts.get(&class.name) else { return None };
        let digits = match class.name.as_str() {
            "posture_index" | "navicular_drop" | "navicular_height" | "arch_stiffness" => 0,
            _ => 3,
        };
        Some(DerivedReport {
            name: class.name.clone(),
            value: format!("{number:.digits$}"),
            class: class_of(class, facts).map(|word| word.replace('_', " ")),
            cut_offs: cut_offs(class),
            definition: class.definition.clone(),
            is_not: class.is_not.clone(),
            error: error_words(class, *number, facts, rules),
            source: class.source.told(),
        })
    });
    size(foot).into_iter().chain(of_class).collect()
}

/// What the error of the measures behind a derived one does to it.
fn error_words(class: &Class, number: f64, facts: &Facts, rules: &Rules) -> String {
    let real = |name: &str| rules.measure(name).map(|measure| measure.real_change);
    let known = |name: &str| match facts.get(name) {
        Some(Fact::Number(number)) => Some(*number),
        _ => None,
    };
    let error = match class.name.as_str() {
        "navicular_drop" | "navicular_height" => real("navicular"),
        "posture_index" => real("posture_index"),
        "arch_height_index" => real("dorsal_arch").zip(known("first_met")).map(|(mm, length)| mm / length),
        "arch_stiffness" => {
            // Two heights of the same scatter: the fall of the index is off by root two of one.
            let fall = known("arch_height_index_seated").zip(known("arch_height_index")).map(|(a, b)| a - b);
            let one = real("dorsal_arch").zip(known("first_met")).map(|(mm, length)| mm / length);
            let share = one.zip(fall).map(|(one, fall)| (100.0 * std::f64::consts::SQRT_2 * one / fall).round());
            return share.map_or_else(String::new, |share| match share {
                s if s >= 100.0 => {
                    "the fall of the index is smaller than its error: nothing is to be read from it".into()
                }
                s => format!("good to {s:.0} % either way"),
            });
        }
        _ => None,
    };
    let Some(error) = error else { return String::new() };
    let own = class_of(class, facts);
    let beside = [number - error, number + error].into_iter().find_map(|moved| {
        let mut other = facts.clone();
        other.insert(class.name.clone(), Fact::Number(moved));
        class_of(class, &other).filter(|word| Some(*word) != own)
    });
    let digits = if error < 0.5 { 3 } else { 0 };
    beside.map_or_else(String::new, |word| {
        format!("its error of {error:.digits$} is enough for {} as well", word.replace('_', " "))
    })
}

fn cut_offs(class: &Class) -> String {
    let bands = class.bands.iter().map(|(word, condition)| format!("{} {}", word.replace('_', " "), condition.test));
    let rest = (!class.otherwise.is_empty()).then(|| format!("else {}", class.otherwise.replace('_', " ")));
    bands.chain(rest).collect::<Vec<_>>().join("; ")
}

fn size(foot: &MeasuredFoot) -> Option<DerivedReport> {
    let (_, length) = foot.loaded("length").most_loaded()?;
    let size = mondopoint(length, foot.loaded("ball_width").most_loaded().map(|(_, mm)| mm))?;
    let width = size.width_mm.map_or_else(|| "width not measured".to_owned(), |mm| mm.to_string());
    Some(DerivedReport {
        name: "mondopoint".into(),
        value: format!("{}/{width}", size.length_mm),
        class: None,
        cut_offs: String::new(),
        definition: "foot length to the nearest 5 mm and ball width to the nearest mm, halves up (ISO 9407)".into(),
        is_not: "the boot to order: shells are fitted to the foot, and close ones are often chosen shorter".into(),
        error: String::new(),
        source: "ISO 9407; the nearest size is the shop's own rounding rule".into(),
    })
}

/// The ticket of an intake as it stands against every limit; with a relieved underside its flex-zone
/// thickness first follows weight and material.
///
/// # Errors
/// A ticket that cannot be read, or of which no surface can be made.
pub fn judged(
    intake: &mut Intake,
    shelf: &Shelf,
    beside: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Option<CheckReport>, JudgeError> {
    let Some(text) = intake.ticket.clone() else { return Ok(None) };
    let ticket = ticket::read(&text, "the suggested ticket", shelf, beside)?;
    let report = job::check(&ticket)?;
    let flexed = flex_zones(intake, &ticket, &report);
    if flexed.is_empty() {
        return Ok(Some(report));
    }
    let text = write::with_flex_zones(&text, &flexed);
    let ticket = ticket::read(&text, "the suggested ticket", shelf, beside)?;
    let report = job::check(&ticket)?;
    intake.ticket = Some(text);
    Ok(Some(report))
}

/// Why an intake's ticket could not be judged.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum JudgeError {
    #[error("the suggested values make no ticket: {0}")]
    Ticket(#[from] Problems),
    #[error("the suggested values make no footbed: {0}")]
    Job(#[from] JobError),
}

/// Flex-zone thicknesses as the plate under load gives them, noted among the values.
fn flex_zones(intake: &mut Intake, ticket: &Ticket, report: &CheckReport) -> Vec<(Side, f64)> {
    let relieved = ticket.make.underside == Underside::Relieved;
    let mut found = vec![];
    for foot in &report.feet {
        let figures = foot.flex.figures.as_ref();
        let Some(suggestion) = figures.and_then(|figures| figures.suggestion.as_ref()) else { continue };
        let told = intake.feet.iter_mut().find(|told| told.side == foot.side);
        let value = told.and_then(|told| told.values.iter_mut().find(|value| value.name == "flex_zone_thickness"));
        let Some(value) = value else { continue };
        let kg = ticket.wearer.weight_kg.unwrap_or_default();
        let words = format!("{kg} kg {} in {}: {}", foot.flex.load_title, ticket.make.material.name, suggestion.words);
        let source = "plate under load, docs/flex.md: a comparison, no promise; derived".to_owned();
        let least = ticket.make.material.least.flex_zone + ticket.make.material.sanding_mm;
        let thickness = suggestion.nearest_mm;
        value.steps.push(Step { words, result: suggest::hundredths(thickness), unit: "mm", source });
        if relieved {
            value.suggested = Some(suggest::hundredths(thickness));
            value.range = Some([least, 15.0]);
            value.confidence = Confidence::Roughly;
            found.push((foot.side, thickness));
        }
    }
    found
}
