//! Sections of two surfaces against each other: one as a thin line, the other as a thick one, on the
//! boot board with a grid of 5 mm, cut where the job sheet cuts. What is not known is a gap in its
//! line. Knows nothing of what the two are.

use svg::node::element::{Group, SVG};

use super::data::Landmarks;
use super::differences::signed;
use super::ink::{self, Anchor};
use super::plan::{Picture, crossings_at};
use super::profile_a::along;
use super::section::Cut;
use crate::frame::{Point2, Side, bench_from_foot};

/// Height above the base plane at a place of the foot frame, mm; `None` where it is not known.
pub type Known<'a> = &'a (dyn Fn(Point2) -> Option<f64> + Sync);

/// Distance between samples, mm.
const SAMPLE_MM: f64 = 0.5;
/// From the end of a section to its cell's, mm of paper: the boot board runs on.
const SIDE_MM: f64 = 3.0;
/// Paper above a section, for its name and a number, and below it for the ground.
const HEAD_MM: f64 = 8.0;
const FOOT_MM: f64 = 3.2;
/// Differences too small to be seen beside a thick line, mm of paper, are drawn larger.
const SEEN_MM: f64 = 0.8;
/// But no larger than this.
const PLAIN_MM: f64 = 2.5;
/// A difference below this has no number in a section, mm.
const TOLD_MM: f64 = 0.05;
/// Scales to choose from, 1:n.
const DIVISORS: [f64; 6] = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0];

/// One of the two surfaces.
#[derive(Clone, Copy)]
#[allow(missing_docs)]
pub struct Surface<'a> {
    pub top: Known<'a>,
    pub underside: Known<'a>,
}

/// Two surfaces of one foot.
#[derive(Clone, Copy)]
pub struct Against<'a> {
    /// Which foot.
    pub side: Side,
    /// The edge of the thick one.
    pub outline: &'a [Point2],
    /// The edge of the thin one, where that may differ.
    pub other: Option<&'a [Point2]>,
    /// Where the features are.
    pub landmarks: &'a Landmarks,
    /// Drawn as a thin line.
    pub thin: Surface<'a>,
    /// Drawn as a thick line.
    pub thick: Surface<'a>,
}

/// A straight cut through the foot frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Line {
    /// At this y, from lateral to medial.
    Across(f64),
    /// At this x, from heel to toes.
    Along(f64),
}

impl Line {
    fn place(self, t: f64) -> Point2 {
        match self {
            Line::Across(y) => Point2::new(t, y),
            Line::Along(x) => Point2::new(x, t),
        }
    }
}

impl<'a> Against<'a> {
    fn outlines(&self) -> impl Iterator<Item = &'a [Point2]> {
        std::iter::once(self.outline).chain(self.other)
    }

    /// Where a cut enters the outer of both edges and leaves it.
    fn span(&self, line: Line) -> Option<(f64, f64)> {
        let one = |outline: &[Point2]| match line {
            Line::Along(x) => along(outline, x),
            Line::Across(y) => {
                let cuts = crossings_at(outline, y);
                Some((*cuts.first()?, *cuts.last()?)).filter(|(a, b)| b - a > 1.0)
            }
        };
        self.outlines().filter_map(one).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }

    /// Places along a cut, ends read a hair inside.
    fn stations(&self, line: Line) -> Vec<f64> {
        let Some((a, b)) = self.span(line) else { return vec![] };
        let count = ((b - a) / SAMPLE_MM).ceil().max(1.0) as usize;
        let at = |k: usize| a + (b - a) * k as f64 / count as f64;
        (0..=count).map(|k| at(k).clamp(a + 1e-3, b - 1e-3)).collect()
    }

    /// The greatest height of both along a cut, mm.
    pub fn peak(&self, line: Line) -> f64 {
        let heights = self.stations(line).into_iter().flat_map(|t| {
            let p = line.place(t);
            [(self.thin.top)(p), (self.thick.top)(p)]
        });
        heights.flatten().filter(|z| z.is_finite()).fold(0.0, f64::max)
    }

    /// The long section's cut.
    pub fn axis(&self) -> Line {
        Line::Along(self.landmarks.heel_centre.x)
    }

    /// Every cut that is drawn.
    fn lines(&self) -> Vec<Line> {
        let across = Cut::ALL.into_iter().map(|cut| Line::Across(cut.station(self.landmarks)));
        across.chain([self.axis()]).collect()
    }

    /// The greatest difference of the tops on a cut and where it is, thick less thin.
    fn greatest(&self, line: Line) -> Option<(f64, f64)> {
        let both = |t: f64| {
            let p = line.place(t);
            Some((t, (self.thick.top)(p)? - (self.thin.top)(p)?)).filter(|(_, d)| d.is_finite())
        };
        let larger = |a: (f64, f64), b: (f64, f64)| if b.1.abs() > a.1.abs() { b } else { a };
        self.stations(line).into_iter().filter_map(both).reduce(larger)
    }
}

/// How many times larger than they are differences must be drawn to be seen: a whole step that the
/// drawing states.
pub fn exaggeration(all: &[Against], scale: f64) -> f64 {
    let cuts = all.iter().flat_map(|a| a.lines().into_iter().filter_map(|line| a.greatest(line)));
    let paper = scale * cuts.map(|(_, d)| d.abs()).fold(0.0, f64::max);
    if paper >= SEEN_MM || paper < scale * TOLD_MM {
        return 1.0;
    }
    [20.0, 10.0, 5.0, 2.0].into_iter().find(|times| paper * times <= PLAIN_MM).unwrap_or(1.0)
}

/// What a drawing says of its exaggeration; nothing when there is none.
pub fn exaggeration_words(times: f64) -> String {
    if times == 1.0 { String::new() } else { format!(", differences drawn \u{d7} {times}") }
}

/// Which way up the numbers of a section stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Lettering {
    Level,
    Upright,
}

/// Draws one cut; `paper` gives the place on paper of a distance along the cut and a height.
pub fn profile(a: &Against, line: Line, times: f64, lettering: Lettering, paper: &dyn Fn(f64, f64) -> Point2) -> Group {
    let stations = a.stations(line);
    let Some((from, to)) = a.span(line) else { return ink::group("section") };
    let group = grid(ink::group("section"), (from, to), a.peak(line), paper);
    let thin =
        |height: Known| -> Vec<Vec<Point2>> { runs(stations.iter().map(|t| Some(paper(*t, height(line.place(*t))?)))) };
    let thick = |own: Known, other: Known| -> Vec<Vec<Point2>> {
        runs(stations.iter().map(|t| {
            let p = line.place(*t);
            let z = own(p)?;
            // Where there is nothing to differ from, there is nothing to draw larger.
            Some(paper(*t, other(p).map_or(z, |other| other + times * (z - other))))
        }))
    };
    let group = body(&stations, line, a.thin, paper).into_iter().fold(group, |group, shape| group.add(shape));
    let group = ground(group, (from, to), paper);
    let all = [
        ("w13 open", thin(a.thin.underside)),
        ("w13 open", thin(a.thin.top)),
        ("w50 open", thick(a.thick.underside, a.thin.underside)),
        ("w50 open", thick(a.thick.top, a.thin.top)),
    ];
    let group = all
        .into_iter()
        .flat_map(|(class, runs)| runs.into_iter().map(move |run| (class, run)))
        .fold(group, |group, (class, run)| {
            group.add(ink::curve(class, &crate::grid::contour::simplified(&run, 0.01), false))
        });
    number(a, line, lettering, paper, group)
}

/// The unbroken runs of what may be missing here and there.
fn runs(points: impl Iterator<Item = Option<Point2>>) -> Vec<Vec<Point2>> {
    let mut runs: Vec<Vec<Point2>> = vec![vec![]];
    for point in points {
        match (point.filter(|p| p.x.is_finite() && p.y.is_finite()), runs.last_mut()) {
            (Some(point), Some(run)) => run.push(point),
            (None, Some(run)) if !run.is_empty() => runs.push(vec![]),
            _ => {}
        }
    }
    runs.retain(|run| run.len() > 1);
    runs
}

/// The thin one's material, tinted, where both its faces are known all along.
fn body(
    stations: &[f64],
    line: Line,
    thin: Surface,
    paper: &dyn Fn(f64, f64) -> Point2,
) -> Option<svg::node::element::Polygon> {
    let known: Vec<f64> = stations.iter().copied().filter(|t| (thin.top)(line.place(*t)).is_some()).collect();
    let edge = |height: Known, t: f64| Some(paper(t, height(line.place(t))?));
    let top = known.iter().map(|t| edge(thin.top, *t));
    let under = known.iter().rev().map(|t| edge(thin.underside, *t));
    let points: Option<Vec<Point2>> = top.chain(under).collect();
    points
        .filter(|points| points.len() > 3)
        .map(|points| ink::shape("material", &crate::grid::contour::simplified(&points, 0.02)))
}

/// A grid of 5 mm behind the section.
fn grid(group: Group, (from, to): (f64, f64), peak: f64, paper: &dyn Fn(f64, f64) -> Point2) -> Group {
    let whole = |mm: f64| 5.0 * mm;
    let (first, last, tall) = ((from / 5.0).floor() as i32, (to / 5.0).ceil() as i32, (peak / 5.0).ceil() as i32);
    let at = |i: i32, j: i32| paper(whole(f64::from(i)), whole(f64::from(j)));
    let group = (first..=last).fold(group, |g, i| g.add(ink::line("grid", at(i, 0), at(i, tall))));
    (0..=tall).fold(group, |g, j| g.add(ink::line("grid", at(first, j), at(last, j))))
}

/// The boot board, with strokes behind it as drawings mark ground.
fn ground(group: Group, (from, to): (f64, f64), paper: &dyn Fn(f64, f64) -> Point2) -> Group {
    let (a, b) = (paper(from - 2.0, 0.0), paper(to + 2.0, 0.0));
    let along = (b - a).normalize();
    let down = (paper(from, 0.0) - paper(from, 1.0)).normalize();
    let group = group.add(ink::line("w25", a, b));
    let count = ((b - a).norm() / 2.0).floor() as i32;
    (0..count).fold(group, |g, k| {
        let top = a + along * (2.0 * f64::from(k) + 1.5);
        g.add(ink::line("w13", top, top + 1.2 * (down - along)))
    })
}

/// The greatest difference of the cut, over its place.
fn number(a: &Against, line: Line, lettering: Lettering, paper: &dyn Fn(f64, f64) -> Point2, group: Group) -> Group {
    let Some((t, difference)) = a.greatest(line).filter(|(_, d)| d.abs() >= TOLD_MM) else { return group };
    let z = (a.thick.top)(line.place(t)).unwrap_or(0.0).max((a.thin.top)(line.place(t)).unwrap_or(0.0));
    let at = paper(t, z);
    let up = (paper(t, 1.0) - paper(t, 0.0)).normalize();
    let (from, to) = (at + up * 0.8, at + up * 2.2);
    let words = signed(difference);
    let group = group.add(ink::line("w13", from, to));
    match lettering {
        Lettering::Level => {
            let y = Point2::new(to.x, to.y - 0.4);
            group.add(ink::label("t halo b", y, Anchor::Middle, words))
        }
        Lettering::Upright => {
            let off = if up.x > 0.0 { 2.4 } else { -0.5 };
            group.add(ink::upright_label("t halo b", Point2::new(to.x + off, to.y), words))
        }
    }
}

/// The largest scale at which the cross sections of all fit `width` mm of paper and `height`.
pub fn divisor(all: &[Against], width: f64, height: f64) -> f64 {
    let last = DIVISORS.last().copied().unwrap_or(4.0);
    let wide = |a: &Against, line: Line| a.span(line).map_or(0.0, |(x0, x1)| x1 - x0);
    let fits = |n: &f64| {
        all.iter().all(|a| {
            let lines = Cut::ALL.map(|cut| Line::Across(cut.station(a.landmarks)));
            let narrow = lines.iter().all(|line| wide(a, *line) / n + 2.0 * SIDE_MM <= width);
            let tall: f64 = lines.iter().map(|line| HEAD_MM + a.peak(*line) / n + FOOT_MM).sum();
            narrow && tall <= height
        })
    };
    DIVISORS.into_iter().find(fits).unwrap_or(last)
}

/// Cross sections B-B, C-C, D-D below each other, `width` mm of paper wide, seen from the heel.
pub fn sections(a: &Against, width: f64, divisor: f64, times: f64) -> Picture {
    let scale = 1.0 / divisor;
    let medial = bench_from_foot(a.side).place(Point2::new(1.0, 0.0)).x;
    let mut group = Group::new();
    let mut top = 0.0;
    for cut in Cut::ALL {
        let line = Line::Across(cut.station(a.landmarks));
        let Some((x0, x1)) = a.span(line) else { continue };
        let board = top + HEAD_MM + scale * a.peak(line);
        let origin = 0.5 * width - medial * scale * 0.5 * (x0 + x1);
        let paper = |x: f64, z: f64| Point2::new(origin + medial * scale * x, board - scale * z);
        group = group.add(profile(a, line, times, Lettering::Level, &paper));
        let words = format!("{} {}", cut.name(), a.side.letter());
        let after = 0.4 + ink::width_of(&words, ink::SMALL_MM) + 2.0;
        group = group.add(ink::label("t b", Point2::new(0.4, top + 2.8), Anchor::Start, words)).add(ink::label(
            "t soft",
            Point2::new(after, top + 2.8),
            Anchor::Start,
            format!("1:{divisor}{}", exaggeration_words(times)),
        ));
        top = board + FOOT_MM;
    }
    let height = top + 0.4;
    let svg = SVG::new()
        .set("viewBox", format!("0 0 {} {}", ink::coarse(width), ink::coarse(height)))
        .set("class", "drawing sections")
        .set("role", "img")
        .add(ink::title("Cross sections B-B heel, C-C arch and D-D ball, seen from the heel"))
        .add(group);
    Picture { svg: svg.to_string(), width, height, divisor }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;

    fn with<T>(side: Side, thin: Known, thick: Known, see: impl FnOnce(&Against) -> T) -> T {
        let sample = Sample::of_length(270.0);
        let landmarks = sample.landmarks();
        let (flat, outline) = (|_: Point2| Some(0.0), sample.outline.clone());
        see(&Against {
            side,
            outline: &outline,
            other: None,
            landmarks: &landmarks,
            thin: Surface { top: thin, underside: &flat },
            thick: Surface { top: thick, underside: &flat },
        })
    }

    #[test]
    fn a_gap_in_the_data_is_a_gap_in_the_line() {
        let whole = |_: Point2| Some(6.0);
        let holed = |p: Point2| (p.x.abs() > 5.0).then_some(6.0);
        let lines = |thick: Known| {
            with(Side::Left, &whole, thick, |a| {
                let paper = |t: f64, z: f64| Point2::new(t, -z);
                profile(a, Line::Across(100.0), 1.0, Lettering::Level, &paper).to_string().matches("w50 open").count()
            })
        };
        // The underside's line and the top's; the gap makes two of the latter.
        assert_eq!((lines(&whole), lines(&holed)), (2, 3));
    }

    /// Only what would not be seen is drawn larger, and the drawing says how much.
    #[test]
    fn what_is_drawn_larger_says_so() {
        let thin = |_: Point2| Some(6.0);
        for (by, times) in [(0.0, 1.0), (0.2, 20.0), (0.5, 10.0), (3.0, 1.0)] {
            let thick = move |_: Point2| Some(6.0 + by);
            let (found, svg) = with(Side::Right, &thin, &thick, |a| {
                let times = exaggeration(&[*a], 0.5);
                (times, sections(a, 60.0, 2.0, times).svg)
            });
            assert_eq!(found, times, "{by}");
            assert_eq!(svg.contains("differences drawn"), times > 1.0, "{by}");
            assert_eq!(svg.contains("halo b"), by > 0.0, "{by}");
            assert!(svg.contains(&signed(by)) || by == 0.0);
        }
    }

    #[test]
    fn the_greatest_difference_is_found_where_it_is() {
        let thin = |_: Point2| Some(6.0);
        let thick = |p: Point2| Some(6.0 - 0.8 * (-(p.x - 12.0).powi(2) / 50.0).exp());
        with(Side::Left, &thin, &thick, |a| {
            let (x, d) = a.greatest(Line::Across(100.0)).expect("a difference");
            assert!((x - 12.0).abs() <= 0.5 && (d + 0.8).abs() < 0.01, "{x} {d}");
        });
    }
}
