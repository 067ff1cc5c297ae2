//! PLY, text and both binary forms: points from the element `vertex`, triangles from `face`; other
//! elements and properties are passed over. Knows nothing of what those hold.

mod header;
mod record;

use super::About;
use super::error::{Place, ScanError};
use super::gather::{Gathered, Indexed, no_number, number, shown, words};
use super::source::Source;
use super::{MOST_POINTS, MOST_TRIANGLES};
use header::{Element, Encoding, Header, Kind, Role};
use record::{Face, list_length};

/// Reads PLY. `size` is the length of the file where it is known.
pub(super) fn read(source: &mut Source, size: Option<u64>, about: &mut About) -> Result<Gathered, ScanError> {
    let header = header::read(source, about)?;
    about.format = header.encoding.format();
    check_promises(&header, source.byte(), size)?;
    let mut gathered = Indexed::new();
    for element in &header.elements {
        let face = Face::new(header.points());
        match header.encoding {
            Encoding::Text => read_lines(source, element, face, &mut gathered)?,
            Encoding::Binary(order) => record::read(source, element, order, face, &mut gathered)?,
        }
    }
    let filling = source.only_filling_follows()?;
    if header.encoding != Encoding::Text && filling > 0 {
        about.notes.push(format!("{filling} bytes of filling after the last element were passed over"));
    }
    let other = header.elements.iter().filter(|e| e.role.is_none() && e.count > 0);
    about.notes.extend(other.map(|e| format!("{} of `{}` were passed over", e.count, shown(e.name.as_bytes()))));
    gathered.finish()
}

/// Holds what the header promises against the limits and against the length of the file.
fn check_promises(header: &Header, body: Place, size: Option<u64>) -> Result<(), ScanError> {
    for (name, what, most) in [("vertex", "points", MOST_POINTS), ("face", "faces", MOST_TRIANGLES)] {
        let promised = header.elements.iter().find(|e| e.name == name).map_or(0, |e| e.count);
        if promised > most as u64 {
            return Err(ScanError::TooLarge { place: body, what: format!("{promised} {what}"), most: most as u64 });
        }
    }
    let (Some(size), Place::Byte(begin)) = (size, body) else { return Ok(()) };
    let least: u128 = header.elements.iter().map(|e| u128::from(e.count) * header.encoding.least_bytes(e)).sum();
    // The last line of a text may lack its end.
    if u128::from(begin) + least > u128::from(size) + 1 {
        let counts: Vec<String> =
            header.elements.iter().map(|e| format!("{} of `{}`", e.count, shown(e.name.as_bytes()))).collect();
        let problem = format!(
            "the header promises {}, which need at least {least} bytes; the file has {} after the header",
            counts.join(", "),
            size.saturating_sub(begin)
        );
        return Err(ScanError::damaged(body, problem));
    }
    Ok(())
}

/// Reads an element of a text file, a line for each.
fn read_lines(source: &mut Source, element: &Element, mut face: Face, into: &mut Indexed) -> Result<(), ScanError> {
    let mut values = Vec::new();
    // An element without properties has nothing to write.
    let count = if element.properties.is_empty() { 0 } else { element.count };
    let mut done = 0;
    while done < count {
        let place = source.next_line_place();
        let Some(line) = source.line()? else {
            return Err(element.cut_short(place, done));
        };
        let mut words = words(line).peekable();
        if words.peek().is_none() {
            continue;
        }
        values.clear();
        line_values(element, &mut words, place, &mut values, &mut face)?;
        if let Some(extra) = words.next() {
            let problem = format!("`{}` after all that `{}` has", shown(extra), shown(element.name.as_bytes()));
            return Err(ScanError::damaged(place, problem));
        }
        match element.role {
            Some(Role::Points { at }) => into.point(at.map(|k| values[k]), || place)?,
            Some(Role::Faces { .. }) => face.finish(into, || place)?,
            None => {}
        }
        done += 1;
    }
    Ok(())
}

/// The values of a line, one a property: lists leave a zero, and the corners of faces go to `face`.
fn line_values<'a>(
    element: &Element,
    words: &mut impl Iterator<Item = &'a [u8]>,
    place: Place,
    values: &mut Vec<f64>,
    face: &mut Face,
) -> Result<(), ScanError> {
    let mut value = || {
        let name = || shown(element.name.as_bytes());
        let word =
            words.next().ok_or_else(|| ScanError::damaged(place, format!("the line ends within `{}`", name())))?;
        number(word).ok_or_else(|| no_number(place, word))
    };
    for (k, property) in element.properties.iter().enumerate() {
        let Kind::List { .. } = property.kind else {
            values.push(value()?);
            continue;
        };
        values.push(0.0);
        for _ in 0..list_length(value()?, || place)? {
            let entry = value()?;
            if element.role == Some(Role::Faces { corners: k }) {
                face.add(entry, || place)?;
            }
        }
    }
    Ok(())
}
