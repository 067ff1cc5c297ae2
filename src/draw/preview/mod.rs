//! The preview: one page that holds the whole drawing of a job, to be looked at before a blank is
//! committed. Pictures are drawn here and stand in the page; its script reads heights at a pointer,
//! moves a section, turns the pieces and plays the programs. It needs no network and loads nothing.
//!
//! The page is told its data as one block of JSON ([`preview_html`]); what serves it live can send the
//! same block again.

mod apart;
mod data;
mod desk;
mod packed;
mod pictorial;
mod pictures;
mod stays;

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::cautions;
use super::data::{DrawError, DrawnFoot, check_foot};
use super::ink;
use super::notes;
use super::notes_block::{NoteLine, Print, note_rows};
use super::sheet::{check_bar, render_with, side_words};
use super::tables::{self, BootLine, ValueLine};
use crate::frame::{Point3, Rect};
use crate::grid::Grid;
use data::{FootData, PageData, Sampled};
use pictures::{FootPictures, Sheetlet, pictures};

/// A job to be previewed.
pub struct PreviewData<'a> {
    /// Code of the job.
    pub code: &'a str,
    /// Revision, from 1.
    pub revision: u32,
    /// The ticket's own note; may be empty.
    pub note: &'a str,
    /// Material, in words.
    pub material: String,
    /// Blank and its size, in words.
    pub blank: String,
    /// Machine, in words.
    pub machine: String,
    /// SHA-256 of the ticket, hexadecimal.
    pub ticket_sha256: String,
    /// Why there are no paths; empty when there are.
    pub without_paths: &'static str,
    /// One or two feet.
    pub feet: Vec<PreviewFoot<'a>>,
}

/// One footbed with its programs.
pub struct PreviewFoot<'a> {
    /// As the job sheet draws it.
    pub drawn: DrawnFoot<'a>,
    /// Whether the underside is flat on the boot board.
    pub flat: bool,
    /// What stays at places of the foot frame where the cutters are too round for the surface, mm, 0 elsewhere; `None`
    /// where they reach all of it.
    pub stays: Option<Grid>,
    /// The blank as it lies around the footbed in the foot frame, and the height of its upper face, mm.
    pub blank: Option<(Rect, f64)>,
    /// Its programs, in the order in which they run.
    pub programs: Vec<PreviewProgram>,
}

/// One program, laid into the foot frame.
pub struct PreviewProgram {
    /// File name.
    pub file: String,
    /// What it does, such as `top-2-finish`.
    pub title: String,
    /// The cutter, in words.
    pub cutter: String,
    /// The cutter's form.
    pub cutter_shape: CutterShape,
    /// Whether it cuts the underside: the cutter then points up.
    pub under: bool,
    /// Whether it runs in air, spindle off.
    pub dry: bool,
    /// Its movements.
    pub moves: Vec<PreviewMove>,
}

/// A cutter as its surface's height above the tip over the distance from its axis.
pub struct CutterShape {
    /// Radius, mm.
    pub radius_mm: f64,
    /// Height above the tip at a distance from the axis up to the radius, mm.
    pub height: Box<dyn Fn(f64) -> f64 + Send + Sync>,
}

/// One movement of the tip in the foot frame, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PreviewMove {
    /// From here.
    pub from: Point3,
    /// To here.
    pub to: Point3,
    /// Whether it is a rapid.
    pub rapid: bool,
    /// Planned time, s.
    pub seconds: f64,
}

pub use data::Shape as FootShape;
pub use desk::{DeskDrawing, DeskPage, DeskWords, desk_drawing, desk_page, desk_words, foot_shape};

const PAGE: &str = include_str!("page.html");
/// Parts of the page that a desk sends again, by the name under which the page takes them in.
const VALUES: (&str, &str) = ("values.html", include_str!("values.html"));
const NOTES: (&str, &str) = ("notes.html", include_str!("notes.html"));
const APART: (&str, &str) = ("apart.html", include_str!("apart.html"));
const STYLE: &str = concat!(include_str!("../templates/ink.css"), include_str!("page.css"));
/// What draws, of the page's one plain script, in the order in which the parts use each other.
macro_rules! drawing_script {
    () => {
        concat!(
            include_str!("read.js"),
            include_str!("plan.js"),
            include_str!("section.js"),
            include_str!("carve.js"),
            include_str!("clay_program.js"),
            include_str!("clay.js"),
            include_str!("play.js"),
        )
    };
}
use drawing_script;
const SCRIPT: &str = concat!(drawing_script!(), include_str!("notes.js"));

/// Paper for the notes of a pair and of one foot, as the style sheet's print part leaves it: height and
/// width, mm.
const NOTES_PAIR_MM: (f64, f64) = (80.0, 35.0);
const NOTES_SINGLE_MM: (f64, f64) = (45.0, 140.0);

/// The preview as one HTML page that loads nothing.
pub fn preview_html(job: &PreviewData) -> Result<String, DrawError> {
    let drawing = Drawing::of(job, &[])?;
    let data = PageData::new(job.code, job.revision, drawing.told);
    let style = format!("{STYLE}{}", drawing.rules);
    let policy = policy(&style, SCRIPT, "");
    let page = Page { policy, style, script: SCRIPT, data: data.to_json(), ..Page::of(job, drawing.pictures)? };
    filled(&page)
}

/// All pictures of a job, and what the script is told of its feet.
struct Drawing {
    pictures: PagePictures,
    /// Style rules that hold the pictures' sizes.
    rules: String,
    told: Vec<FootData>,
}

struct PagePictures {
    feet: Vec<FootPage>,
    divisor: f64,
    pictorial: String,
    apart: Option<ApartPage>,
}

impl Drawing {
    /// Draws every foot, and where it differs from the `saved` foot of its side.
    fn of(job: &PreviewData, saved: &[PreviewFoot]) -> Result<Drawing, DrawError> {
        let drawn = checked(job)?;
        let list = notes::numbered(&drawn);
        let references: Vec<&DrawnFoot> = drawn.iter().collect();
        let divisor = pictures::divisor(&references);
        let (mut feet, mut told) = (vec![], vec![]);
        let (mut rules, mut columns) = (String::new(), String::new());
        for foot in in_order(&job.feet) {
            let sampled = Sampled::of(foot);
            let before = saved.iter().map(|saved| &saved.drawn).find(|saved| saved.side == foot.drawn.side);
            let drawing = pictures(foot, &list, sampled.least, divisor, before)?;
            rules.push_str(&sizes(foot, &drawing));
            columns.push_str(&format!(" minmax(0,{}fr)", ink::coarse(drawing.plan.width + drawing.widest_cut())));
            let FootPictures { plan, cuts, free, places } = drawing;
            feet.push(FootPage {
                letter: foot.drawn.side.letter(),
                side: foot.drawn.side.name(),
                medial: places.medial,
                plan: plan.svg,
                cuts: cuts.into_iter().map(CutPage::of).collect(),
                free: CutPage::of(free),
                least: sampled.least.map_or(String::new(), |least| format!("{:.2}", least.mm)),
            });
            told.push(FootData::of(foot, &sampled, places));
        }
        rules.push_str(&format!(".feet{{--feet:{}}}\n", columns.trim()));
        let against = match references.as_slice() {
            [a, b] if a.side == crate::frame::Side::Left => apart::apart(a, b, divisor),
            [b, a] => apart::apart(a, b, divisor),
            _ => None,
        };
        let apart = against.map(|a| ApartPage { svg: a.svg, words: a.words });
        let (pictorial, ..) = pictorial::pictorial(&references);
        Ok(Drawing { pictures: PagePictures { feet, divisor, pictorial, apart }, rules, told })
    }
}

/// The feet as they are drawn, one or one of each side.
fn checked<'a>(job: &PreviewData<'a>) -> Result<Vec<DrawnFoot<'a>>, DrawError> {
    let drawn: Vec<DrawnFoot> = job.feet.iter().map(|foot| foot.drawn.clone()).collect();
    let twins = matches!(drawn.as_slice(), [a, b] if a.side == b.side);
    if drawn.is_empty() || drawn.len() > 2 || twins {
        return Err(DrawError::Feet { count: drawn.len() });
    }
    drawn.iter().try_for_each(check_foot)?;
    Ok(drawn)
}

/// Fills the page's template and its parts.
fn filled(page: &impl Serialize) -> Result<String, DrawError> {
    render_with("preview.html", PAGE, &[VALUES, NOTES, APART], page)
}

impl<'a> Page<'a> {
    fn of(job: &'a PreviewData, pictures: PagePictures) -> Result<Page<'a>, DrawError> {
        let drawn = checked(job)?;
        let PagePictures { feet, divisor, pictorial, apart } = pictures;
        Ok(Page {
            code: job.code,
            revision: job.revision,
            note: job.note,
            side_words: side_words(&drawn),
            pair: feet.len() > 1,
            scale: format!("1:{divisor}"),
            feet,
            pictorial,
            apart,
            words: Words::of(job)?,
            without_paths: job.without_paths,
            stays: job.feet.iter().any(|foot| foot.stays.is_some()),
            has_paths: job.feet.iter().any(|foot| !foot.programs.is_empty()),
            material: &job.material,
            blank: &job.blank,
            machine: &job.machine,
            checksum: tables::short(&job.ticket_sha256),
            check_bar: check_bar(divisor),
            cutting: cautions::CUTTING,
            refer: cautions::REFER.join("; "),
            desk: false,
            policy: String::new(),
            style: String::new(),
            script: "",
            data: String::new(),
        })
    }
}

/// Tables and notes: what can be told without a picture.
#[derive(Serialize)]
struct Words {
    notes: Vec<NoteLine>,
    /// How many notes have no room on paper.
    more: usize,
    /// Whether some are told in brief on paper.
    brief: bool,
    /// The feet on whose plan each note has a place.
    places: Vec<Vec<char>>,
    sides: Vec<char>,
    values: Vec<ValueLine>,
    boot: Vec<BootLine>,
    rules: Vec<String>,
}

impl Words {
    fn of(job: &PreviewData) -> Result<Words, DrawError> {
        let drawn = checked(job)?;
        let list = notes::numbered(&drawn);
        let (room, width) = if drawn.len() > 1 { NOTES_PAIR_MM } else { NOTES_SINGLE_MM };
        let notes = note_rows(&list, room, width);
        let placed =
            |n: &notes::Numbered| n.at.iter().filter(|(_, at)| at.is_some()).map(|(side, _)| side.letter()).collect();
        Ok(Words {
            more: notes.iter().filter(|n| n.print == Print::Not).count(),
            brief: notes.iter().any(|n| n.print == Print::Brief),
            notes,
            places: list.iter().map(placed).collect(),
            sides: drawn.iter().map(|foot| foot.side.letter()).collect(),
            values: tables::value_rows(&drawn),
            boot: tables::boot_rows(&drawn),
            rules: tables::rules(&drawn),
        })
    }
}

/// The foot whose medial edge faces right first, as on every sheet.
fn in_order<'a, 'b>(feet: &'b [PreviewFoot<'a>]) -> Vec<&'b PreviewFoot<'a>> {
    let mut feet: Vec<&PreviewFoot> = feet.iter().collect();
    feet.sort_by(|a, b| data::medial_sign(b.drawn.side).total_cmp(&data::medial_sign(a.drawn.side)));
    feet
}

/// Nothing may be loaded, and only the page's own style and script may act: anything else in it,
/// wherever it came from, is text. `more` are further directives, each ended by a semicolon.
fn policy(style: &str, script: &str, more: &str) -> String {
    let sum = |text: &str| format!("'sha256-{}'", packed::base64(&Sha256::digest(text.as_bytes())));
    format!(
        "default-src 'none'; script-src {}; style-src {}; {more}base-uri 'none'; form-action 'none'",
        sum(script),
        sum(style)
    )
}

/// Style rules that hold the pictures' sizes: attributes of elements may not carry style.
fn sizes(foot: &PreviewFoot, drawing: &FootPictures) -> String {
    let letter = foot.drawn.side.letter();
    let share = |mm: f64| ink::coarse(100.0 * mm / drawing.plan.height);
    let widest = drawing.widest_cut();
    let columns = |a: f64, b: f64| format!("minmax(0,{}fr) minmax(0,{}fr)", ink::coarse(a), ink::coarse(b));
    // Sections hang on the lateral side, where nothing else stands.
    let columns = if data::medial_sign(foot.drawn.side) > 0.0 {
        columns(widest, drawing.plan.width)
    } else {
        columns(drawing.plan.width, widest)
    };
    let mut text = format!(".foot-{letter}{{--w:{};--columns:{columns}}}\n", ink::coarse(drawing.plan.width + widest));
    text.push_str(&format!(".single{{--plans:{}}}\n", ink::coarse(drawing.plan.width + widest + 3.0)));
    for cut in &drawing.cuts {
        text.push_str(&format!(".cut-{}-{letter}{{--top:{}%}}\n", cut.letter, share(cut.top)));
    }
    text
}

#[derive(Serialize)]
struct Page<'a> {
    code: &'a str,
    revision: u32,
    note: &'a str,
    side_words: &'static str,
    pair: bool,
    scale: String,
    feet: Vec<FootPage>,
    pictorial: String,
    apart: Option<ApartPage>,
    #[serde(flatten)]
    words: Words,
    without_paths: &'static str,
    /// Whether cutters leave something to be mapped.
    stays: bool,
    has_paths: bool,
    material: &'a str,
    blank: &'a str,
    machine: &'a str,
    checksum: String,
    check_bar: String,
    cutting: &'static str,
    refer: String,
    /// Whether its values can be changed.
    desk: bool,
    policy: String,
    style: String,
    script: &'static str,
    data: String,
}

#[derive(Serialize)]
struct FootPage {
    letter: char,
    side: &'static str,
    medial: f64,
    plan: String,
    cuts: Vec<CutPage>,
    free: CutPage,
    least: String,
}

#[derive(Serialize)]
struct CutPage {
    letter: char,
    name: &'static str,
    svg: String,
}

impl CutPage {
    fn of(s: Sheetlet) -> CutPage {
        CutPage { letter: s.letter, name: s.name, svg: s.svg }
    }
}

#[derive(Serialize)]
struct ApartPage {
    svg: String,
    words: String,
}
