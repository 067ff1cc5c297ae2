//! What a file is, from its first bytes first and from its name's ending second; and what it seems
//! to be when it is no scan.

use super::error::{Place, ScanError};
use super::gather::{shown, words};
use super::{obj, points, stl};

/// How a file is to be read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    StlBinary,
    StlText,
    Ply,
    Obj,
    Points,
}

/// First bytes of files that are no scans, what they are and what to do.
const FOREIGN: [(&[u8], &str, &str); 26] = [
    (b"PK\x03\x04", "a ZIP archive or a 3MF package", "unpack it, or export STL, PLY or OBJ"),
    (b"\x1f\x8b", "a gzip archive", "unpack it and give the file inside"),
    (b"BZh", "a bzip2 archive", "unpack it and give the file inside"),
    (b"\xfd7zXZ", "an xz archive", "unpack it and give the file inside"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", "unpack it and give the file inside"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it and give the file inside"),
    (b"Rar!", "a RAR archive", "unpack it and give the file inside"),
    (b"%PDF", "a PDF document", EXPORT),
    (b"ISO-10303-21", "a STEP model, which has no triangles", EXPORT),
    (b"glTF", "a glTF model", EXPORT),
    (b"ASTM-E57", "an E57 point file", "export PLY, or points as text"),
    (b"LASF", "a LAS point file", "export PLY, or points as text"),
    (b"\x89PNG", "a picture (PNG)", EXPORT),
    (b"\xff\xd8\xff", "a picture (JPEG)", EXPORT),
    (b"GIF8", "a picture (GIF)", EXPORT),
    (b"II*\0", "a picture (TIFF)", EXPORT),
    (b"MM\0*", "a picture (TIFF)", EXPORT),
    (b"\x7fELF", "a program", EXPORT),
    (b"MZ", "a program", EXPORT),
    (b"SQLite format 3", "a data base", EXPORT),
    (b"\xd0\xcf\x11\xe0", "an office document", EXPORT),
    (b"\xff\xfe", "text in UTF-16", "save it as UTF-8 or plain ASCII"),
    (b"\xfe\xff", "text in UTF-16", "save it as UTF-8 or plain ASCII"),
    (b"OFF", "an OFF mesh", EXPORT),
    (b"{", "a JSON document", EXPORT),
    (b"<", "a web page or an XML document", EXPORT),
];

const EXPORT: &str = "export the scan as STL, PLY, OBJ or points as text";

/// What is read of a file to tell what it is, bytes: long remarks may stand before the first number.
pub(super) const LOOK: usize = 1 << 16;

/// The mark that some programs put before UTF-8 text.
pub(super) const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Tells what a file is that begins with `head`, has `size` bytes where that is known, and ends its
/// name with `ending`, in lower case.
pub(super) fn recognised(head: &[u8], size: Option<u64>, ending: &str) -> Result<Kind, ScanError> {
    if head.is_empty() {
        return Err(ScanError::damaged(Place::Whole, "the file is empty"));
    }
    let length = stl::binary_length(head);
    // Binary STL is known by its length alone, because files exist whose header starts with `solid`.
    if length.is_some() && length == size {
        return Ok(Kind::StlBinary);
    }
    let trimmed = head.trim_ascii_start();
    if let Some((_, what, advice)) = FOREIGN.iter().find(|(mark, ..)| trimmed.starts_with(mark)) {
        return Err(ScanError::Foreign { what, advice });
    }
    let text = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(head);
    if words(text).next() == Some(b"ply") {
        return Ok(Kind::Ply);
    }
    if is_binary(text) {
        // From a stream, the length is not known beforehand.
        let plausible = size.is_none() && length.is_some();
        return if ending == "stl" || plausible {
            Ok(Kind::StlBinary)
        } else {
            Err(unknown("binary data of no kind known here"))
        };
    }
    text_kind(text, ending)
}

/// Whether the beginning holds what text does not.
fn is_binary(head: &[u8]) -> bool {
    head.iter().any(|&b| b < b' ' && !b.is_ascii_whitespace() && b != 0x1a)
}

fn text_kind(text: &[u8], ending: &str) -> Result<Kind, ScanError> {
    let mut lines = text.split(|&b| b == b'\n' || b == b'\r').map(<[u8]>::trim_ascii);
    let Some(line) = lines.find(|line| !line.is_empty() && !points::is_comment(line)) else {
        return Err(ScanError::damaged(Place::Whole, "the file holds nothing but blanks and remarks"));
    };
    let first = words(line).next().unwrap_or_default();
    if first.eq_ignore_ascii_case(b"solid") {
        return Ok(Kind::StlText);
    }
    if obj::KEYWORDS.contains(&first) {
        return Ok(Kind::Obj);
    }
    if line.starts_with(b"value,") || line.starts_with(b"value;") {
        let advice = "give it with --readings";
        return Err(ScanError::Foreign { what: "a table of gauge readings", advice });
    }
    if points::may_begin_with(line) {
        return Ok(Kind::Points);
    }
    match ending {
        // Cut short within the header, a binary file looks like text.
        "stl" if stl::binary_length(text).is_none() => Ok(Kind::StlBinary),
        "stl" => Ok(Kind::StlText),
        "ply" => Ok(Kind::Ply),
        "obj" => Ok(Kind::Obj),
        _ if first.starts_with(b"(") || first.starts_with(b"G") || first == b"%" => Err(unknown("a milling program")),
        _ => Err(ScanError::remedied(
            Place::Whole,
            format!("the text begins with `{}`, which no kind of scan does", shown(line)),
            EXPORT,
        )),
    }
}

fn unknown(what: &'static str) -> ScanError {
    ScanError::Foreign { what, advice: EXPORT }
}
