//! Moves become program text: the strict common part of RS274/NGC, one rounding, no clock.
//!
//! The text knows no footbed: what it is for comes in a [`Header`] as words. Every choice that
//! differs between controllers is read from the machine's profile; `docs/controllers.md` gives the
//! reasons.

mod words;

use std::fmt::Write;

use thiserror::Error;

use super::time::{Joint, Leg, leg_runs};
use crate::frame::{Point3, Side, Vector3};
use crate::path::{Motion, Step, Toolpath};
use crate::profile::{DwellWord, EndWord, Machine};
pub(super) use words::{cutter_form, plain};
use words::{cutter_words, step_words, thousandths, time_words, wrapped};

/// What the program says about itself in its comments. Any text may be given: what could break out
/// of a comment or command a controller is replaced.
#[derive(Clone, Debug)]
pub struct Header {
    /// The ticket's code.
    pub code: String,
    /// The ticket's revision.
    pub revision: u32,
    /// Which foot.
    pub side: Side,
    /// Where zero is, in words.
    pub zero: String,
    /// What is clamped, in words.
    pub blank: String,
    /// Checksum of the ticket that this was made from.
    pub ticket_sha256: String,
    /// What to mind, a sentence each.
    pub cautions: Vec<String>,
}

/// Why moves cannot become text. Indices count the path's moves from 0.
#[derive(Clone, Debug, PartialEq, Error)]
#[allow(missing_docs)] // the messages say what each is
pub enum WriteError {
    #[error("the path holds no moves; there is nothing to write")]
    Empty,
    #[error("move {index} goes to {value} on axis {axis}; allowed is -{MOST_MM} to {MOST_MM} mm")]
    Place { index: usize, axis: char, value: f64 },
    #[error("move {index} is to feed at {value} mm/min; allowed is 1 to {MOST_FEED} mm/min")]
    Feed { index: usize, value: f64 },
    #[error("the path begins with a feed move; it must begin with a rapid to its safe height")]
    StartsFeeding,
    #[error(
        "move {index} is a rapid that changes z by {dz_mm} mm and moves {dxy_mm} mm in x and y at once; \
         lift first, then go over"
    )]
    SlantedRapid { index: usize, dz_mm: f64, dxy_mm: f64 },
    #[error("the spindle is to run at {value}/min; this machine runs {least} to {greatest}/min")]
    Spindle { value: f64, least: f64, greatest: f64 },
    #[error("a frame program is a dry run and needs spindle speed 0, not {value}/min")]
    FrameTurns { value: f64 },
    #[error("a line of {length} characters is needed and the machine's line limit is {limit}; raise it in the profile")]
    LineLimit { length: usize, limit: usize },
}

/// Places beyond ten metres are a slip, not a bench machine's work.
const MOST_MM: f64 = 10_000.0;

/// No spindle this program writes for cuts foam at 100 m/min of feed.
const MOST_FEED: f64 = 100_000.0;

/// Comment lines that one piece of the header may fill; the rest of an endless note is dropped.
const MOST_COMMENT_LINES: usize = 12;

/// Text of the program that makes these moves on this machine.
///
/// Places are rounded once, to 0.001 mm; feeds down to whole mm/min, so that no limit is passed;
/// spindle speeds to whole turns. A move that rounds to no movement is left out. The height of the
/// first rapid is the safe height: the program starts there and ends no lower.
///
/// # Errors
/// [`WriteError`], with the move that is wrong and what is allowed.
pub fn write(path: &Toolpath, machine: &Machine, header: &Header) -> Result<String, WriteError> {
    check_spindle(path, machine)?;
    let moves = rounded(path)?;
    let mut text = Text { lines: String::new(), machine, motion: None, at: moves.start, feed: None };
    text.comments(path, header, &moves)?;
    text.preamble()?;
    text.opening(path, moves.start)?;
    for step in &moves.steps {
        text.movement(step)?;
    }
    text.ending()?;
    Ok(text.lines)
}

/// Seconds that the text of this path takes on this machine, for choosing between paths.
///
/// # Errors
/// [`WriteError`], where [`write()`] would find one in the moves.
pub fn estimate_s(path: &Toolpath, machine: &Machine) -> Result<f64, WriteError> {
    Ok(moves_s(path, &rounded(path)?, machine))
}

fn check_spindle(path: &Toolpath, machine: &Machine) -> Result<(), WriteError> {
    let [least, greatest] = machine.spindle_rpm;
    let value = path.spindle_rpm;
    match path.step {
        Step::Frame if value == 0.0 => Ok(()),
        Step::Frame => Err(WriteError::FrameTurns { value }),
        _ if value >= 1.0 && value >= least && value <= greatest => Ok(()),
        _ => Err(WriteError::Spindle { value, least, greatest }),
    }
}

/// A place in whole thousandths of a millimetre, as printed.
type Place = [i64; 3];

/// A move with the numbers that will be printed.
#[derive(Clone, Copy)]
struct Printed {
    to: Place,
    /// Whole mm/min; `None` for a rapid.
    feed: Option<u32>,
}

/// Where the first rapid goes, and every move after it that moves, the last lift included.
struct Moves {
    start: Place,
    steps: Vec<Printed>,
}

fn rounded(path: &Toolpath) -> Result<Moves, WriteError> {
    let first = path.moves.first().ok_or(WriteError::Empty)?;
    if first.motion != Motion::Rapid {
        return Err(WriteError::StartsFeeding);
    }
    let start = place(0, first.to)?;
    let mut steps = Vec::with_capacity(path.moves.len());
    let mut at = start;
    for (index, step) in path.moves.iter().enumerate().skip(1) {
        let to = place(index, step.to)?;
        let feed = match step.motion {
            Motion::Rapid => None,
            Motion::Feed(value) => Some(whole_feed(index, value)?),
        };
        if to == at {
            continue;
        }
        if feed.is_none() {
            check_square(index, at, to)?;
        }
        steps.push(Printed { to, feed });
        at = to;
    }
    if at[2] < start[2] {
        steps.push(Printed { to: [at[0], at[1], start[2]], feed: None });
    }
    Ok(Moves { start, steps })
}

fn place(index: usize, to: Point3) -> Result<Place, WriteError> {
    let mut place = [0; 3];
    for ((slot, value), axis) in place.iter_mut().zip(to.iter().copied()).zip(['X', 'Y', 'Z']) {
        if !(-MOST_MM..=MOST_MM).contains(&value) {
            return Err(WriteError::Place { index, axis, value });
        }
        *slot = (value * 1000.0).round() as i64;
    }
    Ok(place)
}

fn whole_feed(index: usize, value: f64) -> Result<u32, WriteError> {
    // A thousandth is added so that 599.999999, a 600 that went through a division, stays 600.
    let whole = (value + 0.001).floor();
    if (1.0..=MOST_FEED).contains(&whole) { Ok(whole as u32) } else { Err(WriteError::Feed { index, value }) }
}

/// Axes arrive at different times in a rapid on many controllers, so a slanted one has no known
/// path; only straight up and down or level ones are written.
fn check_square(index: usize, from: Place, to: Place) -> Result<(), WriteError> {
    let along = difference(from, to);
    let (dz_mm, dxy_mm) = (along.z, along.xy().norm());
    if dz_mm != 0.0 && dxy_mm != 0.0 { Err(WriteError::SlantedRapid { index, dz_mm, dxy_mm }) } else { Ok(()) }
}

fn difference(from: Place, to: Place) -> Vector3 {
    let [x, y, z] = [0, 1, 2].map(|axis: usize| (to[axis] - from[axis]) as f64 / 1000.0);
    Vector3::new(x, y, z)
}

/// The text so far and the state a controller would be in after it.
struct Text<'a> {
    lines: String,
    machine: &'a Machine,
    motion: Option<&'static str>,
    at: Place,
    feed: Option<u32>,
}

impl Text<'_> {
    fn line(&mut self, line: &str) -> Result<(), WriteError> {
        let limit = self.machine.line_limit;
        if line.len() > limit {
            return Err(WriteError::LineLimit { length: line.len(), limit });
        }
        self.lines.push_str(line);
        self.lines.push('\n');
        Ok(())
    }

    fn preamble(&mut self) -> Result<(), WriteError> {
        for words in [&[21][..], &[17, 90, 94], &[40, 49, 80], &[54]] {
            let known = words.iter().filter(|number| !self.machine.refuses.contains(number));
            let line: Vec<String> = known.map(|number| format!("G{number}")).collect();
            if !line.is_empty() {
                self.line(&line.join(" "))?;
            }
        }
        Ok(())
    }

    /// Lifts before anything else, because nobody knows where the tip stands; then turns the
    /// spindle up at the safe height; then goes over.
    fn opening(&mut self, path: &Toolpath, start: Place) -> Result<(), WriteError> {
        self.line(&format!("G0 Z{}", thousandths(start[2])))?;
        if path.step == Step::Frame {
            self.line("M5")?;
        } else {
            self.line(&format!("M3 S{:.0}", path.spindle_rpm))?;
            self.dwell()?;
        }
        self.motion = Some("G0");
        self.line(&format!("G0 X{} Y{}", thousandths(start[0]), thousandths(start[1])))
    }

    fn dwell(&mut self) -> Result<(), WriteError> {
        let milliseconds = (self.machine.spin_up_s * 1000.0).round() as i64;
        if milliseconds <= 0 {
            return Ok(());
        }
        let line = match self.machine.dwell {
            DwellWord::PSeconds => format!("G4 P{}", thousandths(milliseconds)),
            DwellWord::SSeconds => format!("G4 S{}", thousandths(milliseconds)),
            DwellWord::PMilliseconds => format!("G4 P{milliseconds}"),
        };
        self.line(&line)
    }

    fn movement(&mut self, step: &Printed) -> Result<(), WriteError> {
        let word = if step.feed.is_some() { "G1" } else { "G0" };
        let mut words = Vec::with_capacity(5);
        if self.motion != Some(word) || self.machine.motion_word_each_line {
            words.push(word.to_string());
        }
        for ((axis, from), to) in ['X', 'Y', 'Z'].into_iter().zip(self.at).zip(step.to) {
            if from != to {
                words.push(format!("{axis}{}", thousandths(to)));
            }
        }
        if step.feed.is_none() {
            // Whoever restarts at a lift then finds the feed again on the next cut.
            self.feed = None;
        } else if step.feed != self.feed {
            words.extend(step.feed.map(|feed| format!("F{feed}")));
            self.feed = step.feed;
        }
        (self.motion, self.at) = (Some(word), step.to);
        self.line(&words.join(" "))
    }

    fn ending(&mut self) -> Result<(), WriteError> {
        self.line("M5")?;
        self.line(match self.machine.end {
            EndWord::M2 => "M2",
            EndWord::M30 => "M30",
        })
    }

    fn comments(&mut self, path: &Toolpath, header: &Header, moves: &Moves) -> Result<(), WriteError> {
        self.comment("CODE", &format!("{} REVISION {}", header.code, header.revision))?;
        self.comment("SIDE", &format!("{}, {} foot", header.side.letter(), header.side.name()))?;
        self.comment("STEP", step_words(path.step))?;
        self.comment("CUTTER", &cutter_words(&path.cutter))?;
        self.comment("ZERO", &header.zero)?;
        self.comment("BLANK", &header.blank)?;
        self.comment("TIP BOX MM", &box_words(moves))?;
        self.comment("TIME", &time_words(moves_s(path, moves, self.machine)))?;
        self.comment("TICKET SHA-256", &header.ticket_sha256)?;
        header.cautions.iter().try_for_each(|caution| self.comment("CAUTION", caution))
    }

    /// Writes `label: words` over as many comment lines as it takes. Every line begins with the
    /// label or with a dash, never with foreign words, because some controllers obey comments that
    /// begin with certain words.
    fn comment(&mut self, label: &str, words: &str) -> Result<(), WriteError> {
        let room = self.machine.line_limit.saturating_sub("(- )".len()).max(1);
        let text = format!("{label}: {}", plain(words));
        let text = text.trim_end();
        for (n, line) in wrapped(text, room).into_iter().take(MOST_COMMENT_LINES).enumerate() {
            let lead = if n == 0 { "" } else { "- " };
            self.line(&format!("({lead}{line})"))?;
        }
        Ok(())
    }
}

fn box_words(moves: &Moves) -> String {
    let mut words = String::new();
    for (axis, name) in ['X', 'Y', 'Z'].into_iter().enumerate() {
        let places = moves.steps.iter().map(|step| step.to[axis]);
        let least = places.clone().fold(moves.start[axis], i64::min);
        let most = places.fold(moves.start[axis], i64::max);
        // Writing to a String cannot fail.
        let comma = if axis == 0 { "" } else { ", " };
        let _ = write!(words, "{comma}{name} {} to {}", thousandths(least), thousandths(most));
    }
    words
}

fn moves_s(path: &Toolpath, moves: &Moves, machine: &Machine) -> f64 {
    let mut at = moves.start;
    // The first lift and the first way over start nobody knows where: only their lines count.
    let still = Leg { along: Vector3::zeros(), feed_mm_min: None, joint: Joint::Rest };
    let mut legs = vec![still; 2];
    for step in &moves.steps {
        let joint = Joint::Passed;
        legs.push(Leg { along: difference(at, step.to), feed_mm_min: step.feed.map(f64::from), joint });
        at = step.to;
    }
    let spin_up_s = if path.step == Step::Frame { 0.0 } else { machine.spin_up_s };
    leg_runs(&legs, machine).iter().map(|run| run.seconds).sum::<f64>() + spin_up_s
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::kernel::Shape;
    use crate::nc::{acceptance, read, time};
    use crate::path::Move;
    use crate::profile::Cutter;

    fn machine() -> Machine {
        Machine {
            name: "bench".into(),
            title: "for tests".into(),
            travel_mm: [600.0, 400.0, 100.0],
            rate_mm_min: [5000.0, 5000.0, 2000.0],
            acceleration_mm_s2: [400.0, 400.0, 200.0],
            junction_deviation_mm: 0.02,
            look_ahead: 16,
            line_time_s: 0.002,
            safe_above_blank_mm: 10.0,
            spindle_rpm: [8000.0, 24000.0],
            spin_up_s: 2.5,
            dwell: DwellWord::PSeconds,
            end: EndWord::M2,
            arcs: false,
            motion_word_each_line: false,
            line_limit: 70,
            decimals: 3,
            refuses: vec![],
            bed_cut_mm: 0.0,
        }
    }

    fn path(moves: &[(Motion, f64, f64, f64)]) -> Toolpath {
        let cutter = Cutter {
            name: "ball-6".into(),
            shape: Shape::Ball { radius: 3.0 },
            flutes: 2,
            flute_length_mm: 22.0,
            shank_diameter_mm: 6.0,
            stickout_mm: 35.0,
            holder_diameter_mm: 25.0,
        };
        let moves = moves.iter().map(|&(motion, x, y, z)| Move { motion, to: Point3::new(x, y, z) }).collect();
        Toolpath { step: Step::Finish, cutter, spindle_rpm: 14500.0, moves }
    }

    fn header() -> Header {
        Header {
            code: "demo-01".into(),
            revision: 2,
            side: Side::Right,
            zero: "Z0 on the board under the blank, X0 Y0 at the blank's marked corner".into(),
            blank: "EVA, 300 x 110 x 32 mm".into(),
            ticket_sha256: "0123456789abcdef".repeat(4),
            cautions: vec!["First run in air.".into()],
        }
    }

    const RAPID: Motion = Motion::Rapid;
    const SLOW: Motion = Motion::Feed(600.0);
    const QUICK: Motion = Motion::Feed(2000.0);

    fn sample() -> Toolpath {
        path(&[
            (RAPID, 10.0, -5.0, 42.0),
            (RAPID, 10.0, -5.0, 33.0),
            (SLOW, 10.0, -5.0, 18.50004),
            (QUICK, 20.12345, -5.0, 18.5),
            (QUICK, 20.12345, -5.0, 18.5001),
            (QUICK, -0.0004, 0.25, 18.5),
            (RAPID, -0.0004, 0.25, 42.0),
            (RAPID, 30.0, 0.25, 42.0),
            (QUICK, 30.0, 0.25, 20.0),
        ])
    }

    /// The lines after the comments.
    fn orders(text: &str) -> Vec<&str> {
        text.lines().skip_while(|line| line.starts_with('(')).collect()
    }

    #[test]
    fn a_whole_program_to_the_letter() {
        insta::assert_snapshot!(write(&sample(), &machine(), &header()).unwrap(), @"
        (CODE: DEMO-01 REVISION 2)
        (SIDE: R, RIGHT FOOT)
        (STEP: FINISH)
        (CUTTER: BALL-6, BALL, DIAMETER 6 MM, 2 FLUTES, 35 MM OUT)
        (ZERO: Z0 ON THE BOARD UNDER THE BLANK, X0 Y0 AT THE BLANKS MARKED)
        (- CORNER)
        (BLANK: EVA, 300 X 110 X 32 MM)
        (TIP BOX MM: X 0 TO 30, Y -5 TO 0.25, Z 18.5 TO 42)
        (TIME: ABOUT 0.1 MIN)
        (TICKET SHA-256:)
        (- 0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF)
        (CAUTION: FIRST RUN IN AIR.)
        G21
        G17 G90 G94
        G40 G49 G80
        G54
        G0 Z42
        M3 S14500
        G4 P2.5
        G0 X10 Y-5
        Z33
        G1 Z18.5 F600
        X20.123 F2000
        X0 Y0.25
        G0 Z42
        X30
        G1 Z20 F2000
        G0 Z42
        M5
        M2
        ");
    }

    #[test]
    fn controllers_get_their_own_words() {
        let text = |m: &Machine| write(&sample(), m, &header()).unwrap();
        let by_s = text(&Machine { dwell: DwellWord::SSeconds, end: EndWord::M30, ..machine() });
        assert_eq!(orders(&by_s)[6], "G4 S2.5");
        assert_eq!(orders(&by_s).last(), Some(&"M30"));
        let in_ms = text(&Machine { dwell: DwellWord::PMilliseconds, ..machine() });
        assert_eq!(orders(&in_ms)[6], "G4 P2500");
        let bare = text(&Machine { refuses: vec![40, 49, 54, 80, 94], ..machine() });
        assert_eq!(orders(&bare)[..3], ["G21", "G17 G90", "G0 Z42"]);
        let at_once = text(&Machine { spin_up_s: 0.0, ..machine() });
        assert_eq!(orders(&at_once)[6], "G0 X10 Y-5");
        let each = text(&Machine { motion_word_each_line: true, ..machine() });
        assert!(orders(&each)[7..16].iter().all(|line| line.starts_with("G0 ") || line.starts_with("G1 ")));
    }

    /// A path that ends at its safe height needs no further lift, and a feed that is 600 but for the
    /// last bits stays 600.
    #[test]
    fn nothing_is_written_twice_and_feeds_do_not_crumble() {
        let almost = Motion::Feed(0.1 * 6000.0 - 1e-9);
        let ends_up = path(&[(RAPID, 0.0, 0.0, 42.0), (almost, 0.0, 0.0, 20.0), (RAPID, 0.0, 0.0, 42.0)]);
        let text = write(&ends_up, &machine(), &header()).unwrap();
        assert_eq!(orders(&text)[8..], ["G1 Z20 F600", "G0 Z42", "M5", "M2"]);
    }

    #[test]
    fn a_dry_run_never_turns_the_spindle() {
        let moves = sample().moves.into_iter().map(|m| Move { motion: RAPID, ..m });
        let level = moves.map(|m| Move { to: Point3::new(m.to.x, m.to.y, 42.0), ..m }).collect();
        let dry = Toolpath { step: Step::Frame, spindle_rpm: 0.0, moves: level, ..sample() };
        let text = write(&dry, &machine(), &header()).unwrap();
        assert_eq!(orders(&text)[4..7], ["G0 Z42", "M5", "G0 X10 Y-5"]);
        assert!(!text.contains("M3"));
        let turning = Toolpath { spindle_rpm: 9000.0, ..dry };
        assert_eq!(write(&turning, &machine(), &header()), Err(WriteError::FrameTurns { value: 9000.0 }));
    }

    #[test]
    fn no_words_break_out_of_a_comment() {
        let hostile = "(MSG, x) M3 S9) \n M30 ; % ! ~ ? $ [#1] caf\u{e9} ".to_string() + &"LOG, ".repeat(40);
        let header = Header {
            code: hostile.clone(),
            zero: hostile.clone(),
            blank: hostile.clone(),
            ticket_sha256: hostile.clone(),
            cautions: vec![hostile, String::new(), "MSG, stop".into(), "W".repeat(5000)],
            ..header()
        };
        let text = write(&sample(), &machine(), &header).unwrap();
        let plain = write(&sample(), &machine(), &super::tests::header()).unwrap();
        assert_eq!(orders(&text), orders(&plain));
        assert!(text.bytes().all(|b| b == b'\n' || (b' '..=b'~').contains(&b)));
        assert!(!text.contains(['!', '?', '~', '$', '%', ';', '#', '[']));
        assert!(text.lines().all(|line| line.len() <= 70 && line.matches('(').count() <= 1));
        assert!(text.lines().count() < 120, "an endless note is cut");
        assert!(read(text.as_bytes(), &acceptance(&machine())).is_ok());
    }

    #[test]
    fn wrong_moves_are_named() {
        let refused = |moves: &[_]| write(&path(moves), &machine(), &header()).unwrap_err();
        let up = (RAPID, 0.0, 0.0, 40.0);
        assert_eq!(refused(&[]), WriteError::Empty);
        assert_eq!(refused(&[(SLOW, 0.0, 0.0, 40.0)]), WriteError::StartsFeeding);
        assert!(matches!(refused(&[up, (SLOW, 0.0, f64::NAN, 1.0)]), WriteError::Place { index: 1, axis: 'Y', .. }));
        assert_eq!(refused(&[up, (SLOW, 2e4, 0.0, 1.0)]), WriteError::Place { index: 1, axis: 'X', value: 2e4 });
        for feed in [0.0, -1.0, 0.4, f64::INFINITY] {
            let found = refused(&[up, (Motion::Feed(feed), 1.0, 0.0, 1.0)]);
            assert_eq!(found, WriteError::Feed { index: 1, value: feed });
        }
        assert_eq!(
            refused(&[up, (RAPID, 3.0, 4.0, 30.0)]),
            WriteError::SlantedRapid { index: 1, dz_mm: -10.0, dxy_mm: 5.0 }
        );
        let fast = Toolpath { spindle_rpm: 30000.0, ..sample() };
        assert!(matches!(write(&fast, &machine(), &header()), Err(WriteError::Spindle { .. })));
        let off = Toolpath { spindle_rpm: 0.0, ..sample() };
        assert!(matches!(write(&off, &machine(), &header()), Err(WriteError::Spindle { .. })));
        let narrow = Machine { line_limit: 12, ..machine() };
        assert!(matches!(write(&sample(), &narrow, &header()), Err(WriteError::LineLimit { limit: 12, .. })));
    }

    /// The header's time is the reader's time, to the tenth of a minute it is printed in.
    #[test]
    fn the_estimate_is_the_time_of_the_text() {
        let long: Vec<_> = (0..400).map(|i| (QUICK, f64::from(i % 2) * 150.0, f64::from(i) * 0.5, 20.0)).collect();
        let moves = [&[(RAPID, 0.0, 0.0, 42.0)], &long[..]].concat();
        let text = write(&path(&moves), &machine(), &header()).unwrap();
        let timing = time(&read(text.as_bytes(), &acceptance(&machine())).unwrap(), &machine());
        let printed: f64 =
            text.lines().find_map(|l| l.strip_prefix("(TIME: ABOUT ")?.strip_suffix(" MIN)")?.parse().ok()).unwrap();
        assert!((timing.total_s / 60.0 - printed).abs() < 0.051, "{} {printed}", timing.total_s / 60.0);
        let estimated = estimate_s(&path(&moves), &machine()).unwrap();
        assert!((timing.total_s - estimated).abs() < 1e-6, "{} {estimated}", timing.total_s);
        assert!(timing.total_s > 1800.0);
    }

    proptest! {
        /// What is written is read back: the same places to the half thousandth, the same kinds,
        /// feeds at most what was ordered, the spindle as ordered.
        #[test]
        fn what_is_written_is_read(
            ends in proptest::collection::vec((any::<bool>(), -400.0..400.0f64, -300.0..300.0f64, 0.0..40.0f64,
                1.0..9000.0f64), 1..40),
            each in any::<bool>(),
        ) {
            let mut moves = vec![(RAPID, 1.0, 2.0, 50.0)];
            for (rapid, x, y, z, feed) in ends {
                if rapid {
                    let (_, x0, y0, _) = moves[moves.len() - 1];
                    moves.extend([(RAPID, x0, y0, 50.0), (RAPID, x, y, 50.0), (RAPID, x, y, z)]);
                } else {
                    moves.push((Motion::Feed(feed), x, y, z));
                }
            }
            let machine = Machine { motion_word_each_line: each, ..machine() };
            let text = write(&path(&moves), &machine, &header()).unwrap();
            let program = read(text.as_bytes(), &acceptance(&machine)).unwrap();
            let mut travels = program.travels[program.opening..].iter();
            let mut at = Point3::new(1.0, 2.0, 50.0);
            for (motion, x, y, z) in moves.into_iter().skip(1) {
                let to = Point3::new(x, y, z);
                if (to - at).abs().max() < 0.002 {
                    continue;
                }
                let travel = travels.next().unwrap();
                prop_assert!((travel.to - to).abs().max() <= 0.000501);
                prop_assert_eq!(travel.rapid, motion == RAPID);
                prop_assert_eq!(travel.spindle_rpm, 14500.0);
                if let Motion::Feed(feed) = motion {
                    prop_assert!(travel.feed_mm_min <= feed + 0.001 && travel.feed_mm_min > feed - 1.0);
                }
                at = to;
            }
        }
    }
}
