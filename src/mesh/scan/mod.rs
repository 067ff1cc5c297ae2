//! Scans: surfaces and points as measured, from STL, PLY, OBJ and points as text. Nothing that a
//! file says is believed before it was held against the file itself, and nothing is corrected
//! silently. Knows nothing of what was scanned, nor in which unit unless the file says so.

mod cells;
mod error;
mod gather;
mod index;
mod kind;
mod obj;
mod ply;
mod points;
mod polygon;
mod samples;
mod source;
mod stl;
mod unit;

use std::io::Read;

pub use error::{Place, ScanError};
pub use samples::Sample;
pub use source::LARGEST_FILE;
pub use unit::Unit;

use super::Mesh;
use crate::frame::Point3;
use gather::Gathered;
use kind::Kind;
use source::Source;

/// More points than this are refused. A footbed, both faces, at a point every 0.1 mm has some 6
/// million; twelve take 288 MB.
pub const MOST_POINTS: usize = 12_000_000;

/// More triangles than this are refused: twice as many as the 6 million points above would need
/// (a closed mesh has two triangles a corner), 144 MB.
pub const MOST_TRIANGLES: usize = 12_000_000;

/// A scan: a mesh, or points alone. Coordinates are in the unit of the file, which may not be known.
#[derive(Clone, Debug, PartialEq)]
pub struct Scan {
    /// The points. Of a mesh, each is used and no two are equal.
    pub points: Vec<Point3>,
    /// Three places in `points` each, none without area; empty when the scan is points alone.
    pub triangles: Vec<[u32; 3]>,
    /// What the file was, said and lacked.
    pub about: About,
}

/// What a scan's file was, said and lacked.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// How it was written.
    pub format: Format,
    /// The unit that the file itself names, and where; `None` when it names none, or two.
    pub unit: Option<(Unit, Place)>,
    /// What was left out.
    pub dropped: Dropped,
    /// Anything else worth knowing, in sentences without a full stop.
    pub notes: Vec<String>,
    /// Whether the file names two units.
    contradicts: bool,
}

/// How a scan's file was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Binary STL.
    StlBinary,
    /// STL as text.
    StlText,
    /// PLY as text.
    PlyText,
    /// Binary PLY, least byte first.
    PlyLittleEndian,
    /// Binary PLY, greatest byte first.
    PlyBigEndian,
    /// OBJ.
    Obj,
    /// Points as text.
    Points,
}

/// What was left out of a scan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Points whose coordinates are not finite, or farther away than any bench.
    pub points_without_numbers: usize,
    /// Triangles with such a corner.
    pub triangles_without_numbers: usize,
    /// Triangles without area.
    pub flat_triangles: usize,
    /// Points of a mesh that no triangle uses.
    pub unused_points: usize,
}

/// Reads a scan. What it is, is told from its first bytes, and only if these leave it open from the
/// ending of `name`. `size` is the length of the file, bytes, where it is known: promises are then
/// held against it before anything is read. Memory grows with what is read, never with what a header
/// promises.
pub fn read_scan(mut from: impl Read, size: Option<u64>, name: &str) -> Result<Scan, ScanError> {
    if let Some(size) = size.filter(|&size| size > LARGEST_FILE) {
        return Err(source::too_many_bytes(Place::Whole, size));
    }
    let mut source = Source::new(&mut from);
    let ending = name.rsplit_once('.').map_or(String::new(), |(_, ending)| ending.to_ascii_lowercase());
    let head = source.ahead(kind::LOOK)?;
    let size = size.or_else(|| (head.len() < kind::LOOK).then_some(head.len() as u64));
    let kind = kind::recognised(head, size, &ending)?;
    if kind != Kind::StlBinary && head.starts_with(kind::BYTE_ORDER_MARK) {
        source.pass(kind::BYTE_ORDER_MARK.len());
    }
    let mut about = About::of(kind, &ending);
    let Gathered { points, triangles, dropped } = match kind {
        Kind::StlBinary => stl::read_binary(&mut source, size, &mut about)?,
        Kind::StlText => stl::read_text(&mut source, &mut about)?,
        Kind::Ply => ply::read(&mut source, size, &mut about)?,
        Kind::Obj => obj::read(&mut source, &mut about)?,
        Kind::Points => points::read(&mut source, &mut about)?,
    };
    about.dropped = dropped;
    Ok(Scan { points, triangles, about })
}

impl Scan {
    /// The least and the greatest coordinates.
    pub fn bounds(&self) -> [Point3; 2] {
        let infinite = Point3::from([f64::INFINITY; 3]);
        self.points.iter().fold([infinite, -infinite], |[low, high], p| [low.inf(p), high.sup(p)])
    }

    /// The scan with all lengths times `factor`, such as [`Unit::in_mm`].
    pub fn scaled(mut self, factor: f64) -> Scan {
        self.points.iter_mut().for_each(|p| *p *= factor);
        self
    }

    /// What it is and what was left out, in sentences without a full stop.
    pub fn facts(&self) -> Vec<String> {
        let Scan { points, triangles, about } = self;
        let mut facts = vec![match triangles.len() {
            0 => format!("{}, {} points", about.format.words(), points.len()),
            n => format!("{}, {} points, {n} triangles", about.format.words(), points.len()),
        }];
        if let Some((unit, place)) = about.unit {
            facts.push(format!("the file says {unit} ({place})"));
        }
        let Dropped { points_without_numbers, triangles_without_numbers, flat_triangles, unused_points } =
            about.dropped;
        for (count, what) in [
            (points_without_numbers, "points without usable coordinates"),
            (triangles_without_numbers, "triangles with a corner that has no usable coordinates"),
            (flat_triangles, "triangles without area"),
            (unused_points, "points that no triangle uses"),
        ] {
            facts.extend((count > 0).then(|| format!("left out: {count} {what}")));
        }
        facts.extend(about.notes.iter().cloned());
        facts
    }
}

impl From<Scan> for Mesh {
    /// The triangles; lengths stay as they are.
    fn from(scan: Scan) -> Mesh {
        Mesh { vertices: scan.points, triangles: scan.triangles }
    }
}

impl About {
    fn of(kind: Kind, ending: &str) -> About {
        let format = kind.format();
        let mut notes = vec![];
        if ["stl", "ply", "obj"].contains(&ending) && ending != kind.ending() {
            let ours = if kind == Kind::Points { format.words().into() } else { kind.ending().to_uppercase() };
            notes.push(format!("the name ends with .{ending}, but the file is {ours}"));
        }
        About { format, unit: None, dropped: Dropped::default(), notes, contradicts: false }
    }

    /// Looks whether a remark at `place` names a unit.
    fn note_unit(&mut self, remark: &[u8], place: Place) {
        if let Some(unit) = unit::stated(remark) {
            self.state_unit(unit, place);
        }
    }

    fn state_unit(&mut self, unit: Unit, place: Place) {
        match self.unit {
            None if !self.contradicts => self.unit = Some((unit, place)),
            Some((other, before)) if other != unit => {
                self.notes.push(format!("the file says {other} ({before}) and {unit} ({place}), so neither counts"));
                (self.unit, self.contradicts) = (None, true);
            }
            _ => {}
        }
    }
}

impl Format {
    /// Such as `binary STL`.
    pub fn words(self) -> &'static str {
        match self {
            Format::StlBinary => "binary STL",
            Format::StlText => "STL as text",
            Format::PlyText => "PLY as text",
            Format::PlyLittleEndian => "binary PLY, least byte first",
            Format::PlyBigEndian => "binary PLY, greatest byte first",
            Format::Obj => "OBJ",
            Format::Points => "points as text",
        }
    }
}

impl Kind {
    /// For PLY until its header is read.
    fn format(self) -> Format {
        match self {
            Kind::StlBinary => Format::StlBinary,
            Kind::StlText => Format::StlText,
            Kind::Ply => Format::PlyText,
            Kind::Obj => Format::Obj,
            Kind::Points => Format::Points,
        }
    }

    fn ending(self) -> &'static str {
        match self {
            Kind::StlBinary | Kind::StlText => "stl",
            Kind::Ply => "ply",
            Kind::Obj => "obj",
            Kind::Points => "xyz",
        }
    }
}
