//! The piece against the design, place by place.

use rayon::prelude::*;

use super::field::Field;
use super::plan::Plan;
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};
use crate::inspect::{Surface, Verdict};
use crate::profile::Tolerances;
use crate::regress::median;

/// Distance between the map's places, mm.
const STEP_MM: f64 = 2.0;
/// Nearer to the edge than this, mm, burr and round decide, not the surface.
const EDGE_MM: f64 = 2.0;

/// Heights and differences over a lattice, foot frame, mm; NaN where nothing was seen.
#[derive(Clone, Debug)]
pub struct Map {
    /// Made less designed along the surface's normal, outward positive.
    pub deviation: Grid,
    /// The top as made.
    pub made_top: Grid,
    /// The underside as made, where it was seen and is not flat by design.
    pub made_underside: Option<Grid>,
}

impl Map {
    pub(super) fn new(plan: &Plan, top: &Field, underside: Option<&Field>) -> Map {
        let lattice = Lattice::covering(plan.footbed.outline.bounds(), STEP_MM);
        let off = spread_out(lattice, top, |i| top.height_off(i));
        let deviation = spread_out(lattice, top, |i| top.off_mm[i]);
        let added = |grid: &Grid, design: &(dyn Fn(Point2) -> f64 + Sync)| {
            let designed = Grid::from_fn(lattice, design);
            Grid { lattice, z: grid.z.iter().zip(&designed.z).map(|(off, z)| off + z).collect() }
        };
        let inside = |p: Point2| plan.distance(p) < -EDGE_MM;
        let kept = |grid: Grid| {
            let nodes = (0..lattice.len()).map(|k| lattice.node(k % lattice.nx, k / lattice.nx));
            Grid { lattice, z: grid.z.iter().zip(nodes).map(|(z, p)| if inside(p) { *z } else { f64::NAN }).collect() }
        };
        Map {
            made_top: kept(added(&off, &|p| plan.footbed.top_at(p))),
            made_underside: underside
                .map(|field| added(&spread_out(lattice, field, |i| field.off_mm[i]), &|p| plan.underside(p))),
            deviation: kept(deviation),
        }
    }

    /// How far the surface is off, all over; `None` when nothing was seen.
    pub fn surface(&self) -> Option<Surface> {
        let mut off: Vec<f64> = self.deviation.z.iter().filter(|z| z.is_finite()).map(|z| z.abs()).collect();
        off.sort_by(f64::total_cmp);
        let at = |share: f64| off[((off.len() - 1) as f64 * share).round() as usize];
        (!off.is_empty()).then(|| Surface {
            p50: at(0.5),
            p95: at(0.95),
            max: at(1.0),
            rms: (off.iter().map(|z| z * z).sum::<f64>() / off.len() as f64).sqrt(),
        })
    }
}

/// The median of the points nearest to each node; lone points may be strays and say nothing.
fn spread_out(lattice: Lattice, field: &Field, number: impl Fn(usize) -> f64 + Sync) -> Grid {
    const LEAST_POINTS: usize = 2;
    let mut cells: Vec<Vec<usize>> = vec![vec![]; lattice.len()];
    for (i, p) in field.places.iter().enumerate() {
        let (u, v) = ((p.x - lattice.x0) / lattice.step, (p.y - lattice.y0) / lattice.step);
        if u > -0.5 && v > -0.5 && u < lattice.nx as f64 - 0.5 && v < lattice.ny as f64 - 0.5 {
            cells[v.round() as usize * lattice.nx + u.round() as usize].push(i);
        }
    }
    let middle = |cell: &Vec<usize>| {
        let mut numbers: Vec<f64> = cell.iter().map(|&i| number(i)).collect();
        if numbers.len() < LEAST_POINTS { f64::NAN } else { median(&mut numbers).unwrap_or(f64::NAN) }
    };
    Grid { lattice, z: cells.par_iter().map(middle).collect() }
}

/// What the tolerances say of the surface all over; `u_mm` is the standard uncertainty of its height.
pub(super) fn verdict(surface: &Surface, tolerances: &Tolerances, u_mm: f64) -> Verdict {
    let band = tolerances.surface;
    let doubt = if u_mm.is_finite() { (2.0 * u_mm).min(band.accept) } else { band.accept };
    let beyond = band.reject_above.is_some_and(|most| surface.max > most + doubt);
    match surface.p95 {
        _ if beyond => Verdict::Reject,
        p95 if p95 <= band.accept - doubt => Verdict::Accept,
        p95 if p95 <= band.accept + doubt => Verdict::Borderline,
        _ => Verdict::Rework,
    }
}

/// The surface in words when it is not as asked.
pub(super) fn remark(surface: &Surface, verdict: Option<Verdict>) -> Option<String> {
    let Surface { p95, max, .. } = surface;
    match verdict? {
        Verdict::Accept => None,
        Verdict::Borderline => {
            Some(format!("surface: 95 % are within {p95:.2} mm, which the scan cannot tell from the bound"))
        }
        Verdict::Rework => Some(format!("surface: 95 % are within {p95:.2} mm only, {max:.2} mm at most")),
        Verdict::Reject => Some(format!("surface: {max:.2} mm off at most, beyond what the shop lets go; see the map")),
    }
}
