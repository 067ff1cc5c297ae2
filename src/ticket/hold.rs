//! The keys of `[make]` about the blank on the bed: how the footbeds lie in it, what clamps it, what
//! is engraved in its waste, and what holds the piece at the end.

use super::making::Filled;
use super::{Clamp, Hold, Laying, Marks, Tabs, Underside, ranges};
use crate::frame::Rect;
use crate::written::{Need, Section};

/// Tabs where the ticket says nothing: six to eight hold a footbed; common practice, no source.
const USUAL_TABS: Tabs = Tabs { count: 6, length_mm: 8.0, thickness_mm: 1.5 };
/// Skin where the ticket says nothing of its thickness, mm: holds by its whole length, and a knife
/// goes through; common practice, no source.
const USUAL_SKIN_MM: f64 = 0.5;

pub(super) fn hold(s: &Section, filled_in: &mut Filled) -> Option<Hold> {
    #[derive(Clone, Copy, PartialEq)]
    enum By {
        Tabs,
        Skin,
    }
    s.allow("hold");
    let by = if s.has("hold") {
        s.choice("hold", Need::Required, &[("tabs", By::Tabs), ("skin", By::Skin)])?
    } else {
        By::Tabs
    };
    let (other, own) = if by == By::Skin { ("tabs", "skin") } else { ("skin", "tabs") };
    if s.has(other) {
        let message = format!("`{}` has no meaning where {own} hold the piece", s.full_name(other));
        s.at(other, message, format!("take it out, or write hold = \"{other}\""));
        s.allow(other);
        return None;
    }
    s.allow(other);
    match by {
        By::Tabs => tabs(s, filled_in).map(Hold::Tabs),
        By::Skin => s.number_or("skin", ranges::SKIN, USUAL_SKIN_MM).map(|thickness_mm| Hold::Skin { thickness_mm }),
    }
}

fn tabs(s: &Section, filled_in: &mut Filled) -> Option<Tabs> {
    if !s.has("tabs") {
        s.allow("tabs");
        let Tabs { count, length_mm, thickness_mm } = USUAL_TABS;
        filled_in
            .push(("tabs", format!("{count} tabs, {length_mm} mm long, {thickness_mm} mm thick, the usual number")));
        return Some(USUAL_TABS);
    }
    s.within("tabs", Need::Required, |s| {
        let count = s.whole("count", Need::Required, ranges::TAB_COUNT);
        let length_mm = s.number_or("length", ranges::TAB_LENGTH, USUAL_TABS.length_mm);
        let thickness_mm = s.number_or("thickness", ranges::TAB_THICKNESS, USUAL_TABS.thickness_mm);
        Some(Tabs { count: count? as usize, length_mm: length_mm?, thickness_mm: thickness_mm? })
    })
    .flatten()
}

/// How the footbeds lie; a blank each where nothing is said.
pub(super) fn laying(s: &Section, underside: Option<Underside>) -> Option<Laying> {
    s.allow("lay");
    if !s.has("lay") {
        return Some(Laying::Each);
    }
    let laying = s.choice("lay", Need::Required, &[("each", Laying::Each), ("pair", Laying::Pair)])?;
    if laying == Laying::Pair && underside == Some(Underside::Relieved) {
        let message = "`make.lay` is \"pair\" and the underside is relieved, which turns the blank over; a pair in one \
                       blank is cut from above only";
        s.at("lay", message, "write lay = \"each\", or underside = \"flat\"");
        return None;
    }
    Some(laying)
}

/// What is engraved; where nothing is said, only a pair in one blank needs to be told apart.
pub(super) fn marks(s: &Section, laying: Option<Laying>) -> Option<Marks> {
    s.allow("marks");
    let usual = laying == Some(Laying::Pair);
    let engraved = if s.has("marks") { s.flag("marks", Need::Required)? } else { usual };
    Some(if engraved { Marks::Engraved } else { Marks::Off })
}

pub(super) fn clamps(s: &Section) -> Option<Vec<Clamp>> {
    let read = s.each("clamps", |s| Some(clamp(s)));
    if read.len() > ranges::MOST_CLAMPS {
        let (count, most) = (read.len(), ranges::MOST_CLAMPS);
        s.at(
            "clamps",
            format!("there are {count} clamps; at most {most} are allowed"),
            "leave out those far from the blank",
        );
        return None;
    }
    read.into_iter().collect()
}

fn clamp(s: &Section) -> Option<Clamp> {
    let range = |key: &str| {
        let [low, high] = s.numbers(key, Need::Required, ranges::CLAMP_PLACE)?;
        if low < high {
            return Some((low, high));
        }
        s.at(
            key,
            format!("`{}` goes from {low} to {high}", s.full_name(key)),
            "write the lesser number first, and leave room between them",
        );
        None
    };
    let (x, y) = (range("x"), range("y"));
    let height_mm = s.number("height", Need::Required, ranges::CLAMP_HEIGHT);
    let ((x0, x1), (y0, y1)) = (x?, y?);
    Some(Clamp { rect: Rect { x0, y0, x1, y1 }, height_mm: height_mm? })
}
