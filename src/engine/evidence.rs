//! What an alarm rests on beside its value: the signals side by side, the trend,
//! and what may have caused it.

use serde::Serialize;

use crate::model::{DepartureKind, Mineral, MovementKind, Odour, Origin};
use crate::rules::causes::{LikelyCause, Pairs, causes};
use crate::rules::{Condition, Rule, Step};
use crate::signal::InstrumentClass;
use crate::units::{Quantity, Span, Timestamp};

use super::own_inputs::AskedValue;
use super::watch::SumpWatch;

/// What went in or out counts for so long. Choice: from one working day to the
/// next.
const COUNTS: Span = Span::from_hours(30);
/// Trends go over so long.
const OVER: Span = Span::from_hours(24);
/// Plain water is told from this share of the working volume on. Choice: what
/// shows in the concentration.
const MUCH_WATER: f64 = 0.03;
/// Warm for what grows in it, °C. Memory: the limit that is usual.
const WARM_C: f64 = 30.0;

/// What an alarm rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlarmEvidence {
    /// The sump's signals as they are now.
    pub values: Vec<EvidenceValue>,
    /// What a rule of the plant's own looked at, in the order of its text.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub asked: Vec<AskedValue>,
    /// How the signal goes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<EvidenceTrend>,
    /// What may have caused it, the likeliest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub causes: Vec<LikelyCause>,
}

/// A signal as it is now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EvidenceValue {
    /// Which.
    pub name: Quantity,
    /// Its value.
    pub value: f64,
    /// The unit of the value.
    pub unit: &'static str,
}

/// How a signal went, doses left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EvidenceTrend {
    /// Which.
    pub signal: Quantity,
    /// Its unit.
    pub unit: &'static str,
    /// Change a day, in the signal's unit.
    pub a_day: f64,
    /// Standard uncertainty of that.
    pub uncertainty: f64,
    /// Over so many hours.
    pub over_h: f64,
}

/// The signals that are shown, where they are known.
const SHOWN: [Quantity; 6] = [
    Quantity::Concentration,
    Quantity::Volume,
    Quantity::Ph,
    Quantity::Conductivity,
    Quantity::Temperature,
    Quantity::DissolvedOxygen,
];

impl SumpWatch {
    /// What an alarm with this condition rests on now.
    pub(super) fn alarm_evidence(&self, condition: &Condition) -> AlarmEvidence {
        let values = SHOWN.into_iter().filter_map(|name| {
            let value = self.signal(name)?;
            let unit = name.unit();
            Some(EvidenceValue { name, value, unit })
        });
        let trend =
            signal_of(condition).and_then(|signal| Some((signal, self.trend_of(signal, OVER)?)));
        AlarmEvidence {
            values: values.collect(),
            asked: self.asked_by_rule(condition),
            trend: trend.map(|(signal, trend)| EvidenceTrend {
                signal,
                unit: signal.unit(),
                a_day: trend.a_day.value,
                uncertainty: trend.a_day.uncertainty,
                over_h: trend.over_h,
            }),
            causes: causes(condition, &self.pairs(condition)),
        }
    }

    /// The signal behind a value that is how fast it moves or how far it has
    /// shifted.
    pub(super) fn signal_behind(&self, condition: &Condition) -> Option<EvidenceValue> {
        if !matches!(condition, Condition::Rate(..) | Condition::Shifted(_)) {
            return None;
        }
        let name = signal_of(condition)?;
        Some(EvidenceValue {
            name,
            value: self.signal(name)?,
            unit: name.unit(),
        })
    }

    /// The window of the signal that a rule is about, where it has limits: of what
    /// lies ahead, and of what moves or has shifted as long as its signal is known.
    pub(super) fn window_of_rule(
        &self,
        condition: &Condition,
    ) -> Option<(Option<f64>, Option<f64>)> {
        let signal = match condition {
            Condition::Ahead(..) => signal_of(condition)?,
            _ => self.signal_behind(condition)?.name,
        };
        let window = self.window(signal);
        (window != (None, None)).then_some(window)
    }

    /// The sump's signals side by side.
    fn pairs(&self, condition: &Condition) -> Pairs {
        let setup = &self.setup;
        let channel = self.channel_of(Quantity::Concentration);
        let compared = channel.and_then(|ix| self.channels[ix].instrument.drift());
        let departs = |is_it: fn(DepartureKind) -> bool| {
            let departure = self.balance.balance.departure()?;
            is_it(departure.kind).then_some(departure.litres_per_hour.value)
        };
        let methods = self.factor_status().filter(|status| status.gap.too_much);
        let oil = self
            .tramp_oil()
            .is_some_and(|oil| oil > setup.methods.tramp_oil_pct);
        let oxygen_low = self.signal(Quantity::DissolvedOxygen);
        let (bacteria, fungi) = self.germs();
        let souring = &self.chemistry.now.souring;
        let hours = |since: Timestamp| (self.now - since).secs_f64() / 3600.0;
        let stood = souring.circulates().filter(|(_, run)| !run);
        let recently = |time| self.now - time <= setup.souring.counts_for;
        Pairs {
            concentration: self.course_of(Quantity::Concentration),
            volume: self.course_of(Quantity::Volume),
            water_in: departs(|kind| kind == DepartureKind::WaterIn)
                .or_else(|| self.moved_unseen(&[MovementKind::Water, MovementKind::Thinned])),
            mix_in: departs(|kind| kind == DepartureKind::MixIn)
                .or_else(|| self.moved_unseen(&[MovementKind::Premix, MovementKind::Concentrate])),
            mix_lost: departs(|kind| kind == DepartureKind::MixLost),
            water_lost: departs(|kind| kind == DepartureKind::WaterLost),
            water_written: self.water_written(),
            since_added_h: self.since_added_h(),
            mixer_off_pct: self.mixer_off_pct(),
            over_hand_pct: compared.map(|drift| self.points(f64::from(drift.difference))),
            hand_tolerance_pct: channel.map_or(f64::MAX, |ix| {
                self.points(setup.channels[ix].hand_tolerance)
            }),
            prism_asks: self.asks(Quantity::Concentration),
            forbidden_a_day: channel
                .and_then(|ix| self.channels[ix].instrument.drift_forbidden())
                .map(|a_day| self.points(a_day)),
            conductivity_ratio: self.conductivity_ratio(),
            beyond_conductivity_pct: self
                .conductivity_contradicts()
                .and_then(|_| self.beyond_conductivity()),
            over_titration_pct: methods.map(|one| one.gap.points).filter(|gap| *gap > 0.0),
            oil_found: oil || self.chemistry.now.oil_film.is_some_and(recently),
            ph_jumped: souring.last_jump().is_some_and(recently),
            ph_by_concentration: souring.shift_now(&setup.souring, &self.souring_now()),
            oxygen_low: oxygen_low.filter(|oxygen| *oxygen < setup.souring.oxygen_mg_l.watch),
            germs_found: bacteria.is_some_and(|count| count >= setup.souring.bacteria.reasonable)
                || fungi.is_some_and(|count| count >= setup.souring.fungi.reasonable),
            smells: souring
                .odour_now(&setup.souring, self.now)
                .is_some_and(|odour| matches!(odour, Odour::Bad | Odour::Rotten)),
            stood_still_h: stood
                .filter(|(since, _)| self.now - *since > setup.souring.still)
                .map(|(since, _)| hours(since)),
            warm_c: self
                .signal(Quantity::Temperature)
                .filter(|warm| *warm > WARM_C),
            electrode_asks: self.asks(Quantity::Ph),
            level_probe_asks: self.asks(Quantity::Volume),
            pumps: self.pumps_since().map(|(since, run)| (run, hours(since))),
            foam_seen: matches!(self.remembered.foam(), Some((time, true)) if hours(time) < 24.0),
            shift: self.shift_told(condition),
            minerals_high: Mineral::ALL
                .into_iter()
                .any(|mineral| self.is_high(mineral)),
        }
    }

    /// By how much what the condition is about has shifted.
    fn shift_told(&self, condition: &Condition) -> Option<f64> {
        let Condition::Shifted(of) = condition else {
            return None;
        };
        let mut charts = self
            .setup
            .rules
            .iter()
            .filter_map(|setup| match &setup.rule {
                Rule::Shifted(chart) => Some(chart),
                _ => None,
            });
        let chart = charts.find(|chart| chart.of == *of)?;
        self.shift_of(chart).map(|shift| shift.by)
    }

    /// Whether the instrument of the signal asks for somebody or is contradicted.
    fn asks(&self, signal: Quantity) -> bool {
        self.channel_of(signal).is_some_and(|channel| {
            let class = self.instrument_judgement(channel).class;
            let well = matches!(
                class,
                InstrumentClass::Good | InstrumentClass::FunctionCheck
            );
            !well || self.alarms.is_doubted(channel)
        })
    }

    /// A difference of the instrument of concentration, in points.
    fn points(&self, difference: f64) -> f64 {
        let channel = self.channel_of(Quantity::Concentration);
        let by_brix = channel.is_some_and(|ix| self.setup.channels[ix].quantity == Quantity::Brix);
        if !by_brix {
            return difference;
        }
        let chart = &self.setup.fluid.chart;
        let net = chart.brix_for(self.setup.target, crate::units::Brix::default());
        difference * chart.slope_at(net)
    }

    fn is_high(&self, mineral: Mineral) -> bool {
        let bound = Step::Watch.of(self.setup.minerals.bounds(mineral));
        let content = self.mineral_now(mineral);
        content.is_some_and(|content| content.value > bound)
    }

    /// Litres of these kinds that came in of late and that nobody wrote down.
    fn moved_unseen(&self, kinds: &[MovementKind]) -> Option<f64> {
        let movements = self.balance.balance.movements();
        let came = movements.filter(|one| {
            one.origin == Origin::Inferred
                && kinds.contains(&one.kind)
                && self.now - one.until <= COUNTS
        });
        let litres: f64 = came.map(|one| one.litres.value).sum();
        (litres > 0.0).then_some(litres)
    }

    /// Plain water that people wrote down of late, L, where it is much: what the
    /// ledger holds, and what still waits for its step in the readings.
    fn water_written(&self) -> Option<f64> {
        let balance = &self.balance.balance;
        let written = balance.movements().filter(|one| {
            one.origin != Origin::Inferred
                && one.kind == MovementKind::Water
                && self.now - one.until <= COUNTS
        });
        let waits = balance
            .waiting()
            .filter(|one| one.kind() == MovementKind::Water && self.now - one.time <= COUNTS);
        let litres: f64 = written
            .map(|one| one.litres.value)
            .chain(waits.map(|one| one.litres))
            .sum();
        (litres > MUCH_WATER * self.setup.working_volume.litres()).then_some(litres)
    }

    /// Hours since the newest addition.
    fn since_added_h(&self) -> Option<f64> {
        let balance = &self.balance.balance;
        let moved = balance.movements().filter(|one| one.litres.value > 0.0);
        let waits = balance.waiting().filter(|one| one.litres > 0.0);
        let newest = moved
            .map(|one| one.until)
            .chain(waits.map(|one| one.time))
            .max()?;
        Some((self.now - newest).secs_f64() / 3600.0)
    }

    /// How much stronger a mixer gives than it is set to, points.
    fn mixer_off_pct(&self) -> Option<f64> {
        let off = self.upkeep.mixers().find(|seen| seen.off)?;
        Some(off.got_pct - off.setting_pct)
    }
}

/// The signal that a condition is about, where there is a course of it.
fn signal_of(condition: &Condition) -> Option<Quantity> {
    match condition {
        Condition::Limit(Quantity::Brix, _) => Some(Quantity::Concentration),
        Condition::Limit(Quantity::Level, _) => Some(Quantity::Volume),
        Condition::Limit(signal, _) | Condition::Ahead(signal, _) => Some(*signal),
        Condition::Rate(signal, _) => Some(*signal),
        Condition::Shifted(of) => of.signal(),
        Condition::Loss | Condition::Gain => Some(Quantity::Volume),
        Condition::Excess(_) => Some(Quantity::Conductivity),
        Condition::Souring(_) => Some(Quantity::Ph),
        _ => None,
    }
}
