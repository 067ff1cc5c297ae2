//! The edge of a scanned piece: how far it lies from the designed outline all the way round, and from
//! that the heel centre, the long axis and the three sizes.

use std::cell::RefCell;

use nalgebra::{DMatrix, Matrix3, Vector3 as V3};

use super::model::stations;
use super::plan::Plan;
use crate::footbed::Footbed;
use crate::frame::{Point2, Vector2};
use crate::gauge;
use crate::inspect::COVERAGE;
use crate::register::{Cloud, Facing};
use crate::regress::{self, Noise, median};
use crate::value::Value;

/// Distance between the places at which the edge is looked for, mm.
const STATION_MM: f64 = 4.0;
/// The edge may lie this far from the design, mm: a size wrong by a centimetre is still measured.
const REACH_MM: f64 = 12.0;
/// Nearer to top or underside than this a point is not of the wall, mm.
const CLEAR_MM: f64 = 0.8;
/// Part of the way round that must be seen.
const LEAST_SEEN: f64 = 0.5;
/// What lies further from the edge that fits all round is not of the piece, mm.
const NO_EDGE_MM: f64 = 1.5;
/// A turn counts in mm at this distance, so that all columns are of one size.
pub(super) const ARM_MM: f64 = 100.0;

/// The edge as scanned.
#[derive(Clone, Debug)]
pub(super) struct Edge {
    /// Shift of the piece against the design, mm, and turn, mm at 100 mm; with their covariance.
    pub(super) off: V3<f64>,
    pub(super) covariance: Matrix3<f64>,
    /// The sizes: gauged, by least squares, and the standard uncertainty of each.
    pub(super) sizes: Vec<Size>,
    /// Share of the way round that was seen.
    pub(super) seen: f64,
    /// Places of the edge, with how far out the piece's edge lies there.
    moved: Vec<(Point2, Vector2)>,
    /// What one such place may be off by, k = 2, mm.
    doubt_mm: f64,
}

impl Edge {
    /// How far the edge about `p` lies from the design's; zero where that is within what edges and scans
    /// scatter, since a place that follows noise is read at the wrong place.
    pub(super) fn moved_near(&self, p: Point2) -> Vector2 {
        /// Edges of good pieces are sanded by hand, mm (shop's own choice).
        const SANDED_MM: f64 = 0.2;
        /// So far about the nearest place, mm.
        const ABOUT_MM: f64 = 8.0;
        let apart = |at: &Point2| (at - p).norm();
        let nearest = self.moved.iter().map(|(at, _)| apart(at)).fold(f64::INFINITY, f64::min);
        let near = self.moved.iter().filter(|(at, _)| apart(at) < nearest + ABOUT_MM);
        let middle = |k: usize| median(&mut near.clone().map(|(_, moved)| moved[k]).collect::<Vec<f64>>());
        let moved = Vector2::new(middle(0).unwrap_or(0.0), middle(1).unwrap_or(0.0));
        if moved.norm() > SANDED_MM + self.doubt_mm { moved } else { Vector2::zeros() }
    }
}

/// One size of the outline, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Size {
    pub(super) value: Value,
    /// At its own place, with its standard uncertainty; `None` where that was not seen.
    pub(super) gauged: Option<(f64, f64)>,
    pub(super) fitted: f64,
    pub(super) fitted_u: f64,
    /// The part of both uncertainties that all pieces share that are scanned alike.
    pub(super) shared_u: f64,
    pub(super) count: usize,
}

/// One place of the edge.
struct Station {
    at: Point2,
    out: Vector2,
    /// How far out the piece's edge lies, mm; `None` where it was not seen.
    off: Option<f64>,
}

/// The edge; `None` when too little of it was seen to place the piece by it.
pub(super) fn edge(cloud: &Cloud, plan: &Plan) -> Option<Edge> {
    let mut found = walls(cloud, plan);
    let mut end_mm = 0.0;
    if share_seen(&found) < LEAST_SEEN {
        (found, end_mm) = rims(cloud, plan);
    }
    let seen = share_seen(&found);
    let known: Vec<&Station> = found.iter().filter(|s| s.off.is_some()).collect();
    let shape = Shape::of(plan.footbed);
    let columns = DMatrix::from_fn(known.len(), 6, |i, k| shape.column(k, known[i]));
    let places: Vec<Point2> = known.iter().map(|s| s.at).collect();
    let offs: Vec<f64> = known.iter().filter_map(|s| s.off).collect();
    let fit = (seen >= LEAST_SEEN).then(|| regress::fit(&places, &columns, &offs, 0.0)).flatten()?;
    let rigid = V3::new(fit.coefficients[0], fit.coefficients[1], fit.coefficients[2]);
    let covariance = Matrix3::from_fn(|i, j| fit.covariance[(i, j)]);
    // Far beside the rest of the edge it is a clamp that was seen, not the piece.
    for station in found.iter_mut() {
        let expected: f64 = (0..6).map(|k| fit.coefficients[k] * shape.column(k, station)).sum();
        station.off = station.off.filter(|off| (off - expected).abs() < NO_EDGE_MM);
    }
    let sizes = sizes(&found, &shape, plan.footbed, &fit, end_mm);
    let moved = found.iter().filter_map(|s| Some((s.at, s.out * s.off?))).collect();
    let doubt_mm = COVERAGE * (end_variance(&fit.noise, 1) + end_mm * end_mm).sqrt();
    Some(Edge { off: rigid, covariance, sizes, seen, moved, doubt_mm })
}

fn share_seen(stations: &[Station]) -> f64 {
    stations.iter().filter(|s| s.off.is_some()).count() as f64 / stations.len().max(1) as f64
}

/// The edge where its wall was seen: the middle of the wall's points at each place.
fn walls(cloud: &Cloud, plan: &Plan) -> Vec<Station> {
    let is_wall = |i: usize, p: Point2| {
        let (z, n) = (cloud.points[i].z, cloud.normals[i]);
        let nearest = plan.footbed.outline.nearest(p);
        n.z.abs() < 0.5 && z > CLEAR_MM && z < plan.footbed.top_at(nearest) - CLEAR_MM
    };
    let outward = |i: usize, out: Vector2| {
        let along = cloud.normals[i].xy().dot(&out);
        if cloud.facing == Facing::Outward { along > 0.5 } else { along.abs() > 0.5 }
    };
    gathered(cloud, plan, is_wall, outward, |offs| median(offs))
}

/// The edge where only the top was seen, a little further than its points end; with the standard
/// uncertainty of that, mm, which all such ends share.
fn rims(cloud: &Cloud, plan: &Plan) -> (Vec<Station>, f64) {
    let is_top = |i: usize, p: Point2| {
        let nearest = plan.footbed.outline.nearest(p);
        (cloud.points[i].z - plan.footbed.top_at(nearest)).abs() < 2.0 && cloud.normals[i].z.abs() > 0.5
    };
    let gaps = RefCell::new(vec![]);
    let last = |offs: &mut Vec<f64>| {
        let (last, gap) = end_of_row(offs)?;
        gaps.borrow_mut().push(gap);
        Some(last)
    };
    let mut stations = gathered(cloud, plan, is_top, |_, _| true, last);
    let gap = median(&mut gaps.into_inner()).unwrap_or(0.0);
    // Behind the last but one of points that lie at random are 1.68 of their mean distances in the middle of
    // many rows (the median of a sum of two exponential ones). Samples are the means of what lies around
    // them: the more of it, the more evenly they fill a row, and about one is left.
    let behind = 1.0 + 0.68 * cloud.drawn_from.max(1.0).powi(-2);
    stations.iter_mut().filter_map(|station| station.off.as_mut()).for_each(|off| *off += behind * gap);
    // With even chance anywhere within one gap to either side.
    (stations, gap / 3.0_f64.sqrt())
}

/// The last but one of points in a row, since the very last may be a stray, and the mean distance of the
/// last few, mm.
fn end_of_row(offs: &mut [f64]) -> Option<(f64, f64)> {
    const FEW: usize = 6;
    offs.sort_by(|a, b| b.total_cmp(a));
    let last = *offs.get(1)?;
    let few = (offs.len() - 1).min(FEW + 1);
    Some((last, (last - offs[few]) / (few - 1).max(1) as f64))
}

fn gathered(
    cloud: &Cloud,
    plan: &Plan,
    is_wanted: impl Fn(usize, Point2) -> bool,
    faces: impl Fn(usize, Vector2) -> bool,
    drawn: impl Fn(&mut Vec<f64>) -> Option<f64>,
) -> Vec<Station> {
    let stations = stations(plan.footbed, STATION_MM);
    let mut offs: Vec<Vec<f64>> = vec![vec![]; stations.len()];
    for (i, p) in cloud.points.iter().map(|p| p.xy()).enumerate() {
        if plan.distance(p).abs() > REACH_MM || !is_wanted(i, p) {
            continue;
        }
        let apart = |k: &usize| (stations[*k].0 - p).norm_squared();
        let Some(k) = (0..stations.len()).min_by(|a, b| apart(a).total_cmp(&apart(b))) else { continue };
        if faces(i, stations[k].1) {
            // From the edge itself: from the station's tangent a round end would seem to lie further in.
            offs[k].push(plan.footbed.outline.signed_distance(p));
        }
    }
    let drawn_off = |mut offs: Vec<f64>| if offs.len() >= 2 { drawn(&mut offs) } else { None };
    stations.into_iter().zip(offs).map(|((at, out), offs)| Station { at, out, off: drawn_off(offs) }).collect()
}

/// What moves the edge: three motions of the whole, and growth of each size where it is measured.
struct Shape {
    heel_y: f64,
    toe_y: f64,
    ball_y: f64,
    /// Middle of the outline at the ball and at the heel.
    middle_x: [f64; 2],
}

impl Shape {
    fn of(footbed: &Footbed) -> Shape {
        let (outline, places) = (&footbed.outline, &footbed.places);
        let ball_y = 0.5 * (places.first_met.y + places.fifth_met.y);
        let middle = |y: f64| outline.section(y).map_or(0.0, |(a, b)| 0.5 * (a + b));
        Shape {
            heel_y: places.rim[0].y,
            toe_y: outline.bounds().y1,
            ball_y,
            middle_x: [middle(ball_y), middle(places.rim[0].y)],
        }
    }

    /// How far out the edge moves at a station when column `k` grows by one.
    fn column(&self, k: usize, station: &Station) -> f64 {
        let (p, n) = (station.at, station.out);
        let ease = |t: f64| {
            let t = t.clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        };
        // 1 at the heel's widest, 0 at the ball, eased between; behind and ahead as at the end.
        let heel = 1.0 - ease((p.y - self.heel_y) / (self.ball_y - self.heel_y));
        let side = |x: f64| 0.5 * (p.x - x).signum();
        match k {
            0 => n.x,
            1 => n.y,
            2 => (n.y * p.x - n.x * (p.y - self.heel_y)) / ARM_MM,
            3 => n.y * ease((p.y - self.heel_y) / (self.toe_y - self.heel_y)),
            4 => n.x * (1.0 - heel) * side(self.middle_x[0]),
            _ => n.x * heel * side(self.middle_x[1]),
        }
    }
}

fn sizes(stations: &[Station], shape: &Shape, footbed: &Footbed, fit: &regress::Fit, end_mm: f64) -> Vec<Size> {
    let designed = gauge::read_design(footbed);
    let bounds = footbed.outline.bounds();
    let half = bounds.y0 + 0.5 * bounds.height();
    let cup_y = footbed.places.rim[0].y;
    let farthest = |out: Vector2, from_y: f64| {
        let ahead = stations.iter().filter(move |s| s.at.y >= from_y);
        ahead.max_by(|a, b| out.dot(&a.at.coords).total_cmp(&out.dot(&b.at.coords))).map(|s| (s.at, out))
    };
    let ends = |value: Value| -> Option<[(Point2, Vector2); 2]> {
        let (ahead, aside) = (Vector2::y(), Vector2::x());
        Some(match value {
            Value::Length => [farthest(-ahead, f64::NEG_INFINITY)?, farthest(ahead, f64::NEG_INFINITY)?],
            Value::BallWidth => [farthest(-aside, half)?, farthest(aside, half)?],
            _ => {
                let (x0, x1) = footbed.outline.section(cup_y)?;
                [(Point2::new(x0, cup_y), -aside), (Point2::new(x1, cup_y), aside)]
            }
        })
    };
    // What the edge has more than the rigid motion explains, in the middle of the few stations at an end.
    let end = |(p, out): (Point2, Vector2)| -> Option<(f64, usize)> {
        let near = stations.iter().filter(|s| (s.at - p).norm() < 1.6 * STATION_MM && s.out.dot(&out) > 0.8);
        let more = |s: &Station| Some(s.off? - (0..3).map(|k| fit.coefficients[k] * shape.column(k, s)).sum::<f64>());
        let mut offs: Vec<f64> = near.filter_map(more).collect();
        let count = offs.len();
        median(&mut offs).map(|off| (off, count))
    };
    let of_value = |(value, k): (Value, usize)| {
        let designed = *designed.get(&value)?;
        let [low, high] = ends(value)?.map(end);
        let gauged = low.zip(high).map(|((a, n), (b, m))| {
            let variance = end_variance(&fit.noise, n) + end_variance(&fit.noise, m) + 2.0 * end_mm * end_mm;
            (designed + a + b, variance.sqrt())
        });
        Some(Size {
            value,
            gauged,
            fitted: designed + fit.coefficients[k],
            fitted_u: (fit.covariance[(k, k)].max(0.0) + 2.0 * end_mm * end_mm).sqrt(),
            shared_u: std::f64::consts::SQRT_2 * end_mm,
            count: low.map_or(0, |(_, n)| n) + high.map_or(0, |(_, n)| n),
        })
    };
    [(Value::Length, 3), (Value::BallWidth, 4), (Value::HeelWidth, 5)].into_iter().filter_map(of_value).collect()
}

/// Variance of the median of a few neighbouring stations: what they share stays, their own part goes
/// down with their number; a median of normal numbers varies pi / 2 times as much as their mean.
fn end_variance(noise: &Noise, count: usize) -> f64 {
    let own = noise.variances[0];
    noise.covariance(0.0) - own + std::f64::consts::FRAC_PI_2 * own / count.max(1) as f64
}
