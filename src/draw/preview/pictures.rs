//! The plan of one footbed with its maps, and the cross sections that hang beside it where they are
//! cut. Each is a picture of its own, so that a small screen can put them one below the other.

use svg::node::element::{Anchor as Link, Group, SVG};

use super::PreviewFoot;
use super::apart;
use super::data::{CutPaper, Least, NotePlace, Paper, Places};
use super::stays::stays;
use crate::draw::contours::Contours;
use crate::draw::data::{DrawError, DrawnFoot};
use crate::draw::ink::{self, Anchor};
use crate::draw::marks;
use crate::draw::notes::{self, Numbered};
use crate::draw::plan::{self, Block};
use crate::draw::profile_a;
use crate::draw::section::{Cut, Hung, hung};
use crate::frame::{Point2, Rect};
use crate::grid::contour::simplified;

/// Scales to choose from, 1:n, as on the job sheet with one more between: a high arch needs its width.
const DIVISORS: [f64; 5] = [2.5, 3.0, 3.5, 4.0, 5.0];
/// Paper for the plans' height on a printed sheet, mm.
const PLAN_HEIGHT_MM: f64 = 122.0;
/// And for the width of a pair with its sections.
const PLAN_WIDTH_MM: f64 = 223.5;
/// The movable section is drawn at this scale, 1:n.
const FREE_DIVISOR: f64 = 1.5;
/// Paper on both sides of a section, for upright dimensions, mm.
const SIDE_MM: f64 = 4.5;
/// Where the movable section stands at first, share of the foot's length: between heel and arch,
/// clear of the other planes.
const FREE_SHARE: f64 = 0.28;

/// A picture as text with its size, mm of paper.
pub struct Sheetlet {
    pub svg: String,
    pub width: f64,
    pub height: f64,
    /// Distance of its upper edge from that of the plan, mm of paper.
    pub top: f64,
    pub name: &'static str,
    pub letter: char,
}

/// All pictures of one foot.
pub struct FootPictures {
    pub plan: Sheetlet,
    pub cuts: Vec<Sheetlet>,
    pub free: Sheetlet,
    pub places: Places,
}

impl FootPictures {
    /// Width of the widest section that hangs beside the plan, mm of paper.
    pub fn widest_cut(&self) -> f64 {
        self.cuts.iter().map(|cut| cut.width).fold(0.0, f64::max)
    }
}

/// The largest scale, 1:n, at which every foot fits its paper.
pub fn divisor(feet: &[&DrawnFoot]) -> f64 {
    let fits = |n: &f64| {
        let sizes = feet.iter().filter_map(|foot| Some((foot, plan::alone(foot, *n).ok()?)));
        let sizes: Vec<(f64, f64)> = sizes.map(|(foot, (_, w, h))| (w + cut_width(foot, *n), h)).collect();
        sizes.iter().all(|(_, h)| *h <= PLAN_HEIGHT_MM) && sizes.iter().map(|(w, _)| w).sum::<f64>() <= PLAN_WIDTH_MM
    };
    DIVISORS.into_iter().find(fits).unwrap_or(5.0)
}

/// Draws one foot, where it differs from `saved`, and what cutters leave of it.
pub fn pictures(
    foot: &PreviewFoot,
    list: &[Numbered],
    least: Option<Least>,
    divisor: f64,
    saved: Option<&DrawnFoot>,
) -> Result<FootPictures, DrawError> {
    let (foot, left_mm) = (&foot.drawn, foot.stays.as_ref());
    let thickness = |p: Point2| (foot.top)(p) - (foot.underside)(p);
    let thick = DrawnFoot { top: &thickness, ..foot.clone() };
    let (block, width, height) = plan::alone(foot, divisor)?;
    let (thick_block, ..) = plan::alone(&thick, divisor)?;
    let side = foot.side.name();
    let outline: Vec<Point2> = foot.outline.iter().map(|p| block.at(*p)).collect();
    let outline = simplified(&outline, 0.01);
    let layer = |block: &Block, name: &str| {
        let contours = Contours::named(block, &outline, name);
        (ink::group(&format!("map {name}")).add(contours.lines(&outline)), contours.numbers)
    };
    let (heights, height_numbers) = layer(&block, "heights");
    let (thicknesses, thickness_numbers) = layer(&thick_block, "thickness");
    let group = Group::new().add(profile_a::draw(&block)).add(heights).add(thicknesses);
    let change = saved.and_then(|saved| apart::change(&block, saved));
    let (group, change_numbers) = match change {
        Some((map, numbers)) => (group.add(map), Some(numbers)),
        None => (group, None),
    };
    let (group, stays_number) = match left_mm.map(|left_mm| stays(&block, left_mm, &outline)) {
        Some((map, number)) => (group.add(map), Some(number)),
        None => (group, None),
    };
    let group = group.add(ink::curve("w50 open", &outline, true));
    let group = marks::tabs(&block, marks::hollow(&block, marks::bevel(&block, group)));
    let group = marks::cutting_planes(&block, marks::landmarks(&block, group));
    let group = marks::widths(&block, group).add(marks::side_letter(&block));
    let group = group.add(ink::group("map heights").add(height_numbers));
    let group = group.add(ink::group("map thickness").add(thickness_numbers));
    let group = change_numbers.into_iter().chain(stays_number).fold(group, Group::add);
    let group = least.into_iter().fold(group, |g, least| g.add(least_mark(&block, least)));
    let group = balloons(&block, list, group);
    let svg = picture(&format!("Plan of the {side} footbed, seen from above, toes up"), width, height)
        .set("class", "drawing plan")
        .add(group);
    let cuts = cross_sections(foot, divisor);
    let tops = hang(&block, &cuts, height);
    let free_y = FREE_SHARE * foot.landmarks.foot_length_mm;
    let free = hung(foot, Cut::Free(free_y), FREE_DIVISOR, paper_width(foot, FREE_DIVISOR));
    let (free, free_paper) = free_section(foot, free, free_y);
    let at = block.origin;
    let places = Places {
        medial: block.medial,
        long: Paper { x: block.board_x, y: at.y, scale: block.scale },
        plan: Paper { x: at.x, y: at.y, scale: block.scale },
        cuts: cuts.iter().map(|(cut, h)| cut_paper(*cut, foot, h, divisor)).collect(),
        free: free_paper,
        notes: note_places(foot, list),
    };
    let cuts = cuts.into_iter().zip(tops).map(|((cut, h), top)| sheetlet(foot, cut, h, top)).collect();
    let plan = Sheetlet { svg: svg.to_string(), width, height, top: 0.0, name: "plan", letter: 'P' };
    Ok(FootPictures { plan, cuts, free, places })
}

fn picture(words: &str, width: f64, height: f64) -> SVG {
    SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("role", "group")
        .set("aria-label", words)
        .set("preserveAspectRatio", "xMidYMin meet")
}

fn paper_width(foot: &DrawnFoot, divisor: f64) -> f64 {
    Rect::around(foot.outline).map_or(40.0, |r| r.width() / divisor + 2.0 * SIDE_MM).max(38.0)
}

/// Width of the cross sections beside a plan: their words need 44 mm.
fn cut_width(foot: &DrawnFoot, divisor: f64) -> f64 {
    paper_width(foot, divisor).max(44.0)
}

fn cross_sections(foot: &DrawnFoot, divisor: f64) -> Vec<(Cut, Hung)> {
    let width = cut_width(foot, divisor);
    Cut::ALL.into_iter().rev().filter_map(|cut| Some((cut, hung(foot, cut, divisor, width)?))).collect()
}

fn sheetlet(foot: &DrawnFoot, cut: Cut, h: Hung, top: f64) -> Sheetlet {
    let words = format!("Section {} of the {} footbed, seen from the heel", cut.name(), foot.side.name());
    let svg = picture(&words, h.width, h.height).set("class", "drawing cut").add(h.group);
    Sheetlet { svg: svg.to_string(), width: h.width, height: h.height, top, name: cut.name(), letter: letter(cut) }
}

fn letter(cut: Cut) -> char {
    cut.name().chars().next().unwrap_or('E')
}

fn cut_paper(cut: Cut, foot: &DrawnFoot, h: &Hung, divisor: f64) -> CutPaper {
    CutPaper {
        letter: letter(cut),
        at: cut.station(&foot.landmarks),
        x: h.origin.x,
        y: h.origin.y,
        scale: 1.0 / divisor,
        width: h.width,
        height: h.height,
    }
}

/// Room above the top of any section, mm of paper: the movable one keeps its size as it moves.
const FREE_HEAD_MM: f64 = 6.0;

fn free_section(foot: &DrawnFoot, first: Option<Hung>, y: f64) -> (Sheetlet, CutPaper) {
    let width = paper_width(foot, FREE_DIVISOR);
    let peak = foot.outline.iter().map(|p| (foot.top)(*p)).fold(0.0, f64::max);
    let height = FREE_HEAD_MM + peak / FREE_DIVISOR + 8.0;
    let board = height - 3.0;
    let words = format!("Movable section E-E of the {} footbed, seen from the heel", foot.side.name());
    let mut drawing = picture(&words, width, height).set("class", "drawing cut free");
    let mut origin = Point2::new(width / 2.0, board);
    if let Some(first) = first {
        let down = board - first.board_y;
        origin = Point2::new(first.origin.x, board);
        drawing = drawing.add(first.group.set("transform", format!("translate(0 {})", ink::coarse(down))));
    }
    let paper = CutPaper { letter: 'E', at: y, x: origin.x, y: board, scale: 1.0 / FREE_DIVISOR, width, height };
    (Sheetlet { svg: drawing.to_string(), width, height, top: 0.0, name: "E-E", letter: 'E' }, paper)
}

/// Upper edges of the sections, so that each stands level with its plane and none meets the next.
fn hang(block: &Block, cuts: &[(Cut, Hung)], paper: f64) -> Vec<f64> {
    let level = |cut: &Cut| block.at(Point2::new(0.0, cut.station(&block.foot.landmarks))).y;
    let mut tops: Vec<f64> = Vec::new();
    let mut free = 0.0_f64;
    for (cut, h) in cuts {
        let top = (level(cut) - h.height / 2.0).max(free);
        free = top + h.height;
        tops.push(top);
    }
    let mut end = paper;
    for (top, (_, h)) in tops.iter_mut().zip(cuts).rev() {
        *top = top.min(end - h.height);
        end = *top;
    }
    tops
}

/// The thinnest place, a small diamond with its number.
fn least_mark(b: &Block, least: Least) -> Group {
    let at = b.at(Point2::new(least.x, least.y));
    let corner = |dx: f64, dy: f64| Point2::new(at.x + dx, at.y + dy);
    let diamond = [corner(0.0, -1.3), corner(1.3, 0.0), corner(0.0, 1.3), corner(-1.3, 0.0)];
    let words = format!("least {:.2}", least.mm);
    // Toward the middle of the footbed there is room for words.
    let middle = b.at(Point2::new((b.rect.x0 + b.rect.x1) / 2.0, 0.0)).x;
    let (x, anchor) = if at.x > middle { (at.x - 2.0, Anchor::End) } else { (at.x + 2.0, Anchor::Start) };
    ink::group("least").add(ink::shape("body", &diamond)).add(ink::label(
        "t b halo",
        Point2::new(x, at.y + 0.9),
        anchor,
        words,
    ))
}

/// Balloons that lead to the list of notes.
fn balloons(b: &Block, list: &[Numbered], group: Group) -> Group {
    let side = b.foot.side.letter();
    marks::placed_balloons(b, list).iter().fold(group, |group, placed| {
        let (note, severity) = (placed.note, placed.note.row.severity);
        let link = Link::new()
            .set("href", format!("#note-{}", note.number))
            .set("id", format!("place-{}-{side}", note.number))
            .set("class", "place")
            .set("aria-label", format!("{} {} at this place", severity.name(), note.number))
            .add(ink::circle("touch", placed.at, 3.4))
            .add(notes::balloon(severity, note.number, placed.at));
        marks::leader(b, placed, group).add(link)
    })
}

fn note_places(foot: &DrawnFoot, list: &[Numbered]) -> Vec<NotePlace> {
    let mine = list.iter().flat_map(|n| n.at.iter().map(move |at| (n.number, at)));
    let mine = mine.filter(|(_, (side, _))| *side == foot.side);
    mine.filter_map(|(number, (_, at))| at.map(|p| NotePlace { number, x: p.x, y: p.y })).collect()
}
