//! The MQTT client library, tamed: the one place that knows `rumqttc`, how it
//! must be set up so that nothing is lost, and that it has two clients, one a
//! protocol version. Used by `ingest` and `notify`, each with a client of its
//! own, since acknowledgements wait behind publishes.
//!
//! Promises, each against something that the library does by itself:
//! - a message larger than allowed never ends in an endless reconnect: with
//!   MQTT 5 the broker skips it (maximum packet size in CONNECT), with 3.1.1 it
//!   is taken and told as [`Event::Oversized`];
//! - the number of messages under way is bounded by us where the protocol lets
//!   us (receive maximum, MQTT 5);
//! - the session lasts (fixed client id, no clean start, expiry);
//! - a lost connection is retried after a pause that grows, with jitter, and
//!   slowly where a person must mend something first;
//! - a connection that ends is told in words, with what to do, and another
//!   client under the same id is recognised.
//!
//! Refuses: topic aliases (the library hands on empty topics), QoS 2.

mod attempts;
mod backoff;
mod client;
mod down;
mod event;
mod topic;
mod v311;
mod v5;

pub use attempts::{Attempts, Retry};
pub use client::{Client, Events, Introduction, Leaving, NoRoom, SessionWish, connect};
pub use down::{Cause, Down};
pub use event::{Event, Message, Reply, Session};
pub use topic::matches;
