//! Lines of an instrument, well and ill, read by the daemon.

use std::time::{Duration, Instant};

use sumpward::engine::Quality;

use crate::wait::until;
use crate::wires::{Peer, Wired, channel};

const PATTERN: &str = "\
[serial.bench]
device = \"LINK\"
longest_line = \"64 B\"
pattern = \"BX={brix} T={temp} I={current} *\"
checksum = { kind = \"xor\" }
";

/// A failed loop gives a value below what a pH can be here.
const FAULT: Quality = Quality::FAULT.with(Quality::OUT_OF_RANGE);

fn settings() -> String {
    let field = |name: &str, keys: &str| {
        channel(
            name,
            &format!("serial = \"bench\"\nfield = \"{name}\"\n{keys}"),
        )
    };
    [
        PATTERN,
        &field("brix", "quantity = \"brix\""),
        &field("temp", "quantity = \"temperature\"\nunit = \"°F\""),
        &field(
            "current",
            "quantity = \"ph\"\nunit = \"mA\"\nloop = [\"4\", \"12\"]",
        ),
    ]
    .concat()
    // The plant's own channel of that name comes over a broker.
    .replace("[sump.s0.channel.brix]", "[sump.s0.channel.inline]")
}

fn line(text: &str) -> Vec<u8> {
    let check = text.bytes().fold(0, |check, byte| check ^ byte);
    format!("{text}*{check:02X}").into_bytes()
}

#[test]
fn only_lines_that_are_whole_and_right_give_values() {
    let wired = Wired::write(&settings());
    let mut instrument = Peer::instrument(&wired.link());
    let daemon = wired.daemon();
    daemon.logged("wire=serial.bench");
    let good = |brix: &str| line(&format!("BX={brix} T= 68.0 I=12.0 OK"));
    let mut send = |bytes: &[u8]| instrument.send(bytes);
    // Its beginning is not there.
    send(b"3 T=20.0 I=12.0 OK*55\r\n");
    send(&[&good("1.25"), &b"\r\n"[..]].concat());
    send(&[&good("2.25"), &b"\n"[..]].concat());
    send(&[&good("3.25"), &b"\r"[..]].concat());
    send(b"\x00\xff\x1b[2J garbage \x80\r\n");
    send(&[b"BX=9.25 ", &b"x"[..].repeat(100)[..], b"\r\n"].concat());
    send(b"BX=9.25 T=20.0 I=12.0 OK*00\r\n");
    send(&[line("BX=---- T=68.0 I=12.0 OK"), b"\r\n".to_vec()].concat());
    // In two portions, with padding.
    send(b"\x00\x00BX=4.25 T=50");
    let all = line("BX=4.25 T=50.0 I=3.0 OK");
    send(&[&all[12..], b"\x00\r\n"].concat());
    until("the last good line is stored", || {
        (wired.numbers("current").len() >= 4).then_some(())
    });
    daemon.signal("TERM");
    let told = daemon.logged("not as settled");
    assert!(daemon.ended().success());
    assert_eq!(wired.numbers("inline"), [1.25, 2.25, 3.25, 4.25]);
    for (celsius, want) in wired.numbers("temp").iter().zip([20.0, 20.0, 20.0, 10.0]) {
        assert!((celsius - want).abs() < 1e-9, "{celsius} °C, {want} °C");
    }
    // 12 mA is half of 4 to 12; 3 mA is a loop that failed.
    let (good, fault) = ((8.0, Quality::GOOD), (3.5, FAULT));
    assert_eq!(wired.values("current"), [good, good, good, fault]);
    for words in [
        "lines 4,",
        "not as settled 1,",
        "bad checks 2,",
        "too long 1,",
        "begun before opening 1,",
    ] {
        assert!(told.contains(words), "want: {words}\n{told}");
    }
}

#[test]
fn columns_are_read_over_a_port_that_comes_and_goes() {
    let column = |name: &str, keys: &str| {
        let keys = format!("serial = \"logger\"\nquantity = \"temperature\"\n{keys}");
        channel(name, &keys)
    };
    let port = "[serial.logger]\ndevice = \"LINK\"\ndelimiter = \";\"\nheader_lines = 1\n";
    let settings = [
        port,
        &column("first", "column = 1"),
        &column("third", "column = 3"),
    ];
    let wired = Wired::write(&settings.concat());
    let daemon = wired.daemon();
    daemon.logged("there is no");
    for round in [1.0, 2.0] {
        let mut instrument = Peer::instrument(&wired.link());
        let text = format!("first;second;third\r\n{round};x;{}\r\n", 10.0 * round);
        until("both are stored", || {
            // What is sent before the port is open is nobody's.
            instrument.send(text.as_bytes());
            (wired.numbers("third").pop() == Some(10.0 * round)).then_some(())
        });
        drop(instrument);
        daemon.logged("the far end is gone");
    }
    let first = wired.numbers("first");
    assert!(first.is_sorted() && first.iter().all(|value| [1.0, 2.0].contains(value)));
    // Heads of columns give no values, and are told.
    assert_eq!(first.len(), wired.numbers("third").len());
    daemon.logged("in column 1 stands \"first\"");
}

#[test]
fn lines_that_lay_waiting_while_the_daemon_stood_still_are_no_values() {
    let wired = Wired::write(&settings());
    let mut instrument = Peer::instrument(&wired.link());
    let daemon = wired.daemon();
    daemon.logged("wire=serial.bench");
    let mut send = |brix: &str| {
        let line = line(&format!("BX={brix} T=68.0 I=12.0 OK"));
        instrument.send(&[line, b"\r\n".to_vec()].concat());
    };
    let stored = |value: f64| wired.numbers("inline").contains(&value).then_some(());
    until("a line is stored", || {
        // The first is begun before opening, as far as the daemon knows.
        send("1.25");
        stored(1.25)
    });
    daemon.signal("STOP");
    until("the daemon stands still", || {
        daemon.is_stopped().then_some(())
    });
    let since = Instant::now();
    send("9.25");
    until("it has stood still for longer than a line may wait", || {
        (since.elapsed() > Duration::from_millis(1_500)).then_some(())
    });
    daemon.signal("CONT");
    until("a line of now is stored", || {
        send("2.25");
        stored(2.25)
    });
    daemon.signal("TERM");
    let told = daemon.logged("bytes too old");
    assert!(daemon.ended().success());
    assert_eq!(stored(9.25), None, "an old value stands at now");
    let old = told.split("bytes too old ").nth(1).unwrap();
    let old: u64 = old.split_whitespace().next().unwrap().parse().unwrap();
    assert!(old >= 30, "{told}");
}
