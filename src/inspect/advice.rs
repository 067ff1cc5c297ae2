//! What to do next with a value that is off, in the words of the bench.

use crate::value::Value;

/// What a bench can do about a value that came out high or low.
pub fn remedy(value: Value, high: bool) -> &'static str {
    match (value, high) {
        (Value::HeelThickness, true) => "grind the underside level, or the seat, and measure again",
        (Value::HeelCupDepth, true) => "grind the rim down evenly",
        (Value::HeelCupWidth, true) => "a thicker cover narrows the cup; otherwise mill again",
        (Value::HeelCupWidth, false) => "a narrow cup cannot be widened safely: mill again",
        (Value::RearfootPost, _) => "grind the seat's high side, a little at a time, and measure again",
        (Value::MedialArch | Value::LateralArch | Value::TransverseArch, true) => "sand it down and measure again",
        (Value::ForefootThickness, true) => "sand the forefoot evenly",
        (Value::FlexZoneThickness, true) => "grind the underside of the flex zone",
        (Value::FlexZoneThickness, false) => {
            "it will bend more than was asked, with the cube of its thickness: mill again"
        }
        (Value::Length | Value::BallWidth | Value::HeelWidth, true) => "trim the edge to the trim outline",
        (_, false) => "what is missing cannot be put back: mill again",
    }
}

/// What to do about a check that is no value.
pub fn check_remedy(check: super::Check) -> &'static str {
    match check {
        super::Check::BaseFlatness => "it rocks: grind the underside on a flat plate",
        super::Check::ForefootTilt => "a hidden cant: sand the forefoot's high side until both sides agree",
        super::Check::Thickness => "look at the surface there: a local fault, or the wrong place was measured",
    }
}
