//! The job sheet: one self-contained page that prints to one A4 or Letter sheet. Puts the pictures
//! and the tables together; the page's shape is in `templates/`.

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use super::cautions;
use super::data::{DrawError, DrawnFoot, ProgramRow, SheetData, check_foot};
use super::dimension;
use super::ink;
use super::notes::{self, Numbered};
use super::plan;
use super::section;
use crate::frame::{Point2, Side};
use crate::value::Value;

/// The frame, mm: what A4 (297 x 210) and Letter (279.4 x 215.9), both lying, have in common inside
/// margins of 8 mm, which office printers can print (common practice, no source).
const SHEET_MM: (f64, f64) = (263.0, 193.5);
/// Height of the strip with programs, cautions and title block, mm.
const STRIP_MM: f64 = 40.0;
/// The plan may take this much of the width, mm: the rest is enough for two sections abreast.
const PLAN_MM: f64 = 166.0;
/// Cross sections may take this much height, mm, so that tables and notes keep theirs.
const SECTIONS_MM: f64 = 82.0;
/// Height of a table row and of a line of notes, mm, as the style sheet sets them.
const ROW_MM: f64 = 3.15;

const PAGE: &str = include_str!("templates/sheet.html");
const STYLE: &str = include_str!("templates/drawing.css");

/// The job sheet as one HTML page without scripts or outside resources.
pub fn sheet_html(data: &SheetData) -> Result<String, DrawError> {
    let feet = &data.feet;
    let twins = matches!(feet.as_slice(), [a, b] if a.side == b.side);
    if feet.is_empty() || feet.len() > 2 || twins {
        return Err(DrawError::Feet { count: feet.len() });
    }
    feet.iter().try_for_each(check_foot)?;
    let list = notes::numbered(feet);
    let plan = plan::plan(feet, &list, (PLAN_MM, SHEET_MM.1 - STRIP_MM))?;
    let beside = SHEET_MM.0 - plan.width - 0.5;
    let sections = section::sections(feet, beside, SECTIONS_MM);
    let values = value_rows(feet);
    let boot = boot_rows(feet);
    let rules = rules(feet);
    let used = sections.height + ROW_MM * (values.len() + boot.len() + 3) as f64 + 4.0;
    let lines = ((SHEET_MM.1 - STRIP_MM - used) / ROW_MM).floor().max(2.0) as usize;
    let notes = note_rows(&list, lines, beside);
    let page = Page {
        code: data.code,
        revision: data.revision,
        note: data.note,
        sides: feet.iter().map(|f| f.side.letter()).collect(),
        side_words: side_words(feet),
        width_mm: SHEET_MM.0,
        height_mm: SHEET_MM.1,
        strip_mm: STRIP_MM,
        plan: Drawn::of(plan),
        sections: Drawn::of(sections),
        more: notes.iter().filter(|n| !n.printed).count(),
        none: notes.is_empty(),
        notes,
        values,
        boot,
        rules,
        programs: program_table(data),
        proofs: feet.iter().filter(|f| !f.proof.is_empty()).map(|f| (f.side.letter(), f.proof.clone())).collect(),
        material: &data.material,
        blank: &data.blank,
        machine: &data.machine,
        z_zero: &data.z_zero,
        xy_zero: &data.xy_zero,
        cutters: &data.cutters,
        checksum: short(&data.ticket_sha256),
        cutting: cautions::CUTTING,
        refer: cautions::REFER.join("; "),
        style: STYLE,
    };
    render("sheet.html", PAGE, &page)
}

/// Fills a page's template; every word that is put in is escaped unless the template says that it
/// is a drawing.
pub(super) fn render(name: &str, template: &str, page: &impl Serialize) -> Result<String, DrawError> {
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    Ok(environment.render_named_str(name, template, Serde(page))?)
}

#[derive(Serialize)]
struct Page<'a> {
    code: &'a str,
    revision: u32,
    note: &'a str,
    sides: Vec<char>,
    side_words: &'static str,
    width_mm: f64,
    height_mm: f64,
    strip_mm: f64,
    plan: Drawn,
    sections: Drawn,
    notes: Vec<NoteLine>,
    more: usize,
    none: bool,
    values: Vec<ValueLine>,
    boot: Vec<BootLine>,
    rules: Vec<String>,
    programs: ProgramTable,
    proofs: Vec<(char, String)>,
    material: &'a str,
    blank: &'a str,
    machine: &'a str,
    z_zero: &'a str,
    xy_zero: &'a str,
    cutters: &'a [String],
    checksum: String,
    cutting: &'static str,
    refer: String,
    style: &'static str,
}

#[derive(Serialize)]
struct Drawn {
    svg: String,
    width: String,
    height: String,
    scale: String,
}

impl Drawn {
    fn of(picture: plan::Picture) -> Drawn {
        Drawn {
            svg: picture.svg,
            width: ink::coarse(picture.width),
            height: ink::coarse(picture.height),
            scale: format!("1:{}", picture.divisor),
        }
    }
}

fn side_words(feet: &[DrawnFoot]) -> &'static str {
    match feet.first().map(|f| f.side) {
        _ if feet.len() > 1 => "pair, left and right",
        Some(Side::Left) => "left foot alone",
        _ => "right foot alone",
    }
}

#[derive(Serialize)]
struct ValueLine {
    words: String,
    unit: &'static str,
    feet: Vec<Option<ValueCell>>,
}

#[derive(Serialize)]
struct ValueCell {
    asked: String,
    filled_in: bool,
    read_back: String,
    carved: String,
    range: String,
}

/// The values that either foot has, in the order of tables.
fn value_rows(feet: &[DrawnFoot]) -> Vec<ValueLine> {
    let cell = |foot: &DrawnFoot, value: Value| {
        foot.values.iter().find(|r| r.value == value).map(|row| ValueCell {
            asked: row.asked.map_or("\u{2013}".into(), dimension::asked_text),
            filled_in: row.rule.is_some(),
            read_back: format!("{:.2}", row.read_back),
            carved: row.carved.map_or("\u{2013}".into(), |v| format!("{v:.2}")),
            range: row.range.map_or("\u{2013}".into(), |(a, b)| format!("{a:.1} \u{2026} {b:.1}")),
        })
    };
    let line = |value: Value| ValueLine {
        words: value.words(),
        unit: value.unit(),
        feet: feet.iter().map(|f| cell(f, value)).collect(),
    };
    Value::ALL.into_iter().map(line).filter(|l| l.feet.iter().any(Option::is_some)).collect()
}

#[derive(Serialize)]
struct BootLine {
    words: String,
    unit: &'static str,
    feet: Vec<String>,
}

/// The effect in the boot, one row for each thing that either foot tells.
fn boot_rows(feet: &[DrawnFoot]) -> Vec<BootLine> {
    let mut names: Vec<(&str, &'static str)> = Vec::new();
    for row in feet.iter().flat_map(|f| &f.boot) {
        if !names.contains(&(row.words.as_str(), row.unit)) {
            names.push((&row.words, row.unit));
        }
    }
    let told = |foot: &DrawnFoot, words: &str| {
        let row = foot.boot.iter().find(|r| r.words == words);
        row.and_then(|r| r.value).map_or("unknown".to_string(), |v| format!("{v:+.1}"))
    };
    let line = |(words, unit): (&str, &'static str)| BootLine {
        words: words.to_string(),
        unit,
        feet: feet.iter().map(|f| told(f, words)).collect(),
    };
    names.into_iter().map(line).collect()
}

/// The rules that filled in values, each once, with the feet it was used for.
fn rules(feet: &[DrawnFoot]) -> Vec<String> {
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

#[derive(Serialize)]
struct NoteLine {
    balloon: String,
    severity: &'static str,
    on: String,
    limit: String,
    message: String,
    measured: String,
    allowed: String,
    advice: String,
    accepted: Option<String>,
    printed: bool,
}

/// The notes block, with a mark on those that still fit into `lines` lines of print.
fn note_rows(list: &[Numbered], lines: usize, width_mm: f64) -> Vec<NoteLine> {
    let mut left = lines.saturating_sub(1);
    let mut full = false;
    let mut rows = Vec::new();
    for note in list {
        let row = note_line(note);
        let need = lines_of(&row, width_mm);
        full |= need > left;
        left = left.saturating_sub(need);
        rows.push(NoteLine { printed: !full, ..row });
    }
    rows
}

fn note_line(note: &Numbered) -> NoteLine {
    let row = note.row;
    let picture = svg::node::element::SVG::new()
        .set("viewBox", "-3 -3 6 6")
        .set("class", "drawing mark")
        .add(notes::balloon(row.severity, note.number, Point2::new(0.0, 0.0)));
    NoteLine {
        balloon: picture.to_string(),
        severity: row.severity.name(),
        on: note.at.iter().map(|(side, _)| side.letter()).collect(),
        limit: row.limit.replace('_', " "),
        message: row.message.clone(),
        measured: row.measured.clone(),
        allowed: row.allowed.clone(),
        advice: row.advice.clone(),
        accepted: row.accepted.clone(),
        printed: true,
    }
}

/// About how many lines of print a note takes.
fn lines_of(row: &NoteLine, width_mm: f64) -> usize {
    let accepted = row.accepted.as_ref().map_or(String::new(), |a| format!("accepted: {a}"));
    let text = format!(
        "{} {} {} measured {}, allowed {}. {} {accepted}",
        row.severity, row.on, row.message, row.measured, row.allowed, row.advice
    );
    (ink::width_of(&text, ink::SMALL_MM) / (width_mm - 12.0).max(20.0)).ceil().max(1.0) as usize
}

#[derive(Serialize)]
struct ProgramTable {
    prefix: String,
    rows: Vec<ProgramLine>,
    total: String,
}

#[derive(Serialize)]
struct ProgramLine {
    order: usize,
    file: String,
    cutter: String,
    time: String,
    lines: usize,
    sha256: String,
}

/// All programs; what every file name starts with is said once, in the head.
fn program_table(data: &SheetData) -> ProgramTable {
    let prefix = format!("{}-r{}-", data.code, data.revision);
    let programs = || data.feet.iter().flat_map(|f| &f.programs);
    let all = programs().all(|p| p.file.starts_with(&prefix));
    let cut = if all { prefix.len() } else { 0 };
    let line = |(k, p): (usize, &ProgramRow)| ProgramLine {
        order: k + 1,
        file: p.file.get(cut..).unwrap_or(&p.file).to_string(),
        cutter: p.cutter.clone(),
        time: clock(p.time_s),
        lines: p.lines,
        sha256: short(&p.sha256),
    };
    ProgramTable {
        prefix: if all { prefix } else { String::new() },
        rows: programs().enumerate().map(line).collect(),
        total: clock(programs().map(|p| p.time_s).sum()),
    }
}

/// Minutes and seconds.
fn clock(seconds: f64) -> String {
    let s = seconds.round().max(0.0) as u64;
    format!("{}:{:02}", s / 60, s % 60)
}

/// The first twelve hexadecimal digits: enough to tell files of one shop apart by eye; the whole
/// checksum is in the job's own record.
fn short(sha256: &str) -> String {
    sha256.chars().take(12).collect()
}
