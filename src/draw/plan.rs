//! The plan of the job sheet: one footbed or the pair from above, toes up, medial edges facing each
//! other, with contour lines, landmarks, cutting planes, dimensions and balloons. Each plan has its
//! long section A-A beside it at the same scale. Knows nothing of tables.

use svg::node::element::{ClipPath, Definitions, Group, Path, SVG, Use};

use super::contour;
use super::data::{DrawError, DrawnFoot};
use super::dimension;
use super::ink::{self, Anchor};
use super::notes::{self, Numbered};
use super::profile_a;
use super::tint;
use crate::frame::{Placement, Point2, Rect, bench_from_foot};
use crate::grid::{Grid, Lattice};
use crate::value::Value;

/// Paper above the toes: a dimension line and the end of plane A.
const HEAD_MM: f64 = 12.0;
/// Paper below the heels: a dimension line and the end of plane A.
const FOOT_MM: f64 = 11.0;
/// Paper beside the lateral edge: letters of the planes, then balloons.
const LATERAL_MM: f64 = 13.5;
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
    origin: Point2,
    /// Extent of the outline in the foot frame.
    pub rect: Rect,
    /// Heights of the top on a lattice of 1 mm, NaN outside the outline.
    heights: Grid,
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

    /// Where a height above station y lies in section A-A.
    pub fn in_a(&self, y: f64, z: f64) -> Point2 {
        Point2::new(self.board_x - self.medial * self.scale * z, self.origin.y - self.scale * y)
    }

    /// The x of paper `mm` outside the lateral edge.
    fn lateral(&self, mm: f64) -> f64 {
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
    Ok(Picture { svg: drawing.to_string(), width, height, divisor })
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
fn inside_nodes(outline: &[Point2], lattice: &Lattice) -> Vec<bool> {
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
    let outline = contour::simplified(&outline, 0.01);
    let contours = Contours::of(b, &outline);
    let group = ink::group("foot").add(contours.lines(&outline));
    let group = group.add(ink::curve("w50 open", &outline, true));
    let group = tabs(b, bevel(b, group));
    let group = cutting_planes(b, landmarks(b, group)).add(contours.numbers);
    balloons(b, list, widths(b, group).add(side_letter(b)))
}

/// Contour lines of one footbed, and their numbers to be laid on top of everything else.
struct Contours {
    clip: String,
    low_tint: String,
    levels: Vec<(String, String, bool)>,
    numbers: Group,
}

/// More contour lines than this and the surface is no footbed: a wall of 80 mm.
const MOST_LEVELS: i64 = 80;

impl Contours {
    fn of(b: &Block, outline: &[Point2]) -> Contours {
        let inside = inside_nodes(b.foot.outline, &b.heights.lattice);
        let within = b.heights.z.iter().zip(&inside).filter(|(_, i)| **i).map(|(z, _)| *z);
        let (lo, hi) = within.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), z| (lo.min(z), hi.max(z)));
        let (first, last) = (lo.ceil() as i64, (hi.floor() as i64).min(lo.ceil() as i64 + MOST_LEVELS));
        let share = |z: f64| if hi > lo { (z - lo) / (hi - lo) } else { 0.5 };
        let mut contours = Contours {
            clip: format!("inside-{}", b.foot.side.name()),
            low_tint: tint::cividis(0.0),
            levels: Vec::new(),
            numbers: ink::group("numbers"),
        };
        let mut taken = Labels::new(b);
        for level in first..=last {
            let loops = contour::loops_above(&b.heights, level as f64);
            let loops: Vec<Vec<Point2>> = loops.iter().map(|l| l.iter().map(|p| b.at(*p)).collect()).collect();
            let d: String = loops.iter().map(|l| close(&contour::simplified(l, 0.02))).collect();
            contours.levels.push((d, tint::cividis(share(level as f64 + 0.5)), level % 5 == 0));
            for at in loops.iter().filter_map(|l| taken.place(b, l, outline, level)) {
                let number = ink::label("t halo", Point2::new(at.x, at.y + 0.9), Anchor::Middle, level.to_string());
                contours.numbers = std::mem::replace(&mut contours.numbers, Group::new()).add(number);
            }
        }
        contours
    }

    fn lines(&self, outline: &[Point2]) -> Group {
        let clip = ClipPath::new().set("id", self.clip.as_str()).add(ink::curve("", outline, true));
        let reference = format!("url(#{})", self.clip);
        let name = |k: usize| format!("{}-{k}", self.clip);
        let mut shapes = Definitions::new().add(clip);
        let mut tint = ink::group("tint").set("clip-path", reference.as_str());
        let mut lines = ink::group("lines").set("clip-path", reference.as_str());
        tint = tint.add(ink::curve("", outline, true).set("fill", self.low_tint.as_str()));
        for (k, (d, fill, index)) in self.levels.iter().enumerate() {
            shapes = shapes.add(Path::new().set("id", name(k)).set("d", d.as_str()));
            tint = tint.add(Use::new().set("href", format!("#{}", name(k))).set("fill", fill.as_str()));
            let class = if *index { "contour index" } else { "contour" };
            lines = lines.add(Use::new().set("href", format!("#{}", name(k))).set("class", class));
        }
        Group::new().add(shapes).add(tint).add(lines)
    }
}

fn close(points: &[Point2]) -> String {
    ink::path_data(points, true, ink::coarse)
}

/// Keeps contour numbers away from each other and from lines that they would hide.
struct Labels {
    taken: Vec<Point2>,
    levels: Vec<f64>,
    axis_x: f64,
}

impl Labels {
    fn new(b: &Block) -> Labels {
        let l = &b.foot.landmarks;
        let marks = [l.heel_centre, l.first_met, l.fifth_met, l.medial_arch, l.lateral_arch, l.dome];
        let levels = [l.widest_cup_y, l.medial_arch.y, l.dome.y].map(|y| b.at(Point2::new(0.0, y)).y);
        let letter = letter_place(b);
        let letter = [-3.0, 0.0, 3.0].map(|dy| Point2::new(letter.x, letter.y - 4.0 + dy));
        Labels {
            taken: marks.iter().map(|p| b.at(*p)).chain(letter).collect(),
            levels: levels.to_vec(),
            axis_x: b.at(l.heel_centre).x,
        }
    }

    /// The clearest place for a number on a loop: far from other marks and where contours lie far
    /// apart; `None` when every place is crowded.
    fn place(&mut self, b: &Block, points: &[Point2], outline: &[Point2], level: i64) -> Option<Point2> {
        let index = if level % 5 == 0 { 1.5 } else { 0.0 };
        let free = points.iter().step_by(3).filter(|p| self.is_free(**p, outline));
        let best =
            free.map(|p| (*p, self.spacing(b, *p) + index)).fold(None, |best: Option<(Point2, f64)>, (p, score)| {
                match best {
                    Some((_, most)) if most >= score => best,
                    _ => Some((p, score)),
                }
            });
        let (at, _) = best.filter(|(_, score)| *score > 1.6)?;
        self.taken.push(at);
        Some(at)
    }

    fn is_free(&self, p: Point2, outline: &[Point2]) -> bool {
        let off_lines = (p.x - self.axis_x).abs() > 2.6 && self.levels.iter().all(|y| (p.y - y).abs() > 2.2);
        let near = |q: &Point2, dx: f64, dy: f64| (p.x - q.x).abs() < dx && (p.y - q.y).abs() < dy;
        let inside =
            |dx: f64, dy: f64| crossings_at(outline, p.y + dy).iter().filter(|x| **x <= p.x + dx).count() % 2 == 1;
        let corners = [(-2.4, -1.6), (2.4, -1.6), (-2.4, 1.6), (2.4, 1.6)];
        off_lines && self.taken.iter().all(|q| !near(q, 5.0, 4.2)) && corners.iter().all(|c| inside(c.0, c.1))
    }

    /// Distance on paper between contours of 1 mm at a place, up to 4 mm.
    fn spacing(&self, b: &Block, p: Point2) -> f64 {
        let foot = b.place.unplace(Point2::new((p.x - b.origin.x) / b.scale, (b.origin.y - p.y) / b.scale));
        let z = |dx: f64, dy: f64| (b.foot.top)(Point2::new(foot.x + dx, foot.y + dy));
        let slope = (z(1.0, 0.0) - z(-1.0, 0.0)).hypot(z(0.0, 1.0) - z(0.0, -1.0)) / 2.0;
        (b.scale / slope.max(1e-3)).min(4.0)
    }
}

fn bevel(b: &Block, group: Group) -> Group {
    match &b.foot.bevel {
        Some(bevel) => {
            let line: Vec<Point2> = bevel.line.iter().map(|p| b.at(*p)).collect();
            group.add(ink::curve("w13 dash open", &contour::simplified(&line, 0.02), true))
        }
        None => group,
    }
}

/// Tabs as short thick strokes outward from the outline.
fn tabs(b: &Block, group: Group) -> Group {
    let middle = b.at(Point2::new((b.rect.x0 + b.rect.x1) / 2.0, (b.rect.y0 + b.rect.y1) / 2.0));
    b.foot.tabs.iter().fold(group, |group, p| {
        let at = b.at(*p);
        let out = if at.x > middle.x { 1.0 } else { -1.0 };
        group.add(ink::line("w50", at, Point2::new(at.x + 1.6 * out, at.y)))
    })
}

fn landmarks(b: &Block, group: Group) -> Group {
    let l = &b.foot.landmarks;
    let cross = |group: Group, p: Point2| {
        let at = b.at(p);
        let (dx, dy) = (nalgebra::Vector2::new(1.3, 0.0), nalgebra::Vector2::new(0.0, 1.3));
        group.add(ink::line("w25", at - dx, at + dx)).add(ink::line("w25", at - dy, at + dy))
    };
    let group = group.add(ink::line("w13 chain", b.at(l.first_met), b.at(l.fifth_met)));
    let group = [l.first_met, l.fifth_met, l.medial_arch, l.lateral_arch, l.dome].into_iter().fold(group, cross);
    group.add(ink::circle("w25 open", b.at(l.heel_centre), 1.4)).add(ink::line(
        "w25",
        b.at(l.heel_centre) - nalgebra::Vector2::new(2.2, 0.0),
        b.at(l.heel_centre) + nalgebra::Vector2::new(2.2, 0.0),
    ))
}

/// The cutting planes: chain lines with thick ends, arrows the way one looks, letters.
fn cutting_planes(b: &Block, group: Group) -> Group {
    let l = &b.foot.landmarks;
    let (out, inn) = (b.lateral(0.0), b.at(Point2::new(b.rect.x1, 0.0)).x);
    let group = [("B", l.widest_cup_y), ("C", l.medial_arch.y), ("D", l.dome.y)].into_iter().fold(
        group,
        |group, (letter, station)| {
            let y = b.at(Point2::new(0.0, station)).y;
            let (from, to) = (Point2::new(out - 2.4 * b.medial, y), Point2::new(inn + 2.4 * b.medial, y));
            let thick = |x: f64| ink::line("w50", Point2::new(x, y), Point2::new(x + 3.0 * b.medial, y));
            let head = |x: f64| [ink::line("w25", Point2::new(x, y), Point2::new(x, y - 1.2))].into_iter();
            let group =
                group.add(ink::line("w13 chain", from, to)).add(thick(from.x)).add(thick(to.x - 3.0 * b.medial));
            let group = head(from.x).chain(head(to.x)).fold(group, Group::add);
            let arrow = |x: f64| ink::arrowhead(Point2::new(x, y - 3.2), 0.0, -1.0);
            let group = group.add(arrow(from.x)).add(arrow(to.x));
            let at = Point2::new(from.x - 1.9 * b.medial, y + 0.2);
            group.add(ink::label("t b", at, Anchor::Middle, letter))
        },
    );
    plane_a(b, group)
}

/// Plane A runs along the axis; one looks at it from the medial side.
fn plane_a(b: &Block, group: Group) -> Group {
    let x = b.at(b.foot.landmarks.heel_centre).x;
    let (top, low) = (b.at(Point2::new(0.0, b.rect.y1)).y, b.at(Point2::new(0.0, b.rect.y0)).y);
    let (from, to) = (Point2::new(x, top - 11.0), Point2::new(x, low + 10.0));
    let thick = |y: f64| ink::line("w50", Point2::new(x, y), Point2::new(x, y + 2.6));
    let arrow = |y: f64| {
        let tip = Point2::new(x - 3.2 * b.medial, y);
        [ink::line("w25", Point2::new(x, y), Point2::new(x - 1.2 * b.medial, y))]
            .into_iter()
            .fold(Group::new(), Group::add)
            .add(ink::arrowhead(tip, -b.medial, 0.0))
    };
    let group = group.add(ink::line("w13 chain", from, to)).add(thick(from.y)).add(thick(to.y - 2.6));
    let group = group.add(arrow(from.y)).add(arrow(to.y));
    let letter = |y: f64| ink::label("t b", Point2::new(x + 2.0 * b.medial, y), Anchor::Middle, "A");
    group.add(letter(from.y + 2.2)).add(letter(to.y))
}

fn letter_place(b: &Block) -> Point2 {
    let met = b.foot.landmarks.first_met.y;
    let y = met + 0.5 * (b.rect.y1 - met);
    let cuts = crossings_at(b.foot.outline, y);
    let inner = cuts.last().copied().unwrap_or(b.rect.x1);
    let axis = b.foot.landmarks.heel_centre.x;
    let at = b.at(Point2::new(axis + 0.52 * (inner - axis), y));
    Point2::new(at.x, at.y + 4.0)
}

fn side_letter(b: &Block) -> svg::node::element::Text {
    ink::label("side", letter_place(b), Anchor::Middle, b.foot.side.letter().to_string())
}

/// Ball width above the toes, heel width below the heel, and which edge is which.
fn widths(b: &Block, group: Group) -> Group {
    let ball = widest(b, 0.5, 1.0);
    let heel = widest(b, 0.0, 0.35);
    let (top, low) = (b.at(Point2::new(0.0, b.rect.y1)).y, b.at(Point2::new(0.0, b.rect.y0)).y);
    let words = |value: Value| b.foot.values.iter().find(|r| r.value == value).map(dimension::words);
    let sorted = |(a, c): (Point2, Point2)| if a.x < c.x { (a, c) } else { (c, a) };
    let rows = [(ball, top - 3.4, words(Value::BallWidth)), (heel, low + 5.6, words(Value::HeelWidth))];
    let group = rows.into_iter().fold(group, |group, (ends, y, text)| match (ends, text) {
        (Some(ends), Some(text)) => {
            let (a, c) = sorted(ends);
            group.add(dimension::level(a, c, y, &text))
        }
        _ => group,
    });
    edge_words(b, group)
}

fn edge_words(b: &Block, group: Group) -> Group {
    let y = b.foot.landmarks.medial_arch.y + 0.42 * (b.foot.landmarks.dome.y - b.foot.landmarks.medial_arch.y);
    let cuts = crossings_at(b.foot.outline, y);
    let (Some(lateral), Some(medial)) = (cuts.first(), cuts.last()) else { return group };
    let (lateral, medial) = (b.at(Point2::new(*lateral, y)), b.at(Point2::new(*medial, y)));
    // A base line of upright words stands to their right: half a letter's height more on that side.
    let off = |p: Point2, out: f64| Point2::new(p.x + 2.2 * out + 0.9, p.y);
    group.add(ink::upright_label("t soft", off(lateral, -b.medial), "lateral")).add(ink::upright_label(
        "t soft",
        off(medial, b.medial),
        "medial",
    ))
}

/// The widest level of the outline between two shares of its length, as its two ends on paper.
fn widest(b: &Block, from: f64, to: f64) -> Option<(Point2, Point2)> {
    let ys = (0..=200).map(|k| b.rect.y0 + b.rect.height() * (from + (to - from) * f64::from(k) / 200.0));
    let spans = ys.filter_map(|y| {
        let cuts = crossings_at(b.foot.outline, y);
        Some((*cuts.first()?, *cuts.last()?, y))
    });
    let best = spans.fold(None, |best: Option<(f64, f64, f64)>, s| match best {
        Some(b) if b.1 - b.0 >= s.1 - s.0 => Some(b),
        _ => Some(s),
    });
    best.map(|(a, c, y)| (b.at(Point2::new(a, y)), b.at(Point2::new(c, y))))
}

/// Balloons in a column beside the lateral edge, each with a leader to its place.
fn balloons(b: &Block, list: &[Numbered], group: Group) -> Group {
    let mine = list.iter().flat_map(|n| {
        let here = n.at.iter().filter(|(side, _)| *side == b.foot.side);
        here.filter_map(move |(_, at)| at.map(|at| (n, b.at(at))))
    });
    let mut mine: Vec<(&Numbered, Point2)> = mine.filter(|(_, at)| at.x.is_finite() && at.y.is_finite()).collect();
    mine.sort_by(|a, c| a.1.y.total_cmp(&c.1.y));
    let x = b.lateral(LATERAL_MM - 3.9);
    let end = b.at(Point2::new(0.0, b.rect.y0)).y + 4.0;
    let ys = notes::spread(&mine.iter().map(|m| m.1.y).collect::<Vec<_>>(), 6.2, end);
    mine.iter().zip(ys).fold(group, |group, ((note, target), y)| {
        let at = Point2::new(x, y);
        let start = Point2::new(x + b.medial * 2.3, y);
        group
            .add(ink::line("leader", start, *target))
            .add(ink::circle("leader-end", *target, 0.55))
            .add(notes::balloon(note.row.severity, note.number, at))
    })
}
