//! The inspection record of a designed foot.

use super::design::Design;
use super::draw::landmarks;
use crate::draw::{DrawError, RecordData, record_html};
use crate::inspect::Inspection;
use crate::profile::Tolerances;
use crate::ticket::Ticket;

/// The record as one HTML page; `note` is what a person wrote with it.
pub fn record(
    ticket: &Ticket,
    design: &Design,
    tolerances: &Tolerances,
    inspection: &Inspection,
    ticket_sha256: &str,
    note: &str,
) -> Result<String, DrawError> {
    record_html(&RecordData {
        code: &ticket.code,
        revision: ticket.revision,
        material: &ticket.make.material.title,
        machine: &ticket.make.machine.title,
        ticket_sha256,
        note,
        outline: design.footbed.outline.points(),
        landmarks: &landmarks(&design.footbed),
        tolerances,
        inspection,
    })
}
