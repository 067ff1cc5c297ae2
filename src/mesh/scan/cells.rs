//! Sums over the cells of a lattice in space, gathered on all threads with the same result on any
//! number of them. Knows nothing of what is summed.

use rayon::prelude::*;

use super::index::{Index, mixed};
use crate::frame::{Point3, Vector3};

/// The most cells from the origin along an axis; cells are counted with 32 bits.
pub(super) const MOST_CELLS: f64 = 1e9;

/// What is sorted by one task: little enough for the fast memory of its core.
const CHUNK: usize = 1 << 14;

/// Groups into which everything is sorted by its place, so that the cells of a group stay in the
/// fast memory while they are added to: files may hold neighbours far apart.
const GROUPS: usize = 256;

/// Cells, as a power of two, along the cubes of which all is in one group.
const CUBE: u32 = 3;

/// Where a cell lies, and to which side what is in it faces: 0 to 5, or 6 for nothing.
#[derive(Clone, Copy, PartialEq)]
struct Key {
    at: [i32; 3],
    facing: u32,
}

/// What lies in a cell, as sums.
pub(super) struct Cell {
    key: Key,
    pub(super) weight: f64,
    /// Weighted.
    pub(super) place: Vector3,
    /// Weighted.
    pub(super) normal: Vector3,
}

/// Cells in the order in which something was first added to them.
pub(super) struct Cells {
    cells: Vec<Cell>,
    index: Index,
    per_width: f64,
}

/// The cells, `width` wide, of what `add` adds for each item; `place` is about where that will be.
/// Items are added group after group, those of a group in their order.
pub(super) fn gathered<T: Copy + Send + Sync>(
    items: &[T],
    width: f64,
    place: impl Fn(&T) -> Point3 + Sync,
    add: impl Fn(&T, &mut Cells) + Sync,
) -> Vec<Cell> {
    let group = |item: &T| Key::at(&place(item), 1.0 / width).group();
    let sorted: Vec<_> = items.par_chunks(CHUNK).map(|chunk| Sorted::new(chunk, group)).collect();
    let groups = (0..GROUPS).into_par_iter().map(|group| {
        let mut cells = Cells::new(width);
        sorted.iter().flat_map(|chunk| chunk.members(group)).for_each(|item| add(item, &mut cells));
        cells.cells
    });
    // What lies astride the border of two groups is in both.
    let mut all = Cells::new(width);
    for cell in groups.collect::<Vec<_>>().iter().flatten() {
        all.cell(cell.key).join(cell);
    }
    all.cells
}

/// A chunk sorted into groups, each in its order.
struct Sorted<T> {
    items: Vec<T>,
    ends: [usize; GROUPS],
}

impl<T: Copy> Sorted<T> {
    /// A counting sort.
    fn new(chunk: &[T], group: impl Fn(&T) -> u8) -> Sorted<T> {
        let groups: Vec<u8> = chunk.iter().map(group).collect();
        let mut ends = [0; GROUPS];
        groups.iter().for_each(|&group| ends[usize::from(group)] += 1);
        let mut sum = 0;
        for end in &mut ends {
            // For now where the group begins; after all are placed, where it ends.
            (*end, sum) = (sum, sum + *end);
        }
        let mut order = vec![0; groups.len()];
        for (k, &group) in groups.iter().enumerate() {
            let next = &mut ends[usize::from(group)];
            order[*next] = k;
            *next += 1;
        }
        Sorted { items: order.iter().map(|&k| chunk[k]).collect(), ends }
    }

    fn members(&self, group: usize) -> &[T] {
        let begin = if group == 0 { 0 } else { self.ends[group - 1] };
        &self.items[begin..self.ends[group]]
    }
}

impl Cells {
    /// None yet, `width` wide.
    pub(super) fn new(width: f64) -> Cells {
        Cells { cells: Vec::new(), index: Index::new(), per_width: 1.0 / width }
    }

    /// Adds something that faces along `normal`, or nowhere when that is zero.
    #[inline]
    pub(super) fn add(&mut self, at: &Point3, normal: &Vector3, weight: f64) {
        let key = Key { facing: facing(normal), ..Key::at(at, self.per_width) };
        let cell = self.cell(key);
        cell.weight += weight;
        cell.place += at.coords * weight;
        cell.normal += normal * weight;
    }

    #[inline]
    fn cell(&mut self, key: Key) -> &mut Cell {
        // As many as there are items or pieces at most, which a u32 holds.
        let next = self.cells.len() as u32;
        let cells = &self.cells;
        let found = self.index.find_or_note(
            key.hash(),
            next,
            |at| cells[at as usize].key == key,
            |at| cells[at as usize].key.hash(),
        );
        if found.is_none() {
            self.cells.push(Cell { key, weight: 0.0, place: Vector3::zeros(), normal: Vector3::zeros() });
        }
        &mut self.cells[found.unwrap_or(next) as usize]
    }
}

impl IntoIterator for Cells {
    type Item = Cell;
    type IntoIter = std::vec::IntoIter<Cell>;

    fn into_iter(self) -> Self::IntoIter {
        self.cells.into_iter()
    }
}

impl Cell {
    fn join(&mut self, other: &Cell) {
        self.weight += other.weight;
        self.place += other.place;
        self.normal += other.normal;
    }
}

impl Key {
    #[inline]
    fn at(at: &Point3, per_width: f64) -> Key {
        Key { at: [at.x, at.y, at.z].map(|v| floor(v * per_width)), facing: 6 }
    }

    #[inline]
    fn hash(&self) -> u64 {
        let [x, y, z] = self.at.map(|v| u64::from(v as u32));
        mixed([x | y << 32, z, u64::from(self.facing)])
    }

    /// The group of the cube that the cell is in.
    #[inline]
    fn group(self) -> u8 {
        (Key { at: self.at.map(|v| v >> CUBE), facing: 6 }.hash() >> 32) as u8
    }
}

/// The greatest whole number not above a value, which is within [`MOST_CELLS`] of zero. The one of
/// the standard library is a call where the machine is not known to have it in one step.
#[inline]
fn floor(value: f64) -> i32 {
    let cut = value as i32;
    cut.saturating_sub(i32::from(f64::from(cut) > value))
}

/// The axis that a normal is nearest to, and its direction.
#[inline]
fn facing(normal: &Vector3) -> u32 {
    let size = normal.abs();
    let axis = if size.x >= size.y && size.x >= size.z {
        0
    } else if size.y >= size.z {
        1
    } else {
        2
    };
    match normal[axis] {
        v if v > 0.0 => 2 * axis as u32,
        v if v < 0.0 => 2 * axis as u32 + 1,
        _ => 6,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn floors_are_those_of_the_library() {
        for value in [-2.0, -1.5, -1.0, -1e-9, -0.0, 0.0, 0.4, 1.0, 7.9, -1e9, 1e9, 1e9 - 0.5, -1e9 + 0.5] {
            assert_eq!(f64::from(floor(value)), f64::floor(value));
        }
        assert_eq!((floor(f64::NAN), floor(1e300), floor(-1e300)), (0, i32::MAX, i32::MIN));
    }

    #[test]
    fn a_chunk_is_sorted_into_groups_in_its_order() {
        let sorted = Sorted::new(&[(3, 'a'), (255, 'b'), (0, 'c'), (3, 'd'), (0, 'e')], |item| item.0);
        assert_eq!(sorted.members(0), [(0, 'c'), (0, 'e')]);
        assert_eq!(sorted.members(3), [(3, 'a'), (3, 'd')]);
        assert_eq!(sorted.members(255), [(255, 'b')]);
        assert_eq!(sorted.members(1), []);
    }

    /// What lies on both sides of a border between groups is one cell all the same.
    #[test]
    fn nothing_is_counted_twice() {
        let items: Vec<f64> = (0..50_000).map(|k| f64::from(k * 7 % 50_000) / 100.0).collect();
        let spread = |x: &f64, cells: &mut Cells| {
            for k in 0..20 {
                cells.add(&Point3::new(x + f64::from(k), 0.5, 0.5), &Vector3::x(), 1.0);
            }
        };
        let cells = gathered(&items, 1.0, |&x| Point3::new(x, 0.5, 0.5), spread);
        assert_eq!(cells.len(), 519);
        assert_eq!(cells.iter().map(|cell| cell.weight).sum::<f64>(), 1e6);
        assert!(cells.iter().all(|cell| cell.key.facing == 0 && cell.normal.x == cell.weight));
    }
}
