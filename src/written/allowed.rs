//! What a number may be: a closed range with its unit, and the guess at a wrong unit.

/// A closed range of numbers, with the unit they are in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Allowed {
    /// Least number allowed.
    pub least: f64,
    /// Greatest number allowed.
    pub most: f64,
    /// Unit as printed; empty for a plain number.
    pub unit: &'static str,
}

impl Allowed {
    /// From `least` to `most` in `unit`.
    pub const fn new(least: f64, most: f64, unit: &'static str) -> Allowed {
        Allowed { least, most, unit }
    }

    /// From `least` to `most` mm.
    pub const fn mm(least: f64, most: f64) -> Allowed {
        Allowed::new(least, most, "mm")
    }

    /// From `least` to `most`, without unit.
    pub const fn plain(least: f64, most: f64) -> Allowed {
        Allowed::new(least, most, "")
    }

    /// Whether `number` is finite and in range.
    pub fn admits(&self, number: f64) -> bool {
        number >= self.least && number <= self.most
    }

    /// The range in words, such as `150 to 340 mm`.
    pub fn words(&self) -> String {
        let range = format!("{} to {}", self.least, self.most);
        if self.unit.is_empty() { range } else { format!("{range} {}", self.unit) }
    }

    /// A sentence on the unit that `number` may have been meant in, when mm are asked for and
    /// another unit would bring the number into range.
    pub fn guess(&self, number: f64) -> Option<String> {
        if self.unit != "mm" || !number.is_finite() || number <= 0.0 || self.admits(number) {
            return None;
        }
        let fits: Vec<(&str, f64)> = OTHER_UNITS
            .into_iter()
            .filter(|(_, mm)| number * mm >= self.least && number * mm <= self.most * GUESS_MARGIN)
            .collect();
        // Sizes that are mostly near zero would turn every slip into a guess at the unit.
        let (first, mm) = fits.first().filter(|_| self.least >= LEAST_GUESSED_MM)?;
        let names: Vec<&str> = fits.iter().map(|(name, _)| *name).collect();
        let value = (number * mm * 10.0).round() / 10.0;
        Some(format!("{number} looks like {}: {number} {first} are {value} mm", names.join(" or ")))
    }
}

/// Units that people measure feet in, with their length in mm (the inch exactly, by the
/// international yard and pound agreement of 1959).
const OTHER_UNITS: [(&str, f64); 3] = [("centimetres", 10.0), ("inches", 25.4), ("metres", 1000.0)];

/// A guess may overshoot the range by this much: 13.5 inches are 342.9 mm, and no more a length in
/// mm than 13.4. Shop's own choice.
const GUESS_MARGIN: f64 = 1.01;

/// Only measures that are never shorter than this are guessed at, mm. Shop's own choice.
const LEAST_GUESSED_MM: f64 = 25.0;

#[cfg(test)]
mod tests {
    use super::*;

    const FOOT_LENGTH: Allowed = Allowed::mm(150.0, 340.0);

    #[test]
    fn a_length_in_another_unit_is_recognised() {
        assert!(FOOT_LENGTH.guess(26.5).is_some_and(|s| s.contains("centimetres") && s.contains("265 mm")));
        assert!(FOOT_LENGTH.guess(10.4).is_some_and(|s| s.contains("inches") && s.contains("264.2 mm")));
        assert!(FOOT_LENGTH.guess(13.5).is_some_and(|s| s.contains("inches")));
        assert!(FOOT_LENGTH.guess(0.265).is_some_and(|s| s.contains("metres")));
    }

    #[test]
    fn no_guess_at_numbers_that_fit_nothing() {
        for number in [265.0, 40.0, 0.0, -26.5, f64::NAN, f64::INFINITY, 1e300] {
            assert_eq!(FOOT_LENGTH.guess(number), None, "{number}");
        }
        assert_eq!(Allowed::new(-10.0, 10.0, "deg").guess(45.0), None);
    }

    #[test]
    fn not_a_number_is_never_in_range() {
        assert!(!FOOT_LENGTH.admits(f64::NAN));
        assert!(!FOOT_LENGTH.admits(f64::INFINITY));
        assert!(FOOT_LENGTH.admits(150.0) && FOOT_LENGTH.admits(340.0));
    }
}
