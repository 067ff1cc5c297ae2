//! Colours of differences: a diverging scale from blue through light grey to red, and the steps at
//! which a map changes colour. Knows nothing of what is mapped. Both ends are equally dark, so that in
//! grey the tone tells how much and never which way: that is told by signs and by dashes.

use std::f64::consts::FRAC_PI_3;

/// Steps between contour lines to choose from, mm: those that a ruler's reader counts in.
const STEPS_MM: [f64; 9] = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0];
/// At most so many steps either way: more tones than this are no longer told apart side by side
/// (shop's own choice).
const MOST_STEPS: f64 = 6.0;
/// What is never exceeded in a map has a range of at least this, mm: a tenth of what a mill leaves.
const LEAST_REACH_MM: f64 = 0.05;

/// How differences become colours and lines: symmetric about none, so that equal amounts either way
/// look equally strong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    /// Either end of the range, mm.
    pub reach_mm: f64,
    /// Between two contour lines, mm.
    pub step_mm: f64,
    /// Up to this either way there is no colour, mm.
    pub neutral_mm: f64,
}

impl Steps {
    /// Steps for differences of at most `most_mm` either way, of which `neutral_mm` are let go.
    pub fn covering(most_mm: f64, neutral_mm: f64) -> Steps {
        let most = if most_mm.is_finite() { most_mm.abs().max(LEAST_REACH_MM) } else { LEAST_REACH_MM };
        let fits = |step: &f64| most <= MOST_STEPS * step * (1.0 + 1e-9);
        let step_mm = STEPS_MM.into_iter().find(fits).unwrap_or(most / MOST_STEPS);
        let reach_mm = (most / step_mm - 1e-9).ceil().max(1.0) * step_mm;
        Steps { reach_mm: reach_mm.max(neutral_mm.abs()), step_mm, neutral_mm: neutral_mm.abs() }
    }

    /// Where contour lines run on either side of none, mm, ascending: the edge of the neutral band,
    /// then whole steps beyond it.
    pub fn levels(&self) -> Vec<f64> {
        let last = (self.reach_mm / self.step_mm - 1e-6).ceil() as i64;
        let whole = (1..last).map(|k| k as f64 * self.step_mm);
        let apart = |level: &f64| *level > self.neutral_mm + 0.25 * self.step_mm;
        let edge = (self.neutral_mm > 0.0 && self.neutral_mm < self.reach_mm).then_some(self.neutral_mm);
        edge.into_iter().chain(whole.filter(apart)).collect()
    }

    /// Colour of the band that begins at `level` on the side of `sign`, to the next of `levels`.
    pub fn band_colour(&self, levels: &[f64], k: usize, sign: f64) -> String {
        let from = levels.get(k).copied().unwrap_or(0.0);
        let to = levels.get(k + 1).copied().unwrap_or(self.reach_mm);
        cool_warm(0.5 + 0.25 * sign.signum() * (from + to) / self.reach_mm)
    }
}

/// The scale of Moreland 2009, "Diverging color maps for scientific visualization" (ISVC 2009, LNCS
/// 5876:92), from cool to warm, at `share` 0..=1, as `#rrggbb`. Interpolated in his Msh space, a polar
/// form of CIELAB, through white at the M of the lighter end or 88, whichever is more.
pub fn cool_warm(share: f64) -> String {
    const COOL: [f64; 3] = [59.0, 76.0, 192.0];
    const WARM: [f64; 3] = [180.0, 4.0, 38.0];
    let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.5 };
    let (cool, warm) = (msh_of_rgb(COOL), msh_of_rgb(WARM));
    let white = cool[0].max(warm[0]).max(88.0);
    let (end, along) = if share < 0.5 { (cool, 1.0 - 2.0 * share) } else { (warm, 2.0 * share - 1.0) };
    // White has no hue of its own: it takes that of the colour, turned so that the way is even.
    let from = [white, 0.0, turned_hue(end, white)];
    let mix = |k: usize| from[k] + along * (end[k] - from[k]);
    let [r, g, b] = rgb_of_msh([mix(0), mix(1), mix(2)]).map(|v| v.round().clamp(0.0, 255.0) as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Hue that an unsaturated colour of magnitude `m` takes on the way to a saturated one (Moreland 2009,
/// function AdjustHue).
fn turned_hue([m_end, s_end, h_end]: [f64; 3], m: f64) -> f64 {
    if m_end >= m {
        return h_end;
    }
    let spin = s_end * (m * m - m_end * m_end).sqrt() / (m_end * s_end.sin());
    if h_end > -FRAC_PI_3 { h_end + spin } else { h_end - spin }
}

/// White of CIELAB: D65 (CIE 15:2004).
const WHITE: [f64; 3] = [0.95047, 1.0, 1.08883];

fn msh_of_rgb(rgb: [f64; 3]) -> [f64; 3] {
    let [r, g, b] = rgb.map(|v| linear(v / 255.0));
    // Primaries of sRGB (IEC 61966-2-1).
    let xyz = [
        0.4124 * r + 0.3576 * g + 0.1805 * b,
        0.2126 * r + 0.7152 * g + 0.0722 * b,
        0.0193 * r + 0.1192 * g + 0.9505 * b,
    ];
    let [x, y, z] = [0, 1, 2].map(|k| lab_f(xyz[k] / WHITE[k]));
    let (l, a, b) = (116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z));
    let m = (l * l + a * a + b * b).sqrt();
    [m, (l / m).acos(), b.atan2(a)]
}

fn rgb_of_msh([m, s, h]: [f64; 3]) -> [f64; 3] {
    let (l, a, b) = (m * s.cos(), m * s.sin() * h.cos(), m * s.sin() * h.sin());
    let y = (l + 16.0) / 116.0;
    let [x, y, z] = [WHITE[0] * lab_g(y + a / 500.0), WHITE[1] * lab_g(y), WHITE[2] * lab_g(y - b / 200.0)];
    let linear_rgb = [
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    ];
    linear_rgb.map(|v| 255.0 * companded(v))
}

fn lab_f(t: f64) -> f64 {
    if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 }
}

fn lab_g(t: f64) -> f64 {
    if t.powi(3) > 0.008856 { t.powi(3) } else { (t - 16.0 / 116.0) / 7.787 }
}

fn linear(v: f64) -> f64 {
    if v > 0.04045 { ((v + 0.055) / 1.055).powf(2.4) } else { v / 12.92 }
}

fn companded(v: f64) -> f64 {
    if v > 0.0031308 { 1.055 * v.powf(1.0 / 2.4) - 0.055 } else { 12.92 * v }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rgb(hex: &str) -> [i32; 3] {
        [1, 3, 5].map(|k| i32::from_str_radix(&hex[k..k + 2], 16).unwrap())
    }

    /// Places of the table of 33 colours that Moreland publishes beside his paper [from memory].
    #[test]
    fn the_scale_is_the_published_one() {
        let table = [
            (0.0, [59, 76, 192]),
            (0.125, [98, 130, 234]),
            (0.25, [141, 176, 254]),
            (0.375, [184, 208, 249]),
            (0.5, [221, 221, 221]),
            (0.625, [245, 196, 173]),
            (0.75, [244, 154, 123]),
            (0.875, [222, 96, 77]),
            (1.0, [180, 4, 38]),
        ];
        for (share, published) in table {
            let here = rgb(&cool_warm(share));
            assert!(here.iter().zip(published).all(|(a, b)| (a - b).abs() <= 2), "{share}: {here:?}, {published:?}");
        }
    }

    /// In grey the tone (L* of CIE 15:2004) falls from the middle to either end alike: it tells how much.
    #[test]
    fn grey_tells_how_much_and_not_which_way() {
        let grey = |share: f64| {
            let [r, g, b] = rgb(&cool_warm(share)).map(|v| linear(f64::from(v) / 255.0));
            116.0 * (0.2126 * r + 0.7152 * g + 0.0722 * b).cbrt() - 16.0
        };
        for k in 0..10 {
            let (near, far) = (0.5 + 0.05 * f64::from(k), 0.55 + 0.05 * f64::from(k));
            assert!(grey(far) < grey(near) && grey(1.0 - far) < grey(1.0 - near));
            assert!((grey(far) - grey(1.0 - far)).abs() < 1.0, "{far}");
        }
    }

    #[test]
    fn steps_are_round_and_cover_what_is_there() {
        for (most, neutral, reach, step) in
            [(1.03, 0.0, 1.2, 0.2), (0.0, 0.7, 0.7, 0.01), (2.4, 0.7, 2.5, 0.5), (100.0, 0.0, 100.0, 100.0 / 6.0)]
        {
            let steps = Steps::covering(most, neutral);
            assert!((steps.reach_mm - reach).abs() < 1e-9 && (steps.step_mm - step).abs() < 1e-9, "{steps:?}");
        }
        let levels = Steps::covering(2.4, 0.7).levels();
        assert_eq!(levels, [0.7, 1.0, 1.5, 2.0]);
        assert_eq!(Steps::covering(f64::NAN, 0.0).reach_mm, 0.05);
    }
}
