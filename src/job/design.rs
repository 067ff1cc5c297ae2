//! The first half of a job: one ordered foot becomes outline, footbed, values and findings.

use crate::curve::{Outline, TraceError, TrimError, TrimMeasures, outline_from_measures, outline_from_svg};
use crate::footbed::{self, BuildError, Footbed};
use crate::frame::bench_from_foot;
use crate::gauge;
use crate::limits::{self, BootEffect, Case, Finding, Intervals};
use crate::profile::Material;
use crate::ticket::{FootOrder, Ticket, Underside};
use crate::value::Values;

/// Why a foot cannot be designed at all.
#[derive(Debug, thiserror::Error)]
pub enum DesignError {
    /// No outline from these measures.
    #[error("{0}")]
    Trim(#[from] TrimError),
    /// No outline from this drawing.
    #[error("{file}: {problem}")]
    Trace {
        /// The drawing's name as the ticket gives it.
        file: String,
        /// What is wrong with it.
        problem: TraceError,
    },
    /// No surface on this outline.
    #[error("{0}")]
    Build(#[from] BuildError),
}

/// One foot as designed and checked.
#[derive(Clone, Debug)]
pub struct Design<'a> {
    /// What was asked.
    pub order: &'a FootOrder,
    /// The footbed.
    pub footbed: Footbed,
    /// Values read from the design.
    pub read_back: Values,
    /// All that the limits found, gravest first.
    pub findings: Vec<Finding>,
    /// Where each value may lie, the others held.
    pub intervals: Intervals,
    /// What changes in the boot.
    pub boot_effect: BootEffect,
}

/// Designs and checks one foot of the ticket.
pub fn design<'a>(ticket: &'a Ticket, order: &'a FootOrder) -> Result<Design<'a>, DesignError> {
    let outline = outline(order)?;
    let footbed = Footbed::build(outline, order.foot.length_mm(), &order.support, underside(ticket, order))?;
    let read_back = gauge::read_design(&footbed);
    let case = Case { make: &ticket.make, boot: &ticket.boot, order, footbed: &footbed, read_back: &read_back };
    let (mut findings, intervals) = limits::check(&case);
    findings.extend(limits::check_pair(ticket).into_iter().filter(|f| f.side == order.side));
    let boot_effect = limits::boot_effect(&case);
    Ok(Design { order, footbed, read_back, findings, intervals, boot_effect })
}

impl Design<'_> {
    /// Whether a finding keeps programs from being written.
    pub fn is_stopped(&self) -> bool {
        self.findings.iter().any(|f| f.blocks(self.order.reason.as_deref()))
    }

    /// The stops that the typed reason outweighs.
    pub fn accepted(&self) -> Vec<&Finding> {
        let stops = |f: &&Finding| f.severity == limits::Severity::Stop;
        let reason = self.order.reason.as_deref();
        self.findings.iter().filter(stops).filter(|f| !f.blocks(reason)).collect()
    }
}

/// The trim outline, foot frame: traced when the ticket names a drawing, else from measures.
fn outline(order: &FootOrder) -> Result<Outline, DesignError> {
    let support = &order.support;
    let at = |station: f64| station * order.foot.length_mm();
    let Some(traced) = &order.traced else {
        let measures = TrimMeasures {
            length_mm: support.length_mm,
            ball_width_mm: support.ball_width_mm,
            heel_width_mm: support.heel_width_mm,
            heel_station_y_mm: at(support.stations.widest_cup),
            first_met_y_mm: at(support.stations.first_met),
            fifth_met_y_mm: at(support.stations.fifth_met),
        };
        return Ok(outline_from_measures(&measures)?);
    };
    let drawn = outline_from_svg(&traced.svg, traced.clearance_mm)
        .map_err(|problem| DesignError::Trace { file: traced.name.clone(), problem })?;
    // Placing takes the foot frame to the bench; a reflection undoes itself.
    Ok(drawn.outline.placed(bench_from_foot(traced.side)))
}

/// What a relieved underside leaves when no thickness is asked: the least the material allows once
/// it has been sanded.
fn least_left_mm(material: &Material) -> f64 {
    material.least.flex_zone + material.sanding_mm
}

fn underside(ticket: &Ticket, order: &FootOrder) -> footbed::Underside {
    match ticket.make.underside {
        Underside::Flat => footbed::Underside::Flat,
        Underside::Relieved => footbed::Underside::Relieved {
            left_mm: order.support.flex_zone_thickness_mm.unwrap_or(least_left_mm(&ticket.make.material)),
            stabiliser_share: order.support.stabiliser_share,
        },
    }
}
