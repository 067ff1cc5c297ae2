//! How a job is shown: the trim outline at 1:1, the job sheet and the wearer's page, all of one
//! family with a workshop's drawings. It is handed outlines, heights and words as plain data
//! ([`SheetData`], [`DrawnFoot`]); it does not know how they came about, nor where text is written.
//!
//! Paper coordinates are mm with y down, as in SVG; a foot is laid on the bench by
//! [`bench_from_foot`](crate::frame::bench_from_foot) and by nothing else. Same data, same bytes.
//!
//! Standards followed, all [from memory]: ISO 128 (line kinds, cutting planes, hatching), ISO 129-1
//! (dimensions), ISO 5455 (scales), ISO 5457 (frame), ISO 7200 (title block).

mod against;
mod bands;
mod cautions;
mod chart;
mod comparison;
mod contours;
mod data;
mod depths;
mod differences;
mod dimension;
mod diverging;
mod fit;
mod hatch;
mod ink;
mod lay;
mod mapped;
mod marks;
mod notes;
mod notes_block;
#[cfg(test)]
mod overlap;
mod plan;
mod preview;
mod profile_a;
mod record;
mod record_map;
mod record_words;
#[cfg(test)]
mod sample;
mod section;
mod sheet;
mod tables;
mod tint;
mod trim;
mod wearer;

pub use against::{Against, Known, Surface};
pub use chart::chart_svg;
pub use comparison::{ComparedCell, ComparedLine, ComparedRow, ComparedTicket, ComparisonData, comparison_html};
pub use data::{
    Bevel, BootRow, DrawError, DrawnFoot, Height, LaidFoot, Landmarks, LayData, NoteRow, ProgramRow, SheetData,
    ValueRow,
};
pub use differences::{Differences, Extremes, place_words, signed};
pub use mapped::Mapped;
pub use preview::{
    CutterShape, DeskDrawing, DeskPage, DeskWords, FootShape, PreviewData, PreviewFoot, PreviewMove, PreviewProgram,
    desk_drawing, desk_page, desk_words, foot_shape, preview_html,
};
pub use record::{RecordData, record_html};
pub use record_map::RecordMap;
pub use sheet::sheet_html;
pub use trim::trim_svg;
pub use wearer::wearer_html;
