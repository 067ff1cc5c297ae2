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
