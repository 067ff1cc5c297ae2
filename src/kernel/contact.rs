//! Where a cutter's profile touches a plane or an edge: closed forms for the four forms.
//!
//! Height minus profile is concave along a plane or a line, so each has one optimum and clamping
//! it to the facet or edge keeps it exact. Slopes here are tangents (rise over run), not angles.

use super::{Shape, root};

impl Shape {
    /// How far the tip stands above the height of a plane of slope `m >= 0`, measured on the
    /// cutter's axis: the greatest `m q - h(q)`. Flat `R m`, ball `R (1 / cos - 1)`, bull
    /// `a m + r (1 / cos - 1)`; the Legendre transform of the profile.
    #[inline]
    pub fn lift_on_slope(&self, m: f64) -> f64 {
        match *self {
            Shape::Flat { radius } => radius * m,
            Shape::Ball { radius } => radius * secant_less_one(m),
            Shape::Bull { radius, corner } => (radius - corner) * m + corner * secant_less_one(m),
            Shape::Taper { tip, half_angle_rad, radius } => {
                if m * half_angle_rad.tan() <= 1.0 {
                    tip * secant_less_one(m)
                } else {
                    m * radius - self.height_within(radius)
                }
            }
        }
    }

    /// Distance from the axis at which a plane of slope `m >= 0` is touched, mm. On a level plane
    /// flat and bull-nose cutters touch everywhere up to this distance.
    #[inline]
    pub fn contact_radius(&self, m: f64) -> f64 {
        match *self {
            Shape::Flat { radius } => radius,
            Shape::Ball { radius } => radius * sine(m),
            Shape::Bull { radius, corner } => radius - corner + corner * sine(m),
            Shape::Taper { tip, half_angle_rad, radius } => {
                if m * half_angle_rad.tan() <= 1.0 {
                    tip * sine(m)
                } else {
                    radius
                }
            }
        }
    }

    /// Curvature that the profile has at least, everywhere and in every direction, 1/mm.
    pub(super) fn least_curvature(&self) -> f64 {
        match *self {
            Shape::Ball { radius } => 1.0 / radius,
            Shape::Flat { .. } | Shape::Bull { .. } | Shape::Taper { .. } => 0.0,
        }
    }

    /// A distance from the axis inside which the profile stays below a slope of about 2 or, on a
    /// cone, as steep as it is.
    pub(super) fn gentle_radius(&self) -> f64 {
        match *self {
            Shape::Bull { radius, corner } => radius - 0.1 * corner,
            Shape::Flat { radius } | Shape::Ball { radius } | Shape::Taper { radius, .. } => 0.9 * radius,
        }
    }

    /// The place x on a line that passes the axis at distance `d` (x = 0) and rises with slope `m`
    /// at which `m x - h(sqrt(x^2 + d^2))` is greatest. `half` is half the line's chord in the
    /// cutter's disc.
    #[inline]
    pub(super) fn edge_optimum(&self, m: f64, d: f64, half: f64) -> f64 {
        if m == 0.0 {
            return 0.0;
        }
        let x = match *self {
            Shape::Flat { .. } => half,
            Shape::Ball { .. } => half * sine(m.abs()),
            Shape::Bull { radius, corner } => bull_edge(radius - corner, corner, m.abs(), d),
            Shape::Taper { tip, half_angle_rad, .. } => taper_edge(tip, half_angle_rad, m.abs(), d),
        };
        x.min(half).copysign(m)
    }
}

/// One profile for all forms, with its roots and angles taken once: level up to `flat`, then round
/// with radius `corner`, then straight from `meets` on. What a search asks for most often.
pub(super) struct Profile {
    radius: f64,
    flat: f64,
    corner: f64,
    /// Distance from the axis at which the cone begins; infinite without one.
    meets: f64,
    /// Height where it begins, and its slope.
    begins: f64,
    cone: f64,
}

impl Profile {
    pub(super) fn of(shape: &Shape) -> Profile {
        let radius = shape.radius();
        let round = |flat: f64, corner: f64| Profile {
            radius,
            flat,
            corner,
            meets: f64::INFINITY,
            begins: f64::INFINITY,
            cone: f64::INFINITY,
        };
        match *shape {
            Shape::Flat { .. } => round(radius, 0.0),
            Shape::Ball { .. } => round(0.0, radius),
            Shape::Bull { corner, .. } => round(radius - corner, corner),
            Shape::Taper { tip, half_angle_rad, .. } => {
                let (sin, cos) = half_angle_rad.sin_cos();
                Profile { meets: tip * cos, begins: tip * (1.0 - sin), cone: cos / sin, ..round(0.0, tip) }
            }
        }
    }

    /// Whether an edge's optimum is more than one closed form.
    #[inline]
    pub(super) fn is_compound(&self) -> bool {
        self.corner > 0.0 && self.corner < self.radius
    }

    /// Height at distance `sqrt(q2)` from the axis, well inside the radius, and slope over distance
    /// there.
    #[inline]
    pub(super) fn tangent(&self, q2: f64) -> (f64, f64) {
        if self.corner == self.radius {
            let above = (self.radius * self.radius - q2).sqrt();
            return (self.radius - above, 1.0 / above);
        }
        if q2 <= self.flat * self.flat {
            return (0.0, 0.0);
        }
        let q = q2.sqrt();
        if q <= self.meets {
            let out = q - self.flat;
            let above = (self.corner * self.corner - out * out).sqrt();
            (self.corner - above, out / (above * q))
        } else {
            (self.begins + (q - self.meets) * self.cone, self.cone / q)
        }
    }

    /// As [`Shape::contact_radius`].
    #[inline]
    pub(super) fn contact_radius(&self, m: f64) -> f64 {
        if m <= self.cone { self.flat + self.corner * sine(m) } else { self.radius }
    }

    /// As [`Shape::lift_on_slope`].
    #[inline]
    pub(super) fn lift_on_slope(&self, m: f64) -> f64 {
        if m <= self.cone {
            self.flat * m + self.corner * secant_less_one(m)
        } else {
            m * self.radius - self.begins - (self.radius - self.meets) * self.cone
        }
    }
}

/// `sqrt(1 + m^2) - 1` without cancellation.
#[inline]
fn secant_less_one(m: f64) -> f64 {
    m * m / (1.0 + (1.0 + m * m).sqrt())
}

#[inline]
fn sine(m: f64) -> f64 {
    m / (1.0 + m * m).sqrt()
}

/// Solves `tan(f) sqrt(1 - d^2 / s^2) = m` with `s = a + r sin(f)` for x = sqrt(s^2 - d^2): where a
/// line touches the rounded corner. The left side rises with f, so a bracket cannot lose it.
fn bull_edge(a: f64, r: f64, m: f64, d: f64) -> f64 {
    // The unknown is t = sin(f): s is linear in it.
    let low = ((d - a) / r).clamp(0.0, 1.0).max(sine(m));
    // The root of a line through the axis is the lower bound itself, and most lines pass near it. The value is flat at
    // its optimum: 1e-9 in t does not show in it.
    let t = root::of_increasing(|t| bull_excess(a, r, m, d, t), (low, 1.0), 0.9 * low + 0.1, 1e-9);
    let s = a + r * t;
    (s * s - d * d).max(0.0).sqrt()
}

/// How much the left side's square exceeds `m^2`, both times `cos(f)^2 s^2`, and its derivative by t.
fn bull_excess(a: f64, r: f64, m: f64, d: f64, t: f64) -> (f64, f64) {
    let s = a + r * t;
    let (cos2, flank2) = ((1.0 - t * t).max(0.0), (s * s - d * d).max(0.0));
    let excess = t * t * flank2 - m * m * cos2 * s * s;
    let rate = 2.0 * t * flank2 + t * t * 2.0 * s * r + m * m * (2.0 * t * s * s - cos2 * 2.0 * s * r);
    (excess, rate)
}

/// Ball while the contact stays on the ball, otherwise the cone, where `x / s = m tan(half angle)`.
fn taper_edge(tip: f64, half_angle_rad: f64, m: f64, d: f64) -> f64 {
    let meets = tip * half_angle_rad.cos();
    if d < meets {
        let x = (tip * tip - d * d).sqrt() * sine(m);
        if x * x + d * d <= meets * meets {
            return x;
        }
    }
    let k = m * half_angle_rad.tan();
    if k >= 1.0 { f64::INFINITY } else { k * d / (1.0 - k * k).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    pub(super) fn any_shape() -> impl Strategy<Value = Shape> {
        prop_oneof![
            (0.5..6.0).prop_map(|radius| Shape::Flat { radius }),
            (0.5..6.0).prop_map(|radius| Shape::Ball { radius }),
            (0.5..6.0, 0.05..0.95).prop_map(|(radius, share)| Shape::Bull { radius, corner: radius * share }),
            (0.5..2.0, 0.1f64..1.4, 0.1..4.0).prop_map(|(tip, half_angle_rad, more)| Shape::Taper {
                tip,
                half_angle_rad,
                radius: tip * half_angle_rad.cos() + more
            }),
        ]
    }

    proptest! {
        /// The definition of the transform, by dense search: never below, and attained.
        #[test]
        fn lift_is_the_greatest_rise_over_the_profile(shape in any_shape(), m in 0.0..5.0f64) {
            let n = 4000;
            let best = (0..=n)
                .map(|k| shape.radius() * f64::from(k) / f64::from(n))
                .map(|q| m * q - shape.height_at(q))
                .fold(f64::NEG_INFINITY, f64::max);
            let lift = shape.lift_on_slope(m);
            prop_assert!(lift >= best - 1e-12, "{lift} < {best}");
            prop_assert!(lift <= best + 1e-2, "{lift} > {best}");
            let q = shape.contact_radius(m);
            prop_assert!((m * q - shape.height_at(q.min(shape.radius())) - lift).abs() < 1e-9);
        }

        #[test]
        fn edge_optimum_beats_every_other_place(shape in any_shape(), m in -4.0..4.0f64, share in 0.0..0.999f64) {
            let d = share * shape.radius();
            let half = (shape.radius().powi(2) - d * d).sqrt();
            let value = |x: f64| m * x - shape.height_within(x.hypot(d).min(shape.radius()));
            let best = value(shape.edge_optimum(m, d, half));
            for k in -500..=500 {
                let x = half * f64::from(k) / 500.0;
                prop_assert!(best >= value(x) - 1e-10, "x {x}: {} > {best}", value(x));
            }
        }
    }

    #[test]
    fn the_excess_changes_as_its_derivative_tells() {
        for (a, r, m, d, t) in [(2.0, 1.0, 0.5, 0.7, 0.6), (0.4, 2.5, 1.5, 0.9, 0.9), (3.0, 0.2, 2.0, 2.9, 0.3)] {
            let by = 1e-6;
            let [more, less] = [t + by, t - by].map(|t| bull_excess(a, r, m, d, t).0);
            assert_abs_diff_eq!(bull_excess(a, r, m, d, t).1, (more - less) / (2.0 * by), epsilon = 1e-7);
        }
    }

    #[test]
    fn lifts_follow_the_closed_forms() {
        let m = 40f64.to_radians().tan();
        let over = 1.0 / 40f64.to_radians().cos() - 1.0;
        assert_abs_diff_eq!(Shape::flat(3.0).unwrap().lift_on_slope(m), 3.0 * m, epsilon = 1e-14);
        assert_abs_diff_eq!(Shape::ball(3.0).unwrap().lift_on_slope(m), 3.0 * over, epsilon = 1e-14);
        assert_abs_diff_eq!(Shape::bull(5.0, 2.0).unwrap().lift_on_slope(m), 3.0 * m + 2.0 * over, epsilon = 1e-14);
    }
}
