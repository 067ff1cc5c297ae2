//! Numbers as short text for the page's own script: whole steps, differences, variable-length bytes,
//! base64 (RFC 4648). Knows nothing of what the numbers mean; `read.js` undoes it.

use crate::grid::Grid;

/// Steps in a mm of a height: a thousandth, far below the 0.02 mm to which the page is read.
pub const HEIGHT_STEPS: f64 = 1000.0;
/// Steps in a mm of a place on an outline or a path.
pub const PLACE_STEPS: f64 = 100.0;

/// Heights of a grid, each as its difference from the plane through its three earlier neighbours. A
/// smooth surface leaves about one byte a node.
pub fn heights(grid: &Grid) -> String {
    let (nx, whole) = (grid.lattice.nx, |k: usize| grid.z.get(k).map_or(0, |z| steps(*z, HEIGHT_STEPS)));
    let differences = (0..grid.z.len()).map(|k| {
        let (i, j) = (k % nx, k / nx);
        let left = if i > 0 { whole(k - 1) } else { 0 };
        let below = if j > 0 { whole(k - nx) } else { 0 };
        let corner = if i > 0 && j > 0 { whole(k - nx - 1) } else { 0 };
        whole(k) - (left + below - corner)
    });
    integers(differences)
}

/// Whole numbers as text.
pub fn integers(numbers: impl Iterator<Item = i64>) -> String {
    base64(&numbers.flat_map(variable).collect::<Vec<u8>>())
}

/// A length in whole steps; what is no number counts as 0.
pub fn steps(mm: f64, per_mm: f64) -> i64 {
    (mm * per_mm).round() as i64
}

/// Seven bits a byte, the lowest first, the sign in the lowest bit of all.
fn variable(number: i64) -> Vec<u8> {
    let mut rest = ((number << 1) ^ (number >> 63)) as u64;
    let mut bytes = Vec::with_capacity(2);
    loop {
        let low = (rest & 0x7f) as u8;
        rest >>= 7;
        if rest == 0 {
            bytes.push(low);
            return bytes;
        }
        bytes.push(low | 0x80);
    }
}

/// The alphabet of RFC 4648, section 4.
const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// Bytes as text (RFC 4648, section 4).
pub fn base64(bytes: &[u8]) -> String {
    let letter = |bits: u32| char::from(LETTERS[(bits & 63) as usize]);
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |k: usize| u32::from(three.get(k).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for k in 0..4 {
            text.push(if k <= three.len() { letter(bits >> (18 - 6 * k)) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Lattice;

    /// RFC 4648, section 10.
    #[test]
    fn base64_of_the_standard() {
        for (plain, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), text);
        }
    }

    #[test]
    fn small_numbers_take_one_byte_and_signs_survive() {
        assert_eq!(variable(0), [0]);
        assert_eq!(variable(-1), [1]);
        assert_eq!(variable(63), [126]);
        assert_eq!(variable(-64), [127]);
        assert_eq!(variable(64), [0x80, 1]);
    }

    /// A plane differs from its prediction in its first row and column alone.
    #[test]
    fn a_plane_leaves_nothing_but_its_edges() {
        let lattice = Lattice { x0: 0.0, y0: 0.0, step: 1.0, nx: 4, ny: 3 };
        let grid = Grid::from_fn(lattice, |p| 0.5 + 0.25 * p.x + p.y);
        let inner: String = integers([500, 250, 250, 250, 1000, 0, 0, 0, 1000, 0, 0, 0].into_iter());
        assert_eq!(heights(&grid), inner);
    }
}
