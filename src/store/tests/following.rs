//! Reading along in the order of time while rows come in from all sides.

use std::collections::BTreeSet;
use std::sync::atomic::Ordering::Acquire;

use proptest::prelude::*;

use super::*;

const CURSOR: &str = "forward/history/values";
const OF_JOURNAL: &str = "forward/history/journal";

fn step(cursor: &str, step: FollowStep) -> Batch<u32> {
    Batch {
        followed: vec![FollowRow {
            cursor: cursor.to_owned(),
            moved_at: at(7),
            step,
        }],
        ..Batch::default()
    }
}

fn seen(plant: &Plant) -> u64 {
    plant.writer.stats().commit_number.load(Acquire)
}

fn standing(plant: &Plant, cursor: &str) -> Standing {
    plant.reader().standing(cursor).unwrap().unwrap()
}

#[test]
fn what_comes_behind_a_follower_is_late_and_what_comes_ahead_is_not() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![sample(0, 500_000, 1.0)]));
    assert_eq!(plant.reader().standing(CURSOR).unwrap(), None);
    plant.commit(step(CURSOR, FollowStep::Begin(at(1_000_000))));
    plant.commit(step(CURSOR, FollowStep::Begin(at(0))));
    plant.commit(samples(vec![
        sample(0, 300_000, 1.0),
        sample(1, 1_000_000, 1.0),
        sample(1, 1_000_001, 1.0),
        // Known before.
        sample(0, 500_000, 1.0),
    ]));
    let stands = standing(&plant, CURSOR);
    assert_eq!(stands.position, at(1_000_000), "begun once");
    let late = [(at(300_000), at(300_000)), (at(1_000_000), at(1_000_000))];
    assert_eq!(stands.late, late);
    // The journal has followers of its own.
    plant.commit(step(OF_JOURNAL, FollowStep::Begin(at(100_000))));
    plant.commit(journal(vec![
        line(9, "m1", 1, "entry", "{}"),
        line(100_001, "m1", 2, "entry", "{}"),
    ]));
    assert_eq!(standing(&plant, OF_JOURNAL).late, [(at(9), at(9))]);
    assert_eq!(standing(&plant, CURSOR).late, late);
}

#[test]
fn what_comes_while_a_window_is_under_way_is_late() {
    let plant = Plant::start(patient());
    plant.commit(step(CURSOR, FollowStep::Begin(at(0))));
    plant.commit(samples(vec![sample(0, 1_000_000, 1.0)]));
    let seen = seen(&plant);
    let window = plant
        .reader()
        .values_between(at(0), at(2_000_000), 10)
        .unwrap();
    assert_eq!(window.rows.len(), 1);
    plant.commit(samples(vec![
        sample(1, 400_000, 1.0),
        sample(1, 3_000_000, 1.0),
    ]));
    let to = at(2_000_000);
    plant.commit(step(CURSOR, FollowStep::Through { to, seen }));
    let stands = standing(&plant, CURSOR);
    assert_eq!(stands.position, to);
    assert_eq!(stands.late, [(at(400_000), at(400_000))]);
}

#[test]
fn a_window_never_tears_a_time_apart() {
    let plant = Plant::start(patient());
    let rows = [(0, 10), (0, 20), (1, 20), (3, 20), (0, 30)];
    plant.commit(samples(
        rows.map(|(series, time)| sample(series, time, 1.0))
            .to_vec(),
    ));
    let read = |after, most| {
        let window = plant
            .reader()
            .values_between(at(after), at(100), most)
            .unwrap();
        let times: Vec<_> = window.rows.iter().map(|row| row.time.millis()).collect();
        (times, window.through.millis(), window.is_all)
    };
    assert_eq!(read(0, 2), (vec![10], 19, false));
    assert_eq!(
        read(10, 2),
        (vec![20, 20, 20], 20, false),
        "all of the first time"
    );
    assert_eq!(read(0, 4), (vec![10, 20, 20, 20], 29, false));
    assert_eq!(read(0, 5), (vec![10, 20, 20, 20, 30], 100, true));
    assert_eq!(read(30, 5), (vec![], 100, true));
    assert_eq!(plant.reader().count_values_after(at(10), 100).unwrap(), 4);
    assert_eq!(plant.reader().count_values_after(at(10), 3).unwrap(), 3);
}

/// What happens in the property below.
#[derive(Debug, Clone)]
enum Happening {
    /// These come in: series and place in time.
    Comes(Vec<(u32, i64)>),
    /// The next window is read, up to this place in time, so many rows.
    Reads(i64, usize),
    /// What came late is read.
    ReadsLate(usize),
    /// What was read is there, and the cursor moves.
    Arrives,
    /// What was read is there, and a kill comes before the cursor moves.
    IsKilled,
}

fn happening() -> impl Strategy<Value = Happening> {
    prop_oneof![
        3 => proptest::collection::vec((0..4u32, 0..90i64), 1..8).prop_map(Happening::Comes),
        2 => (0..90i64, 1..12usize).prop_map(|(to, most)| Happening::Reads(to, most)),
        1 => (1..12usize).prop_map(Happening::ReadsLate),
        3 => Just(Happening::Arrives),
        1 => Just(Happening::IsKilled),
    ]
}

/// A follower, and what arrived at its server.
struct Forwarder {
    there: BTreeSet<(SeriesId, i64)>,
    under_way: Option<(Vec<StoredReading>, FollowStep)>,
}

impl Forwarder {
    fn read(&mut self, plant: &Plant, to: Timestamp, most: usize) -> usize {
        let position = standing(plant, CURSOR).position;
        let seen = seen(plant);
        let window = plant.reader().values_between(position, to, most).unwrap();
        if to <= position {
            return 0;
        }
        let step = FollowStep::Through {
            to: window.through,
            seen,
        };
        let count = window.rows.len();
        self.under_way = Some((window.rows, step));
        count
    }

    fn read_late(&mut self, plant: &Plant, most: usize) -> bool {
        let stands = standing(plant, CURSOR);
        let Some(&(first, last)) = stands.late.first() else {
            return false;
        };
        let seen = seen(plant);
        let before = at(first.millis() - 1);
        let window = plant.reader().values_between(before, last, most).unwrap();
        let last = window.through;
        self.under_way = Some((window.rows, FollowStep::Late { first, last, seen }));
        true
    }

    fn arrive(&mut self) -> Option<FollowStep> {
        let (rows, step) = self.under_way.take()?;
        self.there
            .extend(rows.iter().map(|row| (row.series, row.time.millis())));
        Some(step)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Whatever comes in when, whatever is read in between, and whenever a kill
    /// comes: in the end the server has what the store has.
    #[test]
    fn in_the_end_the_server_has_what_the_store_has(
        happenings in proptest::collection::vec(happening(), 1..40),
        begin in prop_oneof![Just(-1), 0..90i64],
    ) {
        // Twenty seconds apart, so that some stretches merge and others do not.
        let time = |place: i64| at(place * 20_000);
        let mut plant = Plant::start(patient());
        plant.commit(step(CURSOR, FollowStep::Begin(time(begin))));
        let mut forwarder = Forwarder { there: BTreeSet::new(), under_way: None };
        for happening in happenings {
            match happening {
                Happening::Comes(rows) => {
                    let rows = rows.iter().map(|(series, place)| {
                        sample(*series, time(*place).millis(), 1.0)
                    });
                    plant.commit(samples(rows.collect()));
                }
                Happening::Reads(to, most) => {
                    forwarder.read(&plant, time(to), most);
                }
                Happening::ReadsLate(most) => {
                    forwarder.read_late(&plant, most);
                }
                Happening::Arrives => {
                    if let Some(moved) = forwarder.arrive() {
                        plant.commit(step(CURSOR, moved));
                    }
                }
                Happening::IsKilled => {
                    forwarder.arrive();
                    let Plant { folder, writer, .. } = plant;
                    writer.stop().unwrap();
                    plant = Plant::start_in(folder, patient());
                }
            }
        }
        let mut steps = 0;
        while forwarder.read(&plant, time(100), 7) > 0 || forwarder.read_late(&plant, 7) {
            steps += 1;
            prop_assert!(steps < 1000, "it does not end");
            let moved = forwarder.arrive().expect("something was read");
            plant.commit(step(CURSOR, moved));
        }
        let all = plant.reader().values_between(at(-1), time(100), 10_000).unwrap();
        for row in all.rows {
            prop_assert!(
                forwarder.there.contains(&(row.series, row.time.millis())),
                "{:?} has not arrived", row
            );
        }
    }
}
