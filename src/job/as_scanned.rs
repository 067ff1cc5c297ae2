//! What the programs would leave, inspected like a scan of the finished piece.

use super::design::Design;
use super::pieces;
use super::{Precision, Proved, StageError};
use crate::inspect::{self, Case, Cover, Inspection, ScanFault, Taken};
use crate::profile::Tolerances;
use crate::ticket::Ticket;

/// Judges the carved piece by the very path that judges a scan: its mesh is sampled, found, laid on its
/// datums and read.
///
/// # Errors
/// When no mesh can be made of what is left. What the inspection itself refuses is the inner error: a
/// piece so far from its design is not recognised.
pub fn inspect_carved(
    ticket: &Ticket,
    design: &Design,
    proved: &Proved,
    tolerances: &Tolerances,
    precision: Precision,
) -> Result<Result<Inspection, ScanFault>, StageError> {
    let mesh = pieces::carved(design, proved, precision)?;
    let case = Case {
        make: &ticket.make,
        order: design.order,
        footbed: &design.footbed,
        read_back: &design.read_back,
        tolerances,
    };
    let cloud = inspect::cloud_of_mesh(&mesh)?;
    let taken = Taken { cover: Cover::Off, scanner_mm: 0.0 };
    Ok(inspect::inspect_scan(&case, &cloud, taken).map(|scanned| scanned.inspection))
}
