//! How a designed foot gives under the ticket's load, with what the limits find about it.

use super::Design;
use crate::flex::{self, Flex, Question};
use crate::limits::{self, Finding};
use crate::ticket::Ticket;
use crate::value::Value;

/// Works out how the footbed gives and adds what there is to find, gravest first. A plate that cannot
/// be worked out keeps no footbed from being made: why is said among what is not known.
pub(super) fn under_load(ticket: &Ticket, design: &mut Design) -> Flex {
    let order = design.order;
    let load = &ticket.wearer.load;
    let question = Question {
        footbed: &design.footbed,
        foot: &order.foot,
        material: &ticket.make.material,
        cover_mm: ticket.make.cover_mm,
        weight_kg: ticket.wearer.weight_kg,
        load,
        wanted_share: order.support.allowed_drop,
        room_mm: design.intervals.get(&Value::FlexZoneThickness).and_then(|zone| zone.ends()).map(|[_, most]| most),
        stabiliser_share: order.support.stabiliser_share,
    };
    let flex = flex::answer(&question).unwrap_or_else(|error| Flex {
        load: load.name.clone(),
        load_title: load.title.clone(),
        missing: vec![format!("how the footbed gives: {error}")],
        figures: None,
    });
    design.findings.extend(limits::under_load(order.side, &flex, order.foot.length_mm()));
    design.findings.sort_by_key(Finding::rank);
    flex
}
