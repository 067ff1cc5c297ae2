//! The body of a binary PLY file, and faces of either form. Knows nothing of headers but what they
//! promise.

use super::super::error::{Place, ScanError};
use super::super::gather::Indexed;
use super::super::polygon::MOST_CORNERS;
use super::super::source::Source;
use super::header::{Element, Kind, Order, Role, Scalar};

/// A face as it is being read.
pub(super) struct Face {
    corners: Vec<u32>,
    points: u64,
}

impl Face {
    /// For faces among so many promised points.
    pub(super) fn new(points: u64) -> Face {
        Face { corners: Vec::new(), points }
    }

    /// Adds a corner, the number of a point counted from 0.
    #[inline]
    pub(super) fn add(&mut self, point: f64, place: impl Fn() -> Place) -> Result<(), ScanError> {
        // A number that is no number fails the first comparison.
        if !(point >= 0.0 && point < self.points as f64) || point.fract() != 0.0 {
            let problem = format!("a face names point {point}, there are {}, counted from 0", self.points);
            return Err(ScanError::damaged(place(), problem));
        }
        if self.corners.len() >= MOST_CORNERS {
            let problem = format!("a face has more than {MOST_CORNERS} corners");
            return Err(ScanError::remedied(place(), problem, "export it again with all faces cut into triangles"));
        }
        self.corners.push(point as u32);
        Ok(())
    }

    /// Hands the face over and is empty again.
    #[inline]
    pub(super) fn finish(&mut self, into: &mut Indexed, place: impl Fn() -> Place) -> Result<(), ScanError> {
        into.face(&self.corners, place)?;
        self.corners.clear();
        Ok(())
    }
}

/// The length of a list.
#[inline]
pub(super) fn list_length(value: f64, place: impl Fn() -> Place) -> Result<u64, ScanError> {
    // Beyond 2^32 no type of a length goes but by mistake.
    if value >= 0.0 && value <= f64::from(u32::MAX) && value.fract() == 0.0 {
        return Ok(value as u64);
    }
    Err(ScanError::damaged(place(), format!("{value} cannot be the length of a list")))
}

/// Reads all of an element.
pub(super) fn read(
    source: &mut Source,
    element: &Element,
    order: Order,
    face: Face,
    into: &mut Indexed,
) -> Result<(), ScanError> {
    match (element.stride(), element.role) {
        (Some(0), _) => Ok(()),
        (Some(stride), Some(Role::Points { at })) => read_points(source, element, order, (stride, at), into),
        (Some(stride), None) => {
            // Within a u64: the count was held against the file, or against its end while skipping.
            let there = source.skip(element.count.saturating_mul(stride as u64))?;
            if there { Ok(()) } else { Err(element.cut_short(source.byte(), 0)) }
        }
        _ => read_records(source, element, order, face, into),
    }
}

/// Points without lists, many at once.
fn read_points(
    source: &mut Source,
    element: &Element,
    order: Order,
    (stride, at): (usize, [usize; 3]),
    into: &mut Indexed,
) -> Result<(), ScanError> {
    let coordinates = at.map(|k| field(element, k));
    let mut done = 0;
    while done < element.count {
        let place = source.byte();
        let buffered = source.ahead(stride)?;
        let whole = (buffered.len() / stride).min(usize::try_from(element.count - done).unwrap_or(usize::MAX));
        if whole == 0 {
            return Err(element.cut_short(place, done));
        }
        for (k, record) in buffered.chunks_exact(stride).take(whole).enumerate() {
            let point = coordinates.map(|(scalar, from)| scalar.decoded(&record[from..], order));
            into.point(point, || later(place, k * stride))?;
        }
        source.pass(whole * stride);
        done += whole as u64;
    }
    Ok(())
}

/// The type of a property and where it begins in a record without lists.
fn field(element: &Element, k: usize) -> (Scalar, usize) {
    let bytes = |kind: Kind| match kind {
        Kind::Scalar(scalar) => scalar.bytes(),
        Kind::List { .. } => 0,
    };
    let from = element.properties[..k].iter().map(|p| bytes(p.kind)).sum();
    match element.properties[k].kind {
        Kind::Scalar(scalar) | Kind::List { entry: scalar, .. } => (scalar, from),
    }
}

fn later(place: Place, bytes: usize) -> Place {
    match place {
        Place::Byte(n) => Place::Byte(n + bytes as u64),
        other => other,
    }
}

/// Records with lists, property by property.
fn read_records(
    source: &mut Source,
    element: &Element,
    order: Order,
    mut face: Face,
    into: &mut Indexed,
) -> Result<(), ScanError> {
    let mut values = Vec::new();
    for done in 0..element.count {
        let place = source.byte();
        values.clear();
        for (k, property) in element.properties.iter().enumerate() {
            let (Kind::Scalar(scalar) | Kind::List { count: scalar, .. }) = property.kind;
            let value = source.take(scalar.bytes())?.map(|bytes| scalar.decoded(bytes, order));
            let value = value.ok_or_else(|| element.cut_short(place, done))?;
            values.push(value);
            let Kind::List { entry, .. } = property.kind else { continue };
            let length = list_length(value, || place)?;
            let whole = if element.role == Some(Role::Faces { corners: k }) {
                read_corners(source, (length, entry), order, &mut face, place)?
            } else {
                source.skip(length * entry.bytes() as u64)?
            };
            if !whole {
                return Err(element.cut_short(place, done));
            }
        }
        match element.role {
            Some(Role::Points { at }) => into.point(at.map(|k| values[k]), || place)?,
            Some(Role::Faces { .. }) => face.finish(into, || place)?,
            None => {}
        }
    }
    Ok(())
}

/// Reads the corners of a face; false when the file ends before.
fn read_corners(
    source: &mut Source,
    (length, entry): (u64, Scalar),
    order: Order,
    face: &mut Face,
    place: Place,
) -> Result<bool, ScanError> {
    for _ in 0..length {
        let Some(bytes) = source.take(entry.bytes())? else { return Ok(false) };
        face.add(entry.decoded(bytes, order), || place)?;
    }
    Ok(true)
}
