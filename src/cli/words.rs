//! Words for a terminal of 80 columns.

use std::path::Path;

use crate::carve::Violation;
use crate::frame::Side;
use crate::limits::Finding;
use crate::value::figure;

/// Columns that every terminal has.
pub(super) const COLUMNS: usize = 80;

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
    let accepted = accepted(finding, reason);
    let head = format!("{}: {}{place}{accepted}", finding.severity.name(), finding.message);
    // A reason that is typed is not asked for again.
    let advice = match accepted.is_empty() {
        true => finding.advice.clone(),
        false => finding.advice.replace(", or type a reason", "").replace(" or type a reason", ""),
    };
    format!("{}\n{}", wrapped("  ", &head), wrapped("     -> ", &advice))
}

/// What is said behind a stop that a typed reason accepts; nothing behind anything else.
pub(super) fn accepted(finding: &Finding, reason: Option<&str>) -> String {
    finding.accepted_by(reason).map_or(String::new(), |reason| format!(" [accepted: {reason}]"))
}

/// What is found of one foot, under its name; nothing where nothing is.
pub(super) fn findings(side: Side, findings: &[Finding], reason: Option<&str>) -> Vec<String> {
    let head = (!findings.is_empty()).then(|| foot(side));
    head.into_iter().chain(findings.iter().map(|one| finding(one, reason))).collect()
}

/// A foot's name over what is told of it.
pub(super) fn foot(side: Side) -> String {
    format!("  {} foot", side.name())
}

/// A caution that has no place.
pub(super) fn caution(words: &str) -> String {
    wrapped("  ", &format!("caution: {words}"))
}

/// What a proof objects to: which line of which program, and why. What one line did is told once, by the worst
/// place of each kind.
pub(super) fn violations(violations: &[Violation]) -> Vec<String> {
    let mut told: Vec<(&Violation, Vec<(&Violation, usize)>)> = vec![];
    for violation in violations {
        let same =
            |other: &Violation| violation.line > 0 && (&other.file, other.line) == (&violation.file, violation.line);
        match told.iter_mut().find(|(first, _)| same(first)) {
            None => told.push((violation, vec![(violation, 0)])),
            Some((_, kinds)) => match kinds.iter_mut().find(|(first, _)| first.kind == violation.kind) {
                None => kinds.push((violation, 0)),
                Some((_, more)) => *more += 1,
            },
        }
    }
    told.iter().map(|(first, kinds)| one_line(first, kinds)).collect()
}

/// One line of a program and all that is wrong with it.
fn one_line(first: &Violation, kinds: &[(&Violation, usize)]) -> String {
    let line = if first.line > 0 { format!(":{}", first.line) } else { String::new() };
    let messages: Vec<String> = kinds
        .iter()
        .map(|(worst, more)| match more {
            0 => worst.message.clone(),
            1 => format!("{} (and less so at another place)", worst.message),
            n => format!("{} (and less so at {n} other places)", worst.message),
        })
        .collect();
    wrapped("  ", &format!("refused: {}{line}: {}", first.file, messages.join("; also ")))
}

/// A figure or a few words behind what they are of.
pub(super) fn row(name: &str, words: &str) -> String {
    wrapped(&format!("  {name:<30} "), words)
}

/// A share of the time in moves that cut, or a dash.
pub(super) fn share(share: Option<f64>) -> String {
    share.map_or("-".into(), |share| format!("{:.0} % of the time that cuts", 100.0 * share))
}

/// A figure in hundredths, or a dash.
pub(super) fn hundredths(x: Option<f64>) -> String {
    x.map_or("-".into(), |x| figure(x, 2))
}

/// Rounded to what a ticket is written in at its finest, without trailing zeros.
pub(super) fn thousandths(x: f64) -> f64 {
    (1000.0 * x).round() / 1000.0 + 0.0
}

/// A path for a person to read: what would steer a terminal stands as a question mark.
pub(super) fn shown(path: &Path) -> String {
    path.display().to_string().chars().map(|c| if c.is_control() { '?' } else { c }).collect()
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
    use crate::carve::ViolationKind;

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

    /// One line that was edited was told four times.
    #[test]
    fn what_one_line_did_is_told_once() {
        let one = |kind: ViolationKind, line: usize, message: &str| Violation {
            kind,
            file: "a.ngc".into(),
            line,
            at_mm: [0.0; 3],
            measured: 1.0,
            allowed: 0.1,
            message: message.into(),
        };
        let told = violations(&[
            one(ViolationKind::Gouge, 41, "cut 0.6 mm too deep"),
            one(ViolationKind::Gouge, 41, "cut 0.5 mm too deep"),
            one(ViolationKind::Gouge, 52, "cut 0.4 mm too deep"),
            one(ViolationKind::Gouge, 41, "cut 0.3 mm too deep"),
            one(ViolationKind::Thin, 41, "too thin"),
            one(ViolationKind::NotCutFree, 0, "one side"),
            one(ViolationKind::NotCutFree, 0, "the other"),
        ]);
        let words = "refused: a.ngc:41: cut 0.6 mm too deep (and less so at 2 other places); also too thin";
        assert!(told[0].split_whitespace().eq(words.split_whitespace()), "{told:?}");
        assert_eq!(
            &told[1..],
            ["  refused: a.ngc:52: cut 0.4 mm too deep", "  refused: a.ngc: one side", "  refused: a.ngc: the other"]
        );
    }
}
