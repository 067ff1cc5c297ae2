//! The job sheet: one self-contained page that prints to one A4 or Letter sheet. Puts the pictures
//! and the tables together; the page's shape is in `templates/`.

use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment};
use serde::Serialize;

use super::cautions;
use super::data::{DrawError, DrawnFoot, SheetData, check_foot};
use super::depths::{self, DepthTable};
use super::ink;
use super::lay;
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
/// Width of the column of cautions beside a pair's programs, mm, as the style sheet sets it.
const CAUTIONS_WIDE_MM: f64 = 50.0;
/// Of their height, cross sections give this much to the depths to measure, mm.
const SECTIONS_GIVE_MM: f64 = 13.0;
/// For a crowd of notes cross sections give up this share of their height at a time, down to the least of it: below that
/// a wall of a few mm cannot be read.
const SECTIONS_STEP: f64 = 0.125;
const LEAST_SECTIONS: f64 = 0.5;
/// Lines of words around the depths to measure: heading, stations twice, deepest place.
const DEPTHS_WORDS: usize = 4;
/// Height of a line of words, mm, as the style sheet sets it.
const ROW_MM: f64 = 3.1;
/// Height of a row of the table of values with its rule, mm.
const TABLE_ROW_MM: f64 = 3.25;
/// At most this many lines tell the rules on paper; the style sheet cuts the rest.
const RULE_LINES: f64 = 4.0;
/// The same, and the height of a row of tables, mm, where a pair has depths to measure.
const TIGHT_RULE_LINES: f64 = 2.0;
const TIGHT_ROW_MM: f64 = 2.95;
/// Rules around the picture of a pair's lay, mm.
const LAY_WORDS_MM: f64 = 1.4;

const PAGE: &str = include_str!("templates/sheet.html");
const STYLE: &str = concat!(
    include_str!("templates/drawing.css"),
    include_str!("templates/ink.css"),
    include_str!("templates/drawing-small.css")
);

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
    let rules = tables::rules(feet);
    let depths = depths::tables(feet);
    let (measure, tight) = (depths_height(&depths), pair && !(depths.is_empty() && data.lay.is_none()));
    let most_rules = if tight { TIGHT_RULE_LINES } else { RULE_LINES };
    let beside_work = BELOW_MM.0 + rules_height(&rules, CAUTIONS_WIDE_MM, most_rules);
    let below = if pair { work_height(data).max(beside_work) } else { strip_height(data).max(BELOW_MM.1) };
    let plan = plan::plan(feet, &list, (PLAN_MM, SHEET_MM.1 - below))?;
    let beside = SHEET_MM.0 - plan.width - 1.5;
    let (values, boot) = (tables::value_rows(feet), tables::boot_rows(feet));
    let table = if tight { TIGHT_ROW_MM } else { TABLE_ROW_MM } * (values.len() + boot.len() + 3) as f64;
    let laid = data.lay.as_ref().map(|lay| Laid { picture: Drawn::of(lay::picture(lay)), words: lay.words.clone() });
    let lay_mm = data.lay.as_ref().map_or(0.0, |lay| lay::picture(lay).height + LAY_WORDS_MM);
    let load_mm = |width: f64| load_height(data, width);
    let around = |sections: &plan::Picture| {
        if pair {
            (SHEET_MM.1 - sections.height - table - measure - lay_mm - load_mm(beside) - BLOCK_MM, beside)
        } else {
            let width = beside - NARROW_MM;
            let rules = rules_height(&rules, width, RULE_LINES);
            (SHEET_MM.1 - sections.height - below - CAUTIONS_MM - measure - load_mm(width) - rules, width)
        }
    };
    let tallest = SECTIONS_MM - if tight { SECTIONS_GIVE_MM } else { 0.0 };
    let (sections, notes) = sections_and_notes(feet, beside, tallest, |sections| {
        let (room, width) = around(sections);
        note_rows(&list, room, width)
    });
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
        depths,
        tight,
        lay: laid,
        load: &data.load,
        programs: tables::program_table(data),
        proofs: feet.iter().filter(|f| !f.proof.is_empty()).map(|f| (f.side.letter(), f.proof.clone())).collect(),
        material: &data.material,
        blank: &data.blank,
        machine: &data.machine,
        setup: &data.setup,
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

/// Cross sections as tall as leaves every note a place on paper, and the notes.
fn sections_and_notes(
    feet: &[DrawnFoot],
    width: f64,
    tallest_mm: f64,
    notes: impl Fn(&plan::Picture) -> Vec<NoteLine>,
) -> (plan::Picture, Vec<NoteLine>) {
    let mut share = 1.0;
    loop {
        let sections = section::sections(feet, width, share * tallest_mm);
        let notes = notes(&sections);
        share -= SECTIONS_STEP;
        if share < LEAST_SECTIONS || notes.iter().all(|note| note.print != Print::Not) {
            return (sections, notes);
        }
    }
}

/// Fills a page's template; every word that is put in is escaped unless the template says that it
/// is a drawing.
pub(super) fn render(name: &str, template: &str, page: &impl Serialize) -> Result<String, DrawError> {
    render_with(name, template, &[], page)
}

/// The same with parts that the template takes in by their names.
pub(super) fn render_with(
    name: &str,
    template: &str,
    parts: &[(&str, &str)],
    page: &impl Serialize,
) -> Result<String, DrawError> {
    let mut environment = Environment::new();
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    for (part, text) in parts {
        environment.add_template(part, text)?;
    }
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
    lay: Option<Laid>,
    load: &'a Option<(String, String)>,
    depths: Vec<DepthTable>,
    tight: bool,
    programs: ProgramTable,
    proofs: Vec<(char, String)>,
    material: &'a str,
    blank: &'a str,
    machine: &'a str,
    setup: &'a [(String, String)],
    cutters: &'a [String],
    checksum: String,
    check_bar: String,
    cutting: &'static str,
    refer: String,
    style: &'static str,
}

/// The picture of a pair in its blank, with words beside it.
#[derive(Serialize)]
struct Laid {
    picture: Drawn,
    words: String,
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
pub(super) fn check_bar(divisor: f64) -> String {
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

pub(super) fn side_words(feet: &[DrawnFoot]) -> &'static str {
    match feet.first().map(|f| f.side) {
        _ if feet.len() > 1 => "pair, left and right",
        Some(Side::Left) => "left foot alone",
        _ => "right foot alone",
    }
}

/// Height of what stands below the plan of a pair, mm: programs, proofs, set-up.
fn work_height(data: &SheetData) -> f64 {
    let table = tables::program_table(data);
    // The column is the plan's width less that of the cautions, about 95 mm whatever the scale.
    let lines = |text: &str| (ink::width_of(text, ink::SMALL_MM) / 92.0).ceil();
    let programs = table.height() + 1;
    let total = lines(&tables::total_words(data));
    let proofs: f64 = data.feet.iter().map(|f| lines(&format!("Proof L {}", f.proof))).sum();
    let set_up: f64 = data.setup.iter().map(|(label, words)| lines(&format!("{label} {words}"))).sum();
    let cutters = lines(&format!("Cutters {}", data.cutters.join("; 1 ")));
    let note = lines(data.note).min(2.0);
    (programs as f64 + total + proofs + set_up + cutters + note) * ROW_MM + 3.0
}

/// Height of the strip below one foot, mm: programs with their proof beside the set-up.
fn strip_height(data: &SheetData) -> f64 {
    /// Width of either column, mm, as they come out in the strip.
    const COLUMN_MM: f64 = 68.0;
    let lines = |text: &str| (ink::width_of(text, ink::SMALL_MM) / COLUMN_MM).ceil();
    let proofs: f64 = data.feet.iter().map(|f| lines(&format!("Proof L {}", f.proof))).sum();
    let programs = tables::program_table(data).height() as f64 + 2.0 + proofs;
    let set_up: f64 = data.setup.iter().map(|(label, words)| lines(&format!("{label} {words}"))).sum();
    let set_up = set_up + lines(&format!("Cutters {}", data.cutters.join("; 1 "))) + lines(data.note).min(2.0);
    programs.max(set_up) * ROW_MM + 1.5
}

/// Height of the depths to measure with their heading and cautions, mm.
fn depths_height(tables: &[DepthTable]) -> f64 {
    let rows = tables.iter().map(|t| t.rows.len()).max();
    rows.map_or(0.0, |rows| (rows + DEPTHS_WORDS) as f64 * TIGHT_ROW_MM + 1.2)
}

/// Height of the words about the load with the rule above them, mm.
fn load_height(data: &SheetData, width_mm: f64) -> f64 {
    let Some((load, words)) = &data.load else { return 0.0 };
    let width = ink::width_of(&format!("{load} {words}"), ink::SMALL_MM);
    (width / (width_mm - 4.0).max(20.0)).ceil() * ROW_MM + 1.5
}

/// Height of the paragraph that tells the rules, mm.
fn rules_height(rules: &[String], width_mm: f64, most: f64) -> f64 {
    let width = ink::width_of(&rules.join("; "), ink::SMALL_MM) + 12.0;
    if rules.is_empty() { 0.0 } else { (width / (width_mm - 2.0).max(20.0)).ceil().min(most) * ROW_MM + 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::data::NoteRow;
    use crate::draw::sample::{Sample, job};
    use crate::limits::Severity;

    fn with_sample<T>(sides: &[Side], see: impl FnOnce(&mut SheetData) -> T) -> T {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        let flat = |_: Point2| 0.0;
        see(&mut job(sides.iter().map(|side| sample.foot(*side, &top, &flat)).collect()))
    }

    fn page(sides: &[Side]) -> String {
        with_sample(sides, |data| sheet_html(data).expect("a page"))
    }

    #[test]
    fn one_page_that_stands_alone() {
        let html = page(&Side::BOTH);
        assert_eq!(html.matches("<main").count(), 1);
        assert_eq!(html.matches("@page").count(), 1);
        assert!(
            !html.contains("<script") && !html.contains("<link") && !html.contains("<img") && !html.contains("@import")
        );
        assert_eq!(html.replace("http://www.w3.org/2000/svg", "").matches("http").count(), 0);
        assert!(html.len() < 600_000, "{} bytes", html.len());
    }

    #[test]
    fn pictures_are_well_formed() {
        for sides in [&Side::BOTH[..], &[Side::Left], &[Side::Right]] {
            let html = page(sides);
            let pictures: Vec<&str> = html.split("<svg").skip(1).filter_map(|t| t.split("</svg>").next()).collect();
            // Plan, cross sections, check bar, and a balloon for each note.
            assert!(pictures.len() >= 3 + 2, "{}", pictures.len());
            for picture in pictures {
                let svg = format!("<svg{picture}</svg>");
                usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
                assert!(!svg.contains("NaN") && !svg.contains("inf"));
            }
        }
    }

    #[test]
    fn same_data_same_bytes() {
        assert!(page(&Side::BOTH) == page(&Side::BOTH));
    }

    #[test]
    fn one_foot_shows_only_itself() {
        let html = page(&[Side::Right]);
        assert!(html.contains("right foot alone") && html.contains("\nA-A R\n") && !html.contains("\nA-A L\n"));
        assert!(!html.contains("id=\"inside-left\""));
    }

    #[test]
    fn asked_values_stand_at_their_features() {
        let html = page(&Side::BOTH);
        for words in
            ["heel cup depth 12", "medial arch 16.5", "rearfoot post 2\u{b0}", "heel cup width (55.3)", "length 270"]
        {
            assert!(html.contains(&format!("\n{words}\n</text>")), "{words}");
        }
    }

    #[test]
    fn markup_in_words_is_text() {
        let html = with_sample(&[Side::Left], |data| {
            data.code = "<script>alert(1)</script>";
            data.note = "</style><img src=x onerror=alert(1)>";
            data.machine = "\"><b>mill</b>".into();
            data.feet[0].notes[0].message = "<i>thin</i>".into();
            sheet_html(data).expect("a page")
        });
        assert!(
            !html.contains("<script")
                && !html.contains("<img")
                && !html.contains("<b>mill")
                && !html.contains("<i>thin")
        );
        assert!(html.contains("&lt;i&gt;thin"));
    }

    #[test]
    fn accepted_stop_prints_its_reason_and_comes_first() {
        let html = page(&Side::BOTH);
        assert!(html.contains("Accepted: \u{201c}trial piece, not to be worn\u{201d}"));
        let list = html.split("<h2>Notes</h2>").nth(1).expect("notes");
        assert!(list.find("class=\"stop") < list.find("class=\"caution"));
    }

    #[test]
    fn a_value_that_misses_is_marked() {
        assert!(!page(&Side::BOTH).contains("class=\"missed\""));
        let html = with_sample(&[Side::Left], |data| {
            data.feet[0].values[0].read_back += 0.02;
            sheet_html(data).expect("a page")
        });
        assert_eq!(html.matches("class=\"missed\"").count(), 1);
    }

    #[test]
    fn a_hollow_is_told_with_its_depths() {
        assert!(!page(&Side::BOTH).contains("Underside as milled"));
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        let hollow = |p: Point2| (4.0 - 0.1 * (p - Point2::new(0.0, 110.0)).norm()).max(0.0);
        let flat = |_: Point2| 0.0;
        // One hollow foot of a pair has one table.
        let feet = vec![sample.foot(Side::Left, &top, &hollow), sample.foot(Side::Right, &top, &flat)];
        let html = sheet_html(&job(feet)).expect("a page");
        assert_eq!(html.matches("% of foot").count(), 1);
        assert_eq!(html.matches("class=\"w25 hidden\"").count(), 1);
        assert!(html.contains("Underside as milled"));
    }

    #[test]
    fn the_frame_run_is_in_air() {
        let html = page(&[Side::Left]);
        assert_eq!(html.matches("in air, spindle off").count(), 1);
    }

    #[test]
    fn a_note_without_numbers_is_a_sentence() {
        let html = with_sample(&[Side::Left], |data| {
            for row in &mut data.feet[0].notes {
                (row.measured, row.allowed) = (String::new(), String::new());
            }
            sheet_html(data).expect("a page")
        });
        assert!(!html.contains(" Is <") && !html.contains(", allowed"));
    }

    #[test]
    fn no_finding_is_lost() {
        let html = with_sample(&[Side::Left], |data| {
            let row = |k: usize| NoteRow {
                severity: Severity::Caution,
                limit: format!("limit_{k}"),
                at: Some(Point2::new(0.0, 100.0 + k as f64)),
                measured: "1 mm".into(),
                allowed: "2 mm".into(),
                message: format!("message {k}."),
                advice: "Change it.".into(),
                accepted: None,
            };
            data.feet[0].notes = (0..40).map(row).collect();
            sheet_html(data).expect("a page")
        });
        assert!((0..40).all(|k| html.contains(&format!("message {k}."))));
    }

    #[test]
    fn what_cannot_be_drawn_is_told() {
        let error = |sides: &[Side]| with_sample(sides, |data| sheet_html(data).err().map(|e| e.to_string()));
        assert!(error(&[]).is_some_and(|e| e.contains("0 were given")));
        assert!(error(&[Side::Left, Side::Left]).is_some());
        let sample = Sample::of_length(270.0);
        let hole = |p: Point2| if p.y > 100.0 && p.y < 120.0 { f64::NAN } else { 5.0 };
        let data = job(vec![sample.foot(Side::Left, &hole, &|_| 0.0)]);
        assert!(matches!(sheet_html(&data), Err(DrawError::NotFinite { side: Side::Left, .. })));
    }
}
