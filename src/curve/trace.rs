//! The outline of a stock insole as traced in a drawing program, read from SVG text.
//! Knows the drawing convention; knows neither sides nor what the outline is for.
//!
//! # How to draw it
//! - Seen from above, toes up, in millimetres: the `svg` element has a `width` and `height` in mm
//!   and a `viewBox`.
//! - One closed path for the outline. If other closed shapes are in the drawing, its id, or that of
//!   the group it is in, is `outline`.
//! - One straight line of 100 mm with the id `check-bar`, laid over a ruler on the same picture: it
//!   proves the scale.
//!
//! Lines, curves, arcs, plain shapes and transforms are honoured. Coordinates pass through f32 on
//! the way, which costs about 0.00002 mm.

use super::bezier::Bezier;
use super::drawing::{Drawn, DrawnLine, drawn_paths};
use super::trim::TRIM_LENGTH_MM;
use super::{CurveError, Outline};
use crate::frame::{Point2, Rect};

/// A traced outline, seen from above: x to the right, y to the toes, the rearmost point at y = 0,
/// x = 0 in the middle of the heel at [`HEEL_STATION`].
#[derive(Clone, Debug)]
pub struct Traced {
    /// The outline, the clearance already taken off.
    pub outline: Outline,
    /// How long the check bar is in the drawing, mm.
    pub check_bar_mm: f64,
}

/// Why a drawing gives no outline.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// The text is longer than any traced outline.
    #[error(
        "the drawing is {bytes} bytes long, at most {allowed} are read: leave only the outline and the check bar in it"
    )]
    TooLong {
        /// Its length.
        bytes: usize,
        /// What is read.
        allowed: usize,
    },
    /// Not SVG.
    #[error("not a readable SVG drawing: {problem}; save it as plain SVG")]
    Unreadable {
        /// What the parser met, with line and column where it has them.
        problem: String,
    },
    /// No true size.
    #[error(
        "the drawing's {attribute} is {found}: set the document's size in mm, such as width=\"210mm\" height=\"297mm\", and keep its viewBox"
    )]
    Unit {
        /// `width`, `height` or `viewBox`.
        attribute: &'static str,
        /// What stands there.
        found: String,
    },
    /// Width and height are scaled differently.
    #[error(
        "the drawing is stretched: {across:.5} mm a unit across, {up:.5} mm a unit up; make width, height and viewBox agree"
    )]
    Stretched {
        /// Scale in x.
        across: f64,
        /// Scale in y.
        up: f64,
    },
    /// Something in the drawing that is no plain shape.
    #[error("line {line}: <{element}> is not read: delete it, or turn it into a path")]
    Element {
        /// Its name.
        element: String,
        /// Where it is.
        line: u32,
    },
    /// Groups within groups beyond measure.
    #[error("line {line}: groups are nested deeper than {allowed}: ungroup the drawing")]
    TooDeep {
        /// Where.
        line: u32,
        /// How deep is read.
        allowed: usize,
    },
    /// No scale to check.
    #[error(
        "no check bar: draw a visible straight line of {expected_mm} mm with the id \"check-bar\" over the ruler in the picture"
    )]
    NoCheckBar {
        /// Its length.
        expected_mm: f64,
    },
    /// The check bar is not one straight line.
    #[error("the check bar must be one straight line from end to end, this one has {pieces} pieces")]
    CheckBarShape {
        /// Pieces found.
        pieces: usize,
    },
    /// The scale is wrong.
    #[error("the check bar measures {measured_mm:.2} mm, it must be {expected_mm} mm within {allowed_mm} mm: the drawing was scaled by {:.4}; scale all of it back", measured_mm / expected_mm)]
    CheckBar {
        /// As drawn.
        measured_mm: f64,
        /// As it should be.
        expected_mm: f64,
        /// How far off it may be.
        allowed_mm: f64,
    },
    /// Nothing closed to take as the outline.
    #[error(
        "no outline: draw one visible closed path (one with a bad number in it is not seen) and give it the id \"outline\""
    )]
    NoOutline,
    /// Several shapes could be meant.
    #[error("{count} closed shapes could be the outline ({names}): give the one meant the id \"outline\"")]
    Several {
        /// How many.
        count: usize,
        /// Their ids.
        names: String,
    },
    /// The outline's ends do not meet.
    #[error("the outline is open by {gap_mm:.2} mm: close the path")]
    Open {
        /// Between its ends.
        gap_mm: f64,
    },
    /// The outline consists of several loops.
    #[error("the outline consists of {loops} separate lines: join them into one closed path")]
    Loops {
        /// How many.
        loops: usize,
    },
    /// The outline is not a plain loop. Places are mm from the drawing's upper left corner, y up.
    #[error("the traced outline cannot be used: {0}")]
    Shape(#[from] CurveError),
    /// The outline has not the size of an insole.
    #[error(
        "the traced outline is {value_mm:.1} mm {measure}, allowed is {least} to {greatest} mm: check the scale and that the outline is the insole"
    )]
    Size {
        /// `long` or `wide`.
        measure: &'static str,
        /// As drawn.
        value_mm: f64,
        /// Least allowed.
        least: f64,
        /// Greatest allowed.
        greatest: f64,
    },
    /// Heel wider than ball.
    #[error(
        "the traced outline is {rear_mm:.1} mm wide at a quarter of its length and {front_mm:.1} mm at seven tenths: turn the drawing so that the toes are up"
    )]
    ToesDown {
        /// Width near the lower end.
        rear_mm: f64,
        /// Width near the upper end.
        front_mm: f64,
    },
    /// A clearance that is not one.
    #[error("a clearance of {clearance_mm} mm is asked, allowed is 0 to {greatest} mm")]
    Clearance {
        /// As asked.
        clearance_mm: f64,
        /// Greatest allowed.
        greatest: f64,
    },
    /// The outline falls apart when the clearance is taken off.
    #[error("with {clearance_mm} mm taken off, the outline falls into {loops} loops: smooth its narrow places")]
    FallsApart {
        /// As asked.
        clearance_mm: f64,
        /// What is left.
        loops: usize,
    },
}

/// Where the heel's middle is taken, as a share of the length: the widest section of the heel cup
/// (common practice, no source).
pub const HEEL_STATION: f64 = 0.16;

/// The check bar, mm, and how exactly it is drawn over a ruler; 0.2 % of a 265 mm insole is 0.5 mm.
const BAR_MM: f64 = 100.0;
const BAR_OFF_MM: f64 = 0.2;

/// Ends of a path that are nearer than this were meant to meet, mm.
const CLOSED_MM: f64 = 0.05;

/// Widths of insoles, mm: children's to wide adults' with room to spare; shop's own choice.
const WIDTH_MM: (f64, f64) = (40.0, 160.0);

/// More side clearance than this is a slip of the finger, mm; shop's own choice.
const MOST_CLEARANCE_MM: f64 = 10.0;

/// Reads the outline from SVG text, checks its scale and size, takes `side_clearance_mm` off all
/// round and puts the heel at the origin. See the page's top for how to draw it. The frame is the
/// drawing's, seen from above: which foot it is for, the caller knows.
pub fn outline_from_svg(svg_text: &str, side_clearance_mm: f64) -> Result<Traced, TraceError> {
    if !(0.0..=MOST_CLEARANCE_MM).contains(&side_clearance_mm) {
        return Err(TraceError::Clearance { clearance_mm: side_clearance_mm, greatest: MOST_CLEARANCE_MM });
    }
    let drawn = drawn_paths(svg_text)?;
    let check_bar_mm = check_bar(&drawn)?;
    let traced = Outline::from_beziers(closed_pieces(outline_among(&drawn)?)?)?;
    check_size(&traced)?;
    let outline = heel_at_origin(&without_clearance(traced, side_clearance_mm)?)?;
    Ok(Traced { outline, check_bar_mm })
}

/// The closed shapes of a drawing whose scale its check bar proves, such as a footprint in islands, the rearmost
/// point of all at y = 0: those with the id `outline`, else all. Seen from above, toes up.
pub fn islands_from_svg(svg_text: &str) -> Result<Vec<Outline>, TraceError> {
    let drawn = drawn_paths(svg_text)?;
    check_bar(&drawn)?;
    let others = || drawn.iter().filter(|d| d.id != "check-bar");
    let named: Vec<&Drawn> = others().filter(|d| d.id == "outline").collect();
    let shapes = if named.is_empty() { others().collect() } else { named };
    let lines: Vec<&DrawnLine> = shapes.iter().flat_map(|d| &d.lines).collect();
    if lines.is_empty() {
        return Err(TraceError::NoOutline);
    }
    if lines.len() > MOST_ISLANDS {
        return Err(TraceError::Loops { loops: lines.len() });
    }
    let islands = lines.into_iter().map(|line| Ok(Outline::from_beziers(closed_line(line)?)?));
    let islands = islands.collect::<Result<Vec<Outline>, TraceError>>()?;
    let bounds = islands.iter().map(Outline::bounds);
    let rect =
        bounds.reduce(|a, b| Rect { x0: a.x0.min(b.x0), y0: a.y0.min(b.y0), x1: a.x1.max(b.x1), y1: a.y1.max(b.y1) });
    let Some(rect) = rect else { return Err(TraceError::NoOutline) };
    let sizes = [("long", rect.height(), TRIM_LENGTH_MM), ("wide", rect.width(), WIDTH_MM)];
    if let Some((measure, value_mm, (least, greatest))) =
        sizes.into_iter().find(|(_, mm, (least, greatest))| !(*least..=*greatest).contains(mm))
    {
        return Err(TraceError::Size { measure, value_mm, least, greatest });
    }
    let moved = islands.iter().map(|island| Ok(island.mapped(|p| Point2::new(p.x, p.y - rect.y0))?));
    moved.collect()
}

/// A print falls into heel and ball, and a drawing tool may leave a speck or two.
const MOST_ISLANDS: usize = 6;

fn check_bar(drawn: &[Drawn]) -> Result<f64, TraceError> {
    let bar = drawn.iter().find(|d| d.id == "check-bar").ok_or(TraceError::NoCheckBar { expected_mm: BAR_MM })?;
    let pieces: Vec<&Bezier> = bar.lines.iter().flat_map(|l| &l.pieces).collect();
    let [piece] = pieces.as_slice() else { return Err(TraceError::CheckBarShape { pieces: pieces.len() }) };
    let measured_mm = (piece.to - piece.from).length();
    if piece.is_linear(CLOSED_MM) && (measured_mm - BAR_MM).abs() <= BAR_OFF_MM {
        Ok(measured_mm)
    } else {
        Err(TraceError::CheckBar { measured_mm, expected_mm: BAR_MM, allowed_mm: BAR_OFF_MM })
    }
}

/// The path called `outline`; else the only closed one; else the only one, so that an open outline
/// is told as such.
fn outline_among(drawn: &[Drawn]) -> Result<&Drawn, TraceError> {
    let named: Vec<&Drawn> = drawn.iter().filter(|d| d.id == "outline").collect();
    let others: Vec<&Drawn> = drawn.iter().filter(|d| d.id != "check-bar").collect();
    let closed =
        others.iter().copied().filter(|d| d.lines.iter().all(|l| l.closed || gap_mm(l) <= CLOSED_MM)).collect();
    let candidates: Vec<&Drawn> = [named, closed, others].into_iter().find(|c| !c.is_empty()).unwrap_or_default();
    match candidates.as_slice() {
        [] => Err(TraceError::NoOutline),
        [one] => Ok(one),
        several => {
            let name = |d: &&Drawn| if d.id.is_empty() { "without id".to_string() } else { d.id.clone() };
            let names = several.iter().take(5).map(name).collect::<Vec<_>>().join(", ");
            Err(TraceError::Several { count: several.len(), names })
        }
    }
}

/// The pieces of the outline's only line, its last end brought to its first.
fn closed_pieces(drawn: &Drawn) -> Result<Vec<Bezier>, TraceError> {
    let [line] = drawn.lines.as_slice() else { return Err(TraceError::Loops { loops: drawn.lines.len() }) };
    closed_line(line)
}

fn closed_line(line: &DrawnLine) -> Result<Vec<Bezier>, TraceError> {
    let gap_mm = gap_mm(line);
    if gap_mm > CLOSED_MM {
        return Err(TraceError::Open { gap_mm });
    }
    let mut pieces = line.pieces.clone();
    if let (Some(start), Some(last)) = (pieces.first().map(|p| p.from), pieces.last_mut()) {
        last.to = start;
    }
    Ok(pieces)
}

fn gap_mm(line: &DrawnLine) -> f64 {
    line.pieces.first().zip(line.pieces.last()).map_or(0.0, |(first, last)| (first.from - last.to).length())
}

fn check_size(outline: &Outline) -> Result<(), TraceError> {
    let b = outline.bounds();
    for (measure, value_mm, (least, greatest)) in [("long", b.height(), TRIM_LENGTH_MM), ("wide", b.width(), WIDTH_MM)]
    {
        if !(least..=greatest).contains(&value_mm) {
            return Err(TraceError::Size { measure, value_mm, least, greatest });
        }
    }
    let width = |share: f64| outline.section(b.y0 + share * b.height()).map_or(0.0, |(x0, x1)| x1 - x0);
    let (rear_mm, front_mm) = (width(0.25), width(0.7));
    if rear_mm > front_mm { Err(TraceError::ToesDown { rear_mm, front_mm }) } else { Ok(()) }
}

fn without_clearance(outline: Outline, clearance_mm: f64) -> Result<Outline, TraceError> {
    if clearance_mm == 0.0 {
        return Ok(outline);
    }
    match outline.offset(-clearance_mm)?.as_slice() {
        [one] => Ok(Outline::from_polygon(one)?),
        loops => Err(TraceError::FallsApart { clearance_mm, loops: loops.len() }),
    }
}

fn heel_at_origin(outline: &Outline) -> Result<Outline, TraceError> {
    let b = outline.bounds();
    let (x0, x1) = outline.section(b.y0 + HEEL_STATION * b.height()).unwrap_or((b.x0, b.x1));
    let middle = 0.5 * (x0 + x1);
    Ok(outline.mapped(|p| Point2::new(p.x - middle, p.y - b.y0))?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Side, bench_from_foot};
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;
    use std::f64::consts::PI;

    const INSOLE: &str = include_str!("../../tests/data/outlines/stock-insole-right.svg");
    const ARCS: &str = include_str!("../../tests/data/outlines/lines-arcs-and-transforms.svg");

    /// The drawing was made 268 mm long, 98 mm wide at the ball and 68 mm at the heel, and rounded
    /// to 0.001 mm.
    #[test]
    fn traced_insole_has_the_sizes_it_was_drawn_with() {
        let traced = outline_from_svg(INSOLE, 0.0).unwrap();
        assert_abs_diff_eq!(traced.check_bar_mm, 100.0, epsilon = 1e-3);
        let o = &traced.outline;
        assert_abs_diff_eq!(o.bounds().y0, 0.0, epsilon = 1e-9);
        assert_abs_diff_eq!(o.length_mm(), 268.0, epsilon = 0.002);
        let (x0, x1) = o.extent_ahead_of(134.0).unwrap();
        assert_abs_diff_eq!(x1 - x0, 98.0, epsilon = 0.002);
        let (x0, x1) = o.section(43.0).unwrap();
        assert_abs_diff_eq!(x1 - x0, 68.0, epsilon = 0.002);
        let (x0, x1) = o.section(HEEL_STATION * o.length_mm()).unwrap();
        assert_abs_diff_eq!(x0 + x1, 0.0, epsilon = 1e-6);
        // A right insole seen from above has its tip on the left; in the foot frame that is medial.
        let (x0, x1) = o.section(267.9).unwrap();
        assert!(x0 + x1 < -10.0);
        let foot = o.placed(bench_from_foot(Side::Right));
        let (x0, x1) = foot.section(267.9).unwrap();
        assert!(x0 + x1 > 10.0);
    }

    /// By hand: half circle of radius 33, two trapezes less or plus the parabola segments of the
    /// quadratics (two thirds of the chord's triangle with the handle), half ellipse 48 by 60.
    #[test]
    fn arcs_quadratics_lines_and_transforms_by_hand() {
        let o = outline_from_svg(ARCS, 0.0).unwrap().outline;
        assert_abs_diff_eq!(o.length_mm(), 260.0, epsilon = 0.01);
        assert_abs_diff_eq!(o.bounds().width(), 96.0, epsilon = 0.01);
        let triangle =
            |a: (f64, f64), b: (f64, f64), c: (f64, f64)| 0.5 * ((b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0));
        let straight_sides = 0.5 * (66.0 + 82.0) * 87.0 + 0.5 * (82.0 + 96.0) * 80.0;
        let bulges = triangle((38.0, 120.0), (48.0, 160.0), (48.0, 200.0))
            + triangle((-48.0, 200.0), (-48.0, 150.0), (-44.0, 120.0));
        let by_hand = 0.5 * PI * 33.0 * 33.0 + straight_sides + bulges * 2.0 / 3.0 + 0.5 * PI * 48.0 * 60.0;
        // Arcs become cubics on the way, which are within 3e-4 of their radii.
        assert_abs_diff_eq!(o.area_mm2(), by_hand, epsilon = 5.0);
    }

    /// Area lost to a clearance d: P d - pi d^2 for a convex outline (Steiner); this one has a
    /// slight waist, which leaves the formula as it is while d is small.
    #[test]
    fn clearance_is_taken_off_all_round() {
        let whole = outline_from_svg(INSOLE, 0.0).unwrap().outline;
        let less = outline_from_svg(INSOLE, 1.5).unwrap().outline;
        assert_abs_diff_eq!(less.length_mm(), whole.length_mm() - 3.0, epsilon = 0.02);
        let expected = whole.area_mm2() - whole.perimeter_mm() * 1.5 + PI * 1.5 * 1.5;
        assert_abs_diff_eq!(less.area_mm2(), expected, epsilon = 2.0 * 0.005 * whole.perimeter_mm());
        assert_abs_diff_eq!(less.bounds().y0, 0.0, epsilon = 1e-9);
    }

    fn refused(svg: &str, words: &str) {
        let text = outline_from_svg(svg, 0.0).unwrap_err().to_string();
        assert!(text.contains(words), "{text}");
    }

    #[test]
    fn scale_and_units_must_be_right() {
        refused(&INSOLE.replace("y2=\"160\"", "y2=\"159\""), "check bar measures 99.00 mm");
        refused(&INSOLE.replace("y2=\"160\"", "y2=\"60\""), "this one has 0 pieces");
        refused(&INSOLE.replace("check-bar", "bar"), "no check bar");
        refused(&ARCS.replace("h 1000", "h 500 v 500"), "this one has 2 pieces");
        refused(&INSOLE.replace("width=\"210mm\"", "width=\"210\""), "width is \"210\"");
        refused(&INSOLE.replace("297mm", "29.7cm"), "height is \"29.7cm\"");
        refused(&INSOLE.replace("width=\"210mm\"", ""), "width is missing");
        refused(&INSOLE.replace("viewBox=\"0 0 210 297\"", ""), "viewBox is missing");
        refused(&INSOLE.replace("0 0 210 297", "0 0 nan 297"), "viewBox");
        refused(&INSOLE.replace("210mm", "105mm"), "stretched");
        refused(&INSOLE.replace("210mm", "21mm").replace("297mm", "29.7mm"), "check bar measures 10.00 mm");
    }

    #[test]
    fn one_closed_outline_is_needed() {
        // Without its Z the last point still meets the first; without its last piece it does not.
        assert!(outline_from_svg(&INSOLE.replace(" Z", ""), 0.0).is_ok());
        refused(&INSOLE.replace("C 118.862,278.118 109.397,283.000 100.000,283.000 Z", ""), "open by 27.");
        refused(&INSOLE.replace("id=\"outline\"", "display=\"none\""), "no outline");
        let circle = "<circle cx=\"60\" cy=\"60\" r=\"50\"/></svg>";
        refused(&ARCS.replace("</svg>", circle), "2 closed shapes");
        assert!(outline_from_svg(&INSOLE.replace("</svg>", circle), 0.0).is_ok());
        refused(&INSOLE.replace(" Z", " Z M 10 10 h 5 v 5 Z"), "2 separate lines");
        refused(&INSOLE.replace("M 100.000,283.000", "M 100 283 L 150 100 L 20 200 L 100 283"), "crosses");
        refused(&ARCS.replace("scale(10 -10)", "scale(10 10) translate(0 -260)"), "toes are up");
        refused(&ARCS.replace("scale(10 -10)", "scale(1 -1)"), "26.0 mm long");
        refused(&ARCS.replace("scale(10 -10)", "scale(1000 -1000)"), "within +-10000 mm");
    }

    #[test]
    fn clearance_must_make_sense() {
        for clearance in [-1.0, 11.0, f64::NAN, f64::INFINITY] {
            assert!(matches!(outline_from_svg(INSOLE, clearance), Err(TraceError::Clearance { .. })));
        }
        let bone = "M 80 280 H 140 V 200 H 113 V 190 H 150 V 20 H 60 V 190 H 107 V 200 H 80 Z";
        let start = ARCS.find("M -33").unwrap();
        let end = start + ARCS[start..].find('"').unwrap();
        let bone = format!("{}{bone}{}", &ARCS[..start], &ARCS[end..]);
        let bone = bone.replace("translate(900 2750) scale(10 -10)", "scale(10)");
        assert_eq!(outline_from_svg(&bone, 4.0).unwrap_err(), TraceError::FallsApart { clearance_mm: 4.0, loops: 2 });
    }

    #[test]
    fn hostile_drawings_are_refused() {
        refused("", "not a readable SVG");
        refused("<svg", "not a readable SVG");
        refused("<html/>", "width is missing");
        refused(&" ".repeat(10_000_000), "10000000 bytes");
        let entity = "<!DOCTYPE svg [<!ENTITY a \"aaaa\"><!ENTITY b SYSTEM \"file:///etc/passwd\">]>";
        refused(&format!("{entity}{INSOLE}"), "not a readable SVG");
        for element in ["image href=\"file:///etc/passwd\"", "use href=\"#outline\"", "script", "foreignObject"] {
            refused(&INSOLE.replace("</svg>", &format!("<{element}/></svg>")), "is not read");
        }
        let deep = format!("{}{}</svg>", "<g>".repeat(200), "</g>".repeat(200));
        refused(&INSOLE.replace("</svg>", &deep), "nested deeper than 64");
        let deepest = format!("{}{}</svg>", "<g>".repeat(200_000), "</g>".repeat(200_000));
        refused(&INSOLE.replace("</svg>", &deepest), "nodes limit");
        let deep = format!("{}{}</svg>", "<g>".repeat(40_000), "</g>".repeat(40_000));
        refused(&INSOLE.replace("</svg>", &deep), "nested deeper than 64");
        refused(&INSOLE.replace("100.000,283.000", "NaN,283"), "bad number");
        refused(&INSOLE.replace("M 100.000,283.000", "M 1e300,283.000"), "bad number");
        refused(&INSOLE.replace("M 100.000,283.000", "M 1e30,283.000"), "within +-10000 mm");
    }

    #[test]
    fn what_clips_paints_or_marks_changes_no_outline_and_costs_nothing() {
        let whole = outline_from_svg(INSOLE, 0.0).unwrap();
        let with = |defined: &str| INSOLE.replacen("id=\"outline\"", &format!("id=\"outline\" {defined}"), 1);
        for refers in [
            "clip-path=\"url(#d0)\"",
            "style='mask:url(\"#d0\")'",
            "marker-mid=\"url(#none)\" style=\"stroke:url(#d0) red\"",
        ] {
            // Each twice within the one before: 2^60 in all.
            let chain = |i: usize| {
                let child = format!("<rect width=\"1\" height=\"1\" clip-path=\"url(#d{})\"/>", i + 1);
                format!("<clipPath id=\"d{i}\">{child}{child}</clipPath>")
            };
            let chains: String = (0..60).map(chain).collect();
            let svg = with(refers).replace("</svg>", &format!("<defs>{chains}</defs></svg>"));
            assert_eq!(outline_from_svg(&svg, 0.0).unwrap().outline.points(), whole.outline.points(), "{refers}");
        }
        let styled =
            with("class=\"a\"").replace("</svg>", "<style>.a{clip-path:url(#none);fill:url(#none)}</style></svg>");
        assert_eq!(outline_from_svg(&styled, 0.0).unwrap().outline.points(), whole.outline.points());
        // What is no reference stays: words, comments, and the rule behind a comment of a style sheet.
        for other in [
            "<!-- painted by url(#shade) --><!-- and -->",
            "<style>/* url(#a) */ .b{display:none}</style><circle class=\"b\" r=\"99\"/><text>see url( here</text>",
        ] {
            let svg = ARCS.replace("</svg>", &format!("{other}</svg>"));
            assert!(outline_from_svg(&svg, 0.0).is_ok(), "{other}: {:?}", outline_from_svg(&svg, 0.0));
        }
        refused(&with("clip-path=\"&#117;rl(#d0)\""), "character codes");
        refused(&INSOLE.replace("</svg>", "<style>ur<![CDATA[l(#d0)]]></style></svg>"), "character codes");
        let rules = "g > rect.a { fill: red }".repeat(2000);
        refused(&INSOLE.replace("</svg>", &format!("<style>{rules}</style></svg>")), "1000 style rules");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        /// A drawing with any piece cut out gives an outline or an error, never a panic.
        #[test]
        fn damaged_drawings(from in 0usize..1500, length in 0usize..300, put in "[ -~]{0,12}") {
            let cut: String = INSOLE.chars().enumerate()
                .filter(|(i, _)| !(from..from + length).contains(i)).map(|(_, c)| c).collect();
            let _ = outline_from_svg(&cut, 1.0);
            let at = from.min(INSOLE.len());
            let _ = outline_from_svg(&format!("{}{put}{}", &INSOLE[..at], &INSOLE[at..]), 1.0);
        }
    }
}
