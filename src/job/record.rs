//! The inspection record of a designed foot.

use super::design::Design;
use super::draw::landmarks;
use crate::draw::{DrawError, RecordData, RecordMap, Surface, record_html};
use crate::frame::Point2;
use crate::grid::Grid;
use crate::inspect::Inspection;
use crate::profile::Tolerances;
use crate::ticket::Ticket;

/// What a scan showed of a piece, on lattices of the foot frame, mm; NaN where it shows nothing.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Made less asked.
    pub deviation: Grid,
    /// How the deviation is told, such as `Made less asked, along the normal`.
    pub words: String,
    /// Height of the piece's top above the base plane.
    pub top: Grid,
    /// Height of its underside; `None` where it lay on a plate.
    pub underside: Option<Grid>,
}

/// The record as one HTML page; `note` is what a person wrote with it, `seen` what a scan showed.
pub fn record(
    ticket: &Ticket,
    design: &Design,
    tolerances: &Tolerances,
    inspection: &Inspection,
    ticket_sha256: &str,
    note: &str,
    seen: Option<&Seen>,
) -> Result<String, DrawError> {
    let footbed = &design.footbed;
    let within = |p: Point2| footbed.outline.contains(p);
    let asked_top = |p: Point2| within(p).then(|| footbed.top_at(p));
    let asked_underside = |p: Point2| within(p).then(|| footbed.underside_at(p));
    let known = |grid: Option<&Grid>, p: Point2| grid?.sample(p).filter(|z| z.is_finite()).filter(|_| within(p));
    let made_top = |p: Point2| known(seen.map(|seen| &seen.top), p);
    let made_underside = |p: Point2| known(seen.and_then(|seen| seen.underside.as_ref()), p);
    let map = seen.map(|seen| RecordMap {
        deviation: &seen.deviation,
        words: &seen.words,
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
        map,
    })
}
