//! Chemistry of the mix: refractometry.
//!
//! Promises: a concentration is never below 0; each formula and table names
//! its source; a table is only read between rows that were published.
//! Refuses: charts that do not rise, and readings outside a table's range. It
//! does not correct an emulsion for temperature by a table made for sucrose:
//! that table is there for sugar solutions and for checking instruments.

mod refractometry;
mod sucrose;

pub use refractometry::{Chart, ChartError};
pub use sucrose::{SucroseError, at_20_celsius, brix_from_index, index_from_brix};
