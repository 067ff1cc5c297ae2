//! The whole program on one page: [`make`] builds, checks, plans, writes, reads back, carves,
//! gauges and draws. Value in, value out: no files, no clock, no printing.

mod cutting;
mod report;
mod target;

use std::collections::BTreeMap;

use crate::carve::{self, Cut, Proof, Rules};
use crate::curve::{self, Outline};
use crate::footbed::{BuildError, Footbed, Underside};
use crate::frame::{Placement, Side, bench_from_foot};
use crate::gauge::{self, Piece};
use crate::grid::Grid;
use crate::limits::{self, BootEffect, Case, Finding, Intervals};
use crate::path::{PathError, Step, Toolpath};
use crate::ticket::{self, FootOrder, Ticket};
use crate::value::Values;
use crate::{mesh, nc};

pub use report::{CheckReport, FootReport, JobReport};

/// How finely a job is computed. What is written changes with these, so they are options of the
/// job and not of the machine it runs on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Precision {
    /// Lattice on which tip heights are planned, mm. At 0.25 mm the exact kernel's facets stray
    /// from the sheet by under 0.001 mm at a bend of radius 10 mm (s^2 / 8 r, [derived]).
    pub plan_mm: f64,
    /// Lattice on which the stock is carved, mm.
    pub carve_mm: f64,
    /// How far the design's mesh may stray from the design, mm.
    pub mesh_mm: f64,
    /// How far the carved piece's mesh may stray from the carved lattice, mm: about one scallop,
    /// so that the mesh shows the shape and not every cutter mark.
    pub carved_mesh_mm: f64,
}

impl Precision {
    /// What the shop uses.
    pub const SHOP: Precision = Precision { plan_mm: 0.25, carve_mm: 0.2, mesh_mm: 0.02, carved_mesh_mm: 0.1 };
}
