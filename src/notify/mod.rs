//! Messages to people, and the state that others may show.
//!
//! Promises: a message is made in the same transaction as the journal line it
//! tells of, waits in the store's outbox, and leaves it only when the broker
//! has confirmed it; a restart or a broker that is away delays it and loses
//! nothing. A receiver may get a message twice and tells so by its `id` and
//! `state`. Refuses: to invent words that the engine did not decide.

mod compose;
mod mqtt;
mod texts;
mod under_way;

pub use compose::Composer;
pub use mqtt::{Publisher, PublisherCounters};
pub use texts::{About, Reader, TextMistake, Texts, TextsError};
