//! The logbook of a period: facts out of readings and journal, drawings, and the
//! page and tables that people read.
//!
//! ```text
//! readings, journal ─▶ facts ─▶ tables ─▶ page (HTML), csv
//!                            └▶ chart (SVG) ─▶ page
//! ```
//!
//! Promises: the same readings and lines of the journal give the same bytes;
//! memory does not grow with the readings; time without a good value is never
//! counted as good; whatever people wrote stays text. Refuses: files, the store,
//! the clock.

pub mod calendar;
pub mod chart;
pub mod csv;
mod escape;
pub mod facts;
pub mod page;
pub mod table;
pub mod tables;
pub mod words;

pub use escape::escape;
