//! Places where the surface is off by more than is accepted, in words: how much, where, what to do.

use super::map::Map;
use crate::inspect::Case;

/// Patches smaller than this are told by the map alone, mm2.
const LEAST_MM2: f64 = 20.0;
/// Patches that are told in words.
const MOST_TOLD: usize = 3;

/// One patch.
struct Patch {
    cells: usize,
    peak: f64,
    y: (f64, f64),
    x_sum: f64,
}

/// The largest patches that stand high or low, in words.
pub(super) fn faults(map: &Map, case: &Case) -> Vec<String> {
    let lattice = map.deviation.lattice;
    let cell_mm2 = lattice.step * lattice.step;
    let mut patches = patches(map, case.tolerances.surface.accept);
    patches.retain(|patch| patch.cells as f64 * cell_mm2 >= LEAST_MM2);
    patches.sort_by(|a, b| b.cells.cmp(&a.cells).then(a.y.0.total_cmp(&b.y.0)));
    let length = case.order.foot.length_mm();
    let told = |patch: &Patch| {
        let x = patch.x_sum / patch.cells as f64;
        let across = match x {
            x if x > 12.0 => "medial",
            x if x < -12.0 => "lateral",
            _ => "in the middle",
        };
        let beyond = case.tolerances.surface.reject_above.is_some_and(|bound| patch.peak.abs() > bound);
        let way = if patch.peak > 0.0 { "high" } else { "low" };
        let remedy = match (beyond, patch.peak > 0.0) {
            (true, _) => "that is more than this shop puts right at the bench",
            (false, true) => "sand it down",
            (false, false) => "build it up with a thin piece glued on under the cover",
        };
        format!(
            "the surface is up to {:.1} mm {way} at {:.0}-{:.0} % of the foot, {across}, over {:.0} mm2: {remedy}",
            patch.peak.abs(),
            100.0 * patch.y.0 / length,
            100.0 * patch.y.1 / length,
            patch.cells as f64 * cell_mm2
        )
    };
    patches.iter().take(MOST_TOLD).map(told).collect()
}

/// Connected cells that are off the same way by more than `accept`.
fn patches(map: &Map, accept: f64) -> Vec<Patch> {
    let (lattice, z) = (map.deviation.lattice, &map.deviation.z);
    let mut seen = vec![false; z.len()];
    let mut patches = vec![];
    for first in 0..z.len() {
        if seen[first] || z[first].is_nan() || z[first].abs() <= accept {
            continue;
        }
        let mut patch = Patch { cells: 0, peak: 0.0, y: (f64::INFINITY, f64::NEG_INFINITY), x_sum: 0.0 };
        let mut open = vec![first];
        seen[first] = true;
        while let Some(k) = open.pop() {
            let (i, j) = (k % lattice.nx, k / lattice.nx);
            let p = lattice.node(i, j);
            patch.cells += 1;
            patch.x_sum += p.x;
            patch.y = (patch.y.0.min(p.y), patch.y.1.max(p.y));
            if z[k].abs() > patch.peak.abs() {
                patch.peak = z[k];
            }
            let mut look = |inside: bool, other: usize| {
                if inside && !seen[other] && z[other].abs() > accept && z[other] * z[first] > 0.0 {
                    seen[other] = true;
                    open.push(other);
                }
            };
            look(i > 0, k.wrapping_sub(1));
            look(i + 1 < lattice.nx, k + 1);
            look(j > 0, k.wrapping_sub(lattice.nx));
            look(j + 1 < lattice.ny, k + lattice.nx);
        }
        patches.push(patch);
    }
    patches
}
