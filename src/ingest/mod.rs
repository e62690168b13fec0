//! How readings and entries come in.
//!
//! Promises: a message is acknowledged to its broker only once everything in
//! it has been committed, or once it is clear that there is nothing in it to
//! keep; a message that cannot be read is counted against its topic, told at a
//! limited rate, and never stops the stream. Refuses: to wait without bound,
//! to drop anything uncounted.

mod answer;
pub mod control;
pub mod decode;
mod intake;
pub mod mqtt;
mod nodes;
mod recent;
mod refusals;
mod report;
mod router;
pub mod sparkplug;
mod unreadable;
pub mod wired;

pub use answer::{AnswerTo, AnswerTopic, EntryOutcome};
pub use intake::{Ack, Arrived, Batch, Content, Intake, IntakeClosed};
pub use nodes::{Came, NodeError, Nodes};
pub(crate) use recent::fnv1a;
pub use recent::{Recent, Trace};
pub use refusals::{IngestCounters, Refusals};
pub use report::{
    ClockStatus, Counts, MasterStatus, RefusedTopic, Said, SlaveStatus, SourceName, SourceReport,
    SourceStatus, Standing, UnknownTopic, UnreadableTopic, WireStatus,
};
pub use router::{Readings, Route, Router, Target};
pub use unreadable::Unreadable;
