//! The exchange without sockets: wills, stale connections, limits.

use super::codec::{Qos, RetainedOnSubscribe, Will};
use super::exchange::*;
use super::*;

use codec::{Connect, Incoming, Message, Reason, Wish};
use tokio::sync::Notify;

fn message(topic: &str) -> Message {
    Message {
        topic: topic.to_owned(),
        payload: vec![1],
        properties: Vec::new(),
        qos: Qos::AtLeastOnce,
        retain: false,
    }
}

fn publish(message: Message) -> Incoming {
    Incoming::Publish {
        packet_id: None,
        message,
    }
}

fn hello(client_id: &str, will_delay: Option<u32>) -> Connect {
    Connect {
        client_id: client_id.to_owned(),
        clean_start: false,
        keep_alive: 0,
        expiry: 100,
        receive_maximum: 10,
        max_packet: 1000,
        will: will_delay.map(|delay| Will {
            message: message("will"),
            delay,
        }),
    }
}

fn connect(exchange: &mut Exchange, hello: Connect) -> Who {
    exchange.connect(hello, Arc::new(Notify::new())).unwrap()
}

/// An exchange with a client that hears everything.
fn with_hearer(limits: BrokerLimits) -> Exchange {
    let mut exchange = Exchange::new(limits);
    let who = connect(&mut exchange, hello("hearer", None));
    let wish = Wish {
        filter: "#".to_owned(),
        qos: Qos::AtLeastOnce,
        no_local: false,
        retain_as_published: false,
        retained: RetainedOnSubscribe::Always,
    };
    let subscribe = Incoming::Subscribe {
        packet_id: 1,
        wishes: vec![wish],
    };
    assert_eq!(exchange.handle(&who, subscribe), Ok(Next::GoOn));
    exchange
}

#[test]
fn a_delayed_will_waits_and_is_dropped_when_the_client_returns() {
    let mut exchange = with_hearer(BrokerLimits::default());
    let who = connect(&mut exchange, hello("pen", Some(30)));
    let afterlife = exchange.part(&who).unwrap();
    assert_eq!(afterlife.will_after, Some(30));
    assert_eq!(afterlife.end_after, Some(100));
    assert_eq!(exchange.outstanding("hearer"), 0);
    connect(&mut exchange, hello("pen", None));
    assert!(afterlife.back.is_cancelled());
    exchange.publish_will(&who);
    exchange.end(&who);
    assert_eq!(exchange.outstanding("hearer"), 0, "the old name is stale");
}

#[test]
fn a_delayed_will_goes_out_with_the_end_of_the_session() {
    let mut exchange = with_hearer(BrokerLimits::default());
    let who = connect(&mut exchange, hello("pen", Some(30)));
    exchange.part(&who);
    let clean = Connect {
        clean_start: true,
        ..hello("pen", None)
    };
    connect(&mut exchange, clean);
    assert_eq!(exchange.outstanding("hearer"), 1);
}

#[test]
fn a_connection_that_was_taken_over_can_do_nothing_more() {
    let mut exchange = with_hearer(BrokerLimits::default());
    let old = connect(&mut exchange, hello("pen", Some(0)));
    connect(&mut exchange, hello("pen", None));
    assert_eq!(exchange.outstanding("hearer"), 1, "the will of the old one");
    let late = exchange.handle(&old, publish(message("late")));
    assert_eq!(late, Err(Reason::SessionTakenOver));
    let collected = exchange.collect(&old, &mut Vec::new());
    assert_eq!(collected, Collected::TakenOver);
    assert!(exchange.part(&old).is_none());
    assert_eq!(exchange.outstanding("hearer"), 1);
}

#[test]
fn limits_hold_and_what_they_cost_is_counted() {
    let limits = BrokerLimits {
        queue: 2,
        sessions: 2,
        retained: 1,
        ..BrokerLimits::default()
    };
    let mut exchange = with_hearer(limits);
    let pen = connect(&mut exchange, hello("pen", None));
    let refused = exchange.connect(hello("third", None), Arc::new(Notify::new()));
    assert_eq!(refused, Err(Reason::QuotaExceeded));
    for topic in ["a", "b", "c"] {
        let kept = Message {
            retain: true,
            ..message(topic)
        };
        assert_eq!(exchange.handle(&pen, publish(kept)), Ok(Next::GoOn));
    }
    assert_eq!(exchange.outstanding("hearer"), 2);
    assert_eq!(exchange.dropped(), 3, "one message, two retained ones");
}

#[test]
fn a_client_that_asks_and_never_reads_is_sent_away() {
    let limits = BrokerLimits {
        receive_maximum: 10,
        ..BrokerLimits::default()
    };
    let mut exchange = Exchange::new(limits);
    let who = connect(&mut exchange, hello("pen", None));
    let served = (0..1000)
        .take_while(|_| exchange.handle(&who, Incoming::Pingreq).is_ok())
        .count();
    assert!((10..100).contains(&served), "{served}");
}
