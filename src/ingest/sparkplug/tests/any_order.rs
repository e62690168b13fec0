//! Any bytes and any order of messages.

use std::collections::HashMap;

use proptest::prelude::*;

use super::say::{aliased, named};
use super::*;

/// What a node may do, in any order.
#[derive(Debug, Clone, Copy)]
enum Act {
    NodeBirth {
        number: u64,
    },
    /// The aliases of brix and pH, from few, so that they often change places.
    DeviceBirth {
        brix: u64,
        ph: u64,
    },
    DeviceData {
        alias: u64,
        lost: bool,
        again: bool,
    },
    NodeDeath {
        number: u64,
        again: bool,
    },
    DeviceDeath,
    LinkLost,
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0..3u64).prop_map(|number| Act::NodeBirth { number }),
        (1..4u64, 1..4u64).prop_map(|(brix, ph)| Act::DeviceBirth { brix, ph }),
        (1..4u64, any::<bool>(), any::<bool>()).prop_map(|(alias, lost, again)| Act::DeviceData {
            alias,
            lost,
            again
        }),
        (0..3u64, any::<bool>()).prop_map(|(number, again)| Act::NodeDeath { number, again }),
        Just(Act::DeviceDeath),
        Just(Act::LinkLost),
    ]
}

/// What the aliases of the device mean, kept independently of the host.
#[derive(Debug, Default)]
struct Truth {
    node_born: bool,
    aliases: HashMap<u64, usize>,
}

proptest! {
    #[test]
    fn an_alias_is_read_by_the_current_birth_or_not_at_all(acts in prop::collection::vec(act(), 0..60)) {
        let mut desk = Desk::new();
        let mut truth = Truth::default();
        let mut seq = 0u64;
        for act in acts {
            desk.now += 1000;
            desk.delivery = Delivery::First;
            match act {
                Act::NodeBirth { number } => {
                    desk.nbirth(number);
                    truth = Truth { node_born: true, ..Truth::default() };
                    seq = 1;
                }
                Act::DeviceBirth { brix, ph } => {
                    desk.dbirth(seq, &[named("Fluid/Brix", 8.5).alias(brix), named("Fluid/pH", 9.2).alias(ph)]);
                    seq = (seq + 1) % 256;
                    if truth.node_born {
                        truth.aliases.clear();
                        if brix != ph {
                            truth.aliases.extend([(brix, BRIX), (ph, PH)]);
                        }
                    }
                }
                Act::DeviceData { alias, lost, again } => {
                    seq = (seq + u64::from(lost)) % 256;
                    if again {
                        desk.delivery = Delivery::Again;
                    }
                    let found = desk.ddata(seq, &[aliased(alias, 1.0)]);
                    seq = (seq + u64::from(!again)) % 256;
                    let places: Vec<usize> = found.iter().map(|finding| finding.metric).collect();
                    let meant: Vec<usize> = truth.aliases.get(&alias).copied().into_iter().collect();
                    if truth.node_born {
                        prop_assert_eq!(places, meant);
                    } else if again {
                        // Sent later than the birth, and so perhaps under it.
                        prop_assert!(places.is_empty() || places == meant);
                    } else {
                        prop_assert_eq!(places, [] as [usize; 0]);
                        prop_assert!(found.is_empty());
                    }
                }
                Act::NodeDeath { number, again } => {
                    if again {
                        desk.delivery = Delivery::Again;
                    }
                    let found = desk.ndeath(number);
                    prop_assert!(found.is_empty() || found.len() == 3);
                    truth.node_born &= found.is_empty();
                }
                Act::DeviceDeath => {
                    let found = desk.ddeath(seq);
                    seq = (seq + 1) % 256;
                    prop_assert_eq!(found.len(), 2);
                    truth.aliases.clear();
                }
                Act::LinkLost => {
                    desk.host.link_lost();
                    truth.node_born = false;
                }
            }
        }
    }

    #[test]
    fn a_birth_is_asked_for_no_oftener_than_allowed(pauses in prop::collection::vec(0..60_000u64, 1..100)) {
        let mut desk = Desk::new();
        let mut asked: Option<u64> = None;
        for pause in pauses {
            desk.now += pause;
            desk.ddata(0, &[aliased(2, 8.0)]);
            if desk.asks() {
                let since = asked.map_or(u64::MAX, |at| desk.now - at);
                prop_assert!(since >= REBIRTH_PAUSE.millis() as u64);
                asked = Some(desk.now);
            }
        }
        prop_assert!(asked.is_some());
    }

    #[test]
    fn no_bytes_panic(
        bytes in prop::collection::vec(any::<u8>(), 0..200),
        topic in prop_oneof![
            Just("spBv1.0/Hall 3/NBIRTH/gateway-1"),
            Just("spBv1.0/Hall 3/DBIRTH/gateway-1/tank"),
            Just("spBv1.0/Hall 3/DDATA/gateway-1/tank"),
            Just("spBv1.0/Hall 3/NDEATH/gateway-1"),
        ],
    ) {
        let mut desk = Desk::born();
        let now = desk.now();
        let _ = desk.host.handle(topic, &bytes, now, Delivery::First, &mut desk.out);
    }

    #[test]
    fn no_change_to_a_good_payload_panics(
        place in any::<prop::sample::Index>(), byte in any::<u8>(), cut in any::<prop::sample::Index>(),
    ) {
        let mut desk = Desk::born();
        let metrics = [
            named("Fluid/Brix", 8.0).alias(2).at(T0).quality(0).bytes(),
            aliased(3, 9.0).historical().bytes(),
        ];
        let mut bytes = payload(Some(T0), Some(2), &metrics);
        let len = bytes.len();
        bytes[place.index(len)] = byte;
        bytes.truncate(len - cut.index(len));
        let now = desk.now();
        for kind in ["DDATA", "DBIRTH"] {
            let topic = format!("spBv1.0/Hall 3/{kind}/gateway-1/tank");
            let _ = desk.host.handle(&topic, &bytes, now, Delivery::First, &mut desk.out);
            prop_assert!(desk.out.findings.len() <= 4);
        }
    }
}
