//! What is wrong with a text, where, and what to do; printed on one line or with the line quoted.

use std::fmt;
use std::ops::Range;

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};

use super::Note;

/// One mistake in a text that a person wrote.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct Problem {
    /// The file's name as it was given.
    pub file: String,
    /// Line, from 1; 0 when the whole file is meant.
    pub line: usize,
    /// Column in characters, from 1; 0 when the whole file is meant.
    pub column: usize,
    /// What is wrong, with the value and what is allowed.
    pub message: String,
    /// What to do; may be empty.
    pub help: String,
    /// Short words under the marked text; may be empty.
    label: String,
    quote: Option<Quote>,
}

/// The line in question, or the part of a long one, and the marked bytes in it.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Quote {
    line: String,
    from: usize,
    to: usize,
    /// Whether this is only a part of the line.
    cut: bool,
}

/// All that is wrong, in order of place. Never empty.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct Problems {
    list: Vec<Problem>,
}

/// Whether rendered problems carry terminal colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Colour {
    /// ANSI colours.
    Ansi,
    /// Plain text.
    Plain,
}

impl Problem {
    /// A problem with a whole file.
    pub fn of_file(file: &str, message: impl Into<String>, help: impl Into<String>) -> Problem {
        Problem {
            file: file.to_owned(),
            line: 0,
            column: 0,
            message: message.into(),
            help: help.into(),
            label: String::new(),
            quote: None,
        }
    }

    /// A problem with the part of `text` at this range of bytes.
    pub fn of_place(
        file: &str,
        text: &str,
        place: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Problem {
        let note = Note { place, message: message.into(), label: String::new(), help: help.into() };
        Problem::of_note(file, text, note)
    }

    /// The problem as a compiler would show it: message, place, the line quoted and marked, help.
    pub fn render(&self, colour: Colour) -> String {
        let title = Level::ERROR.primary_title(&self.message);
        let group = match &self.quote {
            Some(quote) => {
                let mark = AnnotationKind::Primary.span(quote.from..quote.to);
                let mark = if self.label.is_empty() { mark } else { mark.label(&self.label) };
                let snippet = Snippet::source(&quote.line).line_start(self.line).annotation(mark);
                // A part of a long line has its own columns, so the place is told apart from it.
                match quote.cut {
                    false => title.element(snippet.path(&self.file)),
                    true => {
                        let place = Origin::path(&self.file).line(self.line).char_column(self.column);
                        title.element(place).element(snippet)
                    }
                }
            }
            None => title.element(Origin::path(&self.file)),
        };
        let group = if self.help.is_empty() { group } else { group.element(Level::HELP.message(&self.help)) };
        let renderer = match colour {
            Colour::Ansi => Renderer::styled(),
            Colour::Plain => Renderer::plain(),
        };
        renderer.decor_style(DecorStyle::Ascii).render(&[group])
    }

    pub(super) fn of_note(file: &str, text: &str, note: Note) -> Problem {
        let start = char_floor(text, note.place.start);
        let end = char_floor(text, note.place.end).max(start);
        let before = text.get(..start).unwrap_or(text);
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        let line = text.get(line_start..).unwrap_or("").lines().next().unwrap_or("");
        Problem {
            file: file.to_owned(),
            line: before.matches('\n').count() + 1,
            column: text.get(line_start..start).map_or(0, |s| s.chars().count()) + 1,
            message: note.message,
            help: note.help,
            label: note.label,
            quote: quote(line, start - line_start, end - line_start),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => write!(f, "{}: {}", self.file, self.message),
            _ => write!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.message),
        }
    }
}

impl Problems {
    /// A list that the caller knows not to be empty.
    pub(crate) fn of_list(list: Vec<Problem>) -> Problems {
        Problems { list }
    }

    /// Every problem, in order of place.
    pub fn iter(&self) -> std::slice::Iter<'_, Problem> {
        self.list.iter()
    }

    /// How many there are; at least one.
    #[allow(clippy::len_without_is_empty)] // never empty
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// All of them rendered, with a blank line between.
    pub fn render(&self, colour: Colour) -> String {
        let all: Vec<String> = self.list.iter().map(|problem| problem.render(colour)).collect();
        all.join("\n\n")
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines: Vec<String> = self.list.iter().map(Problem::to_string).collect();
        f.write_str(&lines.join("\n"))
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Problems { list: vec![problem] }
    }
}

impl IntoIterator for Problems {
    type Item = Problem;
    type IntoIter = std::vec::IntoIter<Problem>;

    fn into_iter(self) -> Self::IntoIter {
        self.list.into_iter()
    }
}

/// The known word that `wrong` most likely stands for.
pub fn suggest<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wrong = wrong.to_lowercase();
    known
        .into_iter()
        .map(|word| (likeness(&wrong, &word.to_lowercase()), word))
        .filter(|(likeness, _)| *likeness >= LEAST_LIKENESS)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, word)| word)
}

/// Likeness of two words, 0 to 1: one of a compound's parts stands for the whole as well as a slip
/// of the pen does.
fn likeness(wrong: &str, word: &str) -> f64 {
    let is_part = word.split(['_', '-']).any(|part| part == wrong);
    strsim::jaro_winkler(wrong, word).max(if is_part { LEAST_LIKENESS } else { 0.0 })
}

/// Jaro-Winkler likeness from which a word is offered: `hell_cup_depth` scores 0.97 against
/// `heel_cup_depth`, unrelated keys of a ticket stay below 0.75. Own choice.
const LEAST_LIKENESS: f64 = 0.8;

/// Longest line that is quoted whole, bytes.
const LONGEST_QUOTE: usize = 400;

/// The line with its marked part, cut short around the mark when it is very long.
fn quote(line: &str, from: usize, to: usize) -> Option<Quote> {
    let from = from.min(line.len());
    // An empty mark is shown under the place where something is missing.
    let to = to.clamp(from, line.len());
    if line.len() <= LONGEST_QUOTE {
        return Some(Quote { line: line.to_owned(), from, to, cut: false });
    }
    let start = char_floor(line, from.saturating_sub(LONGEST_QUOTE / 4));
    let end = char_floor(line, (from + LONGEST_QUOTE / 2).min(line.len()));
    let part = line.get(start..end)?;
    Some(Quote { line: part.to_owned(), from: from - start, to: to.min(end) - start, cut: true })
}

/// The start of the character that the byte at `at` belongs to.
fn char_floor(text: &str, at: usize) -> usize {
    let at = at.min(text.len());
    (0..=at).rev().find(|i| text.is_char_boundary(*i)).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_offered_and_a_far_one_is_not() {
        let known = ["heel_cup_depth", "heel_thickness", "medial_arch", "lateral_arch"];
        assert_eq!(suggest("hell_cup_depth", known), Some("heel_cup_depth"));
        assert_eq!(suggest("Medial_Arch", known), Some("medial_arch"));
        assert_eq!(suggest("medial", known), Some("medial_arch"));
        assert_eq!(suggest("colour", known), None);
    }

    #[test]
    fn a_mark_never_splits_a_character() {
        let note = |place| Note { place, message: "m".to_owned(), label: String::new(), help: String::new() };
        let text = format!("k = \"{}\"", "é".repeat(4000));
        for at in [0, 5, 6, 7, 3999, 8005, 8006, 9999] {
            let problem = Problem::of_note("f", &text, note(at..at + 1));
            assert!(problem.render(Colour::Plain).starts_with("error: m"));
            assert_eq!(problem.line, 1);
        }
    }
}
