//! Lines of text from instruments that send them unasked.
//!
//! Everything here is pure: bytes and times go in, numbers come out.
//!
//! Promises: a value is given only out of a line that came whole, whose check is
//! right where it has one, and that looks throughout as the settings say; what lay
//! waiting for an unknown time is told from it ([`Freshness`]); no bytes panic; memory is bounded by the longest line; every line dropped is
//! counted ([`LineCounts`]). Refuses: to guess where a line begins, a decimal
//! comma, or a unit.

mod checksum;
mod columns;
mod format;
mod framer;
mod freshness;
mod number;
mod pattern;
mod reader;

pub use checksum::{CheckKind, Checksum, ChecksumError};
pub use columns::Columns;
pub use format::{LineError, LineFormat, Place, Shape, Values};
pub use framer::{Framed, Framer, LONGEST_LINE, LineEnd};
pub use freshness::{Freshness, LOOK_EVERY};
pub use pattern::{Pattern, PatternError};
pub use reader::{LineCounts, LineReader};
