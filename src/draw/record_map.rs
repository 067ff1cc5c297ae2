//! The part of an inspection record that a scan adds: the map of deviations, sections made against
//! asked, and how to read them. Knows nothing of how a scan was judged.

use serde::Serialize;

use super::against::{self, Against, Surface};
use super::differences::{Differences, place_words, signed};
use super::diverging::Steps;
use super::ink;
use super::mapped::{self, Legend, Mapped};
use super::record::RecordData;
use crate::frame::Point2;
use crate::grid::Grid;

/// Room for the map with section A-A on paper, mm wide: the rest is for cross sections and words.
const MAP_WIDE_MM: f64 = 84.0;
/// Between the two columns, mm.
const GAP_MM: f64 = 4.0;
/// Cross sections take no more height than this, mm, so that words keep theirs.
const CUTS_MM: f64 = 80.0;

/// What a scan showed of a piece, all in the foot frame of its ticket, mm.
#[derive(Clone, Copy)]
pub struct RecordMap<'a> {
    /// Made less asked, along the normal or upright as `words` says; NaN where there is no data.
    pub deviation: &'a Grid,
    /// What the deviation is, such as `Made less asked, along the normal`.
    pub words: &'a str,
    /// Up to this either way is accepted.
    pub tolerance_mm: f64,
    /// The design's heights, known within its outline.
    pub asked: Surface<'a>,
    /// The piece's heights, where it was seen.
    pub made: Surface<'a>,
}

/// The part as the page takes it; sizes in mm of paper.
#[derive(Serialize)]
pub struct MapPart {
    pub plan: String,
    pub plan_mm: String,
    pub cuts: String,
    pub legend: String,
    pub beside_mm: String,
    pub scale: String,
    /// The greatest and the least deviation with their places.
    pub places: Vec<String>,
    /// Height that is left beside the map for words, mm.
    #[serde(skip)]
    pub words_mm: f64,
}

/// Draws the part into a page `width_mm` wide with `height_mm` left for it.
pub fn part(data: &RecordData, map: &RecordMap, width_mm: f64, height_mm: f64) -> MapPart {
    let side = data.inspection.side;
    let differences =
        Differences { side, outline: data.outline, other: None, grid: map.deviation, landmarks: data.landmarks };
    let against = Against {
        side,
        outline: data.outline,
        other: None,
        landmarks: data.landmarks,
        thin: map.asked,
        thick: map.made,
    };
    let extremes = differences.extremes();
    let steps = Steps::covering(extremes.map_or(0.0, |e| e.most_mm()), map.tolerance_mm);
    let mapped = Mapped { map: differences, against: Some(against) };
    let divisor = mapped::divisor(&[mapped], (MAP_WIDE_MM, height_mm));
    let beside = width_mm - mapped.size_mm(divisor).0 - GAP_MM;
    let cuts_divisor = against::divisor(&[against], beside, CUTS_MM);
    let times = against::exaggeration(&[against], 1.0 / cuts_divisor);
    let plan = mapped::picture(&mapped, &steps, divisor, times);
    let cuts = against::sections(&against, beside, cuts_divisor, times);
    let neutral = format!("accepted, \u{b1}{}", ink::coarse(steps.neutral_mm));
    let legend = Legend { steps: &steps, words: map.words, neutral: &neutral, lines: ["asked", "made"], times };
    let legend = mapped::legend(&legend, beside);
    let length = data.landmarks.foot_length_mm;
    let place = |(mm, at): (f64, Point2)| format!("{} at {}", signed(mm), place_words(at.y / length, at.x));
    MapPart {
        plan_mm: ink::coarse(plan.width),
        beside_mm: ink::coarse(beside),
        scale: format!("1:{divisor}"),
        places: extremes.map_or(vec![], |e| vec![place(e.greatest), place(e.least)]),
        words_mm: height_mm.max(plan.height) - cuts.height - legend.height - 3.0,
        plan: plan.svg,
        cuts: cuts.svg,
        legend: legend.svg,
    }
}
