//! Signs that a clinician is to see first, as the ticket names them.

use super::{Finding, Severity};
use crate::frame::Side;
use crate::ticket::Wearer;

/// What the ticket's referral flags ask for. A flag that stops is outweighed by nothing but the
/// words under `cleared`: a `reason` typed for another stop is not meant for it.
pub fn referral(wearer: &Wearer, side: Side) -> Vec<Finding> {
    wearer
        .flags
        .iter()
        .map(|flag| match (&wearer.cleared, flag.stops) {
            (None, true) => {
                let message = format!("referral: {}; a clinician sees this before any footbed", flag.words);
                let advice = "make nothing until then; who has said what, and when, goes under [wearer] as cleared";
                Finding::new("referral_flag", Severity::Stop, side, message, advice.to_string()).never_overruled()
            }
            (Some(cleared), true) => {
                let message = format!("referral: {}; cleared: {cleared}", flag.words);
                let advice = "look again at every try; stop when it grows worse".to_string();
                Finding::new("referral_flag", Severity::Caution, side, message, advice)
            }
            (_, false) => {
                let message = format!("referral: {}; say that a clinician should see it", flag.words);
                let advice = "a footbed may be tried all the same; stop when it grows worse".to_string();
                Finding::new("referral_flag", Severity::Caution, side, message, advice)
            }
        })
        .collect()
}
