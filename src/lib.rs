//! **sustent** turns a job ticket for two measured feet into a pair of ski-boot footbeds: the
//! surface, the findings, milling programs in RS274/NGC text, a proof of those programs from their
//! own text, a 1:1 trim outline, meshes and a job sheet.
//!
//! # Read this first
//! [`job::make`] is the whole program on one page: build, check, plan, write, read back, carve,
//! gauge, draw. Everything below it is mathematics without files, clock or printing; everything
//! above it is arguments and files.
//!
//! # Frames
//! Millimetres everywhere. All modelling happens in the **foot frame**, in which left and right
//! feet are the same numbers; drawings, meshes and the mill use the **bench frame**.
//!
//! ```text
//!     foot frame (both feet)              bench frame, seen from above
//!
//!          +y  toes                      left foot            right foot
//!           ^                              +Y                    +Y
//!           |                               ^   X = +x            ^   X = -x
//!   lateral |  medial                       |                     |
//!           |                       lateral | medial       medial | lateral
//!           o-----> +x                      o----> +X             o----> +X
//!      rear of the heel
//!      z = 0: boot board, +z up to the foot
//! ```
//! [`frame::bench_from_foot`] is the only place that knows about sides. The **mill frame** is the
//! bench frame moved into the blank: Z zero at the machine bed, X/Y zero at the blank's marked
//! corner.
//!
//! # Rooms, ground floor first
//! A room uses only rooms that stand above it in this list; `tests/floors.rs` keeps it so.

// floor 0: things that know nothing of feet
// sides, points and frames
pub mod frame;
// the names of the values
pub mod value;
// text that people write, read with every mistake placed
pub mod written;
// heights on a regular lattice
pub mod grid;
// closed outlines; the door to the geometry libraries
pub mod curve;
// triangles, in and out
pub mod mesh;
// a cutter on a surface, exactly
pub mod kernel;
// the fairest sheet through given heights
pub mod sheet;
// least squares where neighbours err alike
pub mod regress;
// clouds of points laid onto a surface
pub mod register;

// floor 1: the words of the trade as data
// one foot as measured
pub mod foot;
// materials, blanks, cutters, machines, starting supports, tolerances
pub mod profile;

// floor 2: what was asked
pub mod ticket;

// floor 3: what it looks like
pub mod footbed;

// floor 4: reading it back
pub mod gauge;
// will the arch give: the plate on the boot board under load
pub mod flex;

// floor 5: what will not stand
pub mod limits;

// floor 6: where the cutter goes
pub mod path;

// floor 7: the program text
pub mod nc;

// floor 8: what the text leaves, and how it is shown
// the proof
pub mod carve;
// a made piece against its ticket
pub mod inspect;
// many inspected pieces: what the workshop does to all of them
pub mod drift;
// sheets and drawings; the door to svg
pub mod draw;

// floor 9: the job
pub mod job;
// from measured feet to a ticket, with reasons
pub mod intake;
// from a scan of a foot or its mould to measures and a ticket
pub mod impression;

// floor 10: one ticket on a page of its own computer
pub mod desk;
// arguments, files, exit status
pub mod cli;
