//! What a drawing is made from: plain data, filled in by the job. Knows nothing of how it is drawn.

use crate::frame::{Point2, Rect, Side};
use crate::limits::Severity;
use crate::nc::BoundedBy;
use crate::value::Value;

/// A height above the base plane at a place of the foot frame, mm.
pub type Height<'a> = &'a (dyn Fn(Point2) -> f64 + Sync);

/// One footbed to be drawn. All places are in the foot frame, mm.
#[derive(Clone)]
pub struct DrawnFoot<'a> {
    /// Which foot.
    pub side: Side,
    /// The trim outline, counter-clockwise in the foot frame, not repeated at the end. It is drawn
    /// point by point, so it must already be flattened as finely as it is to be cut.
    pub outline: &'a [Point2],
    /// Top surface; finite inside the outline and 2 mm around it.
    pub top: Height<'a>,
    /// Underside; finite inside the outline and 2 mm around it.
    pub underside: Height<'a>,
    /// Where the features are.
    pub landmarks: Landmarks,
    /// The line of the edge bevel, when there is one.
    pub bevel: Option<Bevel<'a>>,
    /// Where the holding tabs sit, on the outline.
    pub tabs: &'a [Point2],
    /// Asked and read back, in the order of [`Value::ALL`].
    pub values: Vec<ValueRow>,
    /// Effect in the boot.
    pub boot: Vec<BootRow>,
    /// Findings in the order in which they are to be numbered.
    pub notes: Vec<NoteRow>,
    /// Programs in the order in which they run.
    pub programs: Vec<ProgramRow>,
    /// What the proof of the programs found, in words; empty when nothing was proved.
    pub proof: String,
}

/// Where features of a footbed lie in the foot frame, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Landmarks {
    /// Length of the foot, mm: stations are told as a share of it.
    pub foot_length_mm: f64,
    /// The heel seat's low point.
    pub heel_centre: Point2,
    /// y of the cup's widest section.
    pub widest_cup_y: f64,
    /// Under the first met head.
    pub first_met: Point2,
    /// Under the fifth met head.
    pub fifth_met: Point2,
    /// Where the medial arch height is read.
    pub medial_arch: Point2,
    /// Where the lateral arch height is read.
    pub lateral_arch: Point2,
    /// The transverse arch's top.
    pub dome: Point2,
    /// Where the flex-zone thickness is read; `None` leaves its dimension off section A-A.
    pub flex_zone: Option<Point2>,
}

/// The line to which the lower edge is bevelled.
#[derive(Clone, Debug)]
pub struct Bevel<'a> {
    /// Where the bevel meets the underside, not repeated at the end.
    pub line: &'a [Point2],
    /// Such as `40 deg, 3 mm, at the lower edge`.
    pub words: String,
}

/// One value: asked, read back from the design, left by the programs.
#[derive(Clone, Debug, PartialEq)]
pub struct ValueRow {
    /// Which value; gives words and unit.
    pub value: Value,
    /// As asked; `None` when the ticket leaves it to the design.
    pub asked: Option<f64>,
    /// As read back from the design.
    pub read_back: f64,
    /// As read from the carved piece.
    pub carved: Option<f64>,
    /// What can be asked with the other values held.
    pub range: Option<(f64, f64)>,
    /// The rule that filled the value in when the ticket did not ask for it.
    pub rule: Option<String>,
}

/// One line of the effect in the boot.
#[derive(Clone, Debug, PartialEq)]
pub struct BootRow {
    /// What, in words.
    pub words: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// How much; `None` prints as `unknown`.
    pub value: Option<f64>,
}

/// One finding.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteRow {
    /// How much it weighs.
    pub severity: Severity,
    /// Name of the limit.
    pub limit: String,
    /// Where, in the foot frame; `None` when it has no place.
    pub at: Option<Point2>,
    /// What was measured, with its unit.
    pub measured: String,
    /// What is allowed, with its unit.
    pub allowed: String,
    /// The finding in one sentence.
    pub message: String,
    /// What to change, in one sentence.
    pub advice: String,
    /// The typed reason for which a stop was accepted.
    pub accepted: Option<String>,
}

/// One program file.
#[derive(Clone, Debug, PartialEq)]
pub struct ProgramRow {
    /// File name.
    pub file: String,
    /// The cutter, in words.
    pub cutter: String,
    /// Whether it is run in air, with the spindle off.
    pub in_air: bool,
    /// Time on the machine, s.
    pub time_s: f64,
    /// The same by what bounded the speed.
    pub bounded_by: BoundedBy,
    /// Lines in the text.
    pub lines: usize,
    /// SHA-256 of the text, hexadecimal.
    pub sha256: String,
    /// Programs of all feet run by this number, equal ones as they stand.
    pub turn: usize,
}

/// Two feet in one blank, to be drawn as it lies on the bed, mm, zero at its corner.
#[derive(Clone, Debug, PartialEq)]
pub struct LayData {
    /// Width and length of the blank.
    pub blank_mm: [f64; 2],
    /// The pieces.
    pub feet: Vec<LaidFoot>,
    /// Clamps from above.
    pub clamps: Vec<Rect>,
    /// What is to be said beside the picture.
    pub words: String,
}

/// A piece as it lies.
#[derive(Clone, Debug, PartialEq)]
pub struct LaidFoot {
    /// Which foot.
    pub side: Side,
    /// Its trim outline.
    pub outline: Vec<Point2>,
    /// Whether its toes point down.
    pub toes_down: bool,
    /// Strokes that are engraved beside it.
    pub mark: Vec<Vec<Point2>>,
}

/// One job sheet.
#[derive(Clone)]
pub struct SheetData<'a> {
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
    /// How the blank is clamped and where zero is, part by part: its name and the words.
    pub setup: Vec<(String, String)>,
    /// Cutters in the order of use, in words.
    pub cutters: Vec<String>,
    /// SHA-256 of the ticket, hexadecimal.
    pub ticket_sha256: String,
    /// How a pair lies in its blank; `None` where each foot has a blank of its own.
    pub lay: Option<LayData>,
    /// How the pieces give under load: the load's name and the words.
    pub load: Option<(String, String)>,
    /// One or two feet.
    pub feet: Vec<DrawnFoot<'a>>,
}

/// Why a drawing could not be made.
#[derive(Debug, thiserror::Error)]
pub enum DrawError {
    /// An outline with too few points.
    #[error("the {side} outline has {count} points; a drawing needs at least 3: give the flattened outline", side = .side.name())]
    ShortOutline {
        /// Which foot.
        side: Side,
        /// How many points there were.
        count: usize,
    },
    /// An outline too large or too small for a foot.
    #[error(
        "the {side} outline measures {width_mm:.1} x {length_mm:.1} mm; a drawing takes 20 to 500 mm each way: check its unit",
        side = .side.name()
    )]
    OutlineSize {
        /// Which foot.
        side: Side,
        /// Extent across, mm.
        width_mm: f64,
        /// Extent along, mm.
        length_mm: f64,
    },
    /// A coordinate or height that is no number.
    #[error("{what} of the {side} foot is not a finite number: check the values that it comes from", side = .side.name())]
    NotFinite {
        /// Which foot.
        side: Side,
        /// What it is.
        what: &'static str,
    },
    /// A sheet for no foot, or for more than a pair.
    #[error("a sheet shows one foot or one of each side; {count} were given")]
    Feet {
        /// How many.
        count: usize,
    },
    /// The page's template failed.
    #[error("the page could not be put together: {0}")]
    Template(#[from] minijinja::Error),
}

/// Refuses what cannot be drawn: everything that later code divides by, scales to or walks along.
pub(super) fn check_foot(foot: &DrawnFoot) -> Result<(), DrawError> {
    let side = foot.side;
    if foot.outline.len() < 3 {
        return Err(DrawError::ShortOutline { side, count: foot.outline.len() });
    }
    let l = &foot.landmarks;
    let marks = [l.heel_centre, l.first_met, l.fifth_met, l.medial_arch, l.lateral_arch, l.dome];
    let marks = marks.into_iter().chain(l.flex_zone);
    let bevel = foot.bevel.iter().flat_map(|b| b.line);
    let parts: [(&'static str, bool); 5] = [
        ("an outline point", foot.outline.iter().all(finite)),
        ("a landmark", marks.into_iter().all(|p| finite(&p)) && l.widest_cup_y.is_finite()),
        ("a point of the bevel line", bevel.into_iter().all(finite)),
        ("the foot's length", l.foot_length_mm.is_finite() && l.foot_length_mm > 0.0),
        ("a tab's place", foot.tabs.iter().all(finite)),
    ];
    if let Some((what, _)) = parts.into_iter().find(|(_, good)| !good) {
        return Err(DrawError::NotFinite { side, what });
    }
    let rect = crate::frame::Rect::around(foot.outline).ok_or(DrawError::ShortOutline { side, count: 0 })?;
    let fits = |mm: f64| (20.0..=500.0).contains(&mm);
    if !(fits(rect.width()) && fits(rect.height())) {
        return Err(DrawError::OutlineSize { side, width_mm: rect.width(), length_mm: rect.height() });
    }
    Ok(())
}

fn finite(p: &Point2) -> bool {
    p.x.is_finite() && p.y.is_finite()
}
