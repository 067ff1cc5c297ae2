//! The middle of a job: a design becomes program texts, and the texts are proved from what they
//! say, not from what was planned.

use super::design::Design;
use super::lay::{Face, Lay};
use super::{Precision, ProofReport, StageError, stem, target};
use crate::carve::{self, Cut, Floor, Proof, Rules, Tabs};
use crate::frame::Placement;
use crate::gauge::{self, Piece};
use crate::grid::Grid;
use crate::limits::{self, Finding};
use crate::nc::{self, Header, Program, Refusals, Timing};
use crate::path::{self, Cutting, Step, Target, Toolpath};
use crate::profile::{Blank, Cutter};
use crate::ticket::{FootOrder, Make, Ticket, Underside};
use crate::value::Values;

/// Most that may be cut below the design, normal to it, mm: the programmed points' own share
/// (0.003) and the rounding of heights on the carving lattice. Far below the 0.3 mm that anyone
/// feels. Shop's own choice.
const GOUGE_MM: f64 = 0.02;
/// Most that may stand in the perimeter's groove beside its tabs, mm: a film that a thumb breaks.
const LEFT_AROUND_MM: f64 = 0.05;
/// Thickness the carving lattice may misjudge, mm.
const FLOOR_SLACK_MM: f64 = 0.05;
/// How far beyond its radius a cutter may leave the blank, mm: the frame run goes round outside.
const OVERRUN_MM: f64 = 10.0;

/// A program as written, with what its text reads back as.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Written {
    pub file: String,
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
        "nothing says what this program is for: put (STEP: ROUGH), FINISH, PERIMETER or FRAME at its top, or let its \
         name end in -top-1-rough.ngc, -top-2-finish.ngc, -top-3-perimeter.ngc or -frame.ngc"
    )]
    NoStep,
}

impl Written {
    /// A program from its text. A comment in it says which step it is, or else its file's name; the
    /// ticket says which cutter turns.
    pub fn from_text(file: &str, bytes: &[u8], make: &Make) -> Result<Written, TextError> {
        let program = nc::read(bytes, &nc::acceptance(&make.machine))?;
        let steps = [Step::Rough, Step::Finish, Step::Perimeter, Step::Frame];
        let said = |step: &Step| {
            let words = format!("STEP: {}", kind_of_step(*step));
            program.comments.iter().any(|(_, comment)| comment.trim().eq_ignore_ascii_case(&words))
        };
        let named = |step: &Step| file.ends_with(&format!("-{}.ngc", file_step(*step)));
        let step = steps.into_iter().find(said).or(steps.into_iter().find(named)).ok_or(TextError::NoStep)?;
        let cutter = match step {
            Step::Rough | Step::Frame => &make.roughing,
            Step::Finish => &make.finishing,
            Step::Perimeter => &make.perimeter,
        };
        let timing = nc::time(&program, &make.machine);
        Ok(Written {
            file: file.to_string(),
            face: Face::Top,
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
    let header = header(ticket, design, sha256);
    plan(&target, make)?
        .iter()
        .map(|path| {
            let step = file_step(path.step);
            let text = nc::write(path, &make.machine, &header).map_err(|source| StageError::Write { step, source })?;
            let program = nc::read(text.as_bytes(), &nc::acceptance(&make.machine))
                .map_err(|source| StageError::ReadBack { step, source })?;
            let timing = nc::time(&program, &make.machine);
            Ok(Written {
                file: format!("{}-{step}.ngc", stem(ticket, design.order.side)),
                face: Face::Top,
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
fn plan(target: &Target, make: &Make) -> Result<Vec<Toolpath>, StageError> {
    let mut cutting = Cutting::of(make);
    cutting.spindle_rpm = spindle_rpm(make);
    let step = |step: Step| move |source| StageError::Path { step: file_step(step), source };
    // A path that cannot be written is never the quickest.
    let seconds = |path: &Toolpath| nc::estimate_s(path, &make.machine).unwrap_or(f64::INFINITY);
    let rough = path::rough(target, &cutting).map_err(step(Step::Rough))?;
    let finish = path::finish(target, &cutting, &seconds).map_err(step(Step::Finish))?;
    let perimeter = path::perimeter(target, &cutting).map_err(step(Step::Perimeter))?;
    let frame = path::frame(target, &cutting, &[&rough, &finish, &perimeter]).map_err(step(Step::Frame))?;
    Ok(vec![frame, rough, finish, perimeter])
}

/// The part of a file's name that says what the program does, numbered in the order of the cuts.
pub fn file_step(step: Step) -> &'static str {
    match step {
        Step::Rough => "top-1-rough",
        Step::Finish => "top-2-finish",
        Step::Perimeter => "top-3-perimeter",
        Step::Frame => "frame",
    }
}

/// The word for a step in `job.json`.
pub fn kind_of_step(step: Step) -> &'static str {
    match step {
        Step::Rough => "rough",
        Step::Finish => "finish",
        Step::Perimeter => "perimeter",
        Step::Frame => "frame",
    }
}

fn header(ticket: &Ticket, design: &Design, sha256: &str) -> Header {
    let blank = &ticket.make.blank;
    Header {
        code: ticket.code.clone(),
        revision: ticket.revision,
        side: design.order.side,
        zero: "Z0 on the machine bed, X0 Y0 at the blank's marked corner, toes to +Y".into(),
        blank: format!(
            "{} {} x {} x {} mm, {}",
            blank.name, blank.width_mm, blank.length_mm, blank.height_mm, ticket.make.material.name
        ),
        ticket_sha256: sha256.to_string(),
        cautions: vec![
            "Eye protection, dust extraction, a mask. Check the hold-down. Hands clear.".into(),
            "Run the frame program first, in air. Never leave the machine alone.".into(),
            "The machine's manual and local rules come first.".into(),
        ],
    }
}

/// Programs carved from their text, and the values of what they leave.
#[derive(Clone, Debug)]
pub struct Proved {
    /// The proof, with the carved heights in the mill frame.
    pub proof: Proof,
    /// The values gauged on the carved piece. The flex zone's thickness is left out when the
    /// underside is still to be relieved.
    pub values: Values,
    /// How the piece lay in the blank.
    pub lay: Lay,
    /// What is to be minded about the proof itself, a sentence each.
    pub cautions: Vec<String>,
}

impl Proved {
    /// What is told of it.
    pub fn report(&self) -> ProofReport {
        let (proof, values, cautions) = (self.proof.clone(), self.values.clone(), self.cautions.clone());
        ProofReport { proof, values, cautions }
    }
}

/// Proves `written` on one blank, in order, against the design.
pub fn prove(
    ticket: &Ticket,
    design: &Design,
    lay: &Lay,
    written: &[Written],
    precision: Precision,
) -> Result<Proved, StageError> {
    let make = &ticket.make;
    let target = target::target(&design.footbed, lay.top, make, precision.carve_mm);
    let cuts: Vec<Cut> = written
        .iter()
        .map(|w| Cut { name: &w.file, step: w.step, program: &w.program, cutter: &w.cutter, timing: &w.timing })
        .collect();
    let proof = carve::prove(&cuts, &target, &rules(make, design, &target, lay.top, precision))?;
    let values = carved_values(make, design, &proof.carved, lay.top);
    let cautions = unroughed(written, &proof, make).into_iter().collect();
    Ok(Proved { proof, values, lay: *lay, cautions })
}

/// Told when a program cuts into a blank that nothing has roughed: it may prove, and still be more
/// than its cutter should take.
fn unroughed(written: &[Written], proof: &Proof, make: &Make) -> Option<String> {
    let first = written.iter().zip(&proof.programs).find(|(w, _)| w.step != Step::Frame)?;
    let (program, figures) = first;
    (program.step != Step::Rough).then(|| {
        format!(
            "roughing was not among the programs before {}: it was carved from the whole blank, with up to {:.1} mm of \
             stock up the cutter; roughing takes {} mm at once and leaves {} mm",
            program.file, figures.most_engaged_mm, make.material.step_down_mm, make.material.allowance_mm
        )
    })
}

fn rules(make: &Make, design: &Design, target: &Target, placement: Placement, precision: Precision) -> Rules {
    Rules {
        step_mm: precision.carve_mm,
        gouge_mm: GOUGE_MM,
        left_mm: None,
        bed_cut_mm: make.machine.bed_cut_mm,
        travel_mm: make.machine.travel_mm,
        overrun_mm: OVERRUN_MM,
        least_chip_mm: make.material.chip_load_mm[0],
        floor: Some(floor(make, design, target, placement)),
        tabs: Some(tabs(make)),
    }
}

fn tabs(make: &Make) -> Tabs {
    Tabs {
        count: make.tabs.count,
        length_mm: make.tabs.length_mm,
        height_mm: make.tabs.thickness_mm,
        allowance_mm: path::OUTWARD_MM,
        left_mm: LEFT_AROUND_MM,
    }
}

/// What must remain: the material's least thickness, or what an accepted reason lets the design
/// have, whichever is less.
fn floor(make: &Make, design: &Design, target: &Target, placement: Placement) -> Floor {
    let footbed = &design.footbed;
    let least = &make.material.least;
    let lattice = target.surface.lattice;
    let allowed = |z: f64, p: crate::frame::Point2| {
        let zone = if p.y < footbed.places.heel_post_front_y() {
            least.heel
        } else if p.y < footbed.places.met_line_y(p.x) {
            least.flex_zone
        } else {
            least.forefoot
        };
        zone.min(z) - FLOOR_SLACK_MM
    };
    let least_mm = Grid {
        lattice,
        z: (0..lattice.len())
            .map(|k| {
                let (i, j) = (k % lattice.nx, k / lattice.nx);
                allowed(target.surface.at(i, j), placement.unplace(lattice.node(i, j)))
            })
            .collect(),
    };
    Floor { underside: Grid::filled(lattice, 0.0), least_mm }
}

/// The carved heights, gauged like any piece.
fn carved_values(make: &Make, design: &Design, carved: &Grid, placement: Placement) -> Values {
    let footbed = &design.footbed;
    let top = |p| carved.sample(placement.place(p));
    let underside = |_| (make.underside == Underside::Flat).then_some(0.0);
    gauge::read(&footbed.places, Piece { top: &top, underside: &underside, outline: &footbed.outline })
}

/// Height at which rapids in x and y are made, mm.
pub fn safe_z_mm(make: &Make) -> f64 {
    target::blank_top_mm(&make.blank) + make.machine.safe_above_blank_mm
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
