//! Programs proved from what their text says, clamping after clamping: the underside in the blank
//! that lies upside down, then the top over what the underside's programs have left.

use std::collections::BTreeMap;

use serde::Serialize;

use super::design::Design;
use super::lay::{Face, Lay, turned};
use super::target::{self, placed};
use super::turning::{Pin, pins};
use super::under;
use super::{Precision, StageError, Written};
use crate::carve::{self, Cut, FACE_MM, Floor, Proof, Rules, Skin, Tabs, Violation, ViolationKind};
use crate::frame::{Placement, Point2};
use crate::gauge::{self, Piece};
use crate::grid::Grid;
use crate::path::{self, Step, Target};
use crate::ticket::{Hold, Make, Ticket, Underside};
use crate::value::Values;

/// Most that may be cut below the design, normal to it, mm: the programmed points' own share
/// (0.003) and the rounding of heights on the carving lattice. Far below the 0.3 mm that anyone
/// feels. Shop's own choice.
const GOUGE_MM: f64 = 0.02;
/// How much more than one step-down roughing may take at one place, mm: its passes run up to 0.1 mm above
/// their heights, and a link may take a sliver beside them. Shop's own choice.
const DEEPER_MM: f64 = 0.5;
/// Most that may stand in the perimeter's groove beside its tabs, mm: a film that a thumb breaks.
const LEFT_AROUND_MM: f64 = 0.05;
/// Thickness the carving lattice may misjudge, mm.
const FLOOR_SLACK_MM: f64 = 0.05;
/// How far beyond its radius a cutter may leave the blank, mm: the frame run goes round outside.
const OVERRUN_MM: f64 = 10.0;
/// The dry run over the pins is held against a slab as high as they are, on a lattice of this step, mm.
const SLAB_STEP_MM: f64 = 1.0;

/// Programs carved from their text, and the values of what they leave.
#[derive(Clone, Debug)]
pub struct Proved {
    /// The proof of all programs together, with the heights that the top's programs leave in the
    /// top's mill frame.
    pub proof: Proof,
    /// The surface's figures of each face that programs were given for.
    pub faces: BTreeMap<&'static str, FaceFigures>,
    /// What thickness was judged from.
    pub thickness: Thickness,
    /// What the underside's programs leave: heights above the bed as the top is cut; `None` where the
    /// blank's own face stays.
    pub underside: Option<Grid>,
    /// The values gauged on the carved piece. The flex zone's thickness is left out when the
    /// underside is still to be relieved.
    pub values: Values,
    /// How the piece lay in the blank.
    pub lay: Lay,
    /// What is to be minded about the proof itself, a sentence each.
    pub cautions: Vec<String>,
}

/// What thickness was judged from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Thickness {
    /// From what programs leave on both sides, or from the top over a flat underside.
    BothSides,
    /// From the top alone: the hollow of the underside is still to be cut.
    TopAlone,
    /// Not at all: nothing cuts the top.
    NotJudged,
}

/// How well one face was cut, as in [`Proof`].
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct FaceFigures {
    pub max_gouge_mm: f64,
    pub scallop_p50_mm: Option<f64>,
    pub scallop_p99_mm: Option<f64>,
    pub scallop_max_mm: Option<f64>,
    pub unreached_max_mm: Option<f64>,
    pub unreached_at_mm: Option<[f64; 2]>,
    pub time_s: f64,
}

/// Proves `written` on one blank, face after face and each in the order given, against the design.
pub fn prove(
    ticket: &Ticket,
    design: &Design,
    lay: &Lay,
    written: &[Written],
    precision: Precision,
) -> Result<Proved, StageError> {
    let make = &ticket.make;
    let designed_underside = lay.under.map(|_| target::underside(&design.footbed, lay.top, make, precision.carve_mm));
    let job = Job { make, design, lay, precision, designed_underside };
    let of = |wanted: Face, dry: bool| -> Vec<Cut> {
        let picked = written.iter().filter(|w| w.face == wanted && (w.step == Step::Pins) == dry);
        picked.map(cut).collect()
    };
    let (cuts, over_pins) = (of(Face::Top, false), of(Face::Top, true));
    let under = job.under(&of(Face::Under, false))?;
    let underside = under.as_ref().map(|proof| placed(&proof.carved, turned(Placement::identity(), &job.make.blank)));
    let thickness = match (&underside, cuts.is_empty()) {
        (_, true) => Thickness::NotJudged,
        (None, _) if job.has_hollow() => Thickness::TopAlone,
        _ => Thickness::BothSides,
    };
    let top = job.top(&cuts, underside.as_ref())?;
    let touched = job.over_pins(&over_pins)?;

    let mut faces = BTreeMap::new();
    faces.extend(under.as_ref().map(|proof| (Face::Under.name(), FaceFigures::of(proof))));
    faces.extend((!cuts.is_empty()).then(|| (Face::Top.name(), FaceFigures::of(&top))));
    let values = if cuts.is_empty() { Values::new() } else { job.values(&top.carved, underside.as_ref(), thickness) };
    let mut proof = [touched, under].into_iter().flatten().fold(top, Proof::together);
    if cuts.is_empty() {
        proof.thinnest = None;
    }
    let cautions =
        [Face::Under, Face::Top].into_iter().filter_map(|face| unroughed(face, written, &proof, make)).collect();
    Ok(Proved { proof, faces, thickness, underside, values, lay: lay.clone(), cautions })
}

/// Told when a program cuts into a face that nothing has roughed, deeper than roughing would at once:
/// it may prove, and still be more than its cutter should take.
fn unroughed(face: Face, written: &[Written], proof: &Proof, make: &Make) -> Option<String> {
    let program = written.iter().find(|w| w.face == face && !w.step.is_dry() && w.step != Step::PinHoles)?;
    let figures = proof.programs.iter().find(|figures| figures.name == program.file)?;
    let least = make.material.step_down_mm;
    (program.step != Step::Rough && figures.most_engaged_mm > least).then(|| {
        format!(
            "roughing was not among the programs before {}: it was carved from the whole blank, with up to {:.1} mm of \
             stock up the cutter; roughing takes {least} mm at once and leaves {} mm",
            program.file, figures.most_engaged_mm, make.material.allowance_mm
        )
    })
}

fn cut(written: &Written) -> Cut<'_> {
    Cut {
        name: &written.file,
        step: written.step,
        program: &written.program,
        cutter: &written.cutter,
        timing: &written.timing,
    }
}

impl FaceFigures {
    fn of(proof: &Proof) -> FaceFigures {
        FaceFigures {
            max_gouge_mm: proof.max_gouge_mm,
            scallop_p50_mm: proof.scallop_p50_mm,
            scallop_p99_mm: proof.scallop_p99_mm,
            scallop_max_mm: proof.scallop_max_mm,
            unreached_max_mm: proof.unreached_max_mm,
            unreached_at_mm: proof.unreached_at_mm,
            time_s: proof.time_s,
        }
    }
}

/// What all proofs of one foot look at.
struct Job<'a> {
    make: &'a Make,
    design: &'a Design<'a>,
    lay: &'a Lay,
    precision: Precision,
    /// On the target's lattice; `None` for a piece that is flat below.
    designed_underside: Option<Grid>,
}

impl Job<'_> {
    fn target(&self) -> Target {
        target::target(&self.design.footbed, self.lay.top, self.make, self.precision.carve_mm)
    }

    /// Whether the design's underside is anywhere off the base plane.
    fn has_hollow(&self) -> bool {
        self.designed_underside.as_ref().is_some_and(|under| under.range().1 > FACE_MM)
    }

    /// The underside in its own clamping; `None` without a program for it. A flat underside is as
    /// good a target as a hollow one: whatever is cut into it is too deep.
    fn under(&self, cuts: &[Cut]) -> Result<Option<Proof>, StageError> {
        if cuts.is_empty() {
            return Ok(None);
        }
        let placement = self.lay.under.unwrap_or_else(|| turned(self.lay.top, &self.make.blank));
        let target = under::target(&self.design.footbed, placement, self.make, self.precision.carve_mm);
        Ok(Some(carve::prove(cuts, &target, &self.rules())?))
    }

    /// The top, over the underside that was left; over the base plane when nothing has cut it.
    fn top(&self, cuts: &[Cut], underside: Option<&Grid>) -> Result<Proof, StageError> {
        let target = self.target();
        let floor = self.floor(&target, underside);
        let rules = Rules { floor: Some(floor), hold: Some(self.hold()), ..self.rules() };
        let mut proof = carve::prove(cuts, &target, &rules)?;
        if self.has_hollow() {
            let struck: Vec<_> =
                pins(self.make, self.lay.pin_height_mm).iter().filter_map(|pin| struck(pin, &proof.carved)).collect();
            struck.into_iter().for_each(|violation| proof.refuse(violation));
        }
        Ok(proof)
    }

    /// The dry run over the pins, as if the whole bed stood as high as they do. Where no blank is turned
    /// on pins nobody takes it off for them, and it stands.
    fn over_pins(&self, cuts: &[Cut]) -> Result<Option<Proof>, StageError> {
        if cuts.is_empty() {
            return Ok(None);
        }
        let target = target::target(&self.design.footbed, self.lay.top, self.make, SLAB_STEP_MM);
        let pins = pins(self.make, self.lay.pin_height_mm);
        let stand = pins.into_iter().filter(|_| self.has_hollow()).map(|pin| pin.height_mm);
        let highest = stand.reduce(f64::max).unwrap_or(target.blank_top_mm);
        let surface = Grid::filled(target.surface.lattice, highest);
        let slab = Target { surface, blank_top_mm: highest, ..target };
        Ok(Some(carve::prove(cuts, &slab, &Rules { step_mm: SLAB_STEP_MM, ..self.rules() })?))
    }

    fn rules(&self) -> Rules {
        let machine = &self.make.machine;
        Rules {
            step_mm: self.precision.carve_mm,
            gouge_mm: GOUGE_MM,
            left_mm: None,
            deepest_cut_mm: self.make.material.step_down_mm + DEEPER_MM,
            bed_cut_mm: machine.bed_cut_mm,
            travel_mm: machine.travel_mm,
            overrun_mm: OVERRUN_MM,
            least_chip_mm: self.make.material.chip_load_mm[0],
            floor: None,
            hold: None,
            keep_out: self.lay.keep_out.clone(),
        }
    }

    fn hold(&self) -> carve::Hold {
        match self.make.hold {
            Hold::Tabs(tabs) => carve::Hold::Tabs(Tabs {
                count: tabs.count,
                length_mm: tabs.length_mm,
                height_mm: tabs.thickness_mm,
                allowance_mm: path::OUTWARD_MM,
                left_mm: LEFT_AROUND_MM,
            }),
            Hold::Skin { thickness_mm } => {
                carve::Hold::Skin(Skin { thickness_mm, allowance_mm: path::OUTWARD_MM, slack_mm: LEFT_AROUND_MM })
            }
        }
    }

    /// What must remain: the material's least thickness, or what an accepted reason lets the design
    /// have, whichever is less.
    fn floor(&self, target: &Target, underside: Option<&Grid>) -> Floor {
        let (footbed, least) = (&self.design.footbed, &self.make.material.least);
        let lattice = target.surface.lattice;
        // Without programs for the hollow the piece is still solid down to the base plane.
        let designed = underside.and(self.designed_underside.as_ref());
        let allowed = |k: usize| {
            let p = self.lay.top.unplace(lattice.node(k % lattice.nx, k / lattice.nx));
            let zone = if p.y < footbed.places.heel_post_front_y() {
                least.heel
            } else if p.y < footbed.places.met_line_y(p.x) {
                least.flex_zone
            } else {
                least.forefoot
            };
            let thickness = target.surface.z[k] - designed.map_or(0.0, |under| under.z[k]);
            zone.min(thickness) - FLOOR_SLACK_MM
        };
        let least_mm = Grid { lattice, z: (0..lattice.len()).map(allowed).collect() };
        Floor { underside: underside.cloned().unwrap_or_else(|| Grid::filled(lattice, 0.0)), least_mm }
    }

    /// The carved heights, gauged like any piece.
    fn values(&self, carved: &Grid, underside: Option<&Grid>, thickness: Thickness) -> Values {
        let (footbed, lay) = (&self.design.footbed, self.lay.top);
        let top = |p: Point2| carved.sample(lay.place(p));
        let under = |p: Point2| match (underside, thickness) {
            (Some(underside), _) => underside.sample(lay.place(p)),
            (None, Thickness::BothSides) => Some(0.0),
            (None, _) => (self.make.underside == Underside::Flat).then_some(0.0),
        };
        gauge::read(&footbed.places, Piece { top: &top, underside: &under, outline: &footbed.outline })
    }
}

/// A pin that a cutter of the top would have met.
fn struck(pin: &Pin, carved: &Grid) -> Option<Violation> {
    let lattice = carved.lattice;
    let over = (0..lattice.len()).map(|k| (k, lattice.node(k % lattice.nx, k / lattice.nx)));
    let disk = over.filter(|(_, p)| (p - pin.at).norm() <= pin.hole_radius_mm());
    let lowest = disk.map(|(k, _)| carved.z[k]).fold(f64::INFINITY, f64::min);
    (lowest < pin.height_mm).then(|| Violation {
        kind: ViolationKind::Pin,
        file: String::new(),
        line: 0,
        at_mm: [pin.at.x, pin.at.y, lowest],
        measured: lowest,
        allowed: pin.height_mm,
        message: format!(
            "cutters come down to {lowest:.2} mm over the pin {}, which stands {:.2} mm high: take lower pins",
            pin.place, pin.height_mm
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Lattice;

    /// A step in what is left, 12 mm before and 2 mm behind y = 6.
    #[test]
    fn a_pin_is_struck_where_less_is_left_than_it_is_high() {
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 0.5, nx: 41, ny: 41 };
        let carved = Grid::from_fn(lattice, |p| if p.y < 6.0 { 12.0 } else { 2.0 });
        let pin =
            |y, height_mm| Pin { at: Point2::new(10.0, y), diameter_mm: 6.0, height_mm, place: "ahead of the toes" };
        assert_eq!(struck(&pin(2.0, 5.0), &carved), None);
        assert_eq!(struck(&pin(12.0, 1.5), &carved), None);
        let found = struck(&pin(4.0, 2.5), &carved).unwrap();
        assert_eq!((found.kind, found.measured, found.allowed), (ViolationKind::Pin, 2.0, 2.5));
    }
}
