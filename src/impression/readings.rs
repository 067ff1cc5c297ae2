//! Lengths, widths and heights of a standing foot, each with what it may be off by. Knows the foot in its
//! own frame; no loading, no ticket.

use super::sole::{self, LOW_SHARE};
use super::stand::{Standing, in_axes};
use crate::frame::{Point2, Point3, Vector3};
use crate::grid::Grid;

/// The sole is mapped at this step, mm.
pub(super) const MAP_MM: f64 = 2.0;
/// The arches are read on lines this share of the foot's width inside its medial and lateral edges: on the
/// sole, not on the round of the edge. Shop's own choice.
pub const ARCH_LINE: f64 = 0.2;
/// Where the arches' tops are looked for, as shares of the length.
const MEDIAL_ARCH: [f64; 2] = [0.26, 0.60];
const LATERAL_ARCH: f64 = 0.42;
const TRANSVERSE: [f64; 2] = [0.60, 0.64];
/// Contact is what lies within this of the plane through heel and met heads, mm. No source; own choice,
/// some skin's softness.
pub const CONTACT_MM: f64 = 3.0;
/// Toes begin this share of the length ahead of the met line. Shop's own choice: in the crease.
const TOES_AHEAD: f64 = 0.09;

/// What is read on one standing foot, mm but for stations and indices.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Readings {
    pub(super) length: f64,
    pub(super) ball_width: f64,
    pub(super) heel_width: f64,
    pub(super) first_met: f64,
    pub(super) fifth_met: f64,
    pub(super) medial_arch: f64,
    pub(super) arch_station: f64,
    pub(super) lateral_arch: f64,
    pub(super) transverse_arch: f64,
    pub(super) dorsal_arch: f64,
    pub(super) arch_index: f64,
}

/// How many numbers are read.
pub(super) const COUNT: usize = 11;

impl Readings {
    pub(super) fn numbers(&self) -> [f64; COUNT] {
        [
            self.length,
            self.ball_width,
            self.heel_width,
            self.first_met,
            self.fifth_met,
            self.medial_arch,
            self.arch_station,
            self.lateral_arch,
            self.transverse_arch,
            self.dorsal_arch,
            self.arch_index,
        ]
    }
}

/// The sole of a standing foot as a map.
pub(super) fn sole_map(standing: &Standing) -> Option<Grid> {
    sole::map(&standing.points, LOW_SHARE * standing.edges.length_mm, MAP_MM)
}

/// Everything that can be read; what the scan does not show is NaN.
pub(super) fn read(standing: &Standing, map: &Grid) -> Readings {
    let edges = &standing.edges;
    let length = edges.length_mm;
    let arch = medial_arch(standing, map).unwrap_or([f64::NAN; 2]);
    Readings {
        length,
        ball_width: edges.ball_width_mm(),
        heel_width: edges.heel_width_mm(),
        first_met: edges.medial.y,
        fifth_met: edges.lateral.y,
        medial_arch: arch[0],
        arch_station: arch[1],
        lateral_arch: beside_edge(standing, map, LATERAL_ARCH, 1.0 - ARCH_LINE).unwrap_or(f64::NAN),
        transverse_arch: transverse(standing, map).unwrap_or(f64::NAN),
        dorsal_arch: dorsal(standing).unwrap_or(f64::NAN),
        arch_index: arch_index(standing, map).unwrap_or(f64::NAN),
    }
}

/// The mean height about a place of the map.
pub(super) fn height(map: &Grid, at: Point2, around_mm: f64) -> Option<f64> {
    let lattice = &map.lattice;
    let steps = (around_mm / lattice.step).ceil() as i64;
    let (i, j) =
        (((at.x - lattice.x0) / lattice.step).round() as i64, ((at.y - lattice.y0) / lattice.step).round() as i64);
    let (mut sum, mut count) = (0.0, 0.0);
    for (u, v) in (-steps..=steps).flat_map(|v| (-steps..=steps).map(move |u| (u, v))) {
        let (a, b) = (i + u, j + v);
        if a < 0 || b < 0 || a >= lattice.nx as i64 || b >= lattice.ny as i64 {
            continue;
        }
        let (a, b) = (a as usize, b as usize);
        let z = map.at(a, b);
        if z.is_finite() && (lattice.node(a, b) - at).norm() <= around_mm {
            (sum, count) = (sum + z, count + 1.0);
        }
    }
    (count > 0.0).then(|| sum / count)
}

/// How far around a place heights are averaged, mm: a finger's tip.
const TIP_MM: f64 = 4.0;

/// Height at a share of the width from the medial edge.
fn beside_edge(standing: &Standing, map: &Grid, station: f64, share: f64) -> Option<f64> {
    let [lateral, medial] = standing.edges.at(station)?;
    let x = medial - share * (medial - lateral);
    height(map, Point2::new(x, station * standing.edges.length_mm), TIP_MM)
}

/// The medial arch's height and station: the top of the line along it.
fn medial_arch(standing: &Standing, map: &Grid) -> Option<[f64; 2]> {
    const STEPS: usize = 69;
    let station = |k: usize| MEDIAL_ARCH[0] + (MEDIAL_ARCH[1] - MEDIAL_ARCH[0]) * k as f64 / (STEPS - 1) as f64;
    let line: Vec<(f64, f64)> =
        (0..STEPS).filter_map(|k| Some((station(k), beside_edge(standing, map, station(k), ARCH_LINE)?))).collect();
    let (top, _) = line.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    // A parabola through what lies about the top tells its place better than the highest reading.
    let near: Vec<(f64, f64)> = line.into_iter().filter(|(s, _)| (s - top).abs() <= 0.045).collect();
    let [a, b, c] = parabola(&near.iter().map(|(s, z)| (s - top, *z)).collect::<Vec<_>>())?;
    if a >= 0.0 {
        let most = near.iter().map(|(_, z)| *z).fold(f64::NEG_INFINITY, f64::max);
        return Some([most, top]);
    }
    let at = (-0.5 * b / a).clamp(-0.045, 0.045);
    Some([a * at * at + b * at + c, top + at])
}

/// a x^2 + b x + c with the least squares.
fn parabola(points: &[(f64, f64)]) -> Option<[f64; 3]> {
    if points.len() < 3 {
        return None;
    }
    let rows = nalgebra::DMatrix::from_fn(points.len(), 3, |r, c| points[r].0.powi(2 - c as i32));
    let z = nalgebra::DVector::from_iterator(points.len(), points.iter().map(|p| p.1));
    let solved = (rows.transpose() * &rows).cholesky()?.solve(&(rows.transpose() * z));
    Some([solved[0], solved[1], solved[2]])
}

/// The top of the sole between the met heads, a little behind them.
fn transverse(standing: &Standing, map: &Grid) -> Option<f64> {
    let station = 0.5 * (TRANSVERSE[0] + TRANSVERSE[1]);
    let tops = (0..17).filter_map(|k| beside_edge(standing, map, station, 0.3 + 0.025 * f64::from(k)));
    tops.reduce(f64::max)
}

/// The back of the foot at half its length, where the scan has it: higher than the edge of a sole, lower than a leg
/// that leans ahead, and over the middle of the foot, not on the rim of a cut.
fn dorsal(standing: &Standing) -> Option<f64> {
    let length = standing.edges.length_mm;
    let near = standing.points.iter().filter(|p| (p.y / length - 0.5).abs() < 0.01);
    let top = near.max_by(|a, b| a.z.total_cmp(&b.z))?;
    let [lateral, medial] = standing.edges.at(0.5)?;
    let across = (top.x - lateral) / (medial - lateral);
    ((0.17 * length..0.40 * length).contains(&top.z) && (0.2..0.8).contains(&across)).then_some(top.z)
}

/// Area of contact in the middle third of the toeless length over that in all of it (Cavanagh & Rodgers 1987, J
/// Biomech 20:547).
fn arch_index(standing: &Standing, map: &Grid) -> Option<f64> {
    let (lattice, edges) = (&map.lattice, &standing.edges);
    let across = edges.medial - edges.lateral;
    let met_line = |x: f64| edges.lateral.y + (x - edges.lateral.x) * across.y / across.x;
    let touching: Vec<f64> = (0..lattice.len())
        .filter(|&k| map.z[k] < CONTACT_MM)
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .filter(|p| p.y < met_line(p.x) + TOES_AHEAD * edges.length_mm)
        .map(|p| p.y)
        .collect();
    let [from, to] = touching.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], y| [a.min(*y), b.max(*y)]);
    let third = (to - from) / 3.0;
    let middle = touching.iter().filter(|y| **y > from + third && **y < to - third).count();
    (third > 0.0).then(|| middle as f64 / touching.len() as f64)
}

/// What each reading may be off by, one standard deviation: from the scan's own noise, and from where its
/// definition puts the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Errors {
    pub(super) noise: [f64; COUNT],
    pub(super) definition: [f64; COUNT],
}

/// How far the long axis and the floor may be put otherwise by another look at the same foot, degrees, one
/// standard deviation. Shop's own choice.
const AXIS_DEG: f64 = 1.0;
const FLOOR_DEG: f64 = 0.7;

/// Errors of the readings: the frame is turned each way and everything is read again; noise comes from how
/// rough the map is.
pub(super) fn errors(points: &[Point3], standing: &Standing, map: &Grid, own: &Readings) -> Errors {
    let turns = [(Vector3::z(), AXIS_DEG), (Vector3::x(), FLOOR_DEG), (Vector3::y(), FLOOR_DEG)];
    let mut definition = [0.0; COUNT];
    for (axis, deg) in turns {
        let read = [deg, -deg].map(|deg| {
            let turn = nalgebra::Rotation3::from_axis_angle(&nalgebra::Unit::new_normalize(axis), deg.to_radians());
            let whole = |v: Vector3| standing.axes[0] * v.x + standing.axes[1] * v.y + standing.axes[2] * v.z;
            let axes = [Vector3::x(), Vector3::y(), Vector3::z()].map(|v| whole(turn * v));
            let turned = in_axes(points, axes)?;
            let map = sole_map(&turned)?;
            Some(read(&turned, &map).numbers())
        });
        for (k, square) in definition.iter_mut().enumerate() {
            let own = own.numbers()[k];
            let off = read.iter().flatten().map(|read| (read[k] - own).powi(2)).filter(|off| off.is_finite());
            *square += off.fold(0.0, f64::max);
        }
    }
    let sd = roughness(map);
    // An edge is one point of a row, and a width has two; an arch is the mean over a finger's tip.
    let edge = sd * std::f64::consts::SQRT_2;
    let tip = sd * MAP_MM / TIP_MM;
    let noise = [edge, edge, edge, 2.0 * sd, 2.0 * sd, tip, 2.0 * tip / own.length, tip, tip, sd, 0.0];
    Errors { noise, definition: definition.map(f64::sqrt) }
}

/// Standard deviation of a cell of the map about its neighbours, mm: of the second differences of white
/// noise, whose variance is six times the noise's, by the median, which creases and edges do not move.
pub(super) fn roughness(map: &Grid) -> f64 {
    let lattice = &map.lattice;
    let mut off: Vec<f64> = (0..lattice.ny)
        .flat_map(|j| (1..lattice.nx.saturating_sub(1)).map(move |i| (i, j)))
        .map(|(i, j)| (map.at(i - 1, j) - 2.0 * map.at(i, j) + map.at(i + 1, j)).abs())
        .filter(|off| off.is_finite())
        .collect();
    if off.is_empty() {
        return 0.0;
    }
    let middle = off.len() / 2;
    off.select_nth_unstable_by(middle, f64::total_cmp);
    1.4826 * off[middle] / 6.0_f64.sqrt()
}
