//! The tables of the job sheet as words: values, effect in the boot, rules, programs. Knows nothing
//! of where they stand on the page.

use serde::Serialize;

use super::data::{DrawnFoot, ProgramRow, SheetData};
use super::dimension;
use super::ink;
use crate::nc::BoundedBy;
use crate::value::{Value, figure};

/// Asked and read back agree to this, mm or deg: a hundredth is what the table prints.
const READ_BACK_TOLERANCE: f64 = 0.01 + 1e-9;

/// A row of the table of values, a cell for each foot.
#[derive(Serialize)]
pub struct ValueLine {
    pub words: String,
    pub unit: &'static str,
    pub feet: Vec<Option<ValueCell>>,
}

/// One value of one foot, as text.
#[derive(Serialize)]
pub struct ValueCell {
    pub asked: String,
    pub filled_in: bool,
    pub read_back: String,
    /// Whether the design misses what was asked by more than it may.
    pub missed: bool,
    pub carved: String,
    pub range: String,
}

/// The values that either foot has, in the order of tables.
pub fn value_rows(feet: &[DrawnFoot]) -> Vec<ValueLine> {
    let cell = |foot: &DrawnFoot, value: Value| {
        foot.values.iter().find(|r| r.value == value).map(|row| ValueCell {
            asked: row.asked.map_or("\u{2013}".into(), dimension::asked_text),
            filled_in: row.rule.is_some(),
            read_back: figure(row.read_back, 2),
            missed: row.asked.is_some_and(|asked| (row.read_back - asked).abs() > READ_BACK_TOLERANCE),
            carved: row.carved.map_or("\u{2013}".into(), |v| format!("{v:.2}")),
            range: row.range.map_or("\u{2013}".into(), |(a, b)| range_text(a, b)),
        })
    };
    let line = |value: Value| ValueLine {
        words: value.words(),
        unit: value.unit(),
        feet: feet.iter().map(|f| cell(f, value)).collect(),
    };
    Value::ALL.into_iter().map(line).filter(|l| l.feet.iter().any(Option::is_some)).collect()
}

/// A row of the effect in the boot.
#[derive(Serialize)]
pub struct BootLine {
    pub words: String,
    pub unit: &'static str,
    pub feet: Vec<String>,
}

/// The effect in the boot, one row for each thing that either foot tells.
pub fn boot_rows(feet: &[DrawnFoot]) -> Vec<BootLine> {
    let mut names: Vec<(&str, &'static str)> = Vec::new();
    for row in feet.iter().flat_map(|f| &f.boot) {
        if !names.contains(&(row.words.as_str(), row.unit)) {
            names.push((&row.words, row.unit));
        }
    }
    let told = |foot: &DrawnFoot, words: &str| {
        let row = foot.boot.iter().find(|r| r.words == words);
        row.and_then(|r| r.value).map_or("unknown".to_string(), signed)
    };
    let line = |(words, unit): (&str, &'static str)| BootLine {
        words: words.to_string(),
        unit,
        feet: feet.iter().map(|f| told(f, words)).collect(),
    };
    names.into_iter().map(line).collect()
}

/// A range in tenths, rounded inward, so that what is printed can be asked for; one that is narrower than that as the one
/// value that it is. The hair keeps whole tenths whole.
fn range_text(lo: f64, hi: f64) -> String {
    let hair = 1e-6;
    let inward = ((lo * 10.0 - hair).ceil() / 10.0, (hi * 10.0 + hair).floor() / 10.0);
    match inward {
        (least, most) if least < most => format!("{}\u{2026}{}", ink::coarse(least), ink::coarse(most)),
        (least, most) if least == most => ink::coarse(least),
        _ if lo <= hi => ink::coarse(0.5 * (lo + hi)),
        _ => "none".into(),
    }
}

/// A change, with its sign; two decimals at most.
fn signed(v: f64) -> String {
    let text = ink::coarse(v);
    if v > 0.0 && text != "0" { format!("+{text}") } else { text }
}

/// The rules that filled in values, each once, with the feet it was used for.
pub fn rules(feet: &[DrawnFoot]) -> Vec<String> {
    let mut told: Vec<(String, String)> = Vec::new();
    for foot in feet {
        for (row, rule) in foot.values.iter().filter_map(|r| r.rule.as_ref().map(|rule| (r, rule))) {
            let text = format!("{}: {rule}", row.value.words());
            match told.iter_mut().find(|(known, _)| *known == text) {
                Some((_, letters)) => letters.push(foot.side.letter()),
                None => told.push((text, foot.side.letter().to_string())),
            }
        }
    }
    let all = feet.len();
    told.into_iter().map(|(text, on)| if on.len() == all { text } else { format!("{text} ({on})") }).collect()
}

/// Programs in the order in which they run.
#[derive(Serialize)]
pub struct ProgramTable {
    pub prefix: String,
    pub rows: Vec<ProgramLine>,
    /// Time in all and what it goes into, as words.
    /// The same with both feet side by side, instead of `rows`, where a pair has many.
    pub steps: Vec<StepLine>,
    pub total: String,
}

/// One step of both feet, as text.
#[derive(Serialize)]
pub struct StepLine {
    pub name: String,
    pub cutter: String,
    pub in_air: bool,
    /// Time and checksum of each foot's program.
    pub feet: Vec<(String, String)>,
}

/// A foot has so many programs before those of a pair stand side by side.
const MANY: usize = 5;

/// Steps of a pair side by side; none for one foot, for few programs, or where the feet differ.
fn step_lines(feet: &[DrawnFoot], prefix: usize) -> Vec<StepLine> {
    let [left, right] = feet else { return vec![] };
    // After the job's part every name begins with the side's letter and a dash.
    let name = |p: &ProgramRow| p.file.get(prefix + 2..).unwrap_or(&p.file).to_string();
    let alike = left.programs.len() == right.programs.len()
        && left.programs.iter().zip(&right.programs).all(|(l, r)| name(l) == name(r) && l.cutter == r.cutter);
    if left.programs.len() < MANY || !alike {
        return vec![];
    }
    let cell = |p: &ProgramRow| (clock(p.time_s), short(&p.sha256));
    let line = |(l, r): (&ProgramRow, &ProgramRow)| StepLine {
        name: name(l),
        cutter: l.cutter.clone(),
        in_air: l.in_air,
        feet: vec![cell(l), cell(r)],
    };
    left.programs.iter().zip(&right.programs).map(line).collect()
}

impl ProgramTable {
    /// Rows without head and foot.
    pub fn height(&self) -> usize {
        if self.steps.is_empty() { self.rows.len() } else { self.steps.len() + 1 }
    }
}

/// One program, as text.
#[derive(Serialize)]
pub struct ProgramLine {
    pub order: usize,
    pub file: String,
    pub cutter: String,
    pub in_air: bool,
    pub time: String,
    pub lines: usize,
    pub sha256: String,
}

/// All programs; what every file name starts with is said once, in the head.
pub fn program_table(data: &SheetData) -> ProgramTable {
    let prefix = format!("{}-r{}-", data.code, data.revision);
    let mut programs: Vec<&ProgramRow> = data.feet.iter().flat_map(|f| &f.programs).collect();
    programs.sort_by_key(|program| program.turn);
    let programs = || programs.iter().copied();
    let all = programs().all(|p| p.file.starts_with(&prefix));
    let cut = if all { prefix.len() } else { 0 };
    let line = |(k, p): (usize, &ProgramRow)| ProgramLine {
        order: k + 1,
        file: p.file.get(cut..).unwrap_or(&p.file).to_string(),
        cutter: p.cutter.clone(),
        in_air: p.in_air,
        time: clock(p.time_s),
        lines: p.lines,
        sha256: short(&p.sha256),
    };
    ProgramTable {
        prefix: if all { prefix } else { String::new() },
        rows: programs().enumerate().map(line).collect(),
        steps: step_lines(&data.feet, cut),
        total: total_words(data),
    }
}

/// The time of all programs, and what keeps the machine from being quicker.
pub fn total_words(data: &SheetData) -> String {
    let programs = || data.feet.iter().flat_map(|f| &f.programs);
    let time = clock(programs().map(|p| p.time_s).sum());
    let held = programs().map(|p| p.bounded_by).sum::<BoundedBy>().words(3);
    let colon = if held.is_empty() { "" } else { ": " };
    format!("in this order, time in all {time}{colon}{held}")
}

/// Minutes and seconds.
fn clock(seconds: f64) -> String {
    let s = seconds.round().max(0.0) as u64;
    format!("{}:{:02}", s / 60, s % 60)
}

/// The first ten hexadecimal digits: enough to tell files of one shop apart by eye; the whole
/// checksum is in the job's own record.
pub fn short(sha256: &str) -> String {
    sha256.chars().take(10).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_signs_and_checksums() {
        assert_eq!(clock(59.6), "1:00");
        assert_eq!(clock(3725.0), "62:05");
        assert_eq!(clock(f64::NAN), "0:00");
        assert_eq!((signed(1.5), signed(-0.25), signed(0.001)), ("+1.5".into(), "-0.25".into(), "0".into()));
        assert_eq!(range_text(7.96, 13.44), "8\u{2026}13.4");
        assert_eq!(range_text(0.1 + 0.2, 4.0), "0.3\u{2026}4");
        assert_eq!(range_text(5.0, 4.0), "none");
        // "possible: none" stood on the sheet of a job that passed.
        assert_eq!((range_text(4.04, 4.04), range_text(3.0, 3.0)), ("4.04".into(), "3".into()));
        assert_eq!(short("0123456789abcdef"), "0123456789");
    }
}
