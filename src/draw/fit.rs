//! What of a list goes on paper: everything shows on a screen, a printed page has only so much room.
//! Knows nothing of what the words say.

use super::ink;

/// Words break at spaces, which wastes this share of a line's width on average (own trials).
const WASTE: f64 = 1.06;

/// How much height a text takes, mm, set as [`fitting`] sets it.
pub fn height(text: &str, width_mm: f64, size_mm: f64, row_mm: f64) -> f64 {
    (WASTE * ink::width_of(text, size_mm) / width_mm.max(1.0)).ceil().max(1.0) * row_mm
}

/// For each text whether it still fits into `room_mm` of height, set `width_mm` wide in letters of
/// `size_mm` with lines `row_mm` apart. What comes after the first that does not fit stays off too, so
/// that the order holds.
pub fn fitting<'a>(
    texts: impl IntoIterator<Item = &'a str>,
    width_mm: f64,
    room_mm: f64,
    size_mm: f64,
    row_mm: f64,
) -> Vec<bool> {
    let mut room = room_mm;
    let one = |text: &str| {
        room -= height(text, width_mm, size_mm, row_mm);
        room >= 0.0
    };
    texts.into_iter().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_fit_and_the_rest_is_told_to_be_missing() {
        let long = "a line that is longer than the width it is given and so takes two";
        assert_eq!(fitting(["a", "b", "c"], 50.0, 6.2, 2.5, 3.1), [true, true, false]);
        assert_eq!(fitting([long, "b"], 60.0, 6.2, 2.5, 3.1), [true, false]);
        assert!(fitting([], 50.0, 6.2, 2.5, 3.1).is_empty());
    }
}
