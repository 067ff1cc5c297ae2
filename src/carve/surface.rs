//! The piece that is left, held against its target: cut too deep, left standing, too thin, and the
//! height of the scallops. Knows what stands and what should; how it came about only to say which
//! line is to blame.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::proof::{Cut, Rules, Thinnest};
use super::rim::Rim;
use super::violation::{Blame, Ledger, MOST_LISTED, ViolationKind as Kind};
use super::walk::who_cut;
use super::{CarveError, Floor};
use crate::frame::{Point2, Point3};
use crate::grid::{Grid, Lattice};
use crate::kernel::{Shape, beyond_reach};
use crate::path::{Step, Target};

/// Where even an ideal path would leave more than this, normal to the surface, the cutter counts as
/// unable to reach and what stands there is no scallop, mm.
///
/// The ideal path is taken at the nodes only, so it leaves scallops of its own of step^2 / 8 R:
/// 0.0017 mm on a level place and 0.007 mm on one of 75 degrees, for R = 3 and 0.2 mm. The limit lies above
/// those and well below the scallops that are asked for (0.04-0.08). Our own choice.
const UNREACHED_MM: f64 = 0.01;

/// Where the target lies no deeper than this under the blank's own face, nothing has to be cut and no
/// cut is judged as a finish, mm: no finger finds so shallow a step. Our own choice.
pub const FACE_MM: f64 = 0.02;

/// Bad places are told once for each square of this side, mm: its worst. Our own choice.
const PATCH_MM: f64 = 10.0;

/// The target at the stock's own nodes.
pub(super) struct Piece {
    rim: Rim,
    /// Minus infinity where the target says nothing.
    target: Grid,
    inside: Vec<bool>,
    blank_top_mm: f64,
    /// Cosine of the target's slope: what a vertical difference is worth across the surface.
    facing: Grid,
}

/// The finished surface in numbers, mm.
#[derive(Clone, Copy)]
pub(super) struct Finish {
    pub(super) p50_mm: f64,
    pub(super) p99_mm: f64,
    pub(super) max_mm: f64,
    pub(super) unreached_mm: f64,
    pub(super) unreached_at: Option<Point2>,
}

impl Piece {
    pub(super) fn new(target: &Target, lattice: Lattice) -> Result<Piece, CarveError> {
        let rim = Rim::new(&target.outline, target.blank)?;
        let inside = rim.inside(&lattice);
        let mut heights = target.surface.resampled(lattice, f64::NEG_INFINITY);
        heights.z.iter_mut().filter(|z| !z.is_finite()).for_each(|z| *z = f64::NEG_INFINITY);
        if let Some(p) = nodes(&lattice, &inside).find(|&(k, _)| heights.z[k] == f64::NEG_INFINITY).map(|(_, p)| p) {
            return Err(CarveError::NoTarget { x: p.x, y: p.y });
        }
        let facing = facing(&heights, &inside);
        Ok(Piece { rim, target: heights, inside, blank_top_mm: target.blank_top_mm, facing })
    }

    pub(super) fn rim(&self) -> &Rim {
        &self.rim
    }

    /// Nodes inside the outline: index and place.
    fn nodes(&self) -> impl Iterator<Item = (usize, Point2)> + '_ {
        nodes(&self.target.lattice, &self.inside)
    }

    /// Whether the piece keeps the blank's own face here, so that nothing has to be cut.
    fn keeps_face(&self, k: usize) -> bool {
        self.target.z[k] > self.blank_top_mm - FACE_MM
    }

    /// A vertical difference at node `k`, as it is across the surface.
    fn normal(&self, k: usize, vertical: f64) -> f64 {
        vertical * self.facing.z[k]
    }
}

/// Deepest cut below the target, mm. Beside the outline a cut cannot be deeper, across the surface
/// of the piece, than its distance from the outline: the perimeter's wall passes there.
pub(super) fn gouge(piece: &Piece, carved: &Grid, cuts: &[Cut<'_>], rules: &Rules, ledger: &mut Ledger) -> f64 {
    let mut worst = Patches::default();
    let mut most = 0.0_f64;
    for (k, p) in piece.nodes() {
        let mut deep = piece.normal(k, piece.target.z[k] - carved.z[k]);
        if deep > rules.gouge_mm {
            deep = piece.rim.distance_up_to(p, deep);
        }
        most = most.max(deep);
        if deep > rules.gouge_mm {
            worst.note(p, deep, k);
        }
    }
    worst.tell(cuts, carved, Kind::Gouge, rules.gouge_mm, ledger, |deep| {
        let allowed = rules.gouge_mm;
        format!(
            "cut {deep:.3} mm too deep, at most {allowed:.3}: was this line edited? Then plan again; if not, check the cutter \
             against its profile"
        )
    });
    most
}

/// What stands on the surface, once a program has finished it.
pub(super) fn finish(
    piece: &Piece,
    carved: &Grid,
    cuts: &[Cut<'_>],
    rules: &Rules,
    ledger: &mut Ledger,
) -> Option<Finish> {
    let out_of_reach = beyond_reach(&piece.target, &piece.inside, &finishers(cuts))?;
    let out_of_reach = out_of_reach.resampled(piece.target.lattice, 0.0);
    let mut standing = Vec::new();
    let mut unreached = (0.0, None);
    let mut worst = Patches::default();
    for (k, p) in piece.nodes().filter(|&(k, _)| !piece.keeps_face(k)) {
        let beyond = piece.normal(k, out_of_reach.z[k]).max(0.0);
        let left = piece.normal(k, carved.z[k] - piece.target.z[k]).max(0.0);
        if beyond <= UNREACHED_MM {
            standing.push(left);
        } else if beyond > unreached.0 {
            unreached = (beyond, Some(p));
        }
        // Where it cannot reach, the cutter still has to come down to its ideal path.
        if rules.left_mm.is_some_and(|allowed| left - beyond > allowed) {
            worst.note(p, left - beyond, k);
        }
    }
    worst.tell_of_finish(cuts, carved, rules.left_mm.unwrap_or(f64::INFINITY), ledger);
    Some(Finish {
        p50_mm: share(&mut standing, 0.5),
        p99_mm: share(&mut standing, 0.99),
        max_mm: share(&mut standing, 1.0),
        unreached_mm: unreached.0,
        unreached_at: unreached.1,
    })
}

/// The forms that finished the surface; a rest cutter counts, since it goes wherever the finishing cutter
/// cannot.
fn finishers(cuts: &[Cut<'_>]) -> Vec<Shape> {
    let mut shapes: Vec<Shape> = Vec::new();
    for cut in cuts.iter().filter(|cut| matches!(cut.step, Step::Finish | Step::Rest)) {
        if !shapes.contains(&cut.cutter.shape) {
            shapes.push(cut.cutter.shape);
        }
    }
    shapes
}

/// Least that remains over the underside against what must remain.
///
/// The gouge tolerance holds here too: a target that lies exactly on its limit may be cut by it.
pub(super) fn floor(
    piece: &Piece,
    carved: &Grid,
    cuts: &[Cut<'_>],
    rules: &Rules,
    ledger: &mut Ledger,
) -> Result<Option<Thinnest>, CarveError> {
    let Some(Floor { underside, least_mm }) = &rules.floor else { return Ok(None) };
    let [underside, least_mm] = [underside, least_mm].map(|grid| grid.resampled(carved.lattice, f64::NAN));
    let mut thinnest: Option<Thinnest> = None;
    let mut worst = Patches::default();
    for (k, p) in piece.nodes() {
        let (under, least) = (underside.z[k], least_mm.z[k]);
        if !(under.is_finite() && least.is_finite()) {
            return Err(CarveError::NoFloor { x: p.x, y: p.y });
        }
        // Beside the outline the perimeter's wall passes, see `gouge`.
        let thickness = carved.z[k] - under;
        let short = least - thickness;
        if short > rules.gouge_mm && piece.rim.distance_up_to(p, short) <= rules.gouge_mm {
            continue;
        }
        if thinnest.is_none_or(|t| thickness - least < t.thickness_mm - t.least_mm) {
            thinnest = Some(Thinnest { thickness_mm: thickness, least_mm: least, at_mm: [p.x, p.y] });
        }
        if short > rules.gouge_mm {
            worst.note(p, short, k);
        }
    }
    worst.tell(cuts, carved, Kind::Thin, rules.gouge_mm, ledger, |short| {
        format!("{short:.2} mm thinner than the least thickness here: raise the thickness or check the z zero")
    });
    Ok(thinnest)
}

/// The worst place of each square.
#[derive(Default)]
struct Patches {
    worst: BTreeMap<(i64, i64), (f64, usize, Point2)>,
}

impl Patches {
    fn note(&mut self, p: Point2, amount: f64, k: usize) {
        let square = ((p.x / PATCH_MM).floor() as i64, (p.y / PATCH_MM).floor() as i64);
        let worst = self.worst.entry(square).or_insert((amount, k, p));
        if amount > worst.0 {
            *worst = (amount, k, p);
        }
    }

    /// Worst first.
    fn sorted(self) -> Vec<(f64, usize, Point2)> {
        let mut list: Vec<_> = self.worst.into_values().collect();
        list.sort_by(|a, b| b.0.total_cmp(&a.0));
        list
    }

    /// Tells of places that were cut too deep, with the line that did it for those that are listed.
    fn tell(
        self,
        cuts: &[Cut<'_>],
        carved: &Grid,
        kind: Kind,
        allowed: f64,
        ledger: &mut Ledger,
        words: impl Fn(f64) -> String,
    ) {
        for (n, (amount, k, p)) in self.sorted().into_iter().enumerate() {
            let cutter = if n < MOST_LISTED { who_cut(cuts, p) } else { None };
            let line = |(c, t): (usize, usize)| {
                let cut = cuts.get(c)?;
                Some(Blame { file: cut.name, line: cut.program.travels.get(t)?.line })
            };
            let blame = cutter.and_then(line).unwrap_or(Blame { file: "", line: 0 });
            let at = Point3::new(p.x, p.y, carved.z[k]);
            ledger.add(kind, blame, at, (amount, allowed), || words(amount));
        }
    }

    /// Tells of places that were not cut deep enough: no one line is to blame, only the last finish.
    fn tell_of_finish(self, cuts: &[Cut<'_>], carved: &Grid, allowed: f64, ledger: &mut Ledger) {
        let file = cuts.iter().rev().find(|cut| cut.step == Step::Finish).map_or("", |cut| cut.name);
        for (amount, k, p) in self.sorted() {
            let at = Point3::new(p.x, p.y, carved.z[k]);
            ledger.add(Kind::LeftStanding, Blame { file, line: 0 }, at, (amount, allowed), || {
                format!("{amount:.3} mm left standing where the cutter can reach, at most {allowed:.3}: finish here")
            });
        }
    }
}

fn nodes<'a>(lattice: &'a Lattice, inside: &'a [bool]) -> impl Iterator<Item = (usize, Point2)> + 'a {
    let within = inside.iter().enumerate().filter(|&(_, &inside)| inside);
    within.map(|(k, _)| (k, lattice.node(k % lattice.nx, k / lattice.nx)))
}

/// The cosine of the slope at the nodes inside; elsewhere 1. Each axis takes the flatter of its two
/// sides: at a crease a steep neighbour must not make a difference look smaller than it is.
fn facing(heights: &Grid, inside: &[bool]) -> Grid {
    let Lattice { step, nx, .. } = heights.lattice;
    // Beyond the border and where there is no height the other side decides, or none does.
    let rise = |own: f64, other: Option<&f64>| other.map_or(f64::INFINITY, |other| ((other - own) / step).abs());
    let flatter = |own: f64, before: Option<&f64>, after: Option<&f64>| {
        let least = rise(own, before).min(rise(own, after));
        if least.is_finite() { least } else { 0.0 }
    };
    let mut facing = Grid::filled(heights.lattice, 1.0);
    facing.z.par_chunks_mut(nx).enumerate().for_each(|(j, row)| {
        let (first, z) = (j * nx, &heights.z);
        for (i, cosine) in row.iter_mut().enumerate().filter(|&(i, _)| inside[first + i]) {
            let (k, here) = (first + i, &z[first..first + nx]);
            let sx = flatter(z[k], i.checked_sub(1).and_then(|i| here.get(i)), here.get(i + 1));
            let sy = flatter(z[k], k.checked_sub(nx).and_then(|k| z.get(k)), z.get(k + nx));
            *cosine = (1.0 + sx * sx + sy * sy).sqrt().recip();
        }
    });
    facing
}

/// The value that this share of the values does not exceed; 0 without any. Puts them in another order.
fn share(values: &mut [f64], share: f64) -> f64 {
    let last = values.len().saturating_sub(1);
    let place = (share * last as f64).round() as usize;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(place, f64::total_cmp).1 }
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;
    use crate::frame::Rect;
    use crate::kernel::Shape;
    use crate::nc::{Program, Timing};
    use crate::profile::Cutter;

    const BLANK: Rect = Rect { x0: 0.0, y0: 0.0, x1: 40.0, y1: 30.0 };

    fn piece(height: impl Fn(Point2) -> f64 + Sync) -> Piece {
        let outline = [(10.0, 10.0), (30.0, 10.0), (30.0, 20.0), (10.0, 20.0)].map(|(x, y)| Point2::new(x, y));
        let lattice = Lattice::covering(BLANK, 0.25);
        let surface = Grid::from_fn(lattice, height);
        let target = Target { surface, outline: outline.to_vec(), blank: BLANK, blank_top_mm: 60.0, safe_z_mm: 70.0 };
        Piece::new(&target, lattice).unwrap()
    }

    fn rules() -> Rules {
        Rules {
            step_mm: 0.25,
            gouge_mm: 0.08,
            left_mm: Some(0.08),
            deepest_cut_mm: 60.0,
            bed_cut_mm: 0.0,
            travel_mm: [300.0; 3],
            overrun_mm: 0.0,
            least_chip_mm: 0.0,
            floor: None,
            hold: None,
            keep_out: vec![],
        }
    }

    /// The figures of a surface that was finished by a ball of 3 mm.
    fn finished(piece: &Piece, carved: &Grid, ledger: &mut Ledger) -> Finish {
        let program = Program { travels: vec![], opening: 0, offset: 54, dwells: vec![], comments: vec![], lines: 0 };
        let cutter = Cutter {
            name: "ball 6".into(),
            shape: Shape::Ball { radius: 3.0 },
            flutes: 2,
            flute_length_mm: 20.0,
            shank_diameter_mm: 6.0,
            stickout_mm: 30.0,
            holder_diameter_mm: 30.0,
        };
        let step = Step::Finish;
        let timing = Timing::default();
        let cut = Cut { name: "f.ngc", step, program: &program, cutter: &cutter, timing: &timing };
        finish(piece, carved, &[cut], &rules(), ledger).unwrap()
    }

    fn moved(grid: &Grid, by: f64) -> Grid {
        Grid { z: grid.z.iter().map(|z| z + by).collect(), ..grid.clone() }
    }

    /// On a plane of 45 degrees 0.1 mm straight down is 0.1 cos 45 = 0.0707 across, within 0.08.
    #[test]
    fn differences_count_across_the_surface() {
        let piece = piece(|p| 5.0 + p.x);
        let mut ledger = Ledger::default();
        let deep = gouge(&piece, &moved(&piece.target, -0.1), &[], &rules(), &mut ledger);
        assert_abs_diff_eq!(deep, 0.1 * 0.5_f64.sqrt(), epsilon = 1e-9);
        let high = finished(&piece, &moved(&piece.target, 0.1), &mut ledger);
        assert_abs_diff_eq!(high.p50_mm, 0.1 * 0.5_f64.sqrt(), epsilon = 1e-9);
        assert_abs_diff_eq!(high.max_mm, 0.1 * 0.5_f64.sqrt(), epsilon = 1e-9);
        assert!(ledger.close().0.is_empty());
    }

    /// At a crease the flatter side counts: a level floor beside a wall is judged as level.
    #[test]
    fn a_wall_beside_a_floor_hides_no_gouge() {
        let piece = piece(|p| if p.x > 20.0 { 25.0 } else { 5.0 });
        let deep = gouge(&piece, &moved(&piece.target, -0.1), &[], &rules(), &mut Ledger::default());
        assert_abs_diff_eq!(deep, 0.1, epsilon = 1e-9);
    }

    /// A ball rests R (1/cos th - 1) above the bottom of a valley whose sides slope by th (its
    /// Legendre transform), which is R (1 - cos th) across the sides.
    #[test]
    fn a_valley_is_unreached_by_what_the_ball_leaves_at_its_bottom() {
        let piece = piece(|p| 5.0 + (p.x - 20.0).abs());
        let mut ledger = Ledger::default();
        let found = finished(&piece, &piece.target, &mut ledger);
        // The ideal path at nodes may lie below the true one by lambda s^2 / 4, 0.015 mm here.
        assert_abs_diff_eq!(found.unreached_mm, 3.0 * (1.0 - 0.5_f64.sqrt()), epsilon = 0.015);
        assert_abs_diff_eq!(found.unreached_at.unwrap().x, 20.0, epsilon = 1e-9);
        assert_eq!(found.max_mm, 0.0);
    }

    #[test]
    fn a_ridge_and_a_bowl_wider_than_the_ball_are_reached() {
        let ridge = piece(|p| 25.0 - (p.x - 20.0).abs());
        assert_eq!(finished(&ridge, &ridge.target, &mut Ledger::default()).unreached_mm, 0.0);
        let bowl = |p: Point2| 60.0 - (3600.0 - (p - Point2::new(20.0, 15.0)).norm_squared()).sqrt();
        let bowl = piece(bowl);
        assert_eq!(finished(&bowl, &bowl.target, &mut Ledger::default()).unreached_mm, 0.0);
    }

    #[test]
    fn what_stands_in_reach_is_told_once_a_patch() {
        let piece = piece(|_| 5.0);
        let mut ledger = Ledger::default();
        finished(&piece, &moved(&piece.target, 0.2), &mut ledger);
        let (list, totals) = ledger.close();
        // The outline spans 2 x 1 squares of 10 mm.
        assert_eq!((totals.len(), totals[0].kind, totals[0].count), (1, Kind::LeftStanding, 2));
        assert_eq!(list[0].file, "f.ngc");
        assert_abs_diff_eq!(list[0].measured, 0.2, epsilon = 1e-9);
    }
}
