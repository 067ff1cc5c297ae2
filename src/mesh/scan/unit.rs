//! Units of length of a scan: their factors, what a file says about its own, and which would
//! explain a size. Nothing is ever taken for granted: whoever asks decides.

use std::fmt;

/// A unit of length of scans.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unit {
    /// 1 mm.
    Millimetres,
    /// 10 mm.
    Centimetres,
    /// 1000 mm.
    Metres,
    /// 25.4 mm exactly.
    Inches,
}

/// A size is taken for explained by a unit when it comes within this factor of what is expected.
/// Centimetres and inches, the nearest two, are 2.54 apart; up to its square root, 1.59, no size is
/// explained by both.
const EXPLAINED_WITHIN: f64 = 1.5;

impl Unit {
    /// All, the usual one first.
    pub const ALL: [Unit; 4] = [Unit::Millimetres, Unit::Centimetres, Unit::Metres, Unit::Inches];

    /// Millimetres in one; the inch by international agreement of 1959.
    pub fn in_mm(self) -> f64 {
        match self {
            Unit::Millimetres => 1.0,
            Unit::Centimetres => 10.0,
            Unit::Metres => 1000.0,
            Unit::Inches => 25.4,
        }
    }

    /// `mm`, `cm`, `m` or `in`.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Millimetres => "mm",
            Unit::Centimetres => "cm",
            Unit::Metres => "m",
            Unit::Inches => "in",
        }
    }

    /// `millimetres` and so on.
    pub fn words(self) -> &'static str {
        match self {
            Unit::Millimetres => "millimetres",
            Unit::Centimetres => "centimetres",
            Unit::Metres => "metres",
            Unit::Inches => "inches",
        }
    }

    /// The unit a word names: `mm`, `millimetre`, `millimeters` and so on, in any case.
    pub fn from_word(word: &str) -> Option<Unit> {
        match word.to_ascii_lowercase().as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Some(Unit::Millimetres),
            "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => Some(Unit::Centimetres),
            "m" | "metre" | "metres" | "meter" | "meters" => Some(Unit::Metres),
            "in" | "inch" | "inches" => Some(Unit::Inches),
            _ => None,
        }
    }

    /// The unit that would make `extent`, as written in a file, about `expected_mm`; `None` when
    /// none does or a size is no positive number.
    pub fn that_explains(extent: f64, expected_mm: f64) -> Option<Unit> {
        if !(extent > 0.0 && expected_mm > 0.0) {
            return None;
        }
        let off = |unit: Unit| (extent * unit.in_mm() / expected_mm).ln().abs();
        Unit::ALL.into_iter().find(|&unit| off(unit) <= EXPLAINED_WITHIN.ln())
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Words that may stand between `units` and the unit.
const FILLERS: [&str; 8] = ["in", "is", "are", "of", "length", "measure", "measurement", "file"];

/// What a remark in a file says about its unit: `units mm`, `UNITS=mm`, `unit: inches`, `all sizes
/// in millimetres`. A bare number with `mm` behind it says nothing.
pub(super) fn stated(remark: &[u8]) -> Option<Unit> {
    let text = String::from_utf8_lossy(remark);
    let words: Vec<&str> = text.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let is = |word: &str, list: &[&str]| list.iter().any(|known| word.eq_ignore_ascii_case(known));
    for (k, word) in words.iter().enumerate() {
        let rest = &words[k + 1..];
        if is(word, &["unit", "units"]) {
            let fillers = rest.iter().take_while(|word| is(word, &FILLERS)).count();
            // `in` may be a filler or the unit itself.
            let named = rest.get(fillers).and_then(|word| Unit::from_word(word));
            let last = fillers.checked_sub(1).and_then(|k| Unit::from_word(rest[k]));
            if let Some(unit) = named.or(last) {
                return Some(unit);
            }
        }
        // One letter after `in` may be anything.
        let long = rest.first().filter(|word| is("in", &[words[k]]) && word.len() > 1 && !is(word, &["in"]));
        if let Some(unit) = long.and_then(|word| Unit::from_word(word)) {
            return Some(unit);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_that_state_a_unit() {
        for (remark, unit) in [
            ("UNITS=mm", Unit::Millimetres),
            ("exported; unit: inches", Unit::Inches),
            ("units in", Unit::Inches),
            ("Units are in cm.", Unit::Centimetres),
            ("File units = meters", Unit::Metres),
            ("unit of length: m", Unit::Metres),
            ("all sizes in millimetres", Unit::Millimetres),
            ("STLB units=MM      ", Unit::Millimetres),
        ] {
            assert_eq!(stated(remark.as_bytes()), Some(unit), "{remark}");
        }
        for remark in [
            "",
            "step 0.5 mm",
            "made in m",
            "units",
            "units: stones",
            "in in",
            "4 units",
            "community in mud",
            "\u{fffd}",
        ] {
            assert_eq!(stated(remark.as_bytes()), None, "{remark}");
        }
    }

    /// A footbed of 265 mm, with up to a third of plate around it or missing, in each unit.
    #[test]
    fn a_size_is_explained_by_at_most_one_unit() {
        for unit in Unit::ALL {
            for share in [0.7, 1.0, 1.33] {
                assert_eq!(Unit::that_explains(share * 265.0 / unit.in_mm(), 265.0), Some(unit));
            }
            assert_eq!(Unit::from_word(unit.symbol()), Some(unit));
            assert_eq!(Unit::from_word(unit.words()), Some(unit));
        }
        assert_eq!(Unit::that_explains(265.0 * 1000.0, 265.0), None);
        assert_eq!(Unit::that_explains(265.0 / 4.0, 265.0), None);
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(Unit::that_explains(bad, 265.0), None);
            assert_eq!(Unit::that_explains(265.0, bad), None);
        }
    }
}
