//! What an inspection record says beside its drawings: what to do next, where, how it was measured, and
//! how much of that a printed page holds. Knows no drawings.

use serde::Serialize;

use super::fit::{fitting, height};
use super::record::RecordData;
use super::record_map::MapPart;

/// A heading with the gap above it, rows.
const HEADING_ROWS: f64 = 1.9;
const HOW: &str = "How to read the strips";

/// What is said beside the drawings, part by part.
#[derive(Serialize)]
pub struct Words {
    parts: Vec<Part>,
    /// How many lines a printed page leaves out.
    more: usize,
}

/// A heading and its lines.
#[derive(Serialize)]
pub struct Part {
    heading: &'static str,
    /// `ol`, `ul` or `p`.
    kind: &'static str,
    lines: Vec<Line>,
    /// Whether none of it is on paper.
    overflow: bool,
}

#[derive(Serialize)]
pub struct Line {
    words: String,
    overflow: bool,
}

impl Words {
    /// All that is to be said, what matters most first, with what paper has no room for marked.
    pub fn fitting(data: &RecordData, map: &Option<MapPart>, room: f64, width: f64, letters: (f64, f64)) -> Words {
        let (size, row) = letters;
        let mut room = room;
        let parts = said(data, map).into_iter().map(|(heading, kind, lines)| {
            room -= HEADING_ROWS * row;
            let fits = fitting(lines.iter().map(String::as_str), width, room, size, row);
            let used = lines.iter().zip(&fits).filter(|(_, fits)| **fits);
            let used: f64 = used.map(|(line, _)| height(line, width, size, row)).sum();
            room -= used;
            let overflow = !fits.contains(&true);
            let lines = lines.into_iter().zip(fits).map(|(words, fits)| Line { words, overflow: !fits }).collect();
            Part { heading, kind, lines, overflow }
        });
        let parts: Vec<Part> = parts.collect();
        // How to read the strips is no loss; what was found is counted.
        let told = parts.iter().filter(|part| part.heading != HOW);
        let more = told.flat_map(|part| &part.lines).filter(|line| line.overflow).count();
        Words { parts, more }
    }
}

/// The parts in the order of their weight, none of them empty.
fn said(data: &RecordData, map: &Option<MapPart>) -> Vec<(&'static str, &'static str, Vec<String>)> {
    let inspection = data.inspection;
    let next = match inspection.advice.is_empty() {
        true => vec!["Nothing: every value that was measured is as asked.".to_string()],
        false => inspection.advice.clone(),
    };
    let how = format!(
        "The box is what is accepted, the heavy strokes are where the shop rejects, the dot is the difference and the bar \
         its uncertainty; a bar across a line is borderline. The tolerances are {}: no published ones for milled footbeds \
         were found.",
        data.tolerances.title
    );
    let not_judged = inspection.not_judged.iter().map(|value| value.words()).collect::<Vec<_>>().join(", ");
    let places = map.as_ref().map_or(vec![], |map| vec![map.places.join("; ")]);
    let parts = [
        ("What to do next", if inspection.advice.is_empty() { "p" } else { "ol" }, next),
        ("Greatest and least deviation", "p", places),
        ("Note", "p", vec![data.note.to_string()]),
        ("On the measuring", "ul", inspection.notes.clone()),
        ("Not measured", "p", vec![not_judged]),
        (HOW, "p", vec![how]),
    ];
    let full = |lines: &Vec<String>| lines.iter().any(|line| !line.is_empty());
    parts.into_iter().filter(|(_, _, lines)| full(lines)).collect()
}
