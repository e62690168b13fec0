//! The order of messages: gaps, redeliveries, lost connections, and when a
//! birth is asked for.

use super::say::{aliased, named};
use super::*;

#[test]
fn seq_goes_round_from_255_to_0() {
    let mut desk = Desk::born();
    for n in 2..1000 {
        let found = desk.ddata(n % 256, &[aliased(2, 8.0)]);
        assert_eq!(found, [reading(BRIX, 8.0, desk.now)]);
        assert!(!desk.asks(), "{n}");
    }
    assert_eq!(desk.host.counters().gaps, 0);
}

#[test]
fn after_a_gap_a_birth_is_wanted_and_aliases_are_doubtful_until_then() {
    let mut desk = Desk::born();
    let found = desk.ddata(3, &[aliased(2, 8.0), named("Fluid/pH", 9.0)]);
    assert_eq!(
        found,
        [
            after_gap(reading(BRIX, 8.0, desk.now)),
            reading(PH, 9.0, desk.now)
        ]
    );
    assert!(desk.asks());
    let found = desk.ddata(4, &[aliased(2, 8.1)]);
    assert_eq!(found, [after_gap(reading(BRIX, 8.1, desk.now))]);
    assert_eq!(desk.host.counters().gaps, 1, "one gap, not one a message");
    desk.now += 1000;
    desk.nbirth(7);
    desk.dbirth(1, &brix_and_ph());
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.2)]),
        [reading(BRIX, 8.2, desk.now)]
    );
    assert!(!desk.asks());
}

#[test]
fn devices_that_nobody_wants_count_in_seq() {
    let mut desk = Desk::born();
    let other = payload(Some(T0), Some(2), &[aliased(2, 1.0).bytes()]);
    assert_eq!(desk.say("DDATA", Some("coolant pump"), &other), []);
    assert!(!desk.asks());
    assert_eq!(
        desk.ddata(3, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
    desk.say("DDATA", Some("coolant pump"), &other);
    assert_eq!(desk.host.counters().gaps, 1);
}

#[test]
fn a_message_without_seq_is_no_gap() {
    let mut desk = Desk::born();
    let bytes = payload(Some(T0 + 1), None, &[aliased(2, 8.0).bytes()]);
    let found = desk.say("DDATA", Some("tank"), &bytes);
    assert_eq!(found, [reading(BRIX, 8.0, T0 + 1)]);
    desk.now += 1;
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.1)]),
        [reading(BRIX, 8.1, desk.now)]
    );
    assert_eq!(desk.host.counters().gaps, 0);
}

#[test]
fn commands_and_other_hosts_come_to_nothing() {
    let mut desk = Desk::born();
    let command = rebirth_payload(desk.now());
    assert_eq!(desk.say("NCMD", None, &command), []);
    assert_eq!(desk.say("DCMD", Some("tank"), &command), []);
    let now = desk.now();
    let state = (b"{\"online\":true}", "spBv1.0/STATE/host-1");
    let handled = desk
        .host
        .handle(state.1, state.0, now, Delivery::First, &mut desk.out);
    assert_eq!(handled, Ok(None));
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
    assert_eq!(desk.host.counters(), Counters::default());
}

#[test]
fn a_redelivery_is_no_gap_and_gives_its_values_again() {
    let mut desk = Desk::born();
    desk.ddata(2, &[aliased(2, 8.0)]);
    desk.ddata(3, &[aliased(2, 8.1)]);
    desk.delivery = Delivery::Again;
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
    desk.delivery = Delivery::First;
    assert_eq!(
        desk.ddata(4, &[aliased(2, 8.2)]),
        [reading(BRIX, 8.2, desk.now)]
    );
    assert_eq!(desk.host.counters(), Counters::default());
    assert!(!desk.asks());
}

#[test]
fn a_redelivery_of_before_the_birth_is_not_read_by_its_aliases() {
    let mut desk = Desk::born();
    desk.now += 60_000;
    desk.nbirth(8);
    desk.dbirth(
        1,
        &[
            named("Fluid/pH", 9.0).alias(2),
            named("Fluid/Brix", 8.1).alias(3),
        ],
    );
    desk.delivery = Delivery::Again;
    desk.now = T0 + 1000;
    let found = desk.ddata(2, &[aliased(2, 8.0), named("Fluid/Brix", 8.3)]);
    assert_eq!(found, [reading(BRIX, 8.3, T0 + 1000)]);
    assert_eq!(
        desk.ddeath(3),
        [],
        "nor is the device dead that was born since"
    );
    assert_eq!(desk.host.counters().older_birth, 1);
    assert!(!desk.asks());
}

#[test]
fn after_a_lost_connection_only_redeliveries_are_read_by_alias() {
    let mut desk = Desk::born();
    desk.host.link_lost();
    desk.delivery = Delivery::Again;
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
    desk.delivery = Delivery::First;
    assert_eq!(desk.ddata(3, &[aliased(2, 8.0)]), []);
    assert!(desk.asks());
    assert_eq!(desk.host.counters().gaps, 0, "nobody listened");
}

#[test]
fn a_death_that_comes_again_kills_no_node_born_since() {
    let mut desk = Desk::born();
    desk.ndeath(7);
    desk.nbirth(8);
    desk.host.link_lost();
    desk.delivery = Delivery::Again;
    assert_eq!(desk.ndeath(7), []);
    assert_eq!(desk.ndeath(8).len(), 3);
}

#[test]
fn a_death_after_births_may_have_been_missed_counts() {
    let mut desk = Desk::born();
    desk.host.link_lost();
    assert_eq!(desk.ndeath(9).len(), 3);
    let mut fresh = Desk::new();
    fresh.delivery = Delivery::Again;
    assert_eq!(fresh.ndeath(3).len(), 3, "after a start nothing is known");
}

#[test]
fn each_node_without_a_birth_is_asked_when_a_connection_stands() {
    let mut desk = Desk::new();
    let now = desk.now();
    assert_eq!(desk.host.linked(now), [0]);
    assert_eq!(desk.host.rebirth_topic(0), "spBv1.0/Hall 3/NCMD/gateway-1");
    desk.ddata(5, &[aliased(2, 8.0)]);
    assert!(!desk.asks(), "it was asked a moment ago");
    desk.now += REBIRTH_PAUSE.millis() as u64;
    desk.ddata(6, &[aliased(2, 8.0)]);
    assert!(desk.asks());
    desk.nbirth(7);
    let now = desk.now();
    assert_eq!(desk.host.linked(now), [] as [usize; 0]);
    desk.host.link_lost();
    assert_eq!(desk.host.linked(now), [0]);
}

#[test]
fn every_message_of_the_nodes_is_subscribed_to() {
    let desk = Desk::new();
    let filters: Vec<String> = desk.host.subscriptions().collect();
    assert_eq!(
        filters,
        ["spBv1.0/Hall 3/+/gateway-1", "spBv1.0/Hall 3/+/gateway-1/+"]
    );
}
