//! Two pins bring a blank back after it was turned over: the holes that stand over them, and the
//! dry run that shows each pin under the tip. Knows where pins are to be; not why there.

use std::f64::consts::TAU;

use super::cutting::{LEAST_AIR_MM, check};
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3};
use crate::kernel::Shape;

/// How far above a pin's top the tip stops, mm: a sheet of card goes between, a wrong zero shows
/// (our own choice).
pub const TOUCH_ABOVE_MM: f64 = 1.0;
/// The tip comes down to a pin no faster than a hand reaches the stop, mm/min (our own choice).
const TOUCH_FEED_MM_MIN: f64 = 200.0;
/// The tip waits this long over a pin, s: time for a look from two sides (our own choice).
const LOOK_S: f64 = 8.0;

/// A hole's wall may deviate from its circle by this much, mm.
const CHORD_MM: f64 = 0.005;
/// A hole is bored in at least so many moves around.
const LEAST_CHORDS: usize = 8;
/// Narrower rounds than this are a plain plunge, mm.
const STRAIGHT_MM: f64 = 0.02;

/// A round blind hole for a pin, mill frame, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct PinHole {
    pub at: Point2,
    pub diameter_mm: f64,
    /// Height of its bottom.
    pub floor_mm: f64,
}

/// Bores the holes with the perimeter cutter: down in rounds at the ramp's angle, once more around at
/// the bottom.
pub fn pin_holes(target: &Target, cutting: &Cutting, holes: &[PinHole]) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let Shape::Flat { radius } = cutting.perimeter.shape else {
        return Err(PathError::PerimeterNotFlat { name: cutting.perimeter.name.clone() });
    };
    let mut trail = Trail::new(target, cutting);
    for hole in holes {
        let around = 0.5 * hole.diameter_mm - radius;
        // A thousandth is what a program prints.
        if around < -1e-3 {
            return Err(PathError::PinHole { hole_mm: hole.diameter_mm, cutter_mm: 2.0 * radius });
        }
        bore(&mut trail, target.blank_top_mm, cutting, hole, around.max(0.0));
    }
    if trail.is_empty() {
        return Err(PathError::Nothing { step: Step::PinHoles });
    }
    Ok(Toolpath {
        step: Step::PinHoles,
        cutter: cutting.perimeter.clone(),
        spindle_rpm: cutting.spindle_rpm,
        moves: trail.finish(),
    })
}

/// One hole; the axis goes round at `around` mm from its middle, counter-clockwise (climb milling).
fn bore(trail: &mut Trail, top: f64, cutting: &Cutting, hole: &PinHole, around: f64) {
    let place = |turns: f64, z: f64| {
        let (sin, cos) = (TAU * turns).sin_cos();
        Point3::new(hole.at.x + around * cos, hole.at.y + around * sin, z)
    };
    trail.enter_over(place(0.0, top).xy(), top + LEAST_AIR_MM);
    trail.cut_to(place(0.0, top));
    if around < STRAIGHT_MM {
        trail.cut_to(place(0.0, hole.floor_mm));
        return;
    }
    let chords = (TAU / 2.0 / (1.0 - CHORD_MM / around).max(-1.0).acos()).ceil().max(0.0) as usize;
    let chords = chords.max(LEAST_CHORDS);
    let pitch = (TAU * around * cutting.ramp_deg.to_radians().tan()).min(cutting.step_down_mm);
    let turns = (top - hole.floor_mm) / pitch;
    let steps = (turns * chords as f64).ceil() as usize;
    for k in 1..=steps + chords {
        let turned = k as f64 / chords as f64;
        trail.cut_to(place(turned, (top - pitch * turned).max(hole.floor_mm)));
    }
}

/// The dry run over pins that stand alone, before the blank goes on: over each at the safe height,
/// slowly down to [`TOUCH_ABOVE_MM`] above its top, a wait, and up. `pins` are the tops' middles.
pub fn touch_pins(target: &Target, cutting: &Cutting, pins: &[Point3]) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let slow = Cutting { feed_mm_min: TOUCH_FEED_MM_MIN, plunge_mm_min: TOUCH_FEED_MM_MIN, ..cutting.clone() };
    let mut trail = Trail::new(target, &slow);
    for pin in pins {
        trail.enter_over(pin.xy(), target.safe_z_mm);
        trail.cut_to(Point3::new(pin.x, pin.y, pin.z + TOUCH_ABOVE_MM));
        trail.wait(LOOK_S);
    }
    if trail.is_empty() {
        return Err(PathError::Nothing { step: Step::Pins });
    }
    Ok(Toolpath { step: Step::Pins, cutter: cutting.roughing.clone(), spindle_rpm: 0.0, moves: trail.finish() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::Motion;
    use crate::path::testbed::{check_moves, cutting, footbed};
    use crate::ticket::Passes;

    fn hole(diameter_mm: f64) -> PinHole {
        PinHole { at: Point2::new(30.0, 8.0), diameter_mm, floor_mm: 22.5 }
    }

    #[test]
    fn holes_are_round_and_as_deep_as_asked() {
        let (target, cutting) = (footbed(1.0), cutting(Passes::Along));
        for diameter in [6.0, 6.2, 8.2, 11.0] {
            let path = pin_holes(&target, &cutting, &[hole(diameter)]).unwrap();
            check_moves(&path, &target, &cutting);
            let wall = |p: Point3| (p.xy() - hole(diameter).at).norm() + 3.0;
            let bottom: Vec<_> = path.moves.iter().filter(|m| m.to.z == 22.5).collect();
            assert!(!bottom.is_empty() && path.moves.iter().all(|m| m.to.z >= 22.5));
            for m in path.moves.iter().filter(|m| matches!(m.motion, Motion::Feed(_))) {
                approx::assert_abs_diff_eq!(wall(m.to), 0.5 * diameter, epsilon = 0.001);
            }
        }
    }

    #[test]
    fn a_hole_smaller_than_its_cutter_is_refused() {
        let (target, cutting) = (footbed(1.0), cutting(Passes::Along));
        let refused = pin_holes(&target, &cutting, &[hole(5.8)]).unwrap_err();
        assert_eq!(refused, PathError::PinHole { hole_mm: 5.8, cutter_mm: 6.0 });
    }

    #[test]
    fn pins_are_looked_at_slowly_with_the_spindle_off() {
        let (target, cutting) = (footbed(1.0), cutting(Passes::Along));
        let pins = [Point3::new(66.0, 6.0, 2.5), Point3::new(66.0, 299.0, 2.5)];
        let path = touch_pins(&target, &cutting, &pins).unwrap();
        check_moves(&path, &target, &cutting);
        assert_eq!(path.spindle_rpm, 0.0);
        let waits: Vec<_> = path.moves.iter().filter(|m| matches!(m.motion, Motion::Wait(_))).map(|m| m.to).collect();
        assert_eq!(waits, pins.map(|pin| Point3::new(pin.x, pin.y, 3.5)));
        assert!(path.moves.iter().all(|m| m.to.z >= 3.5));
    }
}
