//! What a sole looks like from below, as heights in a box around it, and how unlike that a view is. Knows
//! no poses: whoever looks turns the scan.

use crate::frame::Side;

/// Rows from the rear of the heel to the longest toe.
pub(super) const ROWS: usize = 26;
/// Columns from the medial to the lateral edge.
pub(super) const COLUMNS: usize = 12;

/// No sole in this part of the box.
const NO: f64 = f64::NAN;

/// Heights of a sole above the floor, thousandths of its length, in a box around the foot. An unloaded
/// human foot (the open base mesh of `tests/data/README.md`, CC0); a foot to look like, not a norm.
const USUAL: [[f64; COLUMNS]; ROWS] = [
    [NO, NO, NO, 71., 56., 54., 50., 58., NO, NO, NO, NO],
    [NO, NO, 54., 29., 19., 16., 19., 26., 46., NO, NO, NO],
    [NO, NO, 30., 12., 10., 10., 12., 18., 28., 56., NO, NO],
    [NO, 63., 26., 10., 6., 6., 8., 14., 23., 45., NO, NO],
    [NO, 65., 28., 10., 6., 6., 7., 10., 19., 35., NO, NO],
    [NO, 78., 40., 19., 11., 8., 8., 9., 16., 31., NO, NO],
    [NO, NO, 56., 32., 19., 13., 12., 10., 14., 28., NO, NO],
    [NO, NO, 63., 42., 28., 19., 16., 13., 14., 24., NO, NO],
    [NO, 121., 70., 50., 36., 26., 20., 17., 15., 22., 46., NO],
    [NO, 118., 77., 56., 41., 33., 25., 20., 17., 23., 46., NO],
    [NO, 124., 78., 59., 45., 38., 29., 23., 20., 24., 44., NO],
    [NO, 119., 76., 58., 45., 39., 31., 25., 23., 24., 35., NO],
    [NO, 101., 68., 54., 43., 40., 33., 28., 25., 22., 28., NO],
    [NO, 78., 58., 48., 41., 38., 32., 26., 23., 20., 24., 46.],
    [NO, 60., 46., 36., 32., 29., 26., 24., 22., 18., 19., 36.],
    [NO, 46., 32., 23., 21., 21., 22., 22., 20., 15., 12., 30.],
    [56., 31., 19., 12., 13., 15., 18., 20., 16., 14., 13., 31.],
    [46., 22., 13., 7., 10., 10., 15., 16., 12., 13., 14., 28.],
    [36., 14., 9., 5., 6., 6., 12., 11., 7., 11., 15., 29.],
    [32., 10., 5., 2., 4., 6., 7., 10., 10., 20., 28., 35.],
    [40., 16., 10., 10., 9., 20., 20., 21., 30., 28., 23., 29.],
    [NO, 23., 18., 38., 28., 31., 39., 30., 30., 24., 34., 36.],
    [NO, 22., 12., 30., 44., 35., 40., 25., 31., 27., NO, NO],
    [NO, 12., 7., 17., 35., 26., 33., 23., 41., NO, NO, NO],
    [NO, 21., 9., 16., 32., 22., 41., 42., NO, NO, NO, NO],
    [NO, NO, 31., 37., NO, 35., NO, NO, NO, NO, NO, NO],
];

/// Arches of other feet, as shares of the usual one's heights: a flat foot and a high one.
const ARCHES: [f64; 3] = [0.35, 0.75, 1.15];

/// A height that is off by more counts as off by this, thousandths of the length: a hole weighs no more
/// than a wall.
const MOST_OFF: f64 = 50.0;

/// What is seen from below in a box around it: heights above the floor, mm, NaN where there is nothing;
/// rows from the rear, columns from the left.
#[derive(Clone, Debug)]
pub(super) struct View {
    pub(super) length_mm: f64,
    pub(super) heights: [[f64; COLUMNS]; ROWS],
}

impl View {
    /// Points with their heights in the box: the lowest of each cell.
    pub(super) fn of(points: &[[f64; 3]], x: [f64; 2], y: [f64; 2]) -> View {
        let mut heights = [[f64::NAN; COLUMNS]; ROWS];
        let place = |at: f64, [from, to]: [f64; 2], count: usize| {
            (((at - from) / (to - from) * count as f64) as usize).min(count - 1)
        };
        for p in points {
            let cell = &mut heights[place(p[1], y, ROWS)][place(p[0], x, COLUMNS)];
            *cell = cell.min(p[2]);
        }
        View { length_mm: y[1] - y[0], heights }
    }

    /// How unlike a sole of this side it is, thousandths of the length a place: 0 for the usual one.
    pub(super) fn unlike(&self, side: Side) -> f64 {
        ARCHES.into_iter().map(|arch| self.unlike_with(side, arch)).fold(f64::INFINITY, f64::min)
    }

    fn unlike_with(&self, side: Side, arch: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        for (row, usual) in self.heights.iter().zip(&USUAL) {
            for (k, seen) in row.iter().enumerate() {
                // Seen from above with the toes ahead, a left foot's medial edge is on the right.
                let expected = match side {
                    Side::Left => usual[COLUMNS - 1 - k],
                    Side::Right => usual[k],
                };
                let seen = 1000.0 * seen / self.length_mm;
                let off = match (seen.is_nan(), expected.is_nan()) {
                    (true, true) => continue,
                    (false, false) => (seen - arch * expected).abs().min(MOST_OFF),
                    // A cell at the edge may just be missed: it costs as much as it lacks to a wall.
                    (true, false) => (120.0 - expected).clamp(10.0, MOST_OFF),
                    (false, true) => (120.0 - seen).clamp(10.0, MOST_OFF),
                };
                sum += off;
                count += 1.0;
            }
        }
        if count > 0.0 { sum / count } else { MOST_OFF }
    }
}
