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

/// A tab may be shorter than asked by this share: a cutter that is lifted over a path of the right
/// length around a bend leaves less, the chord being shorter than the path. Our own choice.
const LENGTH_SHARE: f64 = 0.1;

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
pub(super) fn judge(carved: &Grid, cuts: &[Cut<'_>], rim: &Rim, rules: &Rules, ledger: &mut Ledger) -> Option<usize> {
    let cut = cuts.iter().rev().find(|cut| cut.step == Step::Perimeter)?;
    let tabs = rules.tabs?;
    let (radius, step) = (cut.cutter.shape.radius(), rules.step_mm);
    let line = rim.line_outside(radius + tabs.allowance_mm, step);
    let asked = Asked { tabs, longest_mm: tabs.length_mm + 2.0 * (radius + step), step_mm: step };
    let blame = Blame { file: cut.name, line: 0 };
    let stretches = stretches(carved, &line, &tabs);
    let hanging: Vec<_> = stretches.iter().filter(|s| !asked.is_tab(s)).collect();
    for stretch in &hanging {
        asked.tell_hanging(stretch, blame, ledger);
    }
    let found: Vec<_> = stretches.iter().filter(|s| asked.is_tab(s)).collect();
    for stretch in found.iter().filter(|s| s.full_mm < asked.shortest_mm()) {
        asked.tell_slight(stretch, blame, ledger);
    }
    // A place that is not cut free may hide tabs, so only its own words are said.
    if hanging.is_empty() && found.len() != tabs.count {
        asked.tell_count(&found, blame, ledger);
    }
    Some(found.len())
}

/// What a stretch is held to.
struct Asked {
    tabs: Tabs,
    /// Sloping ends may lengthen a tab's foot by the cutter's radius on each side.
    longest_mm: f64,
    step_mm: f64,
}

impl Asked {
    fn is_tab(&self, s: &Stretch) -> bool {
        s.highest_mm <= self.tabs.height_mm + HEIGHT_TOLERANCE_MM && s.length_mm <= self.longest_mm
    }

    fn shortest_mm(&self) -> f64 {
        (1.0 - LENGTH_SHARE) * self.tabs.length_mm - 2.0 * self.step_mm
    }

    fn tell_hanging(&self, s: &Stretch, blame: Blame<'_>, ledger: &mut Ledger) {
        let Tabs { length_mm, height_mm, .. } = self.tabs;
        let (length, high) = (s.length_mm, s.highest_mm);
        let tall = high > height_mm + HEIGHT_TOLERANCE_MM;
        let pair = if tall { (high, height_mm) } else { (length, self.longest_mm) };
        ledger.add(Kind::NotCutFree, blame, s.place(), pair, || {
            format!(
                "{length:.1} mm of the perimeter stand up to {high:.2} mm high, \
                 a tab is {length_mm:.1} x {height_mm:.1} mm: cut it down"
            )
        });
    }

    fn tell_slight(&self, s: &Stretch, blame: Blame<'_>, ledger: &mut Ledger) {
        let Tabs { length_mm, height_mm, .. } = self.tabs;
        ledger.add(Kind::Tabs, blame, s.place(), (s.full_mm, length_mm), || {
            let full = s.full_mm;
            format!(
                "a tab is {height_mm:.1} mm high on {full:.1} mm only, \
                 {length_mm:.1} are asked: the piece may break out"
            )
        });
    }

    fn tell_count(&self, found: &[&Stretch], blame: Blame<'_>, ledger: &mut Ledger) {
        let (count, asked) = (found.len(), self.tabs.count);
        let at = found.first().map_or(Point3::origin(), |s| s.place());
        let pair = (count as f64, asked as f64);
        if count < asked {
            ledger.add(Kind::Tabs, blame, at, pair, || {
                format!("{count} of {asked} tabs stand around the piece: it would come loose while it is cut")
            });
        } else {
            ledger.add(Kind::NotCutFree, blame, at, pair, || {
                format!("the piece hangs on {count} places, {asked} tabs are asked: cut the others")
            });
        }
    }
}

impl Stretch {
    fn place(&self) -> Point3 {
        Point3::new(self.middle.x, self.middle.y, self.highest_mm)
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
