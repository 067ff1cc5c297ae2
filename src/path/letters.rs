//! Letters, digits and arrows of single strokes, our own, for engraving with a round cutter: few
//! strokes, wide counters. Knows no cutters and no places.

use crate::frame::{Point2, Vector2};

/// An arrow that points to the top of the letters.
pub const ARROW_UP: char = '\u{2191}';
/// An arrow that points the way of reading.
pub const ARROW_AHEAD: char = '\u{2192}';

/// Letters are this many units high and wide.
const HIGH: f64 = 6.0;
const WIDE: f64 = 4.0;
/// From one letter to the next, units: room for a stroke a quarter as wide as the letter is high.
const ADVANCE: f64 = 6.5;

/// A stroke through corners of the letter's grid, such as `0006`: from (0, 0) up to (0, 6).
type Glyph = (char, &'static [&'static str]);

const GLYPHS: [Glyph; 40] = [
    ('0', &["100105163645413010", "1036"]),
    ('1', &["152620", "1030"]),
    ('2', &["05163645440040"]),
    ('3', &["05163645443323", "334241301001"]),
    ('4', &["30360242"]),
    ('5', &["460604344341301001"]),
    ('6', &["463616050110304142331302"]),
    ('7', &["064610"]),
    ('8', &["13040516364544331302011030414233"]),
    ('9', &["011030414536160504133344"]),
    ('A', &["002640", "1232"]),
    ('B', &["00063645443303", "3342413000"]),
    ('C', &["4536160501103041"]),
    ('D', &["00062644422000"]),
    ('E', &["46060040", "0333"]),
    ('F', &["460600", "0333"]),
    ('G', &["45361605011030414323"]),
    ('H', &["0006", "4046", "0343"]),
    ('I', &["1030", "2026", "1636"]),
    ('J', &["4641301001"]),
    ('K', &["0006", "460340"]),
    ('L', &["060040"]),
    ('M', &["0006234640"]),
    ('N', &["00064046"]),
    ('O', &["100105163645413010"]),
    ('P', &["00063645443303"]),
    ('Q', &["100105163645413010", "2240"]),
    ('R', &["00063645443303", "2340"]),
    ('S', &["453616050413334241301001"]),
    ('T', &["0646", "2620"]),
    ('U', &["060110304146"]),
    ('V', &["062046"]),
    ('W', &["0610233046"]),
    ('X', &["0046", "0640"]),
    ('Y', &["062346", "2320"]),
    ('Z', &["06460040"]),
    ('-', &["1333"]),
    ('_', &["0040"]),
    (ARROW_UP, &["2026", "042644"]),
    (ARROW_AHEAD, &["0343", "254321"]),
];

/// The size of `text` in letters `height` high, mm: width and height of its strokes' middles.
pub fn size_mm(text: &str, height: f64) -> Vector2 {
    let letters = text.chars().count() as f64;
    Vector2::new(((letters - 1.0).max(0.0) * ADVANCE + WIDE) * height / HIGH, height)
}

/// The strokes of `text`, its lower left at the origin, reading along +x, letters `height` mm high.
/// What has no letter here leaves a gap.
pub fn strokes(text: &str, height: f64) -> Vec<Vec<Point2>> {
    let unit = height / HIGH;
    let letters = text.chars().enumerate().filter_map(|(k, letter)| Some((k, glyph(letter)?)));
    let places = letters.flat_map(|(k, glyph)| glyph.iter().map(move |stroke| (k as f64 * ADVANCE, *stroke)));
    places
        .map(|(start, stroke)| corners(stroke).map(|(x, y)| Point2::new(unit * (start + x), unit * y)).collect())
        .collect()
}

fn glyph(letter: char) -> Option<&'static [&'static str]> {
    let letter = letter.to_ascii_uppercase();
    GLYPHS.iter().find(|(known, _)| *known == letter).map(|(_, glyph)| *glyph)
}

/// The corners of a stroke: pairs of digits.
fn corners(stroke: &str) -> impl Iterator<Item = (f64, f64)> + '_ {
    let digits: Vec<f64> = stroke.chars().filter_map(|c| c.to_digit(10)).map(f64::from).collect();
    (0..digits.len() / 2).map(move |k| (digits[2 * k], digits[2 * k + 1]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every sign that a code may hold can be written, within its cell, in strokes of some length.
    #[test]
    fn every_sign_of_a_code_has_a_letter() {
        let signs = ('A'..='Z').chain('a'..='z').chain('0'..='9').chain(['-', '_', ARROW_UP, ARROW_AHEAD]);
        for sign in signs {
            let drawn = strokes(&sign.to_string(), 12.0);
            assert!(!drawn.is_empty(), "{sign}");
            for stroke in drawn {
                assert!(stroke.len() >= 2, "{sign}");
                assert!(stroke.iter().all(|p| (0.0..=8.0).contains(&p.x) && (0.0..=12.0).contains(&p.y)), "{sign}");
                assert!(stroke.windows(2).all(|w| w[0] != w[1]), "{sign} stands still");
            }
        }
    }

    #[test]
    fn no_two_signs_look_alike() {
        let drawn: Vec<_> = GLYPHS.iter().map(|(sign, _)| strokes(&sign.to_string(), 6.0)).collect();
        for (k, one) in drawn.iter().enumerate() {
            assert!(drawn[k + 1..].iter().all(|other| other != one), "{}", GLYPHS[k].0);
        }
    }

    #[test]
    fn text_is_as_wide_as_told() {
        let text = strokes("L\u{2191}07", 12.0);
        let reach = text.iter().flatten().fold(0.0_f64, |most, p| most.max(p.x));
        assert!((reach - size_mm("L\u{2191}07", 12.0).x).abs() < 1e-9);
    }
}
