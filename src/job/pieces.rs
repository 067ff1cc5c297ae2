//! Meshes of a job, in the bench frame: the design as a closed solid, and the piece that the
//! programs leave, cut free along the trim outline.

use std::io::Cursor;

use super::design::Design;
use super::{OutFile, Precision, Proved, StageError, stem};
use crate::frame::{Point2, bench_from_foot};
use crate::mesh::{self, Mesh};
use crate::ticket::Ticket;

/// The carved lattice is read at least this many of its steps inside the outline: nearer, a cell
/// reaches into the groove of the perimeter cutter.
const INSIDE_STEPS: f64 = 1.5;

/// A mesh with its files.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Solid {
    pub mesh: Mesh,
    /// The STL first.
    pub files: Vec<OutFile>,
}

/// The design (STL and 3MF) and the carved piece (STL).
pub(super) fn solids(
    ticket: &Ticket,
    design: &Design,
    proved: &Proved,
    precision: Precision,
) -> Result<Vec<Solid>, StageError> {
    let (footbed, bench) = (&design.footbed, bench_from_foot(design.order.side));
    let outline = footbed.outline.points();
    let underside = |p| footbed.underside_at(p);
    let top = |p| footbed.top_at(p);
    let designed = mesh::solid(outline, &top, &underside, precision.mesh_mm)?.placed(&bench);

    let carved = carved(design, proved, precision)?;
    let stem = stem(ticket, design.order.side);
    let mut package = Cursor::new(vec![]);
    mesh::write_3mf(&designed, &stem, &mut package).map_err(StageError::Package)?;
    let designed_files = vec![
        OutFile { name: format!("{stem}-design.stl"), bytes: stl(&designed, &format!("{stem} design, mm")) },
        OutFile { name: format!("{stem}-design.3mf"), bytes: package.into_inner() },
    ];
    let carved_files =
        vec![OutFile { name: format!("{stem}-carved.stl"), bytes: stl(&carved, &format!("{stem} carved, mm")) }];
    Ok(vec![Solid { mesh: designed, files: designed_files }, Solid { mesh: carved, files: carved_files }])
}

/// The piece that the programs leave, cut free along the trim outline, bench frame.
pub(super) fn carved(design: &Design, proved: &Proved, precision: Precision) -> Result<Mesh, StageError> {
    let footbed = &design.footbed;
    let inside_mm = INSIDE_STEPS * proved.proof.carved.lattice.step;
    let carved_top = |p: Point2| {
        let q = moved_inside(design, p, inside_mm);
        proved.proof.carved.sample(proved.lay.top.place(q)).unwrap_or_else(|| footbed.top_at(p))
    };
    let carved_underside = |p: Point2| {
        let Some(underside) = &proved.underside else { return 0.0 };
        let q = moved_inside(design, p, inside_mm);
        // A thousandth of cutter marks on the base plane is no wall of a solid.
        underside.sample(proved.lay.top.place(q)).map_or(0.0, |z| z.max(0.0))
    };
    let outline = footbed.outline.points();
    let carved = mesh::solid(outline, &carved_top, &carved_underside, precision.carved_mesh_mm)?;
    Ok(carved.placed(&bench_from_foot(design.order.side)))
}

fn stl(mesh: &Mesh, header: &str) -> Vec<u8> {
    let mut bytes = vec![];
    // Writing to memory cannot fail.
    let _ = mesh::write_stl(mesh, header, &mut bytes);
    bytes
}

/// `p`, or the nearest place that lies `inside_mm` inside the outline.
fn moved_inside(design: &Design, p: Point2, inside_mm: f64) -> Point2 {
    let outline = &design.footbed.outline;
    let distance = outline.signed_distance(p);
    if distance <= -inside_mm {
        return p;
    }
    let edge = outline.nearest(p);
    let inward = if distance < -1e-6 { (p - edge).normalize() } else { inward_normal(design, edge) };
    edge + inward * inside_mm
}

/// Unit vector into the outline at a point of its edge, from the distance's own slope.
fn inward_normal(design: &Design, edge: Point2) -> crate::frame::Vector2 {
    const REACH_MM: f64 = 0.05;
    let outline = &design.footbed.outline;
    let d = |dx: f64, dy: f64| outline.signed_distance(Point2::new(edge.x + dx, edge.y + dy));
    let slope = crate::frame::Vector2::new(d(REACH_MM, 0.0) - d(-REACH_MM, 0.0), d(0.0, REACH_MM) - d(0.0, -REACH_MM));
    -slope.try_normalize(1e-12).unwrap_or_default()
}
