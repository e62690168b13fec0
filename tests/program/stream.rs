//! A stream of readings over a broker whose fate is known one by one.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use sumpward::units::{Span, Timestamp};

use crate::confirmed::Publisher;
use crate::plant::{Plant, brix, now};
use crate::wait::until;
use crate::wires::Wired;

/// They go to the channel `brix` of so many sumps in turn.
pub const SUMPS: u64 = 10;
/// A value tells the message it came with: n times this, in °Bx.
const STEP: f64 = 1e-5;

/// A stream of readings that goes on whatever happens to the broker.
pub struct Stream {
    stop: Arc<AtomicBool>,
    confirmed: Arc<Mutex<BTreeMap<u64, Timestamp>>>,
    thread: std::thread::JoinHandle<u64>,
}

/// What came of a stream.
pub struct Streamed {
    /// When each message that was confirmed was.
    pub confirmed: BTreeMap<u64, Timestamp>,
    /// How many were.
    pub sent: u64,
}

impl Stream {
    pub fn start(port: u16, every: Duration) -> Self {
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

    /// Waits until readings are stored that were confirmed after this began.
    pub fn goes_on(&self, wired: &Wired) {
        let newest = || self.confirmed.lock().unwrap().keys().next_back().copied();
        let before = newest();
        until("messages are confirmed again", || {
            (newest() > before).then_some(())
        });
        let before = before.unwrap_or_default() as f64 * STEP;
        until("they are stored again", || {
            (wired.last("brix")? > before).then_some(())
        });
    }

    pub fn stop(self) -> Streamed {
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

/// How often each message is stored.
pub fn stored(plant: &Plant) -> HashMap<u64, u32> {
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
