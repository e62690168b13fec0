//! Stopping in good order.

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

#[test]
fn both_signals_drain_and_say_goodbye() {
    for signal in ["TERM", "INT"] {
        let broker = Mosquitto::start(Keeps::Sessions);
        let plant = Plant::write(&Wanted {
            port: broker.port,
            sumps: 1,
            on_delay: "0 s",
            broker: "",
        });
        let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
        let daemon = Daemon::start(&plant);
        client.publish("in/s0/brix", brix(2.5, now()));
        client.next("/alarm");
        daemon.signal(signal);
        assert!(daemon.ended().success());
        let statuses: Vec<String> = until("offline is told", || {
            let all = client.so_far();
            let told = all
                .into_iter()
                .filter(|(topic, _)| topic.ends_with("/status"));
            let told: Vec<String> = told.map(|(_, payload)| payload).collect();
            told.iter()
                .any(|payload| payload.contains("offline"))
                .then_some(told)
        });
        assert!(statuses.last().unwrap().contains("offline"));
        assert_eq!(stored(&plant), 1);
        // Closed in good order: the next start finds nothing to check.
        let again = Daemon::start(&plant);
        assert_eq!(again.count_logged("not clean"), 0);
    }
}

#[test]
fn it_starts_and_stops_without_any_broker() {
    let plant = Plant::write(&Wanted {
        port: crate::broker::free_port(),
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    let daemon = Daemon::launch(&plant);
    daemon.logged("nothing listens at the broker's address");
    daemon.signal("TERM");
    assert!(daemon.ended().success());
}

#[test]
fn a_second_signal_ends_a_drain_that_hangs() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    // An alarm comes while the broker answers nothing: its message waits for a
    // confirmation, and the drain for the message.
    let silent = "[sump.s0.channel.brix]\nsilent_after = \"2 s\"\n";
    std::fs::write(plant.config().join("silent.toml"), silent).unwrap();
    let daemon = Daemon::start(&plant);
    broker.freeze();
    until("a message waits for the broker", || {
        let reader = sumpward::store::Reader::open(&plant.store()).unwrap();
        (reader.outbox_depth().unwrap() > 0).then_some(())
    });
    daemon.signal("TERM");
    daemon.logged("stopping");
    daemon.signal("TERM");
    assert_eq!(daemon.ended().code(), Some(1));
    until("the log has been read to its end", || {
        (daemon.count_logged("second signal") == 1).then_some(())
    });
}
