//! From the store to servers that take line protocol as InfluxDB v2 does.
//!
//! Promises:
//! - The store is the queue: each target has a cursor there for values and one for
//!   the journal, moved once the server has taken what was sent. A kill at any
//!   instant sends at most one batch twice, to the same points.
//! - Values of a series go in the order of time; what came in behind a cursor
//!   (late readings, imported history) follows once the target has caught up.
//! - A server that is away costs nothing but time; targets do not know of each
//!   other, and none keeps the store's writer or the engine waiting.
//! - A line that a server will not take goes into a file with the server's words,
//!   counted; the lines beside it arrive.
//! - Only floats, only finite ones, at milliseconds; tags only from the settings.
//!
//! Refuses: to send secrets in the clear into a log or file, to follow redirects, to
//! give up a line because of an answer that is not about lines.
//!
//! ```text
//! store ─ feed ─▶ lines ─ division ─▶ server ─ answer ─▶ again, halves, dead letter, or the cursor moves
//! ```

mod ahead;
mod answer;
mod back_off;
mod dead_letters;
mod division;
mod feed;
mod journal_points;
mod line;
mod lines;
mod report;
mod server;
mod target;
mod value_points;

pub use feed::FeedError;
pub use lines::Lines;
pub use report::{LastError, Stand, TargetCounts, TargetReport, TargetStatus};
pub use server::{Server, ServerError};
pub use target::Target;
pub use value_points::ValuePoints;
