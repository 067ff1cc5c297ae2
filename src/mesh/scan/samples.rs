//! A scan as evenly spread samples, whatever its own triangles are like: large ones are divided,
//! small ones gathered. The same samples whatever the number of threads.

use rayon::prelude::*;

use super::Scan;
use super::error::ScanError;
use super::index::{Index, mixed};
use crate::frame::{Point3, Vector3};

/// A place of a scan's surface that stands for what is around it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// The mean place of what it stands for, in the unit of the scan.
    pub at: Point3,
    /// The mean normal of the triangles it stands for, of length 1, on the side from which they
    /// run counter-clockwise; `None` when the scan is points alone.
    pub normal: Option<Vector3>,
    /// What it stands for: area of triangles in square units of the scan, or the number of points.
    pub weight: f64,
}

/// Triangles are divided into pieces of at most this share of the spacing, so that a cell holds
/// some pieces and their mean comes near to the mean of the surface in it.
const PIECE_SHARE: f64 = 0.5;

/// The most pieces that are made of all triangles: a second's work. A square metre at a spacing of
/// 0.3 mm.
const MOST_PIECES: f64 = 5e7;

/// The most cells from the origin along an axis; cells are counted with 32 bits.
const MOST_CELLS: f64 = 1e9;

/// Triangles or points that one task gathers. Fixed, because sums depend on what is summed first;
/// many, because the points of a cell may lie anywhere in a file.
const CHUNK: usize = 1 << 18;

/// Chunks gathered at once, before they are put together: bounds the memory for those.
const CHUNKS_AT_ONCE: usize = 8;

impl Scan {
    /// Samples about `spacing` apart, in the unit of the scan: the mean of all that lies in a cell of
    /// that width. Of a mesh, what faces to different sides (of the six along the axes) makes samples
    /// of its own, so that the two faces of a thin piece are kept apart. On a surface with a radius
    /// R a mean lies inside by up to `spacing^2 / 12 R` (the mean height of `x^2 / 2R + y^2 / 2R` over
    /// a square cell): 0.004 mm for 1 mm on 20 mm.
    pub fn samples(&self, spacing: f64) -> Result<Vec<Sample>, ScanError> {
        self.check_spacing(spacing)?;
        let cells = if self.triangles.is_empty() {
            gathered(&self.points, |points, cells| {
                points.iter().for_each(|p| cells.add(p, &Vector3::zeros(), 1.0, spacing));
            })
        } else {
            gathered(&self.triangles, |triangles, cells| {
                for triangle in triangles {
                    let [a, b, c] = triangle.map(|at| self.points.get(at as usize).copied());
                    if let (Some(a), Some(b), Some(c)) = (a, b, c) {
                        Pieces::of([a, b, c], PIECE_SHARE * spacing).add_to(cells, spacing);
                    }
                }
            })
        };
        Ok(cells.cells.iter().map(Cell::sample).collect())
    }

    fn check_spacing(&self, spacing: f64) -> Result<(), ScanError> {
        let [low, high] = self.bounds();
        let farthest = low.coords.amax().max(high.coords.amax());
        let mut least = farthest / MOST_CELLS;
        if spacing > least && spacing.is_finite() {
            let corners = |t: &[u32; 3]| t.map(|at| self.points.get(at as usize).copied().unwrap_or_default());
            let pieces = |t: &[u32; 3]| Pieces::of(corners(t), PIECE_SHARE * spacing).count();
            // Whole numbers, whose sum is the same in any order.
            let pieces: f64 = self.triangles.par_iter().map(pieces).sum();
            if pieces <= MOST_PIECES {
                return Ok(());
            }
            // Most pieces are of large triangles, where their number goes with the square.
            least = spacing * (pieces / MOST_PIECES).sqrt() * 1.5;
        }
        Err(ScanError::Spacing { spacing, least })
    }
}

/// Sums of what lies in each cell, chunk after chunk in their order.
fn gathered<T: Sync>(items: &[T], add: impl Fn(&[T], &mut Cells) + Sync) -> Cells {
    let mut all = Cells::new();
    for some in items.chunks(CHUNK * CHUNKS_AT_ONCE) {
        let parts: Vec<Cells> = some
            .par_chunks(CHUNK)
            .map(|chunk| {
                let mut cells = Cells::new();
                add(chunk, &mut cells);
                cells
            })
            .collect();
        parts.iter().flat_map(|part| &part.cells).for_each(|cell| all.cell(cell.key).join(cell));
    }
    all
}

/// Where a cell lies, and to which side what is in it faces: 0 to 5, or 6 for points.
#[derive(Clone, Copy, PartialEq)]
struct Key {
    at: [i32; 3],
    facing: u32,
}

/// What lies in a cell, as sums.
struct Cell {
    key: Key,
    weight: f64,
    /// Weighted.
    place: Vector3,
    /// Weighted.
    normal: Vector3,
}

struct Cells {
    cells: Vec<Cell>,
    index: Index,
}

impl Cells {
    fn new() -> Cells {
        Cells { cells: Vec::new(), index: Index::new() }
    }

    #[inline]
    fn add(&mut self, at: &Point3, normal: &Vector3, weight: f64, spacing: f64) {
        let per = 1.0 / spacing;
        let key = Key { at: [at.x, at.y, at.z].map(|v| (v * per).floor() as i32), facing: facing(normal) };
        let cell = self.cell(key);
        cell.weight += weight;
        cell.place += at.coords * weight;
        cell.normal += normal * weight;
    }

    #[inline]
    fn cell(&mut self, key: Key) -> &mut Cell {
        // Fewer than MOST_PIECES and the points of a scan, which a u32 holds.
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

impl Key {
    #[inline]
    fn hash(&self) -> u64 {
        let [x, y, z] = self.at.map(|v| u64::from(v as u32));
        mixed([x | y << 32, z, u64::from(self.facing)])
    }
}

impl Cell {
    #[inline]
    fn join(&mut self, other: &Cell) {
        self.weight += other.weight;
        self.place += other.place;
        self.normal += other.normal;
    }

    fn sample(&self) -> Sample {
        Sample {
            at: Point3::from(self.place / self.weight),
            normal: self.normal.try_normalize(0.0),
            weight: self.weight,
        }
    }
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

/// A triangle cut into strips along its longest side, and each strip into equal parts.
struct Pieces {
    /// The ends of the longest side and the tip.
    from: Point3,
    along: Vector3,
    up: Vector3,
    normal: Vector3,
    area: f64,
    strips: f64,
    length: f64,
    piece: f64,
}

impl Pieces {
    #[inline]
    fn of([a, b, c]: [Point3; 3], piece: f64) -> Pieces {
        let (ab, bc, ca) = (b - a, c - b, a - c);
        let [x, y, z] = [ab, bc, ca].map(|side| side.norm_squared());
        let (from, along, up) = if x >= y && x >= z {
            (a, ab, -ca)
        } else if y >= z {
            (b, bc, -ab)
        } else {
            (c, ca, -bc)
        };
        let cross = ab.cross(&-ca);
        let double = cross.norm();
        let length = along.norm();
        let height = if length > 0.0 { double / length } else { 0.0 };
        let normal = if double > 0.0 { cross / double } else { Vector3::zeros() };
        Pieces { from, along, up, normal, area: 0.5 * double, strips: (height / piece).ceil().max(1.0), length, piece }
    }

    /// About how many pieces it makes, never fewer than it does.
    fn count(&self) -> f64 {
        self.strips * (self.length / self.piece).ceil().max(1.0)
    }

    #[inline]
    fn add_to(&self, cells: &mut Cells, spacing: f64) {
        if self.strips == 1.0 && self.length <= self.piece {
            let middle = self.from + (self.along + self.up) / 3.0;
            return cells.add(&middle, &self.normal, self.area, spacing);
        }
        // Bounded by MOST_PIECES.
        for strip in 0..self.strips as u32 {
            self.add_strip(f64::from(strip) / self.strips, f64::from(strip + 1) / self.strips, cells, spacing);
        }
    }

    /// Adds the strip between two heights, shares of the way from the longest side to the tip. Cut
    /// into parts between points at equal shares of its two sides, all parts have the same area; the
    /// centre of a trapezoid with sides a below and b above is at (a + 2 b) / 3 (a + b) of its height.
    fn add_strip(&self, low: f64, high: f64, cells: &mut Cells, spacing: f64) {
        let (below, above) = (1.0 - low, 1.0 - high);
        let parts = (below * self.length / self.piece).ceil().max(1.0);
        let height = low + (high - low) * (below + 2.0 * above) / (3.0 * (below + above));
        let area = self.area * (below + above) * (high - low) / parts;
        for part in 0..parts as u32 {
            let share = (f64::from(part) + 0.5) / parts;
            let at = self.from + self.up * height + self.along * (share * (1.0 - height));
            cells.add(&at, &self.normal, area, spacing);
        }
    }
}
