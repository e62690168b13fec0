//! Messages to people: their order, what becomes of them, and what is to happen
//! later.

use std::sync::atomic::Ordering::Relaxed;

use super::*;

fn letter(receiver: &str, id: &str, expires: Option<i64>) -> OutboxRow {
    OutboxRow {
        receiver: receiver.to_owned(),
        message: Some(id.to_owned()),
        expires: expires.map(at),
        ..message(id, None)
    }
}

fn settled(settled: Vec<SettledRow>) -> Batch<u32> {
    Batch {
        settled,
        ..Batch::default()
    }
}

fn changed(waiting: Vec<WaitingChange>) -> Batch<u32> {
    Batch {
        waiting,
        ..Batch::default()
    }
}

fn add(due: i64, subject: &str) -> WaitingChange {
    WaitingChange::Add(WaitingRow {
        due: at(due),
        subject: Some(subject.to_owned()),
        body: format!("\"{subject}\""),
    })
}

impl Plant {
    /// The message that comes first for a receiver, and its id in the outbox.
    fn first(&self, receiver: &str) -> Option<(String, i64)> {
        let found = self.reader().first_letter(receiver, at(5)).unwrap();
        found.map(|letter| (letter.message, letter.id))
    }
}

#[test]
fn each_receiver_has_an_order_of_its_own_and_the_broker_sees_its_own_only() {
    let plant = Plant::start(patient());
    plant.commit(messages(vec![
        letter("anna/mail", "a1", None),
        message("state", None),
        letter("bert/mail", "b1", None),
        letter("anna/mail", "a2", None),
    ]));
    let reader = plant.reader();
    let broker = reader.outbox_after(0, 9).unwrap();
    assert_eq!(broker.len(), 1);
    assert_eq!(broker[0].payload, "state");
    let (first, id) = plant.first("anna/mail").unwrap();
    assert_eq!(first, "a1");
    plant.commit(settled(vec![SettledRow::Again { id, at: at(70) }]));
    let again = plant.reader().first_letter("anna/mail", at(5)).unwrap();
    let again = again.unwrap();
    assert_eq!((again.id, again.attempts), (id, 1), "it stays the first");
    assert_eq!(again.next_attempt, at(70));
    plant.commit(settled(vec![SettledRow::Delivered { id }]));
    assert_eq!(plant.first("anna/mail").unwrap().0, "a2");
    assert_eq!(plant.first("bert/mail").unwrap().0, "b1");
    assert_eq!(plant.writer.stats().outbox_depth.load(Relaxed), 3);
}

#[test]
fn what_is_refused_for_good_or_expires_is_put_aside_and_counted() {
    let plant = Plant::start(patient());
    plant.commit(messages(vec![
        letter("anna/mail", "a1", Some(100)),
        letter("anna/mail", "a2", Some(50)),
        letter("anna/mail", "a3", None),
    ]));
    let (_, id) = plant.first("anna/mail").unwrap();
    let refused = SettledRow::PutAside {
        id,
        time: at(20),
        why: "550 no such user".to_owned(),
    };
    let receipt = plant.commit(settled(vec![refused]));
    assert_eq!((receipt.counts.put_aside, receipt.counts.expired), (1, 0));
    let reader = plant.reader();
    assert_eq!(reader.expired(at(49)).unwrap(), 0);
    assert_eq!(reader.expired(at(50)).unwrap(), 1);
    let left = reader.first_letter("anna/mail", at(50)).unwrap().unwrap();
    assert_eq!(left.message, "a3", "an expired one is not sent any more");
    let receipt = plant.commit(Batch {
        expire: Some(at(50)),
        ..Batch::default()
    });
    assert_eq!((receipt.counts.put_aside, receipt.counts.expired), (0, 1));
    assert_eq!(plant.writer.stats().outbox_depth.load(Relaxed), 1);
    let aside = plant.reader().put_aside(9).unwrap();
    let told: Vec<_> = aside
        .iter()
        .map(|one| (one.message.as_deref().unwrap(), one.time, one.why.as_str()))
        .collect();
    assert_eq!(told[1], ("a1", at(20), "550 no such user"));
    assert_eq!((told[0].0, told[0].1), ("a2", at(50)));
    assert!(told[0].2.contains("expired"), "{}", told[0].2);
}

#[test]
fn of_messages_put_aside_the_newest_thousand_are_kept() {
    let plant = Plant::start(patient());
    let many = (0..1_100).map(|n| letter("anna/mail", &format!("a{n}"), Some(1)));
    plant.commit(messages(many.collect()));
    plant.commit(Batch {
        expire: Some(at(2)),
        ..Batch::default()
    });
    let aside = plant.reader().put_aside(2_000).unwrap();
    assert_eq!(aside.len(), 1_000);
    assert_eq!(aside[0].message.as_deref(), Some("a1099"));
    assert_eq!(aside[999].message.as_deref(), Some("a100"));
}

#[test]
fn a_receiver_that_takes_nothing_pushes_nobody_elses_messages_out() {
    let plant = Plant::start(Limits {
        outbox_rows: 10,
        ..patient()
    });
    plant.commit(messages(vec![letter("bert/mail", "b1", None)]));
    let many = (0..15).map(|n| letter("anna/mail", &format!("a{n}"), None));
    let receipt = plant.commit(messages(many.collect()));
    assert_eq!(receipt.counts.outbox_dropped, 6);
    assert_eq!(plant.first("bert/mail").unwrap().0, "b1");
    assert_eq!(plant.first("anna/mail").unwrap().0, "a6");
}

#[test]
fn what_was_taken_back_does_not_happen_though_it_was_read_before() {
    let plant = Plant::start(patient());
    plant.commit(changed(vec![add(10, "alarm-1"), add(20, "alarm-2")]));
    assert_eq!(plant.reader().due(at(9), 9).unwrap(), []);
    let due = plant.reader().due(at(20), 9).unwrap();
    assert_eq!(due.len(), 2);
    plant.commit(changed(vec![WaitingChange::Forget {
        subject: "alarm-1".to_owned(),
    }]));
    let happens = |id: i64, name: &str| WaitingChange::Take {
        id,
        then: vec![
            WaitingChange::Send {
                outbox: vec![letter("lead/mail", name, None)],
            },
            WaitingChange::Add(WaitingRow {
                due: at(90),
                subject: Some(name.to_owned()),
                body: "null".to_owned(),
            }),
        ],
    };
    let both = vec![happens(due[0].id, "alarm-1"), happens(due[1].id, "alarm-2")];
    let receipt = plant.commit(changed(both.clone()));
    assert_eq!(receipt.counts.outbox_added, 1);
    assert_eq!(plant.first("lead/mail").unwrap().0, "alarm-2");
    assert_eq!(plant.reader().due(at(99), 9).unwrap().len(), 1);
    // Once is enough, however often it is asked for.
    let receipt = plant.commit(changed(both));
    assert_eq!(receipt.counts.outbox_added, 0);
}

#[test]
fn changes_of_one_batch_keep_their_order() {
    let plant = Plant::start(patient());
    let forget = || WaitingChange::Forget {
        subject: "alarm-1".to_owned(),
    };
    plant.commit(changed(vec![
        add(1, "alarm-1"),
        forget(),
        add(2, "alarm-1"),
    ]));
    let due = plant.reader().due(at(9), 9).unwrap();
    assert_eq!(due.len(), 1);
    assert_eq!(due[0].due, at(2));
}

#[test]
fn a_message_in_its_turn_overtakes_nothing_that_was_held_back_before() {
    let plant = Plant::start(patient());
    let in_turn = |name: &str, alarm: Option<&str>| WaitingChange::InTurn {
        before: Before {
            subjects: vec!["flood/anna".to_owned(), "away/anna".to_owned()],
            alarm: alarm.map(str::to_owned),
        },
        outbox: vec![letter("anna/mail", name, None)],
        row: WaitingRow {
            due: at(90),
            subject: Some("away/anna".to_owned()),
            body: format!("{{\"item\":{{\"alarm\":\"{name}\"}}}}"),
        },
    };
    // Nothing waits: it goes out.
    let receipt = plant.commit(changed(vec![in_turn("first", None)]));
    assert_eq!(receipt.counts.outbox_added, 1);
    // In one transaction with what is held back, and in later ones.
    let held = WaitingChange::Add(WaitingRow {
        due: at(90),
        subject: Some("away/anna".to_owned()),
        body: "{\"item\":{\"alarm\":\"one\"}}".to_owned(),
    });
    let receipt = plant.commit(changed(vec![held, in_turn("second", None)]));
    assert_eq!(receipt.counts.outbox_added, 0);
    let receipt = plant.commit(changed(vec![in_turn("third", None)]));
    assert_eq!(receipt.counts.outbox_added, 0);
    // One that waits for its own alarm only.
    let receipt = plant.commit(changed(vec![
        in_turn("fourth", Some("other")),
        in_turn("fifth", Some("one")),
    ]));
    assert_eq!(receipt.counts.outbox_added, 1);
    let waiting = plant.reader().waiting_under("away/anna", 9).unwrap();
    assert_eq!(waiting.len(), 4);
    // Once they are gone the next one goes out again; all in one transaction.
    let mut changes: Vec<WaitingChange> = waiting
        .iter()
        .map(|row| WaitingChange::Take {
            id: row.id,
            then: Vec::new(),
        })
        .collect();
    changes.push(in_turn("sixth", None));
    let receipt = plant.commit(changed(changes));
    assert_eq!(receipt.counts.outbox_added, 1);
}
