//! The plan of the job sheet: one footbed or the pair from above, toes up, medial edges facing each
//! other, with contour lines, landmarks, cutting planes, dimensions and balloons. Each plan has its
//! long section A-A beside it at the same scale. Knows nothing of tables.

use crate::grid::contour::simplified;
use svg::node::element::{Group, SVG};

use super::contours::Contours;
use super::data::{DrawError, DrawnFoot};
use super::ink::{self, Anchor};
use super::marks;
use super::notes::Numbered;
use super::profile_a;
use crate::frame::{Placement, Point2, Rect, bench_from_foot};
use crate::grid::{Grid, Lattice};

/// Paper above the toes: a dimension line and the end of plane A.
const HEAD_MM: f64 = 11.0;
/// Paper below the heels: a dimension line and the end of plane A.
const FOOT_MM: f64 = 11.0;
/// Paper beside the lateral edge: letters of the planes, then balloons.
pub const LATERAL_MM: f64 = 13.5;
/// Between the medial edge and the tallest point of section A-A.
const MEDIAL_MM: f64 = 4.5;
/// Behind the boot board of A-A: words of thicknesses and the length.
const BEHIND_MM: f64 = 9.6;

/// Scales to choose from, as 1:n. ISO 5455 recommends 1:2 and 1:5 and lets the series be extended
/// [from memory]; the steps between them keep a long footbed as large as the sheet allows.
const DIVISORS: [f64; 5] = [2.0, 2.5, 3.0, 4.0, 5.0];

/// A finished picture and its size, mm of paper.
pub struct Picture {
    /// The SVG element, ready for the page.
    pub svg: String,
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
    /// Scale 1:n.
    pub divisor: f64,
}

/// Where one footbed lies on the paper.
pub struct Block<'a> {
    /// What is drawn.
    pub foot: &'a DrawnFoot<'a>,
    place: Placement,
    /// +1 when medial is to the right on paper.
    pub medial: f64,
    /// mm of paper per mm.
    pub scale: f64,
    /// The foot frame's origin on paper.
    pub origin: Point2,
    /// Extent of the outline in the foot frame.
    pub rect: Rect,
    /// Heights of the top on a lattice of 1 mm, NaN outside the outline.
    pub heights: Grid,
    /// Greatest height, mm.
    pub peak: f64,
    /// x of the boot board in section A-A.
    pub board_x: f64,
}

impl Block<'_> {
    /// Where a place of the foot frame lies on paper.
    pub fn at(&self, p: Point2) -> Point2 {
        let bench = self.place.place(p);
        Point2::new(self.origin.x + self.scale * bench.x, self.origin.y - self.scale * bench.y)
    }

    /// Which place of the foot frame lies at a place of the paper.
    pub fn on_foot(&self, p: Point2) -> Point2 {
        let bench = Point2::new((p.x - self.origin.x) / self.scale, (self.origin.y - p.y) / self.scale);
        self.place.unplace(bench)
    }

    /// Where a height above station y lies in section A-A.
    pub fn in_a(&self, y: f64, z: f64) -> Point2 {
        Point2::new(self.board_x - self.medial * self.scale * z, self.origin.y - self.scale * y)
    }

    /// The x of paper `mm` outside the lateral edge.
    pub fn lateral(&self, mm: f64) -> f64 {
        self.at(Point2::new(self.rect.x0, 0.0)).x - self.medial * mm
    }
}

/// Draws the plan into `room_mm` (width, height) of paper, at the largest scale that fits.
pub fn plan(feet: &[DrawnFoot], list: &[Numbered], room_mm: (f64, f64)) -> Result<Picture, DrawError> {
    let surveys: Vec<Survey> = feet.iter().map(survey).collect::<Result<_, _>>()?;
    let last = DIVISORS.last().copied().unwrap_or(5.0);
    let fits = |n: &f64| {
        let (w, h) = size(&surveys, 1.0 / n);
        w <= room_mm.0 && h <= room_mm.1
    };
    let divisor = DIVISORS.into_iter().find(fits).unwrap_or(last);
    let (width, height) = size(&surveys, 1.0 / divisor);
    let blocks = arrange(surveys, 1.0 / divisor, height);
    let mut drawing = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing plan")
        .set("role", "img")
        .add(ink::title("Plan seen from above, toes up, with section A-A along the long axis"));
    for block in &blocks {
        drawing = drawing.add(profile_a::draw(block)).add(draw_block(block, list));
    }
    drawing = drawing.add(view_words(&blocks, width));
    Ok(Picture { svg: drawing.to_string(), width, height, divisor })
}

/// One footbed alone on paper at 1:`divisor`, with the paper's width and height, mm.
pub fn alone<'a>(foot: &'a DrawnFoot<'a>, divisor: f64) -> Result<(Block<'a>, f64, f64), DrawError> {
    let surveys = vec![survey(foot)?];
    let (width, height) = size(&surveys, 1.0 / divisor);
    let block = arrange(surveys, 1.0 / divisor, height).pop();
    block.map(|block| (block, width, height)).ok_or(DrawError::Feet { count: 0 })
}

/// From where one looks: between the two feet, or beside plane A of one.
fn view_words(blocks: &[Block], width: f64) -> svg::node::element::Text {
    let words = "seen from above";
    match blocks {
        [b] => {
            let axis = b.at(b.foot.landmarks.heel_centre).x;
            let anchor = if b.medial > 0.0 { Anchor::End } else { Anchor::Start };
            ink::label("t soft", Point2::new(axis - b.medial * 6.0, 2.9), anchor, words)
        }
        _ => ink::label("t soft", Point2::new(width / 2.0, 2.9), Anchor::Middle, words),
    }
}

/// A foot with what must be known before it can be laid out.
struct Survey<'a> {
    foot: &'a DrawnFoot<'a>,
    rect: Rect,
    heights: Grid,
    peak: f64,
}

fn survey<'a>(foot: &'a DrawnFoot<'a>) -> Result<Survey<'a>, DrawError> {
    let short = DrawError::ShortOutline { side: foot.side, count: foot.outline.len() };
    let rect = Rect::around(foot.outline).ok_or(short)?;
    // One more ring than the outline needs, so that contours close outside it.
    let lattice = Lattice::covering(rect.grown(2.0), 1.0);
    let heights = Grid::from_fn(lattice, foot.top);
    let inside = inside_nodes(foot.outline, &lattice);
    let mut peak = 0.0_f64;
    for (k, _) in inside.iter().enumerate().filter(|(_, i)| **i) {
        let z = heights.z.get(k).copied().unwrap_or(f64::NAN);
        let below = (foot.underside)(lattice.node(k % lattice.nx, k / lattice.nx));
        if !(z.is_finite() && below.is_finite()) {
            return Err(DrawError::NotFinite { side: foot.side, what: "a height inside the outline" });
        }
        peak = peak.max(z);
    }
    Ok(Survey { foot, rect, heights, peak })
}

/// Which nodes lie inside the outline (even-odd along each row).
pub fn inside_nodes(outline: &[Point2], lattice: &Lattice) -> Vec<bool> {
    let mut inside = Vec::with_capacity(lattice.len());
    for j in 0..lattice.ny {
        let cuts = crossings_at(outline, lattice.node(0, j).y);
        inside.extend((0..lattice.nx).map(|i| {
            let x = lattice.node(i, j).x;
            cuts.iter().filter(|c| **c <= x).count() % 2 == 1
        }));
    }
    inside
}

/// The x at which the outline crosses the level `y`, ascending.
pub fn crossings_at(outline: &[Point2], y: f64) -> Vec<f64> {
    let next = outline.iter().cycle().skip(1);
    let mut xs: Vec<f64> = outline
        .iter()
        .zip(next)
        .filter(|(a, b)| (a.y < y) != (b.y < y))
        .map(|(a, b)| a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y))
        .collect();
    xs.sort_by(f64::total_cmp);
    xs
}

fn block_width(s: &Survey, scale: f64) -> f64 {
    LATERAL_MM + scale * s.rect.width() + MEDIAL_MM + scale * s.peak + BEHIND_MM
}

fn size(surveys: &[Survey], scale: f64) -> (f64, f64) {
    let width = surveys.iter().map(|s| block_width(s, scale)).sum();
    let top = surveys.iter().map(|s| s.rect.y1).fold(f64::NEG_INFINITY, f64::max);
    let low = surveys.iter().map(|s| s.rect.y0).fold(f64::INFINITY, f64::min);
    (width, HEAD_MM + scale * (top - low) + FOOT_MM)
}

/// Lays the footbeds side by side, the one whose medial edge faces right first.
fn arrange(surveys: Vec<Survey>, scale: f64, height: f64) -> Vec<Block> {
    let low = surveys.iter().map(|s| s.rect.y0).fold(f64::INFINITY, f64::min);
    let base = height - FOOT_MM + scale * low;
    let medial_of = |s: &Survey| bench_from_foot(s.foot.side).place(Point2::new(1.0, 0.0)).x;
    let mut surveys = surveys;
    surveys.sort_by(|a, b| medial_of(b).total_cmp(&medial_of(a)));
    let mut cursor = 0.0;
    let mut blocks = Vec::new();
    for s in surveys {
        let (medial, width) = (medial_of(&s), block_width(&s, scale));
        let lateral_x = if medial > 0.0 { cursor + LATERAL_MM } else { cursor + width - LATERAL_MM };
        let board_x = if medial > 0.0 { cursor + width - BEHIND_MM } else { cursor + BEHIND_MM };
        blocks.push(Block {
            place: bench_from_foot(s.foot.side),
            origin: Point2::new(lateral_x - medial * scale * s.rect.x0, base),
            foot: s.foot,
            medial,
            scale,
            rect: s.rect,
            heights: s.heights,
            peak: s.peak,
            board_x,
        });
        cursor += width;
    }
    blocks
}

fn draw_block(b: &Block, list: &[Numbered]) -> Group {
    let outline: Vec<Point2> = b.foot.outline.iter().map(|p| b.at(*p)).collect();
    let outline = simplified(&outline, 0.01);
    let contours = Contours::of(b, &outline);
    let group = ink::group("foot").add(contours.lines(&outline));
    let group = group.add(ink::curve("w50 open", &outline, true));
    let group = marks::tabs(b, marks::hollow(b, marks::bevel(b, group)));
    let group = marks::cutting_planes(b, marks::landmarks(b, group));
    marks::balloons(b, list, marks::widths(b, group).add(marks::side_letter(b))).add(contours.numbers)
}
