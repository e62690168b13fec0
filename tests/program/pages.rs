//! The pages that the daemon serves, asked for by plain bytes.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use crate::broker::{Keeps, Mosquitto, free_port};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};
use crate::wait::until;

/// An answer, as it came.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (key, value) = line.split_once(": ")?;
            key.eq_ignore_ascii_case(name).then_some(value)
        })
    }
}

/// Sends a request and reads until the other side closes.
pub fn ask(port: u16, request: &str) -> Answer {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(40)))
        .unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    let text = String::from_utf8(bytes).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
    Answer {
        status: status.unwrap_or(0),
        head: head.to_owned(),
        body: body.to_owned(),
    }
}

/// A request without a body.
pub fn request(method: &str, path: &str) -> String {
    format!("{method} {path} HTTP/1.1\r\nhost: test\r\nconnection: close\r\n\r\n")
}

/// Adds `[web]` to a plant's settings; gives the port.
pub fn with_pages(plant: &Plant, more: &str) -> u16 {
    let port = free_port();
    let text = format!("[web]\nlisten = \"127.0.0.1:{port}\"\n{more}");
    std::fs::write(plant.config().join("web.toml"), text).unwrap();
    port
}

fn plant(broker: &Mosquitto) -> Plant {
    Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    })
}

#[test]
fn pages_say_whether_it_lives_and_refuse_what_is_too_much() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let port = with_pages(&plant, "");
    let daemon = Daemon::start(&plant);
    let alive = ask(port, &request("GET", "/healthz"));
    assert_eq!((alive.status, alive.body.as_str()), (200, "alive\n"));
    let policy = alive.header("content-security-policy").unwrap();
    assert!(policy.starts_with("default-src 'none'"), "{policy}");
    assert!(policy.contains("frame-ancestors 'none'"), "{policy}");
    until("the first commit is seen", || {
        (ask(port, &request("GET", "/readyz")).status == 200).then_some(())
    });
    // Refusals bear the same headers.
    for (wrong, status) in [
        (request("GET", "/nothing"), 404),
        (request("POST", "/healthz"), 405),
        (
            format!(
                "POST /healthz HTTP/1.1\r\nhost: test\r\nconnection: close\r\ncontent-length: 9000\r\n\r\n{}",
                "a".repeat(9000)
            ),
            413,
        ),
    ] {
        let answer = ask(port, &wrong);
        assert_eq!(answer.status, status, "{}", answer.head);
        for (name, value) in [
            ("cache-control", "no-store"),
            ("referrer-policy", "no-referrer"),
            ("x-content-type-options", "nosniff"),
        ] {
            assert_eq!(answer.header(name), Some(value), "{}", answer.head);
        }
        assert!(answer.header("content-security-policy").is_some());
    }
    // A head without an end is cut without a word, and one that is too large
    // is refused.
    assert_eq!(ask(port, "GET / HTTP/1.1\r\nhost: te").head, "");
    daemon.logged("did not come within the time");
    let large = format!("GET / HTTP/1.1\r\nx: {}\r\n\r\n", "a".repeat(20_000));
    assert!((400..500).contains(&ask(port, &large).status));
    daemon.signal("TERM");
    assert!(daemon.ended().success());
}

#[test]
fn more_than_are_heard_are_turned_away_and_others_come_in_again() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let port = with_pages(&plant, "");
    let daemon = Daemon::start(&plant);
    let crowd: Vec<TcpStream> = (0..80)
        .map(|_| TcpStream::connect(("127.0.0.1", port)).unwrap())
        .collect();
    daemon.logged("as many as are heard at once are there");
    drop(crowd);
    until("there is room again", || {
        (ask(port, &request("GET", "/healthz")).status == 200).then_some(())
    });
}

#[test]
fn an_address_that_is_taken_ends_the_start() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let port = with_pages(&plant, "");
    let _taken = std::net::TcpListener::bind(("127.0.0.1", port)).unwrap();
    let daemon = Daemon::launch(&plant);
    assert!(!daemon.ended().success());
    assert_eq!(daemon.count_logged("name another web.listen"), 1);
}
