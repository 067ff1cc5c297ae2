//! A footprint without toes, as a closed line with its heel at y = 0 and its toes up: the indices that
//! are read from it. What counts as contact is decided by whoever draws the line.

use crate::curve::Outline;
use crate::frame::Point2;

/// What a footprint gives, plain numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Footprint {
    /// Area of the middle third over the whole (Cavanagh & Rodgers 1987, J Biomech 20:547).
    pub arch_index: f64,
    /// Narrowest width of the middle third over the widest of the front third (Chippaux-Smirak).
    pub chippaux_smirak: f64,
    /// Narrowest width of the middle third over the widest of the rear third (Staheli 1987).
    pub staheli: f64,
}

/// Widths are read at this many stations in each third: 0.3 mm apart on a print 200 mm long, which
/// is finer than a pencil's line.
const STATIONS: usize = 200;

/// The indices of a footprint, which may lie in islands: a high arch leaves no print in the middle. `None` for one
/// without area or width.
pub fn footprint(islands: &[Outline]) -> Option<Footprint> {
    let polygons: Vec<&[Point2]> = islands.iter().map(Outline::points).collect();
    let arch_index = index_of(&polygons)?;
    let [least, most] = extent(&polygons);
    let third = (most - least) / 3.0;
    let widths = |k: usize| {
        let from = least + third * k as f64;
        let at = move |i: usize| from + third * (i as f64 + 0.5) / STATIONS as f64;
        (0..STATIONS)
            .map(move |i| islands.iter().filter_map(|one| one.section(at(i))).map(|(a, b)| (b - a).abs()).sum())
    };
    let narrowest = widths(1).fold(f64::INFINITY, f64::min);
    let [heel, fore] = [0, 2].map(|k| widths(k).fold(0.0, f64::max));
    let whole = narrowest.is_finite() && heel > 0.0 && fore > 0.0;
    whole.then(|| Footprint { arch_index, chippaux_smirak: narrowest / fore, staheli: narrowest / heel })
}

/// How long a footprint is, mm.
pub fn print_length(islands: &[Outline]) -> f64 {
    let [least, most] = extent(&islands.iter().map(Outline::points).collect::<Vec<_>>());
    most - least
}

fn extent(polygons: &[&[Point2]]) -> [f64; 2] {
    let all = polygons.iter().flat_map(|polygon| polygon.iter());
    all.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], p| [a.min(p.y), b.max(p.y)])
}

/// Arch index of a closed polygon along y: area of the middle third of its length over its whole
/// area, exactly. `None` without length or area.
pub fn arch_index(polygon: &[Point2]) -> Option<f64> {
    index_of(&[polygon])
}

/// The same of several polygons that are drawn the same way round.
fn index_of(polygons: &[&[Point2]]) -> Option<f64> {
    let [least, most] = extent(polygons);
    let third = (most - least) / 3.0;
    let below = |level: f64| polygons.iter().map(|polygon| area_below(polygon, level)).sum::<f64>();
    let whole = below(most);
    let middle = below(most - third) - below(least + third);
    let index = middle / whole;
    (third > 0.0 && whole.abs() > 0.0 && index.is_finite()).then_some(index)
}

/// Signed area of what lies below a line across, by the trapezia between each edge and that line: an
/// edge counts with its part below, however the polygon bends.
fn area_below(polygon: &[Point2], level: f64) -> f64 {
    let next = polygon.iter().cycle().skip(1);
    polygon.iter().zip(next).map(|(a, b)| below_edge(*a, *b, level)).sum()
}

/// Integral of (level - y) dx along the part of an edge that lies below the level.
fn below_edge(a: Point2, b: Point2, level: f64) -> f64 {
    let (da, db) = (level - a.y, level - b.y);
    let dx = b.x - a.x;
    match (da > 0.0, db > 0.0) {
        (true, true) => 0.5 * (da + db) * dx,
        (true, false) => 0.5 * da * dx * da / (da - db),
        (false, true) => 0.5 * db * dx * db / (db - da),
        (false, false) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Three strips of equal length, one over the other, front to rear, about the line x = 0.
    fn strips(widths: [f64; 3], third: f64) -> Vec<Point2> {
        let [fore, mid, heel] = widths.map(|w| w / 2.0);
        let right =
            [(heel, 0.0), (heel, third), (mid, third), (mid, 2.0 * third), (fore, 2.0 * third), (fore, 3.0 * third)];
        let left = right.iter().rev().map(|(x, y)| Point2::new(-x, *y));
        right.iter().map(|(x, y)| Point2::new(*x, *y)).chain(left).collect()
    }

    #[test]
    fn strips_have_the_arch_index_of_their_widths() {
        // Areas are as widths: 40 / (90 + 40 + 60) = 0.2105; equal widths 1/3 exactly.
        assert_relative_eq!(arch_index(&strips([90.0, 40.0, 60.0], 70.0)).unwrap(), 40.0 / 190.0, epsilon = 1e-12);
        assert_relative_eq!(arch_index(&strips([60.0, 60.0, 60.0], 70.0)).unwrap(), 1.0 / 3.0, epsilon = 1e-12);
    }

    #[test]
    fn the_index_does_not_know_where_the_print_lies_or_which_way_round_it_is_drawn() {
        let print = strips([90.0, 40.0, 60.0], 70.0);
        let moved: Vec<Point2> = print.iter().rev().map(|p| Point2::new(31.0 - p.x, p.y + 500.0)).collect();
        assert_relative_eq!(arch_index(&moved).unwrap(), arch_index(&print).unwrap(), epsilon = 1e-12);
    }

    #[test]
    fn a_triangle_keeps_a_third_in_its_middle() {
        // Widths fall evenly: thirds have 5, 3 and 1 of nine parts.
        let triangle = [Point2::new(0.0, 0.0), Point2::new(90.0, 0.0), Point2::new(0.0, 210.0)];
        assert_relative_eq!(arch_index(&triangle).unwrap(), 3.0 / 9.0, epsilon = 1e-12);
        let ellipse: Vec<Point2> = (0..2000)
            .map(|k| std::f64::consts::TAU * f64::from(k) / 2000.0)
            .map(|t| Point2::new(40.0 * t.cos(), 100.0 * t.sin()))
            .collect();
        // Middle third of a disc: (2/pi)(asin(1/3) + (1/3) sqrt(8)/3) = 0.41641... of its area.
        let third: f64 = 1.0 / 3.0;
        let exact = 2.0 / std::f64::consts::PI * (third.asin() + third * (1.0 - third * third).sqrt());
        assert_relative_eq!(arch_index(&ellipse).unwrap(), exact, epsilon = 1e-5);
    }

    #[test]
    fn widths_of_strips() {
        // Narrowest middle 40 over forefoot 90 and over heel 60 (0.667).
        let outline = Outline::from_polygon(&strips([90.0, 40.0, 60.0], 70.0)).unwrap();
        let print = footprint(&[outline]).unwrap();
        assert_relative_eq!(print.chippaux_smirak, 40.0 / 90.0, epsilon = 1e-3);
        assert_relative_eq!(print.staheli, 0.667, epsilon = 1e-3);
    }

    /// A high arch: heel 60 wide and forefoot 90 wide, nothing in the middle third.
    #[test]
    fn islands_are_one_print() {
        let strip = |half: f64, from: f64, to: f64| {
            let p = Point2::new;
            Outline::from_polygon(&[p(-half, from), p(half, from), p(half, to), p(-half, to)]).unwrap()
        };
        let print = footprint(&[strip(30.0, 0.0, 70.0), strip(45.0, 140.0, 210.0)]).unwrap();
        assert_eq!((print.arch_index, print.chippaux_smirak, print.staheli), (0.0, 0.0, 0.0));
        // A strip 20 wide between them: 20 / 170.
        let whole = footprint(&[strip(30.0, 0.0, 70.0), strip(10.0, 70.0, 140.0), strip(45.0, 140.0, 210.0)]).unwrap();
        assert_relative_eq!(whole.arch_index, 20.0 / 170.0, epsilon = 1e-9);
        assert_relative_eq!(print_length(&[strip(30.0, 0.0, 70.0), strip(45.0, 140.0, 210.0)]), 210.0);
    }

    #[test]
    fn nothing_has_no_index() {
        assert_eq!(arch_index(&[]), None);
        assert_eq!(arch_index(&[Point2::new(0.0, 0.0), Point2::new(5.0, 0.0)]), None);
    }
}
