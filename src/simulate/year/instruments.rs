//! The instruments: what is true at a sump, as it reads.

use crate::simulate::random::Random;

/// The instruments of a sump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Channel {
    /// Inline refractometer, °Bx.
    Brix,
    /// pH electrode.
    Ph,
    /// Conductivity cell, µS/cm at 25 °C.
    Conductivity,
    /// Thermometer, °C.
    Temperature,
    /// Level probe, m above the floor of the tank.
    Level,
    /// Whether the circulation pumps run, 1 or 0.
    Pumps,
}

/// How an instrument errs, as standard deviations in its unit. Noise is of each
/// reading by itself; the zero wanders within hours and drifts over weeks, until
/// it is wiped or calibrated (memory, and of the size that data sheets give).
struct Errors {
    noise: f64,
    wander: f64,
    drift: f64,
    decimals: i32,
    /// What a spike adds or takes, at least and at most.
    spike: (f64, f64),
}

/// How long the wandering takes to forget itself, and the drift, h.
const WANDER_H: f64 = 6.0;
const DRIFT_H: f64 = 20.0 * 24.0;
/// What wiping or calibrating leaves of the drift's deviation.
const LEFT: f64 = 0.25;

impl Channel {
    /// The gauges, in the order in which a sump reports; the switch reports
    /// before them.
    pub const GAUGES: [Channel; 5] = [
        Channel::Brix,
        Channel::Ph,
        Channel::Conductivity,
        Channel::Temperature,
        Channel::Level,
    ];

    /// Name in settings and entries.
    pub const fn name(self) -> &'static str {
        match self {
            Channel::Brix => "brix",
            Channel::Ph => "ph",
            Channel::Conductivity => "conductivity",
            Channel::Temperature => "temperature",
            Channel::Level => "level",
            Channel::Pumps => "pumps",
        }
    }

    /// The values that 4 and 20 mA stand for, where it is on a loop.
    pub const fn loop_range(self) -> (f64, f64) {
        match self {
            Channel::Brix => (0.0, 15.0),
            _ => (0.0, 2.0),
        }
    }

    const fn errors(self) -> Errors {
        let (noise, wander, drift, decimals, spike) = match self {
            Channel::Brix => (0.04, 0.02, 0.10, 2, (1.0, 5.0)),
            Channel::Ph => (0.015, 0.01, 0.05, 2, (0.5, 2.0)),
            Channel::Conductivity => (8.0, 5.0, 20.0, 1, (300.0, 1500.0)),
            Channel::Temperature => (0.08, 0.0, 0.1, 2, (5.0, 20.0)),
            Channel::Level | Channel::Pumps => (0.0015, 0.0, 0.001, 4, (0.05, 0.2)),
        };
        Errors {
            noise,
            wander,
            drift,
            decimals,
            spike,
        }
    }
}

/// One instrument with its slow errors.
#[derive(Debug, Clone)]
pub(super) struct Instrument {
    channel: Channel,
    wander: f64,
    drift: f64,
    /// What it sent last, on which it may freeze.
    last: Option<f64>,
    chance: Random,
}

/// What stands between the truth and a reading.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Spoilt {
    /// Added by a film, oil or foam.
    pub(super) lifted: f64,
    /// How much more single readings scatter, as a standard deviation.
    pub(super) scatter: f64,
    /// Share of readings that are spikes either way.
    pub(super) spikes: f64,
    /// Share of readings that a bubble makes too low.
    pub(super) bubbles: f64,
    pub(super) frozen: bool,
}

impl Instrument {
    pub(super) fn new(seed: u64, place: usize, channel: Channel) -> Self {
        let mut chance = Random::for_part(seed, &format!("instrument/{place}/{}", channel.name()));
        let errors = channel.errors();
        Instrument {
            channel,
            wander: errors.wander * chance.normal(),
            drift: LEFT * errors.drift * chance.normal(),
            last: None,
            chance,
        }
    }

    /// Lets `hours` pass: both slow errors are first-order autoregressions, so
    /// that they keep their deviations.
    pub(super) fn pass(&mut self, hours: f64) {
        let errors = self.channel.errors();
        let mut step = |error: &mut f64, deviation: f64, forgets_h: f64| {
            if deviation > 0.0 {
                let kept = 1.0 - hours / forgets_h;
                let fresh = deviation * (2.0 * hours / forgets_h).sqrt();
                *error = kept * *error + fresh * self.chance.normal();
            }
        };
        step(&mut self.wander, errors.wander, WANDER_H);
        step(&mut self.drift, errors.drift, DRIFT_H);
    }

    /// It was wiped or calibrated.
    pub(super) fn set_right(&mut self) {
        self.drift = LEFT * self.channel.errors().drift * self.chance.normal();
    }

    /// How far its zero is off, without what spoils it.
    pub(super) fn offset(&self) -> f64 {
        self.wander + self.drift
    }

    /// What it sends when `truth` stands before it.
    pub(super) fn read(&mut self, truth: f64, spoilt: &Spoilt) -> f64 {
        if spoilt.frozen
            && let Some(last) = self.last
        {
            return last;
        }
        let errors = self.channel.errors();
        let noise = errors.noise.hypot(spoilt.scatter);
        let mut value = truth + self.offset() + spoilt.lifted + noise * self.chance.normal();
        if spoilt.spikes > 0.0 && self.chance.share() < spoilt.spikes {
            let size = self.chance.between(errors.spike.0, errors.spike.1);
            value += if self.chance.share() < 0.5 {
                -size
            } else {
                size
            };
        }
        if spoilt.bubbles > 0.0 && self.chance.share() < spoilt.bubbles {
            value -= self.chance.between(0.5, 3.0);
        }
        let scale = 10_f64.powi(errors.decimals);
        // None of them can show less than nothing but by its loop's current.
        let value = ((value * scale).round() / scale).max(0.0);
        self.last = Some(value);
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slow_errors_keep_their_deviation() {
        let mut instrument = Instrument::new(1, 0, Channel::Brix);
        let mut squares = 0.0;
        let hours = 24 * 365 * 40;
        for _ in 0..hours {
            instrument.pass(1.0);
            squares += instrument.offset().powi(2);
        }
        let deviation = (squares / f64::from(hours)).sqrt();
        assert!((deviation - 0.102).abs() < 0.015, "{deviation}");
    }

    #[test]
    fn a_frozen_instrument_repeats_and_bubbles_only_lower() {
        let mut instrument = Instrument::new(1, 0, Channel::Brix);
        let first = instrument.read(5.0, &Spoilt::default());
        let frozen = Spoilt {
            frozen: true,
            ..Spoilt::default()
        };
        assert_eq!(instrument.read(9.0, &frozen), first);
        let bubbles = Spoilt {
            bubbles: 1.0,
            ..Spoilt::default()
        };
        assert!((0..100).all(|_| instrument.read(5.0, &bubbles) < 4.9));
    }
}
