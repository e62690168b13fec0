//! What brokers refuse, and what they leave unanswered, is told in words.

use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};
use crate::scripted::{Treatment, scripted};

fn plant(port: u16, broker: &str) -> Plant {
    Plant::write(&Wanted {
        port,
        sumps: 1,
        on_delay: "0 s",
        broker,
    })
}

#[test]
fn refused_subscriptions_are_named() {
    for (protocol, code, why) in [
        ("5", 0x87, "not authorised"),
        ("3.1.1", 0x80, "gives no reason"),
    ] {
        let port = scripted(Treatment::Refused(code));
        let plant = plant(port, &format!("protocol = \"{protocol}\""));
        let daemon = Daemon::start(&plant);
        let told = daemon.logged("refuses the subscription");
        assert!(told.contains(why), "{told}");
        for topic in ["in/s0/brix", "in/s0/level", "sumpward/test/entry"] {
            daemon.logged(&format!("topic=\"{topic}\""));
        }
    }
}

#[test]
fn a_subscription_without_an_answer_is_given_up_and_asked_again() {
    let daemons = ["5", "3.1.1"].map(|protocol| {
        let port = scripted(Treatment::Ignored);
        let plant = plant(port, &format!("protocol = \"{protocol}\""));
        (Daemon::launch(&plant), plant)
    });
    for (daemon, _) in &daemons {
        daemon.logged("does not answer what we subscribe to");
    }
}

#[test]
fn a_session_taken_over_is_told_at_once_where_the_broker_says_so() {
    let plant = plant(scripted(Treatment::TakenOver), "");
    let daemon = Daemon::launch(&plant);
    let told = daemon.logged("not connected");
    assert!(
        told.contains("another client with the same client id")
            && told.contains("sumpward-test-main"),
        "{told}"
    );
}
