//! What the bench can do about a value that is off, and what to do where it can do nothing. Knows
//! values; judges nothing.

use super::Check;
use crate::profile::{Band, Tolerances};
use crate::value::Value;

/// What work at the bench puts right a value that came out high or low (common practice, no source); `None` where none
/// does.
pub fn remedy(value: Value, high: bool) -> Option<&'static str> {
    match (value, high) {
        (Value::HeelThickness, true) => Some("grind the underside level, or the seat, and measure again"),
        (Value::HeelCupDepth, true) => Some("grind the rim down evenly"),
        (Value::HeelCupWidth, true) => Some("a thicker cover narrows the cup; measure again"),
        (Value::RearfootPost, _) => Some("grind the seat's high side, a little at a time, and measure again"),
        (Value::MedialArch | Value::LateralArch | Value::TransverseArch, true) => {
            Some("sand it down and measure again")
        }
        (Value::ForefootThickness, true) => Some("sand the forefoot evenly"),
        (Value::FlexZoneThickness, true) => Some("grind the underside of the flex zone"),
        (Value::Length | Value::BallWidth | Value::HeelWidth, true) => Some("trim the edge to the trim outline"),
        (Value::HeelThickness | Value::ForefootThickness, false) => {
            Some("a thin layer glued on under the cover makes up for it; measure again")
        }
        (Value::MedialArch | Value::LateralArch | Value::TransverseArch, false) => {
            Some("build it up with a thin piece glued on under the cover, and measure again")
        }
        (Value::BallWidth | Value::HeelWidth, false) => {
            Some("glue a strip along the edge, trim it to the trim outline and measure again")
        }
        (Value::HeelCupDepth | Value::HeelCupWidth | Value::FlexZoneThickness | Value::Length, false) => None,
    }
}

/// What to do about a value that is off by more than the bench puts right.
pub fn beyond(value: Value, high: bool) -> &'static str {
    match (value, high) {
        (Value::HeelCupDepth, false) => "a shallow cup cannot be put right at the bench: mill again",
        (Value::HeelCupWidth, false) => "a narrow cup cannot be widened safely: mill again",
        (Value::FlexZoneThickness, false) => {
            "it will bend more than was asked, with the cube of its thickness: mill again"
        }
        (Value::Length, false) => "what is missing cannot be put back: mill again",
        _ => "that is more than this shop puts right at the bench: mill again",
    }
}

/// The band of a value, in which what the bench cannot put right is rejected as soon as it is not accepted.
pub fn band(tolerances: &Tolerances, value: Value) -> Option<Band> {
    let mut band = *tolerances.bands.get(&value)?;
    if remedy(value, false).is_none() {
        band.reject_below = Some(-band.accept);
    }
    Some(band)
}

/// What to do about a check that is no value, where the bench may put it right.
pub fn check_remedy(check: Check) -> &'static str {
    match check {
        Check::BaseFlatness => "it rocks: grind the underside on a flat plate",
        Check::ForefootTilt => "a hidden cant: sand the forefoot's high side until both sides agree",
        Check::Thickness => "look at the surface there: a local fault, or the wrong place was measured",
    }
}

/// The same where it is off by more than that.
pub fn check_beyond(check: Check) -> &'static str {
    match check {
        Check::BaseFlatness => "it rocks, by more than this shop grinds away: mill again",
        Check::ForefootTilt => "a hidden cant, more than this shop sands away: mill again",
        Check::Thickness => "measure once more at the right place; if it stands, mill again",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inspect::{Verdict, verdict};
    use crate::profile::Shelf;

    /// `rework` stood beside "mill again", and `reject` beside "sand it down".
    #[test]
    fn verdict_and_advice_agree_wherever_a_value_may_lie() {
        let shelf = Shelf::built_in();
        let tolerances = shelf.tolerances("workshop").unwrap();
        for value in Value::ALL {
            let Some(band) = band(tolerances, value) else { continue };
            for hundredth in -400..=400_i32 {
                let difference = f64::from(hundredth) / 100.0;
                let high = difference > 0.0;
                match verdict(band, difference, 0.04) {
                    Verdict::Rework => assert!(!remedy(value, high).unwrap().contains("mill again"), "{value:?}"),
                    Verdict::Reject => assert!(beyond(value, high).contains("mill again"), "{value:?}"),
                    Verdict::Accept | Verdict::Borderline => {}
                }
            }
        }
    }
}
