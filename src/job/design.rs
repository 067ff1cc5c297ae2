//! The first half of a job: one ordered foot becomes outline, footbed, values and findings.

use super::lay::{Arrangement, Lay, Piece, lay_pieces};
use super::turning;
use crate::curve::{Outline, TraceError, TrimError, outline_from_measures, outline_from_svg};
use crate::footbed::{self, BuildError, Footbed};
use crate::frame::{Side, bench_from_foot};
use crate::gauge;
use crate::limits::{self, BootEffect, Case, Finding, Floor, Intervals, Repair};
use crate::profile::Material;
use crate::ticket::{FootOrder, Laying, Ticket, Underside};
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
    /// Places where how the blank is turned needs height; none until the foot is laid.
    pub floors: Vec<Floor>,
    /// What changes in the boot.
    pub boot_effect: BootEffect,
}

/// Designs and checks one foot of the ticket.
pub fn design<'a>(ticket: &'a Ticket, order: &'a FootOrder) -> Result<Design<'a>, DesignError> {
    Ok(beside(ticket, design_alone(ticket, order)?))
}

/// The same without what only the other foot beside it shows.
pub(super) fn design_alone<'a>(ticket: &'a Ticket, order: &'a FootOrder) -> Result<Design<'a>, DesignError> {
    let outline = outline(order)?;
    let footbed = Footbed::build(outline, order.foot.length_mm(), &order.support, underside(ticket, order))?;
    Ok(judged(ticket, order, footbed))
}

/// The same from a footbed of which only shaping values and underside are to change.
pub(super) fn redesign_alone<'a>(ticket: &'a Ticket, order: &'a FootOrder, before: &Footbed) -> Design<'a> {
    judged(ticket, order, before.reshaped(&order.support, underside(ticket, order)))
}

/// A design with what shows beside the other foot's order.
pub(super) fn beside<'a>(ticket: &'a Ticket, mut design: Design<'a>) -> Design<'a> {
    let side = design.order.side;
    design.findings.extend(limits::check_pair(ticket).into_iter().filter(|f| f.side == side));
    design
}

fn judged<'a>(ticket: &'a Ticket, order: &'a FootOrder, footbed: Footbed) -> Design<'a> {
    let read_back = gauge::read_design(&footbed);
    let case = case(ticket, order, &footbed, &read_back);
    let (mut findings, intervals) = limits::check(&case);
    findings.splice(0..0, limits::referral(&ticket.wearer, order.side));
    let boot_effect = limits::boot_effect(&case);
    Design { order, footbed, read_back, findings, intervals, floors: vec![], boot_effect }
}

impl Design<'_> {
    /// Narrows the intervals by the heights that turning the blank needs at places.
    pub(super) fn narrow(&mut self, ticket: &Ticket, floors: Vec<Floor>) {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        limits::narrow(&case, &mut self.intervals, &floors);
        self.floors = floors;
    }

    /// Closes in on the intervals' ends that only other designs tell: the outline's sizes and the
    /// cup's width.
    pub fn search(&mut self, ticket: &Ticket) {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        let beside = self.beside(ticket);
        let laid = |footbed: &Footbed| relaid(ticket, self.order.side, footbed, &beside).0;
        limits::search(&case, &mut self.intervals, &|changed| top_of(ticket, changed), &laid);
        limits::advise_again(&case, &mut self.findings, &self.intervals);
    }

    /// What several values together can do about what stops this foot.
    pub fn repair(&self, ticket: &Ticket) -> Option<Repair> {
        let case = case(ticket, self.order, &self.footbed, &self.read_back);
        let beside = self.beside(ticket);
        let laid = |footbed: &Footbed| {
            let (found, lay) = relaid(ticket, self.order.side, footbed, &beside);
            (found, lay.map_or(vec![], |lay| turning::floors(&ticket.make, footbed, &lay)))
        };
        limits::repair(&case, &self.findings, &self.intervals, &|changed| whole_of(ticket, changed), &laid)
    }

    /// The outlines of a pair in one blank that lie beside this one, as they are.
    fn beside(&self, ticket: &Ticket) -> Vec<(Side, Outline)> {
        let shared = ticket.make.laying == Laying::Pair;
        let beside = ticket.feet.iter().filter(|order| shared && order.side != self.order.side);
        beside.filter_map(|order| Some((order.side, outline(order).ok()?))).collect()
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

/// A footbed laid in its blank, with what is found of that.
fn relaid(ticket: &Ticket, side: Side, footbed: &Footbed, beside: &[(Side, Outline)]) -> (Vec<Finding>, Option<Lay>) {
    let own = Piece { side, outline: &footbed.outline };
    let others = beside.iter().map(|(side, outline)| Piece { side: *side, outline });
    let mut pieces: Vec<Piece> = others.chain([own]).collect();
    pieces.sort_by_key(|piece| piece.side);
    let Arrangement { lays, findings } = lay_pieces(&ticket.make, &pieces);
    let lay = lays.into_iter().find(|lay| lay.side == side);
    let lay = lay.map(|lay| Lay { pin_height_mm: turning::height_mm(&ticket.make, footbed, &lay), ..lay });
    let turned = lay.iter().flat_map(|lay| turning::findings(&ticket.make, footbed, lay));
    (findings.into_iter().filter(|f| f.side == side).chain(turned).collect(), lay)
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
