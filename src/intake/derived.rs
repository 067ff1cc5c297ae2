//! Measures that follow from others by a published definition. Plain formulas; their classes and
//! cut-offs are data (`profiles/rules/classes.toml`).

/// Arch height index: height of the back of the foot at half its length over the length from the heel
/// to the first met head (Williams & McClay 2000, Phys Ther 80:864).
pub fn arch_height_index(dorsal_mm: f64, truncated_mm: f64) -> Option<f64> {
    (truncated_mm > 0.0).then(|| dorsal_mm / truncated_mm)
}

/// Arch stiffness, kg for one unit of the arch height index: 0.40 of the body's weight over the fall
/// of the index between a tenth and half of the body on the foot (Zifchock et al. 2006, Foot Ankle Int
/// 27:367). `None` when the index does not fall.
pub fn arch_stiffness(weight_kg: f64, seated_index: f64, standing_index: f64) -> Option<f64> {
    let fall = seated_index - standing_index;
    (fall > 0.0).then(|| 0.40 * weight_kg / fall)
}

/// A Mondopoint size (ISO 9407): foot length / foot width, mm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mondopoint {
    /// Length to the nearest whole size of 5 mm, halves up.
    pub length_mm: u32,
    /// Width to the nearest mm, halves up, where it is known.
    pub width_mm: Option<u32>,
}

/// Sizes are 5 mm apart (ISO 9407 has 5 and 7.5 mm).
const SIZE_STEP_MM: f64 = 5.0;

/// The size that a foot of these measures is marked with. `None` for what is no length.
pub fn mondopoint(length_mm: f64, width_mm: Option<f64>) -> Option<Mondopoint> {
    let to = |mm: f64, step: f64| {
        let whole = (mm / step + 0.5).floor() * step;
        (whole.is_finite() && (0.0..=1000.0).contains(&whole)).then_some(whole as u32)
    };
    Some(Mondopoint { length_mm: to(length_mm, SIZE_STEP_MM)?, width_mm: width_mm.and_then(|mm| to(mm, 1.0)) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn indices_meet_their_closed_forms() {
        // 64 / 188 = 0.3404; 0.4 x 70 / (0.363 - 0.340) = 1217.
        assert_relative_eq!(arch_height_index(64.0, 188.0).unwrap(), 0.3404, epsilon = 5e-5);
        assert_relative_eq!(arch_stiffness(70.0, 0.363, 0.340).unwrap(), 1217.4, epsilon = 0.05);
        assert_eq!(arch_stiffness(70.0, 0.340, 0.340), None);
        assert_eq!(arch_height_index(64.0, 0.0), None);
    }

    #[test]
    fn sizes_round_to_the_nearest_five_halves_up() {
        let size = |mm: f64| mondopoint(mm, None).unwrap().length_mm;
        assert_eq!([262.4, 262.5, 267.4, 267.5, 265.0].map(size), [260, 265, 265, 270, 265]);
        assert_eq!(mondopoint(265.0, Some(98.5)).unwrap().width_mm, Some(99));
        assert_eq!(mondopoint(f64::NAN, None), None);
    }
}
