//! The one thing that is ever written to a node: the request for a new birth
//! (chapter 5, "Commands").

use crate::units::Timestamp;

use super::metric::field as metric;
use super::payload::field as payload;
use super::topic::NAMESPACE;
use super::wire::{Raw, Writer};

/// The metric that is written.
pub const REBIRTH: &str = "Node Control/Rebirth";

/// Number of the datatype Boolean.
const BOOLEAN: u64 = 11;

/// The topic for commands to a node.
pub(super) fn rebirth_topic(group: &str, node: &str) -> String {
    format!("{NAMESPACE}/{group}/NCMD/{node}")
}

/// The payload: the metric [`REBIRTH`] with the value true. By its name, since
/// nothing may be known of its alias; without `seq`, as commands must be. To be
/// published at quality of service 0, not retained.
pub fn rebirth_payload(now: Timestamp) -> Vec<u8> {
    let millis = u64::try_from(now.millis()).unwrap_or(0);
    let rebirth = Writer::default()
        .put(metric::NAME, Raw::Bytes(REBIRTH.as_bytes()))
        .put(metric::TIMESTAMP, Raw::Varint(millis))
        .put(metric::DATATYPE, Raw::Varint(BOOLEAN))
        .put(metric::BOOLEAN, Raw::Varint(1))
        .finish();
    Writer::default()
        .put(payload::TIMESTAMP, Raw::Varint(millis))
        .put(payload::METRICS, Raw::Bytes(&rebirth))
        .finish()
}
