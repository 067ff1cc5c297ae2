//! What is ground by hand from the underside: where the hollow ends, and how deep it is at places
//! that a ruler finds. Programs cut from above only. Knows nothing of where the table stands.

use serde::Serialize;

use super::data::DrawnFoot;
use super::plan::crossings_at;
use crate::frame::{Point2, Rect};
use crate::grid::contour;
use crate::grid::{Grid, Lattice};

/// The edge of the hollow is drawn where it is this deep, mm: what a straightedge and a feeler gauge
/// tell from flat. Common practice, no source.
pub const EDGE_MM: f64 = 0.2;
/// Stations along and places across: as many as find the slope between them by eye and still print
/// for a pair on one sheet. Shop's own choice.
const ALONG: usize = 5;
const ACROSS: usize = 4;
/// The hollow is searched on a lattice of this step, mm: a tenth of its walls.
const STEP_MM: f64 = 1.0;

/// One foot's depths, as text.
#[derive(Serialize)]
pub struct GrindTable {
    pub side: char,
    /// Stations, % of the foot.
    pub shares: Vec<String>,
    /// The same, mm from the footbed's rear edge.
    pub from_heel: Vec<String>,
    pub rows: Vec<GrindRow>,
    /// The deepest place in words.
    pub deepest: String,
}

/// Depths at one distance from the medial edge.
#[derive(Serialize)]
pub struct GrindRow {
    pub from_medial: String,
    pub depths: Vec<String>,
}

/// The edge of the hollow in the foot frame, one loop for each hollow; none when the underside is
/// flat.
pub fn hollow(foot: &DrawnFoot) -> Vec<Vec<Point2>> {
    match lattice(foot) {
        Some(lattice) => contour::loops_above(&Grid::from_fn(lattice, |p| inside_height(foot, p)), EDGE_MM),
        None => Vec::new(),
    }
}

/// The depths to grind of each foot that has a hollow.
pub fn tables(feet: &[DrawnFoot]) -> Vec<GrindTable> {
    feet.iter().filter_map(table).collect()
}

fn table(foot: &DrawnFoot) -> Option<GrindTable> {
    let rear = Rect::around(foot.outline)?.y0;
    let edge: Vec<Point2> = hollow(foot).into_iter().flatten().collect();
    let extent = Rect::around(&edge)?;
    let ys: Vec<f64> = spaced(extent.y0 - rear, extent.y1 - rear, ALONG).map(|mm| mm + rear).collect();
    let reach = edge.iter().filter_map(|p| Some(medial_edge(foot, p.y)? - p.x));
    let (near, far) = reach.fold((f64::INFINITY, 0.0_f64), |(lo, hi), d| (lo.min(d), hi.max(d)));
    let row = |mm: f64| GrindRow {
        from_medial: format!("{mm:.0}"),
        depths: ys.iter().map(|y| depth_text(foot, *y, mm)).collect(),
    };
    Some(GrindTable {
        side: foot.side.letter(),
        shares: ys.iter().map(|y| format!("{:.0}", 100.0 * y / foot.landmarks.foot_length_mm)).collect(),
        from_heel: ys.iter().map(|y| format!("{:.0}", y - rear)).collect(),
        rows: spaced(near, far, ACROSS).map(row).collect(),
        deepest: deepest(foot, rear)?,
    })
}

/// Whole mm in the middles of `count` equal parts of `from..to`.
fn spaced(from: f64, to: f64, count: usize) -> impl Iterator<Item = f64> {
    (0..count).map(move |k| (from + (to - from) * (k as f64 + 0.5) / count as f64).round())
}

fn medial_edge(foot: &DrawnFoot, y: f64) -> Option<f64> {
    crossings_at(foot.outline, y).last().copied()
}

fn depth_text(foot: &DrawnFoot, y: f64, from_medial: f64) -> String {
    let depth = medial_edge(foot, y).map(|x| inside_height(foot, Point2::new(x - from_medial, y)));
    match depth.filter(|d| d.is_finite()) {
        Some(depth) => format!("{:.1}", depth.max(0.0)),
        None => "\u{2013}".into(),
    }
}

fn deepest(foot: &DrawnFoot, rear: f64) -> Option<String> {
    let lattice = lattice(foot)?;
    let places = (0..lattice.len()).map(|k| lattice.node(k % lattice.nx, k / lattice.nx));
    let depths = places.map(|p| (p, inside_height(foot, p))).filter(|(_, d)| d.is_finite());
    let (at, depth) = depths.reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    let across = medial_edge(foot, at.y)? - at.x;
    Some(format!("{depth:.1}: {:.0} from rear, {across:.0} from edge", at.y - rear))
}

fn lattice(foot: &DrawnFoot) -> Option<Lattice> {
    Rect::around(foot.outline).map(|rect| Lattice::covering(rect, STEP_MM))
}

/// Height of the underside, NaN outside the outline.
fn inside_height(foot: &DrawnFoot, p: Point2) -> f64 {
    let inside = crossings_at(foot.outline, p.y).iter().filter(|x| **x <= p.x).count() % 2 == 1;
    if inside { (foot.underside)(p) } else { f64::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::sample::Sample;
    use crate::frame::Side;

    /// A round hollow with a flat slope: 6 mm deep in the middle, flat 30 mm from it.
    fn cone(p: Point2) -> f64 {
        (6.0 - 0.2 * (p - Point2::new(-4.0, 110.0)).norm()).max(0.0)
    }

    #[test]
    fn a_flat_underside_has_nothing_to_grind() {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        let foot = sample.foot(Side::Left, &top, &|_| 0.0);
        assert!(hollow(&foot).is_empty() && tables(&[foot]).is_empty());
    }

    #[test]
    fn the_edge_of_a_cone_is_its_circle() {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        let loops = hollow(&sample.foot(Side::Left, &top, &cone));
        assert_eq!(loops.len(), 1);
        // 6 - 0.2 r = 0.2 at r = 29 mm.
        for p in &loops[0] {
            approx::assert_relative_eq!((p - Point2::new(-4.0, 110.0)).norm(), 29.0, epsilon = 0.1);
        }
    }

    #[test]
    fn depths_are_those_of_the_underside_where_a_ruler_finds_them() {
        let sample = Sample::of_length(270.0);
        let top = |p: Point2| sample.top(p);
        for side in Side::BOTH {
            let foot = sample.foot(side, &top, &cone);
            let table = &tables(std::slice::from_ref(&foot))[0];
            let rear = Rect::around(foot.outline).expect("an outline").y0;
            assert_eq!((table.shares.len(), table.rows.len()), (ALONG, ACROSS));
            for row in &table.rows {
                for (mm, depth) in table.from_heel.iter().zip(&row.depths) {
                    let y = mm.parse::<f64>().expect("mm") + rear;
                    let x = crossings_at(foot.outline, y)[1] - row.from_medial.parse::<f64>().expect("mm");
                    let depth: f64 = depth.parse().expect("a depth");
                    // Printed to 0.1 mm, at stations printed to whole mm: half of each on a slope of 0.2.
                    approx::assert_abs_diff_eq!(depth, cone(Point2::new(x, y)), epsilon = 0.05 + 0.2 * 0.5);
                }
            }
            assert!(table.deepest.starts_with("6.0: 1") || table.deepest.starts_with("5.9: 1"), "{}", table.deepest);
        }
    }
}
