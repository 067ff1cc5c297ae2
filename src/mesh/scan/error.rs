//! Why a scan cannot be read or used: where, what, and what to do. Knows no format.

use std::fmt;

/// A place in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// So many bytes from its beginning.
    Byte(u64),
    /// A line of text, the first is 1.
    Line(u64),
    /// A triangle, the first is 1.
    Triangle(u64),
    /// All of it.
    Whole,
}

/// Why a scan is not read, or not sampled.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScanError {
    /// The bytes could not be had at all.
    #[error("{place}: {problem}: look whether it is a file, is whole and may be read")]
    Unreadable {
        /// How far reading came.
        place: Place,
        /// What the system said.
        problem: String,
    },
    /// Something else than a scan.
    #[error("this seems to be {what}, not a scan: {advice}")]
    Foreign {
        /// What it seems to be.
        what: &'static str,
        /// What to do.
        advice: &'static str,
    },
    /// A scan that is damaged, cut short or not written to the rules.
    #[error("{place}: {problem}: {advice}")]
    Damaged {
        /// Where.
        place: Place,
        /// What is wrong there.
        problem: String,
        /// What to do.
        advice: &'static str,
    },
    /// More than can be held.
    #[error(
        "{place}: the scan has {what}, at most {most} are read: thin it to a point every 0.3 to 0.5 mm, cut away what \
         is not the piece, or write it as binary STL or PLY"
    )]
    TooLarge {
        /// Where that was seen.
        place: Place,
        /// How much of what.
        what: String,
        /// How much is allowed.
        most: u64,
    },
    /// Not enough for a surface.
    #[error(
        "{place}: the scan has {points} points and {triangles} triangles with an area, at least 3 points are needed: \
         was the right file exported, and with the mesh in it?"
    )]
    TooLittle {
        /// Where.
        place: Place,
        /// Points that could be used.
        points: usize,
        /// Triangles that could be used.
        triangles: usize,
    },
    /// Samples cannot be taken so near to each other.
    #[error("samples every {spacing} are not possible on this scan: give at least {least}")]
    Spacing {
        /// As asked, in the unit of the scan.
        spacing: f64,
        /// The least that is possible.
        least: f64,
    },
}

/// The remedy for most damage.
pub(super) const AGAIN: &str = "export the scan again, or copy the file again";

impl ScanError {
    pub(super) fn damaged(place: Place, problem: impl Into<String>) -> ScanError {
        ScanError::Damaged { place, problem: problem.into(), advice: AGAIN }
    }

    /// Damage with a remedy of its own.
    pub(super) fn remedied(place: Place, problem: impl Into<String>, advice: &'static str) -> ScanError {
        ScanError::Damaged { place, problem: problem.into(), advice }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Place::Byte(n) => write!(f, "byte {n}"),
            Place::Line(n) => write!(f, "line {n}"),
            Place::Triangle(n) => write!(f, "triangle {n}"),
            Place::Whole => write!(f, "whole file"),
        }
    }
}
