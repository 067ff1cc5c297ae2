//! The root of an increasing function, for the contacts of a bull-nose, which have no closed form.

/// Sixty halvings exhaust an f64.
const MOST_STEPS: usize = 60;

/// The root between `lo`, where `f` is negative, and `hi`, where it is positive, given its value and derivative: Newton's
/// steps where they stay inside the bracket and halving where they do not, from `start` on until a step is less than
/// `close`.
pub(super) fn of_increasing(
    f: impl Fn(f64) -> (f64, f64),
    (mut lo, mut hi): (f64, f64),
    start: f64,
    close: f64,
) -> f64 {
    let mut x = start;
    for _ in 0..MOST_STEPS {
        let (value, rise) = f(x);
        match value {
            0.0 => return x,
            _ if value < 0.0 => lo = x,
            _ => hi = x,
        }
        let newton = x - value / rise;
        let next = if newton > lo && newton < hi { newton } else { 0.5 * (lo + hi) };
        if (next - x).abs() < close {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    /// The root, and how often the function was asked.
    fn asked(f: impl Fn(f64) -> (f64, f64), bracket: (f64, f64), start: f64) -> (f64, usize) {
        let count = Cell::new(0);
        let counted = |x: f64| {
            count.set(count.get() + 1);
            f(x)
        };
        (of_increasing(counted, bracket, start, 1e-9), count.get())
    }

    #[test]
    fn newtons_steps_are_taken_where_they_may_be() {
        let (root, steps) = asked(|x| (x * x * x - 2.0, 3.0 * x * x), (0.0, 3.0), 1.5);
        assert!((root - 2f64.cbrt()).abs() < 1e-12 && steps <= 6, "{root} after {steps}");
        let (root, steps) = asked(|x| (x - 0.25, 1.0), (-1.0, 1.0), 0.0);
        assert!((root - 0.25).abs() < 1e-15 && steps <= 3, "{root} after {steps}");
    }

    #[test]
    fn a_step_that_leaves_the_bracket_is_halved() {
        // Newton's own steps run away from here, the arctangent being level far out.
        let (root, steps) = asked(|x| ((x - 1.0).atan(), 1.0 / (1.0 + (x - 1.0).powi(2))), (-40.0, 30.0), -39.0);
        assert!((root - 1.0).abs() < 1e-12 && steps <= 14, "{root} after {steps}");
        // A jump has a place and no slope that leads there.
        let (root, steps) = asked(|x| (if x < 0.3 { -1.0 } else { 1.0 }, f64::NAN), (0.0, 1.0), 0.9);
        assert!((root - 0.3).abs() < 2e-9 && (28..=32).contains(&steps), "{root} after {steps}");
    }

    #[test]
    fn a_function_that_is_none_ends_within_the_bracket() {
        let (root, steps) = asked(|_| (f64::NAN, f64::NAN), (-1.0, 2.0), 0.5);
        assert!((-1.0..=2.0).contains(&root) && steps <= MOST_STEPS, "{root} after {steps}");
    }
}
