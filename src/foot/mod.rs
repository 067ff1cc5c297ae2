//! One foot as measured, and where its landmarks lie. Knows nothing of supports or files.

/// How much weight the foot carried when it was measured: a value without its loading is no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // the words of the trade say it
pub enum Loading {
    Unloaded,
    Seated,
    Standing,
}

/// One measure, mm, in each loading state it was taken in. At least one state is present.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[allow(missing_docs)]
pub struct Loaded {
    pub unloaded: Option<f64>,
    pub seated: Option<f64>,
    pub standing: Option<f64>,
}

impl Loaded {
    /// The most loaded state that was measured, and which it is.
    pub fn most_loaded(&self) -> Option<(Loading, f64)> {
        let states =
            [(Loading::Standing, self.standing), (Loading::Seated, self.seated), (Loading::Unloaded, self.unloaded)];
        states.into_iter().find_map(|(loading, mm)| mm.map(|mm| (loading, mm)))
    }
}

/// One foot as measured, mm. Only the length is always there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Foot {
    /// Rear of the heel to the longest toe.
    pub length: Loaded,
    /// Breadth across the met heads, horizontal.
    pub ball_width: Loaded,
    /// Breadth of the heel.
    pub heel_width: Loaded,
    /// Height of the medial arch above the floor at its apex.
    pub medial_arch: Loaded,
    /// Rear of the heel to the first met head along the long axis.
    pub first_met: Loaded,
    /// Rear of the heel to the fifth met head along the long axis.
    pub fifth_met: Loaded,
}

impl Foot {
    /// The length that stations are fractions of: the most loaded one, mm.
    pub fn length_mm(&self) -> f64 {
        self.length.most_loaded().map_or(f64::NAN, |(_, mm)| mm)
    }
}

/// Where the landmarks lie along the foot, as fractions of its length.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct Stations {
    pub heel_centre: f64,
    pub widest_cup: f64,
    pub medial_arch: f64,
    pub lateral_arch: f64,
    pub transverse_arch: f64,
    pub first_met: f64,
    pub fifth_met: f64,
}

impl Stations {
    /// The stations with their names as written in tickets and profiles, in the order of tables.
    pub fn named(&self) -> [(&'static str, f64); 7] {
        [
            ("heel_centre", self.heel_centre),
            ("widest_cup", self.widest_cup),
            ("medial_arch", self.medial_arch),
            ("lateral_arch", self.lateral_arch),
            ("transverse_arch", self.transverse_arch),
            ("first_met", self.first_met),
            ("fifth_met", self.fifth_met),
        ]
    }
}

/// A measure that grows under load, each at its own rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Growing {
    Length,
    BallWidth,
    HeelWidth,
}

impl Growing {
    /// Growth from the unloaded foot to one that carries half the body, as in standing on both:
    /// Tsung et al. 2003, J Rehabil Res Dev 40:517 (abstract).
    fn unloaded_to_standing(self) -> f64 {
        match self {
            Growing::Length => 1.027,
            Growing::BallWidth => 1.029,
            Growing::HeelWidth => 1.059,
        }
    }

    /// Growth from seated to standing: half of that from unloaded. No source; own choice, as a seated
    /// foot lies between the two.
    fn seated_to_standing(self) -> f64 {
        1.0 + (self.unloaded_to_standing() - 1.0) / 2.0
    }
}

impl Loaded {
    /// The measure as it is or would be standing, mm, with the loading it comes from.
    pub fn standing_mm(&self, growing: Growing) -> Option<(Loading, f64)> {
        self.most_loaded().map(|(loading, mm)| match loading {
            Loading::Standing => (loading, mm),
            Loading::Seated => (loading, mm * growing.seated_to_standing()),
            Loading::Unloaded => (loading, mm * growing.unloaded_to_standing()),
        })
    }

    /// This measure as a share of `whole`, both in the most loaded state that they share, or else
    /// each in its own most loaded one.
    pub fn share_of(&self, whole: &Loaded) -> Option<f64> {
        let same = [(self.standing, whole.standing), (self.seated, whole.seated), (self.unloaded, whole.unloaded)];
        let shared = same.into_iter().find_map(|(part, whole)| Some((part?, whole?)));
        let (part, whole) = match shared {
            Some(pair) => pair,
            None => (self.most_loaded()?.1, whole.most_loaded()?.1),
        };
        Some(part / whole)
    }
}

/// Breadth across the met heads to be expected of a foot of `length_mm`, mm: the mean of the men's
/// line 0.2352 L + 38.09 and the women's 0.2134 L + 40.16 of ANSUR II (Gordon et al. 2014,
/// NATICK/TR-15/007). The scatter about either line is about 4.5 mm (one SD).
pub fn usual_ball_width_mm(length_mm: f64) -> f64 {
    (0.2352 * length_mm + 38.09 + 0.2134 * length_mm + 40.16) / 2.0
}

/// Breadth of the heel to be expected of a foot of `length_mm`, mm: the mean of the men's line
/// 0.2019 L + 17.74 and the women's 0.2137 L + 14.53 of ANSUR II (Gordon et al. 2014).
pub fn usual_heel_width_mm(length_mm: f64) -> f64 {
    (0.2019 * length_mm + 17.74 + 0.2137 * length_mm + 14.53) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn usual_widths_meet_the_survey_means() {
        // ANSUR II means: men 271.18 long, 101.86 broad, heel 72.51; women 246.29, 92.71, 67.16. The
        // mean line runs between the two groups, so it may miss each by half their distance (1.9 mm
        // at most, from the lines themselves).
        for (length, ball, heel) in [(271.18, 101.86, 72.51), (246.29, 92.71, 67.16)] {
            assert_relative_eq!(usual_ball_width_mm(length), ball, epsilon = 2.0);
            assert_relative_eq!(usual_heel_width_mm(length), heel, epsilon = 1.0);
        }
    }

    #[test]
    fn a_seated_measure_grows_and_a_standing_one_stays() {
        let standing = Loaded { seated: Some(66.0), standing: Some(68.0), ..Loaded::default() };
        assert_eq!(standing.standing_mm(Growing::HeelWidth), Some((Loading::Standing, 68.0)));
        let seated = Loaded { seated: Some(100.0), ..Loaded::default() };
        // Half of Tsung's 2.9 %.
        let (loading, mm) = seated.standing_mm(Growing::BallWidth).expect("it was measured seated");
        assert_eq!(loading, Loading::Seated);
        assert_relative_eq!(mm, 101.45, epsilon = 1e-9);
        assert_eq!(Loaded::default().standing_mm(Growing::Length), None);
    }

    #[test]
    fn a_share_compares_like_with_like() {
        let length = Loaded { seated: Some(260.0), standing: Some(266.0), ..Loaded::default() };
        let seated_met = Loaded { seated: Some(195.0), ..Loaded::default() };
        assert_eq!(seated_met.share_of(&length), Some(0.75));
    }
}
