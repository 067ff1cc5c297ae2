//! The notes block of the job sheet: which findings are told in full on paper, which in brief.

use serde::Serialize;

use super::data::NoteRow;
use super::ink;
use super::notes::{self, Numbered};
use crate::frame::Point2;
use crate::limits::Severity;

/// Height of a line of notes, mm, as the style sheet sets it.
const ROW_MM: f64 = 3.1;

/// One note as the page shows it.
#[derive(Serialize)]
pub struct NoteLine {
    pub balloon: String,
    pub severity: &'static str,
    pub on: String,
    pub limit: String,
    pub message: String,
    pub measured: String,
    pub allowed: String,
    /// How measured stands to allowed: what a stop says is a limit, other findings may only compare.
    pub to: &'static str,
    /// What follows the limit's name in brief.
    pub numbers: String,
    pub advice: String,
    pub accepted: Option<String>,
    /// The reason as far as it is told in brief.
    pub accepted_short: String,
    pub print: Print,
}

/// Height of a line of notes in brief, whose balloons stand within the line, mm.
const BRIEF_ROW_MM: f64 = 4.2;

/// Letters of the reason for an accepted stop that a note in brief tells: half a line.
const BRIEF_REASON: usize = 48;

/// How a note is told on paper. On screen every note is told in full.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Print {
    /// Message, measured, allowed, advice.
    Full,
    /// Limit, measured, allowed.
    Brief,
    /// Counted only.
    Not,
}

/// The notes block for `room` mm of paper: as many notes in full as leave room for the others in
/// brief, then in brief, and only then not at all.
pub fn note_rows(list: &[Numbered], room: f64, width_mm: f64) -> Vec<NoteLine> {
    let rows: Vec<NoteLine> = list.iter().map(note_line).collect();
    let full: Vec<f64> = rows.iter().map(|row| lines_of(row, width_mm) as f64 * ROW_MM + 1.2).collect();
    let brief: Vec<f64> = rows.iter().map(|row| ink::width_of(&brief_words(row), ink::SMALL_MM) + 8.5).collect();
    // The heading takes one row.
    let room = room - 1.3 * ROW_MM;
    let need = |k: usize, end: usize| {
        let tail: f64 = brief.iter().take(end).skip(k).sum();
        full.iter().take(k).sum::<f64>() + (tail / (width_mm - 8.0).max(20.0)).ceil() * BRIEF_ROW_MM
    };
    let count = rows.len();
    let whole = (0..=count).rev().find(|k| need(*k, count) <= room).unwrap_or(0);
    // A stop is told whatever the room: a piece cut against it must say so on its own paper.
    let stops = rows.iter().filter(|row| row.severity == Severity::Stop.name()).count();
    let told = (whole..=count).rev().find(|end| need(whole, *end) <= room).unwrap_or(whole).max(stops);
    let print = |k: usize| match k {
        k if k < whole => Print::Full,
        k if k < told => Print::Brief,
        _ => Print::Not,
    };
    rows.into_iter().enumerate().map(|(k, row)| NoteLine { print: print(k), ..row }).collect()
}

fn brief_words(row: &NoteLine) -> String {
    let accepted = row.accepted.as_ref().map_or(String::new(), |_| format!("(accepted: {})", row.accepted_short));
    format!("{} {} {}{} {accepted}", row.severity, row.on, row.limit, row.numbers)
}

/// A reason cut to what brief notes have room for.
fn shortened(reason: &str) -> String {
    if reason.chars().count() <= BRIEF_REASON {
        return reason.to_string();
    }
    let kept: String = reason.chars().take(BRIEF_REASON - 1).collect();
    format!("{}\u{2026}", kept.trim_end())
}

/// Measured and allowed, as far as there are numbers.
fn numbers(row: &NoteRow) -> String {
    match (row.measured.as_str(), row.allowed.as_str()) {
        ("", _) => String::new(),
        (measured, "") => format!(" {measured}"),
        (measured, allowed) => format!(" {measured}{} {allowed}", to(row)),
    }
}

fn to(row: &NoteRow) -> &'static str {
    if row.severity == Severity::Stop { ", allowed" } else { " against" }
}

fn note_line(note: &Numbered) -> NoteLine {
    let row = note.row;
    let picture = svg::node::element::SVG::new()
        .set("viewBox", "-3 -3 6 6")
        .set("class", "drawing mark")
        .add(notes::balloon(row.severity, note.number, Point2::new(0.0, 0.0)));
    NoteLine {
        balloon: picture.to_string(),
        severity: row.severity.name(),
        on: note.at.iter().map(|(side, _)| side.letter().to_string()).collect::<Vec<_>>().join(" "),
        limit: row.limit.replace('_', " "),
        message: row.message.clone(),
        measured: row.measured.clone(),
        allowed: row.allowed.clone(),
        to: to(row),
        numbers: numbers(row),
        advice: row.advice.clone(),
        accepted: row.accepted.clone(),
        accepted_short: row.accepted.as_deref().map_or(String::new(), shortened),
        print: Print::Full,
    }
}

/// About how many lines of print a note takes.
fn lines_of(row: &NoteLine, width_mm: f64) -> usize {
    let accepted = row.accepted.as_ref().map_or(String::new(), |a| format!("accepted: {a}"));
    let text = format!(
        "{} {} {} measured {}, allowed {}. {} {accepted}",
        row.severity, row.on, row.message, row.measured, row.allowed, row.advice
    );
    (ink::width_of(&text, ink::SMALL_MM) / (width_mm - 12.0).max(20.0)).ceil().max(1.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Side;

    fn rows(count: usize) -> Vec<NoteRow> {
        let row = |k: usize| NoteRow {
            severity: Severity::Caution,
            limit: format!("limit_{k}"),
            at: None,
            measured: "3 mm".into(),
            allowed: "4 mm".into(),
            message: "The wall is too thin for this foam at half its height.".into(),
            advice: "Lower the heel cup depth to 11 mm.".into(),
            accepted: None,
        };
        (0..count).map(row).collect()
    }

    fn printed(count: usize, room: f64) -> Vec<Print> {
        let rows = rows(count);
        let number = |(k, row)| Numbered { number: k + 1, row, at: vec![(Side::Left, None)] };
        let list: Vec<Numbered> = rows.iter().enumerate().map(number).collect();
        note_rows(&list, room, 114.0).into_iter().map(|n| n.print).collect()
    }

    #[test]
    fn a_stop_is_told_when_there_is_no_room() {
        let mut rows = rows(9);
        rows[0].severity = Severity::Stop;
        rows[0].accepted = Some("long ".repeat(120));
        let number = |(k, row)| Numbered { number: k + 1, row, at: vec![(Side::Left, None)] };
        let list: Vec<Numbered> = rows.iter().enumerate().map(number).collect();
        let told = note_rows(&list, 0.0, 114.0);
        assert_eq!((told[0].print, told[1].print), (Print::Brief, Print::Not));
        assert_eq!(told[0].accepted_short.chars().count(), BRIEF_REASON);
    }

    #[test]
    fn what_has_no_number_is_told_without_one() {
        let mut row = rows(1).remove(0);
        assert_eq!(numbers(&row), " 3 mm against 4 mm");
        row.severity = Severity::Stop;
        assert_eq!(numbers(&row), " 3 mm, allowed 4 mm");
        row.allowed.clear();
        assert_eq!(numbers(&row), " 3 mm");
        row.measured.clear();
        assert_eq!(numbers(&row), "");
    }

    #[test]
    fn notes_are_told_in_full_while_there_is_room() {
        assert!(printed(3, 60.0).iter().all(|p| *p == Print::Full));
    }

    #[test]
    fn a_crowd_is_told_in_brief_and_in_order() {
        let some = printed(7, 30.0);
        assert!(some.contains(&Print::Full) && some.contains(&Print::Brief), "{some:?}");
        let many = printed(60, 30.0);
        assert!(many.contains(&Print::Brief) && many.contains(&Print::Not), "{many:?}");
        let rank = |p: &Print| [Print::Full, Print::Brief, Print::Not].iter().position(|q| q == p);
        assert!(many.windows(2).all(|w| rank(&w[0]) <= rank(&w[1])));
    }
}
