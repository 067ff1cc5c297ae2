//! The middle of a job: a design becomes program texts, those of the underside first. Says of a text
//! what it is for; proves nothing.

use super::design::Design;
use super::lay::{Face, Lay};
use super::{Precision, StageError, stem, target, turning, under};
use crate::frame::Side;
use crate::limits::{self, Finding};
use crate::nc::{self, Header, Program, Refusals, Timing};
use crate::path::{self, Cutting, Step, Target, Toolpath};
use crate::profile::{Blank, Cutter, WorkOffset};
use crate::ticket::{FootOrder, Laying, Make, Ticket, Turning};

/// A program as written, with what its text reads back as.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Written {
    pub file: String,
    /// The foot that its text says it is for.
    pub side: Option<Side>,
    /// The code that its text says it is of, in capitals.
    pub code: Option<String>,
    pub face: Face,
    pub step: Step,
    pub cutter: Cutter,
    pub text: String,
    pub program: Program,
    pub timing: Timing,
}

/// Why a program from a file cannot be proved.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum TextError {
    #[error("{0}")]
    Refused(#[from] Refusals),
    #[error(
        "nothing says what this program is for: put (STEP: ROUGH), FINISH, REST, PERIMETER, FRAME, PINS or PIN HOLES at its \
         top, and (FACE: UNDER) where it cuts the underside, or let its name end in -top-1-rough.ngc, \
         -top-2-finish.ngc, -top-2-rest.ngc, -top-3-perimeter.ngc, -frame.ngc, -top-0-pins.ngc, -under-1-pins.ngc, -under-2-rough.ngc, \
         -under-3-finish.ngc or -under-frame.ngc"
    )]
    NoStep,
    #[error(
        "it counts from G{found}; on machine {machine} programs of this side count from G{wanted}: set that zero, or \
         the machine profile's under_offset"
    )]
    Offset { found: u32, wanted: u32, machine: String },
    #[error("this is a rest program, and the ticket names no rest cutter: add `rest` under [make.cutters]")]
    NoRest,
}

impl Written {
    /// A program from its text. A comment in it says which step it is, or else its file's name; the
    /// ticket says which cutter turns.
    pub fn from_text(file: &str, bytes: &[u8], make: &Make) -> Result<Written, TextError> {
        let program = nc::read(bytes, &nc::acceptance(&make.machine))?;
        let said = |words: String| {
            let first = |comment: &str| comment.split(',').next().unwrap_or_default().trim().to_ascii_uppercase();
            program.comments.iter().any(|(_, comment)| first(comment) == words.to_ascii_uppercase())
        };
        let named = |(face, step): &(Face, Step)| file.ends_with(&format!("-{}.ngc", file_step(*face, *step)));
        let name = PROGRAMS.into_iter().find(named);
        let step = PROGRAMS.into_iter().map(|(_, step)| step).find(|step| said(format!("STEP: {}", step_words(*step))));
        let face = [Face::Under, Face::Top].into_iter().find(|face| said(format!("FACE: {}", face.name())));
        let side = Side::BOTH.into_iter().find(|side| said(format!("SIDE: {}", side.letter())));
        let code = nc::said(&program, "CODE").and_then(|(_, words)| Some(words.split(' ').next()?.to_owned()));
        let step = step.or(name.map(|(_, step)| step)).ok_or(TextError::NoStep)?;
        let face = face.or(name.map(|(face, _)| face)).unwrap_or(Face::Top);
        let (found, wanted) = (program.offset, offset(face, make).number());
        if found != wanted {
            return Err(TextError::Offset { found, wanted, machine: make.machine.name.clone() });
        }
        let cutter = match step {
            Step::Rough | Step::Frame | Step::Pins => &make.roughing,
            Step::Finish => &make.finishing,
            Step::Rest => make.rest.as_ref().ok_or(TextError::NoRest)?,
            Step::Perimeter | Step::PinHoles => &make.perimeter,
        };
        let timing = nc::time(&program, &make.machine);
        Ok(Written {
            file: file.to_string(),
            side,
            code,
            face,
            step,
            cutter: cutter.clone(),
            text: String::from_utf8_lossy(bytes).into_owned(),
            program,
            timing,
        })
    }
}

/// The programs of one foot, in the order they are run.
pub fn write(
    ticket: &Ticket,
    design: &Design,
    lay: &Lay,
    sha256: &str,
    precision: Precision,
) -> Result<Vec<Written>, StageError> {
    let make = &ticket.make;
    let target = target::target(&design.footbed, lay.top, make, precision.plan_mm);
    let under = under::plan(design, lay, make, precision)?;
    let mut top = plan(&target, make, lay)?;
    let turned = !under.is_empty();
    if turned {
        top.splice(0..0, touch(&target, make, lay.pin_height_mm)?);
    }
    let each = |face: Face| move |path| (face, path);
    under
        .iter()
        .map(each(Face::Under))
        .chain(top.iter().map(each(Face::Top)))
        .map(|(face, path)| {
            let step = file_step(face, path.step);
            let header = header(ticket, lay, (face, path.step, turned), sha256);
            let text = nc::write(path, &make.machine, &header).map_err(|source| StageError::Write { step, source })?;
            let program = nc::read(text.as_bytes(), &nc::acceptance(&make.machine))
                .map_err(|source| StageError::ReadBack { step, source })?;
            let timing = nc::time(&program, &make.machine);
            Ok(Written {
                file: format!("{}-{step}.ngc", stem(ticket, design.order.side)),
                side: Some(design.order.side),
                code: Some(ticket.code.to_ascii_uppercase()),
                face,
                step: path.step,
                cutter: path.cutter.clone(),
                text,
                program,
                timing,
            })
        })
        .collect()
}

/// Whether the controller can read the busiest of these programs as fast as it is to run.
pub(super) fn line_load(ticket: &Ticket, order: &FootOrder, written: &[Written]) -> Option<Finding> {
    let busiest = written.iter().max_by_key(|w| w.timing.busiest_second)?;
    limits::line_load(order, &ticket.make, &busiest.file, busiest.timing.busiest_second)
}

/// Where the cutters' tips go, step by step.
fn plan(target: &Target, make: &Make, lay: &Lay) -> Result<Vec<Toolpath>, StageError> {
    let mut cutting = Cutting::of(make);
    cutting.spindle_rpm = spindle_rpm(make);
    let step = |step: Step| move |source| StageError::Path { step: file_step(Face::Top, step), source };
    // A path that cannot be written is never the quickest.
    let seconds = |path: &Toolpath| nc::estimate_s(path, &make.machine).unwrap_or(f64::INFINITY);
    let rough = path::rough(target, &cutting).map_err(step(Step::Rough))?;
    let finish = path::finish(target, &cutting, &seconds).map_err(step(Step::Finish))?;
    let rest = match &make.rest {
        None => None,
        Some(cutter) => path::rest(target, &cutting, cutter).map_err(step(Step::Rest))?,
    };
    let finish = match &lay.mark {
        Some(mark) => path::engraved(finish, target, &cutting, &mark.strokes, mark.z_mm),
        None => finish,
    };
    let perimeter = path::perimeter(target, &cutting).map_err(step(Step::Perimeter))?;
    let cuts: Vec<Toolpath> = [rough, finish].into_iter().chain(rest).chain([perimeter]).collect();
    let frame = path::frame(target, &cutting, &cuts.iter().collect::<Vec<_>>()).map_err(step(Step::Frame))?;
    Ok(std::iter::once(frame).chain(cuts).collect())
}

/// The dry run over the pins; none for a blank that is turned by its edges.
fn touch(target: &Target, make: &Make, height_mm: f64) -> Result<Option<Toolpath>, StageError> {
    let tops: Vec<_> = turning::pins(make, height_mm).iter().map(turning::Pin::top).collect();
    if tops.is_empty() {
        return Ok(None);
    }
    let fault = |source| StageError::Path { step: file_step(Face::Top, Step::Pins), source };
    path::touch_pins(target, &Cutting::of(make), &tops).map(Some).map_err(fault)
}

/// Every program there can be, in the order in which they are run.
const PROGRAMS: [(Face, Step); 11] = [
    (Face::Under, Step::Frame),
    (Face::Under, Step::PinHoles),
    (Face::Under, Step::Rough),
    (Face::Under, Step::Finish),
    (Face::Under, Step::Rest),
    (Face::Top, Step::Pins),
    (Face::Top, Step::Frame),
    (Face::Top, Step::Rough),
    (Face::Top, Step::Finish),
    (Face::Top, Step::Rest),
    (Face::Top, Step::Perimeter),
];

/// When a program is run, among those of its foot.
pub(super) fn turn(face: Face, step: Step) -> usize {
    PROGRAMS.iter().position(|program| *program == (face, step)).unwrap_or(PROGRAMS.len())
}

/// The part of a file's name that says what the program does, numbered in the order of the cuts. A step
/// that its face does not have shares the name of the one that is most like it.
pub fn file_step(face: Face, step: Step) -> &'static str {
    match (face, step) {
        (Face::Under, Step::Frame) => "under-frame",
        (Face::Under, Step::PinHoles | Step::Pins) => "under-1-pins",
        (Face::Under, Step::Rough) => "under-2-rough",
        (Face::Under, Step::Finish | Step::Perimeter) => "under-3-finish",
        (Face::Under, Step::Rest) => "under-3-rest",
        (Face::Top, Step::Pins | Step::PinHoles) => "top-0-pins",
        (Face::Top, Step::Frame) => "frame",
        (Face::Top, Step::Rough) => "top-1-rough",
        (Face::Top, Step::Finish) => "top-2-finish",
        (Face::Top, Step::Rest) => "top-2-rest",
        (Face::Top, Step::Perimeter) => "top-3-perimeter",
    }
}

/// The words by which a program's text names its step.
fn step_words(step: Step) -> &'static str {
    match step {
        Step::PinHoles => "pin holes",
        step => kind_of_step(step),
    }
}

/// The stored zero that programs of this face count from.
pub fn offset(face: Face, make: &Make) -> WorkOffset {
    match face {
        Face::Top => WorkOffset::G54,
        Face::Under => make.machine.under_offset,
    }
}

/// The word for a step in `job.json`.
pub fn kind_of_step(step: Step) -> &'static str {
    match step {
        Step::PinHoles => "pin_holes",
        Step::Pins => "pins",
        Step::Rough => "rough",
        Step::Finish => "finish",
        Step::Rest => "rest",
        Step::Perimeter => "perimeter",
        Step::Frame => "frame",
    }
}

fn header(ticket: &Ticket, lay: &Lay, (face, step, turned): (Face, Step, bool), sha256: &str) -> Header {
    let blank = &ticket.make.blank;
    let mut cautions = vec![
        "Eye protection, dust extraction, a mask. Check the hold-down. Hands clear.".to_string(),
        "Run the frame program first, in air. Never leave the machine alone.".into(),
        "The machine's manual and local rules come first.".into(),
    ];
    if step == Step::Pins {
        cautions.insert(0, "Run with the blank off: the tip comes down to the pins on the bed.".into());
    }
    if ticket.make.laying == Laying::Pair {
        cautions.push("Two footbeds lie in this blank. Run the programs in the order of the sheet.".into());
    }
    Header {
        code: ticket.code.clone(),
        revision: ticket.revision,
        side: lay.side,
        face: face.name(),
        offset: offset(face, &ticket.make),
        zero: zero_words(face, turned, &ticket.make, lay),
        blank: format!(
            "{} {} x {} x {} mm, {}",
            blank.name, blank.width_mm, blank.length_mm, blank.height_mm, ticket.make.material.name
        ),
        ticket_sha256: sha256.to_string(),
        cautions,
    }
}

/// Where zero is while this face is cut; `turned` when the blank was turned over before the top.
fn zero_words(face: Face, turned: bool, make: &Make, lay: &Lay) -> String {
    let height = make.blank.height_mm;
    match (face, turned, make.turning) {
        (Face::Under, ..) => format!(
            "underside up. Touch the blank's upper face and set Z = {height}. X0 Y0 at the blank's marked corner, lower left, \
             toes to +Y"
        ),
        (Face::Top, true, Turning::Pins(_)) => {
            "blank turned over about its long axis, on the pins. Z0 on the machine bed. X0 Y0 stays where it was \
             for the underside, toes to +Y"
                .into()
        }
        (Face::Top, true, Turning::Edges) => {
            "blank turned over about its long axis, against the same stops. Z0 on the machine bed. X0 Y0 stays where \
             it was for the underside, toes to +Y"
                .into()
        }
        (Face::Top, false, _) => {
            format!("Z0 on the machine bed, X0 Y0 at the blank's marked corner, toes to {}", toes_to(lay))
        }
    }
}

/// Which way the toes point.
pub(super) fn toes_to(lay: &Lay) -> &'static str {
    if lay.half_turned() { "-Y" } else { "+Y" }
}

/// Spindle speed the machine can turn for this material.
pub fn spindle_rpm(make: &Make) -> f64 {
    let [lo, hi] = make.machine.spindle_rpm;
    make.material.spindle_rpm.clamp(lo, hi)
}

/// The blank's box in program coordinates.
pub fn blank_box_mm(blank: &Blank) -> [f64; 6] {
    [0.0, 0.0, 0.0, blank.width_mm, blank.length_mm, blank.height_mm]
}
