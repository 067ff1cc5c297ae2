//! The proof of a job's programs: carve them in order, hold every movement and the piece that is
//! left to the rules, and say what was found.

use serde::Serialize;

use super::stock::Stock;
use super::surface::{self, Piece};
use super::tabs::{self, Tabs};
use super::violation::{Ledger, Total, Violation, ViolationKind};
use super::walk::{Encounter, walk};
use super::{CarveError, moves};
use crate::frame::Point3;
use crate::grid::Grid;
use crate::nc::{BoundedBy, Program, Timing};
use crate::path::{Step, Target};
use crate::profile::Cutter;

/// One program, with the cutter that is in the spindle while it runs.
#[derive(Clone, Copy, Debug)]
pub struct Cut<'a> {
    /// Its file name, for messages.
    pub name: &'a str,
    /// What it is for. The surface is judged once there is a finish, the tabs once there is a
    /// perimeter.
    pub step: Step,
    /// As read from its text.
    pub program: &'a Program,
    /// The cutter.
    pub cutter: &'a Cutter,
    /// How it runs on the machine.
    pub timing: &'a Timing,
}

/// What programs are held to. Lengths in mm.
#[derive(Clone, Debug)]
pub struct Rules {
    /// Distance of the stock's nodes; 0.2 is a good start. Anything narrower may be missed.
    pub step_mm: f64,
    /// Most that may be cut below the target, normal to it. The same tolerance holds for a floor.
    pub gouge_mm: f64,
    /// Most that may stand, normal to the target, where the finishing cutters could have reached;
    /// `None` to report it only.
    pub left_mm: Option<f64>,
    /// How deep the bed may be cut.
    pub bed_cut_mm: f64,
    /// Travel of the machine's axes.
    pub travel_mm: [f64; 3],
    /// How far beyond its own radius a cutter may stray from the blank.
    pub overrun_mm: f64,
    /// Least chip load, mm a tooth: below it the tooth rubs.
    pub least_chip_mm: f64,
    /// What must remain over the underside.
    pub floor: Option<Floor>,
    /// How the piece hangs in the blank after the perimeter.
    pub tabs: Option<Tabs>,
}

/// The underside and what must remain above it. Both cover the trim outline.
#[derive(Clone, Debug)]
pub struct Floor {
    /// Height of the underside, mill frame, mm; zero everywhere for a piece that lies flat on the
    /// bed.
    pub underside: Grid,
    /// Least thickness above it, mm.
    pub least_mm: Grid,
}

/// What was found. Lengths in mm; "normal" means across the target surface: vertical difference
/// times the cosine of the slope.
///
/// Figures of the surface are `None` while no program finishes it.
#[derive(Clone, Debug, Serialize)]
pub struct Proof {
    /// Deepest cut below the target inside the outline, normal; 0 when there is none.
    pub max_gouge_mm: f64,
    /// Half of the reachable surface stands no higher than this, normal.
    pub scallop_p50_mm: Option<f64>,
    /// 99 % of the reachable surface stand no higher than this, normal.
    pub scallop_p99_mm: Option<f64>,
    /// Most that stands on the reachable surface, normal.
    pub scallop_max_mm: Option<f64>,
    /// Most that even an ideal path of the finishing cutters would leave, normal.
    pub unreached_max_mm: Option<f64>,
    /// Where that is; `None` when everything can be reached.
    pub unreached_at_mm: Option<[f64; 2]>,
    /// Rapids that met stock.
    pub rapid_contacts: usize,
    /// All programs, one after the other.
    pub time_s: f64,
    /// The same by what bounded the speed.
    pub bounded_by: BoundedBy,
    /// Length of all feed moves.
    pub cut_length_mm: f64,
    /// Lines of all programs.
    pub lines: usize,
    /// Volume above the bed that was taken, mm3.
    pub removed_mm3: f64,
    /// Furthest up a cutter, from its tip, that stock stood against it.
    pub most_engaged_mm: f64,
    /// Least and greatest chip load of moves that cut, at the ordered feed: mm a tooth. The machine
    /// does not reach that feed everywhere.
    pub chip_load_mm: Option<[f64; 2]>,
    /// The same at the planned speed, each move's mean: mm a tooth.
    pub planned_chip_load_mm: Option<[f64; 2]>,
    /// Share of the time in moves that cut in which the planned speed lies below the least chip
    /// load, 0..=1: a tooth that rubs heats the material.
    pub rubbing_share: Option<f64>,
    /// Most movements begun within any one second.
    pub blocks_per_second: usize,
    /// Least that remains over the underside, and where; `None` without a floor.
    pub thinnest: Option<Thinnest>,
    /// Tabs found around the piece; `None` while there is no perimeter.
    pub tabs_found: Option<usize>,
    /// The same for each program, in the order they are run.
    pub programs: Vec<CutFigures>,
    /// What must not be, at most 50 of each kind.
    pub violations: Vec<Violation>,
    /// How many there are of each kind that occurs.
    pub totals: Vec<Total>,
    /// Whether there are none.
    pub pass: bool,
    /// What is left standing: heights above the bed.
    #[serde(skip)]
    pub carved: Grid,
}

/// The figures of one program.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)] // as in `Proof`
pub struct CutFigures {
    pub name: String,
    pub time_s: f64,
    pub bounded_by: BoundedBy,
    pub cut_length_mm: f64,
    pub lines: usize,
    pub removed_mm3: f64,
    pub most_engaged_mm: f64,
    pub chip_load_mm: Option<[f64; 2]>,
    pub planned_chip_load_mm: Option<[f64; 2]>,
    pub rubbing_share: Option<f64>,
    pub blocks_per_second: usize,
}

/// A least thickness and its place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Thinnest {
    pub thickness_mm: f64,
    pub least_mm: f64,
    pub at_mm: [f64; 2],
}

/// Carves `cuts`, in their order, from one blank and proves them against `target` and `rules`.
///
/// The stock lattice has its nodes on whole multiples of `rules.step_mm`; a target on that same
/// lattice is compared without interpolation.
///
/// # Errors
/// Only when nothing can be carved or compared: a number that is none, an impossible blank, a
/// target that does not cover its outline. Bad programs are no error but a proof that does not pass.
pub fn prove(cuts: &[Cut<'_>], target: &Target, rules: &Rules) -> Result<Proof, CarveError> {
    let mut stock = Stock::new(target.blank, target.blank_top_mm, rules.step_mm)?;
    check(cuts, rules)?;
    let piece = Piece::new(target, stock.grid().lattice)?;
    let met = walk(&mut stock, cuts);
    let carved = stock.into_grid();

    let mut ledger = Ledger::default();
    for (cut, met) in cuts.iter().zip(&met) {
        moves::judge(cut, met, target, rules, &mut ledger);
    }
    let max_gouge_mm = surface::gouge(&piece, &carved, cuts, rules, &mut ledger);
    let finish = surface::finish(&piece, &carved, cuts, rules, &mut ledger);
    let thinnest = surface::floor(&piece, &carved, cuts, rules, &mut ledger)?;
    let tabs_found = tabs::judge(&carved, cuts, piece.rim(), rules, &mut ledger);

    let (violations, totals) = ledger.close();
    let bites: Vec<_> = cuts.iter().zip(&met).map(|(cut, met)| Bites::of(cut, met, rules.least_chip_mm)).collect();
    let programs: Vec<_> = cuts.iter().zip(&met).zip(&bites).map(|((c, met), bites)| figures(c, met, bites)).collect();
    let rapid_contacts = totals.iter().find(|t| t.kind == ViolationKind::RapidContact).map_or(0, |t| t.count);
    Ok(Proof {
        max_gouge_mm,
        scallop_p50_mm: finish.map(|f| f.p50_mm),
        scallop_p99_mm: finish.map(|f| f.p99_mm),
        scallop_max_mm: finish.map(|f| f.max_mm),
        unreached_max_mm: finish.map(|f| f.unreached_mm),
        unreached_at_mm: finish.and_then(|f| f.unreached_at).map(|p| [p.x, p.y]),
        rapid_contacts,
        time_s: programs.iter().map(|p| p.time_s).sum(),
        bounded_by: programs.iter().map(|p| p.bounded_by).sum(),
        cut_length_mm: programs.iter().map(|p| p.cut_length_mm).sum(),
        lines: programs.iter().map(|p| p.lines).sum(),
        removed_mm3: programs.iter().map(|p| p.removed_mm3).sum(),
        most_engaged_mm: programs.iter().fold(0.0, |most, p| most.max(p.most_engaged_mm)),
        chip_load_mm: programs.iter().filter_map(|p| p.chip_load_mm).reduce(widest),
        planned_chip_load_mm: programs.iter().filter_map(|p| p.planned_chip_load_mm).reduce(widest),
        rubbing_share: bites.iter().copied().reduce(Bites::and).and_then(|all| all.rubbing_share()),
        blocks_per_second: programs.iter().map(|p| p.blocks_per_second).max().unwrap_or(0),
        thinnest,
        tabs_found,
        programs,
        pass: violations.is_empty(),
        violations,
        totals,
        carved,
    })
}

/// Refuses numbers that would make the whole proof meaningless.
fn check(cuts: &[Cut<'_>], rules: &Rules) -> Result<(), CarveError> {
    let [x, y, z] = rules.travel_mm;
    let tab = rules.tabs.map_or([0.0; 3], |tabs| [tabs.length_mm, tabs.height_mm, tabs.left_mm]);
    let rules = [
        ("gouge", rules.gouge_mm),
        ("left standing", rules.left_mm.unwrap_or(0.0)),
        ("bed cut", rules.bed_cut_mm),
        ("travel in x", x),
        ("travel in y", y),
        ("travel in z", z),
        ("overrun", rules.overrun_mm),
        ("least chip load", rules.least_chip_mm),
        ("tab length", tab[0]),
        ("tab height", tab[1]),
        ("left beside tabs", tab[2]),
    ];
    if let Some(&(what, value)) = rules.iter().find(|(_, value)| !(value.is_finite() && *value >= 0.0)) {
        return Err(CarveError::Rule { what, value });
    }
    for cut in cuts {
        let (c, file) = (cut.cutter, || cut.name.to_owned());
        let sizes = [("radius", c.shape.radius()), ("flute length", c.flute_length_mm), ("stickout", c.stickout_mm)];
        if let Some(&(what, value)) = sizes.iter().find(|(_, value)| !(value.is_finite() && *value > 0.0)) {
            return Err(CarveError::Cutter { file: file(), what, value });
        }
        let known = |p: Point3| p.iter().all(|c| c.is_finite());
        if let Some(travel) = cut.program.travels.iter().find(|t| !(known(t.from) && known(t.to))) {
            return Err(CarveError::Travel { file: file(), line: travel.line });
        }
    }
    Ok(())
}

fn figures(cut: &Cut<'_>, met: &[Encounter], bites: &Bites) -> CutFigures {
    let feeds = cut.program.travels.iter().filter(|travel| !travel.rapid);
    CutFigures {
        name: cut.name.to_owned(),
        time_s: cut.timing.total_s,
        bounded_by: cut.timing.bounded_by,
        cut_length_mm: feeds.map(|travel| (travel.to - travel.from).norm()).sum(),
        lines: cut.program.lines,
        removed_mm3: met.iter().map(|met| met.removed_mm3).sum(),
        most_engaged_mm: met.iter().fold(0.0, |most, met| most.max(met.engaged_mm)),
        chip_load_mm: bites.ordered_mm,
        planned_chip_load_mm: bites.planned_mm,
        rubbing_share: bites.rubbing_share(),
        blocks_per_second: cut.timing.busiest_second,
    }
}

/// What a tooth takes in the moves of one program that cut.
#[derive(Clone, Copy)]
struct Bites {
    /// At the ordered feed, mm a tooth.
    ordered_mm: Option<[f64; 2]>,
    /// At the planned speed, each move's mean, mm a tooth.
    planned_mm: Option<[f64; 2]>,
    /// In moves that cut.
    cutting_s: f64,
    /// Of these, below the least chip load.
    rubbing_s: f64,
}

impl Bites {
    fn of(cut: &Cut<'_>, met: &[Encounter], least_mm: f64) -> Bites {
        let teeth = f64::from(cut.cutter.flutes.max(1));
        let mut all = Bites { ordered_mm: None, planned_mm: None, cutting_s: 0.0, rubbing_s: 0.0 };
        for ((travel, met), run) in cut.program.travels.iter().zip(met).zip(&cut.timing.runs) {
            if travel.rapid || met.taken.is_none() || travel.spindle_rpm <= 0.0 {
                continue;
            }
            let teeth_s = travel.spindle_rpm * teeth / 60.0;
            let (ordered, mean) = (travel.feed_mm_min / 60.0, (travel.to - travel.from).norm() / run.seconds);
            let both = |mm_s: f64| Some([mm_s / teeth_s; 2]).filter(|[mm, _]| mm.is_finite());
            all = all.and(Bites {
                ordered_mm: both(ordered),
                planned_mm: both(mean),
                cutting_s: run.seconds,
                rubbing_s: run.slower_s(least_mm * teeth_s),
            });
        }
        all
    }

    fn and(self, other: Bites) -> Bites {
        let wider = |a: Option<[f64; 2]>, b| a.into_iter().chain(b).reduce(widest);
        Bites {
            ordered_mm: wider(self.ordered_mm, other.ordered_mm),
            planned_mm: wider(self.planned_mm, other.planned_mm),
            cutting_s: self.cutting_s + other.cutting_s,
            rubbing_s: self.rubbing_s + other.rubbing_s,
        }
    }

    fn rubbing_share(&self) -> Option<f64> {
        (self.cutting_s > 0.0).then(|| (self.rubbing_s / self.cutting_s).clamp(0.0, 1.0))
    }
}

fn widest(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0].min(b[0]), a[1].max(b[1])]
}
