//! Contour lines of one footbed in its plan, tinted between, with numbers where there is room.

use crate::grid::contour::{loops_above, simplified};
use svg::node::element::{ClipPath, Definitions, Group, Path, Use};

use super::ink::{self, Anchor};
use super::marks;
use super::plan::{Block, crossings_at, inside_nodes};
use super::tint;
use crate::frame::Point2;

/// Contour lines of one footbed.
pub struct Contours {
    clip: String,
    low_tint: String,
    levels: Vec<(String, String, bool)>,
    /// The numbers, to be laid on top of everything else.
    pub numbers: Group,
}

/// A level so near to a flat's height would wander over it, mm: the flat is drawn as reaching it.
const FLAT_MM: f64 = 0.05;
/// What is that flat, of all nodes inside, is a flat of the piece and not a slope that a contour crosses.
const FLAT_SHARE: f64 = 0.08;

/// More contour lines than this and the surface is no footbed: a wall of 80 mm.
const MOST_LEVELS: i64 = 80;

impl Contours {
    /// The contour lines of a block whose outline on paper is `outline`.
    pub fn of(b: &Block, outline: &[Point2]) -> Contours {
        Contours::named(b, outline, "inside")
    }

    /// The same, where a page draws more than one set of them: `name` tells their shapes apart.
    pub fn named(b: &Block, outline: &[Point2], name: &str) -> Contours {
        let inside = inside_nodes(b.foot.outline, &b.heights.lattice);
        let within: Vec<f64> = b.heights.z.iter().zip(&inside).filter(|(_, i)| **i).map(|(z, _)| *z).collect();
        let (lo, hi) = within.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), z| (lo.min(*z), hi.max(*z)));
        let (first, last) = (lo.ceil() as i64, (hi.floor() as i64).min(lo.ceil() as i64 + MOST_LEVELS));
        let share = |z: f64| if hi > lo { (z - lo) / (hi - lo) } else { 0.5 };
        let mut contours = Contours {
            clip: format!("{name}-{}", b.foot.side.name()),
            low_tint: tint::cividis(0.0),
            levels: Vec::new(),
            numbers: ink::group("numbers"),
        };
        let mut taken = Labels::new(b);
        for level in first..=last {
            let loops = loops_above(&b.heights, beside_flats(level as f64, &within));
            let loops: Vec<Vec<Point2>> = loops.iter().map(|l| l.iter().map(|p| b.at(*p)).collect()).collect();
            let d: String = loops.iter().map(|l| close(&simplified(l, 0.02))).collect();
            contours.levels.push((d, tint::cividis(share(level as f64 + 0.5)), level % 5 == 0));
            for at in loops.iter().filter_map(|l| taken.place(b, l, outline, level)) {
                let number = ink::label("t halo", Point2::new(at.x, at.y + 0.9), Anchor::Middle, level.to_string());
                contours.numbers = std::mem::replace(&mut contours.numbers, Group::new()).add(number);
            }
        }
        contours
    }

    /// Tints and lines, clipped to the outline.
    pub fn lines(&self, outline: &[Point2]) -> Group {
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

/// The height at which a level is drawn: its own, or just below a flat that lies at it.
fn beside_flats(level: f64, heights: &[f64]) -> f64 {
    let flat = heights.iter().filter(|z| (**z - level).abs() < FLAT_MM).count();
    if flat as f64 > FLAT_SHARE * heights.len() as f64 { level - FLAT_MM } else { level }
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
        let levels = marks::stations(b).map(|(_, y)| b.at(Point2::new(0.0, y)).y);
        let letter = marks::letter_place(b);
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
        let foot = b.on_foot(p);
        let z = |dx: f64, dy: f64| (b.foot.top)(Point2::new(foot.x + dx, foot.y + dy));
        let slope = (z(1.0, 0.0) - z(-1.0, 0.0)).hypot(z(0.0, 1.0) - z(0.0, -1.0)) / 2.0;
        (b.scale / slope.max(1e-3)).min(4.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_at_a_flat_is_drawn_below_it() {
        let slope: Vec<f64> = (0..1000).map(|k| 0.01 * f64::from(k)).collect();
        assert_eq!(beside_flats(4.0, &slope), 4.0);
        let flat = (0..300).map(|k| 4.0 + 0.01 * f64::from(k).sin());
        let with_flat: Vec<f64> = slope.iter().copied().chain(flat).collect();
        assert_eq!([3.0, 4.0, 5.0].map(|level| beside_flats(level, &with_flat)), [3.0, 4.0 - FLAT_MM, 5.0]);
        assert_eq!(beside_flats(1.0, &[]), 1.0);
    }
}
