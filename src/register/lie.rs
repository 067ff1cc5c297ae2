//! Where a relief lies in a plane: turn and shift of heights under heights, all of them tried.

use std::f64::consts::TAU;

use rayon::prelude::*;

use crate::frame::{Point2, Vector2};
use crate::grid::Grid;

/// One way to lay the relief.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lie {
    /// Turn from the relief's frame to the plane's, rad.
    pub turn_rad: f64,
    /// Where the relief's origin comes to lie.
    pub shift: Vector2,
    /// What speaks against it, mm of height a place; 0 when all fits.
    pub cost_mm: f64,
}

/// Turns that are tried: every 10 degrees, so that none is further than 5 from the truth.
const TURNS: usize = 36;
/// A height that is off by more counts as off by this, mm: a clamp weighs no more than a hole.
const MOST_OFF_MM: f64 = 5.0;
/// What a place costs that nothing was seen of, mm: less than one that is plainly wrong.
const UNSEEN_MM: f64 = 3.0;
/// What a place costs that stands above the plane and belongs to no part of the relief, mm.
const UNCLAIMED_MM: f64 = 1.5;
/// Heights from here count as standing above the plane, mm.
const STANDING_MM: f64 = 1.5;
/// Lies nearer to one another than this are one: as shares of a turn, and mm.
const SAME_TURN: usize = 2;
const SAME_MM: f64 = 20.0;

/// The best ways to lay `relief`, places with their heights, under what was `seen`, heights in the
/// plane with NaN where there are none; the best first, at most `count`.
pub fn lies(seen: &Grid, relief: &[(Point2, f64)], count: usize) -> Vec<Lie> {
    let lattice = seen.lattice;
    let standing: Vec<Point2> = (0..lattice.len())
        .filter(|&k| seen.z[k] > STANDING_MM)
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .collect();
    let (Some(where_to), false) = (crate::frame::Rect::around(&standing), relief.is_empty()) else { return vec![] };
    let mut all: Vec<(usize, Lie)> = (0..TURNS)
        .into_par_iter()
        .flat_map_iter(|k| {
            let turn_rad = TAU * k as f64 / TURNS as f64;
            let (sin, cos) = turn_rad.sin_cos();
            let turned: Vec<(Vector2, f64)> =
                relief.iter().map(|(p, z)| (Vector2::new(cos * p.x - sin * p.y, sin * p.x + cos * p.y), *z)).collect();
            let middle = turned.iter().map(|(q, _)| *q).sum::<Vector2>() / turned.len() as f64;
            let steps = |from: f64, to: f64| (0..=((to - from) / lattice.step) as usize).map(move |i| (from, i));
            let mut tried: Vec<(usize, Lie)> = vec![];
            for (y0, j) in steps(where_to.y0, where_to.y1) {
                for (x0, i) in steps(where_to.x0, where_to.x1) {
                    // The relief's middle lies somewhere over what stands above the plane.
                    let middle_at = Vector2::new(x0 + i as f64 * lattice.step, y0 + j as f64 * lattice.step);
                    let shift = middle_at - middle;
                    let cost_mm = cost(seen, &turned, shift, standing.len());
                    tried.push((k, Lie { turn_rad, shift, cost_mm }));
                }
            }
            tried.sort_by(|a, b| a.1.cost_mm.total_cmp(&b.1.cost_mm));
            tried.truncate(count);
            tried
        })
        .collect();
    all.sort_by(|a, b| a.1.cost_mm.total_cmp(&b.1.cost_mm));
    let mut kept: Vec<(usize, Lie)> = vec![];
    for (k, lie) in all {
        let near = |(other, kept): &(usize, Lie)| {
            let apart = k.abs_diff(*other);
            apart.min(TURNS - apart) <= SAME_TURN && (kept.shift - lie.shift).norm() <= SAME_MM
        };
        if kept.len() < count && !kept.iter().any(near) {
            kept.push((k, lie));
        }
    }
    kept.into_iter().map(|(_, lie)| lie).collect()
}

fn cost(seen: &Grid, turned: &[(Vector2, f64)], shift: Vector2, standing: usize) -> f64 {
    let lattice = seen.lattice;
    let mut claimed = 0;
    let mut sum = 0.0;
    for (q, z) in turned {
        let u = ((q.x + shift.x - lattice.x0) / lattice.step).round();
        let v = ((q.y + shift.y - lattice.y0) / lattice.step).round();
        let inside = u >= 0.0 && v >= 0.0 && u < lattice.nx as f64 && v < lattice.ny as f64;
        let height = if inside { seen.at(u as usize, v as usize) } else { f64::NAN };
        claimed += usize::from(height > STANDING_MM);
        sum += if height.is_nan() { UNSEEN_MM } else { (height - z).abs().min(MOST_OFF_MM) };
    }
    let unclaimed = standing.saturating_sub(claimed) as f64;
    (sum + UNCLAIMED_MM * unclaimed) / turned.len() as f64
}
