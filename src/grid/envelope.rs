//! The upper envelope of a height map under a round stamp: dilation in grey-scale morphology.

use rayon::prelude::*;

use super::Grid;

/// For every node c the greatest `z(p) - h(|p - c|)` over the nodes p within `radius` of c.
///
/// Only nodes are looked at, so between nodes the true envelope may be higher by up to
/// `curvature * step^2 / 4`: good for previews and bounds, not for cutter locations.
/// `h` must not decrease with distance.
pub fn envelope(grid: &Grid, radius: f64, h: impl Fn(f64) -> f64) -> Grid {
    let (nx, ny, step) = (grid.lattice.nx, grid.lattice.ny, grid.lattice.step);
    let stamp = Stamp::new(radius, step, h);
    let mut out = Grid::filled(grid.lattice, f64::NEG_INFINITY);
    out.z.par_chunks_mut(nx).enumerate().for_each(|(j, row)| {
        for (dj, drops) in &stamp.rows {
            let Some(source) = j.checked_add_signed(*dj).filter(|&s| s < ny) else { continue };
            let source = &grid.z[source * nx..(source + 1) * nx];
            for (k, &drop) in drops.iter().enumerate() {
                let di = k as isize - (drops.len() as isize - 1) / 2;
                raise_row(row, source, di, drop);
            }
        }
    });
    out
}

/// The drops of the stamp's nodes, row by row, each row centred on the stamp's axis.
struct Stamp {
    rows: Vec<(isize, Vec<f64>)>,
}

impl Stamp {
    fn new(radius: f64, step: f64, h: impl Fn(f64) -> f64) -> Stamp {
        let reach = (radius / step).floor() as isize;
        let rows = (-reach..=reach)
            .map(|dj| {
                let dy = dj as f64 * step;
                let half = ((radius * radius - dy * dy).max(0.0).sqrt() / step).floor() as isize;
                let drops = (-half..=half).map(|di| h((di as f64 * step).hypot(dy))).collect();
                (dj, drops)
            })
            .collect();
        Stamp { rows }
    }
}

/// `row[i] = max(row[i], source[i + di] - drop)` wherever both exist. The plain comparison, not
/// `f64::max`, is what lets the compiler use vector instructions.
fn raise_row(row: &mut [f64], source: &[f64], di: isize, drop: f64) {
    let n = row.len();
    let shift = di.unsigned_abs();
    if shift >= n {
        return;
    }
    let (row, source) =
        if di >= 0 { (&mut row[..n - shift], &source[shift..]) } else { (&mut row[shift..], &source[..n - shift]) };
    for (z, &s) in row.iter_mut().zip(source) {
        let candidate = s - drop;
        if candidate > *z {
            *z = candidate;
        }
    }
}
