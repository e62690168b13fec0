//! What the writer keeps, counts, retries and gives back.

use std::sync::atomic::Ordering::Relaxed;

use proptest::prelude::*;

use super::*;

#[test]
fn a_reading_delivered_twice_is_stored_once() {
    let plant = Plant::start(patient());
    let both = vec![sample(0, 1, 5.0), sample(1, 1, 0.2)];
    let first = plant.commit(samples(both.clone()));
    assert_eq!((first.counts.stored, first.counts.duplicates), (2, 0));
    let second = plant.commit(samples(both));
    assert_eq!((second.counts.stored, second.counts.duplicates), (0, 2));
    assert_eq!(plant.all(0).len(), 1);
    assert_eq!(plant.writer.stats().duplicates.load(Relaxed), 2);
}

#[test]
fn on_a_conflict_the_first_value_stays() {
    let plant = Plant::start(patient());
    // Within one transaction, in and across batches, and against the table.
    plant.submit(samples(vec![
        sample(0, 9, 9.0),
        sample(0, 1, 5.0),
        sample(0, 1, 6.0),
    ]));
    let first = plant.commit(samples(vec![sample(0, 1, 7.0)]));
    assert_eq!((first.counts.stored, first.counts.conflicts), (2, 2));
    let second = plant.commit(samples(vec![sample(0, 1, 8.0)]));
    assert_eq!((second.counts.stored, second.counts.conflicts), (0, 1));
    assert_eq!(plant.all(0)[0].value, 5.0);
}

#[test]
fn who_asks_for_a_tally_learns_what_became_of_its_own_rows() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![sample(0, 1, 5.0), sample(0, 2, 5.0)]));
    let tally = Tally::default();
    plant.submit(Batch {
        tally: Some(Tally::clone(&tally)),
        ..samples(vec![
            sample(0, 1, 5.0),
            sample(0, 2, 6.0),
            sample(0, 3, 7.0),
            sample(99, 3, 7.0),
        ])
    });
    assert_eq!(tally.get(), None, "not committed yet");
    let receipt = plant.commit(samples(vec![sample(0, 1, 5.0), sample(0, 4, 5.0)]));
    let own = tally.get().unwrap();
    assert_eq!(
        (own.stored, own.duplicates, own.conflicts, own.refused),
        (1, 1, 1, 1)
    );
    assert_eq!((receipt.counts.stored, receipt.counts.duplicates), (2, 2));
}

#[test]
fn a_cursor_moves_with_its_rows_or_not_at_all() {
    let plant = Plant::start(patient());
    let position = |plant: &Plant| {
        let cursors = plant.reader().cursors("import/").unwrap();
        cursors.first().map(|cursor| cursor.position)
    };
    plant.commit(Batch {
        cursors: vec![
            cursor("import/a", Some(1)),
            cursor("other", Some(9)),
            cursor("import/a", Some(2)),
        ],
        ..samples(vec![sample(0, 1, 5.0)])
    });
    assert_eq!(position(&plant), Some(2));

    plant.meddle(&REFUSE.replace("ON journal", "ON cursors"));
    plant.submit(Batch {
        cursors: vec![cursor("import/a", Some(3))],
        ..samples(vec![sample(0, 2, 5.0)])
    });
    let flushing = plant.writer.handle();
    let flushed = std::thread::spawn(move || flushing.flush());
    wait_until("an attempt failed", || {
        plant.writer.stats().write_errors.load(Relaxed) > 0
    });
    assert_eq!((position(&plant), plant.all(0).len()), (Some(2), 1));
    plant.meddle("DROP TRIGGER refuse");
    flushed.join().unwrap().unwrap();
    assert_eq!((position(&plant), plant.all(0).len()), (Some(3), 2));

    plant.commit(Batch {
        cursors: vec![cursor("import/a", None)],
        ..Batch::default()
    });
    assert_eq!(position(&plant), None);
}

#[test]
fn what_cannot_be_stored_is_counted_and_does_not_block() {
    let plant = Plant::start(patient());
    let receipt = plant.commit(samples(vec![
        sample(0, 1, f64::NAN),
        sample(0, 2, f64::INFINITY),
        sample(99, 3, 1.0),
        sample(0, 4, 1.0),
    ]));
    assert_eq!((receipt.counts.stored, receipt.counts.refused), (1, 3));
}

#[test]
fn a_journal_line_is_written_once_and_never_changed() {
    let plant = Plant::start(patient());
    let first = line(1, "m1", 1, "note", r#"{"text":"a"}"#);
    let other = line(1, "m1", 1, "note", r#"{"text":"b"}"#);
    plant.commit(journal(vec![first.clone()]));
    let receipt = plant.commit(journal(vec![first, other]));
    assert_eq!(receipt.counts.journal_conflicts, 1);
    let kept = plant.reader().journal(None, 10).unwrap();
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].body, r#"{"text":"a"}"#);
}

#[test]
fn acknowledgements_come_after_the_commit_and_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let series = store.register(&series_rows()).unwrap();
    let (sender, seen) = mpsc::channel();
    let reader = Reader::open(folder.path()).unwrap();
    let after_commit = Box::new(move |receipt: Receipt<u32>| {
        let stored = reader.count_readings(SeriesKind::Reading).unwrap();
        sender.send((receipt.acks, stored)).unwrap();
    });
    let writer = Writer::start(store, series, patient(), after_commit).unwrap();
    for ack in 0..10 {
        let mut batch = samples(vec![sample(0, i64::from(ack), 1.0)]);
        batch.acks.push(ack);
        batch.urgent = ack == 4;
        writer.handle().submit(batch).unwrap();
    }
    writer.stop().unwrap();
    let seen: Vec<_> = seen.iter().collect();
    let acks: Vec<u32> = seen.iter().flat_map(|(acks, _)| acks.clone()).collect();
    assert_eq!(acks, (0..10).collect::<Vec<_>>());
    let mut acknowledged = 0;
    for (acks, stored) in seen {
        acknowledged += acks.len() as u64;
        assert_eq!(stored, acknowledged);
    }
}

#[test]
fn batches_share_a_commit_until_one_is_urgent() {
    let plant = Plant::start(patient());
    for t in 0..5 {
        plant.submit(samples(vec![sample(0, t, 1.0)]));
    }
    plant.submit(Batch {
        urgent: true,
        ..samples(vec![sample(0, 5, 1.0)])
    });
    let receipt = plant.receipts.recv_timeout(DEADLINE).unwrap();
    assert_eq!((receipt.emptied.len(), receipt.counts.stored), (6, 6));
    assert_eq!(plant.writer.stats().commits.load(Relaxed), 1);
    assert!(
        receipt
            .emptied
            .iter()
            .all(|batch| batch.rows() == 0 && !batch.urgent && batch.samples.capacity() > 0)
    );
}

#[test]
fn enough_rows_or_enough_waiting_commit_too() {
    let rows = Plant::start(Limits {
        group_rows: 3,
        ..patient()
    });
    rows.submit(samples((0..3).map(|t| sample(0, t, 1.0)).collect()));
    let receipt = rows.receipts.recv_timeout(DEADLINE).unwrap();
    assert_eq!(receipt.counts.stored, 3);

    let waiting = Plant::start(Limits::default());
    waiting.submit(samples(vec![sample(0, 1, 1.0)]));
    let receipt = waiting.receipts.recv_timeout(DEADLINE).unwrap();
    assert_eq!(receipt.counts.stored, 1);
}

#[test]
fn flush_returns_after_everything_before_it() {
    let plant = Plant::start(patient());
    let handle = plant.writer.handle();
    handle.flush().unwrap();
    for t in 0..50 {
        plant.submit(samples(vec![sample(0, t, 1.0)]));
    }
    handle.flush().unwrap();
    assert_eq!(plant.all(0).len(), 50);
    assert_eq!(plant.writer.stats().queue_depth.load(Relaxed), 0);
}

#[test]
fn stop_commits_closes_and_takes_nothing_more() {
    let plant = Plant::start(patient());
    let handle = plant.writer.handle();
    plant.submit(samples(vec![sample(0, 1, 1.0)]));
    plant.writer.stop().unwrap();
    assert!(matches!(
        handle.submit(Batch::default()),
        Err(StoreError::Stopped)
    ));
    assert!(matches!(
        handle.try_submit(Batch::default()),
        Err(Refused::Stopped(_))
    ));
    assert!(matches!(handle.flush(), Err(StoreError::Stopped)));
    let log = plant.folder.path().join(format!("{FILE_NAME}-wal"));
    assert!(!log.exists(), "the log is folded into the file");
    let store = Store::open(plant.folder.path()).unwrap();
    assert_eq!(*store.opened(), Opened::Clean);
    let reader = Reader::open(plant.folder.path()).unwrap();
    assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 1);
}

#[test]
fn a_slot_holds_the_newest_unsent_state() {
    let plant = Plant::start(patient());
    plant.commit(messages(vec![
        message("old", Some("m1/state")),
        message("event 1", None),
        message("event 2", None),
    ]));
    let receipt = plant.commit(messages(vec![
        message("newer", Some("m1/state")),
        message("newest", Some("m1/state")),
    ]));
    assert_eq!(receipt.counts.outbox_added, 2);
    assert_eq!(receipt.counts.outbox_dropped, 0);
    let left = plant.reader().outbox_after(0, 10).unwrap();
    let payloads: Vec<_> = left.iter().map(|m| m.payload.as_str()).collect();
    assert_eq!(payloads, ["event 1", "event 2", "newest"]);
    assert!(left[2].retain && !left[1].retain);
    assert_eq!(plant.writer.stats().outbox_depth.load(Relaxed), 3);
}

#[test]
fn delivered_messages_leave_and_their_ids_never_come_back() {
    let plant = Plant::start(patient());
    let handle = plant.writer.handle();
    plant.commit(messages(vec![message("a", None), message("b", None)]));
    let ids: Vec<i64> = plant
        .reader()
        .outbox_after(0, 10)
        .unwrap()
        .iter()
        .map(|m| m.id)
        .collect();
    handle.remove_outbox(ids.clone()).unwrap();
    handle.remove_outbox(vec![ids[0], 12_345]).unwrap();
    handle.flush().unwrap();
    assert_eq!(plant.reader().outbox_depth().unwrap(), 0);
    assert_eq!(plant.writer.stats().outbox_depth.load(Relaxed), 0);
    plant.submit(messages(vec![message("c", None)]));
    handle.flush().unwrap();
    assert!(plant.reader().outbox_after(ids[1], 10).unwrap().len() == 1);
}

#[test]
fn unsent_answers_are_bounded_and_push_no_message_out() {
    let plant = Plant::start(Limits {
        outbox_rows: 100,
        ..patient()
    });
    plant.commit(messages(vec![message("alarm", None)]));
    let answer = |n: usize| AnswerRow {
        topic: "entry/answer".to_owned(),
        payload: n.to_string(),
        correlation: Some(vec![n as u8]),
        created: at(1),
    };
    for part in 0..5 {
        let answers = (0..40).map(|n| answer(40 * part + n)).collect();
        let receipt = plant.commit(Batch {
            answers,
            ..Batch::default()
        });
        assert_eq!(
            (receipt.counts.outbox_added, receipt.counts.outbox_dropped),
            (40, 0)
        );
    }
    let reader = plant.reader();
    let kept = reader.outbox_after(0, 1000).unwrap();
    assert_eq!((kept.len(), &*kept[0].payload), (65, "alarm"));
    assert_eq!((&*kept[1].payload, &*kept[64].payload), ("136", "199"));
    assert_eq!(kept[64].correlation, Some(vec![199]));
    assert_eq!(reader.outbox_depth().unwrap(), 65);
    assert_eq!(plant.writer.stats().outbox_depth.load(Relaxed), 65);
}

#[test]
fn a_full_outbox_drops_its_oldest_and_says_so() {
    let limits = Limits {
        outbox_rows: 3,
        ..patient()
    };
    let plant = Plant::start(limits);
    plant.commit(messages(vec![message("0", None), message("1", None)]));
    let receipt = plant.commit(messages(vec![message("2", None), message("3", None)]));
    assert_eq!(receipt.counts.outbox_dropped, 1);
    let folder = plant.folder;
    plant.writer.stop().unwrap();

    // The count goes on where it was.
    let plant = Plant::start_in(folder, limits);
    let receipt = plant.commit(messages(vec![message("4", None), message("5", None)]));
    assert_eq!(receipt.counts.outbox_dropped, 2);
    let left = plant.reader().outbox_after(0, 10).unwrap();
    let payloads: Vec<_> = left.iter().map(|m| m.payload.as_str()).collect();
    assert_eq!(payloads, ["3", "4", "5"]);
    assert_eq!(plant.writer.stats().outbox_dropped.load(Relaxed), 2);
}

#[test]
fn the_last_snapshot_and_the_last_recent_message_stay() {
    let plant = Plant::start(patient());
    let snapshot = |time, body: &[u8]| SnapshotRow {
        sump: "m1".into(),
        time: at(time),
        body: body.to_vec(),
    };
    let recent = |packet, hash, seq| RecentRow {
        source: "hall".into(),
        packet,
        hash,
        seq,
    };
    plant.commit(Batch {
        snapshots: vec![snapshot(1, b"a"), snapshot(2, b"b")],
        recent: vec![recent(2, 10, 1), recent(1, u64::MAX, 2), recent(2, 11, 3)],
        ..Batch::default()
    });
    // Of another shard, and overtaken on its way.
    plant.commit(Batch {
        recent: vec![recent(2, 10, 1)],
        ..Batch::default()
    });
    let reader = plant.reader();
    let found = reader.snapshot("m1").unwrap().unwrap();
    assert_eq!((found.time, found.body.as_slice()), (at(2), &b"b"[..]));
    assert_eq!(reader.snapshot("m2").unwrap(), None);
    let found = reader.recent_messages(&"hall".into()).unwrap();
    assert_eq!(found, [recent(1, u64::MAX, 2), recent(2, 11, 3)]);
    assert!(reader.recent_messages(&"yard".into()).unwrap().is_empty());
}

/// Makes the database refuse journal lines, after the readings of the same
/// transaction went well.
const REFUSE: &str = "CREATE TRIGGER refuse BEFORE INSERT ON journal
                      BEGIN SELECT RAISE(ABORT, 'no room'); END";

fn reading_and_line(ack: u32) -> Batch<u32> {
    Batch {
        samples: vec![sample(0, i64::from(ack), 1.0)],
        journal: vec![line(i64::from(ack), "m1", 1, "note", "{}")],
        acks: vec![ack],
        urgent: true,
        ..Batch::default()
    }
}

#[test]
fn while_writing_fails_nothing_is_acknowledged_and_nothing_lost() {
    let plant = Plant::start(Limits {
        queue: 2,
        ..patient()
    });
    let (handle, stats) = (plant.writer.handle(), plant.writer.stats());
    plant.meddle(REFUSE);
    plant.submit(reading_and_line(1));
    wait_until("two attempts fail", || {
        stats.write_errors.load(Relaxed) >= 2
    });
    assert!(stats.failing.load(Relaxed));
    assert!(plant.receipts.try_recv().is_err());
    assert!(plant.all(0).is_empty(), "a failed commit leaves nothing");

    // The queue fills and pushes back.
    plant.submit(reading_and_line(2));
    plant.submit(reading_and_line(3));
    let Err(Refused::Full(back)) = handle.try_submit(reading_and_line(4)) else {
        panic!("a full queue takes no more");
    };
    assert_eq!(back, reading_and_line(4));

    plant.meddle("DROP TRIGGER refuse");
    handle.flush().unwrap();
    let acks: Vec<u32> = plant.receipts.try_iter().flat_map(|r| r.acks).collect();
    assert_eq!(acks, [1, 2, 3]);
    assert_eq!(plant.all(0).len(), 3);
    assert_eq!(plant.reader().journal(None, 10).unwrap().len(), 3);
    assert!(!stats.failing.load(Relaxed));
}

#[test]
fn stop_gives_up_on_a_disk_that_refuses_and_says_what_is_lost() {
    let plant = Plant::start(patient());
    plant.meddle(REFUSE);
    plant.submit(reading_and_line(1));
    let told = plant.writer.stop().unwrap_err().to_string();
    assert!(
        told.contains("3 rows") && told.contains("no room"),
        "{told}"
    );
    assert_eq!(plant.receipts.iter().count(), 0);
    let store = Store::open(plant.folder.path()).unwrap();
    assert_eq!(*store.opened(), Opened::AfterUncleanStop);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However readings are cut into batches and repeated, the table holds the
    /// first of each key, and every one of them is counted once.
    #[test]
    fn every_reading_is_accounted_for(
        readings in prop::collection::vec((0u32..3, 0i64..20, 0u8..3), 0..200),
        cut in 1usize..40,
    ) {
        let plant = Plant::start(Limits { group_rows: 30, ..patient() });
        let mut expected = std::collections::BTreeMap::new();
        for &(series, time, value) in &readings {
            expected.entry((series, time)).or_insert(f64::from(value));
        }
        for part in readings.chunks(cut) {
            let part = part.iter().map(|&(s, t, v)| sample(s, t, f64::from(v)));
            plant.submit(samples(part.collect()));
        }
        plant.writer.handle().flush().unwrap();
        for series in 0..3 {
            let stored: Vec<_> = plant.all(series).iter().map(|r| (r.time, r.value)).collect();
            let wanted: Vec<_> = expected
                .range((series, i64::MIN)..(series + 1, i64::MIN))
                .map(|(&(_, time), &value)| (at(time), value))
                .collect();
            prop_assert_eq!(stored, wanted);
        }
        let stats = plant.writer.stats();
        let stored = stats.rows_stored.load(Relaxed);
        let rest = stats.duplicates.load(Relaxed) + stats.conflicts.load(Relaxed);
        prop_assert_eq!(stored, expected.len() as u64);
        prop_assert_eq!(stored + rest, readings.len() as u64);
    }
}
