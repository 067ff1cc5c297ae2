//! Pen and paper: numbers as text, and the few SVG elements that drawings are made of. The only
//! file that knows how the `svg` crate is used; knows nothing of feet.

use svg::node::element::{Circle, Group, Line, Path, Polygon, Text, Title};

use crate::frame::Point2;

/// The lettering of tables and drawings, mm: 2.5, the smallest size of ISO 3098 that reads at arm's
/// length [from memory].
pub const SMALL_MM: f64 = 2.5;

/// A coordinate as text: three decimals at most, no trailing zeros, no negative zero.
pub fn num(v: f64) -> String {
    trimmed(format!("{v:.3}"))
}

/// A coordinate on a reduced drawing: two decimals, which is a hundredth of a mm of paper.
pub fn coarse(v: f64) -> String {
    trimmed(format!("{v:.2}"))
}

fn trimmed(text: String) -> String {
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_string() } else { text.to_string() }
}

/// Path data through `points`, every point written by `number`.
pub fn path_data(points: &[Point2], closed: bool, number: fn(f64) -> String) -> String {
    let mut d = String::with_capacity(points.len() * 14);
    for (k, p) in points.iter().enumerate() {
        d.push(if k == 0 { 'M' } else { 'L' });
        d.push_str(&number(p.x));
        d.push(' ');
        d.push_str(&number(p.y));
    }
    if closed {
        d.push('Z');
    }
    d
}

/// A straight line of class `class`.
pub fn line(class: &str, a: Point2, b: Point2) -> Line {
    Line::new()
        .set("class", class)
        .set("x1", coarse(a.x))
        .set("y1", coarse(a.y))
        .set("x2", coarse(b.x))
        .set("y2", coarse(b.y))
}

/// A curve through `points`.
pub fn curve(class: &str, points: &[Point2], closed: bool) -> Path {
    Path::new().set("class", class).set("d", path_data(points, closed, coarse))
}

/// A filled shape.
pub fn shape(class: &str, points: &[Point2]) -> Polygon {
    let text: Vec<String> = points.iter().map(|p| format!("{},{}", coarse(p.x), coarse(p.y))).collect();
    Polygon::new().set("class", class).set("points", text.join(" "))
}

/// A circle.
pub fn circle(class: &str, centre: Point2, radius: f64) -> Circle {
    Circle::new().set("class", class).set("cx", coarse(centre.x)).set("cy", coarse(centre.y)).set("r", coarse(radius))
}

/// Which point of the text `label` places.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// The left end.
    Start,
    /// The middle.
    Middle,
    /// The right end.
    End,
}

impl Anchor {
    fn name(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// Words whose base line goes through `at`.
pub fn label(class: &str, at: Point2, anchor: Anchor, words: impl Into<String>) -> Text {
    let text = Text::new(words).set("class", class).set("x", coarse(at.x)).set("y", coarse(at.y));
    // The drawing's own style starts text at the left; saying so on each label would be noise.
    if anchor == Anchor::Start { text } else { text.set("text-anchor", anchor.name()) }
}

/// Words that read upward (from the right edge of the paper), centred on `at`.
pub fn upright_label(class: &str, at: Point2, words: impl Into<String>) -> Text {
    label(class, at, Anchor::Middle, words).set("transform", format!("rotate(-90 {} {})", coarse(at.x), coarse(at.y)))
}

/// A group of one class.
pub fn group(class: &str) -> Group {
    Group::new().set("class", class)
}

/// What a picture shows, for those who do not see it.
pub fn title(words: impl Into<String>) -> Title {
    Title::new(words)
}

/// About how wide `words` print, mm: advances of a common sans in five classes, read off Liberation
/// Sans. Used only to keep words apart and inside their frames.
pub fn width_of(words: &str, size_mm: f64) -> f64 {
    let advance = |c: char| match c {
        'M' | 'W' | 'm' | 'w' | '%' | '@' => 0.84,
        ' ' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | '(' | ')' | '[' | ']' | '/' | '-' => 0.30,
        'i' | 'j' | 'l' | 'f' | 't' | 'r' | 'I' => 0.27,
        c if c.is_uppercase() => 0.68,
        _ => 0.55,
    };
    words.chars().map(advance).sum::<f64>() * size_mm
}

/// A letter size at which `words` are no wider than `room`, mm: at most `size_mm`, and never below
/// the smallest print.
pub fn fitted(words: &str, size_mm: f64, room: f64) -> f64 {
    let width = width_of(words, size_mm);
    if width > room { (size_mm * room / width).max(SMALL_MM) } else { size_mm }
}

/// An arrowhead with its tip at `tip`, pointing along the unit vector (`dx`, `dy`): 2.4 mm long and
/// 0.8 wide, about the closed head of ISO 129-1 [from memory].
pub fn arrowhead(tip: Point2, dx: f64, dy: f64) -> Polygon {
    let (back, half) = (2.2, 0.4);
    let base = Point2::new(tip.x - back * dx, tip.y - back * dy);
    let corner = |s: f64| Point2::new(base.x - s * half * dy, base.y + s * half * dx);
    shape("ink-fill", &[tip, corner(1.0), corner(-1.0)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_minus_zero() {
        assert_eq!(num(-0.0001), "0");
        assert_eq!(num(12.3400), "12.34");
        assert_eq!(num(100.0), "100");
        assert_eq!(num(-7.0627), "-7.063");
        assert_eq!(coarse(1.005), "1");
    }

    #[test]
    fn words_with_markup_stay_words() {
        let text = label("t", Point2::new(0.0, 0.0), Anchor::Start, "<b>&\"").to_string();
        assert!(text.contains("&lt;b&gt;&amp;"), "{text}");
    }
}
