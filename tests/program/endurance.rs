//! Broker, store and a slave's port are broken and healed while readings stream:
//! what the broker confirmed to its publisher is stored, once, and of the slave
//! nothing but what it said while it was there.

use std::collections::{BTreeMap, HashMap};
use std::time::{Duration, Instant};

use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, now};
use crate::slave::{self, Slave, Told};
use crate::stream::{self, Stream, Streamed};
use crate::wait::{PATIENCE, until};
use crate::wires::Wired;

/// So long before a kill the broker may have confirmed what it then lost: two
/// seconds between two of its saves (more than an `autosave_interval` of 1 must
/// have passed, counted in whole seconds; memory), and one for the saving. 1990
/// ms were measured.
const BROKER_FORGETS: Span = Span::from_secs(3);

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
    /// How often broker, store and both at once are broken and healed.
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
        rounds: 1,
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
            rounds: 6,
            pause: Duration::from_secs(13),
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
    ends: Vec<Ended>,
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
        let before: Vec<Option<Span>> = self
            .lost
            .iter()
            .map(|(_, at)| self.before_an_end(*at))
            .collect();
        let earliest = before.iter().flatten().max();
        println!(
            "the broker lost {} confirmed readings in {} kills, the earliest confirmed {} ms before its kill; it \
             saves every two seconds, and all of them must lie within {} ms",
            self.lost.len(),
            self.ends.len(),
            earliest.map_or("-".to_owned(), |span| span.millis().to_string()),
            BROKER_FORGETS.millis(),
        );
        self.holds();
        let by_the_broker = |span: &Option<Span>| span.is_some_and(|span| span <= BROKER_FORGETS);
        assert!(
            before.iter().all(by_the_broker),
            "lost otherwise: {before:?}"
        );
    }

    /// From then to the next end of the broker; what is confirmed before it is
    /// started again it had confirmed before that end. Nothing after the last.
    fn before_an_end(&self, at: Timestamp) -> Option<Span> {
        let ended = self.ends.iter().find(|ended| ended.again > at)?;
        Some((ended.at - at).max(Span::ZERO))
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
    let mut scene = Scene::start(run);
    let begun = Instant::now();
    for round in 0..run.rounds {
        // The slave goes with the broker and with the store by turns.
        scene.is_without_broker(round % 2 == 0);
        scene.is_without_store(round % 2 == 1);
        scene.is_without_both();
    }
    scene.figures(begun.elapsed())
}

/// Everything that is broken and healed.
struct Scene {
    run: Run,
    broker: Mosquitto,
    wired: Wired,
    slave: Slave,
    daemon: Daemon,
    stream: Stream,
    ends: Vec<Ended>,
}

/// When the broker was ended, and when it was started again.
#[derive(Debug, Clone, Copy)]
struct Ended {
    at: Timestamp,
    again: Timestamp,
}

impl Scene {
    fn start(run: Run) -> Self {
        let broker = Mosquitto::start(Keeps::Sessions);
        let wanted = Wanted {
            port: broker.port,
            sumps: stream::SUMPS as usize,
            on_delay: "10 min",
            broker: "",
        };
        let wired = Wired::write_with(&wanted, &slave::settings());
        let slave = Slave::start(&wired);
        let daemon = Daemon::start_with_limits(wired.plant());
        let stream = Stream::start(broker.port, run.every);
        slave.is_read(&wired);
        Scene {
            run,
            broker,
            wired,
            slave,
            daemon,
            stream,
            ends: Vec::new(),
        }
    }

    fn is_without_broker(&mut self, slave_goes: bool) {
        std::thread::park_timeout(self.run.pause);
        self.end_broker();
        self.pauses_without_slave(slave_goes);
        self.start_broker();
        self.goes_on();
    }

    fn is_without_store(&mut self, slave_goes: bool) {
        std::thread::park_timeout(self.run.pause);
        let healed = self.break_store();
        self.pauses_without_slave(slave_goes);
        self.heal_store(healed);
        self.goes_on();
    }

    /// The broker keeps what the daemon cannot take, and is ended on top of that.
    fn is_without_both(&mut self) {
        std::thread::park_timeout(self.run.pause);
        let healed = self.break_store();
        std::thread::park_timeout(self.run.pause);
        self.end_broker();
        std::thread::park_timeout(self.run.pause);
        self.start_broker();
        self.heal_store(healed);
        self.goes_on();
    }

    fn pauses_without_slave(&mut self, goes: bool) {
        let Scene {
            slave,
            wired,
            daemon,
            run,
            ..
        } = self;
        slave.away(goes, wired, daemon, run.pause);
    }

    fn end_broker(&mut self) {
        let at = now();
        match self.run.end {
            End::Stopped => self.broker.stop(),
            End::Killed => self.broker.kill(),
        }
        let again = Timestamp::MAX;
        self.ends.push(Ended { at, again });
    }

    fn start_broker(&mut self) {
        let ended = self.ends.last_mut().expect("it was ended before");
        ended.again = now();
        self.broker.start_again();
    }

    /// Gives how often it has healed before.
    fn break_store(&self) -> usize {
        let healed = self.daemon.count_logged(STORE_HEALED);
        self.daemon.limit_files("1");
        healed
    }

    fn heal_store(&self, healed: usize) {
        self.daemon.limit_files("unlimited");
        until("the store had failed and writes again", || {
            (self.daemon.count_logged(STORE_HEALED) > healed).then_some(())
        });
    }

    /// Waits until readings are stored again that were sent after this began.
    fn goes_on(&self) {
        self.stream.goes_on(&self.wired);
        self.slave.is_read(&self.wired);
    }

    fn figures(self, took: Duration) -> Figures {
        let Streamed { confirmed, sent } = self.stream.stop();
        let stored = settled(self.wired.plant(), &confirmed, self.run.end);
        let lost = confirmed.iter().filter(|(n, _)| !stored.contains_key(n));
        Figures {
            run: self.run,
            took,
            sent,
            confirmed: confirmed.len(),
            stored: stored.len(),
            unconfirmed: stored.keys().filter(|n| !confirmed.contains_key(n)).count(),
            twice: stored.values().filter(|count| **count > 1).count(),
            ends: self.ends,
            lost: lost.map(|(n, at)| (*n, *at)).collect(),
            slave: self.slave.told(&self.wired),
        }
    }
}

/// Said only where writing had failed before.
const STORE_HEALED: &str = "the store can write again";

/// How often each message is stored, once nothing more comes.
fn settled(plant: &Plant, confirmed: &BTreeMap<u64, Timestamp>, end: End) -> HashMap<u64, u32> {
    let deadline = Instant::now() + PATIENCE;
    let mut stored = stream::stored(plant);
    let all_there = |stored: &HashMap<u64, u32>| confirmed.keys().all(|n| stored.contains_key(n));
    while !all_there(&stored) && Instant::now() < deadline {
        std::thread::park_timeout(Duration::from_millis(200));
        let again = stream::stored(plant);
        let nothing_new = again.len() == stored.len();
        stored = again;
        if end == End::Killed && nothing_new && Instant::now() + PATIENCE / 2 > deadline {
            break;
        }
    }
    stored
}
