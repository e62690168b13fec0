//! Messages by webhook, to a receiver that fails, hangs and lies.

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::mail::{plant, reads, run, waits};
use crate::plant::Plant;
use crate::receiver::{Came, Does, Receiver, SECRET};
use crate::wait::until;

/// A plant whose contact has the receiver.
fn plant_with(broker: &Mosquitto, receiver: &Receiver, sumps: usize) -> Plant {
    let plant = plant(broker, sumps, &receiver.settings());
    std::fs::write(plant.config().join("book.secret"), format!("{SECRET}\n")).unwrap();
    plant
}

/// Lets a receiver do these things with one alarm; gives what came until it
/// was taken, and the daemon's log is clean of secrets.
fn played(script: &[Does]) -> Vec<Came> {
    let receiver = Receiver::start(script);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant_with(&broker, &receiver, 1);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let alarm = client.next("/alarm");
    let came = receiver.has(script.len() + 1);
    for one in &came {
        assert!(one.is_signed(), "{one:?}");
        assert_eq!(one.body, came[0].body, "the same to the byte");
        assert_eq!(one.json()["id"], one.header("sumpward-id"));
    }
    let message = &came[0].json()["message"];
    assert_eq!(*message, alarm, "the same as over MQTT");
    until("nothing waits", || {
        (!waits(&plant, "anna/webhook")).then_some(())
    });
    assert_eq!(receiver.came().len(), script.len() + 1, "not sent again");
    for secret in [SECRET, "hidden"] {
        assert_eq!(daemon.count_logged(secret), 0);
    }
    came
}

#[test]
fn a_receiver_that_fails_gets_the_same_message_again_until_it_takes_it() {
    let came = played(&[Does::Answers(503), Does::Answers(429)]);
    assert_eq!(came[0].path, "/in?key=hidden");
    assert_eq!(came[0].header("content-type"), "application/json");
    let told = came[0].json();
    assert_eq!(
        (&told["plant"], &told["contact"], &told["kind"]),
        (&"test".into(), &"anna".into(), &"alarm".into())
    );
}

#[test]
fn an_answer_that_is_cut_off_or_no_http_confirms_nothing() {
    played(&[Does::BreaksOff, Does::Babbles]);
}

#[test]
fn a_receiver_that_hangs_is_given_up_and_asked_again() {
    played(&[Does::Hangs]);
}

#[test]
fn a_redirect_is_not_followed() {
    let elsewhere = Receiver::start(&[]);
    let to = format!("http://127.0.0.1:{}/in", elsewhere.port);
    played(&[Does::Redirects(to)]);
    assert_eq!(elsewhere.came().len(), 0);
}

#[test]
fn an_answer_without_end_is_not_read_to_its_end() {
    let receiver = Receiver::start(&[Does::TalksOn]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant_with(&broker, &receiver, 1);
    let (status, text) = run(&plant, &["message", "try", "anna"]);
    assert_eq!(status, 0, "{text}");
    assert!(text.contains("> POST /in?(not shown) HTTP/1.1"), "{text}");
    assert!(text.contains("< HTTP/1.1 200 OK"), "{text}");
    assert!(!text.contains(SECRET) && !text.contains("hidden"), "{text}");
}

#[test]
fn what_a_receiver_refuses_for_good_is_put_aside_and_the_next_one_comes() {
    let receiver = Receiver::start(&[Does::Answers(422)]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant_with(&broker, &receiver, 2);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    daemon.logged("a message is put aside: the receiver answered 422");
    reads(&client, 1, 2.9);
    let came = receiver.has(2);
    assert_eq!(came[1].json()["message"]["sump"], "s1");
    let (_, text) = run(&plant, &["message", "aside"]);
    assert!(
        text.contains("to anna/webhook") && text.contains("422"),
        "{text}"
    );
    let (status, text) = run(&plant, &["message", "try", "anna"]);
    assert_eq!(status, 0, "{text}");
}
