//! What the job hands to every step: cutters, rates and tolerances; and what may be wrong with them.

use super::{Step, Target};
use crate::frame::{Point2, Rect};
use crate::kernel::SurfaceError;
use crate::profile::Cutter;
use crate::ticket::{Hold, Make, Passes, Sense};

/// How the piece is cut. Plain data; lengths in mm, rates in mm/min.
#[derive(Clone, Debug)]
pub struct Cutting {
    /// Takes most of the stock away.
    pub roughing: Cutter,
    /// Leaves the surface.
    pub finishing: Cutter,
    /// Cuts along the trim outline; must be flat.
    pub perimeter: Cutter,
    /// Spindle speed of all three.
    pub spindle_rpm: f64,
    /// Feed along and upward.
    pub feed_mm_min: f64,
    /// Greatest rate downward.
    pub plunge_mm_min: f64,
    /// Greatest depth taken at once.
    pub step_down_mm: f64,
    /// Side step of roughing as a share of its cutter's diameter, 0..1.
    pub rough_step_share: f64,
    /// Left by roughing, square to the surface.
    pub allowance_mm: f64,
    /// Height of the ridges that finishing leaves between its passes, square to the surface.
    pub scallop_mm: f64,
    /// How far above the exact tip height a programmed path may run.
    pub point_tolerance_mm: f64,
    /// How far below it: a share of the tolerance that the wearer never feels.
    pub gouge_mm: f64,
    /// Direction of the finishing passes.
    pub passes: Passes,
    /// Which way round finishing rings are cut.
    pub sense: Sense,
    /// What the perimeter cut leaves to hold the piece.
    pub hold: Hold,
    /// How deep the perimeter cut may go into the board under the blank; 0: exactly to the bed.
    pub bed_cut_mm: f64,
    /// Angle of ramps into the material, degrees from level.
    pub ramp_deg: f64,
}

/// Share of the tolerance that may lie below the surface (our own choice: a third of what the
/// finest point tolerance in use leaves above).
const GOUGE_MM: f64 = 0.003;

/// Ramps of 10 degrees: gentle enough for an end mill that does not cut at its centre
/// (common practice, no source).
const RAMP_DEG: f64 = 10.0;

impl Cutting {
    /// The job's own choices with the ramp and gouge share of this room.
    pub fn of(make: &Make) -> Cutting {
        let material = &make.material;
        Cutting {
            roughing: make.roughing.clone(),
            finishing: make.finishing.clone(),
            perimeter: make.perimeter.clone(),
            spindle_rpm: material.spindle_rpm,
            feed_mm_min: material.feed_mm_min,
            plunge_mm_min: material.plunge_mm_min,
            step_down_mm: material.step_down_mm,
            rough_step_share: material.rough_step_share,
            allowance_mm: material.allowance_mm,
            scallop_mm: make.scallop_mm,
            point_tolerance_mm: material.point_tolerance_mm,
            gouge_mm: GOUGE_MM,
            passes: make.passes,
            sense: make.sense,
            hold: make.hold,
            bed_cut_mm: make.machine.bed_cut_mm,
            ramp_deg: RAMP_DEG,
        }
    }
}

/// Why no path can be made; each is a measurement.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // every field is named in the message
pub enum PathError {
    #[error("{name} is {value}; it must be from {least} to {most}")]
    Value { name: &'static str, value: f64, least: f64, most: f64 },
    #[error("the surface to be cut: {0}")]
    Surface(#[from] SurfaceError),
    #[error("the trim outline cannot be followed: {why}")]
    Outline { why: String },
    #[error("the trim outline leaves the blank by {by_mm:.2} mm at x {x:.1} y {y:.1}; move it or take a larger blank")]
    OutsideBlank { by_mm: f64, x: f64, y: f64 },
    #[error(
        "the centre line of the perimeter cut leaves the blank by {by_mm:.2} mm at x {x:.1} y {y:.1}; \
         the blank must stand at least {radius_mm} mm (the cutter's radius) beyond the outline"
    )]
    PerimeterLeavesBlank { by_mm: f64, x: f64, y: f64, radius_mm: f64 },
    #[error("the trim outline leaves the surface by {by_mm:.2} mm at x {x:.1} y {y:.1}; the surface must cover it")]
    OutsideSurface { by_mm: f64, x: f64, y: f64 },
    #[error(
        "a cutter of {diameter_mm} mm leaves {left_mm:.2} mm standing beside the outline at x {x:.1} y {y:.1}; \
         take a smaller perimeter cutter or widen that notch"
    )]
    Notch { diameter_mm: f64, left_mm: f64, x: f64, y: f64 },
    #[error("the perimeter cut needs a flat cutter; {name} is not flat")]
    PerimeterNotFlat { name: String },
    #[error(
        "only {found} of {asked} holding tabs, {length_mm:.1} mm long with half the cutter's width on both ends, fit on the \
         gentle parts of the outline; ask for {found}, or for shorter ones"
    )]
    Tabs { asked: usize, found: usize, length_mm: f64 },
    #[error(
        "a pin's hole of {hole_mm} mm is smaller than its cutter of {cutter_mm} mm; \
         take thicker pins or a thinner perimeter cutter"
    )]
    PinHole { hole_mm: f64, cutter_mm: f64 },
    #[error("rings need a rounded finishing cutter, and {name} is flat; take passes along or across")]
    RingsFlat { name: String },
    #[error("{step:?} finds nothing to cut inside the blank")]
    Nothing { step: Step },
}

/// Checks everything that the steps rely on later.
pub(super) fn check(target: &Target, cutting: &Cutting) -> Result<(), PathError> {
    let value = |name, value: f64, least: f64, most: f64| {
        if value >= least && value <= most { Ok(()) } else { Err(PathError::Value { name, value, least, most }) }
    };
    value("spindle speed, rpm", cutting.spindle_rpm, 1.0, 1e6)?;
    value("feed, mm/min", cutting.feed_mm_min, 1.0, 1e5)?;
    value("plunge rate, mm/min", cutting.plunge_mm_min, 1.0, 1e5)?;
    value("depth per pass, mm", cutting.step_down_mm, 0.05, 100.0)?;
    value("side step of roughing, share of the diameter", cutting.rough_step_share, 0.02, 0.95)?;
    value("allowance, mm", cutting.allowance_mm, 0.0, 20.0)?;
    value("scallop height, mm", cutting.scallop_mm, 0.001, 1.0)?;
    value("point tolerance, mm", cutting.point_tolerance_mm, 0.002, 0.5)?;
    value("gouge share, mm", cutting.gouge_mm, 0.001, 0.1)?;
    value("depth of the cut into the bed, mm", cutting.bed_cut_mm, 0.0, 50.0)?;
    value("ramp angle, degrees", cutting.ramp_deg, 0.5, 60.0)?;
    value("blank width, mm", target.blank.width(), 1.0, 5000.0)?;
    value("blank length, mm", target.blank.height(), 1.0, 5000.0)?;
    value("blank height, mm", target.blank_top_mm, 0.1, 500.0)?;
    value("safe height, mm", target.safe_z_mm, target.blank_top_mm + LEAST_AIR_MM, 2000.0)?;
    if let Hold::Skin { thickness_mm } = cutting.hold {
        value("thickness of the skin, mm", thickness_mm, 0.05, target.blank_top_mm)?;
    }
    outline_inside(target)
}

/// Air kept between a rapid's end and material it must not touch: more than any blank's height is
/// off once it has been measured (our own choice).
pub(super) const LEAST_AIR_MM: f64 = 1.0;

/// Moves that take less than 1/400 s at full feed starve a controller that reads a few hundred lines
/// a second ([from memory]: what a serial line of 115,200 baud carries), mm.
pub(super) fn shortest(cutting: &Cutting) -> f64 {
    cutting.feed_mm_min / 60.0 / 400.0
}

fn outline_inside(target: &Target) -> Result<(), PathError> {
    if let Some((by_mm, p)) = worst_outside(target.blank, &target.outline) {
        return Err(PathError::OutsideBlank { by_mm, x: p.x, y: p.y });
    }
    if let Some((by_mm, p)) = worst_outside(target.surface.lattice.rect(), &target.outline) {
        return Err(PathError::OutsideSurface { by_mm, x: p.x, y: p.y });
    }
    Ok(())
}

/// The point furthest outside a rectangle and by how much, when any is.
pub(super) fn worst_outside(rect: Rect, points: &[Point2]) -> Option<(f64, Point2)> {
    let outside = |p: &Point2| (rect.x0 - p.x).max(p.x - rect.x1).max(rect.y0 - p.y).max(p.y - rect.y1);
    let worst = points
        .iter()
        .map(|p| (outside(p), *p))
        .fold((0.0, None), |(most, at), (by, p)| if by > most { (by, Some(p)) } else { (most, at) });
    worst.1.map(|p| (worst.0, p))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::testbed::{cutting, footbed};
    use crate::path::{perimeter, rough};

    #[test]
    fn every_number_is_checked_and_named() {
        let target = footbed(1.0);
        let good = cutting(Passes::Along);
        type Damage<'d> = (&'d str, &'d dyn Fn(&mut Cutting, &mut Target));
        let broken: [Damage; 6] = [
            ("feed", &|c, _| c.feed_mm_min = f64::NAN),
            ("plunge", &|c, _| c.plunge_mm_min = 0.0),
            ("depth per pass", &|c, _| c.step_down_mm = -1.0),
            ("share of the diameter", &|c, _| c.rough_step_share = 1.5),
            ("blank length", &|_, t| t.blank.y1 = f64::INFINITY),
            ("safe height", &|_, t| t.safe_z_mm = t.blank_top_mm),
        ];
        for (name, damage) in broken {
            let (mut cutting, mut target) = (good.clone(), target.clone());
            damage(&mut cutting, &mut target);
            let refused = rough(&target, &cutting).unwrap_err().to_string();
            assert!(refused.contains(name), "{refused}");
        }
    }

    #[test]
    fn broken_outlines_and_surfaces_are_refused() {
        let cutting = cutting(Passes::Along);
        let mut target = footbed(1.0);
        target.outline[7].x = f64::NAN;
        assert!(matches!(perimeter(&target, &cutting), Err(PathError::Outline { .. })));
        let eight = [(20.0, 20.0), (100.0, 200.0), (20.0, 200.0), (100.0, 30.0)];
        target.outline = eight.map(|(x, y)| Point2::new(x, y)).to_vec();
        assert!(perimeter(&target, &cutting).is_err());
        let mut target = footbed(1.0);
        target.surface.z[5] = f64::INFINITY;
        assert!(matches!(rough(&target, &cutting), Err(PathError::Surface(_))));
    }
}
