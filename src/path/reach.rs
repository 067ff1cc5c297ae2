//! How far from the piece a cutter may come, before any path is planned: what must be kept free
//! around a trim outline. Knows no heights of the piece.

use super::Cutting;
use super::rough::{CLEAR_MM, side_step};
use super::sidestep::plane_step;
use super::{OUTWARD_MM, Step};
use crate::profile::Cutter;

/// What one step may sweep around the outline.
#[derive(Clone, Copy, Debug)]
pub struct Reach<'c> {
    /// Which step.
    pub step: Step,
    /// What turns.
    pub cutter: &'c Cutter,
    /// How far outside the outline its axis may stand, mm.
    pub axis_mm: f64,
}

impl Reach<'_> {
    /// How far outside the outline the cutter's edge may come, mm.
    pub fn edge_mm(&self) -> f64 {
        self.axis_mm + self.cutter.shape.radius()
    }
}

/// The reach of every step whatever the surface's slope: a finishing cutter touches the edge with its
/// rim at most, and goes one pass further.
pub fn reaches(cutting: &Cutting) -> [Reach<'_>; 3] {
    let Cutting { roughing, finishing, perimeter, .. } = cutting;
    let finish = finishing.shape.radius() + plane_step(&finishing.shape, cutting.scallop_mm);
    let swept = roughing.shape.radius() - side_step(cutting);
    let groove = 2.0 * perimeter.shape.radius();
    let rough = groove.max(finish + finishing.shape.radius() - swept) + CLEAR_MM;
    [
        Reach { step: Step::Rough, cutter: roughing, axis_mm: rough },
        Reach { step: Step::Finish, cutter: finishing, axis_mm: finish },
        Reach { step: Step::Perimeter, cutter: perimeter, axis_mm: perimeter.shape.radius() + OUTWARD_MM },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::Shape;
    use crate::path::outline::Outline;
    use crate::path::testbed::{cutter, cutting, footbed};
    use crate::path::{finish, perimeter, rough};
    use crate::ticket::Passes;

    #[test]
    fn no_path_goes_beyond_its_reach() {
        let target = footbed(1.0);
        let outline = Outline::new(&target.outline).unwrap();
        let wide = Shape::Flat { radius: 6.0 };
        for (passes, roughing) in [(Passes::Along, Shape::Flat { radius: 5.0 }), (Passes::Across, wide)] {
            let cutting = Cutting { roughing: cutter("flat", roughing), ..cutting(passes) };
            let paths = [
                rough(&target, &cutting).unwrap(),
                finish(&target, &cutting, &|_| 0.0).unwrap(),
                perimeter(&target, &cutting).unwrap(),
            ];
            for (path, reach) in paths.iter().zip(reaches(&cutting)) {
                let away = path.moves.iter().map(|m| m.to.xy()).filter(|p| !outline.contains(*p));
                let most = away.map(|p| outline.distance(p)).fold(0.0, f64::max);
                assert!(
                    path.step == reach.step && most <= reach.axis_mm + 0.05,
                    "{:?}: {most} of {}",
                    path.step,
                    reach.axis_mm
                );
                assert!(most > 0.1 * reach.axis_mm, "{:?}: {most} of {}", path.step, reach.axis_mm);
            }
        }
    }
}
