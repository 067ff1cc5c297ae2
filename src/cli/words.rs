//! Words for a terminal of 80 columns.

use crate::carve::Violation;
use crate::limits::{Finding, Severity};

/// Columns that every terminal has.
const COLUMNS: usize = 80;

/// `text` broken at spaces to fit the terminal: `first` stands before the first line, and as many
/// spaces before the others. A word that is too long for a line stands alone.
pub(super) fn wrapped(first: &str, text: &str) -> String {
    let indent = " ".repeat(first.chars().count());
    let mut lines = vec![];
    let mut line = first.to_string();
    let mut used = 0;
    for word in text.split_whitespace() {
        let gap = usize::from(used > 0);
        if used > 0 && line.chars().count() + gap + word.chars().count() > COLUMNS {
            lines.push(std::mem::replace(&mut line, indent.clone()));
            used = 0;
        }
        if used > 0 {
            line.push(' ');
        }
        line.push_str(word);
        used += 1;
    }
    lines.push(line);
    lines.join("\n")
}

/// A finding: what, where, and what to change.
pub(super) fn finding(finding: &Finding, reason: Option<&str>) -> String {
    let place = match (finding.at_mm, finding.station) {
        (Some([x, y]), Some(station)) => {
            format!(", at x {x:.0} y {y:.0} mm ({:.0} % of the foot)", 100.0 * station)
        }
        _ => String::new(),
    };
    let accepted = match reason {
        Some(reason) if finding.severity == Severity::Stop && !finding.blocks(Some(reason)) => {
            format!(" [accepted: {reason}]")
        }
        _ => String::new(),
    };
    let head = format!("{}: {}{place}{accepted}", finding.severity.name(), finding.message);
    format!("{}\n{}", wrapped("  ", &head), wrapped("     -> ", &finding.advice))
}

/// What a proof objects to: which line of which program, and why.
pub(super) fn violation(violation: &Violation) -> String {
    let line = if violation.line > 0 { format!(":{}", violation.line) } else { String::new() };
    wrapped("  refused: ", &format!("{}{line}: {}", violation.file, violation.message))
}

/// A share of the time in moves that cut, or a dash.
pub(super) fn share(share: Option<f64>) -> String {
    share.map_or("-".into(), |share| format!("{:.0} % of the time that cuts", 100.0 * share))
}

/// Rounded to what is printed, so that nothing prints as minus zero.
pub(super) fn hundredths(x: f64) -> f64 {
    (100.0 * x).round() / 100.0 + 0.0
}

/// Rounded to what a ticket is written in at its finest, without trailing zeros.
pub(super) fn thousandths(x: f64) -> f64 {
    (1000.0 * x).round() / 1000.0 + 0.0
}

/// "a, b and c".
pub(super) fn listed(all: &[String], last: &str) -> String {
    match all {
        [] => "nothing".into(),
        [one] => one.clone(),
        [first @ .., end] => format!("{} {last} {end}", first.join(", ")),
    }
}

/// A figure in mm, or a dash.
pub(super) fn mm(figure: Option<f64>) -> String {
    figure.map_or("-".into(), |figure| format!("{figure:.3} mm"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_and_no_word_is_lost() {
        let text =
            "the heel cup is 60.7 mm wide at half depth; the standing heel is 68 mm: too narrow cannot be ground away";
        let shown = wrapped("     -> ", text);
        assert!(shown.lines().count() == 2 && shown.lines().all(|line| line.chars().count() <= COLUMNS), "{shown}");
        assert!(shown.starts_with("     -> the heel") && shown.contains("\n        "));
        assert!(shown.trim_start_matches("     -> ").split_whitespace().eq(text.split_whitespace()));
        assert_eq!(wrapped("  ", &"x".repeat(200)), format!("  {}", "x".repeat(200)));
        assert_eq!(wrapped("  ", ""), "  ");
    }
}
