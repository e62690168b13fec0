//! Sparkplug B as a host that only listens: topics and payloads in, readings
//! out. Pure; time is an argument.
//!
//! After the Eclipse Sparkplug specification 3.0.0 (ISO/IEC 20237:2023),
//! chapters 4 to 6. An *edge node* speaks for itself and its *devices*. Its
//! *birth* says which metrics there are, with name, datatype, value and perhaps
//! a number (*alias*) that stands for the name from then on; *data* follow when
//! something changes; its *death* says that nothing of it holds any more.
//!
//! Promises: no panic on any bytes; memory is bounded by what the channels want
//! and by [`MAX_METRICS`]; an alias is read after the birth that gave it and no
//! other; what cannot be read is named and counted; a value of the past never
//! passes for the present one.
//!
//! Differs from the standard in one thing: it tells hosts to begin each
//! connection with a clean session. Ours is kept, so that a death while we are
//! away still comes; what a kept session cannot bring back, births and data at
//! quality of service 0, is asked for anew.
//!
//! Refuses: to write to a node anything but the request for a new birth, and
//! that not more often than [`REBIRTH_PAUSE`]; to act as the *primary host*,
//! whose state nodes wait for; to guess the name behind an alias.

mod asking;
mod command;
mod host;
mod metric;
mod node;
mod outcome;
mod payload;
mod scope;
#[cfg(test)]
mod tests;
mod topic;
mod value;
mod wanted;
mod wire;

pub use asking::{REBIRTH_PAUSE, REBIRTH_PAUSE_MOST};
pub use command::{REBIRTH, rebirth_payload};
pub use host::{Delivery, Host, Refused};
pub use metric::{Metric, MetricQuality};
pub use outcome::{Counters, Finding, Footing, News, Outcome, Told, Trouble};
pub use payload::{MAX_METRICS, Payload, PayloadError};
pub use topic::{Kind, NAMESPACE, Topic, TopicError};
pub use value::{DataType, Value, ValueError};
