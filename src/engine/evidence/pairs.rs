//! A sump's signals side by side, for what may have caused an alarm.

use crate::model::{DepartureKind, Mineral, MineralStatus, MovementKind, Odour, Origin};
use crate::rules::causes::{MineralSeen, Pairs};
use crate::rules::own::OwnEntry;
use crate::rules::{Condition, Rule, Step};
use crate::signal::InstrumentClass;
use crate::units::{Brix, Quantity, Span, Timestamp};

use crate::engine::watch::SumpWatch;

/// What went in or out counts for so long. Choice: from one working day to the
/// next.
const COUNTS: Span = Span::from_hours(30);
/// Plain water is told from this share of the working volume on. Choice: what
/// shows in the concentration.
const MUCH_WATER: f64 = 0.03;
/// Warm for what grows in it, °C. Memory: the limit that is usual.
const WARM_C: f64 = 30.0;
/// A sump that holds less than it should by more than this share has little fluid.
/// Choice: half of what is an alarm.
const MUCH_SHORT: f64 = 0.1;

impl SumpWatch {
    /// The sump's signals side by side.
    pub(super) fn pairs(&self, condition: &Condition) -> Pairs {
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
        let minerals = self.mineral_status();
        let ph_by_concentration = souring.shift_now(&setup.souring, &self.souring_now());
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
            ph_by_concentration,
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
            hardness: self.mineral_seen(Mineral::Hardness, minerals.as_ref()),
            chloride: self.mineral_seen(Mineral::Chloride, minerals.as_ref()),
            nitrate_mg_l: self.nitrate_of_waters(),
            nitrate_most_mg_l: setup.minerals.nitrate_mg_l,
            ph_unexplained: self
                .ph_drop()
                .map(|drop| drop + ph_by_concentration.unwrap_or_default()),
            germs_few: bacteria.filter(|count| *count < setup.souring.bacteria.reasonable),
            charge_age_d: self
                .upkeep
                .last_entered(OwnEntry::Recharged)
                .map(|since| hours(since) / 24.0),
            temperature: self.course_of(Quantity::Temperature),
            short_of_fluid_pct: self.short_of_fluid_pct(),
            temperature_probe_asks: self.asks(Quantity::Temperature),
            conductivity_cell_asks: self.asks(Quantity::Conductivity),
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
        let net = chart.brix_for(self.setup.target, Brix::default());
        difference * chart.slope_at(net)
    }

    /// What is known of a mineral.
    fn mineral_seen(&self, mineral: Mineral, status: Option<&MineralStatus>) -> MineralSeen {
        let setup = &self.setup.minerals;
        let tracer = status.and_then(|status| {
            let mut tracers = status.tracers.iter();
            tracers.find(|tracer| tracer.mineral == mineral)
        });
        let surprise = tracer.and_then(|tracer| tracer.surprise.as_ref());
        let surprise = surprise.filter(|one| self.now - one.time <= self.setup.souring.counts_for);
        let top_up = setup.top_up.as_deref();
        let water = top_up.and_then(|water| water.content(mineral));
        MineralSeen {
            content: self.mineral_now(mineral).map(|content| content.value),
            watch: Step::Watch.of(setup.bounds(mineral)),
            water: water.map(|water| water.value),
            ends_at: tracer.and_then(|tracer| tracer.steady_mg_l),
            read_over: surprise
                .map(|one| one.read_mg_l - one.expected_mg_l)
                .filter(|over| *over > 0.0),
        }
    }

    /// The most nitrate that the waters of this sump have by the settings, mg/L.
    fn nitrate_of_waters(&self) -> Option<f64> {
        let minerals = &self.setup.minerals;
        let waters = [&minerals.top_up, &minerals.first_fill];
        let nitrates = waters
            .into_iter()
            .flatten()
            .filter_map(|water| water.nitrate_mg_l);
        nitrates.reduce(f64::max)
    }

    /// By how much the sump holds less than it should, % of that, where it is much.
    fn short_of_fluid_pct(&self) -> Option<f64> {
        let short = 1.0 - self.volume_value()? / self.setup.working_volume.litres();
        (short > MUCH_SHORT).then_some(100.0 * short)
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
