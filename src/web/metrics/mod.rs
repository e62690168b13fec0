//! `/metrics`: the plant's values and the daemon's own, as OpenMetrics text.
//!
//! ```text
//! shards ─ lay figures on ─▶ Board ┐
//! sources, store, outbox … ────────┴▶ Gather ─▶ Scrape ─▶ text ─▶ whoever asked
//! ```
//!
//! Promises: a scrape holds up neither engine nor store: the shards lay their
//! figures down between two batches, and only once somebody has asked; the rest
//! is counters and one short query. A scrape is answered within bounded time,
//! with what is there by then, and for a second it is the same. Its size is
//! bounded: sumps beyond the limit are left out whole, in the order of the
//! settings, and counted. Names follow OpenMetrics: base units, `_total`, `_info`.
//! Refuses: labels whose values have no bound.

mod accept;
mod board;
mod daemon;
mod family;
mod figures;
mod gather;
mod plant;
mod routes;
#[cfg(test)]
mod tests;
mod text;

pub use accept::Format;
pub use board::{Board, Laid};
pub use figures::{
    DaemonFigures, ForwardFigures, MessageFigures, OutboxFigures, Scrape, ShardFigures,
    SourceFigures, StoreFigures,
};
pub use gather::{Gather, Observed};
pub use routes::routes;
pub use text::{Exposition, expose};
