//! STL, binary and text. Knows triangles of three corners each, and nothing of what they make.

use super::error::{AGAIN, Place, ScanError};
use super::gather::{Corners, Gathered, no_number, number, shown, words};
use super::source::Source;
use super::{About, MOST_TRIANGLES};
use crate::frame::Point3;

/// Bytes of header, of the count after it, and of each triangle.
const HEADER: usize = 80;
const COUNT: usize = 4;
const TRIANGLE: usize = 50;

/// The normal before the corners of a triangle, which is not needed: the corners give it.
const NORMAL: usize = 12;

/// How long a binary file is that begins so, bytes; `None` when the beginning is too short to say.
pub(super) fn binary_length(head: &[u8]) -> Option<u64> {
    let counted = head.get(HEADER..HEADER + COUNT)?.try_into().ok().map(u32::from_le_bytes)?;
    Some(HEADER as u64 + COUNT as u64 + u64::from(counted) * TRIANGLE as u64)
}

/// Reads binary STL. `size` is the length of the file where it is known.
pub(super) fn read_binary(source: &mut Source, size: Option<u64>, about: &mut About) -> Result<Gathered, ScanError> {
    let head = source.ahead(HEADER + COUNT)?;
    let (Some(header), Some(length)) = (head.get(..HEADER), binary_length(head)) else {
        let problem = format!("{} bytes are fewer than the 84 of the shortest binary STL", head.len());
        return Err(ScanError::damaged(Place::Whole, problem));
    };
    about.note_unit(header, Place::Byte(0));
    let promised = (length - (HEADER + COUNT) as u64) / TRIANGLE as u64;
    if let Some(size) = size.filter(|&size| size < length) {
        let problem = format!("{promised} triangles need a file of {length} bytes, this one has {size}");
        return Err(ScanError::damaged(Place::Byte(HEADER as u64), problem));
    }
    if promised > MOST_TRIANGLES as u64 {
        let what = format!("{promised} triangles");
        return Err(ScanError::TooLarge { place: Place::Byte(HEADER as u64), what, most: MOST_TRIANGLES as u64 });
    }
    source.pass(HEADER + COUNT);
    let corners = binary_triangles(source, promised)?;
    let filling = source.only_filling_follows()?;
    if filling > 0 {
        about.notes.push(format!("{filling} bytes of filling after the last triangle were passed over"));
    }
    corners.finish()
}

fn binary_triangles(source: &mut Source, promised: u64) -> Result<Corners, ScanError> {
    let mut corners = Corners::new();
    let mut done = 0;
    while done < promised {
        let buffered = source.ahead(TRIANGLE)?;
        let whole = (buffered.len() / TRIANGLE).min(usize::try_from(promised - done).unwrap_or(usize::MAX));
        if whole == 0 {
            let problem = format!("the file ends within it, {promised} triangles are promised");
            return Err(ScanError::damaged(Place::Triangle(done + 1), problem));
        }
        for (k, triangle) in buffered.chunks_exact(TRIANGLE).take(whole).enumerate() {
            let numbers: [f64; 9] = std::array::from_fn(|n| {
                let at = NORMAL + 4 * n;
                // Adding zero makes a minus zero plain, so that equal corners are equal to the bit.
                f64::from(f32::from_le_bytes([triangle[at], triangle[at + 1], triangle[at + 2], triangle[at + 3]]))
                    + 0.0
            });
            let corner = |n: usize| Point3::new(numbers[n], numbers[n + 1], numbers[n + 2]);
            corners.add([corner(0), corner(3), corner(6)], || Place::Triangle(done + k as u64 + 1))?;
        }
        source.pass(whole * TRIANGLE);
        done += whole as u64;
    }
    Ok(corners)
}

/// Where the text reader stands.
#[derive(Clone, Copy, PartialEq)]
enum Within {
    File,
    Solid,
    Facet,
    Loop(usize),
    LoopDone,
}

/// Reads STL as text, with any number of solids.
pub(super) fn read_text(source: &mut Source, about: &mut About) -> Result<Gathered, ScanError> {
    let mut corners = Corners::new();
    let (mut triangle, mut within, mut solids) = ([Point3::origin(); 3], Within::File, 0_u64);
    loop {
        let place = source.next_line_place();
        let Some(line) = source.line()? else { break };
        let mut words = words(line);
        let Some(first) = words.next() else { continue };
        let next = match (within, Word::of(first)) {
            (Within::File, Some(Word::Solid)) => {
                solids += 1;
                about.note_unit(line, place);
                Within::Solid
            }
            (Within::Solid, Some(Word::EndSolid)) => Within::File,
            (Within::Solid, Some(Word::Facet)) => Within::Facet,
            (Within::Facet, Some(Word::Outer)) => Within::Loop(0),
            (Within::Loop(k), Some(Word::Vertex)) if k < 3 => {
                triangle[k] = vertex(words, place)?;
                Within::Loop(k + 1)
            }
            (Within::Loop(3), Some(Word::EndLoop)) => {
                corners.add(triangle, || place)?;
                Within::LoopDone
            }
            (Within::LoopDone, Some(Word::EndFacet)) => Within::Solid,
            (Within::Loop(k), Some(Word::EndLoop | Word::Vertex)) => {
                let found = if k == 3 { "more than 3".into() } else { k.to_string() };
                return Err(ScanError::damaged(place, format!("a facet has {found} corners, it must have 3")));
            }
            (_, Some(_)) => {
                return Err(ScanError::damaged(place, format!("`{}` does not belong here", shown(first))));
            }
            (_, None) => return Err(ScanError::damaged(place, format!("`{}` is not an STL word", shown(first)))),
        };
        within = next;
    }
    if within != Within::File {
        return Err(ScanError::damaged(source.line_place(), "the file ends here, without `endsolid`: it is cut short"));
    }
    if solids > 1 {
        about.notes.push(format!("{solids} solids were read as one"));
    }
    corners.finish()
}

/// A word that begins a line.
#[derive(Clone, Copy, PartialEq)]
enum Word {
    Solid,
    Facet,
    Outer,
    Vertex,
    EndLoop,
    EndFacet,
    EndSolid,
}

impl Word {
    /// Some programs write them in capitals.
    fn of(word: &[u8]) -> Option<Word> {
        let known: [(&[u8], Word); 7] = [
            (b"vertex", Word::Vertex),
            (b"facet", Word::Facet),
            (b"outer", Word::Outer),
            (b"endloop", Word::EndLoop),
            (b"endfacet", Word::EndFacet),
            (b"solid", Word::Solid),
            (b"endsolid", Word::EndSolid),
        ];
        known.into_iter().find(|(name, _)| word.eq_ignore_ascii_case(name)).map(|(_, word)| word)
    }
}

fn vertex<'a>(mut words: impl Iterator<Item = &'a [u8]>, place: Place) -> Result<Point3, ScanError> {
    let mut coordinate = || {
        let word = words.next().ok_or_else(|| ScanError::damaged(place, "a vertex needs three numbers"))?;
        number(word).map(|v| v + 0.0).ok_or_else(|| no_number(place, word))
    };
    let point = Point3::new(coordinate()?, coordinate()?, coordinate()?);
    match words.next() {
        None => Ok(point),
        Some(extra) => {
            let problem = format!("`{}` after the three numbers of a vertex", shown(extra));
            Err(ScanError::remedied(place, problem, AGAIN))
        }
    }
}
