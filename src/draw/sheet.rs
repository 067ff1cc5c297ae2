//! The job sheet: one self-contained page that prints to one A4 or Letter sheet. Puts the pictures
//! and the tables together; the page's shape is in `templates/`.

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use super::cautions;
use super::data::{DrawError, DrawnFoot, SheetData, check_foot};
use super::ink;
use super::notes;
use super::notes_block::{NoteLine, Print, note_rows};
use super::plan;
use super::section;
use super::tables::{self, BootLine, ProgramTable, ValueLine};
use crate::frame::{Point2, Side};

/// The frame, mm: what A4 (297 x 210) and Letter (279.4 x 215.9), both lying, have in common inside
/// margins of 8 mm, which office printers can print (common practice, no source).
const SHEET_MM: (f64, f64) = (263.0, 193.5);
/// Height kept below the plan of a pair for cautions, at least, and below that of one foot for
/// programs and the title block, mm.
const BELOW_MM: (f64, f64) = (48.0, 36.4);
/// The plan may take this much of the width, mm: the rest is what the table of values needs.
const PLAN_MM: f64 = 156.0;
/// Cross sections may take this much height, mm, so that tables and notes keep theirs.
const SECTIONS_MM: f64 = 76.0;
/// The title block, mm.
const BLOCK_MM: f64 = 36.4;
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
    let below = if pair { work_height(data).max(BELOW_MM.0) } else { BELOW_MM.1 };
    let plan = plan::plan(feet, &list, (PLAN_MM, SHEET_MM.1 - below))?;
    let beside = SHEET_MM.0 - plan.width - 1.5;
    let sections = section::sections(feet, beside, SECTIONS_MM);
    let (values, boot, rules) = (tables::value_rows(feet), tables::boot_rows(feet), tables::rules(feet));
    let table = ROW_MM * (values.len() + boot.len() + 3) as f64;
    let (room, width) = if pair {
        (SHEET_MM.1 - sections.height - table - BLOCK_MM, beside)
    } else {
        (SHEET_MM.1 - sections.height - below - CAUTIONS_MM, beside - NARROW_MM)
    };
    let notes = note_rows(&list, room - rules_height(&rules, width), width);
    let page = Page {
        code: data.code,
        code_mm: ink::coarse(ink::fitted(data.code, 3.6, 52.0)),
        revision: data.revision,
        note: data.note,
        sides: feet.iter().map(|f| f.side.letter()).collect(),
        side_words: side_words(feet),
        width_mm: SHEET_MM.0,
        height_mm: SHEET_MM.1,
        layout: if pair { "pair" } else { "single" },
        more: notes.iter().filter(|n| n.print == Print::Not).count(),
        brief: notes.iter().any(|n| n.print == Print::Brief),
        none: notes.is_empty(),
        notes,
        values,
        boot,
        rules,
        programs: tables::program_table(data),
        proofs: feet.iter().filter(|f| !f.proof.is_empty()).map(|f| (f.side.letter(), f.proof.clone())).collect(),
        material: &data.material,
        blank: &data.blank,
        machine: &data.machine,
        z_zero: &data.z_zero,
        xy_zero: &data.xy_zero,
        cutters: &data.cutters,
        checksum: tables::short(&data.ticket_sha256),
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
    code_mm: String,
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
    brief: bool,
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

/// Height of what stands below the plan of a pair, mm: programs, proofs, set-up.
fn work_height(data: &SheetData) -> f64 {
    // The column is the plan's width less the cautions' 52 mm, about 95 mm whatever the scale.
    let lines = |text: &str| (ink::width_of(text, ink::SMALL_MM) / 92.0).ceil();
    let programs = data.feet.iter().map(|f| f.programs.len()).sum::<usize>() + 2;
    let proofs: f64 = data.feet.iter().map(|f| lines(&format!("Proof L {}", f.proof))).sum();
    let set_up = lines(&format!("Z zero {}", data.z_zero)) + lines(&format!("X, Y zero {}", data.xy_zero));
    let cutters = lines(&format!("Cutters {}", data.cutters.join("; 1 ")));
    let note = lines(data.note).min(2.0);
    (programs as f64 + proofs + set_up + cutters + note) * ROW_MM + 3.0
}

/// Height of the paragraph that tells the rules, mm.
fn rules_height(rules: &[String], width_mm: f64) -> f64 {
    let width = ink::width_of(&rules.join("; "), ink::SMALL_MM) + 12.0;
    if rules.is_empty() { 0.0 } else { (width / (width_mm - 2.0).max(20.0)).ceil() * ROW_MM + 1.0 }
}
