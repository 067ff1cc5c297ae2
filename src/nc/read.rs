//! Program text becomes movements, or is refused line by line. The reader believes only the text:
//! it shares no type with the writer, knows no planner's intentions, and takes no word that it does
//! not know the meaning of.
//!
//! What it accepts is the strict common part of RS274/NGC in the freedom of form that the standard
//! (NIST IR 6556, Kramer, Proctor and Messina 2000) gives to other people's text: lower case,
//! blanks inside words, comments anywhere, several words in a line, modal motion, blank lines,
//! leading zeros, both kinds of line ends. What it refuses, although the standard allows it, is
//! what controllers are known to take differently or what would make the start unknown.

mod orders;
mod refusal;
mod words;

pub use refusal::{Reason, Refusal, Refusals};

use super::{Dwell, Program, Travel};
use crate::frame::Point3;
use orders::{NEEDED, Orders};
use words::{Line, Word};

/// Longest text that is looked at: 64 MB is a hundred times the longest footbed program.
pub const MOST_BYTES: usize = 64_000_000;

/// Most lines a program may hold, so that a hostile text cannot fill the memory: at 0.3 mm each they
/// are 600 m of cutting, twenty times a fine footbed.
pub const MOST_LINES: usize = 2_000_000;

/// Refusals that are collected before reading stops; past these, a person fixes those first.
pub const MOST_REFUSALS: usize = 20;

/// No wait of a milling program is longer, s; a longer one was counted in other units.
pub const MOST_WAIT_S: f64 = 120.0;

/// The shortest wait that is believed of a controller that counts milliseconds, s: 120 s written for
/// one that counts seconds would be 0.12 s.
const LEAST_WAIT_IN_MS_S: f64 = 0.2;

/// Lines longer than the standard's 256 characters are not taken apart any more.
const LONGEST_LINE: usize = 256;

/// Characters of a refused line that are quoted.
const LONGEST_QUOTE: usize = 60;

/// What a text must keep to for one controller.
#[derive(Clone, Debug, PartialEq)]
pub struct Acceptance {
    /// Most characters in a line, without its end.
    pub line_limit: usize,
    /// The letter of the waiting time in a `G4` line.
    pub dwell_letter: char,
    /// Seconds in one unit of that time.
    pub dwell_unit_s: f64,
    /// The number of the M word that ends the program.
    pub end_m: u32,
    /// Whether every movement needs its own `G0` or `G1`.
    pub motion_word_each_line: bool,
    /// Most decimals in a number.
    pub decimals: usize,
    /// G words of the common part that it does not know, by number. They must not be said, and what
    /// they set need not be.
    pub refuses: Vec<u32>,
}

/// The movements that `bytes` order.
///
/// Words act in the standard's order of execution whatever their order in the line: feed, speed,
/// spindle, dwell, settings, movement, end. `G17 G21 G40 G49 G90 G94` and one of `G54 G55` must all have been said
/// before anything moves; `G80` may be. The tip's first place is unknown: the first movement must be
/// `G0 Z`, the next one in x and y must be `G0` with both `X` and `Y`; see [`Program::opening`].
/// Whether the spindle turned, what was cut and whether the machine reaches that far is for the
/// proof.
///
/// # Errors
/// All [`Refusals`] up to a bound, each with its line and words.
pub fn read(bytes: &[u8], limits: &Acceptance) -> Result<Program, Refusals> {
    let mut reader = Reader::new(limits);
    if bytes.len() > MOST_BYTES {
        reader.number = 0;
        reader.refuse(Reason::TooLong { bytes: bytes.len() });
        return Err(Refusals { list: reader.refusals });
    }
    let text = bytes.strip_suffix(b"\n").unwrap_or(bytes);
    for line in text.split(|b| *b == b'\n') {
        if reader.refusals.len() >= MOST_REFUSALS {
            break;
        }
        if reader.number >= MOST_LINES {
            reader.refuse(Reason::TooManyLines);
            break;
        }
        reader.line(line.strip_suffix(b"\r").unwrap_or(line));
    }
    reader.finish()
}

/// Which motion is in force.
#[derive(Clone, Copy, PartialEq)]
enum Motion {
    None,
    Rapid,
    Feed,
}

/// The state of a controller, as far as this part of the language has one.
struct Reader<'a> {
    limits: &'a Acceptance,
    program: Program,
    refusals: Vec<Refusal>,
    number: usize,
    quote: String,
    said: [bool; NEEDED.len()],
    motion: Motion,
    place: [Option<f64>; 3],
    feed: Option<f64>,
    spindle_rpm: f64,
    ended: bool,
    /// Refusals that would only repeat themselves on every line have been made.
    complained: Complained,
}

#[derive(Default)]
struct Complained {
    settings: bool,
    feed: bool,
    motion: bool,
    after_end: bool,
}

impl<'a> Reader<'a> {
    fn new(limits: &'a Acceptance) -> Reader<'a> {
        let program =
            Program { travels: Vec::new(), opening: 0, offset: 54, dwells: Vec::new(), comments: Vec::new(), lines: 0 };
        Reader {
            limits,
            program,
            refusals: Vec::new(),
            number: 0,
            quote: String::new(),
            said: [false; NEEDED.len()],
            motion: Motion::None,
            place: [None; 3],
            feed: None,
            spindle_rpm: 0.0,
            ended: false,
            complained: Complained::default(),
        }
    }

    fn refuse(&mut self, reason: Reason) {
        if self.refusals.len() < MOST_REFUSALS {
            self.refusals.push(Refusal { line: self.number, found: self.quote.clone(), reason });
        }
    }

    fn line(&mut self, bytes: &[u8]) {
        self.number += 1;
        self.program.lines = self.number;
        self.quote.clear();
        self.quote
            .extend(bytes.iter().take(LONGEST_QUOTE).map(|b| if matches!(b, b' '..=b'~') { *b as char } else { '?' }));
        if bytes.len() > self.limits.line_limit {
            self.refuse(Reason::LineTooLong { length: bytes.len(), limit: self.limits.line_limit });
        }
        if bytes.len() > LONGEST_LINE.max(self.limits.line_limit) {
            return;
        }
        match words::check_characters(bytes).and_then(words::split) {
            Err(reason) => self.refuse(reason),
            Ok(line) => self.obey(line),
        }
    }

    fn obey(&mut self, line: Line) {
        if self.ended && (!line.words.is_empty() || !line.comments.is_empty()) {
            if !std::mem::replace(&mut self.complained.after_end, true) {
                self.refuse(Reason::AfterEnd);
            }
            return;
        }
        if !line.comments.is_empty() {
            self.program.comments.push((self.number, line.comments.join(" ")));
        }
        if line.words.is_empty() {
            return;
        }
        let Some(orders) = self.sort(&line.words) else { return };
        self.set_feed(&orders);
        self.set_spindle(&orders);
        self.wait(&orders);
        self.set_modes(&orders);
        self.travel(&orders);
        self.end(&orders);
    }

    /// Puts every word in its place; `None` when one has none.
    fn sort(&mut self, words: &[Word]) -> Option<Orders> {
        let before = self.refusals.len();
        let mut orders = Orders::default();
        let waits = words.iter().any(|word| word.letter == 'G' && word.number == 4.0);
        let time_letter = if waits || self.limits.dwell_letter != 'S' { self.limits.dwell_letter } else { ' ' };
        for word in words {
            if let Err(reason) = self.known(word, waits).and_then(|()| orders.take(*word, time_letter)) {
                self.refuse(reason);
            }
        }
        (self.refusals.len() == before).then_some(orders)
    }

    /// What this controller takes less of than the common part holds.
    fn known(&self, word: &Word, waits: bool) -> Result<(), Reason> {
        let Word { letter, number, decimals } = *word;
        let limit = self.limits.decimals;
        if letter == 'G' {
            let refused = self.limits.refuses.iter().any(|refused| f64::from(*refused) == number);
            return if refused { Err(Reason::NotTaken { number }) } else { Ok(()) };
        }
        if waits && letter == 'P' && self.limits.dwell_letter != 'P' {
            return Err(Reason::NoDwellTime { letter: self.limits.dwell_letter });
        }
        if decimals > limit { Err(Reason::Decimals { letter, number, decimals, limit }) } else { Ok(()) }
    }

    /// Saying `G94` anew makes at least one known controller forget the feed, so it does here.
    fn set_feed(&mut self, orders: &Orders) {
        if orders.settings.contains(&94.0) {
            self.feed = None;
        }
        match orders.feed {
            Some(number) if number > 0.0 => self.feed = Some(number),
            Some(number) => self.refuse(Reason::FeedNotPositive { number }),
            None => {}
        }
    }

    fn set_spindle(&mut self, orders: &Orders) {
        match (orders.spindle, orders.speed) {
            (Some(3.0), Some(rpm)) if rpm >= 0.0 => self.spindle_rpm = rpm,
            (Some(3.0), _) => self.refuse(Reason::NoSpeed),
            (_, Some(number)) => self.refuse(Reason::StraySpeed { number }),
            (Some(_), None) => self.spindle_rpm = 0.0,
            (None, None) => {}
        }
    }

    fn wait(&mut self, orders: &Orders) {
        let letter = self.limits.dwell_letter;
        let waits = orders.dwell.is_some();
        match (waits, orders.time) {
            (true, Some(time)) if time >= 0.0 => {
                let seconds = time * self.limits.dwell_unit_s;
                let (unit, least) = if self.limits.dwell_unit_s < 1.0 {
                    ("milliseconds", LEAST_WAIT_IN_MS_S)
                } else {
                    ("seconds", 0.0)
                };
                if seconds > MOST_WAIT_S || (seconds > 0.0 && seconds < least) {
                    self.refuse(Reason::DwellUnit { letter, number: time, seconds, unit, least });
                }
                self.program.dwells.push(Dwell { line: self.number, seconds });
            }
            (true, _) => self.refuse(Reason::NoDwellTime { letter }),
            (false, Some(number)) => self.refuse(Reason::StrayTime { letter, number }),
            (false, None) => {}
        }
        if waits && orders.moves() {
            self.refuse(Reason::DwellWithMove);
        }
    }

    fn set_modes(&mut self, orders: &Orders) {
        for (needed, said) in NEEDED.iter().zip(self.said.iter_mut()) {
            *said |= orders.settings.contains(&f64::from(*needed));
        }
        self.set_offset(orders);
        self.motion = match orders.motion {
            Some(0.0) => Motion::Rapid,
            Some(1.0) => Motion::Feed,
            Some(_) => Motion::None,
            None => self.motion,
        };
    }

    /// Either stored zero will do, but one program keeps to one.
    fn set_offset(&mut self, orders: &Orders) {
        let Some(slot) = NEEDED.iter().position(|needed| *needed == 54) else { return };
        for offset in [54, 55].into_iter().filter(|g| orders.settings.contains(&f64::from(*g))) {
            let moved = self.program.travels.last().is_some();
            if moved && self.program.offset != offset {
                self.refuse(Reason::OffsetChanges { first: self.program.offset, second: offset });
            }
            self.program.offset = offset;
            self.said[slot] = true;
        }
    }

    fn travel(&mut self, orders: &Orders) {
        if !orders.moves() {
            if let Some(number) = orders.motion.filter(|number| *number < 2.0) {
                self.refuse(Reason::NothingToMove { number });
            }
            return;
        }
        self.check_settings();
        self.check_motion(orders);
        if self.start_is_known(orders) {
            self.go(orders);
        }
        for (place, axis) in self.place.iter_mut().zip(orders.axes) {
            *place = axis.or(*place);
        }
    }

    fn check_settings(&mut self) {
        let missing = NEEDED.iter().zip(self.said).filter(|(g, said)| !said && !self.limits.refuses.contains(g));
        let missing: Vec<String> = missing.map(|(g, _)| format!("G{g}")).collect();
        if !missing.is_empty() && !std::mem::replace(&mut self.complained.settings, true) {
            self.refuse(Reason::NotSet { missing: missing.join(" ") });
        }
    }

    fn check_motion(&mut self, orders: &Orders) {
        match self.motion {
            Motion::None if !std::mem::replace(&mut self.complained.motion, true) => self.refuse(Reason::NoMotion),
            Motion::Feed if self.feed.is_none() && !std::mem::replace(&mut self.complained.feed, true) => {
                self.refuse(Reason::NoFeed);
            }
            _ => {}
        }
        if self.limits.motion_word_each_line && orders.motion.is_none() {
            self.refuse(Reason::NoMotionWord);
        }
    }

    /// Whether the movement starts where that is known, or is one of the two kinds by which the
    /// place becomes known.
    fn start_is_known(&mut self, orders: &Orders) -> bool {
        let rapid = self.motion != Motion::Feed;
        let [x, y, z] = orders.axes;
        match self.place {
            [Some(_), Some(_), Some(_)] => true,
            [_, _, None] if rapid && z.is_some() && x.is_none() && y.is_none() => true,
            [_, _, None] => {
                self.refuse(Reason::FirstLift);
                false
            }
            _ if rapid && z.is_some() && x.is_none() && y.is_none() => true,
            _ if rapid && z.is_none() && x.is_some() && y.is_some() => true,
            _ => {
                self.refuse(Reason::FirstOver);
                false
            }
        }
    }

    fn go(&mut self, orders: &Orders) {
        let known = self.place.iter().all(Option::is_some);
        let [x, y, z] = [0, 1, 2].map(|i: usize| {
            let to = orders.axes[i].or(self.place[i]).unwrap_or(0.0);
            (self.place[i].unwrap_or(to), to)
        });
        self.program.travels.push(Travel {
            line: self.number,
            rapid: self.motion != Motion::Feed,
            from: Point3::new(x.0, y.0, z.0),
            to: Point3::new(x.1, y.1, z.1),
            feed_mm_min: self.feed.unwrap_or(0.0),
            spindle_rpm: self.spindle_rpm,
        });
        if !known {
            self.program.opening += 1;
        }
    }

    fn end(&mut self, orders: &Orders) {
        let Some(found) = orders.end else { return };
        if found != f64::from(self.limits.end_m) {
            self.refuse(Reason::WrongEnd { found, wanted: self.limits.end_m });
        }
        self.ended = true;
    }

    fn finish(mut self) -> Result<Program, Refusals> {
        self.quote.clear();
        if !self.ended {
            self.refuse(Reason::NoEnd { wanted: self.limits.end_m });
        } else if self.place.contains(&None) {
            self.refuse(Reason::NothingMoves);
        }
        if self.refusals.is_empty() {
            place_opening(&mut self.program);
            Ok(self.program)
        } else {
            Err(Refusals { list: self.refusals })
        }
    }
}

/// Gives the unknown coordinates of the opening travels the first ones that the text names.
fn place_opening(program: &mut Program) {
    let opening = program.opening;
    let Some(first) = opening.checked_sub(1).and_then(|last| program.travels.get(last)).map(|t| t.to) else { return };
    for travel in program.travels.iter_mut().take(opening) {
        (travel.from.x, travel.from.y) = (first.x, first.y);
        (travel.to.x, travel.to.y) = (first.x, first.y);
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn strict() -> Acceptance {
        Acceptance {
            line_limit: 70,
            dwell_letter: 'P',
            dwell_unit_s: 1.0,
            end_m: 2,
            motion_word_each_line: false,
            decimals: 3,
            refuses: vec![],
        }
    }

    /// A small program of the strict form.
    const SAMPLE: &str = "(CODE: DEMO-01)\nG21\nG17 G90 G94\nG40 G49 G80\nG54\nG0 Z30\nM3 S14000\nG4 P2\nG0 X10 Y-5\n\
                          Z21\nG1 Z18.5 F600\nX20 F2000\nX25 Y0.25 Z19\nG0 Z30\nM5\nM2\n";

    fn refused(text: &str) -> Vec<(usize, Reason)> {
        match read(text.as_bytes(), &strict()) {
            Ok(_) => panic!("accepted: {text}"),
            Err(refusals) => refusals.list.into_iter().map(|r| (r.line, r.reason)).collect(),
        }
    }

    /// The sample with one line, found by its text, replaced by another.
    fn with(line: &str, other: &str) -> String {
        assert!(SAMPLE.contains(line));
        SAMPLE.replacen(&format!("\n{line}\n"), &format!("\n{other}\n"), 1)
    }

    #[test]
    fn the_sample_gives_its_movements() {
        let program = read(SAMPLE.as_bytes(), &strict()).unwrap();
        assert_eq!((program.lines, program.opening), (16, 2));
        assert_eq!(program.comments, [(1, "CODE: DEMO-01".to_string())]);
        assert_eq!(program.dwells, [Dwell { line: 8, seconds: 2.0 }]);
        let ends: Vec<_> = program.travels.iter().map(|t| (t.line, t.rapid, t.to.x, t.to.y, t.to.z)).collect();
        assert_eq!(
            ends,
            [
                (6, true, 10.0, -5.0, 30.0),
                (9, true, 10.0, -5.0, 30.0),
                (10, true, 10.0, -5.0, 21.0),
                (11, false, 10.0, -5.0, 18.5),
                (12, false, 20.0, -5.0, 18.5),
                (13, false, 25.0, 0.25, 19.0),
                (14, true, 25.0, 0.25, 30.0),
            ]
        );
        for pair in program.travels.windows(2) {
            assert_eq!(pair[0].to, pair[1].from);
        }
        assert_eq!(program.travels[0].from, program.travels[0].to);
        let feeds: Vec<f64> = program.travels.iter().filter(|t| !t.rapid).map(|t| t.feed_mm_min).collect();
        assert_eq!(feeds, [600.0, 2000.0, 2000.0]);
        let speeds: Vec<f64> = program.travels.iter().map(|t| t.spindle_rpm).collect();
        assert_eq!(speeds, [0.0, 14000.0, 14000.0, 14000.0, 14000.0, 14000.0, 14000.0]);
    }

    /// Everything the standard leaves free gives the same movements.
    #[test]
    fn other_hands_write_the_same_program() {
        let other = "( demo )\r\n\r\ng21 g17 g90 g94 g40 g49 g54\r\n g00 z 30.000 (up)\r\ns14000 m03\r\n\r\ng04 p2.\r\n\
                     Y-5.0 x+1 0\r\nG0Z21\r\nf600 g01 z18.5\r\nG1 X20. F2000\r\nz19 y.25 x25\r\ng0z30 m5 m2\r\n\r\n";
        let ours = read(SAMPLE.as_bytes(), &strict()).unwrap();
        let theirs = read(other.as_bytes(), &strict()).unwrap();
        let ways = |p: &Program| -> Vec<_> {
            p.travels.iter().map(|t| (t.rapid, t.from, t.to, if t.rapid { 0.0 } else { t.feed_mm_min })).collect()
        };
        assert_eq!(ways(&ours), ways(&theirs));
        assert_eq!((ours.opening, ours.dwells[0].seconds), (theirs.opening, theirs.dwells[0].seconds));
        // Their last line stops the spindle before it moves, as the standard's order says.
        assert_eq!(theirs.travels[6].spindle_rpm, 0.0);
        assert_eq!(theirs.travels[5].spindle_rpm, 14000.0);
    }

    #[test]
    fn words_of_other_dialects_are_refused_with_their_line() {
        let unknown = |letter, number| vec![(12, Reason::UnknownWord { letter, number })];
        for (line, letter, number) in [
            ("G28", 'G', 28.0),
            ("G30", 'G', 30.0),
            ("G43 H1", 'G', 43.0),
            ("G61", 'G', 61.0),
            ("G64 P0.01", 'G', 64.0),
            ("G91.1", 'G', 91.1),
            ("G91", 'G', 91.0),
            ("G20", 'G', 20.0),
            ("G56", 'G', 56.0),
            ("M6", 'M', 6.0),
            ("M7", 'M', 7.0),
            ("M4 S1000", 'M', 4.0),
            ("T1", 'T', 1.0),
            ("N10 X3", 'N', 10.0),
            ("A90", 'A', 90.0),
            ("X1E3", 'E', 3.0),
        ] {
            let found = refused(&with("X20 F2000", line));
            assert_eq!(found[0], unknown(letter, number)[0], "{line}");
        }
        assert!(matches!(refused(&with("X20 F2000", "%"))[0], (12, Reason::Character { byte: b'%' })));
        assert!(matches!(refused(&with("X20 F2000", "X20 (now!)"))[0], (12, Reason::Character { byte: b'!' })));
        assert!(matches!(refused(&with("X20 F2000", "X20 (\u{e9})"))[0], (12, Reason::Character { byte: 0xc3 })));
        assert!(matches!(refused(&with("X20 F2000", "X20 ; on"))[0], (12, Reason::NotAWord { found: ';' })));
    }

    /// Two stored zeros are taken, one of them for a whole program.
    #[test]
    fn a_program_keeps_to_one_stored_zero() {
        let text = with("X20 F2000", "X21");
        assert_eq!(read(text.as_bytes(), &strict()).unwrap().offset, 54);
        let other = text.replace("G54", "G55");
        assert_eq!(read(other.as_bytes(), &strict()).unwrap().offset, 55);
        let changes = refused(&with("X20 F2000", "G55"));
        assert_eq!(changes[0], (12, Reason::OffsetChanges { first: 54, second: 55 }));
        let both = refused(&with("X20 F2000", "G54 G55"));
        assert_eq!(both[0], (12, Reason::Repeated { letter: 'G', first: 54.0, second: 55.0 }));
    }

    #[test]
    fn states_that_the_text_leaves_open_are_refused() {
        let missing = |g: &str| Reason::NotSet { missing: g.to_string() };
        assert_eq!(refused(&with("G21", "")), [(6, missing("G21"))]);
        assert_eq!(refused(&with("G17 G90 G94", "G17")), [(6, missing("G90 G94"))]);
        assert_eq!(refused(&with("G54", "")), [(6, missing("G54"))]);
        assert_eq!(refused(&with("G1 Z18.5 F600", "G1 Z18.5")), [(11, Reason::NoFeed)]);
        assert_eq!(refused(&with("X20 F2000", "G94\nX20")), [(13, Reason::NoFeed)]);
        assert_eq!(refused(&with("X20 F2000", "X20 F0")), [(12, Reason::FeedNotPositive { number: 0.0 })]);
        assert_eq!(refused(&with("X20 F2000", "X20 F-5")), [(12, Reason::FeedNotPositive { number: -5.0 })]);
        assert_eq!(refused(&with("G0 Z30", "Z30")), [(6, Reason::NoMotion)]);
        assert_eq!(refused(&with("Z21", "G80\nZ21")), [(11, Reason::NoMotion)]);
        assert_eq!(refused(&with("Z21", "G80\nZ21\nZ22")), [(11, Reason::NoMotion)], "told once");
        assert_eq!(refused(&with("M3 S14000", "M3")), [(7, Reason::NoSpeed)]);
        assert_eq!(refused(&with("M3 S14000", "M3 S-1")), [(7, Reason::NoSpeed)]);
        assert_eq!(refused(&with("X20 F2000", "X20 S9")), [(12, Reason::StraySpeed { number: 9.0 })]);
        assert_eq!(refused(&with("X20 F2000", "G1")), [(12, Reason::NothingToMove { number: 1.0 })]);
    }

    #[test]
    fn two_words_of_one_kind_are_refused() {
        for (line, letter, first, second) in [
            ("G0 G1 X20 F9", 'G', 0.0, 1.0),
            ("X20 X21", 'X', 20.0, 21.0),
            ("X20 F1 F2", 'F', 1.0, 2.0),
            ("G90 G90", 'G', 90.0, 90.0),
            ("G4 G4 P1", 'G', 4.0, 4.0),
            ("M3 S9 M5", 'M', 3.0, 5.0),
        ] {
            assert_eq!(refused(&with("X20 F2000", line)), [(12, Reason::Repeated { letter, first, second })], "{line}");
        }
    }

    #[test]
    fn the_first_movements_must_make_the_place_known() {
        assert_eq!(refused(&with("G0 Z30", "G0 X0 Y0 Z30")), [(6, Reason::FirstLift)]);
        assert_eq!(refused(&with("G0 Z30", "G1 Z30 F500")), [(6, Reason::FirstLift), (9, Reason::FirstOver)][..1]);
        assert_eq!(refused(&with("G0 X10 Y-5", "G0 X10"))[0], (9, Reason::FirstOver));
        assert_eq!(refused(&with("G0 X10 Y-5", "G0 X10 Y-5 Z20")), [(9, Reason::FirstOver)]);
        let twice = read(with("G0 Z30", "G0 Z30\nG0 Z40").as_bytes(), &strict()).unwrap();
        assert_eq!((twice.opening, twice.travels[1].to.z), (3, 40.0));
    }

    #[test]
    fn waits_use_the_controllers_letter() {
        assert_eq!(refused(&with("G4 P2", "G4 S2")).len(), 2);
        assert_eq!(refused(&with("G4 P2", "G4")), [(8, Reason::NoDwellTime { letter: 'P' })]);
        assert_eq!(refused(&with("G4 P2", "G4 P-2")), [(8, Reason::NoDwellTime { letter: 'P' })]);
        assert_eq!(refused(&with("G4 P2", "P2")), [(8, Reason::StrayTime { letter: 'P', number: 2.0 })]);
        assert_eq!(refused(&with("Z21", "G4 P2 Z21")), [(10, Reason::DwellWithMove)]);
        let by_s = Acceptance { dwell_letter: 'S', ..strict() };
        for line in ["G4 S2", "S2 G4"] {
            let program = read(with("G4 P2", line).as_bytes(), &by_s).unwrap();
            assert_eq!(program.dwells, [Dwell { line: 8, seconds: 2.0 }]);
            assert_eq!(program.travels[1].spindle_rpm, 14000.0);
        }
        // Beside any other G the same letter is the spindle's.
        let faster = with("G4 P2", "G4 S2").replace("G1 Z18.5 F600", "G1 Z18.5 F600 M3 S9000");
        assert_eq!(read(faster.as_bytes(), &by_s).unwrap().travels.last().unwrap().spindle_rpm, 9000.0);
        assert!(read(with("G4 P2", "G4 P2").as_bytes(), &by_s).is_err());
        let in_ms = Acceptance { dwell_unit_s: 0.001, ..strict() };
        assert_eq!(
            read(with("G4 P2", "G4 P2000").as_bytes(), &in_ms).unwrap().dwells,
            [Dwell { line: 8, seconds: 2.0 }]
        );
        // Whoever counts in the other unit is found out, whatever the wait.
        for seconds in [0.2, 2.0, 120.0] {
            let other = read(with("G4 P2", &format!("G4 P{seconds}")).as_bytes(), &in_ms).unwrap_err().list;
            assert!(matches!(other[0], Refusal { line: 8, reason: Reason::DwellUnit { .. }, .. }), "{other:?}");
            let other = refused(&with("G4 P2", &format!("G4 P{}", 1000.0 * seconds)));
            assert!(matches!(other[0], (8, Reason::DwellUnit { .. })), "{other:?}");
        }
        // The bounds themselves are taken.
        for (words, limits) in [
            ("G4 P0", &in_ms),
            ("G4 P200", &in_ms),
            ("G4 P120000", &in_ms),
            ("G4 P0.1", &strict()),
            ("G4 P120", &strict()),
        ] {
            assert!(read(with("G4 P2", words).as_bytes(), limits).is_ok(), "{words}");
        }
    }

    #[test]
    fn ends_and_sizes_are_held() {
        assert_eq!(refused(&SAMPLE.replace("M2\n", "")), [(15, Reason::NoEnd { wanted: 2 })]);
        assert_eq!(refused(&with("M5", "M5\nM2")), [(17, Reason::AfterEnd)]);
        assert_eq!(refused(&format!("{SAMPLE}(more)\nG0 X1\n")), [(17, Reason::AfterEnd)]);
        assert!(read(format!("{SAMPLE}\n \n").as_bytes(), &strict()).is_ok());
        assert_eq!(refused(&SAMPLE.replace("M2\n", "M30\n")), [(16, Reason::WrongEnd { found: 30.0, wanted: 2 })]);
        let long = with("Z21", &format!("Z21 ({})", "A".repeat(65)));
        assert_eq!(refused(&long), [(10, Reason::LineTooLong { length: 71, limit: 70 })]);
        // What is longer than the standard's lines is not taken apart.
        let of_length = |length: usize| with("Z21", &format!("Z21 Q1 ({})", "A".repeat(length - 9)));
        assert_eq!(refused(&of_length(LONGEST_LINE)).len(), 2);
        assert_eq!(refused(&of_length(LONGEST_LINE + 1)).len(), 1);
        assert_eq!(refused(""), [(1, Reason::NoEnd { wanted: 2 })]);
        assert_eq!(refused("M2\n"), [(1, Reason::NothingMoves)]);
        assert_eq!(
            refused(&with("X20 F2000", "X200000")),
            [(12, Reason::OutOfRange { letter: 'X', number: 200000.0 })]
        );
        let huge = vec![b' '; MOST_BYTES + 1];
        assert!(matches!(read(&huge, &strict()).unwrap_err().list[0].reason, Reason::TooLong { .. }));
        let endless = vec![b'\n'; MOST_LINES + 2];
        assert!(matches!(read(&endless, &strict()).unwrap_err().list[0].reason, Reason::TooManyLines));
        assert_eq!(refused(&"Q1\n".repeat(1000)).len(), MOST_REFUSALS);
    }

    #[test]
    fn a_controller_that_forgets_needs_every_motion_word() {
        let forgetful = Acceptance { motion_word_each_line: true, ..strict() };
        let found = read(SAMPLE.as_bytes(), &forgetful).unwrap_err().list;
        let lines: Vec<usize> = found.iter().filter(|r| r.reason == Reason::NoMotionWord).map(|r| r.line).collect();
        assert_eq!(lines, [10, 12, 13]);
    }

    /// What a controller does not know is refused where it stands, and not missed where it does not.
    #[test]
    fn a_controller_may_know_fewer_words() {
        let bare = Acceptance { refuses: vec![40, 49, 80], ..strict() };
        let found = read(SAMPLE.as_bytes(), &bare).unwrap_err().list;
        let numbers: Vec<(usize, Reason)> = found.into_iter().map(|r| (r.line, r.reason)).collect();
        assert_eq!(numbers, [40.0, 49.0, 80.0].map(|number| (4, Reason::NotTaken { number })));
        assert!(read(with("G40 G49 G80", "").as_bytes(), &bare).is_ok());
        let missing = Reason::NotSet { missing: "G40 G49".into() };
        assert_eq!(refused(&with("G40 G49 G80", "")), [(6, missing)]);
    }

    #[test]
    fn arcs_and_too_many_decimals_are_told_as_such() {
        assert_eq!(refused(&with("X20 F2000", "G2 X20 Y5 F2000"))[0], (12, Reason::Arc { number: 2.0 }));
        let four = Reason::Decimals { letter: 'X', number: 20.1234, decimals: 4, limit: 3 };
        assert_eq!(refused(&with("X20 F2000", "X20.1234 F2000")), [(12, four)]);
        let finer = Acceptance { decimals: 4, ..strict() };
        assert!(read(with("X20 F2000", "X20.1234 F2000").as_bytes(), &finer).is_ok());
    }

    #[test]
    fn a_refusal_names_line_words_and_remedy() {
        let refusals = read(with("X20 F2000", "X20 F0").as_bytes(), &strict()).unwrap_err();
        assert_eq!(
            refusals.to_string(),
            "the program text cannot be accepted:\n  line 12: F0 would never arrive; a feed must be above 0: X20 F0"
        );
    }

    proptest! {
        #[test]
        fn random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            let _ = read(&bytes, &strict());
        }

        /// Words drawn from the language itself reach deeper than random bytes.
        #[test]
        fn random_words_never_panic(words in proptest::collection::vec(
            "[GMXYZFSPTN(][-+. ]?[0-9]{0,3}[.]?[0-9]?[ \n)]", 0..120)) {
            let text = format!("{}{}", &SAMPLE[..60], words.concat());
            let _ = read(text.as_bytes(), &strict());
        }

        /// A program with some bytes changed is either refused with lines that exist, or still a
        /// chain of finite movements.
        #[test]
        fn changed_programs_are_refused_or_whole(
            changes in proptest::collection::vec((0..SAMPLE.len(), any::<u8>()), 1..6)
        ) {
            let mut bytes = SAMPLE.as_bytes().to_vec();
            for (at, byte) in changes {
                bytes[at] = byte;
            }
            match read(&bytes, &strict()) {
                Ok(program) => {
                    for pair in program.travels.windows(2) {
                        prop_assert_eq!(pair[0].to, pair[1].from);
                        prop_assert!(pair[0].line < pair[1].line);
                    }
                    prop_assert!(program.travels.iter().all(|t| t.to.iter().all(|c| c.is_finite())));
                    prop_assert!(program.travels.iter().all(|t| t.rapid || t.feed_mm_min > 0.0));
                }
                Err(refusals) => {
                    prop_assert!(!refusals.list.is_empty() && refusals.list.len() <= MOST_REFUSALS);
                    prop_assert!(refusals.list.iter().all(|r| r.line <= bytes.len() + 1));
                }
            }
        }
    }
}
