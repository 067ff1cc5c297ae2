//! The live desk: one ticket on a page of its own computer, every value adjustable on its dimension, saved as a new
//! revision. The only door to `axum`, `tokio` and `getrandom`.
//!
//! [`Edits`] is what a person has changed and may take back; [`Desk`] holds it with the designs that follow from it
//! and with what stands on disk; [`serve`] answers the page. Reads and writes no file itself: it is handed a [`Disk`].

mod edits;
mod guard;
mod server;
mod told;
mod work;

pub use edits::Edits;
pub use guard::{Asked, Guard, Verdict};
pub use server::{Address, ServeError, serve};
pub use told::{Ask, State};
pub use work::{Desk, Disk, Refusal, Replace, Seen};
