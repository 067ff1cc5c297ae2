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
/// Height kept below the plan of a pair for programs, set-up and cautions, and below that of one
/// foot for the same with the title block, mm.
const BELOW_MM: (f64, f64) = (49.0, 35.0);
/// The plan may take this much of the width, mm: the rest is what the table of values needs.
const PLAN_MM: f64 = 156.0;
/// Cross sections may take this much height, mm, so that tables and notes keep theirs.
const SECTIONS_MM: f64 = 76.0;
/// The title block, mm.
const BLOCK_MM: f64 = 34.0;
/// One foot's table of values, mm wide, as the style sheet sets it.
const NARROW_MM: f64 = 74.0;
/// Cautions below the notes of one foot, mm high.
const CAUTIONS_MM: f64 = 26.0;
/// Height of a table row and of a line of notes, mm, as the style sheet sets them.
const ROW_MM: f64 = 3.1;

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
    let pair = feet.len() > 1;
    let below = if pair { BELOW_MM.0 } else { BELOW_MM.1 };
    let plan = plan::plan(feet, &list, (PLAN_MM, SHEET_MM.1 - below))?;
    let beside = SHEET_MM.0 - plan.width - 1.5;
    let sections = section::sections(feet, beside, SECTIONS_MM);
    let (values, boot, rules) = (value_rows(feet), boot_rows(feet), rules(feet));
    let table = ROW_MM * (values.len() + boot.len() + 2) as f64 + 1.0;
    let (room, width) = if pair {
        (SHEET_MM.1 - sections.height - table - BLOCK_MM, beside)
    } else {
        (SHEET_MM.1 - sections.height - below - CAUTIONS_MM, beside - NARROW_MM)
    };
    let notes = note_rows(&list, room - rules_height(&rules, width), width);
    let page = Page {
        code: data.code,
        revision: data.revision,
        note: data.note,
        sides: feet.iter().map(|f| f.side.letter()).collect(),
        side_words: side_words(feet),
        width_mm: SHEET_MM.0,
        height_mm: SHEET_MM.1,
        layout: if pair { "pair" } else { "single" },
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
        check_bar: check_bar(plan.divisor),
        plan: Drawn::of(plan),
        sections: Drawn::of(sections),
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
    layout: &'static str,
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
    check_bar: String,
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

/// A bar of 100 mm of paper, to check the print by, and what it is at the plan's scale.
fn check_bar(divisor: f64) -> String {
    let at = |mm: f64, y: f64| Point2::new(2.0 + mm, y);
    let tick = |k: i32| {
        let mm = 10.0 * f64::from(k);
        ink::line("w25", at(mm, 2.0), at(mm, if k % 5 == 0 { 0.3 } else { 1.0 }))
    };
    let words = format!(
        "check bar: must measure 100 mm on this paper; at 1:{divisor} it is {} mm",
        ink::coarse(100.0 * divisor)
    );
    let bar = svg::node::element::Path::new().set("id", "check-bar").set("class", "w50").set("d", "M2 2L102 2");
    let drawing = svg::node::element::SVG::new().set("viewBox", "0 0 104 6").set("class", "drawing").set("role", "img");
    let drawing = drawing.add(ink::title("Check bar of 100 mm"));
    let drawing = (0..=10).map(tick).fold(drawing, svg::node::element::SVG::add).add(bar);
    drawing.add(ink::label("t", at(0.0, 5.2), ink::Anchor::Start, words)).to_string()
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
            range: row.range.map_or("\u{2013}".into(), |(a, b)| format!("{}\u{2026}{}", tenth(a), tenth(b))),
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
        row.and_then(|r| r.value).map_or("unknown".to_string(), signed)
    };
    let line = |(words, unit): (&str, &'static str)| BootLine {
        words: words.to_string(),
        unit,
        feet: feet.iter().map(|f| told(f, words)).collect(),
    };
    names.into_iter().map(line).collect()
}

/// To a tenth, without a trailing zero.
fn tenth(v: f64) -> String {
    ink::coarse((v * 10.0).round() / 10.0)
}

/// A change, with its sign; two decimals at most.
fn signed(v: f64) -> String {
    let text = ink::coarse(v);
    if v > 0.0 && text != "0" { format!("+{text}") } else { text }
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

/// The notes block, with a mark on those that still fit into `room` mm of paper.
fn note_rows(list: &[Numbered], room: f64, width_mm: f64) -> Vec<NoteLine> {
    // The heading takes one row, the line that says how many are left out another.
    let mut left = room - 2.5 * ROW_MM;
    let mut full = false;
    let mut rows = Vec::new();
    for note in list {
        let row = note_line(note);
        let need = lines_of(&row, width_mm) as f64 * ROW_MM + 1.2;
        full |= need > left;
        left -= need;
        rows.push(NoteLine { printed: !full, ..row });
    }
    rows
}

/// Height of the paragraph that tells the rules, mm.
fn rules_height(rules: &[String], width_mm: f64) -> f64 {
    let width = ink::width_of(&rules.join("; "), ink::SMALL_MM) + 12.0;
    if rules.is_empty() { 0.0 } else { (width / (width_mm - 2.0).max(20.0)).ceil() * ROW_MM + 1.0 }
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
        on: note.at.iter().map(|(side, _)| side.letter().to_string()).collect::<Vec<_>>().join(" "),
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
