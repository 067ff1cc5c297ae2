//! The control chart of a log: one strip a value, the differences of its pieces in the order in which
//! they were inspected, their mean, the limits of single pieces and the tolerance.

use svg::Document;
use svg::node::element::{Group, Style};

use super::ink::{self, Anchor};
use crate::drift::{Drift, Trend};
use crate::frame::Point2;
use crate::value::signed;

/// One strip, mm of paper.
const STRIP_MM: (f64, f64) = (180.0, 26.0);
/// Room left of the strips for words, and right of them.
const LEFT_MM: f64 = 42.0;
const RIGHT_MM: f64 = 26.0;
/// Heading above.
const HEAD_MM: f64 = 14.0;
/// Gap between strips.
const GAP_MM: f64 = 5.0;
const MARGIN_MM: f64 = 6.0;

/// Plain colours, because not every viewer of pictures knows variables.
const STYLE: &str = "\
svg{background:#fdfaf3}\
text{font:400 2.8px 'Helvetica Neue',Arial,'Liberation Sans',sans-serif;fill:#15233f}\
.soft{fill:#59647a}.b{font-weight:700}.signal{fill:#b3261e}\
.accepted{fill:#15233f;fill-opacity:.07}\
.w13,.w25{stroke:#15233f;fill:none}.w13{stroke-width:.13px}.w25{stroke-width:.25px}\
.dash{stroke-dasharray:1.6 .8}.dot{fill:#15233f}\
@media screen and (prefers-color-scheme:dark){svg{background:#1d2630}text,.dot,.accepted{fill:#e4e9ee}\
.soft{fill:#a3b0bd}.signal{fill:#ff9a86}.w13,.w25{stroke:#e4e9ee}}";

/// The chart as an SVG picture, mm.
pub fn chart_svg(drift: &Drift) -> String {
    let (width, each) = (2.0 * MARGIN_MM + LEFT_MM + STRIP_MM.0 + RIGHT_MM, STRIP_MM.1 + GAP_MM);
    let height = 2.0 * MARGIN_MM + HEAD_MM + each * drift.values.len().max(1) as f64;
    let heading = format!("Made minus asked, {} pieces in the order of the log", drift.pieces);
    let legend = "tinted: accepted; solid: mean; dashed: limits of single pieces; ringed: outside them";
    let mut picture = ink::group("chart")
        .add(ink::title(heading.clone()))
        .add(ink::label("b", Point2::new(MARGIN_MM, MARGIN_MM + 4.0), Anchor::Start, heading))
        .add(ink::label("soft", Point2::new(MARGIN_MM, MARGIN_MM + 8.5), Anchor::Start, legend));
    for (k, (value, trend)) in drift.values.iter().enumerate() {
        let top = MARGIN_MM + HEAD_MM + each * k as f64;
        picture = picture.add(strip(&value.words(), trend, top, drift.pieces));
    }
    let size = (ink::coarse(width), ink::coarse(height));
    Document::new()
        .set("viewBox", format!("0 0 {} {}", size.0, size.1))
        .set("width", format!("{}mm", size.0))
        .set("height", format!("{}mm", size.1))
        .add(Style::new(STYLE))
        .add(picture)
        .to_string()
}

fn strip(words: &str, trend: &Trend, top: f64, pieces: usize) -> Group {
    let (width, height) = STRIP_MM;
    let left = MARGIN_MM + LEFT_MM;
    let reach = reach(trend);
    let y = |difference: f64| top + 0.5 * height * (1.0 - difference / reach);
    let x = |piece: usize| left + width * (piece as f64 - 0.5) / pieces.max(1) as f64;
    let level = |class: &str, difference: f64| {
        ink::line(class, Point2::new(left, y(difference)), Point2::new(left + width, y(difference)))
    };
    let t = trend.tolerance;
    let corners = [(left, t), (left + width, t), (left + width, -t), (left, -t)];
    let band: Vec<Point2> = corners.iter().map(|&(x, d)| Point2::new(x, y(d))).collect();
    let mut group = ink::group("value").add(ink::shape("accepted", &band)).add(level("w13", 0.0));
    group = group.add(level("w25", trend.spread.mean));
    for limit in trend.limits.iter().flat_map(|l| [l.low, l.high]) {
        group = group.add(level("w13 dash", limit));
    }
    let dots: Vec<Point2> = trend.differences.iter().map(|&(piece, d)| Point2::new(x(piece), y(d))).collect();
    group = group.add(ink::curve("w13", &dots, false));
    for (&(piece, _), at) in trend.differences.iter().zip(&dots) {
        group = group.add(ink::circle("dot", *at, 0.6));
        if trend.outside.contains(&piece) {
            group = group.add(ink::circle("w25", *at, 1.5));
        }
    }
    words_beside(group, words, trend, top, &y)
}

/// The largest difference that the strip shows either way.
fn reach(trend: &Trend) -> f64 {
    let limits = trend.limits.map_or(0.0, |l| l.low.abs().max(l.high.abs()));
    1.15 * [trend.tolerance, trend.spread.least.abs(), trend.spread.most.abs(), limits].into_iter().fold(0.01, f64::max)
}

fn words_beside(group: Group, words: &str, trend: &Trend, top: f64, y: &dyn Fn(f64) -> f64) -> Group {
    let (width, height) = STRIP_MM;
    let right = MARGIN_MM + LEFT_MM + width + 2.0;
    let spread = &trend.spread;
    let doubt = spread.mean_uncertainty.map_or(String::new(), |u| format!(" \u{b1} {u:.2}"));
    let mut lines = vec![
        ("b", words.to_string()),
        ("soft", format!("n {}, {}", spread.count, trend.unit)),
        ("", format!("mean {}{doubt}", signed(spread.mean, 2))),
    ];
    lines.extend(spread.sd.map(|sd| ("", format!("SD {sd:.2}"))));
    lines.extend(trend.cpk.map(|cpk| ("", format!("Cpk {cpk:.2}"))));
    lines.extend(trend.wandering.then(|| ("b signal", "wandering".to_string())));
    let group = lines.into_iter().enumerate().fold(group, |group, (k, (class, text))| {
        let at = Point2::new(MARGIN_MM, top + 3.4 + 4.0 * k as f64);
        group.add(ink::label(class, at, Anchor::Start, text))
    });
    let edge = |text: String, difference: f64| {
        let at = y(difference).clamp(top + 2.0, top + height);
        ink::label("soft", Point2::new(right, at + 0.9), Anchor::Start, text)
    };
    group
        .add(edge(format!("+{}", ink::coarse(trend.tolerance)), trend.tolerance))
        .add(edge("0".into(), 0.0))
        .add(edge(format!("\u{2212}{}", ink::coarse(trend.tolerance)), -trend.tolerance))
}
