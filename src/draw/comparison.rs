//! Two tickets on one page: maps of what the surface gains and loses, sections old and new, and what
//! changed in words. It is handed surfaces and words as plain data; it does not know how two tickets
//! are compared.

use serde::Serialize;

use super::against::{self, Against};
use super::data::DrawError;
use super::differences::Extremes;
use super::diverging::Steps;
use super::fit::fitting;
use super::ink;
use super::mapped::{self, Legend, Mapped};
use super::plan::Picture;
use super::sheet::render;
use super::tables;
use crate::frame::Side;

const PAGE: &str = include_str!("templates/comparison.html");
const STYLE: &str = concat!(
    include_str!("templates/drawing.css"),
    include_str!("templates/ink.css"),
    include_str!("templates/drawing-small.css")
);
const MAP_STYLE: &str = include_str!("templates/map.css");

/// The frame, mm: the job sheet's.
const SHEET_MM: (f64, f64) = (263.0, 193.5);
/// The maps may take this much, mm: of a pair, and of one foot.
const PAIR_MAPS_MM: (f64, f64) = (150.0, 154.0);
const ONE_MAP_MM: (f64, f64) = (84.0, 152.0);
/// Cross sections of a pair stand this wide each and this high in all, mm; those of one foot.
const PAIR_CUTS_MM: (f64, f64) = (54.0, 72.0);
const ONE_CUTS_MM: (f64, f64) = (104.0, 110.0);
/// Height of a line of words, mm, as the style sheet sets it.
const ROW_MM: f64 = 3.1;

/// One of the two tickets.
#[derive(Clone, Copy)]
#[allow(missing_docs)]
pub struct ComparedTicket<'a> {
    pub code: &'a str,
    pub revision: u32,
    /// SHA-256 of the ticket, hexadecimal.
    pub sha256: &'a str,
}

/// A row of the table: what, and its numbers of each foot in the order of the maps.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ComparedRow {
    pub words: String,
    pub unit: &'static str,
    /// Whether a rule stands above it.
    pub first: bool,
    pub feet: Vec<ComparedCell>,
}

/// The numbers of one foot.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct ComparedCell {
    pub old: String,
    pub new: String,
    pub change: String,
    pub changed: bool,
}

/// What changed in words.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct ComparedLine {
    pub label: String,
    pub words: String,
}

/// One comparison.
#[derive(Clone)]
pub struct ComparisonData<'a> {
    /// The one before.
    pub old: ComparedTicket<'a>,
    /// The one after.
    pub new: ComparedTicket<'a>,
    /// One or two feet: the new surface as the thick line and its outline, the old one as the other.
    pub feet: Vec<Mapped<'a>>,
    /// Differences of up to this have no colour, mm.
    pub neutral_mm: f64,
    /// Values, boot and surface.
    pub rows: Vec<ComparedRow>,
    /// Everything else.
    pub lines: Vec<ComparedLine>,
    /// Above the lines.
    pub heading: String,
}

/// The comparison as one HTML page without scripts or outside resources.
pub fn comparison_html(data: &ComparisonData) -> Result<String, DrawError> {
    let feet = &data.feet;
    if feet.is_empty() || feet.len() > 2 {
        return Err(DrawError::Feet { count: feet.len() });
    }
    let pair = feet.len() > 1;
    let steps = Steps::covering(most_mm(feet), data.neutral_mm);
    let room = if pair { PAIR_MAPS_MM } else { ONE_MAP_MM };
    let divisor = mapped::divisor(feet, room);
    let against: Vec<Against> = feet.iter().filter_map(|m| m.against).collect();
    let cuts = if pair { PAIR_CUTS_MM } else { ONE_CUTS_MM };
    let cuts_divisor = against::divisor(&against, cuts.0, cuts.1);
    let times = against::exaggeration(&against, 1.0 / cuts_divisor);
    let plans: Vec<Picture> = feet.iter().map(|m| mapped::picture(m, &steps, divisor, times)).collect();
    let sections: Vec<Picture> = against.iter().map(|a| against::sections(a, cuts.0, cuts_divisor, times)).collect();
    let plan_w = plans.iter().map(|p| p.width).sum::<f64>() + 2.0;
    let tall = plans.iter().map(|p| p.height).fold(0.0, f64::max);
    let beside = SHEET_MM.0 - plan_w - 3.0;
    let wide = if pair { beside } else { beside - cuts.0 - 3.0 };
    let neutral = format!("within \u{b1}{}", ink::coarse(steps.neutral_mm));
    let legend =
        Legend { steps: &steps, words: "Top surface, new less old", neutral: &neutral, lines: ["old", "new"], times };
    let legend = mapped::legend(&legend, wide - 2.4);
    let lines_mm = if pair { plan_w } else { SHEET_MM.0 - 112.0 };
    let lines = lines(&data.lines, 0.5 * (lines_mm - 6.0), SHEET_MM.1 - tall - 4.4);
    let page = Page {
        width_mm: SHEET_MM.0,
        height_mm: SHEET_MM.1,
        layout: if pair { "pair" } else { "single" },
        sides: feet.iter().map(|m| m.map.side.letter()).collect(),
        side_words: side_words(feet),
        scale: format!("1:{divisor}"),
        old: Who::of(&data.old),
        new: Who::of(&data.new),
        plan_w: ink::coarse(plan_w),
        plans: plans.into_iter().map(Drawn::of).collect(),
        sections_w: ink::coarse(if pair { beside } else { cuts.0 + 1.0 }),
        sections: sections.into_iter().map(Drawn::of).collect(),
        legend: Drawn::of(legend),
        values: &data.rows,
        more: lines.iter().filter(|line| line.overflow).count(),
        lines,
        heading: &data.heading,
        style: STYLE,
        map_style: MAP_STYLE,
    };
    render("comparison.html", PAGE, &page)
}

/// The greatest difference of all maps, so that both feet have one scale.
fn most_mm(feet: &[Mapped]) -> f64 {
    feet.iter().filter_map(|m| m.map.extremes()).map(|e: Extremes| e.most_mm()).fold(0.0, f64::max)
}

fn side_words(feet: &[Mapped]) -> &'static str {
    match feet.first().map(|m| m.map.side) {
        _ if feet.len() > 1 => "left and right",
        Some(Side::Left) => "left foot",
        _ => "right foot",
    }
}

/// The lines with those marked that two columns of this width and height do not hold on paper.
fn lines(all: &[ComparedLine], width_mm: f64, height_mm: f64) -> Vec<Line<'_>> {
    let told: Vec<String> = all.iter().map(|line| format!("{} {}", line.label, line.words)).collect();
    // Lines are not broken between columns, so that one of them may end short.
    let room = 2.0 * (height_mm - 1.5 * ROW_MM) - 2.0 * ROW_MM;
    let fits = fitting(told.iter().map(String::as_str), width_mm, room, ink::SMALL_MM, ROW_MM);
    all.iter().zip(fits).map(|(line, fits)| Line { label: &line.label, words: &line.words, overflow: !fits }).collect()
}

#[derive(Serialize)]
struct Line<'a> {
    label: &'a str,
    words: &'a str,
    overflow: bool,
}

#[derive(Serialize)]
struct Who<'a> {
    code: &'a str,
    size: String,
    revision: u32,
    sum: String,
}

impl<'a> Who<'a> {
    fn of(ticket: &ComparedTicket<'a>) -> Who<'a> {
        Who {
            code: ticket.code,
            size: ink::coarse(ink::fitted(ticket.code, 3.6, 52.0)),
            revision: ticket.revision,
            sum: tables::short(ticket.sha256),
        }
    }
}

#[derive(Serialize)]
struct Drawn {
    svg: String,
    width: String,
}

impl Drawn {
    fn of(picture: Picture) -> Drawn {
        Drawn { svg: picture.svg, width: ink::coarse(picture.width) }
    }
}

#[derive(Serialize)]
struct Page<'a> {
    width_mm: f64,
    height_mm: f64,
    layout: &'static str,
    sides: Vec<char>,
    side_words: &'static str,
    scale: String,
    old: Who<'a>,
    new: Who<'a>,
    plan_w: String,
    plans: Vec<Drawn>,
    sections_w: String,
    sections: Vec<Drawn>,
    legend: Drawn,
    values: &'a [ComparedRow],
    lines: Vec<Line<'a>>,
    more: usize,
    heading: &'a str,
    style: &'static str,
    map_style: &'static str,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::against::Surface;
    use crate::draw::differences::Differences;
    use crate::draw::sample::Sample;
    use crate::frame::{Point2, Rect};
    use crate::grid::{Grid, Lattice};

    /// Differences as ragged as a bad scan's: noise of half a millimetre on a lattice of 0.5 mm.
    fn ragged(sample: &Sample) -> Grid {
        let rect = Rect::around(&sample.outline).expect("an outline");
        let lattice = Lattice::covering(rect.grown(2.0), 0.5);
        let mut seed = 7_u64;
        let mut noise = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 40) as f64 / f64::from(1 << 24) - 0.5
        };
        Grid { lattice, z: (0..lattice.len()).map(|_| noise()).collect() }
    }

    fn page(sides: &[Side], grid: &Grid, sample: &Sample, lines: usize) -> Result<String, DrawError> {
        let landmarks = sample.landmarks();
        let (old, flat) = (|p: Point2| Some(sample.top(p)), |_: Point2| Some(0.0));
        let new = |p: Point2| Some(sample.top(p) + grid.sample(p)?);
        let (outline, other) = (sample.outline.as_slice(), None);
        let foot = |side: &Side| Mapped {
            map: Differences { side: *side, outline, other, grid, landmarks: &landmarks },
            against: Some(Against {
                side: *side,
                outline,
                other,
                landmarks: &landmarks,
                thin: Surface { top: &old, underside: &flat },
                thick: Surface { top: &new, underside: &flat },
            }),
        };
        let ticket = |revision| ComparedTicket { code: "<b>P</b>", revision, sha256: "5f2c0a9d7e31" };
        let line = |k: usize| ComparedLine { label: format!("note {k}"), words: "words ".repeat(20) };
        comparison_html(&ComparisonData {
            old: ticket(1),
            new: ticket(2),
            feet: sides.iter().map(foot).collect(),
            neutral_mm: 0.1,
            rows: vec![],
            lines: (0..lines).map(line).collect(),
            heading: "What else changed".into(),
        })
    }

    #[test]
    fn the_most_ragged_pair_is_small_and_well_formed() {
        let sample = Sample::of_length(290.0);
        let grid = ragged(&sample);
        for sides in [&Side::BOTH[..], &[Side::Right]] {
            let html = page(sides, &grid, &sample, 3).expect("a page");
            assert!(html.len() < 250_000, "{} bytes", html.len());
            assert!(html.contains("lines averaged over") && !html.contains("NaN") && !html.contains("<b>P"));
            let pictures: Vec<&str> = html.split("<svg").skip(1).filter_map(|t| t.split("</svg>").next()).collect();
            assert_eq!(pictures.len(), 2 * sides.len() + 1);
            for picture in pictures {
                let svg = format!("<svg{picture}</svg>");
                usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("well-formed SVG");
            }
        }
    }

    #[test]
    fn what_paper_does_not_hold_is_counted() {
        let sample = Sample::of_length(270.0);
        let grid = ragged(&sample);
        let few = page(&Side::BOTH, &grid, &sample, 3).expect("a page");
        assert!(!few.contains("more on screen"));
        let many = page(&Side::BOTH, &grid, &sample, 80).expect("a page");
        let off = many.matches("<p class=\"overflow\">").count();
        assert!(off > 40 && off < 80 && many.contains(&format!("{off} more on screen")) && many.contains("note 79"));
    }

    #[test]
    fn no_foot_is_an_error() {
        let sample = Sample::of_length(270.0);
        let grid = ragged(&sample);
        assert!(matches!(page(&[], &grid, &sample, 0), Err(DrawError::Feet { count: 0 })));
    }
}
