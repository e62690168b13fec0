//! An edge node: its births and deaths, the order of its messages, and when to
//! ask for a new birth.
//!
//! Messages come over one MQTT connection, on which a broker keeps the order of
//! what a node published with the same quality of service, and data and births
//! all have the same. So a gap in `seq` is a loss at once, without the *reorder
//! timeout* that the standard has for clustered brokers. Deaths have another
//! quality of service and may be overtaken; `bdSeq` tells whose they are.

use std::collections::HashMap;

use super::asking::Asking;
use super::host::Delivery;
use super::outcome::Footing;
use super::payload::Payload;
use super::scope::Scope;
use super::topic::{Kind, Topic};
use super::value::Carried;
use super::wanted::Desk;

/// Metric of NBIRTH and NDEATH that tells which belong together.
const BD_SEQ: &str = "bdSeq";

/// What is known of the node's connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    /// Nothing: births and deaths may have been missed.
    Unknown,
    /// It was born and has not died since.
    Born {
        /// The `seq` of its next message.
        next: u8,
    },
    /// It died and was not born since.
    Dead,
}

/// One node.
#[derive(Debug)]
pub(super) struct Node {
    pub(super) group: Box<str>,
    pub(super) name: Box<str>,
    own: Scope,
    devices: HashMap<Box<str>, Scope>,
    standing: Standing,
    /// Of the latest birth, where there was one and it had a number.
    bd_seq: Option<u64>,
    /// Whether messages were lost since the latest birth.
    footing: Footing,
    pub(super) asking: Asking,
}

impl Node {
    pub(super) fn new(group: &str, name: &str) -> Self {
        Node {
            group: group.into(),
            name: name.into(),
            own: Scope::default(),
            devices: HashMap::new(),
            standing: Standing::Unknown,
            bd_seq: None,
            footing: Footing::Certain,
            asking: Asking::default(),
        }
    }

    /// The metrics of the node itself or of a device, made where there are
    /// none yet.
    pub(super) fn scope_mut(&mut self, device: Option<&str>) -> &mut Scope {
        match device {
            None => &mut self.own,
            Some(device) => self.devices.entry(device.into()).or_default(),
        }
    }

    /// The connection to the broker was lost, and perhaps births with it. The
    /// aliases are kept for what is delivered again.
    pub(super) fn link_lost(&mut self) {
        if let Standing::Born { .. } = self.standing {
            self.standing = Standing::Unknown;
        }
    }

    /// Whether a birth is known that has not been followed by a death.
    pub(super) fn is_born(&self) -> bool {
        matches!(self.standing, Standing::Born { .. })
    }

    /// Whether it is known of the node, or of this device of it, that it was
    /// born or that the node died.
    pub(super) fn is_known(&self, device: Option<&str>) -> bool {
        match self.standing {
            Standing::Unknown => false,
            Standing::Dead => true,
            Standing::Born { .. } => self.known(device).is_some_and(Scope::is_born),
        }
    }

    /// Takes in one message; says whether a new birth is wanted.
    pub(super) fn handle(
        &mut self,
        topic: &Topic<'_>,
        payload: &Payload<'_>,
        desk: &mut Desk<'_>,
    ) -> bool {
        let understood = match (topic.kind, topic.device, desk.delivery) {
            (Kind::Command, ..) => return false,
            (Kind::Death, None, _) => {
                self.death(payload, desk);
                return false;
            }
            (_, _, Delivery::Again) => {
                self.again(topic, payload, desk);
                return false;
            }
            (Kind::Birth, None, _) => {
                self.birth(payload, desk);
                true
            }
            (Kind::Birth, Some(device), _) => self.device_birth(device, payload, desk),
            (Kind::Death, Some(device), _) => self.device_death(device, payload, desk),
            (Kind::Data, device, _) => self.data(device, payload, desk),
        };
        !understood
    }

    fn birth(&mut self, payload: &Payload<'_>, desk: &mut Desk<'_>) {
        self.bd_seq = bd_seq(payload);
        self.standing = Standing::Born {
            next: payload.seq.unwrap_or(0).wrapping_add(1),
        };
        self.footing = Footing::Certain;
        self.devices.values_mut().for_each(Scope::forget);
        self.own.birth(payload, desk);
    }

    /// A node's death. The time in it is of no use, since a will is written
    /// when the connection is made (chapter 5, "Edge Node Session
    /// Establishment"): the node died when it came.
    fn death(&mut self, payload: &Payload<'_>, desk: &mut Desk<'_>) {
        let of_birth = bd_seq(payload) == self.bd_seq;
        let counts = match (self.standing, desk.delivery) {
            (Standing::Born { .. }, _) => of_birth,
            // Births may have been missed, and it may be of one of them; not
            // so when it is delivered again.
            (Standing::Unknown, Delivery::First) => true,
            (Standing::Unknown, Delivery::Again) => of_birth || self.bd_seq.is_none(),
            (Standing::Dead, _) => false,
        };
        if !counts {
            desk.counters.other_deaths += 1;
            return;
        }
        self.standing = Standing::Dead;
        for scope in std::iter::once(&self.own).chain(self.devices.values()) {
            scope.gone(desk.arrival, desk);
        }
    }

    fn device_birth(&mut self, device: &str, payload: &Payload<'_>, desk: &mut Desk<'_>) -> bool {
        let in_order = self.follow(payload.seq, desk);
        let born = self.is_born();
        if let Some(scope) = self.devices.get_mut(device) {
            if born {
                scope.birth(payload, desk);
            } else {
                // The node's birth was missed; the names say what is what.
                scope.data(payload, None, desk);
            }
        }
        in_order
    }

    fn device_death(&mut self, device: &str, payload: &Payload<'_>, desk: &mut Desk<'_>) -> bool {
        let in_order = self.follow(payload.seq, desk);
        if let Some(scope) = self.devices.get_mut(device) {
            scope.forget();
            scope.gone(payload.time.unwrap_or(desk.arrival), desk);
        }
        in_order
    }

    fn data(&mut self, device: Option<&str>, payload: &Payload<'_>, desk: &mut Desk<'_>) -> bool {
        let in_order = self.follow(payload.seq, desk);
        let (node_born, footing) = (self.is_born(), self.footing);
        let Some(scope) = self.known_mut(device) else {
            return in_order;
        };
        let born = node_born && scope.is_born();
        let understood = scope.data(payload, born.then_some(footing), desk);
        understood && born && in_order
    }

    /// A message other than a node's death, delivered again. It is no gap, and
    /// it changes nothing of births and order; its values are used, since their
    /// first delivery may not have come through.
    fn again(&mut self, topic: &Topic<'_>, payload: &Payload<'_>, desk: &mut Desk<'_>) {
        let footing = self.footing;
        let Some(scope) = self.known_mut(topic.device) else {
            return;
        };
        let covered = scope.covers(payload.time);
        if topic.kind != Kind::Death {
            scope.data(payload, covered.then_some(footing), desk);
        } else if covered {
            scope.gone(payload.time.unwrap_or(desk.arrival), desk);
        } else {
            desk.counters.older_birth += 1;
        }
    }

    fn known(&self, device: Option<&str>) -> Option<&Scope> {
        match device {
            None => Some(&self.own),
            Some(device) => self.devices.get(device),
        }
    }

    fn known_mut(&mut self, device: Option<&str>) -> Option<&mut Scope> {
        match device {
            None => Some(&mut self.own),
            Some(device) => self.devices.get_mut(device),
        }
    }

    /// Follows `seq` from message to message; says whether nothing is missing
    /// since the birth. A message without it cannot be judged.
    fn follow(&mut self, seq: Option<u8>, desk: &mut Desk<'_>) -> bool {
        let Standing::Born { next } = &mut self.standing else {
            return false;
        };
        if let Some(seq) = seq {
            if seq != *next {
                desk.counters.gaps += 1;
                self.footing = Footing::AfterGap;
            }
            *next = seq.wrapping_add(1);
        }
        self.footing == Footing::Certain
    }
}

/// The number that connects births with deaths.
fn bd_seq(payload: &Payload<'_>) -> Option<u64> {
    let metric = payload
        .metrics
        .iter()
        .find(|metric| metric.name == Some(BD_SEQ))?;
    match metric.value? {
        Carried::Int(value) => Some(u64::from(value)),
        Carried::Long(value) => Some(value),
        _ => None,
    }
}
