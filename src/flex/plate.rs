//! The bending energy of a thin plate over a region as a banded matrix. Knows no loads or supports.
//!
//! Kirchhoff's plate (Timoshenko & Woinowsky-Krieger 1959, ch. 2 and 4), deflection w:
//!
//! ```text
//! energy = 1/2 integral D [ (wxx + wyy)^2 - 2 (1 - nu) (wxx wyy - wxy^2) ]
//! ```
//!
//! The spline's functions are C2, so the plate is conforming. Functions of which only a sliver lies
//! inside the region would have next to no stiffness; the plate is therefore carried on beyond the
//! line, over the rest of the basis' rectangle, [`BEYOND`] times as stiff (the finite cell method of
//! Parvizian, Düster & Rank 2007).

use super::region::{GAUSS_4, Region};
use crate::frame::Point2;
use crate::sheet::{Banded, Basis, Local};

/// Stiffness of the plate beyond the line as a share of the mean inside. It adds at most this share
/// to the energy of any bend, which is far below every other error here; and it bounds the scaled
/// matrix's condition at about its inverse, half of the digits that there are. A test moves it by
/// a hundred either way and sees the same deflections.
pub const BEYOND: f64 = 1e-8;

/// The plate's matrix K with `energy = 1/2 w^T K w`, for a rigidity D (N mm) at each of the region's
/// places and one Poisson's ratio. `beyond` is [`BEYOND`] but for tests of it.
pub fn stiffness(region: &Region, rigidity_n_mm: &[f64], poisson: f64, beyond: f64) -> Banded {
    let basis = &region.basis;
    let mut matrix = Banded::zero(basis.len(), 3 * basis.nx + 3);
    let cells = region.places.iter().zip(rigidity_n_mm);
    let mut block = [[0.0; 16]; 16];
    let mut open: Option<Local> = None;
    // Places come cell after cell along a line: their products are summed before they are spread.
    for (place, d) in cells {
        if let Some(local) = open.filter(|local| local.first != place.local.first) {
            matrix.add_block(&local.indices(), &block, 1.0);
            block = [[0.0; 16]; 16];
        }
        open = Some(place.local);
        add_bending(&mut block, &place.local, d * place.area_mm2, poisson);
    }
    if let Some(local) = open {
        matrix.add_block(&local.indices(), &block, 1.0);
    }
    let (sum, area) = region
        .places
        .iter()
        .zip(rigidity_n_mm)
        .fold((0.0, 0.0), |(sum, area), (place, d)| (sum + d * place.area_mm2, area + place.area_mm2));
    carry_on(&mut matrix, basis, beyond * sum / area, poisson);
    matrix
}

/// Adds the lower half of `D dA (xx xx' + yy yy' + nu (xx yy' + yy xx') + 2 (1 - nu) xy xy')`: the energy
/// above, multiplied out.
fn add_bending(block: &mut [[f64; 16]; 16], local: &Local, weight: f64, poisson: f64) {
    let (xx, xy, yy) = (local.terms(2, 0), local.terms(1, 1), local.terms(0, 2));
    for a in 0..16 {
        let along_x = weight * (xx[a] + poisson * yy[a]);
        let along_y = weight * (yy[a] + poisson * xx[a]);
        let twist = weight * 2.0 * (1.0 - poisson) * xy[a];
        for (b, entry) in block[a][..=a].iter_mut().enumerate() {
            *entry += along_x * xx[b] + along_y * yy[b] + twist * xy[b];
        }
    }
}

/// The plate of one small rigidity over the whole rectangle.
fn carry_on(matrix: &mut Banded, basis: &Basis, rigidity: f64, poisson: f64) {
    let mut block = [[0.0; 16]; 16];
    for (s, ws) in GAUSS_4 {
        for (t, wt) in GAUSS_4 {
            let at = Point2::new(basis.x0 + s * basis.knot, basis.y0 + t * basis.knot);
            add_bending(&mut block, &basis.local(at), ws * wt * basis.knot * basis.knot, poisson);
        }
    }
    for j in 0..basis.ny - 3 {
        for i in 0..basis.nx - 3 {
            let indices = std::array::from_fn(|k| (j + k / 4) * basis.nx + i + k % 4);
            matrix.add_block(&indices, &block, rigidity);
        }
    }
}
