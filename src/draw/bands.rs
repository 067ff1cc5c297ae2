//! A map of differences as shapes: bands between contour lines, and where there is no data. Plain
//! loops of places, few enough to print and send; knows nothing of colours or paper.

use super::diverging::Steps;
use super::plan::inside_nodes;
use crate::frame::Point2;
use crate::grid::contour::{loops_above, signed_area, simplified};
use crate::grid::{Grid, Lattice};

/// Shapes are kept to this many points a foot, about 14 bytes each on paper: what a noisy scan would
/// need beyond it is averaged.
const MOST_POINTS: usize = 5_000;
/// Islands and gaps smaller than this cannot hold a number and are left out, mm2.
const LEAST_AREA_MM2: f64 = 6.0;
/// Corners that stray less than this from a straight line are left out, mm.
const STRAY_MM: f64 = 0.05;
/// How far beyond the edge values are carried on, steps of the lattice, so that bands end at the
/// edge and not short of it.
const BEYOND_STEPS: usize = 3;

/// The ground at or beyond one level on one side of none.
#[derive(Clone, Debug)]
pub struct Beyond {
    /// The level, mm, > 0; `-z` is at or beyond it where `sign` is negative.
    pub level: f64,
    /// 1 or -1.
    pub sign: f64,
    /// Its place among the levels of [`Steps::levels`].
    pub index: usize,
    /// Loops in the foot frame; holes run the other way round.
    pub loops: Vec<Vec<Point2>>,
}

/// What is drawn of a map.
#[derive(Clone, Debug)]
pub struct Bands {
    /// Positive ones first, each side from the least level up.
    pub beyond: Vec<Beyond>,
    /// Where there is no data inside the edge.
    pub gaps: Vec<Vec<Point2>>,
    /// Step of the lattice on which the bands were found, mm: coarser than the data's where the data
    /// were too ragged.
    pub step_mm: f64,
}

impl Bands {
    /// The shapes of `difference` (NaN = no data) within `outlines`.
    pub fn of(difference: &Grid, outlines: &[&[Point2]], steps: &Steps) -> Bands {
        let mut grid = difference.clone();
        loop {
            let bands = shapes(&grid, outlines, steps);
            let points: usize = bands.loops().map(Vec::len).sum();
            if points <= MOST_POINTS || grid.lattice.nx.min(grid.lattice.ny) < 8 {
                return bands;
            }
            grid = halved(&grid);
        }
    }

    fn loops(&self) -> impl Iterator<Item = &Vec<Point2>> {
        self.beyond.iter().flat_map(|b| &b.loops).chain(&self.gaps)
    }
}

/// Which nodes lie inside all outlines.
pub fn inside_all(outlines: &[&[Point2]], lattice: &Lattice) -> Vec<bool> {
    let mut inside = vec![true; lattice.len()];
    for outline in outlines {
        inside.iter_mut().zip(inside_nodes(outline, lattice)).for_each(|(all, one)| *all &= one);
    }
    inside
}

fn shapes(grid: &Grid, outlines: &[&[Point2]], steps: &Steps) -> Bands {
    let inside = inside_all(outlines, &grid.lattice);
    let carried = carried_on(grid, &inside);
    let turned = Grid { lattice: carried.lattice, z: carried.z.iter().map(|z| -z).collect() };
    let levels = steps.levels();
    let side = |grid: &Grid, sign: f64| -> Vec<Beyond> {
        let one = |(index, level): (usize, &f64)| Beyond { level: *level, sign, index, loops: large(grid, *level) };
        levels.iter().enumerate().map(one).filter(|b| !b.loops.is_empty()).collect()
    };
    let mut beyond = side(&carried, 1.0);
    beyond.extend(side(&turned, -1.0));
    Bands { beyond, gaps: gaps(&carried, &inside), step_mm: grid.lattice.step }
}

/// Loops that are large enough to be seen, with no more corners than they need.
fn large(grid: &Grid, level: f64) -> Vec<Vec<Point2>> {
    let seen = |points: &Vec<Point2>| signed_area(points).abs() >= LEAST_AREA_MM2;
    loops_above(grid, level).into_iter().filter(seen).map(|points| simplified(&points, STRAY_MM)).collect()
}

/// Gaps inside the edge, and a little beyond it so that they reach it.
fn gaps(grid: &Grid, inside: &[bool]) -> Vec<Vec<Point2>> {
    let near = grown(inside, &grid.lattice);
    let missing = grid.z.iter().zip(&near).map(|(z, near)| if *near && !z.is_finite() { 1.0 } else { 0.0 });
    large(&Grid { lattice: grid.lattice, z: missing.collect() }, 0.5)
}

/// The map with values carried on beyond the edge by the mean of their neighbours; gaps inside stay.
fn carried_on(grid: &Grid, inside: &[bool]) -> Grid {
    let mut grid = grid.clone();
    for _ in 0..BEYOND_STEPS {
        let before = grid.clone();
        for (k, z) in grid.z.iter_mut().enumerate() {
            if !z.is_finite() && inside.get(k) == Some(&false) {
                *z = mean(neighbours(&grid.lattice, k).filter_map(|n| before.z.get(n).copied()));
            }
        }
    }
    grid
}

fn grown(inside: &[bool], lattice: &Lattice) -> Vec<bool> {
    let near = |k: usize| neighbours(lattice, k).any(|n| inside.get(n) == Some(&true));
    (0..inside.len()).map(|k| inside.get(k) == Some(&true) || near(k)).collect()
}

/// The up to eight nodes around one.
fn neighbours(lattice: &Lattice, k: usize) -> impl Iterator<Item = usize> + use<> {
    let (nx, ny) = (lattice.nx as i64, lattice.ny as i64);
    let (i, j) = (k as i64 % nx, k as i64 / nx);
    (-1..=1).flat_map(move |dj| (-1..=1).map(move |di| (i + di, j + dj))).filter_map(move |(a, b)| {
        let own = (a, b) == (i, j);
        (!own && (0..nx).contains(&a) && (0..ny).contains(&b)).then_some((b * nx + a) as usize)
    })
}

/// Mean of what is finite; NaN of nothing.
fn mean(numbers: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = numbers.filter(|z| z.is_finite()).fold((0.0, 0.0), |(s, n), z| (s + z, n + 1.0));
    sum / count
}

/// The map on every other node, each the mean of those that it stands for.
fn halved(grid: &Grid) -> Grid {
    let l = grid.lattice;
    let lattice = Lattice {
        x0: l.x0 + 0.5 * l.step,
        y0: l.y0 + 0.5 * l.step,
        step: 2.0 * l.step,
        nx: (l.nx / 2).max(2),
        ny: (l.ny / 2).max(2),
    };
    let node = |i: usize, j: usize| grid.z.get(j.min(l.ny - 1) * l.nx + i.min(l.nx - 1)).copied().unwrap_or(f64::NAN);
    let four = |k: usize| {
        let (i, j) = (2 * (k % lattice.nx), 2 * (k / lattice.nx));
        mean([node(i, j), node(i + 1, j), node(i, j + 1), node(i + 1, j + 1)].into_iter())
    };
    Grid { lattice, z: (0..lattice.len()).map(four).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Rect;

    fn square(half: f64) -> Vec<Point2> {
        [(-half, -half), (half, -half), (half, half), (-half, half)].map(|(x, y)| Point2::new(x, y)).to_vec()
    }

    fn hill(sign: f64) -> Grid {
        let lattice = Lattice::covering(Rect { x0: -42.0, y0: -42.0, x1: 42.0, y1: 42.0 }, 1.0);
        Grid::from_fn(lattice, |p| sign * (1.0 - p.x.hypot(p.y) / 20.0).max(0.0))
    }

    /// The band beyond 0.5 of a cone of height 1 and radius 20 is a disc of radius 10, on either side.
    #[test]
    fn a_hill_and_a_hollow_have_the_same_bands() {
        let (steps, edge) = (Steps { reach_mm: 1.0, step_mm: 0.5, neutral_mm: 0.0 }, square(40.0));
        let area = |sign: f64| {
            let bands = Bands::of(&hill(sign), &[&edge], &steps);
            assert_eq!((bands.beyond.len(), bands.gaps.len()), (1, 0));
            assert_eq!((bands.beyond[0].sign, bands.beyond[0].level), (sign, 0.5));
            signed_area(&bands.beyond[0].loops[0])
        };
        assert_eq!(area(1.0), area(-1.0));
        approx::assert_relative_eq!(area(1.0), std::f64::consts::PI * 100.0, max_relative = 0.02);
    }

    #[test]
    fn a_gap_inside_is_told_and_one_outside_is_not() {
        let steps = Steps { reach_mm: 1.0, step_mm: 0.5, neutral_mm: 0.0 };
        let (mut grid, edge) = (hill(1.0), square(40.0));
        let lattice = grid.lattice;
        for k in 0..grid.z.len() {
            let p = lattice.node(k % lattice.nx, k / lattice.nx);
            if (p.x - 25.0).hypot(p.y) < 6.0 || p.x < -40.5 {
                grid.z[k] = f64::NAN;
            }
        }
        let bands = Bands::of(&grid, &[&edge], &steps);
        assert_eq!(bands.gaps.len(), 1);
        assert!(bands.gaps[0].iter().all(|p| (p.x - 25.0).hypot(p.y) < 7.0));
    }

    /// However ragged the data, the shapes stay few; what is drawn says how coarse it is.
    #[test]
    fn noise_is_averaged_until_it_can_be_drawn() {
        let steps = Steps { reach_mm: 1.0, step_mm: 0.2, neutral_mm: 0.0 };
        let mut seed = 1_u64;
        let mut grid = hill(0.0);
        for z in &mut grid.z {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *z = (seed >> 40) as f64 / f64::from(1 << 23) - 1.0;
        }
        let bands = Bands::of(&grid, &[&square(40.0)], &steps);
        assert!(bands.loops().map(Vec::len).sum::<usize>() <= MOST_POINTS);
        assert!(bands.step_mm > 1.0);
    }
}
