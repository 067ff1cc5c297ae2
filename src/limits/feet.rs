//! Plausibility of the measured feet, and left against right.

use std::ops::RangeInclusive;

use super::{Finding, Severity};
use crate::footbed::SHAPING;
use crate::frame::Side;
use crate::ticket::{FootOrder, Ticket};
use crate::value::Value;

/// Feet outside these deserve a question (ANSUR II, Gordon et al. 2014: least and greatest length of
/// 6,068 people; for breadth over length a span that 22 of them lie outside).
const LENGTH_MM: RangeInclusive<f64> = 198.0..=323.0;
const BREADTH_SHARE: RangeInclusive<f64> = 0.32..=0.43;
/// Differences between the feet that deserve a note. Shop's own choice.
const PAIR_MM: f64 = 3.0;
const PAIR_DEG: f64 = 2.0;

/// Measures of the foot that deserve a question.
pub(super) fn findings(order: &FootOrder) -> Vec<Finding> {
    let (foot, side) = (&order.foot, order.side);
    let mut found = vec![];
    let length = foot.length_mm();
    if !LENGTH_MM.contains(&length) {
        let (least, most) = (LENGTH_MM.start(), LENGTH_MM.end());
        let message = format!(
            "a foot {length} mm long lies outside {least}-{most} mm, the span of a survey of 6,068 adults (ANSUR II)"
        );
        found.push(question("foot_length", side, message, length, length.clamp(*least, *most)));
    }
    if let Some((_, breadth)) = foot.ball_width.most_loaded() {
        let share = breadth / length;
        if !BREADTH_SHARE.contains(&share) {
            let (least, most) = (BREADTH_SHARE.start(), BREADTH_SHARE.end());
            let message =
                format!("ball width is {share:.3} of the length; {least:.2}-{most:.2} is the usual span (ANSUR II)");
            found.push(question("foot_breadth", side, message, share, share.clamp(*least, *most)));
        }
    }
    let grows = [("length", foot.length), ("ball width", foot.ball_width), ("heel width", foot.heel_width)];
    for (words, measure) in grows {
        if let (Some(seated), Some(standing)) = (measure.seated, measure.standing)
            && standing < seated
        {
            let message = format!(
                "{words} is smaller standing ({standing} mm) than seated ({seated} mm): a loaded foot spreads, were they swapped?"
            );
            found.push(question("loading_swapped", side, message, standing, seated));
        }
    }
    if let (Some(seated), Some(standing)) = (foot.medial_arch.seated, foot.medial_arch.standing)
        && standing > seated
    {
        let message = format!(
            "the medial arch is higher standing ({standing} mm) than seated ({seated} mm): a loaded arch drops, were they swapped?"
        );
        found.push(question("loading_swapped", side, message, standing, seated));
    }
    if foot.heel_width.standing.is_none() {
        let message =
            "the heel's width standing was not measured: it is the one mistake that cannot be ground away".to_string();
        let advice = "measure the heel's width standing".to_string();
        found.push(Finding::new("heel_width_unknown", Severity::Caution, side, message, advice));
    }
    found
}

fn question(limit: &'static str, side: Side, message: String, measured: f64, allowed: f64) -> Finding {
    let unit = if limit == "foot_breadth" { "" } else { "mm" };
    Finding::new(limit, Severity::Caution, side, message, "measure again".to_string()).numbers(measured, allowed, unit)
}

/// Left against right: large differences without a note on the ticket.
pub(super) fn pair_findings(ticket: &Ticket) -> Vec<Finding> {
    let [left, right] = ticket.feet.as_slice() else { return vec![] };
    if !ticket.note.trim().is_empty() {
        return vec![];
    }
    let sizes = [Value::HeelCupWidth, Value::Length, Value::BallWidth, Value::HeelWidth];
    SHAPING
        .into_iter()
        .chain(sizes)
        .filter_map(|value| {
            let (l, r) = (left.asked(value)?, right.asked(value)?);
            let allowed = if value == Value::RearfootPost { PAIR_DEG } else { PAIR_MM };
            ((l - r).abs() > allowed).then(|| {
                let message = format!(
                    "{} differs by {:.1} {} between left ({l}) and right ({r}), and no note says why",
                    value.words(),
                    (l - r).abs(),
                    value.unit()
                );
                let advice = "write a note on the ticket if that is meant".to_string();
                Finding::new("left_against_right", Severity::Caution, Side::Right, message, advice).numbers(
                    (l - r).abs(),
                    allowed,
                    value.unit(),
                )
            })
        })
        .collect()
}
