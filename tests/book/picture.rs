//! Cuts a drawing out of a page that the program wrote, as an SVG file that stands alone: the rules of
//! the drawing and the light colours go with it, on the page's paper. Nothing is redrawn.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::ACCEPT;

/// How large a unit of a drawing is shown, in pixels: its letters are 2.5 units high.
const PIXELS: f64 = 6.0;

/// A small drawing is shown at least so wide, in pixels.
const LEAST_WIDTH: f64 = 360.0;

/// The picture that `FILE, CLASS, NUMBER` names, or the whole of `FILE`.
///
/// # Errors
/// A sentence where the file or the drawing is not there.
pub fn cut(folder: &Path, from: &str) -> Result<String, String> {
    let parts: Vec<&str> = from.split(", ").collect();
    let name = parts[0];
    let page = fs::read_to_string(folder.join(name)).map_err(|e| format!("{name}: {e}"))?;
    let [_, class, number] = parts[..] else { return Ok(page) };
    let number: usize = number.parse().map_err(|e| format!("which drawing is {number}? {e}"))?;
    let drawing = page
        .match_indices("<svg ")
        .map(|(start, _)| &page[start..])
        .filter(|svg| svg.split('>').next().is_some_and(|head| head.contains(&format!("class=\"{class}\""))))
        .nth(number.saturating_sub(1))
        .and_then(|svg| svg.find("</svg>").map(|end| &svg[..end + "</svg>".len()]));
    let drawing = drawing.ok_or(format!("{name} has no drawing {number} of class {class:?}"))?;
    alone(&page, drawing).ok_or(format!("{name}: the drawing has no viewBox"))
}

/// The drawing with what the page's style says of it.
fn alone(page: &str, drawing: &str) -> Option<String> {
    let colours = colours(page);
    let rules: Vec<String> = page
        .lines()
        .map(|line| line.trim_start_matches("<style>"))
        .filter(|line| line.starts_with(".drawing") || line.starts_with(".map."))
        .map(|line| coloured(line, &colours))
        .collect();
    let (head, body) = drawing.split_once('>')?;
    let view = head.split("viewBox=\"").nth(1)?.split('"').next()?;
    let [x, y, width, height] = view.split(' ').collect::<Vec<_>>()[..] else { return None };
    let (wide, high): (f64, f64) = (width.parse().ok()?, height.parse().ok()?);
    let scale = (LEAST_WIDTH / wide).max(PIXELS);
    let paper = colours.get("paper")?;
    Some(format!(
        "{head} width=\"{}\" height=\"{}\">\n<style>\n\
         text{{font-family:\"Helvetica Neue\",Arial,\"Liberation Sans\",sans-serif}}\n{}\n</style>\n\
         <rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" fill=\"{paper}\"/>{body}\n",
        (scale * wide).round(),
        (scale * high).round(),
        rules.join("\n"),
    ))
}

/// The page's named colours, the first of each name: those are the light ones.
fn colours(page: &str) -> BTreeMap<String, String> {
    let mut colours = BTreeMap::new();
    for said in page.split("--").skip(1) {
        let Some((name, rest)) = said.split_once(':') else { continue };
        let colour = rest.split([';', '}']).next().unwrap_or_default();
        if colour.starts_with('#') {
            colours.entry(name.to_string()).or_insert(colour.to_string());
        }
    }
    colours
}

fn coloured(rule: &str, colours: &BTreeMap<String, String>) -> String {
    colours.iter().fold(rule.to_string(), |rule, (name, colour)| rule.replace(&format!("var(--{name})"), colour))
}

/// Holds the kept picture against the made one, or keeps the made one where that is asked.
///
/// # Errors
/// A sentence that says how to accept.
pub fn compare(kept: &Path, made: &str) -> Result<(), String> {
    if std::env::var_os(ACCEPT).is_some() {
        return fs::write(kept, made).map_err(|e| e.to_string());
    }
    let there = fs::read_to_string(kept).map_err(|e| e.to_string())?;
    if there == made {
        return Ok(());
    }
    Err(format!("is not what the program draws now; when this is wanted: {ACCEPT}=1 cargo test --test guides"))
}
