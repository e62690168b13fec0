//! Acknowledging an alarm by the link in a message.

use std::process::Command;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::mail::{plant, reads};
use crate::mail_server::MailServer;
use crate::pages::{Answer, ask, request, with_pages};
use crate::plant::Plant;
use crate::wait::until;

const PEOPLE: &str = "\
[contact.anna]
mail = \"anna@example.org\"
language = \"de\"
time_zone = \"Asia/Kolkata\"
[contact.bert]
topic = \"people/bert\"
";

/// A plant whose mails bring links; gives the port of its pages.
fn linked(broker: &Mosquitto, server: &MailServer, sumps: usize) -> (Plant, u16) {
    let plant = plant(broker, sumps, &(server.settings("none") + PEOPLE));
    let port = with_pages(&plant, "");
    let path = plant.config().join("web.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    let address = format!("public_address = \"http://127.0.0.1:{port}\"\n");
    std::fs::write(&path, text + &address).unwrap();
    (plant, port)
}

/// The token in the newest mail, once there are so many.
fn mailed(server: &MailServer, count: usize) -> (String, String) {
    let mail = until("the mail is there", || {
        let taken = server.taken();
        (taken.len() >= count).then(|| taken[count - 1].clone())
    });
    let text = mail["text"].as_str().unwrap().replace("\r\n", "\n");
    let link = text.lines().last().unwrap().to_owned();
    let token = link.rsplit('/').next().unwrap().to_owned();
    assert!(link.starts_with("http://127.0.0.1:"), "{text}");
    (token, text)
}

fn open(port: u16, token: &str) -> Answer {
    ask(port, &request("GET", &format!("/acknowledge/{token}")))
}

fn press(port: u16, token: &str) -> Answer {
    let body = format!("token={token}");
    let post = format!(
        "POST /acknowledge HTTP/1.1\r\nhost: test\r\nconnection: close\r\n\
         content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    ask(port, &post)
}

fn acknowledgements(plant: &Plant) -> usize {
    let lines = journal(plant);
    let of = |line: &&String| line.contains("\"transition\":\"acknowledged\"");
    lines.iter().filter(of).count()
}

#[test]
fn opening_a_link_shows_and_pressing_acknowledges_once_whatever_kills_the_daemon() {
    let server = MailServer::start("none", "{}");
    let broker = Mosquitto::start(Keeps::Sessions);
    let (plant, port) = linked(&broker, &server, 1);
    let client = TestClient::connect(broker.port, "test", &["people/#", "sumpward/test/s0/alarm"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let berts = client.next("people/bert");
    let berts = berts["acknowledge"].as_str().unwrap();
    let own = client.next("sumpward/test/s0/alarm");
    assert!(
        own.get("acknowledge").is_none(),
        "the sump's own topic has no receiver"
    );
    let (token, text) = mailed(&server, 1);
    assert!(text.contains("ZU NIEDRIG"), "{text}");
    assert!(text.contains("+0530") || text.contains("IST"), "{text}");
    assert_ne!(
        berts.rsplit('/').next().unwrap(),
        token,
        "each has their own"
    );

    // Opening changes nothing, however often and by whomever.
    let lines = journal(&plant);
    for _ in 0..3 {
        let seen = open(port, &token);
        assert_eq!(seen.status, 200, "{}", seen.body);
        assert!(
            seen.body.contains("Noch niemand hat quittiert."),
            "{}",
            seen.body
        );
        assert!(seen.body.contains("Ich übernehme"));
        assert!(
            seen.body.contains("<h1>Sump 0: Konzentration ZU NIEDRIG"),
            "{}",
            seen.body
        );
        assert!(
            seen.header("content-security-policy")
                .unwrap()
                .contains("form-action 'self'")
        );
        assert_eq!(seen.header("referrer-policy"), Some("no-referrer"));
        let head = ask(port, &request("HEAD", &format!("/acknowledge/{token}")));
        assert_eq!((head.status, head.body.as_str()), (200, ""));
    }
    assert_eq!(journal(&plant), lines);

    // Pressing is on the disk before it is said to be.
    let done = press(port, &token);
    assert_eq!(done.status, 200, "{}", done.body);
    assert!(
        done.body.contains("Erledigt: quittiert von anna (link)"),
        "{}",
        done.body
    );
    daemon.kill();
    assert_eq!(acknowledgements(&plant), 1);
    let daemon = Daemon::start(&plant);
    let told = loop {
        let told = client.next("people/bert");
        if told["transition"] == "acknowledged" {
            break told;
        }
    };
    assert_eq!(told["by"], "anna (link)");

    // A second time says so and does nothing.
    let again = press(port, &token);
    assert_eq!(again.status, 200);
    assert!(
        again.body.contains("hat seinen Dienst schon getan"),
        "{}",
        again.body
    );
    let seen = open(port, &token);
    assert!(!seen.body.contains("<form"), "{}", seen.body);
    // Bert's link comes too late for this.
    let late = press(port, berts.rsplit('/').next().unwrap());
    assert_eq!(late.status, 409);
    assert!(
        late.body.contains("Acknowledged by anna (link)"),
        "{}",
        late.body
    );
    assert_eq!(acknowledgements(&plant), 1);
    assert_eq!(daemon.count_logged(&token), 0, "no token in the log");
}

#[test]
fn a_link_that_is_wrong_old_or_overtaken_says_so_and_does_nothing() {
    let server = MailServer::start("none", "{}");
    let broker = Mosquitto::start(Keeps::Nothing);
    let (plant, port) = linked(&broker, &server, 1);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let (token, _) = mailed(&server, 1);

    let mut forged = token.clone();
    forged.replace_range(20..21, if &forged[20..21] == "x" { "y" } else { "x" });
    for (wrong, status) in [
        ("abc".to_owned(), 400),
        ("A".repeat(120), 403),
        (forged, 403),
    ] {
        for answer in [open(port, &wrong), press(port, &wrong)] {
            assert_eq!(answer.status, status, "{wrong}: {}", answer.head);
        }
    }
    let bare = "POST /acknowledge HTTP/1.1\r\nhost: test\r\nconnection: close\r\ncontent-length: 0\r\n\r\n";
    assert_eq!(ask(port, bare).status, 400);
    assert_eq!(
        ask(port, &request("DELETE", &format!("/acknowledge/{token}"))).status,
        405
    );
    daemon.logged("its link is not one that we wrote");
    assert_eq!(acknowledgements(&plant), 0);

    // It is over and comes again: the old link is good for neither.
    let first_id = client.next("/alarm")["id"].clone();
    reads(&client, 0, 4.0);
    assert_eq!(client.next("/alarm")["transition"], "returned");
    reads(&client, 0, 2.9);
    let again = client.next("/alarm");
    assert_eq!(again["transition"], "raised");
    assert_ne!(again["id"], first_id);
    for answer in [open(port, &token), press(port, &token)] {
        assert_eq!(answer.status, 409, "{}", answer.body);
        assert!(answer.body.contains("wiedergekommen"), "{}", answer.body);
    }
    assert_eq!(acknowledgements(&plant), 0);
    // The newest one is good.
    let (newest, _) = mailed(&server, 3);
    assert_eq!(press(port, &newest).status, 200);
    assert_eq!(acknowledgements(&plant), 1);

    // Who is no contact any more has no say, and a new key voids every link.
    drop(daemon);
    let key = plant.store().join("link.key");
    std::fs::remove_file(&key).unwrap();
    let _daemon = Daemon::start(&plant);
    assert_eq!(open(port, &newest).status, 403);
    use std::os::unix::fs::PermissionsExt;
    assert_eq!(key.metadata().unwrap().permissions().mode() & 0o777, 0o600);
}

/// Draws the page as a phone and as a desk show it, for people to look at; into
/// the folder that PAGES names.
#[test]
#[ignore = "needs chromium, and somebody who looks"]
fn the_page_is_drawn_for_people_to_look_at() {
    let folder = std::env::var("PAGES").expect("PAGES names a folder");
    let server = MailServer::start("none", "{}");
    let broker = Mosquitto::start(Keeps::Nothing);
    let (plant, port) = linked(&broker, &server, 1);
    let client = TestClient::connect(broker.port, "test", &["people/bert"]);
    let _daemon = Daemon::start(&plant);
    for _ in 0..3 {
        reads(&client, 0, 2.9);
    }
    let bert = client.next("people/bert");
    let english = bert["acknowledge"].as_str().unwrap().to_owned();
    let (token, _) = mailed(&server, 1);
    let german = format!("http://127.0.0.1:{port}/acknowledge/{token}");
    let shoot = |name: &str, url: &str, size: &str| {
        let profile = tempfile::tempdir().unwrap();
        let taken = Command::new("chromium")
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--hide-scrollbars",
            ])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg(format!("--window-size={size}"))
            .arg(format!("--screenshot={folder}/{name}.png"))
            .arg(url)
            .output()
            .expect("chromium is installed");
        assert!(taken.status.success(), "{taken:?}");
    };
    shoot("phone-de", &german, "390,1400");
    shoot("desk-en", &english, "1280,1400");
    assert_eq!(press(port, &token).status, 200);
    shoot("phone-en-late", &english, "390,1400");
    shoot("phone-forged", &format!("{german}A"), "390,700");
}
