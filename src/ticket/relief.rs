//! A sole's heights as a ticket carries them, for the top to follow: `[left.relief]`. Knows no scan.

use crate::frame::Point2;
use crate::written::{Allowed, Need, Section};

/// Heights of a sole above the plane through heel and met heads, in the foot frame, and how far the top is to
/// follow them.
#[derive(Clone, Debug, PartialEq)]
pub struct Relief {
    /// Distance of neighbours along x and y, mm.
    pub step_mm: f64,
    /// Where the first height of the first row lies, mm.
    pub first: Point2,
    /// Rows from the rear, each from the lateral to the medial side, mm; `None` where nothing was seen.
    pub rows: Vec<Vec<Option<f64>>>,
    /// How far the top follows in the heel cup, 0..=1.
    pub heel_cup_share: f64,
    /// The same under the arches.
    pub arch_share: f64,
}

/// Rows and columns that are read at most: a foot of 340 mm at 4 mm.
const MOST: usize = 90;
/// Letters in a row at most.
const LONGEST_ROW: usize = 800;
const STEP: Allowed = Allowed::mm(4.0, 15.0);
const FIRST: Allowed = Allowed::mm(-100.0, 400.0);
const HEIGHT: Allowed = Allowed::mm(-10.0, 60.0);
const SHARE: Allowed = Allowed::new(0.0, 100.0, "%");

/// Reads the section; what is wrong in it is noted.
pub(super) fn relief(s: &Section) -> Option<Relief> {
    let step_mm = s.number("step", Need::Required, STEP);
    let first = s.numbers::<2>("first", Need::Required, FIRST);
    let heel_cup = s.number("heel_cup", Need::Required, SHARE);
    let arch = s.number("arch", Need::Required, SHARE);
    let rows = s.texts("rows", Need::Required, MOST, LONGEST_ROW)?;
    let rows: Option<Vec<_>> = rows.iter().enumerate().map(|(k, row)| one_row(s, k, row)).collect();
    let [x, y] = first?;
    Some(Relief {
        step_mm: step_mm?,
        first: Point2::new(x, y),
        rows: rows?,
        heel_cup_share: heel_cup? / 100.0,
        arch_share: arch? / 100.0,
    })
}

fn one_row(s: &Section, k: usize, row: &str) -> Option<Vec<Option<f64>>> {
    let words: Vec<&str> = row.split_whitespace().take(MOST + 1).collect();
    let read = words.iter().map(|word| match (*word, word.parse::<f64>()) {
        ("-", _) => Some(None),
        (_, Ok(mm)) if HEIGHT.admits(mm) => Some(Some(mm)),
        _ => {
            let message =
                format!("row {} of `{}` holds \"{}\"", k + 1, s.full_name("rows"), crate::written::shortened(word));
            s.at(
                "rows",
                message,
                format!("a row is heights of {}, or - where nothing was seen, with spaces between", HEIGHT.words()),
            );
            None
        }
    });
    let read: Option<Vec<_>> = read.collect();
    if words.len() > MOST {
        s.at(
            "rows",
            format!("row {} of `{}` has more than {MOST} heights", k + 1, s.full_name("rows")),
            "write the relief with a wider step",
        );
        return None;
    }
    read
}

impl Relief {
    /// The places with a height, rear first.
    pub fn places(&self) -> impl Iterator<Item = (Point2, f64)> + '_ {
        self.rows.iter().enumerate().flat_map(move |(j, row)| {
            row.iter().enumerate().filter_map(move |(i, mm)| {
                let at = Point2::new(self.first.x + i as f64 * self.step_mm, self.first.y + j as f64 * self.step_mm);
                mm.map(|mm| (at, mm))
            })
        })
    }

    /// The section as text under this head, such as `left.relief`.
    pub fn text(&self, head: &str) -> String {
        let number = |mm: &Option<f64>| mm.map_or("-".to_owned(), |mm| format!("{}", (10.0 * mm).round() / 10.0 + 0.0));
        let rows =
            self.rows.iter().map(|row| format!("  \"{}\",\n", row.iter().map(number).collect::<Vec<_>>().join(" ")));
        format!(
            "[{head}]\nheel_cup = {}\narch = {}\nstep = {}\nfirst = [{}, {}]\nrows = [\n{}]\n",
            100.0 * self.heel_cup_share,
            100.0 * self.arch_share,
            self.step_mm,
            self.first.x,
            self.first.y,
            rows.collect::<String>()
        )
    }
}
