//! The trim outline of a footbed from its measures. Knows the foot frame and where a footbed is
//! wide and narrow; knows nothing of heights.

use super::bezier;
use super::fair::{Hold, fairest_loop};
use super::{CurveError, Outline};
use crate::frame::Point2;

/// The sizes of a trim outline, mm, in the foot frame: +y to the toes, +x medial, the rearmost
/// point at the origin, x = 0 from the heel centre to the second met head.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimMeasures {
    /// Extent in y.
    pub length_mm: f64,
    /// Extent in x of the part ahead of half the length.
    pub ball_width_mm: f64,
    /// Extent in x at `heel_station_y_mm`.
    pub heel_width_mm: f64,
    /// Where the heel is measured: the widest section of the cup.
    pub heel_station_y_mm: f64,
    /// Where the outline is widest on the medial side: the first met head.
    pub first_met_y_mm: f64,
    /// Where the outline is widest on the lateral side: the fifth met head.
    pub fifth_met_y_mm: f64,
}

/// Why measures give no trim outline.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrimError {
    /// A measure is outside what a footbed can be.
    #[error(
        "`{key}` is {value_mm} mm{beside}; an outline is drawn from {least_mm:.1} to {greatest_mm:.1} mm: ask another `{key}`, or \
         measure again"
    )]
    Measure {
        /// Its name in tickets and measures.
        key: &'static str,
        /// As asked or measured, mm.
        value_mm: f64,
        /// The length beside which that is too much or too little, in words; empty for the length itself.
        beside: String,
        /// Least allowed, mm, rounded up to what is printed.
        least_mm: f64,
        /// Greatest allowed, mm, rounded down to what is printed.
        greatest_mm: f64,
    },
    /// A place lies where no outline of this length has it.
    #[error(
        "the {place} lies {at_mm} mm from the heel, {share:.3} of the `length` of {length_mm} mm; {least} to {greatest} is allowed: \
         {advice}, or measure again"
    )]
    Station {
        /// Which place, in words.
        place: &'static str,
        /// From the rear, mm.
        at_mm: f64,
        /// As a share of the length.
        share: f64,
        /// The length asked, mm.
        length_mm: f64,
        /// Least share allowed.
        least: f64,
        /// Greatest share allowed.
        greatest: f64,
        /// Which length would do, with its range in mm.
        advice: String,
    },
    /// The measures are each allowed but do not go together.
    #[error(
        "{measure} would come out as {made:.3} mm where {asked:.3} mm is asked: these measures do not go together (length {length_mm} mm, ball width {ball_width_mm} mm, heel width {heel_width_mm} mm); bring the widths or the met stations nearer to each other"
    )]
    NotTogether {
        /// Which one comes out wrong.
        measure: &'static str,
        /// As asked.
        asked: f64,
        /// As it would be.
        made: f64,
        /// The length asked.
        length_mm: f64,
        /// The ball width asked.
        ball_width_mm: f64,
        /// The heel width asked.
        heel_width_mm: f64,
    },
    /// The measures give a curve that is no outline.
    #[error(
        "length {length_mm} mm, ball width {ball_width_mm} mm and heel width {heel_width_mm} mm give no plain loop: {source}"
    )]
    NoLoop {
        /// The length asked.
        length_mm: f64,
        /// The ball width asked.
        ball_width_mm: f64,
        /// The heel width asked.
        heel_width_mm: f64,
        /// What is wrong with the curve.
        source: CurveError,
    },
}

/// Lengths for which footbeds are made, mm: a child's to beyond the longest foot measured in ANSUR II
/// (Gordon et al. 2014: 323 mm) with room for its toes.
pub const TRIM_LENGTH_MM: (f64, f64) = (140.0, 360.0);

/// Ball width as a share of the length: all of the 6,068 people of ANSUR II lie inside (breadth over
/// length 0.376, SD 0.018).
pub const TRIM_BALL_SHARE: (f64, f64) = (0.30, 0.48);

/// Heel width as a share of the length: the same people's heels (0.27, SD 0.018) with a cup's walls
/// around them.
pub const TRIM_HEEL_SHARE: (f64, f64) = (0.20, 0.38);

/// The widest cup lies 0.16 of the length ahead (common practice, no source); a measured one may
/// lie anywhere in the rear of the heel pad.
const CUP_STATIONS: (f64, f64) = (0.11, 0.22);

/// First met head: ANSUR II 0.741 (SD 0.014); four standard deviations and a little.
const FIRST_MET_STATIONS: (f64, f64) = (0.67, 0.80);

/// Fifth met head: 0.62-0.65 [from memory], with the same freedom as the first.
const FIFTH_MET_STATIONS: (f64, f64) = (0.56, 0.72);

/// Sizes come out as asked within this, mm, or there is an error.
const EXACT_MM: f64 = 1e-6;

/// Rounding of a quotient of two measures, as a share: far more than it is, far less than anyone measures.
const ROUNDING: f64 = 1e-9;

/// The trim outline with these sizes: round heel, slight medial waist, fuller lateral side, ball
/// widest at the met heads, tip of the toes before the great and second toe. Curvature is
/// continuous all round.
pub fn outline_from_measures(measures: &TrimMeasures) -> Result<Outline, TrimError> {
    check(measures)?;
    let scale = measures.length_mm;
    let no_loop = |source| TrimError::NoLoop {
        length_mm: measures.length_mm,
        ball_width_mm: measures.ball_width_mm,
        heel_width_mm: measures.heel_width_mm,
        source,
    };
    // Solved at unit length, where the numbers of the linear system are of one size.
    let pieces = fairest_loop(&knots(measures), LEAST_CURVATURE).map_err(no_loop)?;
    let pieces = pieces.iter().map(|p| bezier::mapped(p, |c| Point2::from(c.coords * scale))).collect();
    let outline = Outline::from_beziers(pieces).map_err(no_loop)?;
    check_sizes(&outline, measures)?;
    Ok(outline)
}

/// How far length, ball width and heel width of these measures may each go, the others held, before
/// the measures give no outline, mm. A range is empty (its first above its second) where no change
/// of that size alone helps.
pub fn trim_ranges(m: &TrimMeasures) -> [(f64, f64); 3] {
    let shares = [
        (m.ball_width_mm, TRIM_BALL_SHARE),
        (m.heel_width_mm, TRIM_HEEL_SHARE),
        (m.heel_station_y_mm, CUP_STATIONS),
        (m.first_met_y_mm, FIRST_MET_STATIONS),
        (m.fifth_met_y_mm, FIFTH_MET_STATIONS),
    ];
    let length = shares.into_iter().fold(TRIM_LENGTH_MM, |(lo, hi): (f64, f64), (size, (least, greatest))| {
        (lo.max(size / greatest), hi.min(size / least))
    });
    let of_length = |(least, greatest): (f64, f64)| (least * m.length_mm, greatest * m.length_mm);
    [length, of_length(TRIM_BALL_SHARE), of_length(TRIM_HEEL_SHARE)]
}

fn check(m: &TrimMeasures) -> Result<(), TrimError> {
    // The end of a range may be asked for as it is printed, whatever a quotient's last digit is.
    let inside = |value: f64, (least, greatest): (f64, f64)| {
        (least * (1.0 - ROUNDING)..=greatest * (1.0 + ROUNDING)).contains(&value)
    };
    let size = |key, value_mm: f64, share: f64, (least, greatest): (f64, f64), beside: String| {
        let [least_mm, greatest_mm] = inward(least * share, greatest * share);
        match inside(value_mm, (least * share, greatest * share)) {
            true => Ok(()),
            false => Err(TrimError::Measure { key, value_mm, beside, least_mm, greatest_mm }),
        }
    };
    size("length", m.length_mm, 1.0, TRIM_LENGTH_MM, String::new())?;
    let beside = || format!(" with a length of {} mm", m.length_mm);
    size("ball_width", m.ball_width_mm, m.length_mm, TRIM_BALL_SHARE, beside())?;
    size("heel_width", m.heel_width_mm, m.length_mm, TRIM_HEEL_SHARE, beside())?;
    let stations = [
        ("widest place of the cup", m.heel_station_y_mm, CUP_STATIONS),
        ("first met head", m.first_met_y_mm, FIRST_MET_STATIONS),
        ("fifth met head", m.fifth_met_y_mm, FIFTH_MET_STATIONS),
    ];
    for (place, at_mm, range) in stations {
        let share = at_mm / m.length_mm;
        if !inside(share, range) {
            let (least, greatest) = range;
            let advice = length_advice(m);
            return Err(TrimError::Station { place, at_mm, share, length_mm: m.length_mm, least, greatest, advice });
        }
    }
    Ok(())
}

/// Ends in tenths that lie inside.
fn inward(lo: f64, hi: f64) -> [f64; 2] {
    [(10.0 * lo - ROUNDING).ceil() / 10.0, (10.0 * hi + ROUNDING).floor() / 10.0]
}

/// The lengths that go with the other measures, in mm; that there are none, where none do.
fn length_advice(m: &TrimMeasures) -> String {
    let [(lo, hi), ..] = trim_ranges(m);
    let [lo, hi] = inward(lo, hi);
    match lo <= hi {
        true => format!("ask a `length` of {lo:.1} to {hi:.1} mm"),
        false => "no `length` goes with the other measures".to_string(),
    }
}

/// Reads the sizes back from the finished curve, so that a combination in which, say, a wide heel
/// hides a narrow ball is told and not delivered.
fn check_sizes(outline: &Outline, m: &TrimMeasures) -> Result<(), TrimError> {
    let width = |x: Option<(f64, f64)>| x.map_or(f64::NAN, |(x0, x1)| x1 - x0);
    let sizes = [
        ("the length", m.length_mm, outline.length_mm()),
        ("the ball width", m.ball_width_mm, width(outline.extent_ahead_of(0.5 * m.length_mm))),
        ("the heel width", m.heel_width_mm, width(outline.section(m.heel_station_y_mm))),
    ];
    match sizes.into_iter().find(|(_, asked, made)| made.is_nan() || (made - asked).abs() > EXACT_MM) {
        None => Ok(()),
        Some((measure, asked, made)) => Err(TrimError::NotTogether {
            measure,
            asked,
            made,
            length_mm: m.length_mm,
            ball_width_mm: m.ball_width_mm,
            heel_width_mm: m.heel_width_mm,
        }),
    }
}

// The shape between the measures: shares of the length, the ball width or of the way from one
// place to the next. All are the shop's own choice, set by eye on drawn outlines of 220-310 mm
// against how stock insoles are cut; common practice, no source.

/// How much of the ball's width lies on the medial side of the axis: the second met head is
/// nearer to the medial edge.
const MEDIAL_SHARE: f64 = 0.44;
/// Where the tip of the toes is, in ball widths to the medial side of the axis.
const TIP_SHARE: f64 = 0.13;
/// How round the heel and toes are: on a quarter of the rounding, how far along both of its sides
/// the curve stands at the diagonal. An ellipse has 0.707, a square 1.
const HEEL_ROUNDING: f64 = 0.72;
const MEDIAL_TOE_ROUNDING: f64 = 0.745;
const LATERAL_TOE_ROUNDING: f64 = 0.715;
/// How far ahead the heel's rounding reaches at most, in half heel widths: 1 is a half circle.
const HEEL_REACH: f64 = 1.2;
/// Stations of the medial waist and of the lateral midfoot, shares of the length.
const WAIST_STATION: f64 = 0.45;
const MIDFOOT_STATION: f64 = 0.40;
/// How far the waist lies inside the straight line from heel to ball, in ball widths and as a
/// share of how much wider the ball is than the heel on that side.
const WAIST_DEPTH: f64 = 0.025;
const WAIST_FLARE: f64 = 0.12;
/// How far the lateral midfoot lies outside that line, in ball widths.
const MIDFOOT_FULLNESS: f64 = 0.02;
/// Behind a ball that is narrower than the heel, waist and midfoot keep to this share of the
/// ball's half widths, so that the ball stays the widest place ahead of half the length.
const BALL_WIDEST: f64 = 0.97;
/// At the rear, the tip and the met heads the outline bends at least this much, in units of one
/// over the length; less than half of it would look straight.
const LEAST_CURVATURE: f64 = 0.5;

/// The places the outline goes through, counter-clockwise from the rear, at unit length, with free
/// knots between them that let the curve keep both its tangents and its smoothness.
fn knots(m: &TrimMeasures) -> Vec<(Point2, Hold)> {
    let scale = 1.0 / m.length_mm;
    let (ball, half_heel) = (m.ball_width_mm * scale, 0.5 * m.heel_width_mm * scale);
    let rear = Point2::origin();
    let tip = Point2::new(TIP_SHARE * ball, 1.0);
    let heel = Point2::new(half_heel, m.heel_station_y_mm * scale);
    let first_met = Point2::new(MEDIAL_SHARE * ball, m.first_met_y_mm * scale);
    let fifth_met = Point2::new((MEDIAL_SHARE - 1.0) * ball, m.fifth_met_y_mm * scale);
    let lateral_heel = Point2::new(-heel.x, heel.y);

    let dip = WAIST_DEPTH * ball + WAIST_FLARE * (first_met.x - heel.x).max(0.0);
    let mut waist = on_line(heel, first_met, WAIST_STATION, -dip);
    waist.x = waist.x.min(BALL_WIDEST * first_met.x);
    let mut midfoot = on_line(lateral_heel, fifth_met, MIDFOOT_STATION, -MIDFOOT_FULLNESS * ball);
    midfoot.x = midfoot.x.max(BALL_WIDEST * fifth_met.x);
    let heel_side = Point2::new(heel.x, heel.y.min(HEEL_REACH * half_heel));
    let heel_corner = rounding(rear, heel_side, HEEL_ROUNDING, HEEL_ROUNDING);
    let toe = |met: Point2, across, along| rounding(tip, met, across, along);
    vec![
        (rear, Hold::AlongX),
        (heel_corner, Hold::Point),
        (heel, Hold::Point),
        (halfway(heel, waist), Hold::Free),
        (waist, Hold::Point),
        (halfway(waist, first_met), Hold::Free),
        (first_met, Hold::AlongY),
        (toe(first_met, 0.95, 0.4), Hold::Free),
        (toe(first_met, MEDIAL_TOE_ROUNDING, MEDIAL_TOE_ROUNDING), Hold::Point),
        (toe(first_met, 0.4, 0.95), Hold::Free),
        (tip, Hold::AlongX),
        (toe(fifth_met, 0.4, 0.94), Hold::Free),
        (toe(fifth_met, LATERAL_TOE_ROUNDING, LATERAL_TOE_ROUNDING), Hold::Point),
        (toe(fifth_met, 0.92, 0.4), Hold::Free),
        (fifth_met, Hold::AlongY),
        (halfway(fifth_met, midfoot), Hold::Free),
        (midfoot, Hold::Point),
        (halfway(midfoot, lateral_heel), Hold::Free),
        (lateral_heel, Hold::Point),
        (Point2::new(-heel_corner.x, heel_corner.y), Hold::Point),
    ]
}

/// The place at station `y` on the line from `a` to `b`, moved by `by` in x.
fn on_line(a: Point2, b: Point2, y: f64, by: f64) -> Point2 {
    Point2::new(a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y) + by, y)
}

fn halfway(a: Point2, b: Point2) -> Point2 {
    nalgebra::center(&a, &b)
}

/// A place on the rounding that leaves `end` along x and reaches `side` along y: the shares of the
/// way that it stands across towards the side, and along from the side towards the end.
fn rounding(end: Point2, side: Point2, across: f64, along: f64) -> Point2 {
    Point2::new(end.x + (side.x - end.x) * across, side.y + (end.y - side.y) * along)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    fn usual(length_mm: f64, ball_share: f64, heel_share: f64) -> TrimMeasures {
        TrimMeasures {
            length_mm,
            ball_width_mm: ball_share * length_mm,
            heel_width_mm: heel_share * length_mm,
            heel_station_y_mm: 0.16 * length_mm,
            first_met_y_mm: 0.741 * length_mm,
            fifth_met_y_mm: 0.64 * length_mm,
        }
    }

    fn assert_as_asked(m: &TrimMeasures) {
        let outline = outline_from_measures(m).unwrap_or_else(|e| panic!("{e}"));
        let b = outline.bounds();
        assert_eq!(b.y0, 0.0);
        assert_abs_diff_eq!(b.y1, m.length_mm, epsilon = 1e-9);
        let (x0, x1) = outline.section(m.heel_station_y_mm).unwrap();
        assert_abs_diff_eq!(x1 - x0, m.heel_width_mm, epsilon = 1e-6);
        assert_abs_diff_eq!(x0 + x1, 0.0, epsilon = 1e-6);
        let (x0, x1) = outline.extent_ahead_of(0.5 * m.length_mm).unwrap();
        assert_abs_diff_eq!(x1 - x0, m.ball_width_mm, epsilon = 1e-6);
        assert_abs_diff_eq!(outline.section(m.first_met_y_mm).unwrap().1, x1, epsilon = 1e-9);
        assert_abs_diff_eq!(outline.section(m.fifth_met_y_mm).unwrap().0, x0, epsilon = 1e-9);
        assert!(outline.contains(Point2::new(0.0, 0.5 * m.length_mm)));
        assert_goes_up_and_down_once(&outline);
    }

    /// Two sides and no folds: from the rear to the tip y only rises, then only falls.
    fn assert_goes_up_and_down_once(outline: &Outline) {
        let points = outline.points();
        let turns = (0..points.len()).filter(|&i| {
            let n = points.len();
            let (a, b, c) = (points[i].y, points[(i + 1) % n].y, points[(i + 2) % n].y);
            (b > a) != (c > b)
        });
        assert_eq!(turns.count(), 2);
    }

    /// Sizes scale, so the two ratios cover every outline with the usual stations.
    #[test]
    fn every_pair_of_ratios_gives_what_was_asked() {
        for ball in 0..=30 {
            for heel in 0..=28 {
                assert_as_asked(&usual(265.0, 0.30 + 0.005 * ball as f64, 0.20 + 0.005 * heel as f64));
            }
        }
    }

    proptest! {
        #[test]
        fn any_measured_stations_give_what_was_asked(
            length in 140.0..360.0, ball in 0.30..0.48, heel in 0.20..0.38,
            cup in 0.11..0.22, first in 0.67..0.80, fifth in 0.56..0.72,
        ) {
            assert_as_asked(&TrimMeasures {
                length_mm: length,
                ball_width_mm: ball * length,
                heel_width_mm: heel * length,
                heel_station_y_mm: cup * length,
                first_met_y_mm: first * length,
                fifth_met_y_mm: fifth * length,
            });
        }
    }

    /// Just inside every end there is an outline, just beyond it there is none.
    #[test]
    fn ranges_end_where_outlines_do() {
        let m = usual(265.0, 0.37, 0.27);
        let drawn = |k: usize, to: f64| {
            let mut m = m;
            *[&mut m.length_mm, &mut m.ball_width_mm, &mut m.heel_width_mm][k] = to;
            outline_from_measures(&m).is_ok()
        };
        for (k, (lo, hi)) in trim_ranges(&m).into_iter().enumerate() {
            for (end, inward) in [(lo, 1e-6), (hi, -1e-6)] {
                assert!(drawn(k, end + inward) && !drawn(k, end - inward), "size {k} at {end}");
            }
        }
    }

    #[test]
    fn looks_like_a_footbed() {
        let m = usual(265.0, 0.365, 0.25);
        let o = outline_from_measures(&m).unwrap();
        let width = |share: f64| o.section(share * 265.0).map(|(a, b)| b - a).unwrap();
        assert!(width(0.45) < width(0.64) && width(0.16) < width(0.45));
        // The waist is medial: there the edge lies inside the line from heel to ball, laterally it does not.
        let chord = |at: f64, a: (f64, f64), b: (f64, f64)| a.0 + (b.0 - a.0) * (at - a.1) / (b.1 - a.1);
        let (lateral, medial) = o.section(0.42 * 265.0).unwrap();
        let heel = o.section(0.16 * 265.0).unwrap();
        let ball = o.extent_ahead_of(132.5).unwrap();
        assert!(medial < chord(0.42, (heel.1, 0.16), (ball.1, 0.741)) - 1.0);
        assert!(lateral < chord(0.42, (heel.0, 0.16), (ball.0, 0.64)));
        // The tip stands before the great and second toe.
        let (x0, x1) = o.section(264.9).unwrap();
        assert!(x0 + x1 > 10.0);
    }

    #[test]
    fn unlikely_measures_are_refused_with_the_range() {
        let good = usual(265.0, 0.36, 0.25);
        let refused = |m: TrimMeasures, words: &str| {
            let text = outline_from_measures(&m).unwrap_err().to_string();
            assert!(text.contains(words), "{text}");
        };
        refused(
            TrimMeasures { length_mm: 26.5, ..good },
            "`length` is 26.5 mm; an outline is drawn from 140.0 to 360.0 mm",
        );
        refused(TrimMeasures { length_mm: f64::NAN, ..good }, "`length` is NaN mm");
        refused(
            TrimMeasures { ball_width_mm: 200.0, ..good },
            "`ball_width` is 200 mm with a length of 265 mm; an outline is drawn from 79.5 to 127.2 mm",
        );
        refused(TrimMeasures { heel_width_mm: f64::INFINITY, ..good }, "`heel_width` is inf mm");
        refused(TrimMeasures { heel_station_y_mm: 200.0, ..good }, "widest place of the cup");
        refused(TrimMeasures { first_met_y_mm: 0.0, ..good }, "first met head");
        refused(TrimMeasures { fifth_met_y_mm: -1.0, ..good }, "fifth met head");
    }
}
