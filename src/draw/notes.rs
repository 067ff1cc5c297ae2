//! Findings as numbered notes: one list for the sheet, and the balloons that point at them. The
//! same finding on both feet gets one number.

use svg::node::element::Group;

use super::data::{DrawnFoot, NoteRow};
use super::ink;
use crate::frame::{Point2, Side};
use crate::limits::Severity;

/// One entry of the notes block.
pub struct Numbered<'a> {
    /// From 1, in the order of the list.
    pub number: usize,
    /// The finding, as the first foot that has it tells it.
    pub row: &'a NoteRow,
    /// The feet that have it, each with the place.
    pub at: Vec<(Side, Option<Point2>)>,
}

/// All findings of a sheet: stops first, then cautions, then notes, each in the order given.
pub fn numbered<'a>(feet: &'a [DrawnFoot]) -> Vec<Numbered<'a>> {
    let mut list: Vec<Numbered<'a>> = Vec::new();
    for foot in feet {
        for row in &foot.notes {
            let twin = list.iter_mut().find(|n| same(n.row, row) && n.at.iter().all(|(side, _)| *side != foot.side));
            match twin {
                Some(twin) => twin.at.push((foot.side, row.at)),
                None => list.push(Numbered { number: 0, row, at: vec![(foot.side, row.at)] }),
            }
        }
    }
    list.sort_by_key(|n| n.row.severity);
    for (k, note) in list.iter_mut().enumerate() {
        note.number = k + 1;
    }
    list
}

fn same(a: &NoteRow, b: &NoteRow) -> bool {
    let words = |r: &NoteRow| (r.severity, r.limit.clone(), r.message.clone(), r.advice.clone(), r.accepted.clone());
    words(a) == words(b)
}

/// Half the height of a balloon, mm of paper.
pub const BALLOON_MM: f64 = 2.3;

/// A balloon: octagon for a stop, triangle for a caution, circle for a note, so that severity
/// reads without colour.
pub fn balloon(severity: Severity, number: usize, at: Point2) -> Group {
    let ring = |count: usize, turn: f64, r: f64, lower: f64| -> Vec<Point2> {
        let corner = |k: usize| (k as f64 / count as f64 + turn) * std::f64::consts::TAU;
        (0..count).map(|k| Point2::new(at.x + r * corner(k).sin(), at.y + lower - r * corner(k).cos())).collect()
    };
    let group = ink::group(&format!("balloon {}", severity.name()));
    let group = match severity {
        Severity::Stop => group.add(ink::shape("body", &ring(8, 1.0 / 16.0, BALLOON_MM * 1.12, 0.0))),
        Severity::Caution => group.add(ink::shape("body", &ring(3, 0.0, BALLOON_MM * 1.55, 0.55))),
        Severity::Note => group.add(ink::circle("body", at, BALLOON_MM)),
    };
    let base = at.y + if severity == Severity::Caution { 1.35 } else { 0.88 };
    group.add(ink::label("t", Point2::new(at.x, base), ink::Anchor::Middle, number.to_string()))
}

/// Balloon heights from `wanted` (ascending, mm of paper), pushed apart to `gap` and, as far as they
/// fit, kept above `end`.
pub fn spread(wanted: &[f64], gap: f64, end: f64) -> Vec<f64> {
    let mut ys = wanted.to_vec();
    for k in 1..ys.len() {
        ys[k] = ys[k].max(ys[k - 1] + gap);
    }
    let mut limit = end;
    for y in ys.iter_mut().rev() {
        *y = y.min(limit);
        limit = *y - gap;
    }
    ys
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_keeps_gap_and_order() {
        for wanted in [vec![1.0, 1.0, 1.0], vec![0.0, 2.0, 30.0, 31.0], vec![], vec![5.0]] {
            let got = spread(&wanted, 6.0, 33.0);
            assert_eq!(got.len(), wanted.len());
            assert!(got.windows(2).all(|w| w[1] - w[0] >= 6.0 - 1e-9), "{wanted:?} {got:?}");
        }
        assert_eq!(spread(&[10.0, 50.0], 6.0, 99.0), vec![10.0, 50.0]);
        assert_eq!(spread(&[10.0, 50.0, 50.0], 6.0, 50.0), vec![10.0, 44.0, 50.0]);
    }
}
