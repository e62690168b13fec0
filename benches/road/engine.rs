//! The engine alone: readings through [`Shard::deliver`] on one thread, told
//! the time before each as the daemon does it, nothing decoded and nothing
//! stored.
//!
//! The readings come channel by channel and not sump by sump, so that each
//! meets memory that a thousand others have been through since. What happens
//! once a minute (the state of each sump) is in it.

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use sumpward::engine::{Effect, Event, Form, Quality, Reading, Shard, SumpWatch};
use sumpward::units::{Span, Timestamp};

use crate::figures::median;
use crate::plant::{CHANNELS, Channel, Plant, SUMPS, now, value};
use crate::process::resident_megabytes;

/// Readings of every channel before the measurement: many times what a
/// filter's window holds.
const WARM_UP_ROUNDS: usize = 120;
/// Readings of every channel in one pass; a pass is 2.4 million readings.
const ROUNDS: usize = 400;
const PASSES: usize = 5;
/// Every channel reports this often, like the plant that is designed for.
const ROUND: Span = Span::from_secs(1);
/// Each reading is so old when it arrives.
const ON_THE_WAY: Span = Span::from_millis(20);

/// Measures and prints.
pub fn measure() {
    let settings = Plant::write(1883, 0).settings();
    let begun = now().floor(ROUND);
    let watches = settings
        .sumps
        .iter()
        .map(|sump| SumpWatch::new(Arc::clone(sump), settings.admission, begun))
        .collect();
    let channels = &settings.sumps[0].channels;
    let place = |(name, ..): &Channel| channels.iter().position(|one| *one.name == **name);
    let mut engine = Engine {
        places: CHANNELS
            .iter()
            .map(|channel| place(channel).expect("every sump has them all") as u16)
            .collect(),
        shard: Shard::new(watches),
        effects: Vec::new(),
        time: begun,
        values: (0..VALUES * CHANNELS.len())
            .map(|n| value(n % CHANNELS.len(), n))
            .collect(),
        rounds: 0,
    };
    engine.run(WARM_UP_ROUNDS);
    let myself = std::process::id();
    let before = resident_megabytes(myself);
    let speeds: Vec<f64> = (0..PASSES).map(|_| engine.pass()).collect();
    let after = resident_megabytes(myself);
    println!(
        "\nengine alone, one thread, {SUMPS} sumps × {} channels",
        CHANNELS.len()
    );
    for speed in &speeds {
        println!("  {speed:>10.0} readings/s");
    }
    println!(
        "  {:>10.0} readings/s, median of {PASSES} passes of {} readings (budget 2,000,000)",
        median(speeds),
        ROUNDS * SUMPS * CHANNELS.len(),
    );
    println!("  resident memory {before:.1} MB before and {after:.1} MB after the passes");
    println!("  allocations: not measured, counting them needs unsafe code, which is forbidden");
}

/// Values of a channel, made beforehand; then they begin again. A prime
/// number, so that no sump meets its own values again soon.
const VALUES: usize = 8191;

struct Engine {
    /// Where each of [`CHANNELS`] stands in a sump, which has them by name.
    places: Vec<u16>,
    shard: Shard,
    effects: Vec<Effect>,
    time: Timestamp,
    values: Vec<f64>,
    rounds: usize,
}

impl Engine {
    /// Readings a second over one pass.
    fn pass(&mut self) -> f64 {
        let begun = Instant::now();
        self.run(ROUNDS);
        (ROUNDS * SUMPS * CHANNELS.len()) as f64 / begun.elapsed().as_secs_f64()
    }

    fn run(&mut self, rounds: usize) {
        for _ in 0..rounds {
            for channel in 0..CHANNELS.len() {
                for sump in 0..SUMPS {
                    self.reading(sump, channel);
                }
            }
            self.rounds += 1;
            self.time = self.time + ROUND;
        }
    }

    fn reading(&mut self, sump: usize, channel: usize) {
        let place = (channel * SUMPS + sump) as i64;
        let span = ROUND.millis() * place / (SUMPS * CHANNELS.len()) as i64;
        let time = self.time + Span::from_millis(span);
        let arrival = time + ON_THE_WAY;
        let event = Event::Reading(Reading {
            channel: self.places[channel],
            claimed: Some(time),
            form: Form::Reported,
            arrival,
            value: self.values[(self.rounds * 31 + sump) % VALUES * CHANNELS.len() + channel],
            quality: Quality::GOOD,
        });
        let effects = &mut self.effects;
        self.shard.advance(arrival, effects, |_, effects| {
            black_box(&*effects);
            effects.clear();
        });
        self.shard.deliver(sump, &event, effects);
        black_box(&*effects);
        effects.clear();
    }
}
