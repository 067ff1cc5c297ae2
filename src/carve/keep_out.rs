//! Places that no part of a cutter may enter: clamps on the bed, and the other piece in the same
//! blank. Every movement is held against them, rapids too, by its geometry and not on a lattice.

use super::proof::Cut;
use super::violation::{Blame, Ledger, ViolationKind as Kind};
use crate::frame::{Point2, Point3, Rect, Vector2};
use crate::kernel::Shape;
use crate::nc::Travel;
use crate::profile::Cutter;

/// Places nearer than this to a boundary are on it, mm: programs carry three decimals.
const ROUNDING_MM: f64 = 1e-6;

/// Thirds of a move in the search for its lowest place: 300 mm shrink to a hundredth of a micrometre.
const SEARCH_STEPS: usize = 60;

/// A column on the bed that must not be touched.
#[derive(Clone, Debug, PartialEq)]
pub struct KeepOut {
    /// What stands there, as messages call it.
    pub name: String,
    /// Seen from above, in program coordinates, closed.
    pub outline: Vec<Point2>,
    /// How high it reaches above the bed, mm.
    pub height_mm: f64,
}

impl KeepOut {
    /// A box on the bed.
    pub fn rect(name: String, rect: Rect, height_mm: f64) -> KeepOut {
        let Rect { x0, y0, x1, y1 } = rect;
        let outline = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)].map(|(x, y)| Point2::new(x, y)).to_vec();
        KeepOut { name, outline, height_mm }
    }

    /// Whether it has an inside at all.
    pub(super) fn is_sound(&self) -> bool {
        let finite = self.outline.iter().all(|p| p.x.is_finite() && p.y.is_finite());
        self.outline.len() >= 3 && finite && self.height_mm.is_finite()
    }

    fn edges(&self) -> impl Iterator<Item = (Point2, Point2)> + '_ {
        let next = self.outline.iter().cycle().skip(1);
        self.outline.iter().zip(next).map(|(&a, &b)| (a, b))
    }

    fn contains(&self, p: Point2) -> bool {
        let crossing = |&(a, b): &(Point2, Point2)| {
            (a.y <= p.y) != (b.y <= p.y) && a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y) > p.x
        };
        self.edges().filter(crossing).count() % 2 == 1
    }
}

/// Holds every travel of `cut` against every place: the worst part of each travel is told.
pub(super) fn judge(cut: &Cut<'_>, places: &[KeepOut], ledger: &mut Ledger) {
    let parts = parts(cut.cutter);
    for place in places {
        let Some(rect) = Rect::around(&place.outline) else { continue };
        for travel in &cut.program.travels {
            let deepest = parts.iter().filter_map(|part| Some((part, part.dips(travel, place, rect)?)));
            let Some((part, dip)) = deepest.max_by(|a, b| a.1.depth_mm.total_cmp(&b.1.depth_mm)) else { continue };
            let blame = Blame { file: cut.name, line: travel.line };
            ledger.add(Kind::KeepOut, blame, dip.tip, (dip.depth_mm, 0.0), || {
                let (words, what, depth, Point3 { coords }) = (part.words, &place.name, dip.depth_mm, dip.tip);
                format!(
                    "{words} comes {depth:.2} mm deep into {what} with the tip at ({:.1}, {:.1}): keep away from it, \
                     or lay the blank anew",
                    coords.x, coords.y
                )
            });
        }
    }
}

/// The cutter, its shank or its holder.
struct Part {
    words: &'static str,
    shape: Shape,
    above_tip_mm: f64,
}

fn parts(cutter: &Cutter) -> Vec<Part> {
    let cylinder = |words, diameter_mm: f64, above_tip_mm| {
        (diameter_mm > 0.0).then_some(Part { words, shape: Shape::Flat { radius: 0.5 * diameter_mm }, above_tip_mm })
    };
    let own = Part { words: "the cutter", shape: cutter.shape, above_tip_mm: 0.0 };
    [
        Some(own),
        cylinder("the shank", cutter.shank_diameter_mm, cutter.flute_length_mm),
        cylinder("the holder", cutter.holder_diameter_mm, cutter.stickout_mm),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The tip where a part is deepest in a place.
struct Dip {
    depth_mm: f64,
    tip: Point3,
}

impl Part {
    /// Where on `travel` this part is deepest in `place`, whose box is `rect`.
    ///
    /// Over one side of the place's outline the part's lowest surface is a convex function along the
    /// move, as the distance to a side and the profile are; within the outline the profile's lowest
    /// point, on the axis, counts. So the sides, and the ends that lie inside, hold the lowest of all.
    fn dips(&self, travel: &Travel, place: &KeepOut, rect: Rect) -> Option<Dip> {
        let (a, b) = (travel.from, travel.to);
        let low = a.z.min(b.z) + self.above_tip_mm;
        let reach = rect.grown(self.shape.radius());
        let away =
            a.x.max(b.x) < reach.x0 || a.x.min(b.x) > reach.x1 || a.y.max(b.y) < reach.y0 || a.y.min(b.y) > reach.y1;
        if away || low >= place.height_mm {
            return None;
        }
        let inside = [(a, 0.0), (b, 1.0)].into_iter().filter(|(p, _)| place.contains(p.xy())).map(|(_, t)| t);
        let beside = place.edges().filter_map(|edge| self.lowest_beside(a, b, edge));
        let height = |t: f64, distance: f64| (a + (b - a) * t).z + self.above_tip_mm + self.shape.height_at(distance);
        let ends = inside.map(|t| (t, height(t, 0.0)));
        let (t, z) = ends.chain(beside).min_by(|p, q| p.1.total_cmp(&q.1))?;
        let depth_mm = place.height_mm - z;
        (depth_mm > ROUNDING_MM).then(|| Dip { depth_mm, tip: a + (b - a) * t })
    }

    /// The share of the move at which the part is lowest over the side, and its surface's height
    /// there; `None` where it passes beside.
    fn lowest_beside(&self, a: Point3, b: Point3, edge: (Point2, Point2)) -> Option<(f64, f64)> {
        let radius = self.shape.radius() - ROUNDING_MM;
        let (low, high) = (edge.0.inf(&edge.1), edge.0.sup(&edge.1));
        let away = a.x.max(b.x) < low.x - radius
            || a.x.min(b.x) > high.x + radius
            || a.y.max(b.y) < low.y - radius
            || a.y.min(b.y) > high.y + radius;
        if away {
            return None;
        }
        let at = |t: f64| a + (b - a) * t;
        let distance = |t: f64| to_side(at(t).xy(), edge);
        let nearest = lowest(0.0, 1.0, distance);
        if distance(nearest) >= radius {
            return None;
        }
        // The part of the move that reaches the side; beyond it the profile has no height.
        let reaches = |mut within: f64, mut beyond: f64| {
            if distance(beyond) < radius {
                return beyond;
            }
            for _ in 0..SEARCH_STEPS {
                let middle = 0.5 * (within + beyond);
                if distance(middle) < radius { within = middle } else { beyond = middle }
            }
            within
        };
        let surface = |t: f64| at(t).z + self.above_tip_mm + self.shape.height_at(distance(t).min(self.shape.radius()));
        let t = lowest(reaches(nearest, 0.0), reaches(nearest, 1.0), surface);
        Some((t, surface(t)))
    }
}

/// Where a convex function is least between `low` and `high`, by thirds.
fn lowest(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..SEARCH_STEPS {
        let (p, q) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if f(p) <= f(q) { high = q } else { low = p }
    }
    0.5 * (low + high)
}

/// Distance from `p` to the side from `a` to `b`.
fn to_side(p: Point2, (a, b): (Point2, Point2)) -> f64 {
    let (along, to): (Vector2, Vector2) = (b - a, p - a);
    let t = (to.dot(&along) / along.norm_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    (to - along * t).norm()
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    use super::*;
    use crate::kernel::Sweep;

    fn travel(from: [f64; 3], to: [f64; 3]) -> Travel {
        let (from, to) = (Point3::from(from), Point3::from(to));
        Travel { line: 7, rapid: false, from, to, feed_mm_min: 1000.0, spindle_rpm: 10_000.0 }
    }

    fn clamp() -> KeepOut {
        KeepOut::rect("clamp 1".into(), Rect { x0: 20.0, y0: 10.0, x1: 30.0, y1: 40.0 }, 25.0)
    }

    fn depth(part: &Part, travel: &Travel, place: &KeepOut) -> f64 {
        let rect = Rect::around(&place.outline).unwrap();
        part.dips(travel, place, rect).map_or(0.0, |dip| dip.depth_mm)
    }

    fn ball() -> Part {
        Part { words: "the cutter", shape: Shape::Ball { radius: 3.0 }, above_tip_mm: 0.0 }
    }

    /// A ball of radius 3 that passes 1 mm beside a wall at tip height 20 has its surface at
    /// 20 + 3 - sqrt(9 - 1) over the wall's edge.
    #[test]
    fn a_ball_beside_a_wall_is_as_deep_as_its_form_says() {
        let beside = travel([19.0, 0.0, 20.0], [19.0, 50.0, 20.0]);
        assert_abs_diff_eq!(depth(&ball(), &beside, &clamp()), 25.0 - (23.0 - 8.0_f64.sqrt()), epsilon = 1e-6);
        let over = travel([0.0, 20.0, 24.5], [50.0, 20.0, 24.5]);
        assert_abs_diff_eq!(depth(&ball(), &over, &clamp()), 0.5, epsilon = 1e-9);
        for free in [travel([16.9, 0.0, 0.0], [16.9, 50.0, 0.0]), travel([0.0, 20.0, 25.0], [50.0, 20.0, 25.0])] {
            assert_eq!(depth(&ball(), &free, &clamp()), 0.0);
        }
    }

    /// A dive whose ends both lie inside is deepest at its lower end.
    #[test]
    fn moves_inside_and_plunges_are_seen() {
        let inside = travel([25.0, 20.0, 30.0], [25.0, 30.0, 12.0]);
        assert_abs_diff_eq!(depth(&ball(), &inside, &clamp()), 13.0, epsilon = 1e-9);
        let plunge = travel([25.0, 20.0, 30.0], [25.0, 20.0, 24.0]);
        assert_abs_diff_eq!(depth(&ball(), &plunge, &clamp()), 1.0, epsilon = 1e-9);
    }

    #[test]
    fn a_holder_meets_what_the_cutter_misses() {
        let cutter = Cutter {
            name: "long".into(),
            shape: Shape::Flat { radius: 3.0 },
            flutes: 2,
            flute_length_mm: 10.0,
            shank_diameter_mm: 6.0,
            stickout_mm: 20.0,
            holder_diameter_mm: 30.0,
        };
        let beside = travel([10.0, 0.0, 2.0], [10.0, 50.0, 2.0]);
        let depths: Vec<f64> = parts(&cutter).iter().map(|part| depth(part, &beside, &clamp())).collect();
        assert_eq!(depths[..2], [0.0, 0.0]);
        assert_abs_diff_eq!(depths[2], 3.0, epsilon = 1e-9);
    }

    /// Against the swept heights of the kernel at many places of the clamp.
    fn is_as_deep_as_places_say(a: [f64; 3], b: [f64; 3], kind: usize) -> Result<(), TestCaseError> {
        let shape =
            [Shape::Flat { radius: 4.0 }, Shape::Ball { radius: 4.0 }, Shape::Bull { radius: 4.0, corner: 1.0 }][kind];
        let (part, place, travel) = (Part { shape, ..ball() }, clamp(), travel(a, b));
        let sweep = Sweep::new(&shape, travel.from, travel.to);
        let mut most: f64 = 0.0;
        for (i, j) in (0..=100).flat_map(|i| (0..=300).map(move |j| (i, j))) {
            let p = Point2::new(20.0 + 0.1 * f64::from(i), 10.0 + 0.1 * f64::from(j));
            most = most.max(25.0 - sweep.height_at(p));
        }
        let told = depth(&part, &travel, &place);
        let slope = (travel.to.z - travel.from.z).abs() / (travel.to - travel.from).xy().norm().max(0.01);
        // A cutter's edge is told apart from a boundary by a rounding, which a steep move makes deep.
        prop_assert!(told >= most - 10.0 * ROUNDING_MM * (1.0 + slope), "{told} told, {most} at a place");
        // Between the places, a round edge rises by up to 0.8 mm and a flat one comes a step earlier.
        prop_assert!(most == 0.0 || told <= most + 1.0 + 0.2 * slope, "{told} told, {most} at a place");
        Ok(())
    }

    /// A steep move whose flat edge runs along the clamp's boundary: a rounding decides on which side,
    /// and the steepness makes it deep.
    #[test]
    fn a_steep_move_along_the_boundary_is_told() {
        let (a, b) = ([0.0, 10.562194688572076, 0.0], [39.42578512353118, 1.8523237053118211, 32.97430671839763]);
        is_as_deep_as_places_say(a, b, 0).unwrap();
        let (a, b) = (
            [12.271864021690334, 36.545019136183754, 0.0],
            [19.73994710511704, 46.103009864654844, 17.268333267493116],
        );
        is_as_deep_as_places_say(a, b, 0).unwrap();
    }

    proptest! {
        #[test]
        fn as_deep_as_places_of_the_clamp_say(
            a in [0.0..60.0f64, 0.0..60.0f64, 0.0..40.0f64],
            b in [0.0..60.0f64, 0.0..60.0f64, 0.0..40.0f64],
            kind in 0..3usize,
        ) {
            is_as_deep_as_places_say(a, b, kind)?;
        }
    }
}
