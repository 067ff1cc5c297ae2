//! From keys to their places in a list: an open-addressing table of places alone, the keys stay in
//! the list. Knows nothing of points.

/// A slot that holds no place.
const VACANT: u32 = u32::MAX;

/// The first table, slots.
const FIRST: usize = 1 << 8;

/// Places of the entries of a list, found by their hash. Two slots or more for every entry keep the
/// walks short (Knuth, The Art of Computer Programming 3, 6.4: 1.5 looks to find at half full).
pub(super) struct Index {
    slots: Vec<u32>,
}

impl Index {
    pub(super) fn new() -> Index {
        Index { slots: vec![VACANT; FIRST] }
    }

    /// The place of the entry with that hash for which `same` holds. When there is none, the next
    /// entry of the list, number `next`, is noted under that hash. `hash_of` gives the hash of the
    /// entry at a place. `next` is below `u32::MAX`.
    #[inline]
    pub(super) fn find_or_note(
        &mut self,
        hash: u64,
        next: u32,
        same: impl Fn(u32) -> bool,
        hash_of: impl Fn(u32) -> u64,
    ) -> Option<u32> {
        if self.slots.len() / 2 <= next as usize {
            self.grow(next, hash_of);
        }
        let last = self.slots.len() - 1;
        let mut slot = hash as usize & last;
        loop {
            match self.slots[slot] {
                VACANT => {
                    self.slots[slot] = next;
                    return None;
                }
                place if same(place) => return Some(place),
                _ => slot = (slot + 1) & last,
            }
        }
    }

    #[cold]
    fn grow(&mut self, entries: u32, hash_of: impl Fn(u32) -> u64) {
        let last = self.slots.len() * 2 - 1;
        self.slots.clear();
        self.slots.resize(last + 1, VACANT);
        for place in 0..entries {
            let mut slot = hash_of(place) as usize & last;
            while self.slots[slot] != VACANT {
                slot = (slot + 1) & last;
            }
            self.slots[slot] = place;
        }
    }
}

/// Mixes numbers into a hash: multiply by an odd constant to twice the width and fold. The constants
/// are the fractions of the golden ratio and of the square roots of 3 and 5, which have no pattern.
#[inline]
pub(super) fn mixed(words: [u64; 3]) -> u64 {
    const BY: [u64; 3] = [0x9e37_79b9_7f4a_7c15, 0xbb67_ae85_84ca_a73b, 0x3c6e_f372_fe94_f82b];
    let fold = |a: u64, b: u64| {
        let wide = u128::from(a) * u128::from(b);
        (wide >> 64) as u64 ^ wide as u64
    };
    let first = fold(words[0] ^ BY[1], BY[0]);
    let second = fold(words[1] ^ first, BY[1] | 1);
    fold(words[2] ^ second, BY[2] | 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// The same answers as a map of the standard library, over keys that repeat.
    #[test]
    fn finds_what_a_map_finds() {
        let (mut index, mut list, mut map) = (Index::new(), Vec::new(), BTreeMap::new());
        let mut key = 1_u64;
        for _ in 0..100_000 {
            key = key.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            let entry = [key >> 60, (key >> 40) % 50, (key >> 20) % 30];
            let next = list.len() as u32;
            let found =
                index.find_or_note(mixed(entry), next, |i| list[i as usize] == entry, |i| mixed(list[i as usize]));
            assert_eq!(found, map.get(&entry).copied());
            if found.is_none() {
                list.push(entry);
                map.insert(entry, next);
            }
        }
        assert!(list.len() > 20_000);
    }

    /// Whole millimetres as bits of floats differ in few places; their hashes must not crowd.
    #[test]
    fn a_lattice_of_points_spreads_over_the_slots() {
        let mut slots = vec![0_u32; 1 << 16];
        for k in 0..32_768_u32 {
            let bits = |v: u32| f64::from(v).to_bits();
            slots[mixed([bits(k % 32), bits(k / 32 % 32), bits(k / 1024)]) as usize & 0xffff] += 1;
        }
        // Half as many keys as slots: Poisson's share of slots with more than five is 1e-5.
        assert!(slots.iter().filter(|&&n| n > 5).count() < 20);
        let taken = slots.iter().filter(|&&n| n > 0).count() as f64 / 65_536.0;
        assert!((taken - (1.0 - (-0.5_f64).exp())).abs() < 0.01, "{taken}");
    }
}
