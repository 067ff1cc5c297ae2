//! The preview as a desk: the same page with a strip for the dimension that is being changed and a form to save
//! it, and the parts of the page that are sent again after a change. Does not know how values are changed.

use serde::Serialize;
use serde_json::Value as Json;

use super::data::{DeskData, PageData, Places, Sampled, Shape};
use super::drawing_script;
use super::{
    APART, Drawing, NOTES, PAGE, Page, PreviewData, PreviewFoot, VALUES, Words, check_bar, policy, render_with,
};
use crate::draw::data::DrawError;
use crate::draw::tables;

const STRIP: (&str, &str) = ("strip.html", include_str!("strip.html"));
const SAVE: (&str, &str) = ("save.html", include_str!("save.html"));
const DESK_STYLE: &str =
    concat!(include_str!("../templates/ink.css"), include_str!("page.css"), include_str!("desk.css"));
/// The page's own script with what changes values.
const DESK_SCRIPT: &str = concat!(
    drawing_script!(),
    include_str!("ghost.js"),
    include_str!("ruler.js"),
    include_str!("desk.js"),
    include_str!("saving.js"),
    include_str!("notes.js"),
);

/// A page to be served.
pub struct DeskPage {
    /// The page.
    pub html: String,
    /// Its content policy, for a header of the answer.
    pub policy: String,
}

/// Tables and notes as pieces of the page.
#[derive(Serialize)]
pub struct DeskWords {
    /// Values and effect in the boot.
    pub values: String,
    /// Findings.
    pub notes: String,
    /// First letters of the ticket's checksum.
    pub checksum: String,
}

/// Pictures as pieces of the page.
#[derive(Serialize)]
pub struct DeskDrawing {
    /// Such as `1:3`.
    pub scale: String,
    /// The check bar at that scale.
    pub check_bar: String,
    /// Style rules that hold the pictures' sizes.
    pub rules: String,
    /// Each foot's pictures.
    pub feet: Vec<DeskFoot>,
    /// The pictorial drawing.
    pub pictorial: String,
    /// Left against right; empty for one foot.
    pub apart: String,
}

/// One foot's pictures.
#[derive(Serialize)]
pub struct DeskFoot {
    side: char,
    plan: String,
    /// Sections by their letter, the movable one among them.
    cuts: Vec<(char, String)>,
    places: Places,
}

/// The shape of one foot for the script.
pub fn foot_shape(foot: &PreviewFoot) -> Shape {
    Shape::of(foot, &Sampled::of(foot))
}

/// The whole page; `state` is what the script is told after every change, `saved` the feet as they are saved.
pub fn desk_page(job: &PreviewData, saved: &[PreviewFoot], state: Json) -> Result<DeskPage, DrawError> {
    let drawing = Drawing::of(job, saved)?;
    let desk = DeskData { saved: saved.iter().map(foot_shape).collect(), state };
    let data = PageData { desk: Some(desk), ..PageData::new(job.code, job.revision, drawing.told) };
    // Only its own server may be asked, for the next state; its icon is an empty one that stands in the page.
    let style = format!("{DESK_STYLE}{}", drawing.rules);
    let policy = policy(&style, DESK_SCRIPT, "connect-src 'self'; img-src data:; ");
    let page = Page {
        desk: true,
        policy: policy.clone(),
        style,
        script: DESK_SCRIPT,
        data: data.to_json(),
        ..Page::of(job, drawing.pictures)?
    };
    let html = render_with("desk.html", PAGE, &[VALUES, NOTES, APART, STRIP, SAVE], &page)?;
    Ok(DeskPage { html, policy })
}

/// The tables and notes of a state.
pub fn desk_words(job: &PreviewData) -> Result<DeskWords, DrawError> {
    let words = Words::of(job)?;
    Ok(DeskWords {
        values: render_with("values.html", VALUES.1, &[], &words)?,
        notes: render_with("notes.html", NOTES.1, &[], &words)?,
        checksum: tables::short(&job.ticket_sha256),
    })
}

/// The pictures of a state.
pub fn desk_drawing(job: &PreviewData, saved: &[PreviewFoot]) -> Result<DeskDrawing, DrawError> {
    let Drawing { pictures, rules, told } = Drawing::of(job, saved)?;
    let apart = match &pictures.apart {
        Some(apart) => render_with("apart.html", APART.1, &[], &Apart { apart })?,
        None => String::new(),
    };
    let feet = pictures.feet.into_iter().zip(told).map(|(foot, told)| DeskFoot {
        side: foot.letter,
        plan: foot.plan,
        cuts: foot.cuts.into_iter().chain([foot.free]).map(|cut| (cut.letter, cut.svg)).collect(),
        places: told.places,
    });
    Ok(DeskDrawing {
        scale: format!("1:{}", pictures.divisor),
        check_bar: check_bar(pictures.divisor),
        rules,
        feet: feet.collect(),
        pictorial: pictures.pictorial,
        apart,
    })
}

#[derive(Serialize)]
struct Apart<'a> {
    apart: &'a super::ApartPage,
}
