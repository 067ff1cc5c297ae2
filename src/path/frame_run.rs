//! The dry run: once around everything that the programs will do, in the air, spindle off.

use super::cutting::check;
use super::trail::Trail;
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3, Rect};

/// A run around the bounding box of `paths` at the safe height with the spindle off, so that the
/// job can be seen on the machine before anything turns.
pub fn frame(target: &Target, cutting: &Cutting, paths: &[&Toolpath]) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let places: Vec<Point2> = paths.iter().flat_map(|path| path.moves.iter().map(|m| m.to.xy())).collect();
    let Rect { x0, y0, x1, y1 } = Rect::around(&places).ok_or(PathError::Nothing { step: Step::Frame })?;
    let safe = target.safe_z_mm;
    let mut trail = Trail::new(target, cutting);
    trail.enter_over(Point2::new(x0, y0), safe);
    for (x, y) in [(x1, y0), (x1, y1), (x0, y1), (x0, y0)] {
        trail.cut_to(Point3::new(x, y, safe));
    }
    Ok(Toolpath { step: Step::Frame, cutter: cutting.roughing.clone(), spindle_rpm: 0.0, moves: trail.finish() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::testbed::{check_moves, cutting, footbed};
    use crate::path::{Motion, perimeter};
    use crate::ticket::Passes;

    #[test]
    fn it_goes_around_everything_in_the_air() {
        let (target, cutting) = (footbed(1.0), cutting(Passes::Along));
        let around = perimeter(&target, &cutting).unwrap();
        let dry = frame(&target, &cutting, &[&around]).unwrap();
        check_moves(&dry, &target, &cutting);
        assert_eq!(dry.spindle_rpm, 0.0);
        assert!(dry.moves.iter().all(|m| m.to.z == target.safe_z_mm));
        assert_eq!(dry.moves.iter().filter(|m| matches!(m.motion, Motion::Feed(_))).count(), 4);
        let places = |path: &Toolpath| Rect::around(&path.moves.iter().map(|m| m.to.xy()).collect::<Vec<_>>());
        assert_eq!(places(&dry), places(&around));
        assert!(matches!(frame(&target, &cutting, &[]), Err(PathError::Nothing { step: Step::Frame })));
    }
}
