//! The whole chain of one starting value in words.

use super::{Intake, Suggestion};
use crate::profile::rules::Strength;
use crate::written::suggest;

/// Sentences that lead from the measures to a value, foot by foot.
///
/// # Errors
/// What values there are, when there is none of this name.
pub fn chain(intake: &Intake, name: &str) -> Result<Vec<String>, String> {
    let known: Vec<&str> = intake.feet.iter().flat_map(|foot| &foot.values).map(|value| value.name).collect();
    if intake.stopped {
        return Ok(intake.no_ticket.clone());
    }
    if !known.contains(&name) {
        let mut unique = known.clone();
        unique.sort_unstable();
        unique.dedup();
        let help = match suggest(name, known.iter().copied()) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("there are {}", unique.join(", ")),
        };
        return Err(format!("no value \"{}\" was suggested; {help}", crate::written::shortened(name)));
    }
    let mut lines = vec![];
    for foot in &intake.feet {
        for value in foot.values.iter().filter(|value| value.name == name) {
            lines.push(format!("{} foot, {}: {}", foot.side.name(), value.name.replace('_', " "), end(value)));
            lines.extend(told(value));
        }
    }
    Ok(lines)
}

fn end(value: &Suggestion) -> String {
    let unit = if value.unit.is_empty() { String::new() } else { format!(" {}", value.unit) };
    match value.suggested {
        None => "not suggested".to_owned(),
        Some(number) => {
            let range = value.range.map_or_else(String::new, |[a, b]| format!(", range {a} to {b}"));
            format!("{number}{unit}{range}; {}", value.confidence.words())
        }
    }
}

fn told(value: &Suggestion) -> Vec<String> {
    let mut lines: Vec<String> = value
        .steps
        .iter()
        .enumerate()
        .map(|(k, step)| {
            format!("{}. {} -> {} {} [{}]", k + 1, step.words, step.result, step.unit, step.source).replace("  [", " [")
        })
        .collect();
    if value.steps.is_empty() {
        lines.push(left_out(value.name).to_owned());
    }
    lines.extend(value.not_applied.iter().map(|words| format!("did not apply: {words}")));
    lines.extend(value.missing.iter().map(|input| format!("not measured, and would have its say: {input}")));
    lines.push(match value.steps.iter().any(|step| step.source.contains(Strength::Own.words())) {
        true => {
            "some of this is the shop's own choice: a start to be tried, and changed by 1 mm or 1 degree".to_owned()
        }
        false => "a start to be tried, and changed by 1 mm or 1 degree".to_owned(),
    });
    lines
}

/// Why a value is left to follow from the others.
fn left_out(name: &str) -> &'static str {
    match name {
        "heel_cup_width" => {
            "left to outline and cup: the outline's heel is as wide as the standing heel with its room and walls; what the \
             cup reads at half its depth `sustent check` tells against the standing heel"
        }
        "flex_zone_thickness" => {
            "left out: with a flat underside it follows from the arch; with underside = \"relieved\", weight and a real drop \
             it is worked out from the plate under load"
        }
        _ => "nothing to start from",
    }
}
