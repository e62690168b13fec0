//! Several things broken at once, and far ends that misbehave: what is left goes
//! on.

use std::net::TcpListener;
use std::time::{Duration, Instant};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, stored};
use crate::plant::{Wanted, brix, now};
use crate::wait::until;
use crate::wires::{Peer, Wired, channel};

const PORT: &str = "[serial.bench]\ndevice = \"LINK\"\npattern = \"N={n}\"\n";

/// A channel that takes the number of a line of [`PORT`].
fn numbered() -> String {
    let keys = "quantity = \"redox\"\nplausible = [\"-5000 mV\", \"5000 mV\"]\nserial = \"bench\"\nfield = \"n\"";
    channel("n", keys)
}

fn beside(broker: &Mosquitto, settings: &str) -> Wired {
    let wanted = Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    };
    Wired::write_with(&wanted, settings)
}

/// Sends this number until it is stored: what is sent before the port is open is
/// nobody's.
fn arrives(wired: &Wired, instrument: &mut Peer, number: f64) {
    until(&format!("{number} is stored"), || {
        instrument.send(format!("N={number}\r\n").as_bytes());
        (wired.last("n")? == number).then_some(())
    });
}

#[test]
fn what_a_port_gave_before_it_was_unplugged_is_stored_once_the_store_heals() {
    const LINES: u32 = 2_000;
    let broker = Mosquitto::start(Keeps::Nothing);
    let wired = beside(&broker, &[PORT, &numbered()].concat());
    let mut instrument = Peer::instrument(&wired.link());
    let daemon = Daemon::start_with_limits(wired.plant());
    arrives(&wired, &mut instrument, 0.0);
    daemon.limit_files("1");
    for n in 1..=LINES {
        instrument.send(format!("N={n}\r\n").as_bytes());
        // Lines read within one millisecond have one key; the first stays.
        std::thread::park_timeout(Duration::from_millis(2));
    }
    instrument.drained();
    drop(instrument);
    std::fs::remove_file(wired.link()).unwrap();
    daemon.logged("tried again until it is there");
    daemon.logged("nothing is acknowledged until the store can write");
    let unplugged = now();
    daemon.limit_files("unlimited");
    daemon.logged("the store can write again");
    let newest = || wired.last("n") == Some(f64::from(LINES));
    until("the last line is stored", || newest().then_some(()));
    let readings = wired.stored("n");
    let mut numbers: Vec<f64> = readings.iter().map(|one| one.value).collect();
    numbers.dedup();
    assert!(numbers.is_sorted());
    let after = readings.iter().find(|one| one.time > unplugged);
    assert!(after.is_none(), "stands at the recovery: {after:?}");
    let share = (numbers.len() - 1) as f64 / f64::from(LINES);
    assert!(share > 0.9, "{share} of the lines");
    let mut instrument = Peer::instrument(&wired.link());
    arrives(&wired, &mut instrument, 1.5);
}

#[test]
fn a_far_end_that_takes_connections_and_never_answers_is_told_and_costs_nothing() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let mute = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = mute.local_addr().unwrap().port();
    let (accepted, connections) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        // Kept open: whoever is refused knows where he stands.
        let kept = mute.incoming().map_while(Result::ok);
        kept.map_while(|one| accepted.send(one).ok()).count()
    });
    let keys = "quantity = \"redox\"\nmodbus = \"skid\"\nslave = 1\nregister = 0\nregisters = \"input\"\n\
                number = \"uint16\"\nsilent_after = \"5 s\"";
    let line = format!(
        "[modbus.skid]\nhost = \"127.0.0.1\"\nport = {port}\npoll = \"100 ms\"\ntimeout = \"100 ms\"\n"
    );
    let wired = beside(&broker, &[line, channel("mute", keys)].concat());
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/source/skid"]);
    let daemon = Daemon::start(wired.plant());
    let begun = (Instant::now(), daemon.cpu_seconds());
    let told = loop {
        let told = client.next("/skid");
        let why = told["why"].as_str().unwrap_or_default();
        if why.contains("nothing sensible comes") {
            break told;
        }
    };
    assert_eq!(
        (&told["kind"], &told["connected"]),
        (&"modbus".into(), &false.into())
    );
    assert_eq!(told["address"], format!("127.0.0.1:{port}"));
    let slave = &told["wire"]["modbus"]["slaves"][0];
    assert_eq!(
        (&slave["slave"], &slave["answers"]),
        (&1.into(), &false.into())
    );
    // What comes over the broker goes on meanwhile.
    for n in 0..100 {
        client.publish("in/s0/level", format!("{}", 500 + n));
    }
    until("all of the broker's readings are stored", || {
        (stored(wired.plant()) == 100).then_some(())
    });
    until("the channel is called silent", || {
        // Its source is told of, so that its own silence is suppressed.
        let silent = |line: &String| line.contains("\"silent.mute\"");
        crate::daemon::journal(wired.plant())
            .iter()
            .any(silent)
            .then_some(())
    });
    let seconds = begun.0.elapsed().as_secs_f64();
    let share = (daemon.cpu_seconds() - begun.1) / seconds;
    assert!(share < 0.2, "{share} of a processor for a mute far end");
    let tries = connections.try_iter().count();
    assert!(
        tries >= 1 && (tries as f64) < 2.0 + 2.0 * seconds,
        "{tries} in {seconds} s"
    );
}

#[test]
fn garbage_at_full_rate_on_a_port_costs_the_broker_no_reading() {
    const READINGS: u64 = 5_000;
    let broker = Mosquitto::start(Keeps::Nothing);
    let wired = beside(&broker, &[PORT, &numbered()].concat());
    let mut instrument = Peer::instrument(&wired.link());
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/source/bench"]);
    let daemon = Daemon::start(wired.plant());
    arrives(&wired, &mut instrument, 1.0);
    instrument.flood();
    let dropped = || loop {
        let told = client.next("/bench");
        let lines = &told["wire"]["lines"];
        if lines["refused"].as_u64().unwrap() > 0 {
            break told;
        }
    };
    let told = dropped();
    assert_eq!(told["connected"], true);
    let unreadable = &told["unreadable_topics"][0];
    assert_eq!(unreadable["topic"], "serial.bench");
    let begun = now();
    for n in 0..READINGS {
        let time = begun + sumpward::units::Span::from_millis(n as i64);
        client.send("in/s0/brix", brix(4.0, time));
        if n % 500 == 499 {
            client.confirmed(500);
        }
    }
    until("all of the broker's readings are stored", || {
        (wired.stored("brix").len() as u64 == READINGS).then_some(())
    });
    // The same port, once it is sane again.
    arrives(&wired, &mut instrument, 2.0);
    instrument.flood();
    daemon.signal("TERM");
    assert!(daemon.ended().success(), "a flood holds nothing up");
    let told = daemon.logged("not as settled");
    let lines = told.split("not as settled ").nth(1).unwrap();
    let lines: u64 = lines.split(',').next().unwrap().parse().unwrap();
    assert!(lines > 1_000, "{told}");
}
