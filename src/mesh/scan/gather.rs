//! What a reader hands over, point by point and face by face, becomes a scan: equal corners joined,
//! what is unusable left out and counted, limits kept. Knows no format.

use super::error::{AGAIN, Place, ScanError};
use super::index::{Index, mixed};
use super::polygon::Cutter;
use super::{Dropped, MOST_POINTS, MOST_TRIANGLES};
use crate::frame::Point3;

/// Coordinates beyond this are no place on a bench in any unit: ten metres in micrometres.
const FARTHEST: f64 = 1e7;

/// Of the points or triangles, this share may have coordinates that are no numbers. A few come from
/// scanners that mark what they did not see; more means that the file is not what it seems.
const UNUSABLE_SHARE: f64 = 0.01;

/// The place in a list of points of a point that is left out.
const LEFT_OUT: u32 = u32::MAX;

/// Points, triangles and what was left out.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Gathered {
    pub(super) points: Vec<Point3>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) dropped: Dropped,
}

/// Things left out because their coordinates are no numbers, and the first of them.
#[derive(Default)]
struct Unusable {
    count: usize,
    first: Option<(Place, String)>,
}

impl Unusable {
    fn note(&mut self, place: Place, point: Point3) {
        self.count += 1;
        self.first.get_or_insert_with(|| (place, format!("({}, {}, {})", point.x, point.y, point.z)));
    }

    /// Fails when there are more than a few among `all`.
    fn only_few(&self, all: usize, things: &str) -> Result<(), ScanError> {
        match &self.first {
            Some((place, point)) if self.count as f64 > UNUSABLE_SHARE * all as f64 => Err(ScanError::damaged(
                *place,
                format!(
                    "{} of {all} {things} have coordinates that are no numbers within +-{FARTHEST:e}, here {point}, and \
                     only 1 % may be left out",
                    self.count
                ),
            )),
            _ => Ok(()),
        }
    }
}

/// Triangles whose corners are written out each time, as in STL.
pub(super) struct Corners {
    gathered: Gathered,
    index: Index,
    seen: usize,
    unusable: Unusable,
}

impl Corners {
    pub(super) fn new() -> Corners {
        Corners { gathered: Gathered::default(), index: Index::new(), seen: 0, unusable: Unusable::default() }
    }

    /// Adds a triangle. `place` is where it stands.
    #[inline]
    pub(super) fn add(&mut self, corners: [Point3; 3], place: impl Fn() -> Place) -> Result<(), ScanError> {
        self.seen += 1;
        if let Some(&bad) = corners.iter().find(|&&p| !usable(p)) {
            self.unusable.note(place(), bad);
            return Ok(());
        }
        // A triangle without area must not leave corners behind that nothing else uses.
        if is_flat(corners) {
            self.gathered.dropped.flat_triangles += 1;
            return Ok(());
        }
        let mut triangle = [0; 3];
        for (at, corner) in triangle.iter_mut().zip(corners) {
            *at = joined(&mut self.index, &mut self.gathered.points, corner);
        }
        self.gathered.triangles.push(triangle);
        if self.gathered.points.len() > MOST_POINTS || self.gathered.triangles.len() > MOST_TRIANGLES {
            return Err(too_much(place(), self.gathered.points.len(), self.gathered.triangles.len()));
        }
        Ok(())
    }

    /// What was gathered. Fails when hardly anything could be used.
    pub(super) fn finish(mut self) -> Result<Gathered, ScanError> {
        self.unusable.only_few(self.seen, "triangles")?;
        self.gathered.dropped.triangles_without_numbers = self.unusable.count;
        enough(&self.gathered, true)?;
        Ok(self.gathered)
    }
}

/// Points in a list, and faces that name them by their number.
pub(super) struct Indexed {
    points: Vec<Point3>,
    triangles: Vec<[u32; 3]>,
    /// Faces of more than three corners: their number, then the corners.
    polygons: Vec<u32>,
    /// Triangles that the polygons will make.
    cut: usize,
    faces: bool,
    unusable: Unusable,
}

impl Indexed {
    pub(super) fn new() -> Indexed {
        Indexed {
            points: vec![],
            triangles: vec![],
            polygons: vec![],
            cut: 0,
            faces: false,
            unusable: Unusable::default(),
        }
    }

    /// How many points there are until now.
    pub(super) fn len(&self) -> usize {
        self.points.len()
    }

    #[inline]
    pub(super) fn point(&mut self, [x, y, z]: [f64; 3], place: impl Fn() -> Place) -> Result<(), ScanError> {
        // Adding zero makes a minus zero plain, so that equal corners are equal to the bit.
        let mut point = Point3::new(x + 0.0, y + 0.0, z + 0.0);
        if !usable(point) {
            self.unusable.note(place(), point);
            point.x = f64::NAN;
        }
        self.points.push(point);
        if self.points.len() > MOST_POINTS {
            return Err(too_much(place(), self.points.len(), self.triangles.len()));
        }
        Ok(())
    }

    /// Adds a face; its corners need not be there yet, but must be when finished. Fewer than three
    /// corners are a mark or a line in space, no face.
    #[inline]
    pub(super) fn face(&mut self, corners: &[u32], place: impl Fn() -> Place) -> Result<(), ScanError> {
        match *corners {
            [a, b, c] => self.triangles.push([a, b, c]),
            [_, _, _, ..] => {
                self.polygons.push(corners.len() as u32);
                self.polygons.extend_from_slice(corners);
                self.cut += corners.len() - 2;
            }
            _ => return Ok(()),
        }
        self.faces = true;
        let triangles = self.triangles.len() + self.cut;
        if triangles > MOST_TRIANGLES {
            return Err(too_much(place(), self.points.len(), triangles));
        }
        Ok(())
    }

    /// Polygons are cut into triangles, equal corners joined, and what is unusable or unused left
    /// out. Without any face the points are kept as they are.
    pub(super) fn finish(mut self) -> Result<Gathered, ScanError> {
        self.unusable.only_few(self.points.len(), "points")?;
        self.cut_polygons();
        let mut dropped = Dropped { points_without_numbers: self.unusable.count, ..Dropped::default() };
        if !self.faces {
            self.points.retain(|p| p.x.is_finite());
            let gathered = Gathered { points: self.points, triangles: vec![], dropped };
            enough(&gathered, false)?;
            return Ok(gathered);
        }
        let places = join_equal(&mut self.points);
        let points = &self.points;
        self.triangles.retain_mut(|triangle| {
            *triangle = triangle.map(|at| places.get(at as usize).copied().unwrap_or(LEFT_OUT));
            let corner = |at: u32| points.get(at as usize).copied();
            let [a, b, c] = triangle.map(corner);
            let (Some(a), Some(b), Some(c)) = (a, b, c) else {
                dropped.triangles_without_numbers += 1;
                return false;
            };
            let flat = is_flat([a, b, c]);
            dropped.flat_triangles += usize::from(flat);
            !flat
        });
        dropped.unused_points = leave_out_unused(&mut self.points, &mut self.triangles);
        let gathered = Gathered { points: self.points, triangles: self.triangles, dropped };
        enough(&gathered, true)?;
        Ok(gathered)
    }

    fn cut_polygons(&mut self) {
        let polygons = std::mem::take(&mut self.polygons);
        let mut cutter = Cutter::default();
        let mut rest = polygons.as_slice();
        while let Some((&count, after)) = rest.split_first() {
            let (corners, next) = after.split_at((count as usize).min(after.len()));
            cutter.cut(corners, &self.points, &mut self.triangles);
            rest = next;
        }
    }
}

fn usable(p: Point3) -> bool {
    let widest = p.x.abs().max(p.y.abs()).max(p.z.abs());
    // The maximum passes a single NaN over; the sum does not.
    widest <= FARTHEST && !(p.x + p.y + p.z).is_nan()
}

fn is_flat([a, b, c]: [Point3; 3]) -> bool {
    (b - a).cross(&(c - a)).norm_squared() == 0.0
}

fn hash(p: &Point3) -> u64 {
    mixed([p.x.to_bits(), p.y.to_bits(), p.z.to_bits()])
}

/// The place of a point that equals this one, which is added when there is none.
#[inline]
fn joined(index: &mut Index, points: &mut Vec<Point3>, point: Point3) -> u32 {
    // Never more than MOST_POINTS and one, which a u32 holds.
    let next = points.len() as u32;
    let found =
        index.find_or_note(hash(&point), next, |at| points[at as usize] == point, |at| hash(&points[at as usize]));
    found.unwrap_or_else(|| {
        points.push(point);
        next
    })
}

/// Keeps the first of equal points and leaves out the unusable; gives every old place its new one.
fn join_equal(points: &mut Vec<Point3>) -> Vec<u32> {
    let (mut index, mut kept) = (Index::new(), 0_u32);
    let mut places = Vec::with_capacity(points.len());
    for old in 0..points.len() {
        let point = points[old];
        if !point.x.is_finite() {
            places.push(LEFT_OUT);
            continue;
        }
        let found =
            index.find_or_note(hash(&point), kept, |at| points[at as usize] == point, |at| hash(&points[at as usize]));
        places.push(found.unwrap_or_else(|| {
            points[kept as usize] = point;
            kept += 1;
            kept - 1
        }));
    }
    points.truncate(kept as usize);
    points.shrink_to_fit();
    places
}

/// Takes away points that no triangle names; how many those were.
fn leave_out_unused(points: &mut Vec<Point3>, triangles: &mut [[u32; 3]]) -> usize {
    let mut places = vec![LEFT_OUT; points.len()];
    for &at in triangles.as_flattened() {
        places[at as usize] = 0;
    }
    let before = points.len();
    let mut kept = 0;
    for old in 0..before {
        if places[old] != LEFT_OUT {
            places[old] = kept;
            points[kept as usize] = points[old];
            kept += 1;
        }
    }
    points.truncate(kept as usize);
    for at in triangles.as_flattened_mut() {
        *at = places[*at as usize];
    }
    before - points.len()
}

fn enough(gathered: &Gathered, mesh: bool) -> Result<(), ScanError> {
    let (points, triangles) = (gathered.points.len(), gathered.triangles.len());
    if points < 3 || mesh && triangles == 0 {
        return Err(ScanError::TooLittle { place: Place::Whole, points, triangles });
    }
    Ok(())
}

fn too_much(place: Place, points: usize, triangles: usize) -> ScanError {
    if points > MOST_POINTS {
        ScanError::TooLarge { place, what: format!("{points} points or more"), most: MOST_POINTS as u64 }
    } else {
        ScanError::TooLarge { place, what: format!("{triangles} triangles or more"), most: MOST_TRIANGLES as u64 }
    }
}

/// The number a word of text stands for. What some programs write for no number is NaN.
pub(super) fn number(word: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(word).ok()?;
    match text.parse() {
        Ok(value) => Some(value),
        Err(_) => {
            let low = text.to_ascii_lowercase();
            ["nan", "#ind", "#inf", "#qnan", "#snan"].iter().any(|mark| low.contains(mark)).then_some(f64::NAN)
        }
    }
}

/// Why a word is no number, and what to do.
pub(super) fn no_number(place: Place, word: &[u8]) -> ScanError {
    let comma = word.contains(&b',')
        && number(&word.iter().map(|&b| if b == b',' { b'.' } else { b }).collect::<Vec<_>>()).is_some();
    let advice = if comma { "export again with decimal points" } else { AGAIN };
    ScanError::remedied(place, format!("`{}` is not a number", shown(word)), advice)
}

/// A word of a file as it may be told: short, and without what a terminal would obey.
pub(super) fn shown(word: &[u8]) -> String {
    const MOST: usize = 30;
    let text = String::from_utf8_lossy(word);
    let safe = |c: char| if c.is_control() { '?' } else { c };
    let mut short: String = text.chars().take(MOST).map(safe).collect();
    if text.chars().count() > MOST {
        short.push_str("...");
    }
    short
}

/// Words between blanks.
pub(super) fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(|b| b.is_ascii_whitespace()).filter(|word| !word.is_empty())
}
