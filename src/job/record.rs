//! The inspection record of a designed foot.

use super::design::Design;
use super::draw::landmarks;
use crate::draw::{DrawError, RecordData, RecordMap, Surface, record_html};
use crate::frame::Point2;
use crate::grid::Grid;
use crate::inspect::{Inspection, Map};
use crate::profile::Tolerances;
use crate::ticket::Ticket;

/// The record as one HTML page; `note` is what a person wrote with it, `map` what a scan showed.
pub fn record(
    ticket: &Ticket,
    design: &Design,
    tolerances: &Tolerances,
    inspection: &Inspection,
    ticket_sha256: &str,
    note: &str,
    map: Option<&Map>,
) -> Result<String, DrawError> {
    let footbed = &design.footbed;
    let within = |p: Point2| footbed.outline.contains(p);
    let asked_top = |p: Point2| within(p).then(|| footbed.top_at(p));
    let asked_underside = |p: Point2| within(p).then(|| footbed.underside_at(p));
    let known = |grid: Option<&Grid>, p: Point2| grid?.sample(p).filter(|z| z.is_finite()).filter(|_| within(p));
    let made_top = |p: Point2| known(map.map(|map| &map.made_top), p);
    let made_underside = |p: Point2| known(map.and_then(|map| map.made_underside.as_ref()), p);
    let drawn = map.map(|map| RecordMap {
        deviation: &map.deviation,
        words: "Made less asked, along the normal",
        tolerance_mm: tolerances.surface.accept,
        asked: Surface { top: &asked_top, underside: &asked_underside },
        made: Surface { top: &made_top, underside: &made_underside },
    });
    record_html(&RecordData {
        code: &ticket.code,
        revision: ticket.revision,
        material: &ticket.make.material.title,
        machine: &ticket.make.machine.title,
        ticket_sha256,
        note,
        outline: footbed.outline.points(),
        landmarks: &landmarks(footbed),
        tolerances,
        inspection,
        map: drawn,
    })
}
