//! How far a value may go, and which limit ends it there: closed intervals whose two ends each know
//! what bounds them. Arithmetic only; knows no limit.

use std::collections::BTreeMap;

use serde::{Serialize, Serializer};

use crate::value::Value;

/// What ends an interval: a limit by the name its findings carry, and the part of the footbed that
/// it speaks of, where it speaks of parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bound {
    /// Name of the limit, such as `blank_height`.
    pub limit: &'static str,
    /// Such as `heel`, for a limit that each part of the footbed has on its own.
    pub part: Option<&'static str>,
}

impl Bound {
    /// The range in which a ticket may write a value at all.
    pub const RANGE: Bound = Bound::of("ticket_range");
    /// The measures between which an outline can be drawn.
    pub const OUTLINE: Bound = Bound::of("outline_shape");

    /// The outline that was traced brings its own sizes.
    pub const TRACED: Bound = Bound::of("traced_outline");

    /// A limit of the whole footbed.
    pub const fn of(limit: &'static str) -> Bound {
        Bound { limit, part: None }
    }

    /// A limit of one part.
    pub const fn in_part(limit: &'static str, part: &'static str) -> Bound {
        Bound { limit, part: Some(part) }
    }

    /// In at most 14 letters, such as `thin heel`.
    pub fn short(self) -> String {
        match (self.limit, self.part) {
            ("least_thickness", Some(part)) => format!("thin {part}"),
            ("flex_zone_thickness", _) => "flex zone".into(),
            ("outline_shape", _) => "outline".into(),
            _ => self.limit.replace('_', " "),
        }
    }

    /// In words, such as `least thickness, heel`.
    pub fn words(self) -> String {
        let name = self.limit.replace('_', " ");
        self.part.map_or(name.clone(), |part| format!("{name}, {part}"))
    }
}

/// As the limit's name: what a finding would carry.
impl Serialize for Bound {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.limit)
    }
}

/// How an interval was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Found {
    /// In closed form: exact for the places looked at.
    Exact,
    /// By designing again: each end passes, and what lies [`super::SEARCHED_MM`] beyond does not.
    Searched,
    /// In closed form, but only from limits that need no other design; what a changed outline does
    /// to the surface was not looked at.
    OutlineOnly,
}

/// Closed range of a value, in its own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Least value that passes.
    pub lo: f64,
    /// Greatest value that passes.
    pub hi: f64,
    /// What is met below the least and above the greatest.
    pub by: [Bound; 2],
    /// How the ends were found.
    pub found: Found,
}

/// For each value the interval in which every stop that it can move passes, the others held. Where
/// no change of the value alone is enough the interval is empty, and its ends name two limits that
/// do not go together.
pub type Intervals = BTreeMap<Value, Interval>;

impl Interval {
    /// No limit but what a ticket may write.
    pub const ALL: Interval =
        Interval { lo: f64::NEG_INFINITY, hi: f64::INFINITY, by: [Bound::RANGE; 2], found: Found::Exact };

    /// At least `lo`.
    pub fn at_least(lo: f64, by: Bound) -> Interval {
        Interval { lo, by: [by, Bound::RANGE], ..Interval::ALL }
    }

    /// At most `hi`.
    pub fn at_most(hi: f64, by: Bound) -> Interval {
        Interval { hi, by: [Bound::RANGE, by], ..Interval::ALL }
    }

    /// From `lo` to `hi`.
    pub fn between(lo: f64, hi: f64, by: Bound) -> Interval {
        Interval { lo, hi, by: [by; 2], found: Found::Exact }
    }

    /// Nothing passes, for the sake of one limit.
    pub fn none(by: Bound) -> Interval {
        Interval::between(f64::INFINITY, f64::NEG_INFINITY, by)
    }

    /// What both allow; of two ends at one place the first's name stays.
    pub fn and(self, other: Interval) -> Interval {
        let (lo, lo_by) = if other.lo > self.lo { (other.lo, other.by[0]) } else { (self.lo, self.by[0]) };
        let (hi, hi_by) = if other.hi < self.hi { (other.hi, other.by[1]) } else { (self.hi, self.by[1]) };
        let found = if self.found == Found::Exact { other.found } else { self.found };
        Interval { lo, hi, by: [lo_by, hi_by], found }
    }

    /// Whether nothing passes. An interval with an end that is no number is empty.
    pub fn is_empty(self) -> bool {
        self.lo > self.hi || self.lo.is_nan() || self.hi.is_nan()
    }

    /// Whether `x` passes, give or take rounding.
    pub fn holds(self, x: f64) -> bool {
        self.lo - 1e-9 <= x && x <= self.hi + 1e-9
    }

    /// Both ends, for an interval that holds anything.
    pub fn ends(self) -> Option<[f64; 2]> {
        (!self.is_empty()).then_some([self.lo, self.hi])
    }

    /// The passing value nearest to `now`, rounded into the interval to 0.1 or, where that is too
    /// coarse, to 0.01 or 0.001; `None` where nothing passes.
    pub(super) fn nearest(self, now: f64) -> Option<f64> {
        let [lo, hi] = self.ends()?;
        let nearest = now.clamp(lo, hi);
        let rounded = [10.0, 100.0, 1000.0]
            .into_iter()
            .map(|k| if now < lo { (nearest * k).ceil() / k } else { (nearest * k).floor() / k });
        let mut inside = rounded.filter(|x| (lo..=hi).contains(x));
        Some(inside.next().unwrap_or(nearest))
    }

    /// The x with `a + b x >= least`.
    pub(super) fn of_floor(a: f64, b: f64, least: f64, by: Bound) -> Interval {
        match b {
            b if b > 0.0 => Interval::at_least((least - a) / b, by),
            b if b < 0.0 => Interval::at_most((least - a) / b, by),
            _ if a >= least => Interval::ALL,
            _ => Interval::none(by),
        }
    }

    /// The x with `a + b x <= most`.
    pub(super) fn of_ceiling(a: f64, b: f64, most: f64, by: Bound) -> Interval {
        Interval::of_floor(-a, -b, -most, by)
    }

    /// The x with `|a + b x| <= bound` for plane vectors a and b.
    pub(super) fn of_disc(a: [f64; 2], b: [f64; 2], bound: f64, by: Bound) -> Interval {
        let (aa, ab, bb) = (a[0] * a[0] + a[1] * a[1], a[0] * b[0] + a[1] * b[1], b[0] * b[0] + b[1] * b[1]);
        let spare = bound * bound - aa;
        if bb < 1e-18 {
            return if spare >= 0.0 { Interval::ALL } else { Interval::none(by) };
        }
        let under = ab * ab + bb * spare;
        if under < 0.0 {
            return Interval::none(by);
        }
        let root = under.sqrt();
        Interval::between((-ab - root) / bb, (-ab + root) / bb, by)
    }

    /// Both ends moved inward by `hair`.
    pub(super) fn shrunk(self, hair: f64) -> Interval {
        Interval { lo: self.lo + hair, hi: self.hi - hair, ..self }
    }

    /// Both ends by a rising function, such as from a tangent to its angle.
    pub(super) fn by_rising(self, f: impl Fn(f64) -> f64) -> Interval {
        Interval { lo: f(self.lo), hi: f(self.hi), ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOW: Bound = Bound::in_part("least_thickness", "heel");
    const HIGH: Bound = Bound::of("blank_height");

    #[test]
    fn ends_keep_the_name_of_what_sets_them() {
        let both = Interval::of_floor(1.0, 2.0, 4.0, LOW).and(Interval::of_ceiling(1.0, 2.0, 9.0, HIGH));
        assert_eq!((both.lo, both.hi, both.by), (1.5, 4.0, [LOW, HIGH]));
        let turned = Interval::of_floor(1.0, -2.0, 4.0, LOW);
        assert_eq!((turned.hi, turned.by[1]), (-1.5, LOW));
        let apart = both.and(Interval::at_least(5.0, Bound::RANGE));
        assert!(apart.is_empty() && apart.ends().is_none());
        assert_eq!(apart.by, [Bound::RANGE, HIGH]);
        assert_eq!(LOW.words(), "least thickness, heel");
    }

    #[test]
    fn what_does_not_depend_on_the_value_is_all_or_nothing() {
        assert_eq!(Interval::of_floor(5.0, 0.0, 4.0, LOW), Interval::ALL);
        assert!(Interval::of_floor(3.0, 0.0, 4.0, LOW).is_empty());
        assert!(Interval::of_disc([3.0, 0.0], [0.0, 0.0], 2.0, LOW).is_empty());
        assert!(Interval::of_disc([0.0, 3.0], [1.0, 0.0], 2.0, LOW).is_empty());
    }

    /// |(1, 0) + (0, 1) x| <= 2 where x^2 <= 3.
    #[test]
    fn a_disc_is_cut_in_a_chord() {
        let chord = Interval::of_disc([1.0, 0.0], [0.0, 1.0], 2.0, HIGH);
        approx::assert_abs_diff_eq!(chord.lo, -(3.0_f64.sqrt()), epsilon = 1e-12);
        approx::assert_abs_diff_eq!(chord.hi, 3.0_f64.sqrt(), epsilon = 1e-12);
    }
}
