//! A job on the desk: designed again after every change of its ticket, quickly where only the top's shaping values
//! change, and shown. What takes other designs or a load is worked out afterwards, from a state that stands.

use std::collections::BTreeMap;

use rayon::prelude::*;
use serde_json::Value as Json;

use super::design::{beside, design_alone, redesign_alone};
use super::draw::{Model, blank_words, stays};
use super::report::value_reports;
use super::{Design, JobError, ValueReport, arranged, each_foot, flexing, sha256_hex};
use crate::draw::{self, DeskDrawing, DeskPage, DeskWords, DrawError, FootShape, PreviewData, PreviewFoot};
use crate::footbed::{Footbed, SHAPING};
use crate::frame::Side;
use crate::limits::{BootEffect, Finding, Floor, Intervals, Repair, Severity};
use crate::ticket::{FootOrder, Ticket, Underside};
use crate::value::{Value, Values};

/// A ticket with the designs of its feet.
#[derive(Clone, Debug)]
pub struct Live {
    ticket: Ticket,
    sha256: String,
    feet: Vec<Kept>,
    settled: bool,
}

/// One designed foot, without its order.
#[derive(Clone, Debug)]
struct Kept {
    footbed: Footbed,
    read_back: Values,
    findings: Vec<Finding>,
    intervals: Intervals,
    floors: Vec<Floor>,
    boot_effect: BootEffect,
    alone: Alone,
    /// What several values together would do about a stop.
    way_out: Vec<(Value, f64)>,
}

/// What was found of a foot before the other foot, its blank and its load were looked at.
#[derive(Clone, Debug)]
struct Alone {
    findings: Vec<Finding>,
    intervals: Intervals,
}

impl Alone {
    fn of(design: &Design) -> Alone {
        Alone { findings: design.findings.clone(), intervals: design.intervals.clone() }
    }
}

/// Which lines along a foot's edge a drawing needs: working out the bevel's takes a while.
#[derive(Clone, Copy)]
enum Edge {
    Trim,
    Bevel,
}

/// What the desk needs to know of one foot.
#[derive(Clone, Debug)]
pub struct LiveFoot {
    /// Which foot.
    pub side: Side,
    /// Its values.
    pub values: BTreeMap<Value, ValueReport>,
    /// Whether something still stops it.
    pub stopped: bool,
    /// Whether a reason typed would outweigh, or outweighs, one of its stops.
    pub wants_reason: bool,
    /// The reason as typed; may be empty.
    pub reason: String,
    /// Values that together settle what stops it, where that was found.
    pub way_out: Vec<(Value, f64)>,
}

/// Said where a preview would play paths.
const NO_PATHS: &str = "Where the cutters go is shown by the preview, and proved when the job is milled.";

impl Live {
    /// Designs a ticket.
    pub fn open(ticket: Ticket, text: &str) -> Result<Live, JobError> {
        Live::designed(ticket, text, None)
    }

    /// Designs a changed ticket from this one: a foot of which only shaping values and underside changed needs no
    /// solve.
    pub fn changed(&self, ticket: Ticket, text: &str) -> Result<Live, JobError> {
        Live::designed(ticket, text, Some(self))
    }

    fn designed(ticket: Ticket, text: &str, before: Option<&Live>) -> Result<Live, JobError> {
        let orders = ticket.feet.iter().map(|order| (order.side, order)).collect();
        let alone = each_foot(orders, |order| {
            if let Some(kept) = before.and_then(|live| live.unchanged(&ticket, order)) {
                return Ok(kept.alone(order));
            }
            match before.and_then(|live| live.base_of(order)) {
                Some(footbed) => Ok(redesign_alone(&ticket, order, footbed)),
                None => Ok(design_alone(&ticket, order)?),
            }
        })?;
        let own: Vec<Alone> = alone.iter().map(Alone::of).collect();
        let designs = alone.into_iter().map(|design| beside(&ticket, design)).collect();
        let laid = arranged(&ticket, designs).into_iter().zip(own);
        let feet = laid.map(|((design, _), alone)| Kept::of(design, alone)).collect();
        Ok(Live { ticket, sha256: sha256_hex(text.as_bytes()), feet, settled: false })
    }

    /// A foot of which nothing changed, nor how it is made.
    fn unchanged(&self, ticket: &Ticket, order: &FootOrder) -> Option<&Kept> {
        let same = self.ticket.make == ticket.make && self.ticket.boot == ticket.boot;
        let mut feet = self.ticket.feet.iter().zip(&self.feet);
        feet.find(|(old, _)| same && *old == order).map(|(_, kept)| kept)
    }

    /// A footbed with the same outline, places and responses as this order's.
    fn base_of(&self, order: &FootOrder) -> Option<&Footbed> {
        let same = |(old, _): &(&FootOrder, &Kept)| old.side == order.side && same_base(old, order);
        self.ticket.feet.iter().zip(&self.feet).find(same).map(|(_, kept)| &kept.footbed)
    }

    /// The same with what takes longer: the intervals that only other designs tell, how it gives under load, and what
    /// several values together would do about a stop.
    pub fn settle(&self) -> Live {
        let designs: Vec<(Design, &Kept)> = self.designs().zip(&self.feet).collect();
        let feet = designs.into_par_iter().map(|(mut design, kept)| {
            flexing::under_load(&self.ticket, &mut design);
            design.search(&self.ticket);
            let way_out = design.repair(&self.ticket).map_or(vec![], changes);
            Kept { way_out, ..Kept::of(design, kept.alone.clone()) }
        });
        Live { feet: feet.collect(), settled: true, ..self.clone() }
    }

    /// Whether [`Live::settle`] has been here.
    pub fn is_settled(&self) -> bool {
        self.settled
    }

    /// The ticket.
    pub fn ticket(&self) -> &Ticket {
        &self.ticket
    }

    /// Every foot in numbers.
    pub fn feet(&self) -> Vec<LiveFoot> {
        let waits = |f: &Finding| f.severity == Severity::Stop && !f.blocks(Some(""));
        self.designs()
            .zip(&self.feet)
            .map(|(design, kept)| LiveFoot {
                side: design.order.side,
                values: value_reports(&design, None),
                stopped: design.is_stopped(),
                wants_reason: design.findings.iter().any(waits),
                reason: design.order.reason.clone().unwrap_or_default(),
                way_out: kept.way_out.clone(),
            })
            .collect()
    }

    /// The shapes of these feet for the page's script.
    pub fn shapes(&self, sides: &[Side]) -> Vec<FootShape> {
        let designs: Vec<Design> = self.designs().filter(|design| sides.contains(&design.order.side)).collect();
        let models: Vec<Model> = designs.iter().map(Model::plain).collect();
        self.shown(&designs, &models).iter().map(draw::foot_shape).collect()
    }

    /// Tables and notes for the page.
    pub fn words(&self) -> Result<DeskWords, DrawError> {
        self.with_data(Edge::Trim, draw::desk_words)
    }

    /// The pictures for the page, with what changed since `saved`.
    pub fn drawing(&self, saved: &Live) -> Result<DeskDrawing, DrawError> {
        saved.with_data(Edge::Trim, |saved| self.with_data(Edge::Bevel, |data| draw::desk_drawing(data, &saved.feet)))
    }

    /// The whole page.
    pub fn page(&self, saved: &Live, state: Json) -> Result<DeskPage, DrawError> {
        saved.with_data(Edge::Trim, |saved| {
            self.with_data(Edge::Bevel, |data| draw::desk_page(data, &saved.feet, state))
        })
    }

    /// Whether a foot is the same piece in both.
    pub fn has_shape_of(&self, other: &Live, side: Side) -> bool {
        let order = |live: &Live| live.ticket.feet.iter().find(|order| order.side == side).cloned();
        let (Some(a), Some(b)) = (order(self), order(other)) else { return false };
        let alike = Value::ALL.into_iter().all(|value| a.support.asked(value) == b.support.asked(value));
        let make = self.ticket.make == other.ticket.make;
        alike && make && same_base(&a, &b) && a.support.stabiliser_share == b.support.stabiliser_share
    }

    fn designs(&self) -> impl Iterator<Item = Design<'_>> {
        self.ticket.feet.iter().zip(&self.feet).map(|(order, kept)| kept.design(order))
    }

    fn with_data<T>(&self, edge: Edge, use_it: impl FnOnce(&PreviewData) -> T) -> T {
        let designs: Vec<Design> = self.designs().collect();
        let model = |design| match edge {
            Edge::Trim => Model::plain(design),
            Edge::Bevel => Model::new(design),
        };
        let models: Vec<Model> = designs.iter().map(model).collect();
        let make = &self.ticket.make;
        use_it(&PreviewData {
            code: &self.ticket.code,
            revision: self.ticket.revision,
            note: &self.ticket.note,
            material: format!("{} ({})", make.material.title, make.material.name),
            blank: blank_words(&make.blank),
            machine: format!("{} ({})", make.machine.title, make.machine.name),
            ticket_sha256: self.sha256.clone(),
            without_paths: NO_PATHS,
            feet: self.shown(&designs, &models),
        })
    }

    fn shown<'a>(&self, designs: &'a [Design], models: &'a [Model<'a>]) -> Vec<PreviewFoot<'a>> {
        let flat = self.ticket.make.underside == Underside::Flat;
        let foot = |(design, model): (&'a Design, &'a Model<'a>)| PreviewFoot {
            drawn: model.drawn(design, None),
            flat,
            stays: stays(design),
            blank: None,
            programs: vec![],
        };
        designs.iter().zip(models).map(foot).collect()
    }
}

impl Kept {
    fn of(design: Design, alone: Alone) -> Kept {
        let Design { footbed, read_back, findings, intervals, floors, boot_effect, .. } = design;
        Kept { footbed, read_back, findings, intervals, floors, boot_effect, alone, way_out: vec![] }
    }

    fn alone<'a>(&self, order: &'a FootOrder) -> Design<'a> {
        let Alone { findings, intervals } = self.alone.clone();
        Design { findings, intervals, floors: vec![], ..self.design(order) }
    }

    fn design<'a>(&self, order: &'a FootOrder) -> Design<'a> {
        Design {
            order,
            footbed: self.footbed.clone(),
            read_back: self.read_back.clone(),
            findings: self.findings.clone(),
            intervals: self.intervals.clone(),
            floors: self.floors.clone(),
            boot_effect: self.boot_effect,
        }
    }
}

fn changes(repair: Repair) -> Vec<(Value, f64)> {
    match repair {
        Repair::Change(change) => change.changes.iter().map(|change| (change.value, change.to)).collect(),
        Repair::Never(_) => vec![],
    }
}

/// Whether two orders differ in nothing that outline, places and responses are made from.
fn same_base(a: &FootOrder, b: &FootOrder) -> bool {
    let made_from = |value: &Value| !SHAPING.contains(value) && *value != Value::FlexZoneThickness;
    let alike = |value: Value| a.support.asked(value) == b.support.asked(value);
    let sizes = Value::ALL.into_iter().filter(made_from).all(alike);
    sizes
        && a.foot == b.foot
        && a.traced == b.traced
        && a.support.stations == b.support.stations
        && a.support.relief == b.support.relief
}
