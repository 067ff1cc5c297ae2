//! The cutter's profile and its two uses: where the tip may go over a surface ([`Surface::reach`])
//! and what a move leaves standing ([`swept_height`]). Knows nothing of feet, paths or machines.

mod closing;
mod contact;
mod lid;
mod removal;
mod root;
mod search;
mod surface;

pub use closing::beyond_reach;
pub use removal::{Lowest, Sweep, swept_height};
pub use surface::{Surface, SurfaceError};

/// A cutter's form, as a surface of revolution about its axis with the tip at height zero.
/// Radii in mm. Made by the constructors, which keep every number positive and consistent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Flat end: height 0 up to `radius`.
    Flat {
        /// Cutter radius.
        radius: f64,
    },
    /// Ball end.
    Ball {
        /// Cutter and ball radius.
        radius: f64,
    },
    /// Bull-nose: flat up to `radius - corner`, then a rounded corner; `0 < corner < radius`.
    Bull {
        /// Cutter radius.
        radius: f64,
        /// Corner radius.
        corner: f64,
    },
    /// Tapered ball: a ball of radius `tip` that runs into a cone of `half_angle_rad`
    /// (from the axis, 0..pi/2) up to `radius`.
    Taper {
        /// Tip ball radius.
        tip: f64,
        /// Half of the cone's angle, rad.
        half_angle_rad: f64,
        /// Greatest radius that cuts.
        radius: f64,
    },
}

/// Why a cutter's form makes no sense.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ShapeError {
    /// A length that is not a positive number, or absurdly large.
    #[error("the cutter's {name} is {value} mm; it must be more than 0 and at most {LARGEST_RADIUS_MM} mm")]
    Length {
        /// Which length.
        name: &'static str,
        /// As given, mm.
        value: f64,
    },
    /// A corner that leaves no flat.
    #[error(
        "the corner radius {corner} mm must be smaller than the cutter radius {radius} mm; for an equal one use a ball"
    )]
    Corner {
        /// Corner radius, mm.
        corner: f64,
        /// Cutter radius, mm.
        radius: f64,
    },
    /// A cone angle outside what a tapered cutter can have.
    #[error("the cone's half angle is {half_angle_deg} degrees; it must lie between 0.1 and 89.9")]
    Angle {
        /// As given, degrees.
        half_angle_deg: f64,
    },
    /// A tapered cutter whose cone would have no length.
    #[error("the greatest radius {radius} mm must be more than {least} mm, where the tip ball meets the cone")]
    NoCone {
        /// Greatest radius, mm.
        radius: f64,
        /// Radius at which the ball runs into the cone, mm.
        least: f64,
    },
}

/// No hand-held or bench mill takes a cutter of 200 mm; a larger number is a slip of the unit
/// (our own choice).
pub const LARGEST_RADIUS_MM: f64 = 100.0;

impl Shape {
    /// A flat end mill of this radius, mm.
    pub fn flat(radius: f64) -> Result<Shape, ShapeError> {
        Ok(Shape::Flat { radius: length("radius", radius)? })
    }

    /// A ball end mill of this radius, mm.
    pub fn ball(radius: f64) -> Result<Shape, ShapeError> {
        Ok(Shape::Ball { radius: length("radius", radius)? })
    }

    /// A bull-nose end mill: cutter radius and corner radius, mm.
    pub fn bull(radius: f64, corner: f64) -> Result<Shape, ShapeError> {
        let (radius, corner) = (length("radius", radius)?, length("corner radius", corner)?);
        if corner < radius { Ok(Shape::Bull { radius, corner }) } else { Err(ShapeError::Corner { corner, radius }) }
    }

    /// A tapered ball: tip radius mm, half of the cone's angle in degrees, greatest radius mm.
    pub fn taper(tip: f64, half_angle_deg: f64, radius: f64) -> Result<Shape, ShapeError> {
        let (tip, radius) = (length("tip radius", tip)?, length("radius", radius)?);
        if !(0.1..=89.9).contains(&half_angle_deg) {
            return Err(ShapeError::Angle { half_angle_deg });
        }
        let half_angle_rad = half_angle_deg.to_radians();
        let least = tip * half_angle_rad.cos();
        if radius > least {
            Ok(Shape::Taper { tip, half_angle_rad, radius })
        } else {
            Err(ShapeError::NoCone { radius, least })
        }
    }

    /// Greatest radius that cuts, mm.
    #[inline]
    pub fn radius(&self) -> f64 {
        match *self {
            Shape::Flat { radius }
            | Shape::Ball { radius }
            | Shape::Bull { radius, .. }
            | Shape::Taper { radius, .. } => radius,
        }
    }

    /// Least radius of a hollow in which the cutter touches the ground, mm.
    pub fn hollow_radius(&self) -> f64 {
        match *self {
            Shape::Flat { radius } | Shape::Ball { radius } | Shape::Bull { radius, .. } => radius,
            Shape::Taper { tip, .. } => tip,
        }
    }

    /// Height of the profile above the tip at distance `q` from the axis, mm: convex, never
    /// falling, and infinite beyond the radius.
    pub fn height_at(&self, q: f64) -> f64 {
        if q <= self.radius() { self.height_within(q.max(0.0)) } else { f64::INFINITY }
    }

    /// Slope of the profile at distance `q` from the axis; infinite from the radius outward.
    #[inline]
    pub fn slope_at(&self, q: f64) -> f64 {
        let q = q.max(0.0);
        if q >= self.radius() {
            return f64::INFINITY;
        }
        match *self {
            Shape::Flat { .. } => 0.0,
            Shape::Ball { radius } => ball_slope(radius, q),
            Shape::Bull { radius, corner } => ball_slope(corner, (q - (radius - corner)).max(0.0)),
            Shape::Taper { tip, half_angle_rad, .. } if q < tip * half_angle_rad.cos() => ball_slope(tip, q),
            Shape::Taper { half_angle_rad, .. } => half_angle_rad.tan().recip(),
        }
    }

    /// The form whose surface lies `by` mm outside this one everywhere, with its tip `by` mm lower:
    /// a tip that keeps this grown form clear of a surface keeps the cutter `by` mm away from it. A cone's
    /// last `by` lie further out than that, since the straight goes on where its edge would be rounded.
    /// `by` must not be negative; 0 gives the same form.
    pub fn grown(&self, by: f64) -> Shape {
        match *self {
            same if by <= 0.0 => same,
            Shape::Flat { radius } => Shape::Bull { radius: radius + by, corner: by },
            Shape::Ball { radius } => Shape::Ball { radius: radius + by },
            Shape::Bull { radius, corner } => Shape::Bull { radius: radius + by, corner: corner + by },
            Shape::Taper { tip, half_angle_rad, radius } => {
                Shape::Taper { tip: tip + by, half_angle_rad, radius: radius + by }
            }
        }
    }

    /// As [`Shape::height_at`] for `0 <= q`, taken as the radius where rounding makes it larger.
    #[inline]
    fn height_within(&self, q: f64) -> f64 {
        match *self {
            Shape::Flat { .. } => 0.0,
            Shape::Ball { radius } => ball_height(radius, q),
            Shape::Bull { radius, corner } => ball_height(corner, (q - (radius - corner)).max(0.0)),
            Shape::Taper { tip, half_angle_rad, .. } => {
                let (sin, cos) = half_angle_rad.sin_cos();
                let meets = tip * cos;
                if q <= meets { ball_height(tip, q) } else { tip * (1.0 - sin) + (q - meets) * cos / sin }
            }
        }
    }
}

fn length(name: &'static str, value: f64) -> Result<f64, ShapeError> {
    if value > 0.0 && value <= LARGEST_RADIUS_MM { Ok(value) } else { Err(ShapeError::Length { name, value }) }
}

/// `r - sqrt(r^2 - q^2)` without the cancellation at small `q`.
#[inline]
fn ball_height(r: f64, q: f64) -> f64 {
    let q = q.min(r);
    q * q / (r + (r * r - q * q).max(0.0).sqrt())
}

#[inline]
fn ball_slope(r: f64, q: f64) -> f64 {
    q / (r * r - q * q).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn impossible_cutters_are_refused_with_the_value() {
        assert!(Shape::flat(0.0).is_err());
        assert!(Shape::ball(f64::NAN).unwrap_err().to_string().contains("NaN"));
        assert_eq!(Shape::bull(3.0, 3.0), Err(ShapeError::Corner { corner: 3.0, radius: 3.0 }));
        assert!(Shape::taper(1.0, 90.0, 3.0).is_err());
        assert!(Shape::taper(3.0, 10.0, 2.0).unwrap_err().to_string().contains("2.954"));
        let least = 1.0 * 60f64.to_radians().cos();
        assert!(Shape::taper(1.0, 60.0, least).is_err(), "a cone without a length");
    }

    /// By the definition of a parallel surface: the least that a ball of radius `by` reaches down to while its centre
    /// travels on the profile, with the tip brought back to zero.
    #[test]
    fn a_grown_form_lies_so_far_outside_everywhere() {
        let by = 0.5;
        for shape in [
            Shape::ball(3.0).unwrap(),
            Shape::bull(5.0, 2.0).unwrap(),
            Shape::taper(1.0, 30.0, 4.0).unwrap(),
            Shape::flat(2.0).unwrap(),
        ] {
            let grown = shape.grown(by);
            assert_abs_diff_eq!(grown.radius(), shape.radius() + by, epsilon = 1e-15);
            let swept = |q: f64| {
                (-1000..=1000)
                    .map(|k| by * f64::from(k) / 1000.0)
                    .map(|out| shape.height_at((q + out).abs()) + by - (by * by - out * out).sqrt())
                    .fold(f64::INFINITY, f64::min)
            };
            let rounded = if matches!(shape, Shape::Taper { .. }) { by } else { 0.0 };
            for k in 0..100 {
                let q = (grown.radius() - rounded) * f64::from(k) / 100.0;
                assert_abs_diff_eq!(grown.height_at(q), swept(q), epsilon = 2e-4 * (1.0 + grown.slope_at(q).powi(2)));
            }
            assert!(grown.height_at(grown.radius()) <= swept(grown.radius()) + 1e-6, "{shape:?}: never inside");
            assert_eq!(shape.grown(0.0), shape);
        }
    }

    #[test]
    fn a_cutter_touches_the_ground_in_a_hollow_as_wide_as_its_end() {
        assert_eq!(Shape::flat(2.0).unwrap().hollow_radius(), 2.0);
        assert_eq!(Shape::ball(3.0).unwrap().hollow_radius(), 3.0);
        assert_eq!(Shape::bull(5.0, 2.0).unwrap().hollow_radius(), 5.0);
        assert_eq!(Shape::taper(1.5, 30.0, 4.0).unwrap().hollow_radius(), 1.5);
    }

    #[test]
    fn heights_follow_the_closed_forms() {
        let ball = Shape::ball(3.0).unwrap();
        assert_abs_diff_eq!(ball.height_at(1.8), 3.0 - 2.4, epsilon = 1e-15);
        assert_eq!(ball.height_at(3.0), 3.0);
        assert_eq!(ball.height_at(3.0 + 1e-9), f64::INFINITY);
        let bull = Shape::bull(5.0, 2.0).unwrap();
        assert_eq!(bull.height_at(3.0), 0.0);
        assert_abs_diff_eq!(bull.height_at(4.2), 2.0 - 1.6, epsilon = 1e-15);
        let taper = Shape::taper(1.0, 30.0, 4.0).unwrap();
        let meets = 1.0 * 30f64.to_radians().cos();
        assert_abs_diff_eq!(taper.height_at(meets), 0.5, epsilon = 1e-15);
        assert_abs_diff_eq!(taper.height_at(meets + 1.0), 0.5 + 3f64.sqrt(), epsilon = 1e-14);
    }

    #[test]
    fn slopes_are_the_derivatives_of_the_heights() {
        for shape in [
            Shape::ball(3.0).unwrap(),
            Shape::bull(5.0, 2.0).unwrap(),
            Shape::taper(1.0, 20.0, 4.0).unwrap(),
            Shape::flat(2.0).unwrap(),
        ] {
            for k in 1..40 {
                let q = shape.radius() * f64::from(k) / 41.0;
                let e = 1e-6;
                let slope = (shape.height_at(q + e) - shape.height_at(q - e)) / (2.0 * e);
                assert_abs_diff_eq!(slope, shape.slope_at(q), epsilon = 1e-4);
            }
        }
    }
}
