//! Where the footbeds of a job lie in their blanks, clamping after clamping: alone or as a pair,
//! clear of clamps. Knows outlines, blanks and how far cutters reach; knows neither heights nor
//! paths.

use super::design::Design;
use super::marks::{self, Mark};
use super::nest::{self, Nest};
use super::target::blank_top_mm;
use super::turning;
use crate::carve::KeepOut;
use crate::curve::Outline;
use crate::frame::{Placement, Point2, Rect, Side, Vector3, bench_from_foot};
use crate::limits::{self, Finding};
use crate::path::{Cutting, Reach, reaches};
use crate::profile::Blank;
use crate::ticket::{Clamp, Laying, Make, Marks, Underside};

/// The wall that must stand between the grooves of a pair, so that the tabs of both have something
/// to hold to, mm: half as wide as a usual tab is long (shop's own choice).
const WALL_MM: f64 = 4.0;
/// Kept between what any cutter sweeps and what it must not touch, mm: links between passes stray a
/// little from the region (shop's own choice).
const CLEAR_MM: f64 = 2.0;

/// The side of the footbed that a program cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    /// The side the foot stands on.
    Top,
    /// The side that lies on the boot board.
    Under,
}

impl Face {
    /// The word for it in file names and in `job.json`.
    pub fn name(self) -> &'static str {
        match self {
            Face::Top => "top",
            Face::Under => "under",
        }
    }
}

/// How one footbed lies in its blank.
#[derive(Clone, Debug, PartialEq)]
pub struct Lay {
    /// Which foot.
    pub side: Side,
    /// The foot frame in the mill frame while the top is cut: underside on the bed, z = 0.
    pub top: Placement,
    /// The foot frame in the mill frame while the underside is cut: the blank is turned over, its
    /// underside up at z = the blank's height. `None` when no program cuts the underside.
    pub under: Option<Placement>,
    /// What its programs must not touch: clamps, and the other piece in the same blank.
    pub keep_out: Vec<KeepOut>,
    /// What is engraved beside it.
    pub mark: Option<Mark>,
    /// How high the pins stand that bring it back, mm: one height for all feet of a job.
    pub pin_height_mm: f64,
}

impl Lay {
    /// The foot frame in the mill frame while this face is cut. What is never turned over lies as
    /// for its top.
    pub fn mill_from_foot(&self, face: Face) -> Placement {
        match face {
            Face::Top => self.top,
            Face::Under => self.under.unwrap_or(self.top),
        }
    }

    /// Whether it lies with its toes towards -Y.
    pub fn half_turned(&self) -> bool {
        self.top.signs()[1] < 0.0
    }
}

/// All feet laid.
#[derive(Clone, Debug, PartialEq)]
pub struct Arrangement {
    /// In the order of the feet.
    pub lays: Vec<Lay>,
    /// What keeps the feet from being cut as they lie.
    pub findings: Vec<Finding>,
}

/// Lays every foot of a job, in the order they are given: each in a blank of its own, or a pair in
/// one blank.
pub fn lay(make: &Make, designs: &[&Design]) -> Arrangement {
    let pieces: Vec<Piece> =
        designs.iter().map(|design| Piece { side: design.order.side, outline: &design.footbed.outline }).collect();
    lay_pieces(make, &pieces)
}

/// What of a design matters to how it is laid.
#[derive(Clone, Copy)]
pub(super) struct Piece<'a> {
    pub(super) side: Side,
    /// Foot frame.
    pub(super) outline: &'a Outline,
}

/// The same for whoever has only outlines.
pub(super) fn lay_pieces(make: &Make, pieces: &[Piece]) -> Arrangement {
    match (make.laying, pieces) {
        (Laying::Pair, &[first, second]) => together(make, [first, second]),
        _ => {
            let alone = pieces.iter().map(|&piece| alone(make, piece));
            alone.fold(Arrangement { lays: vec![], findings: vec![] }, |mut all, one| {
                all.lays.extend(one.lays);
                all.findings.extend(one.findings);
                all
            })
        }
    }
}

/// Finds room for the marks, where any are asked; a blank without room is told.
pub(super) fn mark(make: &Make, code: &str, designs: &[&Design], arrangement: &mut Arrangement) {
    if make.marks == Marks::Off || !arrangement.findings.is_empty() {
        return;
    }
    // In blanks of their own the feet do not meet.
    let blanks: Vec<Vec<usize>> = match make.laying {
        Laying::Pair => vec![(0..designs.len()).collect()],
        Laying::Each => (0..designs.len()).map(|k| vec![k]).collect(),
    };
    for inside in blanks {
        let laid = inside.iter().filter_map(|&k| Some((k, designs.get(k)?, arrangement.lays.get(k)?.clone())));
        let laid: Vec<_> = laid.collect();
        let outlines: Vec<Outline> = laid.iter().map(|(_, d, lay)| d.footbed.outline.placed(lay.top)).collect();
        let lays: Vec<Lay> = laid.iter().map(|(.., lay)| lay.clone()).collect();
        for ((k, ..), mark) in laid.iter().zip(marks::marks(make, code, &lays, &outlines)) {
            let Some(lay) = arrangement.lays.get_mut(*k) else { continue };
            if mark.is_none() {
                arrangement.findings.push(limits::no_room_for_mark(lay.side, &make.blank));
            }
            lay.mark = mark;
        }
    }
}

/// What lies in the mill frame as `lay`, after the blank is turned over about its long middle line:
/// (x, y, z) becomes (width - x, y, height - z), a rotation. The blank keeps its place, and what lay
/// on the bed is up. Turned twice, it lies as before.
pub fn turned(lay: Placement, blank: &Blank) -> Placement {
    lay.then_turned_over().then_moved(Vector3::new(blank.width_mm, 0.0, blank.height_mm))
}

/// The least distance of two pieces in one blank, mm: a wall between their grooves, and neither
/// within reach of what cuts the other.
pub fn gap_mm(make: &Make) -> f64 {
    let cutting = Cutting::of(make);
    let reach = reaches(&cutting).iter().map(Reach::edge_mm).fold(0.0, f64::max);
    (2.0 * groove_mm(make) + WALL_MM).max(reach + CLEAR_MM).ceil()
}

fn groove_mm(make: &Make) -> f64 {
    2.0 * make.perimeter.shape.radius()
}

/// Kept between an outline and the edge of its blank, mm.
fn margin_mm(make: &Make, blank: &Blank) -> f64 {
    blank.side_margin_mm + groove_mm(make)
}

fn alone(make: &Make, piece: Piece) -> Arrangement {
    let bench = bench_from_foot(piece.side);
    // A blank that is turned over keeps its toes to +Y, where the pins expect them.
    let around = (make.underside == Underside::Flat).then(|| vec![bench.then_half_turned()]);
    let ways: Vec<_> = std::iter::once(vec![bench]).chain(around).collect();
    settled(make, &[piece], &ways)
}

fn together(make: &Make, pair: [Piece; 2]) -> Arrangement {
    let room = |blank: &Blank| [blank.width_mm, blank.length_mm].map(|mm| mm - 2.0 * margin_mm(make, blank));
    let nests = |blank: &Blank| nests(make, pair, room(blank)[1]);
    let fits = |nest: &Nest, blank: &Blank| nest.size_mm.iter().zip(room(blank)).all(|(size, room)| *size <= room);
    let found = nests(&make.blank);
    let around = |nest: &Nest| nest.places.map(Placement::then_half_turned).to_vec();
    let good = || found.iter().filter(|nest| fits(nest, &make.blank));
    let ways: Vec<_> = good().map(|n| n.places.to_vec()).chain(good().map(around)).collect();
    if !ways.is_empty() {
        return settled(make, &pair, &ways);
    }
    let places = found.first().map_or(pair.map(|piece| bench_from_foot(piece.side)).to_vec(), |n| n.places.to_vec());
    let size = found.first().map_or([0.0; 2], |nest| nest.size_mm);
    let needed = size.map(|mm| mm + 2.0 * margin_mm(make, &make.blank));
    let high = |blank: &&Blank| blank.height_mm >= make.blank.height_mm;
    let takes = |blank: &&Blank| nests(blank).iter().any(|nest| fits(nest, blank));
    let others: Vec<&Blank> = make.blanks.iter().filter(high).filter(takes).collect();
    let has = [make.blank.width_mm, make.blank.length_mm];
    let told = pair.map(|piece| limits::pair_room(piece.side, &make.blank, needed, has, &others));
    let lays = lays(make, &pair, &centred(&pair, &places, &make.blank));
    Arrangement { lays, findings: told.to_vec() }
}

fn nests(make: &Make, pair: [Piece; 2], length_mm: f64) -> Vec<Nest> {
    let outlines = pair.map(|piece| piece.outline);
    nest::nests(outlines, pair.map(|piece| bench_from_foot(piece.side)), gap_mm(make), length_mm)
}

/// The first of `ways` for which a place clear of all clamps is found, as near the blank's middle
/// as can be; else the first way in the middle, and which clamps it meets.
fn settled(make: &Make, pieces: &[Piece], ways: &[Vec<Placement>]) -> Arrangement {
    let clear = ways.iter().find_map(|places| clear_of_clamps(make, pieces, places));
    let middle = || ways.first().map(|places| centred(pieces, places, &make.blank)).unwrap_or_default();
    let places = clear.clone().unwrap_or_else(middle);
    let findings = if clear.is_some() { vec![] } else { clamps_met(make, pieces, &places) };
    Arrangement { lays: lays(make, pieces, &places), findings }
}

fn lays(make: &Make, pieces: &[Piece], places: &[Placement]) -> Vec<Lay> {
    let clamps = make.clamps.iter().enumerate();
    let clamps: Vec<KeepOut> =
        clamps.map(|(k, clamp)| KeepOut::rect(format!("clamp {}", k + 1), clamp.rect, clamp.height_mm)).collect();
    let keep_out = |piece: &Piece, place: Placement| KeepOut {
        name: format!("the {} footbed", piece.side.name()),
        outline: piece.outline.placed(place).points().to_vec(),
        height_mm: blank_top_mm(&make.blank),
    };
    let lay = |(k, (piece, &top)): (usize, (&Piece, &Placement))| {
        let others = pieces.iter().zip(places).enumerate().filter(|(other, _)| *other != k);
        let others = others.map(|(_, (piece, &place))| keep_out(piece, place));
        let under = (make.underside == Underside::Relieved).then(|| turned(top, &make.blank));
        Lay {
            side: piece.side,
            top,
            under,
            keep_out: clamps.iter().cloned().chain(others).collect(),
            mark: None,
            pin_height_mm: turning::usual_height_mm(make),
        }
    };
    pieces.iter().zip(places).enumerate().map(lay).collect()
}

/// The pieces moved together so that the box around their outlines is centred in the blank, to the
/// whole millimetre, so that a technician can measure it.
fn centred(pieces: &[Piece], places: &[Placement], blank: &Blank) -> Vec<Placement> {
    let Some(bounds) = box_around(pieces, places) else { return places.to_vec() };
    let centre = |lo: f64, hi: f64, size: f64| (0.5 * (size - lo - hi)).round();
    moved(places, centre(bounds.x0, bounds.x1, blank.width_mm), centre(bounds.y0, bounds.y1, blank.length_mm))
}

fn moved(places: &[Placement], x: f64, y: f64) -> Vec<Placement> {
    places.iter().map(|place| place.then_moved(Vector3::new(x, y, 0.0))).collect()
}

fn box_around(pieces: &[Piece], places: &[Placement]) -> Option<Rect> {
    let boxes = pieces.iter().zip(places).map(|(piece, &place)| piece.outline.placed(place).bounds());
    boxes.reduce(|a, b| Rect { x0: a.x0.min(b.x0), y0: a.y0.min(b.y0), x1: a.x1.max(b.x1), y1: a.y1.max(b.y1) })
}

/// The places nearest to the blank's middle that keep away from every clamp.
fn clear_of_clamps(make: &Make, pieces: &[Piece], places: &[Placement]) -> Option<Vec<Placement>> {
    let middle = centred(pieces, places, &make.blank);
    let outlines: Vec<Outline> = pieces.iter().zip(&middle).map(|(piece, &p)| piece.outline.placed(p)).collect();
    let needs: Vec<(Rect, f64)> = make.clamps.iter().map(|clamp| (clamp.rect, need(make, clamp).mm)).collect();
    let is_clear = |&(x, y): &(f64, f64)| {
        outlines.iter().all(|outline| {
            needs.iter().all(|(rect, need)| {
                // The clamp moves the other way, so that the outline need not.
                let rect = Rect { x0: rect.x0 - x, y0: rect.y0 - y, x1: rect.x1 - x, y1: rect.y1 - y };
                distance_mm(outline, rect) >= *need
            })
        })
    };
    let (x, y) = shifts(make, box_around(pieces, &middle)?).into_iter().find(is_clear)?;
    Some(moved(&middle, x, y))
}

/// Whole millimetres by which a box may be moved within the blank's margins, the least first.
fn shifts(make: &Make, bounds: Rect) -> Vec<(f64, f64)> {
    let margin = margin_mm(make, &make.blank);
    let range = |lo: f64, hi: f64, size: f64| {
        let (back, ahead) = ((lo - margin).floor().max(0.0) as i32, (size - margin - hi).floor().max(0.0) as i32);
        -back..=ahead
    };
    let blank = &make.blank;
    let along = range(bounds.y0, bounds.y1, blank.length_mm);
    let mut shifts: Vec<(i32, i32)> =
        range(bounds.x0, bounds.x1, blank.width_mm).flat_map(|x| along.clone().map(move |y| (x, y))).collect();
    shifts.sort_by_key(|(x, y)| (x * x + y * y, *x, *y));
    shifts.into_iter().map(|(x, y)| (f64::from(x), f64::from(y))).collect()
}

/// How near a clamp an outline may lie, and what part needs that room.
struct Need {
    mm: f64,
    part: String,
}

/// What sweeps furthest out at the clamp's height. Tips go down to the bed at most.
fn need(make: &Make, clamp: &Clamp) -> Need {
    let cutting = Cutting::of(make);
    let mut most = Need { mm: 0.0, part: String::new() };
    for reach in reaches(&cutting) {
        let cutter = reach.cutter;
        let low = -make.machine.bed_cut_mm;
        let parts = [
            ("cutter", cutter.shape.radius(), 0.0),
            ("shank", 0.5 * cutter.shank_diameter_mm, cutter.flute_length_mm),
            ("holder", 0.5 * cutter.holder_diameter_mm, cutter.stickout_mm),
        ];
        let low_parts = parts.into_iter().filter(|(.., above_tip)| low + above_tip < clamp.height_mm);
        for (words, radius, _) in low_parts {
            let mm = (reach.axis_mm + radius + CLEAR_MM).ceil();
            if mm > most.mm {
                most = Need {
                    mm,
                    part: if words == "cutter" {
                        cutter.name.clone()
                    } else {
                        format!("the {words} of {}", cutter.name)
                    },
                };
            }
        }
    }
    most
}

fn clamps_met(make: &Make, pieces: &[Piece], places: &[Placement]) -> Vec<Finding> {
    let each = pieces.iter().zip(places).flat_map(|(piece, &place)| {
        let outline = piece.outline.placed(place);
        make.clamps.iter().enumerate().map(move |(k, clamp)| {
            let (distance, need) = (distance_mm(&outline, clamp.rect), need(make, clamp));
            (distance < need.mm).then(|| limits::clamp_met(piece.side, k + 1, distance.max(0.0), need.mm, &need.part))
        })
    });
    each.flatten().collect()
}

/// Distance between an outline and a box; 0 or less where they overlap.
pub(super) fn distance_mm(outline: &Outline, rect: Rect) -> f64 {
    let to_box = |p: &Point2| {
        let (dx, dy) = ((rect.x0 - p.x).max(p.x - rect.x1), (rect.y0 - p.y).max(p.y - rect.y1));
        if dx > 0.0 && dy > 0.0 { dx.hypot(dy) } else { dx.max(dy) }
    };
    let corners = [(rect.x0, rect.y0), (rect.x1, rect.y0), (rect.x1, rect.y1), (rect.x0, rect.y1)];
    let corners = corners.into_iter().map(|(x, y)| outline.signed_distance(Point2::new(x, y)));
    outline.points().iter().map(to_box).chain(corners).fold(f64::INFINITY, f64::min)
}
