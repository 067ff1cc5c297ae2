//! The sole as a map of heights seen from below, and the edges of what lies low. Knows plain points in the
//! foot frame.

use crate::frame::{Point2, Point3, Rect};
use crate::grid::{Grid, Lattice};

/// Edges are those of what lies lower than this share of the length: heel and ball bulge out at a tenth of
/// it, ankle and calf come above a fifth.
pub(super) const LOW_SHARE: f64 = 0.17;
/// Rows in which edges are looked for, mm.
const ROW_MM: f64 = 2.0;
/// Where the met bulges are looked for, as shares of the length: the first met head lies at 0.741 (SD 0.014, ANSUR
/// II, Gordon et al. 2014), the fifth at 0.62 to 0.65 [from memory].
const MEDIAL_BULGE: [f64; 2] = [0.64, 0.81];
const LATERAL_BULGE: [f64; 2] = [0.54, 0.73];
/// Where ball and heel are at their widest.
const BALL: [f64; 2] = [0.55, 0.85];
const HEEL: [f64; 2] = [0.08, 0.22];

/// The edges of what lies low, row by row.
#[derive(Clone, Debug)]
pub(super) struct Edges {
    /// Rearmost and foremost, mm.
    pub(super) rear_mm: f64,
    pub(super) length_mm: f64,
    /// Least and greatest x of each row from the rear; NaN where nothing is.
    rows: Vec<[f64; 2]>,
    /// Middles of the first and fifth met bulges on the edges.
    pub(super) medial: Point2,
    pub(super) lateral: Point2,
    ball: [f64; 2],
    heel_mm: f64,
}

impl Edges {
    /// Of points whose lowest is near z = 0, x to the medial side; `None` when they make no foot's row of
    /// edges.
    pub(super) fn of(points: &[Point3]) -> Option<Edges> {
        let extent = |limit: f64| {
            let low = points.iter().filter(|p| p.z < limit).map(|p| p.y);
            low.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], y| [a.min(y), b.max(y)])
        };
        // The first guess is a child's, the next the foot's own.
        let mut limit = 30.0;
        for _ in 0..3 {
            let [a, b] = extent(limit);
            limit = LOW_SHARE * (b - a).clamp(100.0, 400.0);
        }
        let [rear_mm, front] = extent(limit);
        let length_mm = front - rear_mm;
        if !(100.0..=400.0).contains(&length_mm) {
            return None;
        }
        let count = (length_mm / ROW_MM).ceil() as usize;
        let mut rows = vec![[f64::NAN; 2]; count];
        for p in points.iter().filter(|p| p.z < limit) {
            let row = &mut rows[(((p.y - rear_mm) / ROW_MM) as usize).min(count - 1)];
            *row = [row[0].min(p.x), row[1].max(p.x)];
        }
        let mut edges = Edges {
            rear_mm,
            length_mm,
            rows,
            medial: Point2::origin(),
            lateral: Point2::origin(),
            ball: [0.0; 2],
            heel_mm: 0.0,
        };
        edges.medial = edges.bulge(MEDIAL_BULGE, 1)?;
        edges.lateral = edges.bulge(LATERAL_BULGE, 0)?;
        let seen = |row: &&[f64; 2]| row[0].is_finite();
        let ball = edges.within(BALL).filter(seen);
        edges.ball = ball.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], row| [a.min(row[0]), b.max(row[1])]);
        edges.heel_mm = edges.within(HEEL).filter(seen).map(|row| row[1] - row[0]).fold(0.0, f64::max);
        (edges.heel_mm > 0.0 && edges.ball[1] > edges.ball[0]).then_some(edges)
    }

    pub(super) fn moved(mut self, dx: f64, dy: f64) -> Edges {
        self.rear_mm += dy;
        self.rows.iter_mut().for_each(|row| *row = row.map(|x| x + dx));
        self.ball = self.ball.map(|x| x + dx);
        for p in [&mut self.medial, &mut self.lateral] {
            *p = Point2::new(p.x + dx, p.y + dy);
        }
        self
    }

    /// Extent across the met heads, mm.
    pub(super) fn ball_width_mm(&self) -> f64 {
        self.ball[1] - self.ball[0]
    }

    /// Widest of the heel, mm.
    pub(super) fn heel_width_mm(&self) -> f64 {
        self.heel_mm
    }

    fn within(&self, [from, to]: [f64; 2]) -> impl Iterator<Item = &[f64; 2]> {
        let row = |share: f64| ((share * self.length_mm / ROW_MM) as usize).min(self.rows.len());
        self.rows[row(from)..row(to)].iter()
    }

    /// The edges at a share of the length, over some rows around it, so that one row's noise is no edge.
    pub(super) fn at(&self, share: f64) -> Option<[f64; 2]> {
        const AROUND: f64 = 0.02;
        let near: Vec<&[f64; 2]> =
            self.within([(share - AROUND).max(0.0), share + AROUND]).filter(|row| row[0].is_finite()).collect();
        (!near.is_empty()).then(|| [0, 1].map(|k| near.iter().map(|row| row[k]).sum::<f64>() / near.len() as f64))
    }

    /// The mean middle between the edges over a range of shares.
    pub(super) fn middle(&self, range: [f64; 2]) -> Option<f64> {
        let middles: Vec<f64> =
            self.within(range).map(|row| 0.5 * (row[0] + row[1])).filter(|x| x.is_finite()).collect();
        (!middles.is_empty()).then(|| middles.iter().sum::<f64>() / middles.len() as f64)
    }

    /// Where an edge stands out farthest: the middle of what comes within a hair of it.
    fn bulge(&self, range: [f64; 2], side: usize) -> Option<Point2> {
        const HAIR_MM: f64 = 1.0;
        let sign = if side == 1 { 1.0 } else { -1.0 };
        let from = (range[0] * self.length_mm / ROW_MM) as usize;
        let out: Vec<(f64, f64)> = self
            .within(range)
            .enumerate()
            .filter(|(_, row)| row[side].is_finite())
            .map(|(k, row)| (self.rear_mm + ((from + k) as f64 + 0.5) * ROW_MM, sign * row[side]))
            .collect();
        let most = out.iter().map(|(_, x)| *x).fold(f64::NEG_INFINITY, f64::max);
        // Nearer to the farthest counts more, so that the middle does not jump with the last row.
        let near = out.iter().map(|(y, x)| (y, (HAIR_MM - (most - x)).max(0.0)));
        let (sum, weight) = near.fold((0.0, 0.0), |(sum, all), (y, w)| (sum + y * w, all + w));
        (weight > 0.0).then(|| Point2::new(sign * most, sum / weight))
    }

    /// How blunt the two ends are: the width 2 % of the length inside each, over the ball's.
    pub(super) fn bluntness(&self) -> [f64; 2] {
        let width = |range: [f64; 2]| {
            let widths = self.within(range).map(|row| row[1] - row[0]).filter(|w| w.is_finite());
            widths.fold(0.0, f64::max) / self.ball_width_mm()
        };
        [width([0.0, 0.012]), width([0.988, 1.0])]
    }
}

/// Where the surface is lowest around a place: the middle of its lowest twentieth.
pub(super) fn lowest(points: &[Point3], place: Point2, around_mm: f64) -> Option<Point3> {
    const LEAST: usize = 12;
    let mut near: Vec<&Point3> =
        points.iter().filter(|p| (p.xy() - place).norm_squared() < around_mm * around_mm).collect();
    if near.len() < LEAST {
        return None;
    }
    let count = (near.len() / 20).max(6);
    near.select_nth_unstable_by(count - 1, |a, b| a.z.total_cmp(&b.z));
    let sum = near[..count].iter().fold(nalgebra::Vector3::zeros(), |sum, p| sum + p.coords);
    Some(Point3::from(sum / count as f64))
}

/// The sole's heights on a lattice, NaN where nothing is seen: of each cell the mean of what lies within a
/// little of its lowest.
pub(super) fn map(points: &[Point3], low_mm: f64, step_mm: f64) -> Option<Grid> {
    /// Thicker than any scanner's noise, thinner than any toe.
    const SKIN_MM: f64 = 2.5;
    /// So much above what is this many cells away is no sole but the back of the foot, seen through a hole, mm.
    const STRAY_MM: f64 = 14.0;
    const NEAR: usize = 2;
    let low: Vec<&Point3> = points.iter().filter(|p| p.z < low_mm).collect();
    let flat: Vec<Point2> = low.iter().map(|p| p.xy()).collect();
    let lattice = Lattice::covering(Rect::around(&flat)?, step_mm);
    let place = |p: &Point3| {
        let node =
            |at: f64, from: f64, count: usize| (((at - from) / step_mm).round().max(0.0) as usize).min(count - 1);
        node(p.y, lattice.y0, lattice.ny) * lattice.nx + node(p.x, lattice.x0, lattice.nx)
    };
    let mut least = vec![f64::INFINITY; lattice.len()];
    for p in &low {
        let cell = &mut least[place(p)];
        *cell = cell.min(p.z);
    }
    let stray = |k: usize| {
        let (i, j) = (k % lattice.nx, k / lattice.nx);
        let rows = j.saturating_sub(NEAR)..(j + NEAR + 1).min(lattice.ny);
        let mut near = rows.flat_map(|j| (i.saturating_sub(NEAR)..(i + NEAR + 1).min(lattice.nx)).map(move |i| (i, j)));
        near.any(|(i, j)| least[j * lattice.nx + i] < least[k] - STRAY_MM)
    };
    let stray: Vec<bool> = (0..lattice.len()).map(|k| least[k].is_finite() && stray(k)).collect();
    let mut sums = vec![(0.0, 0.0); lattice.len()];
    for p in &low {
        let at = place(p);
        if !stray[at] && p.z < least[at] + SKIN_MM {
            sums[at] = (sums[at].0 + p.z, sums[at].1 + 1.0);
        }
    }
    let z = sums.iter().map(|(sum, count)| if *count > 0.0 { sum / count } else { f64::NAN }).collect();
    Some(Grid { lattice, z })
}
