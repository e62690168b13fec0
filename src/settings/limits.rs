//! The limits that a sump is watched by.

use std::collections::BTreeSet;

use crate::engine::{AlarmManner, LimitLevel, LimitSetup, Priority};
use crate::units::{Parse, Quantity, Span};

use super::defaults;
use super::fluid_class::FluidClass;
use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw_limits::{RawLimit, RawLimitPriority, RawLimits};
use super::review::Review;
use super::rules::{PRIORITIES, again_after};
use super::written::{Switch, Written};

/// The four limits from the lowest up, with the names of their keys.
const LEVELS: [(LimitLevel, &str); 4] = [
    (LimitLevel::LowLow, "low_low"),
    (LimitLevel::Low, "low"),
    (LimitLevel::High, "high"),
    (LimitLevel::HighHigh, "high_high"),
];

fn is_urgent(level: LimitLevel) -> bool {
    matches!(level, LimitLevel::LowLow | LimitLevel::HighHigh)
}

/// What the limits of a sump depend on.
#[derive(Debug, Clone)]
pub(super) struct Basis {
    /// Concentration to be kept, %.
    pub(super) target: Option<f64>,
    /// Lowest and highest concentration wanted, %.
    pub(super) window: Option<(f64, f64)>,
    /// The fluid's class, where it is known.
    pub(super) class: Option<FluidClass>,
    /// Working volume, L.
    pub(super) working: Option<f64>,
    /// Largest volume, L.
    pub(super) max: Option<f64>,
    /// What the channels measure.
    pub(super) measured: BTreeSet<Quantity>,
}

impl Basis {
    /// Limits of concentration that hold unless settled otherwise: the window,
    /// and the urgent limits at least as far again outside of it, the lower not
    /// below what the fluid's class bears. A low limit that would not be above 0
    /// is left out.
    fn concentration(&self) -> Option<[Option<f64>; 4]> {
        let (target, (low, high)) = (self.target?, self.window?);
        let low_low = (target - defaults::URGENT_HALF).min(low - defaults::WINDOW_HALF);
        let high_high = (target + defaults::URGENT_HALF).max(high + defaults::WINDOW_HALF);
        let leanest = self.class.and_then(|class| class.usual().leanest);
        let leanest = leanest.filter(|leanest| *leanest < low);
        let low_low = leanest.map_or(low_low, |leanest| low_low.max(leanest));
        let low_low = Some(low_low).filter(|limit| *limit > 0.0);
        Some([low_low, Some(low), Some(high), Some(high_high)])
    }

    fn volume(&self) -> Option<[Option<f64>; 4]> {
        let (working, max) = (self.working?, self.max?);
        let [low_low, low, high] = defaults::LEVEL_LIMITS.map(|share| Some(share * working));
        Some([low_low, low, high, Some(max)])
    }

    fn measures(&self, any: &[Quantity]) -> bool {
        any.iter().any(|one| self.measured.contains(one))
    }
}

/// All limits of a sump.
pub(super) fn limits(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawLimits,
    basis: &Basis,
) -> Option<Vec<LimitSetup>> {
    use Quantity::{Brix, Concentration, Level, Ph, Temperature, Volume};
    let concentration = Group {
        measured: basis.measures(&[Brix, Concentration]),
        ..Group::of(
            at.key("concentration"),
            Concentration,
            basis.concentration(),
        )
    };
    let ph = Group {
        measured: basis.measures(&[Ph]),
        ..Group::of(at.key("ph"), Ph, Some(defaults::PH_LIMITS))
    };
    let temperature = Group {
        measured: basis.measures(&[Temperature]),
        ..Group::of(
            at.key("temperature"),
            Temperature,
            Some(defaults::TEMPERATURE_LIMITS),
        )
    };
    let level = Group {
        measured: basis.measures(&[Level, Volume]),
        dead_band: basis
            .working
            .map(|litres| defaults::LEVEL_DEAD_BAND * litres),
        working: basis.working,
        ..Group::of(at.key("level"), Volume, basis.volume())
    };
    let plain = |quantity: Quantity| Group {
        measured: basis.measures(&[quantity]),
        ..Group::of(at.key(quantity.name()), quantity, Some([None; 4]))
    };
    let high = basis
        .class
        .and_then(|class| class.usual().conductivity_high);
    let conductivity = Group {
        standard: Some([None, None, high, None]),
        ..plain(Quantity::Conductivity)
    };
    let built = [
        concentration.limits(review, raw.concentration.as_ref()),
        ph.limits(review, raw.ph.as_ref()),
        conductivity.limits(review, raw.conductivity.as_ref()),
        temperature.limits(review, raw.temperature.as_ref()),
        level.limits(review, raw.level.as_ref()),
        plain(Quantity::Flow).limits(review, raw.flow.as_ref()),
        plain(Quantity::Pressure).limits(review, raw.pressure.as_ref()),
        plain(Quantity::DissolvedOxygen).limits(review, raw.dissolved_oxygen.as_ref()),
        plain(Quantity::Redox).limits(review, raw.redox.as_ref()),
    ];
    let built: Option<Vec<_>> = built.into_iter().collect();
    built.map(|groups| groups.concat())
}

/// The limits of one signal.
struct Group {
    /// The table that settles them.
    at: KeyPath,
    /// The signal that they watch.
    signal: Quantity,
    /// Whether anything measures that signal.
    measured: bool,
    /// The limits where nothing is settled; nothing if what they follow from
    /// is wrong itself.
    standard: Option<[Option<f64>; 4]>,
    /// The dead band where nothing is settled, likewise.
    dead_band: Option<f64>,
    /// Working volume in litres where limits may be shares of it.
    working: Option<f64>,
}

impl Group {
    fn of(at: KeyPath, signal: Quantity, standard: Option<[Option<f64>; 4]>) -> Self {
        Group {
            at,
            signal,
            measured: false,
            standard,
            dead_band: Some(defaults::dead_band(signal)),
            working: None,
        }
    }

    fn limits(
        &self,
        review: &mut Review,
        raw: Option<&Switch<RawLimit>>,
    ) -> Option<Vec<LimitSetup>> {
        let standard = RawLimit::default();
        let raw = match (raw, self.measured) {
            (Some(Switch::Off), _) | (None, false) => return Some(Vec::new()),
            (None, true) => &standard,
            (Some(Switch::On(raw)), true) => raw,
            (Some(Switch::On(_)), false) => {
                review.tell(&self.at, Problem::NotMeasured(self.signal));
                return None;
            }
        };
        let thresholds = self.thresholds(review, raw);
        let dead_band = self.dead_band(review, raw);
        let (on, off) = (defaults::ALARM_DELAY, defaults::LIMIT_OFF_DELAY);
        let on_delay = self.delay(review, "on_delay", (raw.on_delay.as_ref(), on));
        let off_delay = self.delay(review, "off_delay", (raw.off_delay.as_ref(), off));
        let again_after = again_after(
            review,
            &self.at.key("again_after"),
            raw.again_after.as_ref(),
        );
        let latching = raw.latching.unwrap_or(false);
        let priorities = self.priorities(review, raw.priority.as_ref(), thresholds.as_ref());
        let (thresholds, dead_band) = (thresholds?, dead_band?);
        self.check_order(review, &thresholds, dead_band)?;
        let (on_delay, off_delay, again_after) = (on_delay?, off_delay?, again_after?);
        let set = LEVELS.iter().zip(thresholds).zip(priorities?);
        let limits = set.filter_map(|(((level, _), threshold), priority)| {
            Some(LimitSetup {
                signal: self.signal,
                level: *level,
                threshold: threshold?,
                dead_band,
                priority,
                manner: AlarmManner {
                    on: on_delay,
                    off: off_delay,
                    latching,
                    again_after,
                },
            })
        });
        Some(limits.collect())
    }

    fn thresholds(&self, review: &mut Review, raw: &RawLimit) -> Option<[Option<f64>; 4]> {
        let written = [&raw.low_low, &raw.low, &raw.high, &raw.high_high];
        let mut thresholds = [None; 4];
        let mut all_good = true;
        for (place, written) in written.into_iter().enumerate() {
            let read = match written {
                None => self.standard.map(|standard| standard[place]),
                Some(written) if written.is_off() => Some(None),
                Some(written) => {
                    let path = self.at.key(LEVELS[place].1);
                    self.value(review, &path, written, measure::value).map(Some)
                }
            };
            match read {
                Some(threshold) => thresholds[place] = threshold,
                None => all_good = false,
            }
        }
        all_good.then_some(thresholds)
    }

    /// How much hurry each of the four has; what is written of a limit that is off
    /// is told.
    fn priorities(
        &self,
        review: &mut Review,
        raw: Option<&RawLimitPriority>,
        thresholds: Option<&[Option<f64>; 4]>,
    ) -> Option<[Priority; 4]> {
        let mut priorities = LEVELS.map(|(level, _)| self.priority(level));
        let Some(raw) = raw else {
            return Some(priorities);
        };
        let at = self.at.key("priority");
        let written = [&raw.low_low, &raw.low, &raw.high, &raw.high_high];
        let mut all_good = true;
        for (place, written) in written.into_iter().enumerate() {
            let Some(word) = written else { continue };
            let path = at.key(LEVELS[place].1);
            let read = review.one_of(&path, word, &PRIORITIES);
            let is_off = thresholds.is_some_and(|thresholds| thresholds[place].is_none());
            if is_off && read.is_some() {
                review.tell(&path, Problem::OnlyFor("a limit that is set"));
            }
            match read.filter(|_| !is_off) {
                Some(priority) => priorities[place] = priority,
                None => all_good = false,
            }
        }
        all_good.then_some(priorities)
    }

    fn dead_band(&self, review: &mut Review, raw: &RawLimit) -> Option<f64> {
        match &raw.dead_band {
            None => self.dead_band,
            Some(written) => {
                let path = self.at.key("dead_band");
                self.value(review, &path, written, measure::difference)
            }
        }
    }

    fn value(
        &self,
        review: &mut Review,
        path: &KeyPath,
        written: &Written,
        read: impl Fn(Quantity, &str) -> Result<f64, Problem>,
    ) -> Option<f64> {
        let value = match (self.signal, self.working) {
            (Quantity::Volume, None) => return None,
            (_, Some(working)) => measure::volume_or_share(written.text(), working),
            (signal, None) => read(signal, written.text()),
        };
        let value = review.good(path, value)?;
        let range = defaults::conceivable(self.signal);
        review.within(path, value, range, |value| self.shown(value))
    }

    fn delay(
        &self,
        review: &mut Review,
        key: &str,
        (written, usual): (Option<&Written>, Span),
    ) -> Option<Span> {
        let path = self.at.key(key);
        let span = review.or_default(&path, written, Span::parse, usual)?;
        let range = (Span::ZERO, Span::from_hours(7 * 24));
        review.within(&path, span, range, |span| span.to_string())
    }

    /// Each limit below the next, and room for the dead band between low and
    /// high: without it an alarm could never return to normal.
    fn check_order(
        &self,
        review: &mut Review,
        thresholds: &[Option<f64>; 4],
        dead_band: f64,
    ) -> Option<()> {
        let set: Vec<(&str, f64)> = LEVELS
            .iter()
            .zip(thresholds)
            .filter_map(|((_, name), threshold)| Some((*name, (*threshold)?)))
            .collect();
        for pair in set.windows(2) {
            let ((low_name, low), (high_name, high)) = (pair[0], pair[1]);
            if low >= high {
                let problem = self.wrong_order(low_name, low, high_name, high);
                review.tell(&self.at.key(low_name), problem);
                return None;
            }
        }
        if let [_, Some(low), Some(high), _] = thresholds
            && dead_band >= high - low
        {
            let problem = self.wrong_order(
                "dead_band",
                dead_band,
                "the room from low to high",
                high - low,
            );
            review.tell(&self.at.key("dead_band"), problem);
            return None;
        }
        Some(())
    }

    fn wrong_order(&self, low_name: &str, low: f64, high_name: &str, high: f64) -> Problem {
        Problem::Order {
            low_name: low_name.to_owned(),
            low: self.shown(low),
            high_name: high_name.to_owned(),
            high: self.shown(high),
        }
    }

    fn shown(&self, value: f64) -> String {
        let rounded = (value * 1000.0).round() / 1000.0;
        format!("{rounded} {}", self.signal.unit())
    }

    /// By what comes of it and how soon (ISA-18.2, rationalization). Temperatures
    /// outside of their limits shorten the life of a charge; they do not end it.
    /// What is too rich costs money, foams and harms skin over days, where what is
    /// too lean rusts parts within the shift; a sump that is somewhat full runs over
    /// nothing, and evaporates (common practice, no source).
    fn priority(&self, level: LimitLevel) -> Priority {
        let is_slow = match self.signal {
            Quantity::Temperature => true,
            Quantity::Concentration => !level.is_low(),
            Quantity::Volume => level == LimitLevel::High,
            _ => false,
        };
        match (is_slow, is_urgent(level)) {
            (true, false) => Priority::Low,
            (true, true) | (false, false) => Priority::Medium,
            (false, true) => Priority::High,
        }
    }
}
