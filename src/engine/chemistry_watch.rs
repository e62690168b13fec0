//! Minerals, souring, and the refractometer against other methods: what feeds
//! them, and how they are shown.
//!
//! Readings feed them once a minute, entries when they come.

use crate::model::minerals::ConductivityExcess;
use crate::model::{
    Charge, FactorContext, FactorPair, FactorStatus, Mineral, MineralStatus, Odour, OtherMethod,
    SouringNow, SouringStatus, SumpNow,
};
use crate::signal::InstrumentClass;
use crate::units::{
    Brix, Concentration, Conductivity, Measured, Ph, Potential, Quantity, Span, Timestamp, Volume,
};

use super::entry::{Entry, EntryKind, HappeningKind, Look, Method, Smell};
use super::watch::SumpWatch;

/// Two methods are compared if they were read within so long. Choice: within two
/// hours a sump seldom changes by what methods differ.
const TOGETHER: Span = Span::from_hours(2);
/// Carry-off a day as a share of the volume, with its standard uncertainty, as
/// long as that of the sump is not known. Memory: losses are 1 to 5 % a day, 10
/// to 50 % of them carry-off.
const USUAL_CARRY_OFF: (f64, f64) = (0.01, 0.006);

impl SumpWatch {
    /// Takes the sump in as it is now.
    pub(super) fn watch_chemistry(&mut self) {
        if let Some(ph) = self.instrument_ph() {
            self.ph_trend.step(self.now, ph);
        }
        let (carry_off, volume) = (self.carry_off(), self.balanced_volume());
        let now = self.souring_now();
        let pumps = self.pumps_since();
        if let Some((since, run)) = pumps {
            self.chemistry.now.souring.circulate(since, run);
        }
        // What entries say of the pumps is undone with them.
        let by_switch = pumps.filter(|_| self.pumps().is_some());
        // What is still mixing in would make a false base line.
        let conducts = self.signal(Quantity::Conductivity);
        let conducts = conducts.filter(|_| self.dosing.mixing_until.is_none());
        let conducts = conducts.zip(now.concentration);
        for signs in self.chemistry.both() {
            if let Some((since, run)) = by_switch {
                signs.souring.circulate(since, run);
            }
            signs.souring.sense(&self.setup.souring, &now);
            signs.minerals.carry_to(self.now, carry_off, volume);
            if let Some((seen, at)) = conducts {
                let seen = Conductivity::from_microsiemens_per_cm(seen);
                signs.minerals.sense(self.now, seen, at);
            }
        }
    }

    /// Takes in an entry that stands and was so at `time`; what the superseded
    /// one changed is undone first.
    pub(super) fn note_chemistry(&mut self, entry: &Entry, time: Timestamp) {
        let superseded = entry.supersedes.as_deref();
        let explained = superseded.and_then(|id| self.chemistry.undo(id));
        let before = self.chemistry.now.clone();
        let moved = self.moved_by(&entry.kind);
        if let Some((moved, water)) = &moved {
            self.move_by_entry(time, *moved, water.as_deref());
        }
        match &entry.kind {
            EntryKind::HandReading {
                quantity,
                value,
                method,
                mixer: None,
                ..
            } => self.note_reading(*quantity, *value, *method, time),
            // Of the mixer's outlet it says nothing about the sump.
            EntryKind::HandReading { .. } => {}
            EntryKind::Impression { smell, look, .. } => self.note_impression(*smell, look, time),
            EntryKind::Event { what, .. } => self.note_happening(*what, time),
            EntryKind::Addition { .. }
            | EntryKind::Note { .. }
            | EntryKind::Acknowledge { .. }
            | EntryKind::Shelve { .. }
            | EntryKind::Unshelve { .. }
            | EntryKind::OutOfService { .. }
            | EntryKind::InService { .. }
            | EntryKind::Reset { .. }
            | EntryKind::Withdrawn { .. } => {}
        }
        if moved.is_some() || self.chemistry.now != before {
            self.chemistry.keep_without(&entry.id, before);
        }
        if let Some(explained) = explained.filter(|_| moved.is_some()) {
            self.count_once(&entry.id, explained);
        }
    }

    fn note_reading(
        &mut self,
        quantity: Quantity,
        value: f64,
        method: Option<Method>,
        time: Timestamp,
    ) {
        let (carry_off, volume) = (self.carry_off(), self.balanced_volume());
        let signs = &mut self.chemistry.now;
        if let Some(mineral) = Mineral::read_as(quantity) {
            let reading = Measured::new(value, mineral_uncertainty(value, method));
            let minerals = &mut signs.minerals;
            minerals.carry_to(time, carry_off, volume);
            minerals.read(mineral, time, reading, volume);
            return;
        }
        match quantity {
            Quantity::Ph => {
                let ph = Ph::from_units(value);
                signs.souring.read_ph(&self.setup.souring, time, ph);
            }
            Quantity::Bacteria => signs.souring.read_bacteria(time, value),
            Quantity::Fungi => signs.souring.read_fungi(time, value),
            Quantity::TrampOil => signs.tramp_oil = Some((value, time)),
            Quantity::Nitrite => {
                let reading = Measured::new(value, mineral_uncertainty(value, method));
                signs.nitrite = Some((time, reading));
            }
            Quantity::Brix => {
                let net = value - self.setup.water_zero.degrees();
                signs.net_brix = Some((time, net));
                self.pair_methods();
            }
            Quantity::Concentration => self.note_concentration(value, method, time),
            _ => {}
        }
    }

    fn note_concentration(&mut self, percent: f64, method: Option<Method>, time: Timestamp) {
        let signs = &mut self.chemistry.now;
        match method {
            Some(Method::Titration) => {
                signs.other = Some((time, percent, OtherMethod::Titration));
            }
            Some(Method::Laboratory) => {
                signs.other = Some((time, percent, OtherMethod::Laboratory));
            }
            Some(Method::Refractometer) => {
                let concentration = Concentration::from_percent(percent);
                let chart = &self.setup.fluid.chart;
                let net = chart.brix_for(concentration, Brix::default());
                signs.net_brix = Some((time, net.degrees()));
            }
            Some(Method::TestStrip | Method::Meter | Method::DipSlide) | None => return,
        }
        if matches!(method, Some(Method::Titration | Method::Laboratory)) {
            self.hold_witness_against(percent, time);
        }
        self.pair_methods();
    }

    /// Holds the newest concentration by another method against the hand
    /// refractometer, and where nobody used one, against the inline one as it is
    /// now.
    fn pair_methods(&mut self) {
        let Some((time, other_pct, method)) = self.chemistry.now.other else {
            return;
        };
        let near = |then: Timestamp| then >= time - TOGETHER && then <= time + TOGETHER;
        let zero = self.setup.water_zero.degrees();
        let by_hand = self.chemistry.now.net_brix.filter(|(then, _)| near(*then));
        let inline = || {
            let reading = self.signal(Quantity::Brix).filter(|_| near(self.now));
            reading.map(|reading| reading - zero)
        };
        let Some(net_brix) = by_hand.map(|(_, net)| net).or_else(inline) else {
            return;
        };
        let chart = &self.setup.fluid.chart;
        let read = chart.concentration(Brix::from_degrees(net_brix), Brix::default());
        self.chemistry.now.factor.step(FactorPair {
            time,
            net_brix,
            refractometer_pct: read.percent(),
            other_pct,
            method,
        });
    }

    fn note_impression(&mut self, smell: Option<Smell>, look: &[Look], time: Timestamp) {
        let signs = &mut self.chemistry.now;
        if let Some(smell) = smell {
            signs.souring.smell(time, odour(smell));
        }
        if look.contains(&Look::Slime) {
            signs.souring.see_slime(time);
        } else if !look.is_empty() {
            signs.souring.see_no_slime(time);
        }
        if look.contains(&Look::OilFilm) {
            signs.oil_film = signs.oil_film.max(Some(time));
        }
    }

    fn note_happening(&mut self, what: HappeningKind, time: Timestamp) {
        let by_switch = self.pumps().is_some();
        let signs = &mut self.chemistry.now;
        match what {
            HappeningKind::Recharged => {
                let charge = Charge {
                    time,
                    volume: self.setup.working_volume,
                    strength: self.setup.target,
                    water: None,
                };
                signs.minerals.begin(&self.setup.minerals, &charge);
                signs.souring.begin(time);
                signs.factor.begin(time);
                signs.tramp_oil = None;
                signs.nitrite = None;
                signs.oil_film = None;
            }
            HappeningKind::Skimmed => signs.oil_film = None,
            HappeningKind::PumpsOn | HappeningKind::PumpsOff if !by_switch => {
                let run = what == HappeningKind::PumpsOn;
                signs.souring.circulate(time, run);
            }
            HappeningKind::PumpsOn
            | HappeningKind::PumpsOff
            | HappeningKind::Drained
            | HappeningKind::Cleaned
            | HappeningKind::ProbeCleaned
            | HappeningKind::ProbeCalibrated
            | HappeningKind::WaterMeasured => {}
        }
    }

    /// A probe was cleaned or calibrated: how pH moves with that says nothing of
    /// the fluid.
    pub(super) fn ph_probe_touched(&mut self, time: Timestamp) {
        self.ph_trend.begin_anew();
        self.courses.disturbed();
        self.rates.disturbed();
        for signs in self.chemistry.both() {
            signs.souring.probe_touched(time);
        }
    }

    /// pH by its instrument; none as long as that settles after it was touched.
    pub(super) fn instrument_ph(&self) -> Option<f64> {
        let (channel, ph) = self.first_usable(Quantity::Ph)?;
        let class = self.instrument_judgement(channel).class;
        (class != InstrumentClass::FunctionCheck).then_some(ph)
    }

    pub(super) fn souring_now(&self) -> SouringNow {
        SouringNow {
            time: self.now,
            ph: self.instrument_ph().map(Ph::from_units),
            ph_slope_a_week: self.ph_trend.a_week(),
            concentration: self.known_concentration(),
            oxygen_mg_l: self.signal(Quantity::DissolvedOxygen),
            redox: self.signal(Quantity::Redox).map(Potential::from_millivolts),
        }
    }

    fn known_concentration(&self) -> Option<Concentration> {
        self.concentration_value().map(Concentration::from_percent)
    }

    /// Carry-off, L/d, as the balance tells it, else the usual.
    pub(super) fn carry_off(&self) -> Measured {
        let known = self.mineral_losses().map(|losses| losses.carry_off_l_d);
        known.unwrap_or_else(|| usual_carry_off(self.setup.working_volume))
    }

    /// The minerals, where something is known of them. Their forecast waits for
    /// losses that are known.
    pub(super) fn mineral_status(&self) -> Option<MineralStatus> {
        let minerals = &self.chemistry.now.minerals;
        minerals.status(&self.setup.minerals, &self.mineral_sump())
    }

    /// How long a mineral takes to its next limit, where that is known, d: as
    /// [`MineralWatch::next_limit_in`](crate::model::MineralWatch::next_limit_in).
    pub(super) fn next_limit_in(
        &self,
        mineral: Mineral,
        most_d: f64,
    ) -> Option<(f64, Option<f64>)> {
        let minerals = &self.chemistry.now.minerals;
        minerals.next_limit_in(mineral, &self.setup.minerals, &self.mineral_sump(), most_d)
    }

    fn mineral_sump(&self) -> SumpNow {
        let (seen, known) = (self.conducting(), self.known_concentration());
        SumpNow {
            volume: self.balanced_volume(),
            concentration: known.unwrap_or(self.setup.target),
            conductivity: seen.map(|(seen, _)| seen),
            losses: self.mineral_losses(),
        }
    }

    /// Conductivity and concentration, where both are known.
    fn conducting(&self) -> Option<(Conductivity, Concentration)> {
        let seen = self.signal(Quantity::Conductivity)?;
        let at = self.known_concentration()?;
        Some((Conductivity::from_microsiemens_per_cm(seen), at))
    }

    /// Conductivity against its base line, where both are known.
    pub(super) fn conductivity_excess(&self) -> Option<ConductivityExcess> {
        let (seen, at) = self.conducting()?;
        let minerals = &self.chemistry.now.minerals;
        minerals.excess(&self.setup.minerals, seen, at)
    }

    /// Conductivity as a multiple of its base line; none while an addition mixes
    /// in, as conductivity and concentration are then not those of one fluid, and
    /// none by instruments that ask for somebody.
    pub(super) fn conductivity_ratio(&self) -> Option<f64> {
        let well = self.well(Quantity::Concentration) && self.well(Quantity::Conductivity);
        if self.dosing.mixing_until.is_some() || !well {
            return None;
        }
        self.conductivity_excess().map(|excess| excess.ratio)
    }

    /// Whether it goes sour, where something is known of it.
    pub(super) fn souring_status(&self) -> Option<SouringStatus> {
        let souring = &self.chemistry.now.souring;
        souring.status(&self.setup.souring, &self.souring_now())
    }

    /// Whether it went sour by what people found last, where some of that is too old
    /// to count.
    pub(super) fn souring_as_last_found(&self) -> Option<SouringStatus> {
        let souring = &self.chemistry.now.souring;
        souring.status_as_last_found(&self.setup.souring, &self.souring_now())
    }

    /// Nitrite, mg/L, by a reading that still counts.
    pub(super) fn nitrite(&self) -> Option<Measured> {
        let read = self.chemistry.now.nitrite;
        self.setup.souring.still_counts(read, self.now)
    }

    /// Tramp oil, %, by a reading that still counts.
    pub(super) fn tramp_oil(&self) -> Option<f64> {
        let read = self.chemistry.now.tramp_oil;
        let read = read.map(|(share, time)| (time, share));
        self.setup.souring.still_counts(read, self.now)
    }

    /// Content of a mineral, mg/L, where it is followed.
    pub(super) fn mineral_now(&self, mineral: Mineral) -> Option<Measured> {
        let minerals = &self.chemistry.now.minerals;
        minerals.content(mineral, self.balanced_volume())
    }

    /// How far pH is below that of the fresh charge.
    pub(super) fn ph_drop(&self) -> Option<f64> {
        let souring = &self.chemistry.now.souring;
        souring.ph_drop_now(&self.setup.souring, &self.souring_now())
    }

    /// Bacteria, and yeasts and moulds, CFU/mL, by counts that still count.
    pub(super) fn germs(&self) -> (Option<f64>, Option<f64>) {
        let (souring, setup) = (&self.chemistry.now.souring, &self.setup.souring);
        (
            souring.bacteria_now(setup, self.now),
            souring.fungi_now(setup, self.now),
        )
    }

    /// The refractometer against other methods, where there are any.
    pub(super) fn factor_status(&self) -> Option<FactorStatus> {
        let signs = &self.chemistry.now;
        let context = FactorContext {
            tramp_oil: signs.tramp_oil,
            oil_film: signs.oil_film,
            disturbed: signs.souring.last_jump(),
        };
        let (setup, target) = (&self.setup.methods, self.setup.target);
        signs.factor.status(setup, target, &context, self.now)
    }
}

fn usual_carry_off(volume: Volume) -> Measured {
    let (share, uncertainty) = USUAL_CARRY_OFF;
    Measured::new(share * volume.litres(), uncertainty * volume.litres())
}

/// Standard uncertainty of a mineral's reading, mg/L. Choice: a laboratory is
/// good to 3 %, a titration to 5 %, strips to a step of a fifth, the rest to a
/// tenth; and nothing to less than 2 mg/L.
fn mineral_uncertainty(value: f64, method: Option<Method>) -> f64 {
    let share = match method {
        Some(Method::Laboratory) => 0.03,
        Some(Method::Titration) => 0.05,
        Some(Method::TestStrip) => 0.2,
        Some(Method::Refractometer | Method::Meter | Method::DipSlide) | None => 0.1,
    };
    (share * value).max(2.0)
}

const fn odour(smell: Smell) -> Odour {
    match smell {
        Smell::Fresh => Odour::Fresh,
        Smell::Stale => Odour::Stale,
        Smell::Bad => Odour::Bad,
        Smell::Rotten => Odour::Rotten,
    }
}
