//! Slaves of another make, on a line and over TCP, read by the daemon.

use std::fmt::Write;

use sumpward::engine::Quality;

use crate::broker::free_port;
use crate::daemon::journal;
use crate::wait::until;
use crate::wires::{Peer, Wired, channel};

/// A line that is asked ten times a second.
const LINE: &str = "\
[modbus.hall]
device = \"LINK\"
parity = \"none\"
stop_bits = 1
poll = \"100 ms\"
";

/// A channel of mV that takes a number as it is.
fn register(name: &str, slave: u8, register: u16, keys: &str) -> String {
    let keys = format!(
        "quantity = \"redox\"\nplausible = [\"-5000 mV\", \"5000 mV\"]\nmodbus = \"hall\"\n\
         slave = {slave}\nregister = {register}\n{keys}"
    );
    channel(name, &keys)
}

const FLOAT: &str = "registers = \"input\"\nnumber = \"float32\"\norder = \"ABCD\"";

#[test]
fn every_number_comes_as_it_was_set_in_every_order() {
    let kinds: [(&str, &str, f64, &[&str]); 6] = [
        ("uint16", "40000", 4000.0, &["AB", "BA"]),
        ("int16", "-12345", -1234.5, &["AB", "BA"]),
        (
            "uint32",
            "3000000000",
            3000.0,
            &["ABCD", "CDAB", "BADC", "DCBA"],
        ),
        (
            "int32",
            "-123456789",
            -123.456789,
            &["ABCD", "CDAB", "BADC", "DCBA"],
        ),
        ("float32", "-4.25", -4.25, &["ABCD", "CDAB", "BADC", "DCBA"]),
        (
            "float64",
            "123.456789",
            123.456789,
            &["ABCDEFGH", "GHEFCDAB", "BADCFEHG", "HGFEDCBA"],
        ),
    ];
    let (mut settings, mut numbers, mut wanted) = (LINE.to_owned(), Vec::new(), Vec::new());
    let mut first = 7;
    for (kind, text, value, orders) in kinds {
        let scale = match kind {
            "uint16" | "int16" => "scale = 0.1",
            "uint32" | "int32" => "scale = 0.000001",
            _ => "",
        };
        for order in orders {
            let (name, table) = (format!("r{first}"), ["holding", "input"][first % 2]);
            numbers.push(format!("3:{table}:{first}:{kind}:{order}:{text}"));
            let keys = format!(
                "registers = \"{table}\"\nnumber = \"{kind}\"\norder = \"{order}\"\n{scale}"
            );
            let _ = write!(settings, "{}", register(&name, 3, first as u16, &keys));
            wanted.push((name, value));
            first += 5;
        }
    }
    let wired = Wired::write(&settings);
    let numbers: Vec<&str> = numbers.iter().map(String::as_str).collect();
    let _slaves = Peer::slaves(&wired.link(), &numbers);
    let _daemon = wired.daemon();
    for (name, value) in wanted {
        let read = until(&format!("{name} is stored"), || wired.values(&name).pop());
        assert!(
            (read.0 - value).abs() < 1e-9 && read.1 == Quality::GOOD,
            "{name}: {read:?}"
        );
    }
}

#[test]
fn a_slave_that_answers_late_never_gives_a_wrong_value() {
    // Two requests that look alike; each third answer comes after its time.
    let settings = [
        LINE,
        "timeout = \"150 ms\"\nlatency = \"1 s\"\n",
        &register("a", 3, 0, FLOAT),
        &register("b", 3, 100, FLOAT),
    ];
    let wired = Wired::write(&settings.concat());
    let numbers = ["3:input:0:float32:ABCD:111", "3:input:100:float32:ABCD:222"];
    let late = [&["--late", "3:600"][..], &numbers].concat();
    let _slaves = Peer::slaves(&wired.link(), &late);
    let daemon = wired.daemon();
    until("both are read several times", || {
        let (a, b) = (wired.numbers("a"), wired.numbers("b"));
        (a.len() >= 5 && b.len() >= 5).then_some(())
    });
    daemon.signal("TERM");
    let told = daemon.logged("late answers dropped");
    assert!(daemon.ended().success());
    assert!(wired.numbers("a").iter().all(|value| *value == 111.0));
    assert!(wired.numbers("b").iter().all(|value| *value == 222.0));
    let late = told.split("late answers dropped ").nth(1).unwrap();
    let late: u32 = late.split(',').next().unwrap().parse().unwrap();
    assert!(late >= 2, "{told}");
}

#[test]
fn a_dead_slave_does_not_stop_the_living_one() {
    let settings = [
        LINE,
        "timeout = \"100 ms\"\nlatency = \"100 ms\"\n",
        &register("living", 3, 0, FLOAT),
        &register("dead", 9, 0, FLOAT),
    ];
    let wired = Wired::write(&settings.concat());
    let _slaves = Peer::slaves(&wired.link(), &["3:input:0:float32:ABCD:111"]);
    let daemon = wired.daemon();
    let told = daemon.logged("the slave is lost");
    assert!(
        told.contains("slave=9") && told.contains("modbus.hall"),
        "{told}"
    );
    let before = wired.numbers("living").len();
    until("the living one is read on", || {
        (wired.numbers("living").len() >= before + 20).then_some(())
    });
    assert_eq!(wired.numbers("dead").len(), 0);
    assert_eq!(daemon.count_logged("the slave is lost"), 1);
}

#[test]
fn a_port_may_be_absent_unplugged_and_plugged_in_again() {
    let keys = format!("{FLOAT}\nsilent_after = \"4 s\"");
    let settings = [LINE, &register("a", 3, 0, &keys)];
    let wired = Wired::write(&settings.concat());
    let daemon = wired.daemon();
    daemon.logged("there is no");
    let numbers = ["3:input:0:float32:ABCD:111"];
    let slaves = Peer::slaves(&wired.link(), &numbers);
    until("it is read", || {
        (wired.numbers("a").len() >= 3).then_some(())
    });

    drop(slaves);
    let begun = (std::time::Instant::now(), daemon.cpu_seconds());
    until("the channel's silence is told", || {
        // Its source is told of, so that its own silence is suppressed.
        let silent = |line: &String| line.contains("\"silent.a\"");
        journal(wired.plant()).iter().any(silent).then_some(())
    });
    let share = (daemon.cpu_seconds() - begun.1) / begun.0.elapsed().as_secs_f64();
    assert!(share < 0.2, "{share} of a processor while the port is gone");
    daemon.logged("the far end is gone");
    assert!(
        daemon.count_logged("wire=modbus.hall") < 8,
        "each change is told once"
    );

    let before = wired.numbers("a").len();
    let _slaves = Peer::slaves(&wired.link(), &numbers);
    until("it is read again", || {
        (wired.numbers("a").len() >= before + 3).then_some(())
    });
}

#[test]
fn a_port_has_one_reader() {
    let settings = [LINE, &register("a", 3, 0, FLOAT)].concat();
    let first = Wired::write(&settings);
    let _slaves = Peer::slaves(&first.link(), &["3:input:0:float32:ABCD:111"]);
    let _daemon = first.daemon();
    until("it is read", || first.numbers("a").pop());
    let second = Wired::write(&settings.replace("LINK", first.link().to_str().unwrap()));
    second.daemon().logged("is in use by another program");
}

#[test]
fn slaves_over_tcp_are_read_and_what_they_refuse_is_told() {
    let port = free_port();
    let line = format!("[modbus.hall]\nhost = \"127.0.0.1\"\nport = {port}\npoll = \"100 ms\"\n");
    let settings = [
        line.as_str(),
        &register("a", 3, 0, FLOAT),
        &register("b", 3, 2, FLOAT),
        &register("none", 3, 500, FLOAT),
    ];
    let wired = Wired::write(&settings.concat());
    let port = port.to_string();
    let start = |a: &str| {
        let numbers = [a, "3:input:2:float32:ABCD:222"];
        let arguments = [&["--port", port.as_str()][..], &numbers].concat();
        Peer::start("modbus_slaves.py", &arguments)
    };
    let slaves = start("3:input:0:float32:ABCD:111");
    let daemon = wired.daemon();
    assert_eq!(until("a is stored", || wired.numbers("a").pop()), 111.0);
    assert_eq!(until("b is stored", || wired.numbers("b").pop()), 222.0);
    let told = daemon.logged("the slave refuses");
    assert!(
        told.contains("illegal data address") && told.contains("first=500"),
        "{told}"
    );
    drop(slaves);
    daemon.logged("tried again until it is there");
    let _slaves = start("3:input:0:float32:ABCD:333");
    until("the new value is stored", || {
        (wired.numbers("a").pop() == Some(333.0)).then_some(())
    });
    assert_eq!(daemon.count_logged("the slave refuses"), 1);
    assert_eq!(wired.numbers("none").len(), 0);
}
