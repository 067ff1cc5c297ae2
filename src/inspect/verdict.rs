//! What a difference comes to, with its uncertainty: the bands of a tolerances profile and the
//! decision rule.

use serde::{Deserialize, Serialize};

use crate::profile::Band;

/// What becomes of a piece, from best to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// As asked, beyond what the measurement leaves in doubt.
    Accept,
    /// The measurement cannot tell: measure again, or better.
    Borderline,
    /// Off, but work at the bench may put it right.
    Rework,
    /// Off by more than the shop lets go.
    Reject,
}

impl Verdict {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Accept => "accept",
            Verdict::Borderline => "borderline",
            Verdict::Rework => "rework",
            Verdict::Reject => "reject",
        }
    }
}

/// The verdict on a difference made minus asked, known to +- `uncertainty` (k = 2): what the band
/// says when it says the same for the whole interval; rework when it is off for certain and only the
/// bound of rejection is in doubt; otherwise borderline. So nothing is accepted or rejected that the
/// measurement does not prove (decision rule after ISO 14253-1 [from memory]).
pub fn verdict(band: Band, difference: f64, uncertainty: f64) -> Verdict {
    let [low, high] = [difference - uncertainty, difference + uncertainty].map(|end| zone(band, end));
    let accepted_between = difference.abs() <= uncertainty + band.accept;
    match (low, high) {
        (Verdict::Accept, Verdict::Accept) => Verdict::Accept,
        _ if accepted_between => Verdict::Borderline,
        _ => low.min(high),
    }
}

/// Where a difference that is known exactly lies.
fn zone(band: Band, difference: f64) -> Verdict {
    let beyond = band.reject_below.is_some_and(|bound| difference < bound)
        || band.reject_above.is_some_and(|bound| difference > bound);
    if beyond {
        Verdict::Reject
    } else if difference.abs() <= band.accept {
        Verdict::Accept
    } else {
        Verdict::Rework
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const BAND: Band = Band { accept: 1.0, reject_below: Some(-2.0), reject_above: Some(1.5) };

    #[test]
    fn each_zone_with_a_sharp_gauge() {
        let exact = |difference| verdict(BAND, difference, 0.0);
        assert_eq!([-2.01, -2.0, -1.01].map(exact), [Verdict::Reject, Verdict::Rework, Verdict::Rework]);
        assert_eq!([-1.0, 0.0, 1.0].map(exact), [Verdict::Accept; 3]);
        assert_eq!([1.01, 1.5, 1.51].map(exact), [Verdict::Rework, Verdict::Rework, Verdict::Reject]);
        let open = Band { reject_above: None, ..BAND };
        assert_eq!(verdict(open, 9.0, 0.0), Verdict::Rework);
    }

    /// The word that is printed is the one that the records hold.
    #[test]
    fn a_verdict_has_one_word() {
        for verdict in [Verdict::Accept, Verdict::Borderline, Verdict::Rework, Verdict::Reject] {
            assert_eq!(serde_json::to_value(verdict).unwrap(), verdict.word());
        }
        assert_eq!(Verdict::Rework.word(), "rework");
    }

    #[test]
    fn what_the_gauge_cannot_tell_is_borderline() {
        assert_eq!(verdict(BAND, 0.8, 0.3), Verdict::Borderline);
        assert_eq!(verdict(BAND, 1.2, 0.3), Verdict::Borderline);
        assert_eq!(verdict(BAND, 1.25, 0.2), Verdict::Rework);
        // Off for certain; whether beyond the bound of rejection is not.
        assert_eq!(verdict(BAND, 1.45, 0.2), Verdict::Rework);
        assert_eq!(verdict(BAND, 1.55, 0.2), Verdict::Rework);
        assert_eq!(verdict(BAND, 1.9, 0.3), Verdict::Reject);
        // So coarse that it may be too low as well as too high.
        assert_eq!(verdict(BAND, 0.0, 5.0), Verdict::Borderline);
    }

    proptest! {
        /// A better measurement of the same difference only settles what was in doubt: borderline,
        /// or whether rework is enough.
        #[test]
        fn sharper_never_contradicts(difference in -3.0..3.0f64, coarse in 0.0..2.0f64, share in 0.0..1.0f64) {
            let (blunt, sharp) = (verdict(BAND, difference, coarse), verdict(BAND, difference, share * coarse));
            let settled = blunt == Verdict::Rework && sharp == Verdict::Reject;
            prop_assert!(blunt == Verdict::Borderline || blunt == sharp || settled, "{blunt:?} {sharp:?}");
        }
    }
}
