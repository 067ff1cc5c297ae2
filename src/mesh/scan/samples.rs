//! A scan as evenly spread samples, whatever its own triangles are like: large ones are divided,
//! small ones gathered. The same samples whatever the number of threads.

use rayon::prelude::*;

use super::super::Mesh;
use super::Scan;
use super::cells::{Cell, Cells, MOST_CELLS, gathered};
use super::error::ScanError;
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

impl Sample {
    fn of(cell: &Cell) -> Sample {
        let at = Point3::from(cell.place / cell.weight);
        Sample { at, normal: cell.normal.try_normalize(0.0), weight: cell.weight }
    }
}

/// Triangles are divided into pieces of at most this share of the spacing, so that a cell holds
/// some pieces and their mean comes near to the mean of the surface in it.
const PIECE_SHARE: f64 = 0.5;

/// The most pieces that are made of all triangles: a second's work. A square metre at a spacing of
/// 0.3 mm.
const MOST_PIECES: f64 = 5e7;

impl Scan {
    /// Samples about `spacing` apart, in the unit of the scan: the mean of all that lies in a cell of
    /// that width. Of a mesh, what faces to different sides (of the six along the axes) makes samples
    /// of its own, so that the two faces of a thin piece are kept apart. On a surface with a radius
    /// R a mean lies inside by `spacing^2 / 12 R`, up to `spacing^2 / 8 R` where it runs aslant through
    /// the cell (the mean of `(x^2 + y^2) / 2 R` over a square, and over one that is the square root of
    /// 2 longer): 0.004 to 0.006 mm for 1 mm on 20 mm.
    pub fn samples(&self, spacing: f64) -> Result<Vec<Sample>, ScanError> {
        Sampled { points: &self.points, triangles: &self.triangles }.samples(spacing)
    }
}

impl Mesh {
    /// Samples about `spacing_mm` apart, as [`Scan::samples`] takes them.
    pub fn samples(&self, spacing_mm: f64) -> Result<Vec<Sample>, ScanError> {
        Sampled { points: &self.vertices, triangles: &self.triangles }.samples(spacing_mm)
    }
}

/// What samples are taken of.
struct Sampled<'a> {
    points: &'a [Point3],
    triangles: &'a [[u32; 3]],
}

impl Sampled<'_> {
    fn samples(&self, spacing: f64) -> Result<Vec<Sample>, ScanError> {
        self.check(spacing)?;
        let cells = if self.triangles.is_empty() {
            gathered(self.points, spacing, |&p| p, |p, cells| cells.add(p, &Vector3::zeros(), 1.0))
        } else {
            let add = |t: &_, cells: &mut _| Pieces::of(self.corners(t), PIECE_SHARE * spacing).add_to(cells);
            gathered(self.triangles, spacing, |t| self.corner(t[0]), add)
        };
        // Triangles may be too small for their area to be a number.
        Ok(cells.iter().filter(|cell| cell.weight > 0.0).map(Sample::of).collect())
    }

    fn check(&self, spacing: f64) -> Result<(), ScanError> {
        let farthest = self.points.iter().fold(0.0, |far, p| p.coords.amax().max(far));
        let mut least = farthest / MOST_CELLS;
        if spacing > least && spacing.is_finite() && self.pieces(spacing) <= MOST_PIECES {
            return Ok(());
        }
        // Steps of a half end soon, and find no more than half too much.
        while self.pieces(least) > MOST_PIECES {
            least *= 1.5;
        }
        Err(ScanError::Spacing { spacing, least })
    }

    /// Pieces that all triangles are cut into; all whole numbers, with the same sum in any order.
    fn pieces(&self, spacing: f64) -> f64 {
        let pieces = |t: &_| Pieces::of(self.corners(t), PIECE_SHARE * spacing).count();
        self.triangles.par_iter().map(pieces).sum()
    }

    fn corners(&self, triangle: &[u32; 3]) -> [Point3; 3] {
        triangle.map(|at| self.corner(at))
    }

    /// A corner; the fields of scans are open, so it may be missing.
    fn corner(&self, at: u32) -> Point3 {
        self.points.get(at as usize).copied().unwrap_or_default()
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
    fn add_to(&self, cells: &mut Cells) {
        if self.strips == 1.0 && self.length <= self.piece {
            let middle = self.from + (self.along + self.up) / 3.0;
            return cells.add(&middle, &self.normal, self.area);
        }
        // Bounded by MOST_PIECES.
        for strip in 0..self.strips as u32 {
            self.add_strip(f64::from(strip) / self.strips, f64::from(strip + 1) / self.strips, cells);
        }
    }

    /// Adds the strip between two heights, shares of the way from the longest side to the tip. Cut
    /// into parts between points at equal shares of its two sides, all parts have the same area; the
    /// centre of a trapezoid with sides a below and b above is at (a + 2 b) / 3 (a + b) of its height.
    fn add_strip(&self, low: f64, high: f64, cells: &mut Cells) {
        let (below, above) = (1.0 - low, 1.0 - high);
        let parts = (below * self.length / self.piece).ceil().max(1.0);
        let height = low + (high - low) * (below + 2.0 * above) / (3.0 * (below + above));
        let area = self.area * (below + above) * (high - low) / parts;
        for part in 0..parts as u32 {
            let share = (f64::from(part) + 0.5) / parts;
            let at = self.from + self.up * height + self.along * (share * (1.0 - height));
            cells.add(&at, &self.normal, area);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{About, Dropped, Format};
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;
    use rayon::ThreadPoolBuilder;
    use std::f64::consts::TAU;

    fn scan(points: Vec<Point3>, triangles: Vec<[u32; 3]>) -> Scan {
        let (dropped, notes) = (Dropped::default(), vec![]);
        Scan { points, triangles, about: About { format: Format::Obj, unit: None, dropped, notes, contradicts: false } }
    }

    /// A corner for every place of a lattice, two triangles for every cell.
    fn sheet(columns: u32, rows: u32, at: impl Fn(f64, f64) -> Point3) -> Scan {
        let place = |k: u32| {
            at(f64::from(k % (columns + 1)) / f64::from(columns), f64::from(k / (columns + 1)) / f64::from(rows))
        };
        let corner = |i: u32, j: u32| j * (columns + 1) + i;
        let cell = |k: u32| {
            let (i, j) = (k % columns, k / columns);
            let [a, b, c, d] = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)];
            [[a, b, c], [a, c, d]]
        };
        scan((0..(columns + 1) * (rows + 1)).map(place).collect(), (0..columns * rows).flat_map(cell).collect())
    }

    fn weight(samples: &[Sample]) -> f64 {
        samples.iter().map(|s| s.weight).sum()
    }

    /// A plate of 100 by 60, of two triangles or of twelve thousand: a sample for each square
    /// millimetre, on it, upright, and none far from the next.
    #[test]
    fn coarse_and_fine_meshes_give_the_same_samples() {
        for (columns, rows) in [(1, 1), (100, 60), (333, 200)] {
            let plate = sheet(columns, rows, |u, v| Point3::new(100.0 * u, 60.0 * v, 7.3));
            let samples = plate.samples(1.0).unwrap();
            assert_eq!(Mesh::from(plate).samples(1.0).as_ref(), Ok(&samples));
            assert_eq!(samples.len(), 6000);
            assert_relative_eq!(weight(&samples), 6000.0, max_relative = 1e-9);
            for s in &samples {
                assert_relative_eq!(s.at.z, 7.3, epsilon = 1e-9);
                assert_eq!(s.normal, Some(Vector3::z()));
                let middle = s.at.coords.map(|v| v.floor() + 0.5);
                assert!((s.at.coords - middle).xy().amax() < 0.3, "{}", s.at);
                assert!(s.weight > 0.4 && s.weight < 1.6, "{}", s.weight);
            }
        }
    }

    #[test]
    fn the_faces_of_a_thin_plate_are_kept_apart() {
        let mut plate = sheet(3, 3, |u, v| Point3::new(9.0 * u, 9.0 * v, 0.7));
        let under = plate.points.len() as u32;
        plate.points.extend(plate.points.clone().iter().map(|p| Point3::new(p.x, p.y, 0.2)));
        plate.triangles.extend(plate.triangles.clone().iter().map(|&[a, b, c]| [a + under, c + under, b + under]));
        let samples = plate.samples(3.0).unwrap();
        assert_eq!(samples.len(), 18);
        for s in samples {
            let up = s.normal == Some(Vector3::z());
            assert!(up || s.normal == Some(-Vector3::z()));
            assert_relative_eq!(s.at.z, if up { 0.7 } else { 0.2 }, epsilon = 1e-12);
        }
    }

    /// Half a ball of radius 20 at 1 mm: by 1 / (12 20) to 1 / (8 20) inside, normals outward.
    #[test]
    fn a_curved_surface_is_cut_short_as_said() {
        let radius = 20.0;
        let ball = sheet(700, 180, |u, v| {
            let (down, round) = (0.25 * TAU * (1.0 - v).max(1e-3), TAU * u);
            Point3::new(down.sin() * round.cos(), down.sin() * round.sin(), down.cos()) * radius
        });
        let samples = ball.samples(1.0).unwrap();
        let short = |s: &Sample| radius - s.at.coords.norm();
        let mean = samples.iter().map(|s| short(s) * s.weight).sum::<f64>() / weight(&samples);
        assert!(mean > 0.8 / 240.0 && mean < 1.2 / 192.0, "{mean}");
        let worst = samples.iter().map(short).fold(0.0, f64::max);
        assert!(worst < 1.1 / 160.0, "{worst}");
        assert!(samples.iter().all(|s| s.normal.is_some_and(|n| n.dot(&s.at.coords) > 0.999 * radius)));
        assert_relative_eq!(weight(&samples), TAU * radius * radius, max_relative = 1e-3);
    }

    #[test]
    fn points_become_the_mean_of_their_cell() {
        let p = Point3::new;
        let cloud = scan(vec![p(0.1, 0.2, 0.3), p(-0.1, 0.5, 0.5), p(0.3, 0.4, 0.5), p(0.2, 0.3, 1.0)], vec![]);
        let samples = cloud.samples(1.0).unwrap();
        assert_eq!(samples.len(), 3);
        assert_eq!((samples[0].weight, samples[1].weight, samples[2].weight), (2.0, 1.0, 1.0));
        assert_relative_eq!(samples[0].at, p(0.2, 0.3, 0.4), epsilon = 1e-15);
        assert!(samples.iter().all(|s| s.normal.is_none()));
    }

    /// More than some tasks' worth, in an order without order.
    #[test]
    fn the_same_on_any_number_of_threads() {
        let spread = |k: u64, m: u64| ((k * m) % 1_000_003) as f64 / 1e4;
        let cloud = (0..800_000).map(|k| Point3::new(spread(k, 7919), spread(k, 104_729), spread(k, 31) / 50.0));
        let mut scan = scan(cloud.collect(), vec![]);
        let on = |scan: &Scan, threads: usize| {
            let pool = ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| scan.samples(1.0).unwrap())
        };
        assert_eq!(on(&scan, 1), on(&scan, 3));
        assert_eq!(weight(&on(&scan, 2)), scan.points.len() as f64);
        let count = scan.points.len() as u32;
        scan.triangles = (0..count / 3).map(|k| [k, k + count / 3, k + 2 * (count / 3)]).collect();
        scan.triangles.truncate(2000);
        assert_eq!(on(&scan, 1), on(&scan, 3));
    }

    #[test]
    fn spacings_that_are_not_possible_say_what_is() {
        let plate = sheet(1, 1, |u, v| Point3::new(1000.0 * u, 1000.0 * v, 0.0));
        for spacing in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-9, 0.01] {
            let Err(ScanError::Spacing { least, .. }) = plate.samples(spacing) else { panic!("{spacing}") };
            assert!((0.3..0.8).contains(&least), "{least}");
            assert!(Sampled { points: &plate.points, triangles: &plate.triangles }.check(least).is_ok());
        }
        let text = plate.samples(0.01).unwrap_err().to_string();
        assert!(text.starts_with("samples every 0.01 are not possible on this scan: give at least 0."), "{text}");
    }

    proptest! {
        /// However a triangle is cut, area and centre of the pieces are its own.
        #[test]
        fn pieces_make_up_their_triangle(c in prop::array::uniform9(-20.0..20.0_f64), piece in 0.3..30.0_f64, turn in 0..3_usize) {
            let mut corners = [0, 3, 6].map(|k| Point3::new(c[k], c[k + 1], c[k + 2]));
            corners.rotate_left(turn);
            let [a, b, c] = corners;
            let pieces = Pieces::of(corners, piece);
            let mut cells = Cells::new(1e3);
            pieces.add_to(&mut cells);
            let (weight, place) = cells.into_iter().fold((0.0, Vector3::zeros()), |(w, p), cell| (w + cell.weight, p + cell.place));
            let area = 0.5 * (b - a).cross(&(c - a)).norm();
            prop_assert!((weight - area).abs() < 1e-9 * area);
            let centre = (a.coords + b.coords + c.coords) / 3.0;
            prop_assert!((place / weight - centre).amax() < 1e-9);
            let normal = (b - a).cross(&(c - a)).normalize();
            prop_assert!((pieces.normal - normal).amax() < 1e-9);
        }
    }
}
