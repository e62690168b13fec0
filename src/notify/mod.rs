//! Messages to people, and the state that others may show.
//!
//! Promises: a message is made in the same transaction as the journal line it
//! tells of, waits in the store's outbox, and leaves it only when the broker
//! has confirmed it; each receiver of mail and webhooks has an order of its own,
//! and one that takes nothing holds up nobody else; a restart or a broker that is away delays it and loses
//! nothing. A receiver may get a message twice and tells so by its `id` and
//! `state`. Refuses: to invent words that the engine did not decide.

pub mod away;
mod closing;
mod compose;
mod delivery;
mod dialogue;
mod digest;
mod escalation;
pub mod flood;
pub mod link;
mod mime;
mod mqtt;
mod post;
mod sender;
mod smtp;
mod texts;
mod under_way;
mod webhook;

pub use compose::Composer;
pub use delivery::Undelivered;
pub use dialogue::Dialogue;
pub use digest::{
    Digest, DigestDue, Doses, Open as OpenAdvice, Raised, Standing, Stock, day_of, digest_due,
};
pub use escalation::{Outcome, Unreadable, happen};
pub use link::{LinkKeyError, Links};
pub use mqtt::{Publisher, PublisherCounters};
pub use post::{Note, Post, Road};
pub use sender::{Address, Sender, SenderCounters};
pub use texts::{About, Reader, Texts};
