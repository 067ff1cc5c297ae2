//! The last cut: around the trim outline in levels, leaving holding tabs on its gentle parts.

use super::cutting::{LEAST_AIR_MM, check, worst_outside};
use super::outline::Outline;
use super::rough::side_step;
use super::tabs::{self, Tab};
use super::trail::{Trail, ceil3, round3};
use super::{Cutting, PathError, Step, Target, Toolpath};
use crate::frame::{Point2, Point3};
use crate::kernel::{Shape, Surface};
use crate::ticket::Hold;

/// The centre line lies this much further out than the cutter's radius, so that thinning and
/// rounding, which together stay below it, never touch the piece. With them the piece is at most
/// 0.01 mm too large.
pub const OUTWARD_MM: f64 = 0.005;
const CHORD_MM: f64 = 0.001;
const THINNING_MM: f64 = 0.003;

/// What a cutter too wide for a notch may leave standing there: less than hand sanding takes off
/// (our own choice).
const NOTCH_MM: f64 = 0.2;

/// The perimeter path: clockwise around the piece, which with a spindle turning clockwise cuts with
/// the feed (climb milling), in levels no deeper than the step-down, to the bed or as deep into it
/// as allowed. Tabs stand as high as ordered, over their length plus the cutter's diameter measured
/// along the centre line; or the cut ends on a skin.
pub fn perimeter(target: &Target, cutting: &Cutting) -> Result<Toolpath, PathError> {
    check(target, cutting)?;
    let Shape::Flat { radius } = cutting.perimeter.shape else {
        return Err(PathError::PerimeterNotFlat { name: cutting.perimeter.name.clone() });
    };
    let line = centre_line(target, radius)?;
    let plan = Plan::new(target, cutting, line, radius)?;
    let mut trail = Trail::new(target, cutting);
    plan.cut(&mut trail);
    Ok(Toolpath {
        step: Step::Perimeter,
        cutter: cutting.perimeter.clone(),
        spindle_rpm: cutting.spindle_rpm,
        moves: trail.finish(),
    })
}

/// The outline moved outward by the radius, clockwise, beginning at one end of the piece.
fn centre_line(target: &Target, radius: f64) -> Result<Vec<Point2>, PathError> {
    let outline = Outline::new(&target.outline)?;
    let loops = outline.grown(radius + OUTWARD_MM, CHORD_MM);
    let [line] = loops.as_slice() else {
        let why = format!("moved outward by {radius} mm it falls into {} loops instead of one", loops.len());
        return Err(PathError::Outline { why });
    };
    let thin = line.thinned(THINNING_MM);
    let mut points: Vec<Point2> = thin.points.iter().map(|p| Point2::new(round3(p.x), round3(p.y))).collect();
    if let Some((by_mm, p)) = worst_outside(target.blank, &points) {
        return Err(PathError::PerimeterLeavesBlank { by_mm, x: p.x, y: p.y, radius_mm: radius });
    }
    verify(&outline, &Outline { points: points.clone() }, radius)?;
    points.reverse();
    Ok(points)
}

/// Looks at the rounded line again: nowhere closer than the radius, and nothing left in notches.
/// Two polylines that do not cross are nearest at a vertex of one of them.
fn verify(outline: &Outline, line: &Outline, radius: f64) -> Result<(), PathError> {
    for p in &line.points {
        if outline.distance(*p) < radius || outline.contains(*p) {
            let why = format!("its centre line comes closer than {radius} mm at x {:.2} y {:.2}", p.x, p.y);
            return Err(PathError::Outline { why });
        }
    }
    for p in &outline.points {
        let left_mm = line.distance(*p) - radius;
        if left_mm < 0.0 {
            let why = format!("its centre line comes closer than {radius} mm to x {:.2} y {:.2}", p.x, p.y);
            return Err(PathError::Outline { why });
        }
        if left_mm > NOTCH_MM {
            return Err(PathError::Notch { diameter_mm: 2.0 * radius, left_mm, x: p.x, y: p.y });
        }
    }
    Ok(())
}

/// A place on the centre line.
#[derive(Clone, Copy)]
struct Station {
    /// Distance along the line, mm.
    s: f64,
    at: Point2,
    /// Whether the line turns here, so that a move must end here.
    corner: bool,
    /// Nothing under the cutter stands higher than this when the cut begins, mm.
    standing: f64,
}

struct Plan<'t> {
    cutting: &'t Cutting,
    stations: Vec<Station>,
    length: f64,
    tabs: Vec<Tab>,
    /// Height of the tabs; nothing stands above it where there are none.
    tab_top: f64,
    bottom: f64,
}

/// Distance of stations, mm: the stock beside the outline changes slowly on this scale.
const STATION_MM: f64 = 2.0;

/// Cuts of a level with less air than this between them are made in one go, mm.
const SHORT_AIR_MM: f64 = 15.0;

impl<'t> Plan<'t> {
    fn new(target: &'t Target, cutting: &'t Cutting, line: Vec<Point2>, radius: f64) -> Result<Plan<'t>, PathError> {
        let mut stations = stations(&line);
        let standing = standing(target, cutting, &stations, radius)?;
        for (station, z) in stations.iter_mut().zip(standing) {
            station.standing = z;
        }
        let (stations, length) = begin_at_an_end(stations);
        let places: Vec<(f64, Point2)> = stations.iter().map(|st| (st.s, st.at)).collect();
        let (tabs, tab_top, bottom) = match cutting.hold {
            Hold::Tabs(asked) => {
                (tabs::place(&places, length, asked, radius)?, asked.thickness_mm, round3(-cutting.bed_cut_mm))
            }
            Hold::Skin { thickness_mm } => (Vec::new(), f64::NEG_INFINITY, ceil3(thickness_mm)),
        };
        Ok(Plan { cutting, stations, length, tabs, tab_top, bottom })
    }

    /// Floors of the levels, equally deep.
    fn floors(&self) -> Vec<f64> {
        let top = self.stations.iter().fold(self.bottom, |top, st| top.max(st.standing));
        let n = ((top - self.bottom) / self.cutting.step_down_mm).ceil().max(1.0) as usize;
        (1..=n)
            .map(|k| if k == n { self.bottom } else { ceil3(top + (self.bottom - top) * k as f64 / n as f64) })
            .collect()
    }

    fn cut(&self, trail: &mut Trail) {
        let mut before = f64::INFINITY;
        let mut here = None;
        for floor in self.floors() {
            let runs = self.runs(floor);
            if runs.is_empty() {
                here = Some(self.lap(trail, here, before, floor));
            } else {
                here = None;
                runs.into_iter().for_each(|(from, to)| self.run(trail, from, to, floor));
            }
            before = floor;
        }
    }

    /// Stretches where something stands above the floor, from air to air; none when that is the
    /// case all around.
    fn runs(&self, floor: f64) -> Vec<(f64, f64)> {
        let n = self.stations.len();
        let air = |k: usize| self.stations[k % n].standing <= floor;
        let Some(start) = (0..n).find(|&k| air(k) && !air(k + 1)) else { return Vec::new() };
        let s = |k: usize| self.stations[k % n].s + if k >= n { self.length } else { 0.0 };
        let mut runs: Vec<(f64, f64)> = Vec::new();
        let mut from = None;
        for k in start..=start + n {
            match (air(k), from) {
                (true, Some(begun)) => {
                    match runs.last_mut() {
                        Some(last) if begun - last.1 < SHORT_AIR_MM => last.1 = s(k),
                        _ => runs.push((begun, s(k))),
                    }
                    from = (!air(k + 1)).then(|| s(k));
                }
                (true, None) => from = (!air(k + 1)).then(|| s(k)),
                (false, _) => {}
            }
        }
        runs
    }

    /// One stretch: it begins where the cutter has air down to the floor.
    fn run(&self, trail: &mut Trail, from: f64, to: f64, floor: f64) {
        trail.enter_over(self.at(from), floor + LEAST_AIR_MM);
        self.follow(trail, from, to, |_| floor);
    }

    /// Once around: a ramp down along the line, the whole line, and the ramp's length again. Starts
    /// at `here` when the tip is still in the groove of the level before. Returns where it ends.
    fn lap(&self, trail: &mut Trail, here: Option<f64>, before: f64, floor: f64) -> f64 {
        let from = here.unwrap_or(0.0);
        let first = self.standing(from);
        let high = first.min(before).max(floor);
        if here.is_none() {
            trail.enter_over(self.at(from), high.max(self.tab_top(from)) + LEAST_AIR_MM);
        }
        let slope = self.cutting.ramp_deg.to_radians().tan().max((high - floor) / (0.5 * self.length));
        let ramp = (high - floor) / slope;
        self.follow(trail, from, from + ramp, |s| high - slope * (s - from));
        self.follow(trail, from + ramp, from + self.length + ramp, |_| floor);
        (from + ramp) % self.length
    }

    /// Along the line from `from` to `to` at height `z`, but never below a tab.
    fn follow(&self, trail: &mut Trail, from: f64, to: f64, z: impl Fn(f64) -> f64) {
        let mut stops = vec![from, to];
        for turn in 0..=2 {
            let ahead = f64::from(turn) * self.length;
            stops.extend(self.stations.iter().filter(|st| st.corner).map(|st| st.s + ahead));
            stops.extend(self.tabs.iter().flat_map(|tab| [tab.from + ahead, tab.to + ahead]));
        }
        stops.retain(|&s| s >= from && s <= to);
        stops.sort_by(f64::total_cmp);
        stops.dedup_by(|a, b| *a - *b < 1e-6);
        for pair in stops.windows(2) {
            let over = self.tab_top(0.5 * (pair[0] + pair[1]));
            for s in pair {
                let at = self.at(*s);
                trail.cut_to(Point3::new(at.x, at.y, ceil3(z(*s).max(over))));
            }
        }
    }

    /// Height of the tab that the cutter would touch at `s`; negative infinity where none is.
    fn tab_top(&self, s: f64) -> f64 {
        let s = s % self.length;
        let under = self.tabs.iter().any(|tab| s > tab.from && s < tab.to);
        if under { self.tab_top } else { f64::NEG_INFINITY }
    }

    /// The stations before and after `s`, and how far between them it lies, 0..=1.
    fn around(&self, s: f64) -> (&Station, &Station, f64) {
        let s = s % self.length;
        let n = self.stations.len();
        let k = self.stations.partition_point(|st| st.s <= s).clamp(1, n);
        let (a, b) = (&self.stations[k - 1], &self.stations[k % n]);
        let end = if k == n { self.length } else { b.s };
        (a, b, ((s - a.s) / (end - a.s)).clamp(0.0, 1.0))
    }

    fn at(&self, s: f64) -> Point2 {
        let (a, b, t) = self.around(s);
        a.at + (b.at - a.at) * t
    }

    fn standing(&self, s: f64) -> f64 {
        let (a, b, _) = self.around(s);
        a.standing.max(b.standing)
    }
}

/// The line's points with more between them, so that none are further apart than a station.
fn stations(line: &[Point2]) -> Vec<Station> {
    let mut out = Vec::new();
    let mut s = 0.0;
    for (k, a) in line.iter().enumerate() {
        let b = line[(k + 1) % line.len()];
        let length = (b - a).norm();
        let n = (length / STATION_MM).ceil().max(1.0) as usize;
        for i in 0..n {
            let t = i as f64 / n as f64;
            out.push(Station { s: s + t * length, at: a + (b - a) * t, corner: i == 0, standing: 0.0 });
        }
        s += length;
    }
    out
}

/// The most that can stand under the cutter at each station after roughing.
///
/// Between roughing passes a side step apart, a point keeps at most what the nearest tip left: the
/// rest height there, which is no higher than the surface within the roughing cutter's radius, plus
/// the allowance and the profile's rise over half a side step. Where the surface's map ends inside
/// the blank nothing is known and the blank stands.
fn standing(target: &Target, cutting: &Cutting, stations: &[Station], radius: f64) -> Result<Vec<f64>, PathError> {
    let half = 0.5 * side_step(cutting);
    let rough = cutting.roughing.shape;
    let wide = radius + half + rough.radius() + cutting.allowance_mm;
    let over = cutting.allowance_mm + rough.height_at(half.min(rough.radius()));
    let surface = Surface::new(&target.surface)?;
    let places: Vec<Point2> = stations.iter().map(|st| st.at).collect();
    let highest = surface.reach_many(&Shape::Flat { radius: wide }, &places);
    let (map, blank) = (target.surface.lattice.rect(), target.blank);
    let known = |p: &Point2| {
        (p.x - radius).max(blank.x0) >= map.x0
            && (p.y - radius).max(blank.y0) >= map.y0
            && (p.x + radius).min(blank.x1) <= map.x1
            && (p.y + radius).min(blank.y1) <= map.y1
    };
    let top = target.blank_top_mm;
    Ok(places.iter().zip(highest).map(|(p, z)| if known(p) { (z + over).clamp(0.0, top) } else { top }).collect())
}

/// Turns the loop so that it begins at that end of the piece where less stands: no tab is ever put
/// there, and ramps are shortest. Returns its length too.
fn begin_at_an_end(stations: Vec<Station>) -> (Vec<Station>, f64) {
    let n = stations.len();
    let points: Vec<Point2> = stations.iter().map(|st| st.at).collect();
    let along = tabs::long_axis(&points);
    let extreme = |sign: f64| {
        (0..n).max_by(|&a, &b| (sign * along(points[a])).total_cmp(&(sign * along(points[b])))).unwrap_or(0)
    };
    let (low, high) = (extreme(-1.0), extreme(1.0));
    let start = if stations[low].standing < stations[high].standing { low } else { high };
    let length = (0..n).map(|k| (points[(k + 1) % n] - points[k]).norm()).sum();
    let mut turned = Vec::with_capacity(n);
    let mut s = 0.0;
    for k in 0..n {
        let (here, next) = (stations[(start + k) % n], stations[(start + k + 1) % n]);
        turned.push(Station { s, ..here });
        s += (next.at - here.at).norm();
    }
    (turned, length)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::testbed::{Stock, check_moves, cutter, cutting, footbed, plane};
    use crate::path::{Motion, finish, rough};
    use crate::ticket::Passes;
    use proptest::prelude::*;

    fn planned() -> (Target, Cutting, Toolpath) {
        let (target, cutting) = (footbed(0.5), cutting(Passes::Along));
        let path = perimeter(&target, &cutting).unwrap();
        (target, cutting, path)
    }

    /// The three cuts one after the other, as on the machine.
    #[test]
    fn no_cut_is_deeper_than_a_step_and_rapids_stay_in_air() {
        let (target, cutting, path) = planned();
        check_moves(&path, &target, &cutting);
        let wide = Cutting { finishing: cutter("ball 12", Shape::Ball { radius: 6.0 }), ..cutting.clone() };
        for cutting in [cutting, wide] {
            let mut stock = Stock::blank(&target);
            stock.carry_out(&rough(&target, &cutting).unwrap());
            for path in [&finish(&target, &cutting, &|_| 0.0).unwrap(), &path] {
                let (deepest, struck) = stock.carry_out(path);
                assert!(deepest <= cutting.step_down_mm + 0.01, "{:?}: {deepest} mm at once", path.step);
                assert!(struck < 1e-9, "a rapid takes {struck} mm");
            }
        }
    }

    /// The piece is nowhere cut into and nowhere more than 0.01 mm too large.
    #[test]
    fn the_centre_line_lies_a_radius_outside() {
        let (target, _, path) = planned();
        let outline = Outline::new(&target.outline).unwrap();
        for m in path.moves.iter().filter(|m| matches!(m.motion, Motion::Feed(_))) {
            let d = outline.distance(m.to.xy());
            assert!((3.0..=3.01).contains(&d), "{d} at {}", m.to);
            assert!(!outline.contains(m.to.xy()));
        }
    }

    #[test]
    fn tabs_are_left_as_ordered_and_off_the_ends() {
        let (target, cutting, path) = planned();
        let mut tabs: Vec<f64> = Vec::new();
        let mut last_on_tab = false;
        for pair in path.moves.windows(2) {
            let on_tab = pair[0].to.z == 1.2 && pair[1].to.z == 1.2;
            let sideways = (pair[1].to.xy() - pair[0].to.xy()).norm();
            if on_tab {
                match tabs.last_mut() {
                    Some(length) if last_on_tab => *length += sideways,
                    _ => tabs.push(sideways),
                }
                let y = pair[1].to.y;
                assert!((45.0..=260.0).contains(&y), "a tab at y {y}");
            }
            last_on_tab = on_tab;
        }
        assert!(matches!(cutting.hold, Hold::Tabs(asked) if asked.count == tabs.len()), "{tabs:?}");
        tabs.iter().for_each(|length| assert!((length - 12.0).abs() < 0.02, "{length}"));
        let lowest = path.moves.iter().map(|m| m.to.z).fold(f64::INFINITY, f64::min);
        assert_eq!(lowest, 0.0);
        assert!(target.outline.len() > 100);
    }

    #[test]
    fn a_skin_is_left_all_round() {
        let (target, cutting) = (footbed(0.5), cutting(Passes::Along));
        let cutting = Cutting { hold: Hold::Skin { thickness_mm: 0.4 }, bed_cut_mm: 0.2, ..cutting };
        let path = perimeter(&target, &cutting).unwrap();
        check_moves(&path, &target, &cutting);
        let lowest = path.moves.iter().map(|m| m.to.z).fold(f64::INFINITY, f64::min);
        assert_eq!(lowest, 0.4);
        let level: f64 =
            path.moves.windows(2).filter(|w| w.iter().all(|m| m.to.z == 0.4)).map(|w| (w[1].to - w[0].to).norm()).sum();
        let around = Outline::new(&target.outline).unwrap().edges().map(|(a, b)| (b - a).norm()).sum::<f64>();
        assert!(level > around, "{level} mm of {around} at the skin's height");
    }

    /// Clockwise: the last lap's area by the shoelace rule is negative.
    #[test]
    fn it_climbs_around_the_piece() {
        let (.., path) = planned();
        let lap: Vec<Point2> = path.moves.iter().filter(|m| m.to.z <= 1.2).map(|m| m.to.xy()).collect();
        let area: f64 = lap.windows(2).map(|w| 0.5 * (w[0].x * w[1].y - w[1].x * w[0].y)).sum();
        assert!(area < -10_000.0, "{area}");
    }

    #[test]
    fn what_cannot_be_cut_is_refused_with_a_measure() {
        let (mut target, mut cutting, _) = planned();
        cutting.perimeter = cutting.finishing.clone();
        assert!(matches!(perimeter(&target, &cutting), Err(PathError::PerimeterNotFlat { .. })));
        cutting.perimeter.shape = Shape::Flat { radius: 25.0 };
        assert!(matches!(perimeter(&target, &cutting), Err(PathError::PerimeterLeavesBlank { .. })));
        cutting.perimeter.shape = Shape::Flat { radius: 3.0 };
        let notch =
            [(20.0, 20.0), (60.0, 20.0), (60.0, 58.0), (55.0, 60.0), (60.0, 62.0), (60.0, 120.0), (20.0, 120.0)];
        target.outline = notch.map(|(x, y)| Point2::new(x, y)).to_vec();
        let refused = perimeter(&target, &cutting).unwrap_err();
        assert!(matches!(refused, PathError::Notch { .. }), "{refused}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Any star-shaped outline is either followed soundly or refused; none makes a panic.
        #[test]
        fn odd_outlines_are_followed_or_refused(radii in proptest::collection::vec(0.0..45.0f64, 3..40)) {
            let mut target = plane(0.05, 0.02);
            let turn = std::f64::consts::TAU / radii.len() as f64;
            let point = |(k, r): (usize, &f64)| Point2::new(50.0 + r * (turn * k as f64).cos(), 60.0 + r * (turn * k as f64).sin());
            target.outline = radii.iter().enumerate().map(point).collect();
            let cutting = cutting(Passes::Across);
            for path in [perimeter(&target, &cutting), rough(&target, &cutting), finish(&target, &cutting, &|_| 0.0)] {
                match path {
                    Ok(path) => check_moves(&path, &target, &cutting),
                    Err(refused) => prop_assert!(!refused.to_string().is_empty()),
                }
            }
        }
    }
}
