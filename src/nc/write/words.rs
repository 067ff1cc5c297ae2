//! Numbers and comment words in the only characters that every known controller passes over.

use crate::kernel::Shape;
use crate::path::Step;
use crate::profile::Cutter;

/// Thousandths as a decimal number without trailing zeros; never `-0`.
pub(super) fn thousandths(n: i64) -> String {
    let sign = if n < 0 { "-" } else { "" };
    let (whole, part) = (n.unsigned_abs() / 1000, n.unsigned_abs() % 1000);
    if part == 0 {
        return format!("{sign}{whole}");
    }
    format!("{sign}{whole}.{part:03}").trim_end_matches('0').to_string()
}

/// The words in upper case, without apostrophes, with everything else that is not plain replaced by
/// a space, and runs of spaces made one. What stays is enough for words, numbers and file names, and nothing that any
/// known controller acts on.
pub(in crate::nc) fn plain(words: &str) -> String {
    let keep = |c: char| if c.is_ascii_alphanumeric() || ".,:+=/-_".contains(c) { c.to_ascii_uppercase() } else { ' ' };
    words.chars().filter(|c| *c != '\'').map(keep).collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Lines of at most `room` characters, broken at spaces where there are any. ASCII only.
pub(super) fn wrapped(text: &str, room: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ') {
        if !line.is_empty() && line.len() + 1 + word.len() > room {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for c in word.chars() {
            if line.len() == room {
                lines.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
    }
    lines.push(line);
    lines
}

pub(super) fn step_words(step: Step) -> &'static str {
    match step {
        Step::Rough => "rough",
        Step::Finish => "finish",
        Step::Perimeter => "perimeter",
        Step::Frame => "frame, a dry run with the spindle off",
    }
}

pub(super) fn cutter_words(cutter: &Cutter) -> String {
    let (flutes, out) = (cutter.flutes, short(cutter.stickout_mm));
    format!("{}, {flutes} flutes, {out} mm out", cutter_form(cutter))
}

/// Its name and its form.
pub(in crate::nc) fn cutter_form(cutter: &Cutter) -> String {
    let shape = match cutter.shape {
        Shape::Flat { radius } => format!("flat, diameter {}", short(2.0 * radius)),
        Shape::Ball { radius } => format!("ball, diameter {}", short(2.0 * radius)),
        Shape::Bull { radius, corner } => {
            format!("bull-nose, diameter {}, corner {}", short(2.0 * radius), short(corner))
        }
        Shape::Taper { tip, half_angle_rad, radius } => format!(
            "tapered ball, tip diameter {}, half angle {} deg, diameter {}",
            short(2.0 * tip),
            short(half_angle_rad.to_degrees()),
            short(2.0 * radius)
        ),
    };
    format!("{}, {shape} mm", cutter.name)
}

/// A number with at most three decimals.
fn short(value: f64) -> String {
    thousandths((value * 1000.0).round() as i64)
}

pub(super) fn time_words(seconds: f64) -> String {
    let tenths = (seconds / 6.0).round() as i64;
    format!("about {} min", thousandths(tenths * 100))
}
