//! The fairest sheet through given points: one uniform bicubic B-spline over a rectangle that
//! minimises bending energy and a little tension, subject to linear conditions. Knows nothing of
//! feet: conditions come in as weighted samples, sheets go out.
//!
//! Over the sheet's rectangle the energy is
//!
//! ```text
//! E(z) = integral( zxx^2 + 2 zxy^2 + zyy^2 ) + tension * integral( zx^2 + zy^2 )
//!        + sum over pulls  weight * (pull(z) - target)^2          (soft)
//!        subject to        condition(z) = target                   (exact)
//! ```
//!
//! the thin plate of Duchon (1977) on the tensor-product B-splines of Eilers & Marx (1996) [both
//! from memory]. The minimiser is linear in all targets, so a problem is factored once and solved
//! for as many sets of targets as wanted.

mod banded;
mod basis;
mod energy;
mod fair;

pub use banded::{Banded, Cholesky};
pub use basis::{Basis, Local, Row, Sheet};
pub use fair::{Fair, FairError, Problem};
