//! Why a text is not accepted: what stands where, and what is allowed.

use thiserror::Error;

use super::orders::MOST_NUMBER;
use super::{MOST_BYTES, MOST_LINES, MOST_WAIT_S};

/// Everything in a text that cannot be accepted, in order of lines, at most [`super::MOST_REFUSALS`].
#[derive(Clone, Debug, PartialEq, Error)]
#[error("the program text cannot be accepted:{}", self.list.iter().map(|r| format!("\n  {r}")).collect::<String>())]
pub struct Refusals {
    /// At least one.
    pub list: Vec<Refusal>,
}

/// One thing that cannot be accepted.
#[derive(Clone, Debug, PartialEq, Error)]
#[error("line {line}: {reason}{}", if self.found.is_empty() { String::new() } else { format!(": {}", self.found) })]
pub struct Refusal {
    /// From 1; 0 when it is the text as a whole.
    pub line: usize,
    /// The line's words as they stand, unprintable characters replaced, cut when long.
    pub found: String,
    /// What is wrong and what is allowed.
    pub reason: Reason,
}

/// Why a text, or a line of it, is not accepted.
#[derive(Clone, Debug, PartialEq, Error)]
#[allow(missing_docs)] // the messages say what each is
pub enum Reason {
    #[error("the text has {bytes} bytes; at most {MOST_BYTES} are read")]
    TooLong { bytes: usize },
    #[error("the text has more than {MOST_LINES} lines")]
    TooManyLines,
    #[error("the line has {length} characters; this controller takes {limit}")]
    LineTooLong { length: usize, limit: usize },
    #[error("character {byte:#04x} is not plain text that every controller ignores or understands alike")]
    Character { byte: u8 },
    #[error("a comment is not closed in its line")]
    CommentNotClosed,
    #[error("a closing parenthesis without a comment")]
    CommentNotOpened,
    #[error("a comment inside a comment; controllers differ on where it ends")]
    CommentNested,
    #[error("a comment that begins with {order} is an order to some controllers")]
    OrderInComment { order: &'static str },
    #[error("'{found}' begins no word; parameters, expressions and optional lines are not accepted")]
    NotAWord { found: char },
    #[error("'{letter}{found}' is not a letter with a plain decimal number")]
    Number { letter: char, found: String },
    #[error("{letter}{number} is beyond {MOST_NUMBER}")]
    OutOfRange { letter: char, number: f64 },
    #[error("the word {letter}{number} is not in the accepted part of the language")]
    UnknownWord { letter: char, number: f64 },
    #[error(
        "G{number} is an arc; controllers differ on its centre, and only straight moves are proved: write G1 moves"
    )]
    Arc { number: f64 },
    #[error("this controller does not know G{number}; leave it out, as its profile's `refuses` says")]
    NotTaken { number: f64 },
    #[error("{letter}{number} has {decimals} decimals; this controller reads {limit}: round it")]
    Decimals { letter: char, number: f64, decimals: usize, limit: usize },
    #[error("two words of one kind in one line: {letter}{first} and {letter}{second}")]
    Repeated { letter: char, first: f64, second: f64 },
    #[error("a movement before {missing} has been said; the machine's last state would decide")]
    NotSet { missing: String },
    #[error("the first movement must be G0 with Z alone: nobody knows yet what stands beside the tip")]
    FirstLift,
    #[error("after the first lift comes G0 with both X and Y: a way over from an unknown place")]
    FirstOver,
    #[error("no G0 or G1 is in force for this movement")]
    NoMotion,
    #[error("this controller needs G0 or G1 on every line that moves")]
    NoMotionWord,
    #[error("G{number} without X, Y or Z moves nothing")]
    NothingToMove { number: f64 },
    #[error("a feed movement before any F")]
    NoFeed,
    #[error("F{number} would never arrive; a feed must be above 0")]
    FeedNotPositive { number: f64 },
    #[error("M3 needs its speed S, 0 or more, in the same line")]
    NoSpeed,
    #[error("S{number} without M3 in its line")]
    StraySpeed { number: f64 },
    #[error("G4 needs its time {letter}, 0 or more; this controller takes no other letter")]
    NoDwellTime { letter: char },
    #[error(
        "{letter}{number} is a wait of {seconds} s to this controller, which counts {unit}; believed are 0 and \
         {least} to {MOST_WAIT_S} s: was it written for another unit?"
    )]
    DwellUnit { letter: char, number: f64, seconds: f64, unit: &'static str, least: f64 },
    #[error("{letter}{number} belongs to no G4")]
    StrayTime { letter: char, number: f64 },
    #[error("G4 and a movement in one line; controllers differ on which comes first")]
    DwellWithMove,
    #[error("M{found} ends the program; this controller's end is M{wanted}")]
    WrongEnd { found: f64, wanted: u32 },
    #[error("text after the end of the program")]
    AfterEnd,
    #[error("the program does not end with M{wanted}; it may have been cut off")]
    NoEnd { wanted: u32 },
    #[error("nothing moves in X and Y")]
    NothingMoves,
}
