//! Broker, store and a slave's port are broken and healed while readings stream:
//! what the broker confirmed to its publisher is stored, once, and of the slave
//! nothing but what it said while it was there.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto};
use crate::confirmed::Publisher;
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, brix, now};
use crate::slave::{self, Slave, Told};
use crate::wait::{PATIENCE, until};
use crate::wires::Wired;

const SUMPS: u64 = 10;
/// A value tells the message it came with: n times this, in °Bx.
const STEP: f64 = 1e-5;
/// So long before a kill the broker may have confirmed what it then lost: the
/// second between two of its saves (`autosave_interval` of its settings here),
/// and as much again for the saving.
const BROKER_FORGETS: Span = Span::from_secs(2);

/// How the broker ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// SIGTERM: it keeps its sessions and queues.
    Stopped,
    /// SIGKILL: it loses what it has not saved.
    Killed,
}

#[derive(Debug, Clone, Copy)]
struct Run {
    end: End,
    /// How often each of them is broken and healed.
    rounds: u32,
    /// Between one thing and the next.
    pause: Duration,
    /// Between two messages.
    every: Duration,
}

#[test]
fn what_is_broken_and_heals_loses_nothing() {
    let run = Run {
        end: End::Stopped,
        rounds: 2,
        pause: Duration::from_millis(300),
        every: Duration::from_micros(500),
    };
    endure(run).lost_nothing();
}

/// Ten minutes: run by hand.
#[test]
#[ignore = "takes ten minutes"]
fn ten_minutes_of_a_stopped_broker_a_failing_store_and_an_unplugged_slave() {
    endure(Run::of_ten_minutes(End::Stopped)).lost_nothing();
}

/// Ten minutes: run by hand.
#[test]
#[ignore = "takes ten minutes"]
fn ten_minutes_of_a_killed_broker_a_failing_store_and_an_unplugged_slave() {
    endure(Run::of_ten_minutes(End::Killed)).lost_nothing_but_by_the_broker();
}

impl Run {
    fn of_ten_minutes(end: End) -> Self {
        Run {
            end,
            rounds: 10,
            pause: Duration::from_secs(15),
            every: Duration::from_millis(1),
        }
    }
}

/// What came of a run.
#[derive(Debug)]
struct Figures {
    run: Run,
    took: Duration,
    sent: u64,
    confirmed: usize,
    stored: usize,
    unconfirmed: usize,
    twice: usize,
    /// When the broker was ended.
    ends: Vec<Timestamp>,
    /// Confirmed to the publisher and not stored: which, and when confirmed.
    lost: Vec<(u64, Timestamp)>,
    slave: Told,
}

impl Figures {
    fn print(&self) {
        let Figures { run, sent, .. } = self;
        println!(
            "{:?}: {} rounds in {:.0} s; sent {sent}, confirmed {}, stored {}, stored without confirmation {}, \
             confirmed and lost {}, stored twice {}",
            run.end,
            run.rounds,
            self.took.as_secs_f64(),
            self.confirmed,
            self.stored,
            self.unconfirmed,
            self.lost.len(),
            self.twice,
        );
        let slave = &self.slave;
        println!(
            "the slave: readings of each of its {} lives {:?}, values that it never had {}, good ones while it was \
             gone {}; a loss known after {} ms at most, read {} ms after it was switched on at most",
            slave.of_each_life.len(),
            slave.of_each_life,
            slave.never_said.len(),
            slave.good_while_gone.len(),
            slave.known_after.millis(),
            slave.back_after.millis(),
        );
    }

    fn lost_nothing(self) {
        self.print();
        self.holds();
        assert_eq!(self.lost, Vec::new());
    }

    /// A broker that is killed loses what it confirmed since it last saved.
    fn lost_nothing_but_by_the_broker(self) {
        self.print();
        let longest = self
            .lost
            .iter()
            .map(|(_, at)| self.before_an_end(*at))
            .max();
        println!(
            "the broker lost {} confirmed readings in {} kills, confirmed {} ms before its kill at most; it saves \
             every second, and all of them must lie within {} ms",
            self.lost.len(),
            self.ends.len(),
            longest.unwrap_or_default().millis(),
            BROKER_FORGETS.millis(),
        );
        self.holds();
        assert!(longest.unwrap_or_default() <= BROKER_FORGETS);
    }

    /// From then to the next end of the broker.
    fn before_an_end(&self, at: Timestamp) -> Span {
        let end = self.ends.iter().find(|end| **end >= at);
        *end.expect("it was lost by an end of the broker") - at
    }

    fn holds(&self) {
        assert_eq!(self.twice, 0);
        assert!(self.confirmed as u64 > self.sent / 2);
        assert!(self.slave.of_each_life.iter().all(|count| *count > 0));
        assert!(self.slave.never_said.is_empty(), "{:?}", self.slave);
        assert!(self.slave.good_while_gone.is_empty(), "{:?}", self.slave);
    }
}

fn endure(run: Run) -> Figures {
    let mut broker = Mosquitto::start(Keeps::Sessions);
    let wanted = Wanted {
        port: broker.port,
        sumps: SUMPS as usize,
        on_delay: "10 min",
        broker: "",
    };
    let wired = Wired::write_with(&wanted, &slave::settings());
    let mut slave = Slave::start(&wired);
    let daemon = Daemon::start_with_limits(wired.plant());
    let stream = Stream::start(broker.port, run.every);
    slave.is_read(&wired);
    let mut ends = Vec::new();
    let begun = Instant::now();
    for round in 0..run.rounds {
        // The slave goes with the broker and with the store by turns.
        let (with_broker, with_store) = (round % 2 == 0, round % 2 == 1);
        std::thread::park_timeout(run.pause);
        ends.push(now());
        match run.end {
            End::Stopped => broker.stop(),
            End::Killed => broker.kill(),
        }
        slave.away(with_broker, &wired, &daemon, run.pause);
        let subscribed = daemon.count_logged("subscribed");
        broker.start_again();
        until("the daemon is back", || {
            (daemon.count_logged("subscribed") > subscribed).then_some(())
        });
        stream.goes_on();
        slave.is_read(&wired);
        std::thread::park_timeout(run.pause);
        let healed = daemon.count_logged(STORE_HEALED);
        daemon.limit_files("1");
        slave.away(with_store, &wired, &daemon, run.pause);
        daemon.limit_files("unlimited");
        until("the store had failed and writes again", || {
            (daemon.count_logged(STORE_HEALED) > healed).then_some(())
        });
        stream.goes_on();
        slave.is_read(&wired);
    }
    let took = begun.elapsed();
    let Streamed { confirmed, sent } = stream.stop();
    let stored = settled(wired.plant(), &confirmed, run.end);
    let lost = confirmed.iter().filter(|(n, _)| !stored.contains_key(n));
    Figures {
        run,
        took,
        sent,
        confirmed: confirmed.len(),
        stored: stored.len(),
        unconfirmed: stored.keys().filter(|n| !confirmed.contains_key(n)).count(),
        twice: stored.values().filter(|count| **count > 1).count(),
        ends,
        lost: lost.map(|(n, at)| (*n, *at)).collect(),
        slave: slave.told(&wired),
    }
}

/// Said only where writing had failed before.
const STORE_HEALED: &str = "the store can write again";

/// A stream of readings that goes on whatever happens to the broker.
struct Stream {
    stop: Arc<AtomicBool>,
    confirmed: Arc<Mutex<BTreeMap<u64, Timestamp>>>,
    thread: std::thread::JoinHandle<u64>,
}

struct Streamed {
    /// When each message that was confirmed was.
    confirmed: BTreeMap<u64, Timestamp>,
    sent: u64,
}

impl Stream {
    fn start(port: u16, every: Duration) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let confirmed = Arc::new(Mutex::new(BTreeMap::new()));
        let (stopping, noted) = (Arc::clone(&stop), Arc::clone(&confirmed));
        let thread = std::thread::spawn(move || publish(port, every, &stopping, &noted));
        Stream {
            stop,
            confirmed,
            thread,
        }
    }

    /// Waits until messages are confirmed again.
    fn goes_on(&self) {
        let count = || self.confirmed.lock().unwrap().len();
        let before = count();
        until("messages are confirmed again", || {
            (count() > before + 100).then_some(())
        });
    }

    fn stop(self) -> Streamed {
        self.stop.store(true, Ordering::Relaxed);
        let sent = self.thread.join().unwrap();
        let confirmed = std::mem::take(&mut *self.confirmed.lock().unwrap());
        Streamed { confirmed, sent }
    }
}

/// Publishes until told to stop; gives how many messages were sent.
fn publish(
    port: u16,
    every: Duration,
    stop: &AtomicBool,
    confirmed: &Mutex<BTreeMap<u64, Timestamp>>,
) -> u64 {
    let mut times = HashMap::new();
    let mut n = 0;
    let note = |which: Vec<u64>| {
        let at = now();
        confirmed
            .lock()
            .unwrap()
            .extend(which.into_iter().map(|n| (n, at)));
    };
    while !stop.load(Ordering::Relaxed) {
        let Ok(mut publisher) = Publisher::connect(port, "endurance") else {
            std::thread::park_timeout(Duration::from_millis(20));
            continue;
        };
        while !stop.load(Ordering::Relaxed) {
            let sump = n % SUMPS;
            let last = times.entry(sump).or_insert(Timestamp::MIN);
            *last = now().max(*last + Span::from_millis(1));
            let reading = brix(n as f64 * STEP, *last);
            match publisher.publish(n, &format!("in/s{sump}/brix"), &reading) {
                Ok(which) => note(which),
                Err(_) => break,
            }
            n += 1;
            std::thread::park_timeout(every);
        }
        if let Ok(which) = publisher.confirmations(0) {
            note(which);
        }
        // Whether the broker took a message that it did not confirm is unknown.
        n += 1;
    }
    n
}

/// How often each message is stored, once nothing more comes.
fn settled(plant: &Plant, confirmed: &BTreeMap<u64, Timestamp>, end: End) -> HashMap<u64, u32> {
    let deadline = Instant::now() + PATIENCE;
    let mut stored = messages(plant);
    let all_there = |stored: &HashMap<u64, u32>| confirmed.keys().all(|n| stored.contains_key(n));
    while !all_there(&stored) && Instant::now() < deadline {
        std::thread::park_timeout(Duration::from_millis(200));
        let again = messages(plant);
        let nothing_new = again.len() == stored.len();
        stored = again;
        if end == End::Killed && nothing_new && Instant::now() + PATIENCE / 2 > deadline {
            break;
        }
    }
    stored
}

fn messages(plant: &Plant) -> HashMap<u64, u32> {
    let connection = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let mut select = connection
        .prepare("SELECT value FROM readings_plain WHERE kind = 'reading' AND channel = 'brix'")
        .unwrap();
    let mut messages = HashMap::new();
    for value in select.query_map([], |row| row.get::<_, f64>(0)).unwrap() {
        *messages
            .entry((value.unwrap() / STEP).round() as u64)
            .or_insert(0) += 1;
    }
    messages
}
