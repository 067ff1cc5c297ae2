//! The design in plan, ready to be asked many times: how far from the edge a place is, and whether
//! the underside is flat there.

use crate::footbed::{Footbed, Underside};
use crate::frame::Point2;
use crate::grid::{Grid, Lattice};

/// Distances from the edge are kept up to this far from it, mm.
pub(super) const BAND_MM: f64 = 40.0;
const STEP_MM: f64 = 1.0;

/// A footbed in plan, foot frame.
pub(super) struct Plan<'a> {
    pub(super) footbed: &'a Footbed,
    distances: Grid,
    underside: Option<Grid>,
}

impl<'a> Plan<'a> {
    pub(super) fn new(footbed: &'a Footbed) -> Plan<'a> {
        let lattice = Lattice::covering(footbed.outline.bounds().grown(BAND_MM), STEP_MM);
        let underside = (footbed.underside != Underside::Flat).then(|| footbed.underside_sampled(lattice));
        Plan { footbed, distances: footbed.outline.distance_field(&lattice, BAND_MM), underside }
    }

    /// Distance from the edge, mm, negative inside; infinite beyond the band.
    pub(super) fn distance(&self, p: Point2) -> f64 {
        self.distances.sample(p).unwrap_or(f64::INFINITY)
    }

    /// Height of the designed underside, mm.
    pub(super) fn underside(&self, p: Point2) -> f64 {
        self.underside.as_ref().and_then(|grid| grid.sample(p)).unwrap_or(0.0)
    }

    /// Whether the design lies on the base plane here.
    pub(super) fn is_flat_under(&self, p: Point2) -> bool {
        const FLAT_MM: f64 = 0.02;
        self.underside(p) < FLAT_MM
    }
}
