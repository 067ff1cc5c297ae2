//! The first half of a job: one ordered foot becomes outline, footbed, values and findings.

use crate::curve::{Outline, TraceError, TrimError, outline_from_measures, outline_from_svg};
use crate::footbed::{self, BuildError, Footbed};
use crate::frame::bench_from_foot;
use crate::gauge;
use crate::limits::{self, BootEffect, Bound, Case, Finding, Floor, Interval, Intervals, Repair};
use crate::profile::Material;
use crate::ticket::{FootOrder, Ticket, Underside};
use crate::value::{Value, Values};

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
    /// Places where how the blank is turned needs height; none until the foot is laid.
    pub floors: Vec<Floor>,
    /// What changes in the boot.
    pub boot_effect: BootEffect,
}

/// Designs and checks one foot of the ticket.
pub fn design<'a>(ticket: &'a Ticket, order: &'a FootOrder) -> Result<Design<'a>, DesignError> {
    let outline = outline(order)?;
    let footbed = Footbed::build(outline, order.foot.length_mm(), &order.support, underside(ticket, order))?;
    let read_back = gauge::read_design(&footbed);
    let case = case(ticket, order, &footbed, &read_back);
    let (mut findings, intervals) = limits::check(&case);
    findings.extend(limits::check_pair(ticket).into_iter().filter(|f| f.side == order.side));
    findings.splice(0..0, limits::referral(&ticket.wearer, order.side));
    let boot_effect = limits::boot_effect(&case);
    Ok(Design { order, footbed, read_back, findings, intervals, floors: vec![], boot_effect })
}

impl Design<'_> {
    /// Narrows the intervals by what turning the blank needs: heights at places, and a length.
    pub(super) fn narrow(&mut self, ticket: &Ticket, floors: Vec<Floor>, longest_mm: Option<f64>) {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        limits::narrow(&case, &mut self.intervals, &floors);
        if let (Some(most), Some(length)) = (longest_mm, self.intervals.get_mut(&Value::Length)) {
            *length = length.and(Interval::at_most(most, Bound::of("pin_room")));
        }
        self.floors = floors;
    }

    /// Closes in on the intervals' ends that only other designs tell: the outline's sizes and the
    /// cup's width.
    pub fn search(&mut self, ticket: &Ticket) {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        limits::search(&case, &mut self.intervals, &|changed| top_of(ticket, changed));
    }

    /// What several values together can do about what stops this foot.
    pub fn repair(&self, ticket: &Ticket) -> Option<Repair> {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        limits::repair(&case, &self.floors, &self.findings, &|changed| whole_of(ticket, changed))
    }

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

fn case<'a>(ticket: &'a Ticket, order: &'a FootOrder, footbed: &'a Footbed, read_back: &'a Values) -> Case<'a> {
    Case { make: &ticket.make, boot: &ticket.boot, order, footbed, read_back }
}

/// The footbed of a changed order; `None` when there is none.
fn whole_of(ticket: &Ticket, order: &FootOrder) -> Option<Footbed> {
    Footbed::build(outline(order).ok()?, order.foot.length_mm(), &order.support, underside(ticket, order)).ok()
}

/// The same without its responses.
fn top_of(ticket: &Ticket, order: &FootOrder) -> Option<Footbed> {
    Footbed::build_top(outline(order).ok()?, order.foot.length_mm(), &order.support, underside(ticket, order)).ok()
}

/// The trim outline, foot frame: traced when the ticket names a drawing, else from measures.
fn outline(order: &FootOrder) -> Result<Outline, DesignError> {
    let Some(traced) = &order.traced else { return Ok(outline_from_measures(&order.trim_measures())?) };
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
