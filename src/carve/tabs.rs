//! How the piece hangs in the blank after the perimeter: free all around but for its tabs, or on a
//! skin under the whole groove. Measured on the carved stock: tabs along the line on which the
//! perimeter's cutter had to travel, where they are narrowest; a skin over the groove's whole width.

use super::proof::{Cut, Rules};
use super::rim::Rim;
use super::violation::{Blame, Ledger, ViolationKind as Kind};
use super::walk::who_cut;
use crate::frame::{Point2, Point3};
use crate::grid::Grid;
use crate::path::Step;

/// Heights of tabs are held to this, mm: far above rounding, far below a tab. Our own choice.
const HEIGHT_TOLERANCE_MM: f64 = 0.05;

/// A tab may be shorter than asked by this share: a cutter that is lifted over a path of the right
/// length around a bend leaves less, the chord being shorter than the path. Our own choice.
const LENGTH_SHARE: f64 = 0.1;

/// A tab's section may be less than asked by this share: the chord of an arc as long as a tab and a
/// cutter together is 2 % shorter than the arc on a bend of radius 20 (s^2 / 24 r^2).
const SECTION_SHARE: f64 = 0.03;

/// What holds the piece.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub enum Hold {
    Tabs(Tabs),
    Skin(Skin),
}

/// A skin that the perimeter must leave under its groove. Lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Skin {
    /// Thickness above the bed.
    pub thickness_mm: f64,
    /// How far outside the trim outline the perimeter's cutter passes.
    pub allowance_mm: f64,
    /// How much thinner or thicker it may be.
    pub slack_mm: f64,
}

/// How the piece was found to be held; `None` for what was not looked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Held {
    pub(super) tabs_found: Option<usize>,
    pub(super) thinnest_skin_mm: Option<f64>,
}

/// Tabs that the perimeter must leave. Lengths in mm.
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
    /// Area of its section along the line, nothing above a tab's height counted.
    section_mm2: f64,
    highest_mm: f64,
    middle: Point2,
}

/// Holds the perimeter to `rules.hold`; nothing is found without a perimeter.
pub(super) fn judge(carved: &Grid, cuts: &[Cut<'_>], rim: &Rim, rules: &Rules, ledger: &mut Ledger) -> Held {
    let perimeter = cuts.iter().rev().find(|cut| cut.step == Step::Perimeter);
    match (perimeter, rules.hold) {
        (Some(cut), Some(Hold::Tabs(tabs))) => {
            let found = judge_tabs(carved, cut, rim, tabs, rules.step_mm, ledger);
            Held { tabs_found: Some(found), ..Held::default() }
        }
        (Some(cut), Some(Hold::Skin(skin))) => {
            let thinnest = judge_skin(carved, cut, rim, skin, rules.step_mm, ledger);
            Held { thinnest_skin_mm: thinnest, ..Held::default() }
        }
        _ => Held::default(),
    }
}

/// Holds the groove to its tabs; returns how many there are.
fn judge_tabs(carved: &Grid, cut: &Cut<'_>, rim: &Rim, tabs: Tabs, step: f64, ledger: &mut Ledger) -> usize {
    let radius = cut.cutter.shape.radius();
    let line = rim.line_outside(radius + tabs.allowance_mm, step);
    let asked = Asked { tabs, longest_mm: tabs.length_mm + 2.0 * (radius + step), step_mm: step };
    let blame = Blame { file: cut.name, line: 0 };
    let stretches = stretches(carved, &line, &tabs);
    let hanging: Vec<_> = stretches.iter().filter(|s| !asked.is_tab(s)).collect();
    for stretch in &hanging {
        asked.tell_hanging(stretch, blame, ledger);
    }
    let found: Vec<_> = stretches.iter().filter(|s| asked.is_tab(s)).collect();
    for stretch in found.iter().filter(|s| asked.is_slight(s)) {
        asked.tell_slight(stretch, blame, ledger);
    }
    // A place that is not cut free may hide tabs, so only its own words are said.
    if hanging.is_empty() && found.len() != tabs.count {
        asked.tell_count(&found, blame, ledger);
    }
    found.len()
}

/// Holds the groove to its skin, over its width and all round; returns the least thickness.
fn judge_skin(carved: &Grid, cut: &Cut<'_>, rim: &Rim, skin: Skin, step: f64, ledger: &mut Ledger) -> Option<f64> {
    // A height between nodes is read from a cell, which must not reach into the groove's walls.
    let inset = 1.5 * step;
    let (near, far) = (skin.allowance_mm + inset, skin.allowance_mm + 2.0 * cut.cutter.shape.radius() - inset);
    let lines = ((far - near) / step).floor().max(0.0) as usize;
    let places = (0..=lines).flat_map(|k| rim.line_outside(near + k as f64 * step, step));
    let heights: Vec<(Point2, f64)> = places.map(|p| (p, carved.sample(p).unwrap_or(0.0))).collect();
    let by_height = |a: &&(Point2, f64), b: &&(Point2, f64)| a.1.total_cmp(&b.1);
    let (thinnest, thickest) = (heights.iter().min_by(by_height)?, heights.iter().max_by(by_height)?);
    let Skin { thickness_mm, slack_mm, .. } = skin;
    // The line that cut deepest is found where the cut is, not where it was planned.
    let blame = |p: Point2| {
        let (c, t) = who_cut(std::slice::from_ref(cut), p).unwrap_or_default();
        let line = cut.program.travels.get(t).map_or(0, |travel| travel.line);
        Blame { file: cut.name, line: if c == 0 { line } else { 0 } }
    };
    let at = |&(p, z): &(Point2, f64)| Point3::new(p.x, p.y, z);
    if thinnest.1 < thickness_mm - slack_mm {
        ledger.add(Kind::Skin, blame(thinnest.0), at(thinnest), (thinnest.1, thickness_mm), || {
            let thin = thinnest.1;
            format!("the skin is {thin:.2} mm thick here, {thickness_mm:.2} are asked: the piece may come loose")
        });
    }
    if thickest.1 > thickness_mm + slack_mm {
        ledger.add(
            Kind::NotCutFree,
            Blame { file: cut.name, line: 0 },
            at(thickest),
            (thickest.1, thickness_mm),
            || {
                let high = thickest.1;
                format!("{high:.2} mm stand in the groove, a skin of {thickness_mm:.2} is asked: cut it down")
            },
        );
    }
    Some(thinnest.1)
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

    /// Length in full, and the section that a pull meets: both as asked, less what the lattice may
    /// misjudge and a bend takes. Ends between two nodes lose a step of the length in full, and on
    /// average nothing of the section.
    fn is_slight(&self, s: &Stretch) -> bool {
        let Tabs { length_mm, height_mm, .. } = self.tabs;
        let shortest_mm = (1.0 - LENGTH_SHARE) * length_mm - 2.0 * self.step_mm;
        let least_mm2 = ((1.0 - SECTION_SHARE) * length_mm - self.step_mm) * height_mm;
        s.full_mm < shortest_mm || s.section_mm2 < least_mm2
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
            let (full, section, asked) = (s.full_mm, s.section_mm2, length_mm * height_mm);
            format!(
                "a tab is {height_mm:.1} mm high on {full:.1} mm only, {length_mm:.1} are asked; its section is \
                 {section:.1} mm2 of {asked:.1}: the piece may break out; less may stand beside it, ask thinner tabs"
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
        // The sum of nothing would be -0.
        full_mm: full.map(|&k| share(k)).fold(0.0, |sum, mm| sum + mm),
        section_mm2: on.iter().map(|&k| share(k) * heights[k].min(tabs.height_mm)).sum(),
        highest_mm: on.iter().fold(0.0, |most, &k| most.max(heights[k])),
        middle,
    })
}
