//! Two tickets side by side: what they ask differently, what that does to surface, outline and boot,
//! and which findings come and go. Both are designed and checked as [`check`](super::check) does it.

use std::collections::BTreeMap;

use serde::Serialize;

use super::changes::{self, Change};
use super::{Design, JobError, laid};
use crate::frame::{Point2, Rect, Side};
use crate::grid::{Grid, Lattice};
use crate::limits::{BootEffect, Finding};
use crate::ticket::{PastRevision, Ticket};
use crate::value::Value;

/// Lattice on which surfaces are compared, mm: a quarter of the sheet's knots, between which nothing
/// hides.
const STEP_MM: f64 = 1.0;
/// Beyond the edge, so that a map's lines end at it and not short of it, mm.
const BEYOND_MM: f64 = 3.0;
/// Read-backs that differ by less than this are the same, mm and deg: half of what is printed. The
/// surface itself is compared to the last digit.
const ROUNDING: f64 = 5e-3;

/// Why two tickets cannot be compared.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum CompareError {
    #[error("{0}")]
    Old(JobError),
    #[error("{0}")]
    New(JobError),
    #[error("no foot is in both tickets: the old one has {old}, the new one {new}; name tickets that share a foot")]
    NoFoot { old: String, new: String },
}

/// What two tickets differ in.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct Comparison {
    /// Nothing at all differs.
    pub same: bool,
    pub old: Named,
    pub new: Named,
    /// What to know about the comparison itself.
    pub notes: Vec<String>,
    /// Keys of the whole job that differ.
    pub changes: Vec<Change>,
    pub history: History,
    /// Feet that are in both tickets.
    pub feet: Vec<FootComparison>,
}

/// Which ticket.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Named {
    pub ticket: String,
    pub revision: u32,
}

/// Entries of the history that only one ticket has.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct History {
    pub added: Vec<HistoryEntry>,
    pub gone: Vec<HistoryEntry>,
}

/// One entry, as typed.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct HistoryEntry {
    pub revision: u32,
    pub date: String,
    pub change: String,
    pub reason: String,
}

/// One foot of both tickets.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct FootComparison {
    pub side: Side,
    /// Nothing of this foot differs.
    pub same: bool,
    /// Keys of this foot that differ, values aside.
    pub changes: Vec<Change>,
    pub values: BTreeMap<Value, ValueComparison>,
    /// Top surface where both have one, new less old.
    pub top: Difference,
    /// Top less underside, new less old.
    pub thickness: Difference,
    pub areas: Areas,
    pub boot_effect: BTreeMap<&'static str, Pair>,
    pub findings_appeared: Vec<Finding>,
    pub findings_gone: Vec<Finding>,
    /// The reason by which the new ticket accepts its stops; `null` where there is none to accept.
    pub accepted_reason: Option<String>,
}

/// One value in both tickets.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ValueComparison {
    pub asked: Pair,
    pub read_back: Pair,
    pub unit: &'static str,
    pub changed: bool,
}

/// A number in both tickets; `null` is unknown or not asked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Pair {
    pub old: Option<f64>,
    pub new: Option<f64>,
    /// New less old, where both are known.
    pub change: Option<f64>,
}

/// How two surfaces differ over the area that both have, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Difference {
    pub mean_mm: f64,
    /// Mean of the amounts, whichever way.
    pub mean_amount_mm: f64,
    pub greatest: Extreme,
    pub least: Extreme,
}

/// A difference and its place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Extreme {
    pub mm: f64,
    /// Foot frame.
    pub at_mm: [f64; 2],
    /// The same place as a share of the new ticket's foot length.
    pub station: f64,
}

/// Areas seen from above, mm2, to the square of the lattice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Areas {
    pub common_mm2: f64,
    pub only_old_mm2: f64,
    pub only_new_mm2: f64,
}

/// One foot of both tickets with what its drawings need.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct ComparedFoot<'a> {
    pub old: Design<'a>,
    pub new: Design<'a>,
    /// Top surfaces, new less old, foot frame; only within both outlines does it mean anything.
    pub top: Grid,
}

/// Two tickets, compared.
#[derive(Clone, Debug)]
#[allow(missing_docs)]
pub struct Compared<'a> {
    pub report: Comparison,
    pub feet: Vec<ComparedFoot<'a>>,
}

/// Compares two tickets, or one foot of them.
pub fn compare<'a>(old: &'a Ticket, new: &'a Ticket, side: Option<Side>) -> Result<Compared<'a>, CompareError> {
    let shared = shared_feet(old, new, side)?;
    let designs = |ticket: &'a Ticket| -> Result<Vec<Design<'a>>, JobError> {
        let each = |side: &Side| laid(ticket, Some(*side)).map(|feet| feet.into_iter().map(|(design, _)| design));
        Ok(shared.iter().map(each).collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
    };
    let olds = designs(old).map_err(CompareError::Old)?;
    let news = designs(new).map_err(CompareError::New)?;
    let mut notes = notes(old, new, side);
    let mut feet = vec![];
    let mut reports = vec![];
    for (old, new) in olds.into_iter().zip(news) {
        notes.extend(length_note(&old, &new));
        let (report, top) = compare_foot(&old, &new);
        reports.push(report);
        feet.push(ComparedFoot { old, new, top });
    }
    let changes = changes::of_tickets(old, new);
    let history = history(&old.history, &new.history);
    let sides = |ticket: &Ticket| ticket.feet.iter().map(|order| order.side).collect::<Vec<_>>();
    let same = changes.is_empty()
        && history == History::default()
        && reports.iter().all(|foot| foot.same)
        && sides(old) == sides(new);
    let report = Comparison { same, old: named(old), new: named(new), notes, changes, history, feet: reports };
    Ok(Compared { report, feet })
}

fn named(ticket: &Ticket) -> Named {
    Named { ticket: ticket.code.clone(), revision: ticket.revision }
}

/// Feet that are to be compared: asked for, and in both tickets.
fn shared_feet(old: &Ticket, new: &Ticket, side: Option<Side>) -> Result<Vec<Side>, CompareError> {
    let has = |ticket: &Ticket, side: Side| ticket.feet.iter().any(|order| order.side == side);
    let asked = Side::BOTH.into_iter().filter(|foot| side.is_none_or(|side| side == *foot));
    let shared: Vec<Side> = asked.filter(|side| has(old, *side) && has(new, *side)).collect();
    let words = |ticket: &Ticket| {
        let feet: Vec<&str> = ticket.feet.iter().map(|order| order.side.name()).collect();
        format!("the {} foot", feet.join(" and the "))
    };
    if shared.is_empty() { Err(CompareError::NoFoot { old: words(old), new: words(new) }) } else { Ok(shared) }
}

fn notes(old: &Ticket, new: &Ticket, side: Option<Side>) -> Vec<String> {
    let mut notes = vec![];
    if old.code != new.code {
        notes.push(format!("the tickets have other codes: {} and {}", old.code, new.code));
    } else if old.revision > new.revision {
        notes.push(format!("the old ticket is the later one: revision {} against {}", old.revision, new.revision));
    }
    let has = |ticket: &Ticket, side: Side| ticket.feet.iter().any(|order| order.side == side);
    for foot in Side::BOTH.into_iter().filter(|foot| side.is_none_or(|side| side == *foot)) {
        match (has(old, foot), has(new, foot)) {
            (true, false) => notes.push(format!("only the old ticket has a {} foot: it is not compared", foot.name())),
            (false, true) => notes.push(format!("only the new ticket has a {} foot: it is not compared", foot.name())),
            _ => {}
        }
    }
    notes
}

fn length_note(old: &Design, new: &Design) -> Option<String> {
    let length = |design: &Design| design.footbed.places.foot_length_mm;
    let (a, b) = (length(old), length(new));
    (a != b).then(|| {
        format!(
            "the {} foot is {a} mm long in the old ticket and {b} in the new one: surfaces are compared from the rear of \
             the heel, stations are of the new length",
            new.order.side.name()
        )
    })
}

fn history(old: &[PastRevision], new: &[PastRevision]) -> History {
    let entry = |past: &PastRevision| HistoryEntry {
        revision: past.revision,
        date: past.date.clone(),
        change: past.change.clone(),
        reason: past.reason.clone(),
    };
    let not_in = |these: &[PastRevision], those: &[PastRevision]| {
        these.iter().filter(|past| !those.contains(past)).map(entry).collect()
    };
    History { added: not_in(new, old), gone: not_in(old, new) }
}

fn compare_foot(old: &Design, new: &Design) -> (FootComparison, Grid) {
    let field = Field::new(old, new);
    let values = values(old, new);
    let (findings_appeared, findings_gone) =
        (not_among(&new.findings, &old.findings), not_among(&old.findings, &new.findings));
    let (top, thickness) = (field.difference(&field.top), field.difference(&field.thickness));
    let changes = changes::of_feet(old.order, new.order);
    let still = |d: &Difference| d.greatest.mm == 0.0 && d.least.mm == 0.0;
    let same = changes.is_empty()
        && values.values().all(|value| !value.changed)
        && (still(&top) && still(&thickness))
        && (field.areas.only_old_mm2 == 0.0 && field.areas.only_new_mm2 == 0.0)
        && findings_appeared.is_empty()
        && findings_gone.is_empty()
        && old.boot_effect == new.boot_effect;
    let report = FootComparison {
        side: new.order.side,
        same,
        changes,
        values,
        top,
        thickness,
        areas: field.areas,
        boot_effect: boot_effect(&old.boot_effect, &new.boot_effect),
        findings_appeared,
        findings_gone,
        accepted_reason: new.order.reason.clone().filter(|_| !new.accepted().is_empty()),
    };
    (report, field.top)
}

fn values(old: &Design, new: &Design) -> BTreeMap<Value, ValueComparison> {
    let one = |value: Value| {
        let asked = Pair::of(old.order.asked(value), new.order.asked(value));
        let read_back = Pair::of(old.read_back.get(&value).copied(), new.read_back.get(&value).copied());
        let moved = match (read_back.old, read_back.new, read_back.change) {
            (None, None, _) => false,
            (_, _, Some(change)) => change.abs() > ROUNDING,
            _ => true,
        };
        let changed = asked.old != asked.new || moved;
        (value, ValueComparison { asked, read_back, unit: value.unit(), changed })
    };
    Value::ALL.into_iter().map(one).collect()
}

impl Pair {
    fn of(old: Option<f64>, new: Option<f64>) -> Pair {
        Pair { old, new, change: old.zip(new).map(|(old, new)| new - old) }
    }
}

fn boot_effect(old: &BootEffect, new: &BootEffect) -> BTreeMap<&'static str, Pair> {
    [
        ("heel_rise_mm", old.heel_rise_mm, new.heel_rise_mm),
        ("ball_rise_mm", old.ball_rise_mm, new.ball_rise_mm),
        ("ramp_change_deg", old.ramp_change_deg, new.ramp_change_deg),
        ("instep_lift_mm", old.instep_lift_mm, new.instep_lift_mm),
    ]
    .into_iter()
    .map(|(name, old, new)| (name, Pair::of(old, new)))
    .collect()
}

/// The findings of a limit and a weight that the others do not have, or have fewer times. Their
/// numbers and places may move: a finding that stays is the same finding.
fn not_among(these: &[Finding], those: &[Finding]) -> Vec<Finding> {
    let key = |finding: &Finding| (finding.limit, finding.severity);
    let mut left: Vec<_> = those.iter().map(key).collect();
    let mut missing = |finding: &Finding| match left.iter().position(|other| *other == key(finding)) {
        Some(at) => {
            left.remove(at);
            false
        }
        None => true,
    };
    these.iter().filter(|finding| missing(finding)).cloned().collect()
}

/// Differences at the nodes of one lattice.
struct Field {
    top: Grid,
    thickness: Grid,
    /// Which nodes lie inside both outlines.
    common: Vec<bool>,
    areas: Areas,
    foot_length_mm: f64,
}

impl Field {
    fn new(old: &Design, new: &Design) -> Field {
        let (a, b) = (&old.footbed, &new.footbed);
        let (ra, rb) = (a.outline.bounds(), b.outline.bounds());
        let around = Rect { x0: ra.x0.min(rb.x0), y0: ra.y0.min(rb.y0), x1: ra.x1.max(rb.x1), y1: ra.y1.max(rb.y1) };
        let lattice = Lattice::covering(around.grown(BEYOND_MM), STEP_MM);
        let less = |new: &Grid, old: &Grid| Grid {
            lattice,
            z: new.z.iter().zip(&old.z).map(|(new, old)| new - old).collect(),
        };
        let tops = [a, b].map(|footbed| footbed.top.sample(lattice));
        let unders = [a, b].map(|footbed| footbed.underside_sampled(lattice));
        let top = less(&tops[1], &tops[0]);
        let thickness = less(&less(&tops[1], &unders[1]), &less(&tops[0], &unders[0]));
        let inside: Vec<(bool, bool)> = (0..lattice.len())
            .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
            .map(|p| (a.outline.contains(p), b.outline.contains(p)))
            .collect();
        let area = |is: (bool, bool)| STEP_MM * STEP_MM * inside.iter().filter(|i| **i == is).count() as f64;
        Field {
            top,
            thickness,
            areas: Areas {
                common_mm2: area((true, true)),
                only_old_mm2: area((true, false)),
                only_new_mm2: area((false, true)),
            },
            common: inside.iter().map(|(old, new)| *old && *new).collect(),
            foot_length_mm: b.places.foot_length_mm,
        }
    }

    /// A map's figures over the common area.
    fn difference(&self, grid: &Grid) -> Difference {
        let none = Extreme { mm: 0.0, at_mm: [0.0; 2], station: 0.0 };
        let lattice = grid.lattice;
        let (mut sum, mut amount, mut count) = (0.0, 0.0, 0.0);
        let mut ends: Option<(Extreme, Extreme)> = None;
        for (k, (&z, _)) in grid.z.iter().zip(&self.common).enumerate().filter(|(_, (_, common))| **common) {
            let p = lattice.node(k % lattice.nx, k / lattice.nx);
            let here = self.extreme(z, p);
            (sum, amount, count) = (sum + z, amount + z.abs(), count + 1.0);
            let (low, high) = ends.unwrap_or((here, here));
            ends = Some((if z < low.mm { here } else { low }, if z > high.mm { here } else { high }));
        }
        let (least, greatest) = ends.unwrap_or((none, none));
        let mean = |sum: f64| if count > 0.0 { sum / count } else { 0.0 };
        Difference { mean_mm: mean(sum), mean_amount_mm: mean(amount), greatest, least }
    }

    fn extreme(&self, mm: f64, p: Point2) -> Extreme {
        Extreme { mm, at_mm: [p.x, p.y], station: p.y / self.foot_length_mm }
    }
}
