//! Pages over HTTP, on the machine itself unless settings say more.
//!
//! Promises:
//! - What is bounded: connections at a time ([`CONNECTIONS`]), the head and the
//!   body of a request ([`LONGEST_BODY`]), the time for each of them, for an
//!   answer, and for a whole connection. Who is cut or turned away is counted,
//!   and told once a minute a kind ([`Mishaps`]).
//! - Every answer, refusals included, tells browsers to keep it nowhere, to put
//!   it into no frame, to guess no type, to tell no other site of it, and to load
//!   and run nothing that its page does not name (`guard.rs`). No page has a
//!   script.
//! - On stop no connection is taken on any more; answers under way have two
//!   seconds.
//! - A thread of its own: a slow page holds up no message and no reading.
//!
//! Refuses: encryption and users (a server in front of it has those), HTTP/2,
//! anything said in a request about where it came from, any page that changes
//! something on GET or HEAD.
//!
//! A page is a file of its own here with `pub fn routes(…) -> Router`, given
//! what it reads, and merged into the others in `daemon/pages.rs`.

pub mod acknowledge;
mod guard;
pub mod health;
mod listen;
pub mod metrics;
mod mishaps;

pub use acknowledge::Acknowledge;
pub use guard::LONGEST_BODY;
pub use health::Health;
pub use listen::{CONNECTIONS, ListenError, Listener};
pub use mishaps::{Mishap, Mishaps};
