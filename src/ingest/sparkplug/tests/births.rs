//! Births and deaths of nodes and devices, and what aliases mean between them.

use super::say::{aliased, named};
use super::*;

#[test]
fn a_birth_is_a_reading_and_gives_its_aliases() {
    let mut desk = Desk::new();
    assert_eq!(desk.nbirth(7), [reading(LOAD, 0.5, desk.now)]);
    let births = desk.dbirth(1, &brix_and_ph());
    assert_eq!(
        births,
        [reading(BRIX, 8.5, desk.now), reading(PH, 9.2, desk.now)]
    );
    assert_eq!(
        desk.ddata(2, &[aliased(3, 9.1)]),
        [reading(PH, 9.1, desk.now)]
    );
    assert_eq!(
        desk.ndata(3, &[aliased(1, 0.6)]),
        [reading(LOAD, 0.6, desk.now)]
    );
    assert!(!desk.asks() && desk.out.troubles.is_empty());
}

#[test]
fn a_birth_takes_the_aliases_of_the_one_before() {
    let mut desk = Desk::born();
    desk.nbirth(8);
    assert_eq!(desk.ddata(1, &[aliased(2, 8.0)]), []);
    assert!(desk.asks(), "the device is not born yet");
    desk.dbirth(
        2,
        &[named("Fluid/pH", 9.0).alias(2), named("Fluid/Brix", 8.1)],
    );
    assert_eq!(
        desk.ddata(3, &[aliased(2, 8.9)]),
        [reading(PH, 8.9, desk.now)]
    );
    assert_eq!(desk.ddata(4, &[aliased(3, 8.9)]), []);
    assert_eq!(desk.host.counters().unknown_alias, 1);
}

#[test]
fn the_aliases_of_one_device_are_not_those_of_another() {
    let mut desk = Desk::born();
    assert_eq!(desk.ndata(2, &[aliased(2, 8.0)]), []);
    assert_eq!(
        desk.troubles(),
        "alias 2 is not in the birth; a new birth is wanted"
    );
    assert!(desk.asks());
}

#[test]
fn an_alias_of_two_metrics_stands_for_neither() {
    let mut desk = Desk::new();
    desk.nbirth(7);
    desk.dbirth(
        1,
        &[
            named("Fluid/Brix", 8.5).alias(2),
            named("Fluid/pH", 9.2).alias(2),
        ],
    );
    assert!(desk.troubles().contains("alias 2 is given to two metrics"));
    assert_eq!(desk.ddata(2, &[aliased(2, 8.0)]), []);
    assert!(!desk.asks(), "a new birth would be the same");
    let by_name = desk.ddata(3, &[named("Fluid/Brix", 8.0)]);
    assert_eq!(by_name, [reading(BRIX, 8.0, desk.now)]);
    assert_eq!(desk.host.counters().alias_twice, 2);
}

#[test]
fn a_wanted_metric_that_the_birth_lacks_is_gone_and_told() {
    let mut desk = Desk::new();
    desk.nbirth(7);
    let births = desk.dbirth(1, &brix_and_ph()[..1]);
    assert_eq!(births, [reading(BRIX, 8.5, desk.now), gone(PH, desk.now)]);
    assert!(desk.troubles().contains("\"Fluid/pH\" is not in the birth"));
    assert_eq!(desk.host.counters().not_in_birth, 1);
}

#[test]
fn before_a_birth_names_are_used_and_aliases_are_not() {
    let mut desk = Desk::new();
    let found = desk.ddata(9, &[aliased(2, 1.0), named("Fluid/pH", 9.3)]);
    assert_eq!(found, [reading(PH, 9.3, desk.now)]);
    assert!(desk.asks());
    assert_eq!(desk.host.counters().before_birth, 1);
    assert_eq!(
        desk.host.counters().gaps,
        0,
        "there is nothing to follow yet"
    );
}

#[test]
fn a_device_born_before_its_node_is_read_by_name() {
    let mut desk = Desk::new();
    let births = desk.dbirth(4, &brix_and_ph());
    assert_eq!(
        births,
        [reading(BRIX, 8.5, desk.now), reading(PH, 9.2, desk.now)]
    );
    assert!(desk.asks());
    assert_eq!(desk.ddata(5, &[aliased(2, 8.0)]), []);
}

#[test]
fn the_death_of_a_node_takes_its_devices_along() {
    let mut desk = Desk::born();
    desk.now += 5000;
    let all = [
        gone(LOAD, T0 + 5000),
        gone(BRIX, T0 + 5000),
        gone(PH, T0 + 5000),
    ];
    assert_eq!(
        desk.ndeath(7),
        all,
        "at its arrival, not at the time of the will"
    );
    assert_eq!(desk.ddata(2, &[aliased(2, 8.0)]), []);
    assert!(desk.asks());
}

#[test]
fn a_node_dies_no_earlier_than_its_newest_value() {
    let mut desk = Desk::born();
    desk.ddata(2, &[aliased(2, 8.0).at(T0 + 700)]);
    desk.ddata(3, &[aliased(3, 9.0).at(T0 + 9000).historical()]);
    assert_eq!(desk.ndeath(7)[BRIX], gone(BRIX, T0 + 700));
}

#[test]
fn a_death_that_is_not_of_the_birth_is_ignored() {
    let mut desk = Desk::born();
    assert_eq!(
        desk.ndeath(6),
        [],
        "the will of the connection before, late"
    );
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
    assert_eq!(desk.ndeath(7).len(), 3);
    assert_eq!(
        desk.ndeath(7),
        [],
        "the will after the death that was announced"
    );
    assert_eq!(desk.host.counters().other_deaths, 2);
}

#[test]
fn a_node_without_bd_seq_dies_by_a_death_without_it() {
    let mut desk = Desk::new();
    desk.say("NBIRTH", None, &payload(Some(T0), Some(0), &[]));
    assert_eq!(desk.ndeath(0), []);
    let without = payload(None, None, &[]);
    assert_eq!(desk.say("NDEATH", None, &without).len(), 3);
}

#[test]
fn a_device_dies_alone_at_the_time_it_says() {
    let mut desk = Desk::born();
    let births = payload(Some(T0 + 100), Some(2), &[]);
    desk.now += 9000;
    let died = desk.say("DDEATH", Some("tank"), &births);
    assert_eq!(died, [gone(BRIX, T0 + 100), gone(PH, T0 + 100)]);
    assert_eq!(
        desk.ndata(3, &[aliased(1, 0.6)]),
        [reading(LOAD, 0.6, desk.now)]
    );
    assert!(!desk.asks());
    assert_eq!(desk.ddata(4, &[aliased(2, 8.0)]), []);
    assert!(desk.asks());
}

#[test]
fn an_unwanted_metric_is_not_an_unknown_one() {
    let mut desk = Desk::new();
    desk.nbirth(7);
    let [brix, ph] = brix_and_ph();
    desk.dbirth(1, &[brix, named("Fluid/Odour", 1.0).alias(9), ph]);
    assert_eq!(desk.ddata(2, &[aliased(9, 2.0)]), []);
    assert!(!desk.asks() && desk.out.troubles.is_empty());
}
