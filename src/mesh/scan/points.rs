//! Points as text, a line each: XYZ and CSV, whatever stands between the numbers. Knows no faces.

use super::About;
use super::error::{Place, ScanError};
use super::gather::{Gathered, Indexed, no_number, number, shown};
use super::source::Source;
use super::unit::Unit;

/// What stands between the numbers of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Between {
    Blanks,
    Tabs,
    Commas,
    Semicolons,
}

/// How the lines of a file are to be read.
struct Layout {
    between: Between,
    /// The columns of x, y and z.
    columns: [usize; 3],
}

/// Reads points from text.
pub(super) fn read(source: &mut Source, about: &mut About) -> Result<Gathered, ScanError> {
    let mut gathered = Indexed::new();
    let (mut layout, mut promised) = (None::<Layout>, None);
    loop {
        let place = source.next_line_place();
        let Some(line) = source.line()? else { break };
        let line = line.trim_ascii();
        if line.is_empty() {
            continue;
        }
        if is_comment(line) {
            about.note_unit(line, place);
            continue;
        }
        if layout.is_none() && promised.is_none() && line.iter().all(u8::is_ascii_digit) {
            promised = std::str::from_utf8(line).ok().and_then(|count| count.parse::<u64>().ok()).map(|n| (n, place));
            continue;
        }
        let known = match layout.as_ref() {
            Some(known) => known,
            None if is_header(line) => {
                layout = Some(header(line, place, about)?);
                continue;
            }
            None => layout.insert(Layout { between: between(line), columns: [0, 1, 2] }),
        };
        gathered.point(known.point(line, place)?, || place)?;
    }
    if let Some((promised, place)) = promised.filter(|&(promised, _)| promised != gathered.len() as u64) {
        let problem = format!("{promised} points are promised, {} follow", gathered.len());
        return Err(ScanError::damaged(place, problem));
    }
    gathered.finish()
}

/// Whether a line without blanks around it says nothing to the reader.
pub(super) fn is_comment(line: &[u8]) -> bool {
    line.starts_with(b"#") || line.starts_with(b"//")
}

/// Whether the first line that is no comment may be the first of a list of points.
pub(super) fn may_begin_with(line: &[u8]) -> bool {
    let cells = cells(line, between(line));
    let numbers = cells.clone().next().is_some_and(|cell| decimal(cell).is_some());
    // Two of three are enough to see what was meant.
    numbers || (0..3).filter(|&wanted| cells.clone().any(|cell| axis(cell) == Some(wanted))).count() >= 2
}

impl Layout {
    fn point(&self, line: &[u8], place: Place) -> Result<[f64; 3], ScanError> {
        let mut point = [f64::NAN; 3];
        let (mut found, mut count) = (0, 0);
        for (column, cell) in cells(line, self.between).enumerate() {
            count = column + 1;
            if let Some(axis) = self.columns.iter().position(|&wanted| wanted == column) {
                point[axis] = decimal(cell).ok_or_else(|| no_number(place, cell))?;
                found += 1;
            }
            if found == 3 {
                return Ok(point);
            }
        }
        Err(ScanError::damaged(place, format!("{count} values where x, y and z are needed")))
    }
}

/// A number with a point or a comma before its decimals, perhaps in quotes.
fn decimal(cell: &[u8]) -> Option<f64> {
    let cell = unquoted(cell);
    if cell.iter().filter(|&&b| b == b',').count() == 1 && !cell.contains(&b'.') {
        let points: Vec<u8> = cell.iter().map(|&b| if b == b',' { b'.' } else { b }).collect();
        return number(&points);
    }
    number(cell)
}

fn unquoted(cell: &[u8]) -> &[u8] {
    match cell {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        other => other,
    }
}

/// What stands between the cells of a line. Commas may part numbers or be their decimal points:
/// `1,5 2,5 3,5` has three words, each a number with a comma inside.
fn between(line: &[u8]) -> Between {
    let has = |mark: u8| line.contains(&mark);
    let inside = |word: &[u8]| word.contains(&b',') && decimal(word).is_some() && !word.ends_with(b",");
    let mut words = cells(line, Between::Blanks);
    match () {
        () if has(b';') => Between::Semicolons,
        // A stray tab among blanks parts nothing by itself.
        () if cells(line, Between::Tabs).count() >= 3 => Between::Tabs,
        () if !has(b',') => Between::Blanks,
        () if words.clone().count() >= 3 && words.all(|word| inside(word) || !word.contains(&b',')) => Between::Blanks,
        () => Between::Commas,
    }
}

/// The cells of a line without blanks around them.
fn cells(line: &[u8], between: Between) -> impl Iterator<Item = &[u8]> + Clone {
    let parts = move |b: &u8| match between {
        Between::Blanks => b.is_ascii_whitespace(),
        Between::Tabs => *b == b'\t',
        Between::Commas => *b == b',',
        Between::Semicolons => *b == b';',
    };
    let runs = between == Between::Blanks;
    line.split(parts).map(<[u8]>::trim_ascii).filter(move |cell| !(runs && cell.is_empty()))
}

/// Whether a line names its columns: one of its first three cells is no number.
fn is_header(line: &[u8]) -> bool {
    cells(line, between(line)).take(3).any(|cell| decimal(cell).is_none() && !cell.is_empty())
}

/// Which axis the name of a column means, 0 to 2: `x`, `X`, `x_mm`, `x [mm]`.
fn axis(cell: &[u8]) -> Option<usize> {
    let (first, rest) = unquoted(cell).split_first()?;
    let axis = b"xyz".iter().position(|name| name.eq_ignore_ascii_case(first))?;
    (!rest.first().is_some_and(u8::is_ascii_alphanumeric)).then_some(axis)
}

fn header(line: &[u8], place: Place, about: &mut About) -> Result<Layout, ScanError> {
    let between = between(line);
    // Between blanks, `x [mm]` is one name.
    let names = || cells(line, between).filter(|cell| !(between == Between::Blanks && cell.starts_with(b"[")));
    let column = |wanted: usize| names().position(|cell| axis(cell) == Some(wanted));
    let (Some(x), Some(y), Some(z)) = (column(0), column(1), column(2)) else {
        let problem = format!("`{}` does not name three columns x, y and z", shown(line));
        return Err(ScanError::remedied(place, problem, "name them in the first line, or leave that line out"));
    };
    let text = String::from_utf8_lossy(line);
    let mut units = text.split(|c: char| !c.is_ascii_alphanumeric()).filter_map(Unit::from_word);
    if let Some(unit) = units.next().filter(|&unit| units.all(|other| other == unit)) {
        about.state_unit(unit, place);
    }
    Ok(Layout { between, columns: [x, y, z] })
}
