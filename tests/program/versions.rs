//! What must hold whichever version of MQTT is spoken.

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::proxy::breaking_line;
use crate::wait::until;

const VERSIONS: [&str; 2] = ["5", "3.1.1"];

fn plant(port: u16, sumps: usize, protocol: &str, more: &str) -> Plant {
    Plant::write(&Wanted {
        port,
        sumps,
        on_delay: "10 min",
        broker: &format!("protocol = \"{protocol}\"\n{more}"),
    })
}

fn until_stored(plant: &Plant, count: u64) {
    until(&format!("{count} are stored"), || {
        (stored(plant) >= count).then_some(())
    });
    assert_eq!(stored(plant), count);
}

#[test]
fn a_restart_of_the_broker_loses_nothing_of_its_sessions_and_lost_ones_are_begun_anew() {
    for protocol in VERSIONS {
        let mut broker = Mosquitto::start(Keeps::Sessions);
        let plant = plant(broker.port, 1, protocol, "");
        let begun = now();
        let send = |broker: &Mosquitto, from: i64, to: i64| {
            let client = TestClient::connect(broker.port, "test", &[]);
            for n in from..to {
                client.publish("in/s0/brix", brix(4.0, begun + Span::from_millis(n)));
            }
        };
        let daemon = Daemon::start(&plant);
        send(&broker, 0, 1);
        until_stored(&plant, 1);
        daemon.kill();
        // What comes while the daemon is away outlives the broker too.
        send(&broker, 1, 101);
        broker.stop();
        broker.start_again();
        let daemon = Daemon::start(&plant);
        daemon.logged("session=\"taken up\"");
        until_stored(&plant, 101);
        // Killed, with all that it knew.
        broker.kill();
        broker.forget();
        daemon.logged("not connected");
        broker.start_again();
        until("it subscribes again", || {
            (daemon.count_logged("subscribed") >= 2).then_some(())
        });
        assert_eq!(daemon.count_logged("session=\"new\""), 1);
        send(&broker, 101, 102);
        until_stored(&plant, 102);
    }
}

#[test]
fn a_line_that_breaks_in_the_middle_of_packets_loses_and_doubles_nothing() {
    const COUNT: i64 = 2_000;
    let broker = Mosquitto::start(Keeps::Sessions);
    for protocol in VERSIONS {
        let port = breaking_line(broker.port, &[1_501, 33_333, 20_002]);
        // Only readings go over the line that breaks.
        let plant = plant(
            port,
            1,
            protocol,
            &format!(
                "client_id = \"over-the-line-{protocol}\"\n[messages]\nbroker = \"direct\"\nentry_topic = \"entries\"\n\
                 [broker.direct]\nhost = \"127.0.0.1\"\nport = {}\nclient_id = \"direct-{protocol}\"",
                broker.port
            ),
        );
        let daemon = Daemon::launch(&plant);
        until("both are subscribed", || {
            (daemon.count_logged("subscribed") >= 2).then_some(())
        });
        let begun = now();
        let client = TestClient::connect(broker.port, "test", &[]);
        for n in 0..COUNT {
            let topic = if n % 2 == 0 {
                "in/s0/brix"
            } else {
                "in/s0/level"
            };
            let payload = if n % 2 == 0 {
                brix(4.0, begun + Span::from_millis(n))
            } else {
                // No time of its own, and each value only once.
                format!("{}", 500.0 + n as f64 / 100.0)
            };
            client.send(topic, payload);
        }
        client.confirmed(COUNT as usize);
        until_stored(&plant, COUNT as u64);
        assert_eq!(daemon.count_logged("not connected"), 3);
    }
}

#[test]
fn an_oversized_message_is_passed_over_and_the_next_one_arrives() {
    for protocol in VERSIONS {
        let broker = Mosquitto::start(Keeps::Sessions);
        let plant = plant(broker.port, 1, protocol, "max_packet = \"10 KiB\"");
        let client = TestClient::connect(broker.port, "test", &[]);
        let daemon = Daemon::start(&plant);
        let begun = now();
        client.publish("in/s0/brix", brix(4.0, begun));
        for _ in 0..3 {
            client.publish("in/s0/brix", "x".repeat(20_000));
        }
        client.publish("in/s0/brix", brix(4.1, begun + Span::from_millis(1)));
        until_stored(&plant, 2);
        assert_eq!(daemon.count_logged("not connected"), 0);
        if protocol == "3.1.1" {
            let told = daemon.logged("larger than max_packet");
            assert!(told.contains("in/s0/brix"), "{told}");
            daemon.signal("TERM");
            daemon.logged("oversized 3,");
            assert_eq!(daemon.count_logged("message refused"), 1);
        }
    }
}

#[test]
fn garbage_at_full_rate_holds_nobody_up() {
    const GARBAGE: usize = 20_000;
    const GOOD: usize = 2_000;
    for protocol in VERSIONS {
        // Unacknowledged garbage would fill so small a window at once.
        let broker = Mosquitto::start_with(Keeps::Sessions, "max_inflight_messages 20");
        let plant = plant(broker.port, 2, protocol, "");
        let daemon = Daemon::start(&plant);
        let port = broker.port;
        let babbler = std::thread::spawn(move || {
            let client = TestClient::connect(port, "babbler", &[]);
            for n in 0..GARBAGE {
                client.send("in/s0/brix", format!("garbage {n}"));
                if n % 500 == 499 {
                    client.confirmed(500);
                }
            }
        });
        let client = TestClient::connect(broker.port, "good", &[]);
        let begun = now() - Span::from_secs(10);
        for n in 0..GOOD {
            let time = begun + Span::from_millis(n as i64);
            client.send("in/s1/brix", brix(4.0, time));
        }
        client.confirmed(GOOD);
        babbler.join().expect("the broker takes all the garbage");
        until_stored(&plant, GOOD as u64);
        // The last of the garbage may still be on its way.
        client.publish("in/s0/brix", brix(4.0, begun));
        until_stored(&plant, GOOD as u64 + 1);
        daemon.signal("TERM");
        daemon.logged(&format!("unreadable {GARBAGE},"));
        assert_eq!(daemon.count_logged("message refused"), 1);
    }
}

#[test]
fn what_lay_at_the_broker_without_a_time_says_nothing_about_now() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let client = TestClient::connect(broker.port, "test", &[]);
    client.retain("in/s0/level", "500");
    for protocol in VERSIONS {
        let more = format!("client_id = \"retained-{protocol}\"");
        let plant = plant(broker.port, 1, protocol, &more);
        for _ in 0..2 {
            let daemon = Daemon::start(&plant);
            let count = stored(&plant);
            client.publish("in/s0/brix", brix(4.0, now()));
            until_stored(&plant, count + 1);
            daemon.signal("TERM");
            assert!(daemon.ended().success());
        }
        assert_eq!(stored(&plant), 2);
    }
}

#[test]
fn what_lay_at_the_broker_with_its_time_is_of_then_and_not_of_now() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/state"]);
    client.retain("in/s0/brix", brix(1.0, now() - Span::from_secs(30)));
    for protocol in VERSIONS {
        let more = format!("client_id = \"retained-{protocol}\"");
        let plant = plant(broker.port, 1, protocol, &more);
        let _daemon = Daemon::start(&plant);
        until_stored(&plant, 1);
        let state = client.next("/state");
        let brix = &state["channels"][0];
        assert_eq!(
            (&brix["channel"], &brix["baseline"]),
            (&"brix".into(), &1.0.into())
        );
        assert!(brix["value"].is_null() && brix["time"].is_null(), "{brix}");
        assert_eq!(marks(&plant), ["late"]);
        assert!(journal(&plant).is_empty());
    }
}

/// Marks of the readings stored.
fn marks(plant: &Plant) -> Vec<String> {
    let connection = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let mut select = connection
        .prepare("SELECT quality FROM readings_plain WHERE kind = 'reading'")
        .unwrap();
    let marks = select.query_map([], |row| row.get(0)).unwrap();
    marks.map(Result::unwrap).collect()
}

#[test]
fn two_daemons_with_one_client_id_are_told_in_words() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let rivals = VERSIONS.map(|protocol| {
        let more = format!("client_id = \"shared-{protocol}\"");
        let plants = [(); 2].map(|()| plant(broker.port, 1, protocol, &more));
        let first = Daemon::start(&plants[0]);
        let second = Daemon::start(&plants[1]);
        (protocol, first, second, plants)
    });
    for (protocol, first, _, _) in &rivals {
        let told = first.logged("most likely another client uses our client id");
        assert!(told.contains(&format!("shared-{protocol}")), "{told}");
    }
}

#[test]
fn of_several_brokers_one_may_be_away() {
    let near = Mosquitto::start(Keeps::Nothing);
    let far_port = crate::broker::free_port();
    let plant = plant(
        near.port,
        1,
        "5",
        &format!(
            "[messages]\nbroker = \"main\"\n[broker.far]\nhost = \"127.0.0.1\"\nport = {far_port}\nprotocol = \"3.1.1\"\n\
             [sump.s0.channel.ph]\nquantity = \"ph\"\nbroker = \"far\"\ntopic = \"in/s0/ph\""
        ),
    );
    let daemon = Daemon::start(&plant);
    daemon.logged("nothing listens");
    let client = TestClient::connect(near.port, "test", &[]);
    client.publish("in/s0/brix", brix(4.0, now()));
    until_stored(&plant, 1);
    let far = Mosquitto::start_on(far_port);
    until("the other one is subscribed to", || {
        (daemon.count_logged("subscribed") >= 2).then_some(())
    });
    TestClient::connect(far.port, "test", &[]).publish("in/s0/ph", "9.1");
    until_stored(&plant, 2);
}
