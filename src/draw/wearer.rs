//! The wearer's page: what a footbed is and is not, how to start wearing it, what to report and
//! when to stop. Plain words, no measurements.

use serde::Serialize;

use super::cautions;
use super::data::DrawError;
use super::sheet::render;
use crate::frame::Side;

const PAGE: &str = include_str!("templates/wearer.html");

/// The wearer's page as one HTML page. `sides` are the feet that have a footbed.
pub fn wearer_html(code: &str, revision: u32, sides: &[Side]) -> Result<String, DrawError> {
    let feet: Vec<Side> = Side::BOTH.into_iter().filter(|side| sides.contains(side)).collect();
    if feet.is_empty() {
        return Err(DrawError::Feet { count: 0 });
    }
    let page = Wearer {
        code,
        revision,
        sides: feet.iter().map(|side| side.letter()).collect(),
        side_words: feet.iter().map(|side| side.name()).collect::<Vec<_>>().join(" and "),
        refer: cautions::REFER,
    };
    render("wearer.html", PAGE, &page)
}

#[derive(Serialize)]
struct Wearer<'a> {
    code: &'a str,
    revision: u32,
    sides: Vec<char>,
    side_words: String,
    refer: [&'static str; 10],
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_when_to_see_a_clinician_and_gives_no_measurements() {
        let html = wearer_html("P-17", 2, &[Side::Right, Side::Left]).expect("page");
        assert!(cautions::REFER.iter().all(|words| html.contains(words)));
        assert!(html.contains("left and right"));
        // The only length on the page is the leg difference of the list.
        let body = html.split("</style>").nth(1).expect("body");
        assert_eq!(body.matches(" mm").count(), 1);
    }

    #[test]
    fn markup_in_the_code_is_text() {
        let html = wearer_html("<script>alert(1)</script>", 1, &[Side::Left]).expect("page");
        assert!(!html.contains("<script"));
        assert!(html.contains("&lt;script&gt;"));
    }

    #[test]
    fn no_foot_is_an_error() {
        assert!(matches!(wearer_html("P-17", 1, &[]), Err(DrawError::Feet { count: 0 })));
    }
}
