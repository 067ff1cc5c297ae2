//! Closed outlines in a plane: made of cubic Beziers, measured, offset, drawn from measures or
//! traced, and asked how far a point lies from them. The only door to `geo`, `lyon_geom`,
//! `cavalier_contours` and `usvg`. Knows nothing of heights, and of feet only the sizes of an
//! outline.

mod bezier;
mod crossing;
mod drawing;
mod fair;
mod nearest;
mod offset;
mod outline;
mod trace;
mod trim;

pub use bezier::{Bezier, bezier, straight};
pub use offset::grown_in_chords;
pub use outline::{FLATTENING_MM, Outline};
pub use trace::{HEEL_STATION, TraceError, Traced, islands_from_svg, outline_from_svg};
pub use trim::{
    TRIM_BALL_SHARE, TRIM_HEEL_SHARE, TRIM_LENGTH_MM, TrimError, TrimMeasures, outline_from_measures, trim_ranges,
};

/// Why pieces do not make an outline. Places are in the frame the pieces were given in, mm.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// Nothing to work with.
    #[error("an outline needs at least one piece, got none")]
    Empty,
    /// More pieces than any drawn outline has.
    #[error("the outline has {pieces} pieces, at most {allowed} are read: simplify the drawing")]
    TooMany {
        /// How many there are.
        pieces: usize,
        /// How many are read.
        allowed: usize,
    },
    /// More detail than any drawn outline has.
    #[error("the outline needs more than {allowed} points: smooth the drawing, or scale it down if it is too large")]
    TooIntricate {
        /// How many it may need.
        allowed: usize,
    },
    /// A coordinate is NaN, infinite or farther out than anything on a bench.
    #[error("piece {piece} of the outline has the coordinate {value}: give finite numbers within +-{allowed} mm")]
    Coordinate {
        /// Which piece, from 1.
        piece: usize,
        /// The offending number.
        value: f64,
        /// Greatest size allowed.
        allowed: f64,
    },
    /// A piece does not start where the one before it ends.
    #[error(
        "the outline is open: piece {piece} starts {gap_mm:.4} mm away from ({x:.3}, {y:.3}), where the one before it ends; join the ends"
    )]
    Open {
        /// Which piece, from 1; piece 1 follows the last.
        piece: usize,
        /// How far apart the ends are.
        gap_mm: f64,
        /// Where the piece before it ends.
        x: f64,
        /// Where the piece before it ends.
        y: f64,
    },
    /// The outline crosses or touches itself.
    #[error("the outline crosses or touches itself at ({x:.3}, {y:.3}): draw one plain loop")]
    Crossing {
        /// Where.
        x: f64,
        /// Where.
        y: f64,
    },
    /// The loop shuts in next to nothing.
    #[error("the outline shuts in {area_mm2:.6} mm2: draw a loop of at least {allowed} mm2")]
    NoArea {
        /// What it shuts in.
        area_mm2: f64,
        /// What it must at least.
        allowed: f64,
    },
    /// Places that leave a curve through them open.
    #[error("the places given do not determine a curve: two neighbours coincide, or lie too near to each other")]
    Undetermined,
    /// An outline with a spike or a fold that has no parallel at this distance.
    #[error("the outline has no clean parallel at {distance_mm} mm: draw its spikes and folds as smooth curves")]
    Astray {
        /// The distance asked.
        distance_mm: f64,
    },
    /// An offset distance that is not a length.
    #[error("cannot offset an outline by {distance_mm} mm: give a finite distance within +-{allowed} mm")]
    Offset {
        /// The distance asked.
        distance_mm: f64,
        /// Greatest size allowed.
        allowed: f64,
    },
}
