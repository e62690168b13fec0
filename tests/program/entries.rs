//! What people write down, by its three ways: over MQTT, on the command line,
//! and out of a file.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::{Value, json};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

const ENTRY: &str = "sumpward/test/entry";

fn plant(broker: &Mosquitto) -> Plant {
    Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    })
}

fn entry(plant: &Plant, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["entry", "--config"])
        .arg(plant.config())
        .args(arguments)
        .env("TZ", "<+03>-3")
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

fn out(done: &Output) -> String {
    String::from_utf8_lossy(&done.stdout).into_owned()
}

fn err(done: &Output) -> String {
    String::from_utf8_lossy(&done.stderr).into_owned()
}

/// The entries in the journal.
fn entries(plant: &Plant) -> Vec<Value> {
    let lines = journal(plant).into_iter();
    lines
        .map(|line| serde_json::from_str::<Value>(&line).unwrap())
        .filter(|line| line["kind"] == "entry")
        .map(|line| line["entry"].clone())
        .collect()
}

#[test]
fn over_mqtt_the_writer_is_told_what_became_of_it() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let filters = [
        "sumpward/test/entry/answer",
        "sumpward/test/entry/answer/me",
    ];
    let client = TestClient::connect(broker.port, "test", &filters);
    let daemon = Daemon::start(&plant);
    let note = json!({"kind": "note", "id": "n1", "time": now().to_string(), "sump": "s0", "text": "foam"});
    client.publish(ENTRY, note.to_string());
    let answer = client.next("/answer");
    assert_eq!(
        (&answer["id"], &answer["answer"]),
        (&"n1".into(), &"taken".into())
    );
    assert_eq!(
        entries(&plant).len(),
        1,
        "what is said to be taken is on the disk"
    );
    client.publish(ENTRY, note.to_string());
    assert_eq!(client.next("/answer")["answer"], "known");

    let slip = json!({"kind": "note", "id": "n2", "time": now().to_string(), "sump": "s7", "text": "foam"});
    client.publish(ENTRY, slip.to_string());
    let answer = client.next("/answer");
    assert_eq!(
        (&answer["id"], &answer["answer"]),
        (&"n2".into(), &"refused".into())
    );
    assert!(
        answer["why"].as_str().unwrap().contains("no sump \"s7\""),
        "{answer}"
    );
    daemon.logged("message refused");

    // MQTT 5: where the answer is to go, and by what it is known.
    let mine = format!("{ENTRY}/answer/me");
    client.ask(ENTRY, "hello", &mine, b"q1");
    let answer = client.next("/entry/answer/me");
    assert_eq!(answer["answer"], "refused");
    assert_eq!(client.correlation(), b"q1");
    // Nobody makes the daemon write anywhere else.
    client.ask(ENTRY, &note.to_string(), "valves/7/open", b"q2");
    assert_eq!(client.next("/entry/answer")["answer"], "known");
    assert_eq!(client.correlation(), b"q2");
    assert_eq!(entries(&plant).len(), 1);
}

/// However many came in between, in one burst or long ago.
#[test]
fn the_same_entry_again_over_mqtt_counts_once_however_many_lie_between() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/entry/answer/me"]);
    let _daemon = Daemon::start(&plant);
    let begun = now() - Span::from_secs(600);
    let note = |n: i64| {
        let time = (begun + Span::from_secs(n)).to_string();
        json!({"kind": "note", "id": format!("n{n}"), "time": time, "sump": "s0", "text": "foam"})
            .to_string()
    };
    for n in (0..100).chain(0..30) {
        client.publish(ENTRY, note(n));
    }
    // By the time of this answer everything before it has been judged.
    client.ask(ENTRY, &note(0), "sumpward/test/entry/answer/me", b"q");
    assert_eq!(client.next("/answer/me")["answer"], "known");
    assert_eq!(entries(&plant).len(), 100);
}

#[test]
fn on_the_command_line_it_is_taken_corrected_and_refused() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/brix", brix(4.0, now()));
    client.publish("in/s0/level", "900");

    let wrong = [
        "s0",
        "hand-reading",
        "brix",
        "2.4",
        "--by",
        "anna",
        "--json",
    ];
    let first = entry(&plant, &wrong);
    assert!(first.status.success(), "{}", err(&first));
    let told: Value = serde_json::from_str(&out(&first)).unwrap();
    assert_eq!(
        (&told["answer"], &told["sump"]),
        (&"taken".into(), &"s0".into())
    );
    let id = told["id"].as_str().unwrap();
    let doubt = client.next("/alarm");
    assert_eq!(
        (&doubt["condition"], &doubt["transition"]),
        (&"disagrees.brix".into(), &"raised".into())
    );

    let at = (now() - Span::from_secs(60) + Span::from_hours(3)).to_string();
    let on_the_wall = format!("{} {}", &at[..10], &at[11..19]);
    let corrected = entry(
        &plant,
        &[
            "s0",
            "hand-reading",
            "brix",
            "4.1",
            "--supersedes",
            id,
            "--at",
            &on_the_wall,
        ],
    );
    assert!(corrected.status.success(), "{}", err(&corrected));
    assert!(
        out(&corrected).contains(&format!("taken: s0, {on_the_wall} +03")),
        "{}",
        out(&corrected)
    );
    assert_eq!(client.next("/alarm")["transition"], "returned");
    let kept = entries(&plant);
    assert_eq!(
        (&kept[0]["value"], &kept[1]["value"]),
        (&2.4.into(), &4.1.into())
    );
    assert_eq!(kept[1]["supersedes"], id);
    let time = Timestamp::parse(kept[1]["time"].as_str().unwrap()).unwrap();
    assert_eq!(
        time + Span::from_hours(3),
        Timestamp::parse(&format!("{}Z", &at[..19])).unwrap()
    );

    for (arguments, words) in [
        (
            &["s0", "withdrawn", "--supersedes", id][..],
            "superseded by",
        ),
        (
            &["s0", "withdrawn", "--supersedes", "nonsense"],
            "no entry \"nonsense\"",
        ),
        (&["s0", "hand-reading", "brix", "620"], "-1 to 60"),
        (
            &["s0", "hand-readng", "brix", "6"],
            "did you mean \"hand_reading\"",
        ),
        (
            &["s0", "addition", "premix", "85", "L"],
            "strength_pct is missing",
        ),
        (&["s0", "acknowledge"], "alarm is missing"),
    ] {
        let done = entry(&plant, arguments);
        assert_eq!(done.status.code(), Some(1), "{arguments:?}");
        assert!(err(&done).contains(words), "{arguments:?}: {}", err(&done));
    }
    for (arguments, words) in [
        (&["s0"][..], "the kind are missing"),
        (&["s0", "hand-reading", "brix", "much"], "\"much\""),
        (&["s0", "note", "x", "--at", "noon"], "\"noon\""),
    ] {
        let done = entry(&plant, arguments);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}");
        assert!(err(&done).contains(words), "{arguments:?}: {}", err(&done));
    }
    assert_eq!(entries(&plant).len(), 2);
}

#[test]
fn out_of_a_file_each_is_taken_once_and_slips_are_told_by_line() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let daemon = Daemon::start(&plant);
    let csv = plant.folder().join("round.csv");
    let text = "kind,time,sump,by,quantity,value,unit,what,litres,look,text,supersedes\n\
                # the morning round\n\
                hand_reading,2026-03-02 06:10,s0,anna,ph,8.9,,,,,,\n\
                hand_reading,2026-03-02 06:20,s1,anna,hardness,12,°dH,,,,,\n\
                addition,2026-03-02 06:30,s1,anna,,,,water,30,,,\n\
                impression,2026-03-02 06:40,s1,anna,,,,,,foam oil_film,since Monday,\n\
                hand_reading,06:50,s1,anna,ph,8.9,,,,,,\n\
                hand_reading,2026-03-02 07:00,s1,anna,ph,89,,,,,,\n\
                note,2026-03-02 07:10,s1,anna,,,,,,,x,zzz\n";
    std::fs::write(&csv, text).unwrap();
    let file = |path: &Path| entry(&plant, &["--file", path.to_str().unwrap()]);
    let first = file(&csv);
    assert_eq!(first.status.code(), Some(1));
    let told = err(&first);
    for (line, words) in [(7, "has no date"), (8, "0 to 14"), (9, "no entry \"zzz\"")] {
        let found = told
            .lines()
            .any(|l| l.contains(&format!("round.csv:{line}: refused")) && l.contains(words));
        assert!(found, "line {line}: {words} in\n{told}");
    }
    assert!(
        told.contains("taken 4, known before 0, refused 3"),
        "{told}"
    );
    let kept = entries(&plant);
    assert_eq!(kept[0]["time"], "2026-03-02T03:10:00Z");
    let hardness = kept[1]["value"].as_f64().unwrap();
    assert!((hardness - 12.0 * 17.848).abs() < 0.01, "{hardness}");
    assert_eq!(kept[1]["written"], "12 °dH");
    assert_eq!(kept[3]["look"], json!(["foam", "oil_film"]));

    // Again, after a restart, and with the good lines alone.
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    let lines: Vec<&str> = text.lines().take(6).collect();
    std::fs::write(&csv, lines.join("\n")).unwrap();
    let second = file(&csv);
    assert!(second.status.success(), "{}", err(&second));
    assert!(
        out(&second).contains("taken 0, known before 4, refused 0"),
        "{}",
        out(&second)
    );

    let json = plant.folder().join("round.jsonl");
    let note = json!({"kind": "note", "time": "2026-03-02T06:10:00Z", "sump": "s0", "text": "a"});
    std::fs::write(&json, format!("{note}\n\nno JSON\n{note}\n")).unwrap();
    let third = file(&json);
    assert_eq!(third.status.code(), Some(1));
    assert!(
        err(&third).contains("round.jsonl:3: refused: it is not JSON"),
        "{}",
        err(&third)
    );
    assert!(
        err(&third).contains("taken 1, known before 1, refused 1"),
        "{}",
        err(&third)
    );
    assert_eq!(entries(&plant).len(), 5);
}

#[test]
fn an_acknowledgement_from_the_command_line_can_be_taken_back() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.5, now()));
    let alarm = client.next("/alarm")["id"].as_str().unwrap().to_owned();
    let seen = entry(
        &plant,
        &["s0", "acknowledge", &alarm, "--by", "anna", "--id", "seen"],
    );
    assert!(seen.status.success(), "{}", err(&seen));
    assert_eq!(client.next("/alarm")["state"], "acknowledged");
    let back = entry(
        &plant,
        &[
            "s0",
            "withdrawn",
            "wrong machine",
            "--supersedes",
            "seen",
            "--by",
            "anna",
        ],
    );
    assert!(back.status.success(), "{}", err(&back));
    let told = client.next("/alarm");
    assert_eq!(
        (&told["state"], &told["transition"]),
        (&"unacknowledged".into(), &"unacknowledged".into())
    );
    let text = told["text"].as_str().unwrap();
    assert!(text.contains("TAKEN BACK"), "{told}");
    assert!(text.contains("By anna"), "{told}");
    until("all of it is in the journal", || {
        (entries(&plant).len() == 2).then_some(())
    });
}
