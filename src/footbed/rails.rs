//! What the top sheet is pulled towards and held by, as weights of the asked values. Everything is
//! linear in the values (the post by its tangent), so one factored problem answers them all.

use super::places::{EDGE_INSET_MM, Places, RIM_INSET_MM};
use crate::curve::Outline;
use crate::frame::{Point2, Vector2};
use crate::grid::Lattice;
use crate::sheet::{Basis, Problem, Row};
use crate::value::Value;

/// The values that the top is linear in, in the order of every `Share`.
pub const SHAPING: [Value; 7] = [
    Value::HeelThickness,
    Value::HeelCupDepth,
    Value::RearfootPost,
    Value::MedialArch,
    Value::LateralArch,
    Value::TransverseArch,
    Value::ForefootThickness,
];
const HEEL: usize = 0;
const CUP: usize = 1;
const POST: usize = 2;
const MEDIAL: usize = 3;
const LATERAL: usize = 4;
const FOREFOOT: usize = 6;

/// A height as a weighted sum of the [`SHAPING`] values.
pub type Share = [f64; SHAPING.len()];

/// Knot distance, mm: fine enough to bend from seat to rim within the cup's wall (about 10 mm),
/// coarse enough that a scan's noise or a rail's corner cannot make ripples.
const KNOT_MM: f64 = 4.0;
/// Keeps the sheet's far corners, where nothing pulls, from drifting: a slope there costs as much
/// as a bend of radius 100 mm.
const TENSION_PER_MM2: f64 = 1e-4;
/// The sheet goes on this far outside the outline, so that the largest cutter rolls over the edge
/// on a surface that is still the design.
const MARGIN_MM: f64 = 10.0;

// Weights of one pull, 1/mm^2. Along a rail with a pull every 4 mm a weight w is followed down to
// wavelengths of about (4 * 4 mm / w)^(1/3), from equal pull and bending energy [derived].
const RIM_WEIGHT: f64 = 1.0;
const EDGE_WEIGHT: f64 = 0.02;
const CUP_WEIGHT: f64 = 0.3;
const COLUMN_WEIGHT: f64 = 0.003;
const FLAT_WEIGHT: f64 = 1.0;

const RAIL_STEP_MM: f64 = 4.0;
const FIELD_STEP_MM: f64 = 4.0;

/// The cup ends and the arches begin at this share of the foot length. Shop's own choice.
pub(super) const CUP_END: f64 = 0.22;
/// The medial arch stands at full height from this far behind its station to this far ahead:
/// support is fullest toward the rear (common practice, no source).
const FULL_BEHIND: f64 = 0.06;
const FULL_AHEAD: f64 = 0.02;
/// The arches have faded this far behind the met heads.
const FADE_BEHIND_MET: f64 = 0.045;
/// The lateral column, where the foot carries along the outer border, lies at this share of the
/// width from the lateral edge. [from memory]
const COLUMN_SHARE: f64 = 0.36;
/// Exponent of the cup's wall when no width is asked: a fourth power is flat under the heel pad and
/// stands at about 53 degrees at the rim of a 12 mm cup 76 mm wide.
const CUP_POWER: f64 = 4.0;

/// How far the seat rises along the axis over one heel-centre distance, as a share of the cup's
/// depth: enough for the heel to find its low point, too little to feel. Shop's own choice.
const SEAT_ROUND: f64 = 0.08;

/// Everything the sheet must do, with the targets as shares of the values.
pub(super) struct Rails {
    pulls: Vec<(Row, f64, Share)>,
    conditions: Vec<(Row, Share)>,
}

impl Rails {
    pub(super) fn new(outline: &Outline, places: &Places, cup_width_mm: Option<f64>) -> (Basis, Rails) {
        let basis = Basis::covering(outline.bounds().grown(MARGIN_MM), KNOT_MM);
        let shape = Shape { outline, places, cup: Cup::new(outline, places, cup_width_mm) };
        let mut rails = Rails { pulls: vec![], conditions: vec![] };
        rails.hold_values(&basis, places, cup_width_mm);
        rails.pull_edges(&basis, &shape);
        rails.pull_field(&basis, &shape);
        rails.pull_column(&basis, &shape);
        (basis, rails)
    }

    pub(super) fn problem(&self, basis: Basis) -> Problem {
        Problem {
            basis,
            tension_per_mm2: TENSION_PER_MM2,
            pulls: self.pulls.iter().map(|(row, weight, _)| (row.clone(), *weight)).collect(),
            conditions: self.conditions.iter().map(|(row, _)| row.clone()).collect(),
        }
    }

    /// Targets of pulls and of conditions when value `k` is one and all others are zero.
    pub(super) fn unit_targets(&self, k: usize) -> (Vec<f64>, Vec<f64>) {
        let pulls = self.pulls.iter().map(|(_, _, share)| share[k]).collect();
        let conditions = self.conditions.iter().map(|(_, share)| share[k]).collect();
        (pulls, conditions)
    }

    /// Targets of pulls and of conditions at these amounts of the [`SHAPING`] values.
    pub(super) fn targets(&self, amounts: &Share) -> (Vec<f64>, Vec<f64>) {
        let sum = |share: &Share| share.iter().zip(amounts).map(|(s, a)| s * a).sum();
        let pulls = self.pulls.iter().map(|(_, _, share)| sum(share)).collect();
        let conditions = self.conditions.iter().map(|(_, share)| sum(share)).collect();
        (pulls, conditions)
    }

    /// The exact conditions: each value read by its own definition, a level rim, level contact
    /// places and forefoot, the seat lowest at the heel centre.
    fn hold_values(&mut self, basis: &Basis, places: &Places, cup_width_mm: Option<f64>) {
        let row_of = |reading: &super::places::Reading| {
            reading.touches.iter().fold(Row::default(), |row, &(p, w)| row.plus(w, &basis.height(p)))
        };
        for (k, value) in SHAPING.into_iter().enumerate() {
            if let Some(reading) = places.reading(value) {
                self.conditions.push((row_of(&reading), unit(k)));
            }
        }
        self.conditions.push((row_of(&places.rim_balance()), Share::default()));
        self.conditions.push((row_of(&places.forefoot_balance()), Share::default()));
        self.conditions.push((basis.slope_y(places.heel_centre), Share::default()));
        for met in [places.first_met, places.fifth_met] {
            self.conditions.push((basis.height(met), unit(FOREFOOT)));
        }
        if let Some(width) = cup_width_mm {
            let y = places.rim[0].y;
            let mut half_depth = unit(HEEL);
            half_depth[CUP] = 0.5;
            for x in [0.5 * width, -0.5 * width] {
                self.conditions.push((basis.height(Point2::new(x, y)), half_depth));
            }
        }
    }

    /// The rim and the arches' edges, walked along the outline.
    fn pull_edges(&mut self, basis: &Basis, shape: &Shape) {
        for (edge, inward) in walk(shape.outline, RAIL_STEP_MM) {
            let inset = shape.edge_inset(edge.y);
            let p = edge + inward * inset;
            if p.y > shape.places.met_line_y(p.x) {
                continue;
            }
            let ends = shape.places.foot_length_mm * CUP_END;
            let weight = if edge.y < ends { RIM_WEIGHT } else { EDGE_WEIGHT };
            self.pulls.push((basis.height(p), weight, shape.edge_height(p)));
        }
    }

    /// The cup's bowl and the forefoot's flat, over a lattice.
    fn pull_field(&mut self, basis: &Basis, shape: &Shape) {
        let lattice = Lattice::covering(shape.outline.bounds().grown(MARGIN_MM), FIELD_STEP_MM);
        let distance = |p| shape.outline.signed_distance(p);
        for p in (0..lattice.len()).map(|k| lattice.node(k % lattice.nx, k / lattice.nx)) {
            if p.y > shape.places.met_line_y(p.x) && distance(p) < MARGIN_MM {
                self.pulls.push((basis.height(p), FLAT_WEIGHT, unit(FOREFOOT)));
            } else if p.y < CUP_END * shape.places.foot_length_mm && distance(p) < -RIM_INSET_MM {
                self.pulls.push((basis.height(p), CUP_WEIGHT, shape.cup_height(p)));
            }
        }
    }

    /// The lateral column between heel and fifth met head, on the support plane.
    fn pull_column(&mut self, basis: &Basis, shape: &Shape) {
        let places = shape.places;
        let (mut y, end) = (CUP_END * places.foot_length_mm, places.fifth_met.y);
        while y < end {
            if let Some((x0, x1)) = shape.outline.section(y) {
                let p = Point2::new(x0 + COLUMN_SHARE * (x1 - x0), y);
                self.pulls.push((basis.height(p), COLUMN_WEIGHT, shape.plane(p)));
            }
            y += FIELD_STEP_MM;
        }
    }
}

/// The intended heights that the rails are taken from.
struct Shape<'a> {
    outline: &'a Outline,
    places: &'a Places,
    cup: Cup,
}

impl Shape<'_> {
    /// The support plane's height at `p`.
    fn plane(&self, p: Point2) -> Share {
        plane(self.places, p)
    }

    /// Rails run on the rim's middle around the cup and on the edge inset along the arches.
    fn edge_inset(&self, y: f64) -> f64 {
        let station = self.places.station(y);
        RIM_INSET_MM + (EDGE_INSET_MM - RIM_INSET_MM) * ease((station - CUP_END) / 0.12)
    }

    /// Height of the rim or the arch's edge at `p`.
    fn edge_height(&self, p: Point2) -> Share {
        let station = self.places.station(p.y);
        let stations = &self.places.stations;
        let (arch, full_from, full_to, faded) = if p.x > 0.0 {
            let s = stations.medial_arch;
            (MEDIAL, s - FULL_BEHIND, s + FULL_AHEAD, stations.first_met - FADE_BEHIND_MET)
        } else {
            let s = stations.lateral_arch;
            (LATERAL, s, s, stations.fifth_met - FADE_BEHIND_MET)
        };
        let rising = ease((station - CUP_END) / (full_from - CUP_END).max(0.02));
        let fading = 1.0 - ease((station - full_to) / (faded - full_to).max(0.02));
        let mut rim = unit(HEEL);
        rim[CUP] = 1.0;
        let mut edge = self.plane(p);
        edge[arch] += fading;
        blend(&rim, &edge, rising)
    }

    /// Height of the cup's bowl: the tilted seat at its bottom, the level rim at its top.
    fn cup_height(&self, p: Point2) -> Share {
        let rise = self.cup.rise(-self.outline.signed_distance(p));
        let from_seat = (p.y - self.places.heel_centre.y) / self.places.heel_centre.y;
        let mut share = unit(HEEL);
        share[CUP] = rise + (1.0 - rise) * SEAT_ROUND * from_seat * from_seat;
        share[POST] = p.x * (1.0 - rise);
        share
    }
}

/// The cup's wall: how far up it stands at a distance inside the outline.
struct Cup {
    half_width_mm: f64,
    power: f64,
}

impl Cup {
    fn new(outline: &Outline, places: &Places, cup_width_mm: Option<f64>) -> Cup {
        let half_width_mm = outline.section(places.rim[0].y).map_or(1.0, |(x0, x1)| 0.5 * (x1 - x0));
        let at_rim = half_width_mm - RIM_INSET_MM;
        let power = cup_width_mm.map_or(CUP_POWER, |w| 0.5_f64.ln() / (0.5 * w / at_rim).min(0.95).ln());
        Cup { half_width_mm, power }
    }

    /// 0 at the bowl's bottom, 1 at the rim, a half at half the cup's asked width.
    fn rise(&self, inset_mm: f64) -> f64 {
        let t = (self.half_width_mm - inset_mm) / (self.half_width_mm - RIM_INSET_MM);
        t.clamp(0.0, 1.0).powf(self.power)
    }
}

/// The support plane's height at `p`.
pub(super) fn plane(places: &Places, p: Point2) -> Share {
    let mut share = Share::default();
    for (k, (_, weight)) in places.support_plane(p).touches.iter().enumerate() {
        share[if k == 0 { HEEL } else { FOREFOOT }] += weight;
    }
    share
}

fn unit(k: usize) -> Share {
    let mut share = Share::default();
    share[k] = 1.0;
    share
}

fn blend(a: &Share, b: &Share, t: f64) -> Share {
    std::array::from_fn(|k| a[k] * (1.0 - t) + b[k] * t)
}

/// 0 below 0, 1 above 1, between them the quintic without slope or bend at either end.
pub(super) fn ease(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (10.0 + t * (6.0 * t - 15.0))
}

/// Places along the outline every `step_mm` or a little less, each with its unit normal inward.
fn walk(outline: &Outline, step_mm: f64) -> Vec<(Point2, Vector2)> {
    let points = outline.points();
    let mut places = vec![];
    let mut left = 0.0;
    for (k, &a) in points.iter().enumerate() {
        let along = points[(k + 1) % points.len()] - a;
        let length = along.norm();
        if length == 0.0 {
            continue;
        }
        let unit = along / length;
        while left < length {
            places.push((a + unit * left, Vector2::new(-unit.y, unit.x)));
            left += step_mm;
        }
        left -= length;
    }
    places
}
