//! How the pieces lie, in words of `job.json` and for the sheet's picture.

use std::collections::BTreeMap;

use serde::Serialize;

use super::lay::gap_mm;
use super::programs::{Written, turn};
use super::{MadeFoot, nest};
use crate::draw::{LaidFoot, LayData};
use crate::frame::{Point2, Side};
use crate::ticket::{Laying, Make, Ticket};

/// How the pieces lie in their blank. Lengths in mm, places in program coordinates.
#[derive(Clone, Debug, Serialize)]
pub struct LayReport {
    /// `each` or `pair`.
    pub blanks: &'static str,
    /// Width, length, height of the blank.
    pub blank_mm: [f64; 3],
    /// Least distance that was kept between the pieces of a pair.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gap_mm: Option<f64>,
    /// Distance of the two outlines as they lie.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub apart_mm: Option<f64>,
    /// What stands on the bed.
    pub clamps: Vec<ClampReport>,
    /// Each foot.
    pub feet: BTreeMap<Side, LaidReport>,
    /// All programs in the order they are run.
    pub order: Vec<String>,
}

/// A clamp's box.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct ClampReport {
    pub x_mm: [f64; 2],
    pub y_mm: [f64; 2],
    pub height_mm: f64,
}

/// Where one foot lies.
#[derive(Clone, Debug, Serialize)]
pub struct LaidReport {
    /// Where the origin of the bench frame lies in the blank.
    pub offset_mm: [f64; 2],
    /// Whether its toes point to -Y.
    pub half_turned: bool,
    /// What is engraved beside it, and the box that takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mark: Option<MarkReport>,
}

/// A mark in the waste.
#[derive(Clone, Debug, Serialize)]
#[allow(missing_docs)]
pub struct MarkReport {
    pub words: String,
    pub x_mm: [f64; 2],
    pub y_mm: [f64; 2],
    /// Height of the cutter's tip.
    pub z_mm: f64,
}

/// The report; `None` where each foot lies plainly in the middle of a blank of its own.
pub(super) fn report(ticket: &Ticket, feet: &[MadeFoot]) -> Option<LayReport> {
    let make = &ticket.make;
    let plain = make.laying == Laying::Each && make.clamps.is_empty() && feet.iter().all(|f| f.lay.mark.is_none());
    if plain {
        return None;
    }
    let pair = make.laying == Laying::Pair;
    let outline = |foot: &MadeFoot| foot.design.footbed.outline.placed(foot.lay.top);
    let apart = match feet {
        [a, b] if pair => Some(nest::apart_mm(&outline(a), &outline(b))),
        _ => None,
    };
    Some(LayReport {
        blanks: if pair { "pair" } else { "each" },
        blank_mm: [make.blank.width_mm, make.blank.length_mm, make.blank.height_mm],
        gap_mm: pair.then(|| gap_mm(make)),
        apart_mm: apart.map(|mm| (mm * 1000.0).round() / 1000.0),
        clamps: clamps(make),
        feet: feet.iter().map(|foot| (foot.lay.side, laid(foot))).collect(),
        order: in_order(ticket, feet).iter().map(|(_, written)| written.file.clone()).collect(),
    })
}

fn clamps(make: &Make) -> Vec<ClampReport> {
    let report = |clamp: &crate::ticket::Clamp| ClampReport {
        x_mm: [clamp.rect.x0, clamp.rect.x1],
        y_mm: [clamp.rect.y0, clamp.rect.y1],
        height_mm: clamp.height_mm,
    };
    make.clamps.iter().map(report).collect()
}

fn laid(foot: &MadeFoot) -> LaidReport {
    let origin = foot.lay.top.place(Point2::origin());
    let mark = foot.lay.mark.as_ref().map(|mark| MarkReport {
        words: mark.words.clone(),
        x_mm: [mark.rect.x0, mark.rect.x1],
        y_mm: [mark.rect.y0, mark.rect.y1],
        z_mm: mark.z_mm,
    });
    LaidReport { offset_mm: [origin.x, origin.y], half_turned: foot.lay.half_turned(), mark }
}

/// All programs in the order they are run: foot by foot, or, where two feet share a blank, both feet
/// by one cutter before the next, as each cutter is then set once.
pub(super) fn in_order<'a>(ticket: &Ticket, feet: &'a [MadeFoot]) -> Vec<(Side, &'a Written)> {
    let of_foot =
        |foot: &'a MadeFoot| foot.cut.iter().flat_map(|cut| &cut.written).map(|written| (foot.lay.side, written));
    let mut all: Vec<_> = feet.iter().flat_map(of_foot).collect();
    if ticket.make.laying == Laying::Pair {
        all.sort_by_key(|(_, written)| turn(written.face, written.step));
    }
    all
}

/// What the sheet shows of a pair's lay.
pub(super) fn picture(ticket: &Ticket, feet: &[MadeFoot]) -> Option<LayData> {
    let make = &ticket.make;
    let report = report(ticket, feet).filter(|_| make.laying == Laying::Pair)?;
    let foot = |foot: &MadeFoot| LaidFoot {
        side: foot.lay.side,
        outline: foot.design.footbed.outline.placed(foot.lay.top).points().to_vec(),
        toes_down: foot.lay.half_turned(),
        mark: foot.lay.mark.as_ref().map(|mark| mark.strokes.clone()).unwrap_or_default(),
    };
    let apart = report.apart_mm.map_or(String::new(), |mm| format!("{mm:.1} mm apart; "));
    let marks: Vec<&str> = feet.iter().filter_map(|foot| Some(foot.lay.mark.as_ref()?.words.as_str())).collect();
    let marked = if marks.is_empty() { "nothing engraved".into() } else { format!("engraved {}", marks.join(", ")) };
    let highest = make.clamps.iter().map(|clamp| clamp.height_mm).fold(0.0, f64::max);
    let clamps = match make.clamps.len() {
        0 => "no clamps on the ticket: hold it down from below".to_string(),
        n => format!("{n} clamps, the highest {highest} mm above the bed"),
    };
    Some(LayData {
        blank_mm: [make.blank.width_mm, make.blank.length_mm],
        feet: feet.iter().map(foot).collect(),
        clamps: make.clamps.iter().map(|clamp| clamp.rect).collect(),
        words: format!("{apart}{marked}; {clamps}. Both feet by one cutter, then change it."),
    })
}
