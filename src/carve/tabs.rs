//! How the piece hangs in the blank after the perimeter: free all around but for its tabs. Measured
//! on the carved stock, along the line on which the perimeter's cutter had to travel.

use super::proof::{Cut, Rules};
use super::rim::Rim;
use super::violation::{Blame, Ledger, ViolationKind as Kind};
use crate::frame::{Point2, Point3};
use crate::grid::Grid;
use crate::path::Step;

/// Heights of tabs are held to this, mm: far above rounding, far below a tab. Our own choice.
const HEIGHT_TOLERANCE_MM: f64 = 0.05;

/// What the perimeter must leave. Lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tabs {
    /// How many; 0 for a piece that is cut free.
    pub count: usize,
    /// Length of each where it stands in full, along the cutter's line.
    pub length_mm: f64,
    /// Height above the bed.
    pub height_mm: f64,
    /// How far outside the trim outline the perimeter's cutter passes; the cutter's centre runs on
    /// a line further out by its radius.
    pub allowance_mm: f64,
    /// Most that may stand elsewhere.
    pub left_mm: f64,
}

/// A stretch of the cutter's line on which stock stands.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    length_mm: f64,
    /// Length on which it has a tab's height.
    full_mm: f64,
    highest_mm: f64,
    middle: Point2,
}

/// Holds the perimeter to `rules.tabs`; the number of tabs found, `None` without a perimeter.
pub(super) fn judge(
    carved: &Grid,
    cuts: &[Cut<'_>],
    outline: &[Point2],
    rules: &Rules,
    ledger: &mut Ledger,
) -> Option<usize> {
    let cut = cuts.iter().rev().find(|cut| cut.step == Step::Perimeter)?;
    let tabs = rules.tabs?;
    let rim = Rim::new(outline).ok()?;
    let (radius, step) = (cut.cutter.shape.radius(), rules.step_mm);
    let line = rim.line_outside(radius + tabs.allowance_mm, step);
    let stretches = stretches(carved, &line, &tabs);
    let blame = Blame { file: cut.name, line: 0 };
    for stretch in &stretches {
        judge_stretch(stretch, &tabs, radius, step, blame, ledger);
    }
    judge_count(&stretches, &tabs, blame, ledger);
    Some(stretches.len())
}

fn judge_stretch(s: &Stretch, tabs: &Tabs, radius: f64, step: f64, blame: Blame<'_>, ledger: &mut Ledger) {
    let at = Point3::new(s.middle.x, s.middle.y, s.highest_mm);
    let highest = tabs.height_mm + HEIGHT_TOLERANCE_MM;
    // Sloping ends may lengthen a tab's foot by the cutter's radius on each side.
    let longest = tabs.length_mm + 2.0 * (radius + step);
    if s.highest_mm > highest {
        ledger.add(Kind::NotCutFree, blame, at, (s.highest_mm, highest), || {
            format!(
                "stock stands {:.2} mm high on the perimeter, a tab {:.2}: cut it down",
                s.highest_mm, tabs.height_mm
            )
        });
    } else if s.length_mm > longest {
        ledger.add(Kind::NotCutFree, blame, at, (s.length_mm, longest), || {
            format!(
                "{:.1} mm of the perimeter are not cut free, a tab is {:.1}: cut it down",
                s.length_mm, tabs.length_mm
            )
        });
    } else if s.full_mm < tabs.length_mm - 2.0 * step {
        ledger.add(Kind::Tabs, blame, at, (s.full_mm, tabs.length_mm), || {
            let (length, height) = (tabs.length_mm, tabs.height_mm);
            format!(
                "a tab stands in full on {:.1} mm, {length:.1} x {height:.1} mm are asked: the piece may break out",
                s.full_mm
            )
        });
    }
}

fn judge_count(stretches: &[Stretch], tabs: &Tabs, blame: Blame<'_>, ledger: &mut Ledger) {
    let (found, asked) = (stretches.len(), tabs.count);
    let at = stretches.first().map_or(Point3::origin(), |s| Point3::new(s.middle.x, s.middle.y, s.highest_mm));
    let pair = (found as f64, asked as f64);
    if found < asked {
        ledger.add(Kind::Tabs, blame, at, pair, || {
            format!("{found} of {asked} tabs stand around the piece: it would come loose while it is cut")
        });
    } else if found > asked {
        ledger.add(Kind::NotCutFree, blame, at, pair, || {
            format!("the piece hangs on {found} places, {asked} tabs are asked: cut the others")
        });
    }
}

/// The stretches of a closed line on which more stands than may be left.
fn stretches(carved: &Grid, line: &[Point2], tabs: &Tabs) -> Vec<Stretch> {
    let heights: Vec<f64> = line.iter().map(|&p| carved.sample(p).unwrap_or(0.0)).collect();
    let stands = |k: usize| heights[k] > tabs.left_mm;
    let n = line.len();
    // Begin on a free place, so that no stretch is cut in two by the line's own beginning.
    let first = (0..n).find(|&k| !stands(k)).unwrap_or(0);
    let mut found: Vec<Stretch> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    for k in (0..n).map(|i| (first + i) % n) {
        if stands(k) {
            open.push(k);
        } else {
            found.extend(stretch(&std::mem::take(&mut open), line, &heights, tabs));
        }
    }
    found.extend(stretch(&open, line, &heights, tabs));
    found
}

/// One stretch, through the places `on` of the line.
fn stretch(on: &[usize], line: &[Point2], heights: &[f64], tabs: &Tabs) -> Option<Stretch> {
    let middle = line[*on.get(on.len() / 2)?];
    // Each place stands for half of the way to either neighbour.
    let n = line.len();
    let share = |k: usize| 0.5 * ((line[(k + 1) % n] - line[k]).norm() + (line[k] - line[(k + n - 1) % n]).norm());
    let full = on.iter().filter(|&&k| heights[k] >= tabs.height_mm - HEIGHT_TOLERANCE_MM);
    Some(Stretch {
        length_mm: on.iter().map(|&k| share(k)).sum(),
        full_mm: full.map(|&k| share(k)).sum(),
        highest_mm: on.iter().fold(0.0, |most, &k| most.max(heights[k])),
        middle,
    })
}
