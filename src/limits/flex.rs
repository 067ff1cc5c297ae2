//! Limits of a footbed under load, told by whoever worked out how it gives.

use super::{Finding, Severity};
use crate::flex::{Figures, Flex, Squeeze};
use crate::frame::{Point2, Side};

/// Of the share at which its cells are shut, a foam may be squeezed so far: beyond, it hardens
/// quickly and does not come back for long (shop's own choice).
const SQUEEZED_SHARE: f64 = 0.8;

/// What there is to find about a footbed under load; nothing where nothing is known.
pub fn under_load(side: Side, flex: &Flex, foot_length_mm: f64) -> Vec<Finding> {
    let Some(figures) = &flex.figures else { return vec![] };
    let strained = strain(side, flex, figures).into_iter();
    let squeezed = figures.squeeze.iter().filter_map(|squeeze| bottoming(side, flex, squeeze));
    strained.chain(squeezed).map(|(finding, at)| finding.place(Point2::from(at), foot_length_mm)).collect()
}

fn strain(side: Side, flex: &Flex, figures: &Figures) -> Option<(Finding, [f64; 2])> {
    let (bending, limit) = figures.bending.zip(figures.strain_limit).filter(|(b, limit)| b.strain > *limit)?;
    let message = format!(
        "{} bends the flex zone to a strain of {:.2} %; the material stands {:.2} % again and again",
        flex.load_title,
        100.0 * bending.strain,
        100.0 * limit
    );
    let advice =
        "make the flex zone thicker (strain falls with the square of the thickness), or fill the hollow back with \
                  stabiliser_share"
            .to_string();
    let finding = Finding::new("flex_strain", Severity::Caution, side, message, advice);
    Some((finding.numbers(100.0 * bending.strain, 100.0 * limit, "%"), bending.at_mm))
}

fn bottoming(side: Side, flex: &Flex, squeeze: &Squeeze) -> Option<(Finding, [f64; 2])> {
    let allowed = SQUEEZED_SHARE * squeeze.shut_at;
    if squeeze.squeezed <= allowed {
        return None;
    }
    let message = format!(
        "{}, {:.0} kPa under the {}, squeezes {:.1} mm of foam by {:.0} %; from {:.0} % its cells are shut and it is hard",
        flex.load_title,
        squeeze.pressure_kpa,
        squeeze.under,
        squeeze.thickness_mm,
        100.0 * squeeze.squeezed,
        100.0 * squeeze.shut_at
    );
    let advice = "take a firmer material: more of the same foam is squeezed by the same share".to_string();
    let finding = Finding::new("foam_bottoms", Severity::Caution, side, message, advice);
    Some((finding.numbers(100.0 * squeeze.squeezed, 100.0 * allowed, "%"), squeeze.at_mm))
}
