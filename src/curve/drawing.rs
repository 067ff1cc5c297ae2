//! The visible paths of an SVG drawing in millimetres, with every transform applied. The only door
//! to `usvg`. Knows nothing of what is drawn.

use std::ops::Range;

use usvg::roxmltree;
use usvg::tiny_skia_path::PathSegment;

use super::TraceError;
use super::bezier::{Bezier, bezier, straight};
use crate::frame::Point2;

/// A traced outline is some kilobytes; a drawing with its history and styles some hundred.
const MOST_BYTES: usize = 2_000_000;

/// Elements and attributes in such a drawing are some hundred.
const MOST_NODES: u32 = 100_000;

/// Drawing programs nest some five groups; the readers below use the stack for each.
const MOST_NESTED: usize = 64;

/// Each rule is held against each element.
const MOST_RULES: usize = 1000;

/// How an element or a style names what is defined elsewhere.
const REFERENCE: &str = "url(";

/// Scales across and up may differ by rounding of the document's size.
const STRETCH: f64 = 1e-3;

/// SVG's pixel is 1/96 inch (CSS Values and Units 3, section 6.2).
const MM_PER_PX: f64 = 25.4 / 96.0;

/// Elements that bring in what is not drawn: pictures, copies, programs.
const NOT_READ: [&str; 5] = ["image", "use", "script", "foreignObject", "feImage"];

/// A visible path: its id or that of the nearest group with one, and its lines, mm, y up.
pub(super) struct Drawn {
    pub(super) id: String,
    pub(super) lines: Vec<DrawnLine>,
}

/// One connected line of a path.
pub(super) struct DrawnLine {
    pub(super) pieces: Vec<Bezier>,
    pub(super) closed: bool,
}

/// The visible paths of a drawing whose size is stated in mm.
pub(super) fn drawn_paths(svg_text: &str) -> Result<Vec<Drawn>, TraceError> {
    if svg_text.len() > MOST_BYTES {
        return Err(TraceError::TooLong { bytes: svg_text.len(), allowed: MOST_BYTES });
    }
    let given = parsed(svg_text)?;
    check_elements(&given)?;
    check_units(given.root_element())?;
    let plain = without_references(svg_text, &given);
    let plain = parsed(&plain)?;
    check_plain(&plain)?;
    let no_files =
        usvg::ImageHrefResolver { resolve_data: Box::new(|_, _, _| None), resolve_string: Box::new(|_, _| None) };
    let options = usvg::Options { dpi: 96.0, image_href_resolver: no_files, ..Default::default() };
    let tree = usvg::Tree::from_xmltree(&plain, &options).map_err(unreadable)?;
    let mut drawn = Vec::new();
    collect(tree.root(), "", &mut drawn);
    Ok(drawn)
}

fn parsed(svg_text: &str) -> Result<roxmltree::Document<'_>, TraceError> {
    // No document type: entities are how text bombs and foreign files come in.
    let options = roxmltree::ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..Default::default() };
    roxmltree::Document::parse_with_options(svg_text, options).map_err(unreadable)
}

fn unreadable(problem: impl ToString) -> TraceError {
    TraceError::Unreadable { problem: problem.to_string() }
}

/// The drawing with everything plain black that is painted, clipped, masked or marked by what is defined elsewhere in
/// it. No line that is drawn runs otherwise for that, and clips that clip one another twice over, twenty deep, are a
/// million.
fn without_references(svg_text: &str, given: &roxmltree::Document) -> String {
    let named = |place: &Range<usize>| svg_text.get(place.clone()).is_some_and(|said| said.contains(REFERENCE));
    let attributes = given.descendants().flat_map(|node| node.attributes()).map(|attribute| attribute.range_value());
    let styles = given.descendants().filter(is_style).flat_map(|style| style.children()).map(|text| text.range());
    let mut places: Vec<Range<usize>> = attributes.chain(styles).filter(named).collect();
    places.sort_unstable_by_key(|place| place.start);
    let mut plain = String::with_capacity(svg_text.len());
    let mut here = 0;
    for place in places {
        plain.push_str(svg_text.get(here..place.start).unwrap_or_default());
        plain.push_str(&in_black(svg_text.get(place.clone()).unwrap_or_default()));
        here = place.end;
    }
    plain.push_str(svg_text.get(here..).unwrap_or_default());
    plain
}

/// What an attribute or a style sheet says, with black for what it takes from elsewhere, and without comments.
fn in_black(said: &str) -> String {
    const COMMENT: &str = "/*";
    let mut black = String::with_capacity(said.len());
    let mut rest = said;
    while let Some(at) = [COMMENT, REFERENCE].into_iter().filter_map(|word| rest.find(word)).min() {
        let (before, begun) = rest.split_at(at);
        black.push_str(before);
        rest = match begun.strip_prefix(COMMENT) {
            Some(comment) => comment.split_once("*/").map_or("", |(_, after)| after),
            None => {
                black.push_str("black");
                // What would be painted instead goes too: `url(#shade) red`.
                let after = begun.split_once(')').map_or("", |(_, after)| after);
                after.find([';', '}', '!']).map_or("", |end| &after[end..])
            }
        };
    }
    black.push_str(rest);
    black
}

fn is_style(node: &roxmltree::Node) -> bool {
    node.is_element() && node.tag_name().name() == "style"
}

/// What only shows once the text is parsed: references in character codes, and more styles than are read.
fn check_plain(xml: &roxmltree::Document) -> Result<(), TraceError> {
    let mut rules = 0;
    for node in xml.descendants() {
        let line = || xml.text_pos_at(node.range().start).row;
        let style = if is_style(&node) { node.text().unwrap_or_default() } else { "" };
        let mut said = node.attributes().map(|attribute| attribute.value()).chain([style]);
        if said.any(|said| said.contains(REFERENCE)) {
            return Err(unreadable(format!("line {}: {REFERENCE}...) in character codes", line())));
        }
        rules += style.matches('{').count();
        if rules > MOST_RULES {
            return Err(unreadable(format!("line {}: more than {MOST_RULES} style rules", line())));
        }
    }
    Ok(())
}

fn check_elements(xml: &roxmltree::Document) -> Result<(), TraceError> {
    for node in xml.descendants().filter(roxmltree::Node::is_element) {
        let line = || xml.text_pos_at(node.range().start).row;
        let element = node.tag_name().name();
        if NOT_READ.contains(&element) {
            return Err(TraceError::Element { element: element.into(), line: line() });
        }
        if node.ancestors().take(MOST_NESTED + 1).count() > MOST_NESTED {
            return Err(TraceError::TooDeep { line: line(), allowed: MOST_NESTED });
        }
    }
    Ok(())
}

fn check_units(svg: roxmltree::Node) -> Result<(), TraceError> {
    let unit = |attribute, found: Option<&str>| TraceError::Unit {
        attribute,
        found: found.map_or("missing".into(), |text| format!("{text:?}")),
    };
    let size_mm = |attribute| {
        let found = svg.attribute(attribute);
        let number = found.and_then(|text| text.trim().strip_suffix("mm")?.trim_end().parse::<f64>().ok());
        number.filter(|v| v.is_finite() && *v > 0.0).ok_or_else(|| unit(attribute, found))
    };
    let (width, height) = (size_mm("width")?, size_mm("height")?);
    let found = svg.attribute("viewBox");
    let numbers: Option<Vec<f64>> = found.and_then(|text| {
        let words = text.split(|c: char| c == ',' || c.is_ascii_whitespace()).filter(|w| !w.is_empty());
        words.map(|w| w.parse().ok()).collect()
    });
    match numbers.as_deref() {
        Some(&[_, _, w, h]) if w > 0.0 && h > 0.0 && w.is_finite() && h.is_finite() => {
            let (across, up) = (width / w, height / h);
            let stretched = (across / up - 1.0).abs() > STRETCH;
            if stretched { Err(TraceError::Stretched { across, up }) } else { Ok(()) }
        }
        _ => Err(unit("viewBox", found)),
    }
}

fn collect(group: &usvg::Group, id_around: &str, into: &mut Vec<Drawn>) {
    for node in group.children() {
        let id = if node.id().is_empty() { id_around } else { node.id() };
        match node {
            usvg::Node::Group(inner) => collect(inner, id, into),
            usvg::Node::Path(path) => into.push(Drawn { id: id.into(), lines: lines(path) }),
            usvg::Node::Image(_) | usvg::Node::Text(_) => {}
        }
    }
}

/// The lines of a path with every transform applied, mm from the drawing's upper left, y up.
fn lines(path: &usvg::Path) -> Vec<DrawnLine> {
    let t = path.abs_transform();
    let placed = |p: usvg::tiny_skia_path::Point| {
        let (x, y) = (f64::from(p.x), f64::from(p.y));
        let across = f64::from(t.sx) * x + f64::from(t.kx) * y + f64::from(t.tx);
        let down = f64::from(t.ky) * x + f64::from(t.sy) * y + f64::from(t.ty);
        Point2::new(across * MM_PER_PX, -down * MM_PER_PX)
    };
    let mut lines: Vec<DrawnLine> = Vec::new();
    let (mut start, mut here) = (Point2::origin(), Point2::origin());
    for segment in path.data().segments() {
        let piece = match segment {
            PathSegment::MoveTo(p) => {
                lines.push(DrawnLine { pieces: Vec::new(), closed: false });
                (start, here) = (placed(p), placed(p));
                continue;
            }
            PathSegment::LineTo(p) => straight(here, placed(p)),
            PathSegment::QuadTo(a, p) => quadratic(here, placed(a), placed(p)),
            PathSegment::CubicTo(a, b, p) => bezier(here, placed(a), placed(b), placed(p)),
            PathSegment::Close => straight(here, start),
        };
        here = Point2::new(piece.to.x, piece.to.y);
        let Some(line) = lines.last_mut() else { continue };
        line.closed |= segment == PathSegment::Close;
        if piece.from != piece.to || piece.ctrl1 != piece.from {
            line.pieces.push(piece);
        }
    }
    lines.retain(|line| !line.pieces.is_empty());
    lines
}

fn quadratic(from: Point2, ctrl: Point2, to: Point2) -> Bezier {
    bezier(from, from + (ctrl - from) * (2.0 / 3.0), to + (ctrl - to) * (2.0 / 3.0), to)
}
