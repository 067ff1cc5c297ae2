//! OBJ: lines `v` and `f`; everything else is passed over. Knows no materials, curves or groups.

use super::About;
use super::error::{Place, ScanError};
use super::gather::{Gathered, Indexed, no_number, number, shown, words};
use super::polygon::MOST_CORNERS;
use super::source::Source;

/// First words of lines by which OBJ is recognised.
pub(super) const KEYWORDS: [&[u8]; 12] =
    [b"v", b"vn", b"vt", b"vp", b"f", b"l", b"o", b"g", b"s", b"mtllib", b"usemtl", b"cstype"];

/// Reads OBJ.
pub(super) fn read(source: &mut Source, about: &mut About) -> Result<Gathered, ScanError> {
    let mut gathered = Indexed::new();
    let mut corners = Vec::new();
    // Where the highest number of a point was named: points may follow later.
    let mut highest = (0_u32, Place::Whole);
    // A backslash at the end of a line joins the next one to it.
    let mut going_on = false;
    loop {
        let place = source.next_line_place();
        let Some(line) = source.line()? else { break };
        if line.first() == Some(&b'#') {
            about.note_unit(line, place);
            continue;
        }
        let mut words = words(line);
        match if going_on { Some(&b"f"[..]) } else { words.next() } {
            Some(b"v") => gathered.point(vertex(words, place)?, || place)?,
            Some(b"f") => {
                going_on = false;
                for word in words {
                    if word == b"\\" {
                        going_on = true;
                        break;
                    }
                    let corner = corner(word, gathered.len(), place)?;
                    if corner >= highest.0 {
                        highest = (corner, place);
                    }
                    corners.push(corner);
                }
                if !going_on {
                    check_count(corners.len(), place)?;
                    gathered.face(&corners, || place)?;
                    corners.clear();
                }
            }
            _ => {}
        }
        if corners.len() > MOST_CORNERS {
            check_count(corners.len(), place)?;
        }
    }
    if going_on {
        return Err(ScanError::damaged(source.line_place(), "the file ends within a face: it is cut short"));
    }
    let (highest, place) = highest;
    if place != Place::Whole && highest as usize >= gathered.len() {
        let problem = format!("a face names point {}, the file has only {}", u64::from(highest) + 1, gathered.len());
        return Err(ScanError::damaged(place, problem));
    }
    gathered.finish()
}

fn vertex<'a>(mut words: impl Iterator<Item = &'a [u8]>, place: Place) -> Result<[f64; 3], ScanError> {
    let mut coordinate = || {
        let word = words.next().ok_or_else(|| ScanError::damaged(place, "a point `v` needs three numbers"))?;
        number(word).ok_or_else(|| no_number(place, word))
    };
    // A fourth number is a weight, three more are a colour.
    Ok([coordinate()?, coordinate()?, coordinate()?])
}

/// The place of the point that a corner names, counted from 0: `7`, `7/1`, `7/1/2`, `7//2`, or from
/// the last point backward, `-1`.
fn corner(word: &[u8], points: usize, place: Place) -> Result<u32, ScanError> {
    let wrong = |why: &str| ScanError::damaged(place, format!("a face names point `{}`, {why}", shown(word)));
    let name = word.split(|&b| b == b'/').next().and_then(|name| std::str::from_utf8(name).ok());
    let named: i64 = name.and_then(|name| name.parse().ok()).ok_or_else(|| wrong("which is not a whole number"))?;
    match named {
        0 => Err(wrong("points are counted from 1")),
        1.. => u32::try_from(named - 1).map_err(|_| wrong("there cannot be so many")),
        _ => {
            let back = usize::try_from(named.unsigned_abs()).unwrap_or(usize::MAX);
            let at = points.checked_sub(back).ok_or_else(|| wrong("there are not so many before it"))?;
            u32::try_from(at).map_err(|_| wrong("there cannot be so many"))
        }
    }
}

fn check_count(corners: usize, place: Place) -> Result<(), ScanError> {
    match corners {
        3..=MOST_CORNERS => Ok(()),
        0..3 => Err(ScanError::damaged(place, format!("a face has {corners} corners, it must have at least 3"))),
        _ => Err(ScanError::remedied(
            place,
            format!("a face has more than {MOST_CORNERS} corners"),
            "export it again with all faces cut into triangles",
        )),
    }
}
