//! What the metrics of a message say.

use super::say::{aliased, named};
use super::*;

#[test]
fn a_value_stands_at_its_own_time_else_at_that_of_the_message() {
    let mut desk = Desk::born();
    desk.now += 2000;
    let found = desk.ddata(2, &[aliased(2, 8.0).at(T0 + 500), aliased(2, 8.1)]);
    assert_eq!(
        found,
        [reading(BRIX, 8.0, T0 + 500), reading(BRIX, 8.1, desk.now)]
    );
    let untimed = payload(None, Some(3), &[aliased(2, 8.0).bytes()]);
    let found = desk.say("DDATA", Some("tank"), &untimed);
    assert!(matches!(found[0].news, News::Reading { time: None, .. }));
}

#[test]
fn a_birth_says_what_is_so_when_it_is_sent() {
    let mut desk = Desk::born();
    desk.now += 60_000;
    desk.nbirth(7);
    let [brix, ph] = brix_and_ph();
    let births = desk.dbirth(1, &[brix.at(T0 - 3_600_000), ph.at(T0).null()]);
    assert_eq!(
        births,
        [reading(BRIX, 8.5, T0 + 60_000), gone(PH, T0 + 60_000)]
    );
}

#[test]
fn what_was_taken_before_a_birth_and_sent_after_it_is_so_after_it() {
    let mut desk = Desk::new();
    desk.nbirth(7);
    desk.now += 1000;
    let [brix, ph] = brix_and_ph();
    let births = desk.dbirth(1, &[brix.at(T0), ph.at(T0 + 1000)]);
    assert_eq!(births[0], reading(BRIX, 8.5, T0 + 1000));
    let after = |tick| T0 + 1000 + tick;
    let found = desk.ddata(2, &[aliased(2, 8.4).at(T0 + 900)]);
    assert_eq!(found, [reading(BRIX, 8.4, after(1))]);
    let found = desk.ddata(3, &[aliased(2, 8.3).at(after(1))]);
    assert_eq!(found, [reading(BRIX, 8.3, after(2))]);
    let found = desk.ddata(4, &[aliased(2, 8.3).at(after(1))]);
    assert_eq!(found, [reading(BRIX, 8.3, after(2))], "the same once more");
    let found = desk.ddata(5, &[aliased(2, 8.3).at(after(1)).null()]);
    assert_eq!(found, [gone(BRIX, after(3))]);
    let found = desk.ddata(6, &[aliased(3, 9.0).at(after(0)), aliased(3, 9.1).at(T0)]);
    assert_eq!(found[0], reading(PH, 9.0, after(1)), "in the same instant");
    assert_eq!(
        found[1],
        reading(PH, 9.1, T0),
        "by a clock that was set back"
    );
    desk.now = T0 + 1000;
    assert_eq!(
        desk.ddeath(7)[..],
        [gone(BRIX, after(3)), gone(PH, after(1))]
    );
}

#[test]
fn a_time_beyond_all_times_does_not_wrap() {
    let mut desk = Desk::born();
    let found = desk.ddata(2, &[aliased(2, 8.0).at(u64::MAX)]);
    assert_eq!(found, [reading(BRIX, 8.0, Timestamp::MAX.millis() as u64)]);
}

#[test]
fn null_and_stale_are_no_values() {
    let mut desk = Desk::born();
    let found = desk.ddata(2, &[aliased(2, 8.0).at(T0 + 10).null()]);
    assert_eq!(found, [gone(BRIX, T0 + 10)]);
    let found = desk.ddata(3, &[aliased(2, 8.0).at(T0 + 20).quality(500)]);
    assert_eq!(found, [gone(BRIX, T0 + 20)]);
}

#[test]
fn what_is_not_good_is_bad() {
    let mut desk = Desk::born();
    for (code, wanted) in [
        (192, MetricQuality::Good),
        (0, MetricQuality::Bad),
        (64, MetricQuality::Bad),
    ] {
        desk.delivery = Delivery::Again;
        let found = desk.ddata(2, &[aliased(2, 8.0).quality(code)]);
        let News::Reading { quality, .. } = found[0].news else {
            panic!("{found:?}")
        };
        assert_eq!(quality, wanted, "{code}");
    }
}

#[test]
fn the_past_has_a_time_of_its_own_and_says_nothing_of_now() {
    let mut desk = Desk::born();
    let found = desk.ddata(2, &[aliased(2, 8.0).at(T0 - 60_000).historical()]);
    let [
        Finding {
            news: News::Reading {
                time, historical, ..
            },
            ..
        },
    ] = found[..]
    else {
        panic!("{found:?}")
    };
    assert!(historical);
    assert_eq!(time, Some(Timestamp::from_millis(T0 as i64 - 60_000)));
    assert_eq!(desk.ddata(3, &[aliased(2, 8.0).historical()]), []);
    assert!(desk.troubles().contains("no timestamp of its own"));
    let null = aliased(2, 8.0).at(T0 - 50_000).historical().null();
    assert_eq!(desk.ddata(4, &[null]), [], "there was none then");
    assert_eq!(desk.host.counters().past_unusable, 2);
}

#[test]
fn a_value_that_cannot_be_read_leaves_the_others_be() {
    let mut desk = Desk::born();
    let text = Said {
        datatype: Some(12),
        ..aliased(2, 8.0)
    };
    let found = desk.ddata(2, &[text, aliased(3, 9.0), Said::default()]);
    assert_eq!(found, [gone(BRIX, desk.now), reading(PH, 9.0, desk.now)]);
    assert_eq!(
        desk.troubles(),
        "metric \"Fluid/Brix\": it is a text, not a number or a truth value; a metric has neither name nor alias"
    );
    let counters = desk.host.counters();
    assert_eq!((counters.unreadable, counters.nameless), (1, 1));
}

#[test]
fn troubles_of_one_message_are_told_up_to_a_few_and_all_counted() {
    let mut desk = Desk::born();
    let many: Vec<Said> = (0..500).map(|n| aliased(5000 + n, 0.0)).collect();
    desk.ddata(2, &many);
    assert_eq!(desk.out.troubles.len(), 64);
    assert_eq!(desk.host.counters().unknown_alias, 500);
}

#[test]
fn a_payload_beyond_the_bounds_counts_for_nothing() {
    let mut desk = Desk::born();
    let refused = |desk: &mut Desk, bytes: &[u8]| {
        let now = desk.now();
        let topic = "spBv1.0/Hall 3/DDATA/gateway-1/tank";
        let handled = desk
            .host
            .handle(topic, bytes, now, Delivery::First, &mut desk.out);
        assert!(desk.out.findings.is_empty());
        handled.unwrap_err().to_string()
    };
    let many = vec![Vec::new(); MAX_METRICS + 1];
    let told = refused(&mut desk, &payload(None, Some(2), &many));
    assert!(told.contains("more than 20000 metrics"), "{told}");
    let told = refused(&mut desk, &payload(None, Some(256), &[]));
    assert!(told.contains("from 0 to 255"), "{told}");
    let told = refused(&mut desk, b"{\"value\":4.1}");
    assert!(told.contains("not a Sparkplug B payload"), "{told}");
    let half: Vec<u8> = named("Fluid/Brix", 8.0).quality(0).bytes();
    let torn = half.len() - 3;
    let told = refused(&mut desk, &payload(None, Some(2), &[half[..torn].to_vec()]));
    assert!(told.contains("ends within a field"), "{told}");
    assert_eq!(
        desk.ddata(2, &[aliased(2, 8.0)]),
        [reading(BRIX, 8.0, desk.now)]
    );
}

#[test]
fn properties_must_come_in_pairs() {
    use crate::ingest::sparkplug::wire::{Raw, Writer};
    let set = Writer::default().put(1, Raw::Bytes(b"Quality")).finish();
    let metric = Writer::default().put(9, Raw::Bytes(&set)).finish();
    let refused = Payload::parse(&payload(None, None, &[metric])).unwrap_err();
    assert_eq!(refused, PayloadError::Properties { keys: 1, values: 0 });
    let text = Writer::default().put(8, Raw::Bytes(b"good")).finish();
    let set = Writer::default()
        .put(1, Raw::Bytes(b"Quality"))
        .put(2, Raw::Bytes(&text))
        .finish();
    let metric = Writer::default().put(9, Raw::Bytes(&set)).finish();
    let refused = Payload::parse(&payload(None, None, &[metric])).unwrap_err();
    assert_eq!(refused, PayloadError::QualityKind);
}
