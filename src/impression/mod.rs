//! Scans of feet and of moulds: the foot found in any pose and unit, its landmarks and measures with what they
//! may be off by, and the heights of its sole for a footbed to follow. Knows no files.
//!
//! What is measured is a foot as it was scanned: how it was loaded is for whoever scanned it to say.

mod follow;
mod likeness;
mod readings;
mod rest;
mod search;
mod sole;
mod stand;
mod take;

pub use follow::{FollowError, Followed, Shares, Wanted, ZoneFit, follow, loading_word, measures_file};
pub use readings::{ARCH_LINE, CONTACT_MM};
pub use take::{Asked, Fault, Impression, Kind, Landmark, Measure, take};
