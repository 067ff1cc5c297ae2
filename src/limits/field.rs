//! Limits that hold at every place of the top surface: thickness, height, slope, hollow radius.
//! The top is linear in the shaping values, so for one value with the others held each place allows
//! an interval in closed form, and the intersection is exact on the places looked at.

use std::collections::BTreeMap;

use super::{Case, Finding, Severity, order, shop};
use crate::footbed::{SHAPING, shaping_amounts};
use crate::frame::Point2;
use crate::grid::Lattice;
use crate::ticket::Underside;
use crate::value::Value;

/// Distance between the places looked at, mm. The sheet's knots are 4 mm apart, so between places
/// 2 mm apart the surface strays from them by under 0.05 mm at a bend of radius 10 mm
/// (s^2 / 8 r, derived).
const STEP_MM: f64 = 2.0;
/// Thinner than this is a hole once the grinder has passed, mm. Shop's own choice.
const HOLE_MM: f64 = 0.5;

/// Differences below this are rounding and not a finding, so that the end of an interval passes
/// when it is asked, mm and mm per mm.
const ROUNDING: f64 = 1e-6;

/// Closed range of a value, in its own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Least value that passes.
    pub lo: f64,
    /// Greatest value that passes.
    pub hi: f64,
}

/// For each value the interval in which every stop passes, the others held; a value whose interval
/// is empty is left out: no change of it alone is enough.
pub type Intervals = BTreeMap<Value, Interval>;

impl Interval {
    /// No limit.
    pub const ALL: Interval = Interval { lo: f64::NEG_INFINITY, hi: f64::INFINITY };

    /// What both allow.
    pub fn and(self, other: Interval) -> Interval {
        Interval { lo: self.lo.max(other.lo), hi: self.hi.min(other.hi) }
    }

    /// Whether nothing passes. An interval with an end that is no number is empty.
    pub fn is_empty(self) -> bool {
        self.lo > self.hi || self.lo.is_nan() || self.hi.is_nan()
    }

    /// Whether `x` passes, give or take rounding.
    pub fn holds(self, x: f64) -> bool {
        self.lo - 1e-9 <= x && x <= self.hi + 1e-9
    }

    /// The x with `lo <= a + b x <= hi`.
    pub(super) fn of_line(a: f64, b: f64, lo: f64, hi: f64) -> Interval {
        if b == 0.0 {
            return if lo <= a && a <= hi { Interval::ALL } else { Interval { lo: 1.0, hi: -1.0 } };
        }
        let (x, y) = ((lo - a) / b, (hi - a) / b);
        Interval { lo: x.min(y), hi: x.max(y) }
    }

    /// The x with `|a + b x| <= bound` for plane vectors a and b.
    fn of_disc(a: [f64; 2], b: [f64; 2], bound: f64) -> Interval {
        let (aa, ab, bb) = (a[0] * a[0] + a[1] * a[1], a[0] * b[0] + a[1] * b[1], b[0] * b[0] + b[1] * b[1]);
        let spare = bound * bound - aa;
        if bb < 1e-18 {
            return if spare >= 0.0 { Interval::ALL } else { Interval { lo: 1.0, hi: -1.0 } };
        }
        let root = (ab * ab + bb * spare).sqrt();
        Interval { lo: (-ab - root) / bb, hi: (-ab + root) / bb }
    }
}

/// A part of the footbed with a thickness limit of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Zone {
    Heel,
    Flex,
    Forefoot,
}

impl Zone {
    fn words(self) -> &'static str {
        match self {
            Zone::Heel => "heel",
            Zone::Flex => "flex zone",
            Zone::Forefoot => "forefoot",
        }
    }

    /// Values that thicken the zone, the most natural first.
    fn thickened_by(self) -> &'static [Value] {
        match self {
            Zone::Heel => &[Value::HeelThickness, Value::RearfootPost],
            Zone::Flex => &[Value::HeelThickness, Value::ForefootThickness, Value::LateralArch],
            Zone::Forefoot => &[Value::ForefootThickness],
        }
    }
}

/// What the responses make at one place.
struct Sample {
    at: Point2,
    zone: Zone,
    height: [f64; SHAPING.len()],
    slope: [[f64; 2]; SHAPING.len()],
    /// Design height and slope.
    z: f64,
    grad: [f64; 2],
}

/// The places looked at, with the limits that hold there.
pub(super) struct Field {
    samples: Vec<Sample>,
    amounts: [f64; SHAPING.len()],
    /// Greatest height allowed, mm.
    ceiling_mm: f64,
    /// Greatest slope allowed, mm per mm.
    steepest: f64,
}

impl Field {
    pub(super) fn new(case: &Case) -> Field {
        let blank = &case.make.blank;
        Field {
            samples: samples(case),
            amounts: shaping_amounts(&case.order.support),
            ceiling_mm: shop::available_height_mm(blank),
            steepest: case.make.material.steepest_wall_deg.to_radians().tan(),
        }
    }

    pub(super) fn lowest_mm(&self) -> f64 {
        self.samples.iter().map(|s| s.z).fold(f64::INFINITY, f64::min)
    }

    pub(super) fn highest_mm(&self) -> f64 {
        self.samples.iter().map(|s| s.z).fold(f64::NEG_INFINITY, f64::max)
    }

    /// The interval of every value with the others held.
    pub(super) fn intervals(&self, case: &Case) -> Intervals {
        let shaping = SHAPING.iter().enumerate().map(|(k, &value)| (value, self.shaping_interval(case, k)));
        let sizes = shop::size_intervals(case);
        shaping
            .chain(sizes)
            .map(|(value, interval)| (value, interval.and(order::writable(value))))
            .filter(|(_, interval)| !interval.is_empty())
            .collect()
    }

    fn shaping_interval(&self, case: &Case, k: usize) -> Interval {
        let amount = self.amounts[k];
        let everywhere = self.samples.iter().fold(Interval::ALL, |allowed, s| {
            let (r, g) = (s.height[k], s.slope[k]);
            let height = Interval::of_line(s.z - amount * r, r, least_mm(case, s.zone), self.ceiling_mm);
            let held = [s.grad[0] - amount * g[0], s.grad[1] - amount * g[1]];
            allowed.and(height).and(Interval::of_disc(held, g, self.steepest))
        });
        let own_unit = match SHAPING[k] {
            Value::RearfootPost => {
                Interval { lo: everywhere.lo.atan().to_degrees(), hi: everywhere.hi.atan().to_degrees() }
            }
            _ => everywhere,
        };
        own_unit.and(order::interval(case, SHAPING[k]))
    }

    pub(super) fn findings(&self, case: &Case, intervals: &Intervals) -> Vec<Finding> {
        let zones = [Zone::Heel, Zone::Flex, Zone::Forefoot];
        let mut found: Vec<Finding> = zones.into_iter().filter_map(|zone| self.thin(case, intervals, zone)).collect();
        found.extend(self.too_high(case, intervals));
        found.extend(self.too_steep(case, intervals));
        found.extend(self.too_hollow(case));
        found
    }

    fn thin(&self, case: &Case, intervals: &Intervals, zone: Zone) -> Option<Finding> {
        let least = least_mm(case, zone);
        let thinnest = self
            .samples
            .iter()
            .filter(|s| s.zone == zone)
            .min_by(|a, b| a.z.total_cmp(&b.z))
            .filter(|s| s.z < least - ROUNDING)?;
        let material = &case.make.material;
        let message = format!(
            "the {} would be {:.2} mm thick; {} needs {:.2} mm there ({:.2} mm and {:.2} mm for sanding)",
            zone.words(),
            thinnest.z,
            material.name,
            least,
            least - material.sanding_mm,
            material.sanding_mm
        );
        let advice = advise(case, intervals, zone.thickened_by());
        let finding = Finding::new("least_thickness", Severity::Stop, case.order.side, message, advice)
            .numbers(thinnest.z, least, "mm")
            .place(thinnest.at, case.footbed.places.foot_length_mm);
        Some(if thinnest.z < HOLE_MM { finding.never_overruled() } else { finding })
    }

    fn too_high(&self, case: &Case, intervals: &Intervals) -> Option<Finding> {
        let highest =
            self.samples.iter().max_by(|a, b| a.z.total_cmp(&b.z)).filter(|s| s.z > self.ceiling_mm + ROUNDING)?;
        let blank = &case.make.blank;
        let message = format!(
            "the top stands {:.2} mm high; blank {} gives {:.2} mm ({:.1} mm less {:.1} mm margin and {:.1} mm scatter)",
            highest.z,
            blank.name,
            self.ceiling_mm,
            blank.height_mm,
            blank.height_margin_mm,
            shop::scatter_mm(blank)
        );
        let cup = highest.at.y < case.footbed.places.heel_post_front_y();
        let values: &[Value] =
            if cup { &[Value::HeelCupDepth, Value::HeelThickness] } else { &[Value::MedialArch, Value::HeelThickness] };
        let advice = format!("{}, or take a blank at least {:.1} mm high", advise(case, intervals, values), {
            highest.z + blank.height_margin_mm + shop::scatter_mm(blank)
        });
        Some(
            Finding::new("blank_height", Severity::Stop, case.order.side, message, advice)
                .numbers(highest.z, self.ceiling_mm, "mm")
                .place(highest.at, case.footbed.places.foot_length_mm)
                .never_overruled(),
        )
    }

    fn too_steep(&self, case: &Case, intervals: &Intervals) -> Option<Finding> {
        let slope = |s: &Sample| s.grad[0].hypot(s.grad[1]);
        let steepest = self
            .samples
            .iter()
            .max_by(|a, b| slope(a).total_cmp(&slope(b)))
            .filter(|s| slope(s) > self.steepest + ROUNDING)?;
        let (deg, allowed) = (slope(steepest).atan().to_degrees(), case.make.material.steepest_wall_deg);
        let message = format!("the wall stands at {deg:.1} deg; {} holds {allowed:.0} deg", case.make.material.name);
        let cup = steepest.at.y < case.footbed.places.heel_post_front_y();
        let values: &[Value] = if cup { &[Value::HeelCupDepth] } else { &[Value::MedialArch] };
        let wider = match case.order.support.heel_cup_width_mm {
            Some(width) if cup => format!(", or ask a heel_cup_width below {width:.0} mm, or a wider heel_width"),
            _ => String::new(),
        };
        Some(
            Finding::new(
                "steepest_wall",
                Severity::Stop,
                case.order.side,
                message,
                format!("{}{wider}", advise(case, intervals, values)),
            )
            .numbers(deg, allowed, "deg")
            .place(steepest.at, case.footbed.places.foot_length_mm),
        )
    }

    /// The tightest hollow against the finishing cutter: what it cannot reach stays.
    fn too_hollow(&self, case: &Case) -> Option<Finding> {
        let cutter = shop::finest(case.make);
        let radius = cutter.shape.hollow_radius();
        let curvature = |s: &Sample| hollow_curvature(case, s);
        let tightest = self.samples.iter().max_by(|a, b| curvature(a).total_cmp(&curvature(b)))?;
        let hollow = 1.0 / curvature(tightest).max(1e-9);
        (hollow < radius).then(|| {
            let message = format!(
                "the surface is hollow to a radius of {hollow:.1} mm; cutter {} has {radius:.1} mm: what it cannot \
                 reach stays (the proof tells how much)",
                cutter.name
            );
            let advice = format!("finish with a ball cutter of {:.0} mm or less", (2.0 * hollow).floor().max(1.0));
            Finding::new("hollow_radius", Severity::Caution, case.order.side, message, advice)
                .numbers(hollow, radius, "mm")
                .place(tightest.at, case.footbed.places.foot_length_mm)
        })
    }
}

/// Greatest principal curvature, positive where the surface is hollow seen from above, 1/mm
/// (do Carmo 1976, sec. 3-3, for the graph of a function; from memory).
fn hollow_curvature(case: &Case, s: &Sample) -> f64 {
    let [zxx, zxy, zyy] = case.footbed.top.second(s.at);
    let [p, q] = s.grad;
    let w = (1.0 + p * p + q * q).sqrt();
    let mean = ((1.0 + q * q) * zxx - 2.0 * p * q * zxy + (1.0 + p * p) * zyy) / (2.0 * w * w * w);
    let gauss = (zxx * zyy - zxy * zxy) / (w * w * w * w);
    mean + (mean * mean - gauss).max(0.0).sqrt()
}

/// Least height of the top over the base plane in a zone, sanding included.
fn least_mm(case: &Case, zone: Zone) -> f64 {
    let least = &case.make.material.least;
    let own = match zone {
        Zone::Heel => least.heel,
        Zone::Flex => least.flex_zone,
        Zone::Forefoot => least.forefoot,
    };
    own + case.make.material.sanding_mm
}

/// "set heel_thickness to 3.2 mm" for the first of `values` that can do it alone.
fn advise(case: &Case, intervals: &Intervals, values: &[Value]) -> String {
    let one = values.iter().find_map(|&value| {
        let (interval, now) = (intervals.get(&value)?, case.order.asked(value)?);
        (!interval.holds(now)).then(|| {
            let to = round_inside(*interval, now);
            format!("set {} to {} {}", value.name(), to, value.unit())
        })
    });
    one.unwrap_or_else(|| {
        let names: Vec<&str> = values.iter().map(|v| v.name()).collect();
        format!("no one value passes alone: change {} together with what else is found", names.join(" and "))
    })
}

/// The passing value nearest to `now`, rounded into the interval to 0.1 or, where that is too
/// coarse, 0.01.
fn round_inside(interval: Interval, now: f64) -> String {
    let nearest = now.clamp(interval.lo, interval.hi);
    [10.0, 100.0, 1000.0]
        .into_iter()
        .find_map(|k| {
            let rounded = if now < interval.lo { (nearest * k).ceil() / k } else { (nearest * k).floor() / k };
            (interval.lo <= rounded && rounded <= interval.hi).then(|| format!("{rounded}"))
        })
        .unwrap_or_else(|| format!("{nearest}"))
}

fn samples(case: &Case) -> Vec<Sample> {
    let footbed = case.footbed;
    let lattice = Lattice::covering(footbed.outline.bounds(), STEP_MM);
    let inside = (0..lattice.len())
        .map(|k| lattice.node(k % lattice.nx, k / lattice.nx))
        .filter(|&p| footbed.outline.contains(p));
    let mut last: Option<Point2> = None;
    let edge = footbed.outline.points().iter().copied().filter(|&p| {
        let keep = last.is_none_or(|l| (p - l).norm() >= STEP_MM);
        if keep {
            last = Some(p);
        }
        keep
    });
    inside.chain(edge).map(|at| sample(case, at)).collect()
}

fn sample(case: &Case, at: Point2) -> Sample {
    let (footbed, places) = (case.footbed, &case.footbed.places);
    let zone = if at.y < places.heel_post_front_y() {
        Zone::Heel
    } else if at.y < places.met_line_y(at.x) {
        Zone::Flex
    } else {
        Zone::Forefoot
    };
    let grad = footbed.top.slope(at);
    Sample {
        at,
        zone,
        height: std::array::from_fn(|k| footbed.responses[k].height(at)),
        slope: std::array::from_fn(|k| footbed.responses[k].slope(at).into()),
        z: footbed.top_at(at),
        grad: grad.into(),
    }
}

/// What may be asked of the flex zone: with a flat underside only what the top leaves; with a
/// relieved one anything from the material's least up to that.
pub(super) fn flex_zone_interval(case: &Case) -> Interval {
    let (places, footbed) = (&case.footbed.places, case.footbed);
    let solid = places.flex_line.iter().map(|&p| footbed.top_at(p)).fold(f64::INFINITY, f64::min);
    match case.make.underside {
        Underside::Flat => Interval { lo: solid, hi: solid },
        Underside::Relieved => Interval { lo: least_mm(case, Zone::Flex), hi: solid },
    }
}
