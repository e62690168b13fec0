//! The MQTT client library, tamed: the one place that knows how `rumqttc` must
//! be set up so that nothing is lost. Used by `ingest` and `notify`, each with
//! a client of its own, since acknowledgements wait behind publishes.
//!
//! Promises, each against something that the library does by itself:
//! - a message larger than allowed is skipped by the broker, not met with an
//!   endless reconnect (maximum packet size in CONNECT);
//! - the number of messages under way is bounded by us (receive maximum);
//! - the session lasts (fixed client id, no clean start, expiry);
//! - a lost connection is retried after a pause that grows, with jitter;
//! - errors are told in words, with what to do.
//!
//! Refuses: topic aliases (the library hands on empty topics), QoS 2.

mod backoff;
mod options;
mod topic;
mod words;

pub use backoff::Backoff;
pub use options::{OptionsError, options};
pub use topic::matches;
pub use words::{explain, explain_refusal};
