//! Messages by mail, to a server of another make.

use std::process::{Command, Output};

use serde_json::Value;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::mail_server::MailServer;
use crate::plant::{Plant, Wanted, brix, now};
use crate::tls::certificate;
use crate::wait::until;

/// A plant with these settings besides.
pub fn plant(broker: &Mosquitto, sumps: usize, more: &str) -> Plant {
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps,
        on_delay: "0 s",
        broker: "",
    });
    std::fs::write(plant.config().join("roads.toml"), more).unwrap();
    plant
}

/// A subcommand on a plant.
pub fn run(plant: &Plant, words: &[&str]) -> (i32, String) {
    let Output {
        status,
        stdout,
        stderr,
    } = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(words)
        .arg("--config")
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap();
    let text = [stdout, stderr].concat();
    (
        status.code().unwrap(),
        String::from_utf8_lossy(&text).into_owned(),
    )
}

/// Whether messages wait for a receiver.
pub fn waits(plant: &Plant, receiver: &str) -> bool {
    let (status, text) = run(plant, &["message", "waiting"]);
    assert_eq!(status, 0, "{text}");
    text.contains(receiver)
}

/// Makes a sump lean, so that its alarm is raised, or well again.
pub fn reads(client: &TestClient, sump: usize, value: f64) {
    client.publish(&format!("in/s{sump}/level"), "900");
    client.publish(&format!("in/s{sump}/brix"), brix(value, now()));
}

fn arrived(server: &MailServer, count: usize) -> Vec<Value> {
    until(&format!("{count} mails are there"), || {
        let taken = server.taken();
        (taken.len() >= count).then_some(taken)
    })
}

#[test]
fn an_alarm_comes_by_mail_over_starttls_with_a_login() {
    let server = MailServer::start("starttls", "{}");
    let broker = Mosquitto::start(Keeps::Nothing);
    let contact = "[contact.anna]\nmail = \"anna@example.org\"\n";
    let plant = plant(&broker, 1, &(server.settings("starttls") + contact));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let _daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let alarm = client.next("/alarm");
    let mail = &arrived(&server, 1)[0];
    assert_eq!(mail["encrypted"], true);
    assert_eq!(mail["user"], "sumpward");
    assert_eq!(mail["from"], "sumpward@example.org");
    assert_eq!(mail["to"][0], "anna@example.org");
    let text = alarm["text"].as_str().unwrap();
    let mailed = mail["text"].as_str().unwrap().replace("\r\n", "\n");
    assert_eq!(mailed.trim_end(), text.trim_end());
    assert_eq!(mail["subject"].as_str(), text.lines().next());
    let id = mail["id"].as_str().unwrap();
    assert!(
        id.starts_with("<test.s0.") && id.ends_with(".anna@example.org>"),
        "{id}"
    );
}

#[test]
fn trying_a_road_prints_the_dialogue_without_the_password() {
    let server = MailServer::start("tls", "{}");
    let broker = Mosquitto::start(Keeps::Nothing);
    let contact = "[contact.anna]\nmail = \"anna@example.org\"\ntopic = \"people/anna\"\n";
    let plant = plant(&broker, 1, &(server.settings("tls") + contact));
    let client = TestClient::connect(broker.port, "test", &["people/anna"]);
    let (status, text) = run(&plant, &["message", "try", "anna"]);
    assert_eq!(status, 0, "{text}");
    for line in [
        "* encrypted, the certificate is good",
        "< 220 ",
        "> AUTH PLAIN (not shown)",
        "< 235 ",
        "> MAIL FROM:<sumpward@example.org>",
        "> RCPT TO:<anna@example.org>",
        "< 354 ",
        "< 250 taken",
        "> QUIT",
        "< PUBACK",
    ] {
        assert!(text.contains(line), "\"{line}\" is missing in:\n{text}");
    }
    // The password, and how PLAIN writes it in base64.
    for secret in ["sesame", "AHN1bXB3YXJkAG9wZW4gc2VzYW1l"] {
        assert!(!text.contains(secret), "{text}");
    }
    assert_eq!(server.taken().len(), 1);
    let tested = client.next("people/anna");
    assert!(tested["text"].as_str().unwrap().contains("test message"));

    let (status, text) = run(&plant, &["message", "try", "ana"]);
    assert_eq!(status, 2);
    assert!(text.contains("did you mean \"anna\"?"), "{text}");
}

#[test]
fn nothing_is_sent_where_the_server_is_not_trusted() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let contact = "[contact.anna]\nmail = \"anna@example.org\"\n";
    // A certificate that somebody else vouches for.
    let server = MailServer::start("starttls", "{}");
    certificate(server.folder(), "other");
    let settings = server.settings("starttls").replace("ours.crt", "other.crt");
    let (status, text) = run(
        &plant(&broker, 1, &(settings + contact)),
        &["message", "try", "anna"],
    );
    assert_eq!(status, 1, "{text}");
    assert!(
        text.contains("NOT taken: TLS with 127.0.0.1 fails"),
        "{text}"
    );
    assert!(
        !text.contains("AUTH") && !text.contains("MAIL FROM"),
        "{text}"
    );
    // A server that cannot encrypt.
    let plain = MailServer::start("none", "{}");
    let settings = plain.settings("starttls");
    let (status, text) = run(
        &plant(&broker, 1, &(settings + contact)),
        &["message", "try", "anna"],
    );
    assert_eq!(status, 1, "{text}");
    assert!(text.contains("offers no STARTTLS"), "{text}");
    assert!(
        !text.contains("> AUTH") && !text.contains("MAIL FROM"),
        "{text}"
    );
    // A password that is wrong.
    let settings = server.settings("starttls");
    std::fs::write(server.folder().join("password"), "let me in\n").unwrap();
    let (status, text) = run(
        &plant(&broker, 1, &(settings + contact)),
        &["message", "try", "anna"],
    );
    assert_eq!(status, 1, "{text}");
    assert!(
        text.contains("NOT taken: the login was answered with 535"),
        "{text}"
    );
    assert_eq!(server.taken().len() + plain.taken().len(), 0);
}

#[test]
fn a_refusal_for_now_is_tried_again_and_one_for_good_is_put_aside_and_neither_holds_others_up() {
    let answers = r#"{"anna@example.org": ["451 later", "452 later still"],
        "gone@example.org": ["550 no such user"]}"#;
    let server = MailServer::start("none", answers);
    let broker = Mosquitto::start(Keeps::Nothing);
    let contacts = "[contact.anna]\nmail = \"anna@example.org\"\n\
        [contact.bert]\nmail = \"bert@example.org\"\n\
        [contact.gone]\nmail = \"gone@example.org\"\nsumps = [\"s0\"]\n";
    let plant = plant(&broker, 2, &(server.settings("none") + contacts));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    assert_eq!(client.next("/alarm")["sump"], "s0");
    reads(&client, 1, 2.9);
    let told = daemon.logged("a message is put aside");
    assert!(
        told.contains("gone/mail") && told.contains("550 no such user"),
        "{told}"
    );
    let taken = arrived(&server, 4);
    let of = |name: &str| -> Vec<&str> {
        let to = |mail: &&Value| mail["to"][0] == *name;
        let theirs = taken.iter().filter(to);
        theirs.map(|mail| mail["id"].as_str().unwrap()).collect()
    };
    for (name, address) in [("anna", "anna@example.org"), ("bert", "bert@example.org")] {
        let ids = of(address);
        assert_eq!(ids.len(), 2, "{name}: {taken:?}");
        assert!(ids[0].starts_with("<test.s0.") && ids[1].starts_with("<test.s1."));
    }
    let place = |address: &str| taken.iter().position(|mail| mail["to"][0] == *address);
    assert!(place("bert@example.org") < place("anna@example.org"));
    let (status, text) = run(&plant, &["message", "aside"]);
    assert_eq!(status, 0);
    assert!(
        text.contains("to gone/mail") && text.contains("550 no such user"),
        "{text}"
    );
    until("nothing waits", || (!waits(&plant, "/mail")).then_some(()));
}

#[test]
fn killed_while_it_sends_each_mail_comes_in_order_and_a_second_one_has_the_same_id() {
    const SUMPS: usize = 6;
    let server = MailServer::start("none", "{}");
    let broker = Mosquitto::start(Keeps::Sessions);
    let contact = "[contact.anna]\nmail = \"anna@example.org\"\n";
    let plant = plant(&broker, SUMPS, &(server.settings("none") + contact));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    arrived(&server, 1);
    server.hold();
    for sump in 1..SUMPS {
        reads(&client, sump, 2.9);
        client.next("/alarm");
    }
    until("the second mail is with the server, unanswered", || {
        (server.held().len() == 1).then_some(())
    });
    daemon.kill();
    // It takes the mail of the dead daemon, who never knew.
    server.go_on();
    let _daemon = Daemon::start(&plant);
    let taken = until("the last one is there", || {
        let taken = server.taken();
        let last = format!("<test.s{}.", SUMPS - 1);
        let is_last = |mail: &Value| mail["id"].as_str().unwrap().starts_with(&last);
        taken.iter().any(is_last).then_some(taken)
    });
    let mut ids: Vec<&str> = taken
        .iter()
        .map(|mail| mail["id"].as_str().unwrap())
        .collect();
    assert!(ids.len() <= SUMPS + 1, "one at most comes twice: {ids:?}");
    ids.dedup();
    assert_eq!(ids.len(), SUMPS, "none is missing, none is out of order");
    for (sump, id) in ids.iter().enumerate() {
        assert!(id.starts_with(&format!("<test.s{sump}.")), "{ids:?}");
    }
}

#[test]
fn what_nobody_takes_in_time_is_put_aside_and_told() {
    let server = MailServer::start("none", "{}");
    let settings = server.settings("none");
    drop(server);
    let broker = Mosquitto::start(Keeps::Nothing);
    let contact = "[contact.anna]\nmail = \"anna@example.org\"\n";
    let plant = plant(&broker, 1, &(settings + contact));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    client.next("/alarm");
    daemon.logged("a message waits: cannot connect");
    assert!(waits(&plant, "anna/mail: 1"));
    // Its time is over.
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let expired = store.execute(
        "UPDATE outbox SET expires = 1 WHERE receiver = 'anna/mail'",
        (),
    );
    assert_eq!(expired.unwrap(), 1);
    daemon.logged("messages were not delivered in time and are put aside");
    until("it is put aside", || {
        let (_, text) = run(&plant, &["message", "aside"]);
        text.contains("to anna/mail").then_some(())
    });
}
