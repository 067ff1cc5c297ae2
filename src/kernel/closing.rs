//! What even an ideal path of a cutter would leave above a target: what stands there is the cutter's
//! size, not the path's fault. Knows the target and the cutters' forms, no paths.
//!
//! The ideal path rests a cutter on every node and keeps what that leaves: the closing of grey-scale
//! morphology. It is needed in few places only, because a ball fits wherever the target is nowhere
//! more hollow than the ball. Let the ball touch the target at p, tangent, and look at the upright
//! plane through p and any other place under the ball. In it the target and the ball's lower side
//! begin with the same height and the same slope. The sine of the slope of either grows along the
//! line by its curvature in that plane, on the ball by 1/R or more (every plane section of a ball
//! is a circle of radius R or less). Where the target's grows by less all the way, its slope and so
//! its height stay below the ball's: nothing stands in the ball's way. No wider look is needed,
//! since a target seen from above has no overhang that could close in from another side.

use std::f64::consts::PI;

use rayon::prelude::*;

use super::Shape;
use crate::grid::{Grid, Lattice, envelope_where};

/// Nodes of the ideal path lie at least this far apart, mm: its cost grows as 1 / step^4, and what a
/// cutter of a millimetre or more cannot reach is wider than this. Our own choice.
const CLOSING_STEP_MM: f64 = 0.2;

/// A target more hollow than this share of 1/R is looked at by the closing. The share makes up for
/// curvature that is known at nodes only: of a crease whose slope jumps by J at least 0.35 J / step
/// shows at a node, so one that passes leaves at most R (J/2)^2 / 2 = 0.26 step^2 / R unreached,
/// 0.004 mm for R = 3 and 0.2 mm: as much as the ideal path's own scallops. Derived here.
const HOLLOW_SHARE: f64 = 0.5;

/// Directions in which a hollow is measured: 22.5 degrees apart, so that the greatest curvature is
/// missed by 4 % at most where the other one is not larger.
const DIRECTIONS: usize = 8;

/// Height that ideal paths of all these cutters would leave above the target, straight up, at the
/// nodes that count for those that are `inside`; zero elsewhere. The lattice may be coarser than
/// the target's. `None` without a cutter.
pub fn beyond_reach(target: &Grid, inside: &[bool], shapes: &[Shape]) -> Option<Grid> {
    let thinned = Thinned::new(target, inside);
    let each = shapes.iter().map(|shape| thinned.beyond(shape));
    each.reduce(|mut a, b| {
        a.z.iter_mut().zip(&b.z).for_each(|(a, &b)| *a = a.min(b));
        a
    })
}

/// Only every so many nodes, so that they lie at least [`CLOSING_STEP_MM`] apart.
struct Thinned {
    target: Grid,
    asked: Vec<bool>,
}

impl Thinned {
    fn new(heights: &Grid, inside: &[bool]) -> Thinned {
        let Lattice { x0, y0, step, nx, ny } = heights.lattice;
        let every = (CLOSING_STEP_MM / step - 1e-9).ceil().max(1.0) as usize;
        let kept = |n: usize| (n - 1) / every + 1;
        let lattice = Lattice { x0, y0, step: step * every as f64, nx: kept(nx), ny: kept(ny) };
        let mut z = Vec::with_capacity(lattice.len());
        for row in heights.z.chunks(nx).step_by(every) {
            z.extend(row.iter().step_by(every));
        }
        // A node between is interpolated from the corners of its cell.
        let mut asked = vec![false; lattice.len()];
        for (j, row) in inside.chunks(nx).enumerate() {
            for line in [j / every, j.div_ceil(every).min(lattice.ny - 1)] {
                for i in (0..nx).filter(|&i| row[i]) {
                    asked[line * lattice.nx + i / every] = true;
                    asked[line * lattice.nx + i.div_ceil(every).min(lattice.nx - 1)] = true;
                }
            }
        }
        Thinned { target: Grid { lattice, z }, asked }
    }

    /// What an ideal path of one cutter leaves above the target.
    fn beyond(&self, shape: &Shape) -> Grid {
        let doubtful = match *shape {
            Shape::Ball { radius } => self.doubtful(radius),
            // These have flat or straight sides, which fit no hollow at all.
            Shape::Flat { .. } | Shape::Bull { .. } | Shape::Taper { .. } => self.asked.clone(),
        };
        let mut beyond = closing(&self.target, shape, &doubtful);
        let above = beyond.z.iter_mut().zip(&self.target.z).zip(&doubtful);
        above.for_each(|((z, target), &doubtful)| *z = if doubtful && target.is_finite() { *z - target } else { 0.0 });
        beyond
    }

    /// The nodes that are asked for and of which it is not sure that the ball reaches them.
    fn doubtful(&self, radius: f64) -> Vec<bool> {
        let Lattice { nx, step, .. } = self.target.lattice;
        let most = HOLLOW_SHARE / radius;
        let directions = directions();
        let is_hollow = |b: Bend| b.is_hollow(most, &directions);
        let hollow = self.each_node(|i, j| Bend::at(&self.target, i, j).is_none_or(is_hollow));
        let hollow = Tally::new(&hollow, nx);
        // One node more for rounding the ball's place to a node, and one for what lies between nodes.
        let reach = (radius / step).ceil() as usize + 2;
        let is_doubtful = |bend: Bend, i: usize, j: usize| {
            let out = radius / (step * (1.0 + bend.fx * bend.fx + bend.fy * bend.fy).sqrt());
            let under = |n: usize, slope: f64| (n as f64 - out * slope + 0.5).max(0.0) as usize;
            hollow.any_around((under(i, bend.fx), under(j, bend.fy)), reach)
        };
        self.each_node(|i, j| {
            self.asked[j * nx + i] && Bend::at(&self.target, i, j).is_none_or(|bend| is_doubtful(bend, i, j))
        })
    }

    /// What `f` says of every node, row by row.
    fn each_node(&self, f: impl Fn(usize, usize) -> bool + Sync) -> Vec<bool> {
        let mut said = vec![false; self.asked.len()];
        let rows = said.par_chunks_mut(self.target.lattice.nx).enumerate();
        rows.for_each(|(j, row)| row.iter_mut().enumerate().for_each(|(i, said)| *said = f(i, j)));
        said
    }
}

/// Unit vectors over half a turn.
fn directions() -> [(f64, f64); DIRECTIONS] {
    std::array::from_fn(|n| (n as f64 * PI / DIRECTIONS as f64).sin_cos()).map(|(s, c)| (c, s))
}

/// First and second differences of the heights about a node.
struct Bend {
    fx: f64,
    fy: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Bend {
    /// `None` on the border of the grid.
    fn at(grid: &Grid, i: usize, j: usize) -> Option<Bend> {
        let Lattice { step, nx, ny, .. } = grid.lattice;
        if i == 0 || j == 0 || i + 1 >= nx || j + 1 >= ny {
            return None;
        }
        let three = |j: usize| &grid.z[j * nx + i - 1..][..3];
        let (below, own, above) = (three(j - 1), three(j), three(j + 1));
        let square = step * step;
        Some(Bend {
            fx: (own[2] - own[0]) / (2.0 * step),
            fy: (above[1] - below[1]) / (2.0 * step),
            xx: (own[2] - 2.0 * own[1] + own[0]) / square,
            yy: (above[1] - 2.0 * own[1] + below[1]) / square,
            xy: (above[2] - above[0] - below[2] + below[0]) / (4.0 * square),
        })
    }

    /// Whether any upright plane cuts the surface in a curve more hollow than `most`, 1/mm. Numbers
    /// that are none, beside places without a height, count as hollow.
    fn is_hollow(&self, most: f64, directions: &[(f64, f64)]) -> bool {
        // The second differences' own greatest value bounds the curvature: a slope only lessens it.
        let (mean, half) = (0.5 * (self.xx + self.yy), 0.5 * (self.xx - self.yy));
        if mean + (half * half + self.xy * self.xy).sqrt() <= most {
            return false;
        }
        !directions.iter().all(|&(c, s)| {
            let slope = self.fx * c + self.fy * s;
            let second = self.xx * c * c + 2.0 * self.xy * c * s + self.yy * s * s;
            let long = 1.0 + slope * slope;
            second <= most * long * long.sqrt()
        })
    }
}

/// Counts of marked nodes in rectangles from the first node on, so that any rectangle's count takes
/// four look-ups.
struct Tally {
    width: usize,
    sums: Vec<u32>,
}

impl Tally {
    fn new(marked: &[bool], nx: usize) -> Tally {
        let width = nx + 1;
        let mut sums = vec![0; width * (marked.len() / nx + 1)];
        for (j, row) in marked.chunks(nx).enumerate() {
            let mut in_row = 0;
            for (i, &mark) in row.iter().enumerate() {
                in_row += u32::from(mark);
                sums[(j + 1) * width + i + 1] = sums[j * width + i + 1] + in_row;
            }
        }
        Tally { width, sums }
    }

    /// Whether any node of the square about `(i, j)` is marked; what lies off the grid is not.
    fn any_around(&self, (i, j): (usize, usize), reach: usize) -> bool {
        let height = self.sums.len() / self.width;
        let span = |n: usize, size: usize| (n.saturating_sub(reach).min(size - 1), (n + reach + 1).min(size - 1));
        let ((i0, i1), (j0, j1)) = (span(i, self.width), span(j, height));
        let sum = |i: usize, j: usize| self.sums[j * self.width + i];
        sum(i1, j1) + sum(i0, j0) > sum(i0, j1) + sum(i1, j0)
    }
}

/// The lowest that the cutter leaves when it rests on every node, at the nodes that are `asked`;
/// anything elsewhere.
fn closing(target: &Grid, shape: &Shape, asked: &[bool]) -> Grid {
    let profile = |q: f64| shape.height_at(q.min(shape.radius()));
    let Lattice { nx, step, .. } = target.lattice;
    let near = Tally::new(asked, nx);
    let reach = (shape.radius() / step).ceil() as usize;
    let mut tips = envelope_where(target, shape.radius(), profile, |i, j| near.any_around((i, j), reach));
    negate(&mut tips);
    let mut left = envelope_where(&tips, shape.radius(), profile, |i, j| asked[j * nx + i]);
    negate(&mut left);
    left
}

fn negate(grid: &mut Grid) {
    grid.z.iter_mut().for_each(|z| *z = -*z);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::frame::{Point2, Rect};

    const STEP_MM: f64 = 0.2;
    /// What the ideal path may leave of its own, straight up: its nodes lie a step apart on ground of
    /// this slope (step^2 / 4 R cos^3, as told at [`crate::grid::envelope`]), and a crease that
    /// passes for smooth adds 0.26 step^2 / R across the surface.
    fn own_scallop_mm(radius: f64, slope: f64) -> f64 {
        let long = (1.0 + slope * slope).sqrt();
        (0.25 * long.powi(3) + 0.26 * long) * STEP_MM * STEP_MM / radius
    }

    fn thinned(height: impl Fn(Point2) -> f64 + Sync) -> Thinned {
        let lattice = Lattice::covering(Rect { x0: 0.0, y0: 0.0, x1: 24.0, y1: 20.0 }, STEP_MM);
        let grid = Grid::from_fn(lattice, height);
        let inside: Vec<bool> = (0..lattice.len()).map(|k| (20..80).contains(&(k / lattice.nx))).collect();
        Thinned::new(&grid, &inside)
    }

    /// The most that the whole closing leaves where the short way says that it leaves nothing, as a
    /// share of what it may leave of its own; and how many such nodes there are.
    fn most_overlooked(thinned: &Thinned, radius: f64) -> (f64, usize) {
        let nx = thinned.target.lattice.nx;
        let doubtful = thinned.doubtful(radius);
        let whole = closing(&thinned.target, &Shape::Ball { radius }, &vec![true; doubtful.len()]);
        let sure: Vec<usize> = (0..doubtful.len()).filter(|&k| thinned.asked[k] && !doubtful[k]).collect();
        let share = |&k: &usize| {
            let slope = Bend::at(&thinned.target, k % nx, k / nx).map_or(0.0, |bend| bend.fx.hypot(bend.fy));
            (whole.z[k] - thinned.target.z[k]) / own_scallop_mm(radius, slope)
        };
        (sure.iter().map(share).fold(0.0, f64::max), sure.len())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn where_the_short_way_sees_no_hollow_the_closing_leaves_nothing(
            radius in 1.5..5.0,
            (amplitude, wave, turn) in (0.05..4.0, 4.0..25.0, 0.0..6.3),
            (jump, crease_turn) in (-1.0..1.5, 0.0..6.3),
            slope in -0.8..0.8,
        ) {
            let along = |p: Point2, turn: f64| (p.x - 12.0) * f64::cos(turn) + (p.y - 10.0) * f64::sin(turn);
            let thinned = thinned(|p| {
                let waves = amplitude * (f64::sin(along(p, turn) / wave * 6.3) + f64::cos(along(p, turn + 1.9) / wave * 5.1));
                30.0 + waves + slope * p.x + jump * along(p, crease_turn).max(0.0)
            });
            let (share, _) = most_overlooked(&thinned, radius);
            prop_assert!(share <= 1.0, "{share} times what the ideal path leaves of its own");
        }
    }

    /// A bowl of radius r is reached everywhere by a ball of up to r / 2, by the share above, and
    /// nowhere surely by one larger than the bowl; a rounded top by any ball.
    #[test]
    fn a_wide_bowl_needs_no_closing_and_a_tight_one_does() {
        let bowl = |r: f64| thinned(move |p| 40.0 - (r * r - (p - Point2::new(12.0, 10.0)).norm_squared()).sqrt());
        let sure = |thinned: &Thinned, radius: f64| most_overlooked(thinned, radius).1;
        let all = bowl(20.0).asked.iter().filter(|&&asked| asked).count();
        let (share, many) = most_overlooked(&bowl(20.0), 3.0);
        assert!(share <= 1.0 && many * 2 > all, "{share}, {many} of {all}");
        assert_eq!(sure(&bowl(20.0), 25.0), 0);
        let top = thinned(|p| (900.0 - (p - Point2::new(12.0, 10.0)).norm_squared()).sqrt());
        assert!(sure(&top, 5.0) * 4 > all);
    }

    #[test]
    fn what_lies_far_from_a_valley_is_sure_and_the_valley_is_not() {
        let valley = thinned(|p| 5.0 + (p.x - 12.0).abs());
        let doubtful = valley.doubtful(3.0);
        let Lattice { nx, .. } = valley.target.lattice;
        let at = |x: f64| doubtful[50 * nx + (x / STEP_MM).round() as usize];
        assert!(at(12.0) && at(10.5) && at(13.5));
        assert!(!at(5.2) && !at(18.8));
    }

    /// A ball of radius R in a groove of 45 degrees rests R sqrt 2 above its bottom with its centre, so that at a distance u
    /// from the middle `R sqrt 2 - sqrt(R^2 - u^2) - u` stays; under a flat end `R - u`. Plain geometry.
    #[test]
    fn a_groove_keeps_what_the_cutters_own_form_leaves() {
        let lattice = Lattice::covering(Rect { x0: 0.0, y0: 0.0, x1: 24.0, y1: 8.0 }, 0.1);
        let mut grid = Grid::from_fn(lattice, |p| 5.0 + (p.x - 12.0).abs());
        let nx = lattice.nx;
        // Nothing is known of one corner.
        (0..20).for_each(|k| grid.z[(k / 5) * nx + k % 5] = f64::INFINITY);
        let inside = vec![true; lattice.len()];
        let (ball, flat) = (Shape::Ball { radius: 3.0 }, Shape::Flat { radius: 1.0 });
        let left = |shapes: &[Shape]| beyond_reach(&grid, &inside, shapes).unwrap();
        assert!(beyond_reach(&grid, &inside, &[]).is_none());
        let (of_ball, of_flat, of_both) = (left(&[ball]), left(&[flat]), left(&[ball, flat]));
        assert_eq!(of_ball.lattice.step, 0.2);
        let own = own_scallop_mm(3.0, 1.0);
        for k in 0..30 {
            let (i, u) = (60 + k, 0.2 * k as f64);
            let round = if u < 3.0 / 2f64.sqrt() { 3.0 * 2f64.sqrt() - (9.0 - u * u).sqrt() - u } else { 0.0 };
            let [b, f, both] = [&of_ball, &of_flat, &of_both].map(|grid| grid.at(i, 20));
            assert!((round - own..round + own).contains(&b), "{b} for {round} at {u}");
            // A flat's path of nodes lets no edge stand lower than its own step on a slope of 1.
            assert!(((1.0 - u).max(0.0) - 1e-9..=(1.0 - u).max(0.0) + STEP_MM + 1e-9).contains(&f), "{f} at {u}");
            assert_eq!(both, b.min(f));
        }
        assert_eq!(of_flat.at(0, 0), 0.0, "of what is not known nothing is said");
        let medial: Vec<bool> = (0..lattice.len()).map(|k| k % nx >= 122 && k / nx >= 40).collect();
        let of_half = beyond_reach(&grid, &medial, &[ball]).unwrap();
        for (j, i) in (0..of_half.lattice.ny).flat_map(|j| (0..of_half.lattice.nx).map(move |i| (j, i))) {
            let asked = if i >= 61 && j >= 20 { of_ball.at(i, j) } else { 0.0 };
            assert_eq!(of_half.at(i, j), asked, "{i} {j}");
        }
        let nowhere = beyond_reach(&grid, &vec![false; lattice.len()], &[flat]).unwrap();
        assert!(nowhere.z.iter().all(|z| *z == 0.0));
    }

    /// Up to a crease the ground rises by 1, behind it by 3: a ball of 3 mm that touches at a place has its centre
    /// 3 sin 45 or 3 sin 71.6 degrees nearer to the start, and looks 3.4 mm about it.
    #[test]
    fn a_place_is_doubtful_where_a_hollow_lies_under_the_ball_that_touches_it() {
        let rise = |at: f64| if at < 10.0 { at } else { 10.0 + 3.0 * (at - 10.0) };
        for along_x in [true, false] {
            let thinned = thinned(|p| rise(if along_x { p.x } else { p.y + 2.0 }));
            let nx = thinned.target.lattice.nx;
            let (whole, radius) = (Thinned { asked: vec![true; thinned.asked.len()], ..thinned }, 3.0);
            let doubtful = whole.doubtful(radius);
            let at = |at: f64| match along_x {
                true => doubtful[50 * nx + (at / STEP_MM).round() as usize],
                false => doubtful[((at - 2.0) / STEP_MM).round() as usize * nx + 60],
            };
            let seen = [8.6, 8.8, 10.0, 12.0, 16.2, 16.4].map(at);
            assert_eq!(seen, [false, true, true, true, true, false], "along x: {along_x}");
        }
    }

    #[test]
    fn bends_of_a_paraboloid_are_its_derivatives() {
        let lattice = Lattice { x0: -1.0, y0: 2.0, step: 0.25, nx: 9, ny: 7 };
        let grid = Grid::from_fn(lattice, |p| {
            1.0 + 0.5 * p.x - 0.3 * p.y + 0.7 * p.x * p.x + 0.4 * p.x * p.y - 0.2 * p.y * p.y
        });
        for (i, j) in [(1, 1), (4, 3), (7, 5)] {
            let (p, bend) = (lattice.node(i, j), Bend::at(&grid, i, j).unwrap());
            let expected = [0.5 + 1.4 * p.x + 0.4 * p.y, -0.3 + 0.4 * p.x - 0.4 * p.y, 1.4, -0.4, 0.4];
            for (read, told) in [bend.fx, bend.fy, bend.xx, bend.yy, bend.xy].into_iter().zip(expected) {
                assert!((read - told).abs() < 1e-12, "{read} for {told}");
            }
        }
        assert!([(0, 3), (8, 3), (4, 0), (4, 6)].iter().all(|&(i, j)| Bend::at(&grid, i, j).is_none()));
    }

    /// The curvature of an upright section: its second derivative over `(1 + slope^2)^(3/2)`, 0.1414 where both are
    /// along a slope of 1 that bends by 0.4.
    #[test]
    fn the_most_hollow_section_decides() {
        let along = 0.4 / 2f64.sqrt().powi(3);
        let r = 0.5f64.sqrt();
        for (fx, fy, xx, yy, xy, greatest) in [
            (0.0, 0.0, 0.4, -0.4, 0.0, 0.4),
            (0.0, 0.0, -0.4, 0.4, 0.0, 0.4),
            (0.0, 0.0, 0.0, 0.0, 0.4, 0.4),
            (0.0, 0.0, 0.0, 0.0, -0.4, 0.4),
            (0.0, 0.0, 0.4, 0.4, 0.0, 0.4),
            (1.0, 0.0, 0.4, 0.0, 0.0, along),
            (0.0, -1.0, 0.0, 0.4, 0.0, along),
            (1.0, 0.0, 0.0, 0.4, 0.0, 0.4),
            (r, r, 0.2, 0.2, 0.2, along),
            (-r, r, 0.2, 0.2, -0.2, along),
        ] {
            let bend = Bend { fx, fy, xx, yy, xy };
            assert!(bend.is_hollow(0.97 * greatest, &directions()), "{fx} {fy} {xx} {yy} {xy}");
            assert!(!bend.is_hollow(1.03 * greatest, &directions()), "{fx} {fy} {xx} {yy} {xy}");
        }
        assert!(!Bend { fx: 0.0, fy: 0.0, xx: -1.0, yy: -2.0, xy: 0.5 }.is_hollow(0.0, &directions()), "a top");
        assert!(Bend { fx: f64::NAN, fy: 0.0, xx: f64::NAN, yy: 0.0, xy: 0.0 }.is_hollow(1.0, &directions()));
    }

    #[test]
    fn a_tally_counts_rectangles() {
        let marked: Vec<bool> = (0..35).map(|k| k == 2 * 7 + 3 || k == 4 * 7 + 6).collect();
        let tally = Tally::new(&marked, 7);
        for j in 0..9_usize {
            for i in 0..11_usize {
                for reach in 0..3 {
                    let near = |(mi, mj): (usize, usize)| mi.abs_diff(i) <= reach && mj.abs_diff(j) <= reach;
                    assert_eq!(tally.any_around((i, j), reach), near((3, 2)) || near((6, 4)), "{i} {j} {reach}");
                }
            }
        }
    }
}
