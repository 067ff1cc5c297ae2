//! The named values of a footbed: what a fitter asks for, a gauge reads and QA compares. Names,
//! units and words only; what each means on a surface is defined in `gauge/`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// One of the values by which a footbed is ordered, read back and judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // the names are the definition's names; `gauge/` defines each
pub enum Value {
    HeelThickness,
    HeelCupDepth,
    HeelCupWidth,
    RearfootPost,
    MedialArch,
    LateralArch,
    TransverseArch,
    ForefootThickness,
    FlexZoneThickness,
    Length,
    BallWidth,
    HeelWidth,
}

/// A figure as it is printed, with so many digits behind the point, halves away from nothing, and never a minus before
/// nothing.
pub fn figure(x: f64, digits: usize) -> String {
    let scale = 10_f64.powi(digits.min(9) as i32);
    let rounded = (scale * x).round() / scale;
    // What is too large to be scaled is a whole number anyway.
    let rounded = if rounded.is_finite() { rounded } else { x };
    let text = format!("{rounded:.digits$}");
    match text.strip_prefix('-') {
        Some(bare) if bare.bytes().all(|c| c == b'0' || c == b'.') => bare.to_string(),
        _ => text,
    }
}

/// The same with its sign, a plus before nothing.
pub fn signed(x: f64, digits: usize) -> String {
    let text = figure(x, digits);
    if text.starts_with('-') || x.is_nan() { text } else { format!("+{text}") }
}

/// Values by name, in the order of the enum.
pub type Values = BTreeMap<Value, f64>;

impl Value {
    /// Every value, in the order of tables.
    pub const ALL: [Value; 12] = [
        Value::HeelThickness,
        Value::HeelCupDepth,
        Value::HeelCupWidth,
        Value::RearfootPost,
        Value::MedialArch,
        Value::LateralArch,
        Value::TransverseArch,
        Value::ForefootThickness,
        Value::FlexZoneThickness,
        Value::Length,
        Value::BallWidth,
        Value::HeelWidth,
    ];

    /// The name used in tickets and JSON, such as `heel_cup_depth`.
    pub fn name(self) -> &'static str {
        match self {
            Value::HeelThickness => "heel_thickness",
            Value::HeelCupDepth => "heel_cup_depth",
            Value::HeelCupWidth => "heel_cup_width",
            Value::RearfootPost => "rearfoot_post",
            Value::MedialArch => "medial_arch",
            Value::LateralArch => "lateral_arch",
            Value::TransverseArch => "transverse_arch",
            Value::ForefootThickness => "forefoot_thickness",
            Value::FlexZoneThickness => "flex_zone_thickness",
            Value::Length => "length",
            Value::BallWidth => "ball_width",
            Value::HeelWidth => "heel_width",
        }
    }

    /// The name in words, such as `heel cup depth`.
    pub fn words(self) -> String {
        self.name().replace('_', " ")
    }

    /// `deg` for the post, `mm` for all others.
    pub fn unit(self) -> &'static str {
        if self == Value::RearfootPost { "deg" } else { "mm" }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "-0.00" was printed in the inspection record.
    #[test]
    fn nothing_has_no_minus() {
        assert_eq!([-0.004, -0.0, 0.0, -0.006].map(|x| figure(x, 2)), ["0.00", "0.00", "0.00", "-0.01"]);
        assert_eq!([-0.004, 0.004, 1.5, -1.5].map(|x| signed(x, 2)), ["+0.00", "+0.00", "+1.50", "-1.50"]);
        assert_eq!([4.625, -0.125, f64::MAX, f64::NAN].map(|x| figure(x, 2).len()), [4, 5, 312, 3]);
        assert_eq!((figure(4.625, 2), figure(-0.125, 2)), ("4.63".to_string(), "-0.13".to_string()));
        assert_eq!((figure(-0.4, 0), figure(-10.0, 0)), ("0".to_string(), "-10".to_string()));
    }
}
