//! After a try: one complaint, one change of 1 mm or 1 degree or as much of it as the limits leave, and what to look at
//! before it. Refuses where a clinician comes first. Knows no text.

use serde::Serialize;

use crate::frame::Side;
use crate::job;
use crate::limits::{Interval, Intervals};
use crate::profile::rules::{Complaint, Rules, Try};
use crate::ticket::{FootOrder, Ticket, writable};
use crate::value::Value;
use crate::written::suggest;

/// The one change that is suggested.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs)]
pub struct Adjustment {
    pub ticket: String,
    pub revision: u32,
    pub side: Side,
    pub complaint: String,
    /// The complaint in words.
    pub words: String,
    /// What to look at before anything is changed.
    pub check_first: Vec<String>,
    pub value: Value,
    pub from: f64,
    pub to: f64,
    pub unit: &'static str,
    pub because: String,
    /// Changes that come before it and have no room left, in words.
    pub passed_over: Vec<String>,
    /// Why it is less than a whole step, in words; `None` where it is one.
    pub less: Option<String>,
    /// Signs on which nothing is changed.
    pub refer_when: String,
    pub source: String,
    /// As the ticket's history is to say it.
    pub change: String,
    /// The same.
    pub reason: String,
}

/// Why nothing is suggested although the question was understood.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Refusal {
    #[error("{words}: nothing is changed; a clinician sees this first")]
    Referral { words: String },
    #[error(
        "{times} changes were made for {complaint} on the {side} foot, and it is still there: nothing more is changed; pain \
         that is worse after two adjustments is for a clinician"
    )]
    Enough { complaint: String, side: &'static str, times: usize },
    #[error("nothing is left to change for {complaint}: {why}; look at the boot, or measure the foot again")]
    NoRoom { complaint: String, why: String },
}

/// Why the question was not understood.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum AdjustError {
    #[error("there is no complaint \"{name}\"; {help}")]
    Complaint { name: String, help: String },
    #[error("the ticket has two feet: say --side left or --side right")]
    Side,
    #[error("the ticket has no {0} foot")]
    NoFoot(&'static str),
}

/// As many changes for one complaint as are made before someone else looks.
const ENOUGH: usize = 2;

/// A step that a limit cuts short is taken while so much of it is left: no less is felt. Shop's own choice.
const LEAST_STEP_SHARE: f64 = 0.5;

/// The one change for a complaint, no farther than the limits let the value go, or why there is none.
///
/// # Errors
/// A complaint or a side that there is not.
pub fn adjust(
    ticket: &Ticket,
    rules: &Rules,
    complaint: &str,
    side: Option<Side>,
) -> Result<Result<Adjustment, Refusal>, AdjustError> {
    // A sign given as a complaint is a sign all the same, and comes before any slip of the pen.
    if let Some(flag) = rules.flags.iter().find(|flag| flag.name == complaint && flag.stops) {
        return Ok(Err(Refusal::Referral { words: flag.words.clone() }));
    }
    let complaint = known(rules, complaint)?;
    let order = order(ticket, side)?;
    let stops = ticket.wearer.flags.iter().find(|flag| flag.stops && ticket.wearer.cleared.is_none());
    if let Some(flag) = stops {
        return Ok(Err(Refusal::Referral { words: flag.words.clone() }));
    }
    let times = earlier(ticket, complaint, order.side);
    if times >= ENOUGH {
        let (complaint, side) = (complaint.words.clone(), order.side.name());
        return Ok(Err(Refusal::Enough { complaint, side, times }));
    }
    // A ticket of which no footbed can be made has no limits to keep to; the ticket's own check tells of it.
    let laid = job::laid(ticket, Some(order.side)).unwrap_or_default();
    let intervals = laid.into_iter().next().map(|(design, _)| design.intervals).unwrap_or_default();
    Ok(first_with_room(ticket, order, complaint, &intervals))
}

fn known<'a>(rules: &'a Rules, name: &str) -> Result<&'a Complaint, AdjustError> {
    let found = rules.complaints.iter().find(|complaint| complaint.name == name);
    found.ok_or_else(|| {
        let names: Vec<&str> = rules.complaints.iter().map(|complaint| complaint.name.as_str()).collect();
        let help = match suggest(name, names.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are {}", names.join(", ")),
        };
        AdjustError::Complaint { name: crate::written::shortened(name), help }
    })
}

fn order(ticket: &Ticket, side: Option<Side>) -> Result<&FootOrder, AdjustError> {
    match (side, ticket.feet.as_slice()) {
        (None, [one]) => Ok(one),
        (None, _) => Err(AdjustError::Side),
        (Some(side), feet) => feet.iter().find(|order| order.side == side).ok_or(AdjustError::NoFoot(side.name())),
    }
}

/// Changes that the history holds for this complaint on this foot.
fn earlier(ticket: &Ticket, complaint: &Complaint, side: Side) -> usize {
    let told = reason_of(complaint);
    let same = ticket.history.iter().filter(|past| past.reason == told && past.change.starts_with(side.name()));
    same.count()
}

fn reason_of(complaint: &Complaint) -> String {
    format!("complaint {}: {}", complaint.name, complaint.words)
}

fn first_with_room(
    ticket: &Ticket,
    order: &FootOrder,
    complaint: &Complaint,
    intervals: &Intervals,
) -> Result<Adjustment, Refusal> {
    let mut passed_over = vec![];
    for one in &complaint.tries {
        let limit = intervals.get(&one.value).copied().unwrap_or(Interval::ALL);
        match room(order, one).and_then(|(from, to)| within(one, from, to, limit)) {
            Err(why) => passed_over.push(why),
            Ok((from, to, less)) => {
                let (value, unit) = (one.value, one.value.unit());
                return Ok(Adjustment {
                    ticket: ticket.code.clone(),
                    revision: ticket.revision,
                    side: order.side,
                    complaint: complaint.name.clone(),
                    words: complaint.words.clone(),
                    check_first: complaint.check_first.clone(),
                    value,
                    from,
                    to,
                    unit,
                    because: one.because.clone(),
                    passed_over,
                    less,
                    refer_when: complaint.refer_when.clone(),
                    source: complaint.source.told(),
                    change: format!("{} {} {from} -> {to}", order.side.name(), value.words()),
                    reason: reason_of(complaint),
                });
            }
        }
    }
    let why = if passed_over.is_empty() { "no change is listed for it".to_owned() } else { passed_over.join("; ") };
    Err(Refusal::NoRoom { complaint: complaint.words.clone(), why })
}

/// The same change no farther than the limits let the value go, with why it is less, or why so little is left that
/// nothing is. A value that no limit lets stand as it is, or a reason typed, is not cut short: its check tells of it.
fn within(one: &Try, from: f64, to: f64, limit: Interval) -> Result<(f64, f64, Option<String>), String> {
    if !limit.holds(from) || limit.holds(to) {
        return Ok((from, to, None));
    }
    let (name, unit) = (one.value.words(), one.value.unit());
    let (end, by) = if one.add > 0.0 { (limit.hi, limit.by[1]) } else { (limit.lo, limit.by[0]) };
    // Into the limit, to the tenth.
    let tenths = 10.0 * end;
    let end = if one.add > 0.0 { (tenths + 1e-6).floor() } else { (tenths - 1e-6).ceil() } / 10.0 + 0.0;
    let why = format!("{name} may go to {end} {unit} and no farther for {}", by.words());
    match (end - from) * one.add.signum() >= LEAST_STEP_SHARE * one.add.abs() - 1e-9 {
        true => Ok((from, end, Some(why))),
        false => Err(why),
    }
}

/// From where to where a change goes, or why it has no room.
fn room(order: &FootOrder, one: &Try) -> Result<(f64, f64), String> {
    let (name, unit) = (one.value.words(), one.value.unit());
    let Some(from) = order.asked(one.value) else { return Err(format!("{name} is not asked for")) };
    let to = (1000.0 * (from + one.add)).round() / 1000.0 + 0.0;
    if !writable(one.value).admits(to) {
        return Err(format!("{name} {to} {unit} is past what a ticket may ask for"));
    }
    if let Some(until) = one.until.filter(|until| (to - until) * one.add.signum() > 1e-9) {
        return Err(format!("{name} is {from} {unit}, and goes to {until} at most this way"));
    }
    let own = order.foot.medial_arch;
    if let (Value::MedialArch, Some(seated)) = (one.value, own.seated.or(own.unloaded))
        && one.add > 0.0
        && to > seated
    {
        return Err(format!("{name} {to} mm would be above the foot's own arch seated, {seated} mm"));
    }
    Ok((from, to))
}
