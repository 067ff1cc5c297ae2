//! Strokes engraved in the waste at the end of a path, with the cutter that is in the spindle anyway.

use super::cutting::LEAST_AIR_MM;
use super::trail::Trail;
use super::{Cutting, Target, Toolpath};
use crate::frame::{Point2, Point3};

/// `path` with `strokes` cut after it, the tip at height `z_mm`. Nothing may stand above the blank's
/// top over them.
pub fn engraved(path: Toolpath, target: &Target, cutting: &Cutting, strokes: &[Vec<Point2>], z_mm: f64) -> Toolpath {
    let mut trail = Trail::new(target, cutting);
    for stroke in strokes {
        let Some(first) = stroke.first() else { continue };
        trail.enter_over(*first, target.blank_top_mm + LEAST_AIR_MM);
        stroke.iter().for_each(|p| trail.cut_to(Point3::new(p.x, p.y, z_mm)));
    }
    let moves = path.moves.into_iter().chain(trail.finish()).collect();
    Toolpath { moves, ..path }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::testbed::{Stock, check_moves, cutting, footbed};
    use crate::path::{finish, letters};
    use crate::ticket::Passes;

    #[test]
    fn letters_are_as_deep_as_asked_and_rapids_stay_in_air() {
        let (target, cutting) = (footbed(1.0), cutting(Passes::Along));
        let plain = finish(&target, &cutting, &|_| 0.0).unwrap();
        let z = target.blank_top_mm - 0.6;
        let marked = engraved(plain.clone(), &target, &cutting, &letters::strokes("L7", 12.0), z);
        check_moves(&marked, &target, &cutting);
        let only = Toolpath { moves: marked.moves[plain.moves.len()..].to_vec(), ..plain };
        let mut stock = Stock::blank(&target);
        let (_, struck) = stock.carry_out(&only);
        // The lowest column lies within half a millimetre of a stroke: 0.04 mm higher on this ball.
        let deepest = target.blank_top_mm - stock.columns.range().0;
        assert!((0.55..=0.6 + 1e-9).contains(&deepest) && struck == 0.0, "{deepest} deep, {struck} struck");
    }
}
