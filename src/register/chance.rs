//! Chance that is always the same.

/// A number below `count`, which is not 0, that depends on `seed` alone (splitmix64: Steele, Lea & Flood
/// 2014, OOPSLA, fig. 16 [from memory]).
pub(super) fn below(seed: u64, count: usize) -> usize {
    let mut z = seed.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) % count as u64) as usize
}

/// About `wanted` of the numbers below `count`, rising: one from each run of equal length.
pub(super) fn one_of_each_run(count: usize, wanted: usize) -> Vec<usize> {
    let run = count.div_ceil(wanted.max(1)).max(1);
    (0..count.div_ceil(run)).map(|k| k * run + below(k as u64, run)).filter(|&i| i < count).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every second one must not be the same half.
    #[test]
    fn a_list_in_turn_is_drawn_from_both() {
        let drawn = one_of_each_run(10_000, 500);
        assert_eq!(drawn.len(), 500);
        let odd = drawn.iter().filter(|i| *i % 2 == 1).count();
        assert!((200..300).contains(&odd), "{odd}");
        assert_eq!(one_of_each_run(5, 100), [0, 1, 2, 3, 4]);
        assert!(one_of_each_run(0, 100).is_empty());
    }
}
