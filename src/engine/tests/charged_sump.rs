//! A sump with pH and conductivity, charged and followed for a day.

use super::*;
use crate::model::{Mineral, MovementKind, Origin};
use crate::units::Measured;

pub(super) const PH: u16 = 2;
pub(super) const CONDUCTIVITY: u16 = 3;

fn water(name: &str, hardness: f64, chloride: f64) -> Arc<Water> {
    Arc::new(Water {
        hardness: Some(Measured::new(hardness, 0.1 * hardness)),
        chloride: Some(Measured::new(chloride, 0.1 * chloride)),
        ..Water::undescribed(name)
    })
}

/// The invented sump with pH and conductivity, filled with tap water and topped
/// up with purified water.
pub(super) fn equipped() -> Arc<SumpSetup> {
    let mut setup = (*setup()).clone();
    setup.channels.extend([
        channel("ph", Quantity::Ph, 4, 0.02, 0.3),
        channel("conductivity", Quantity::Conductivity, 5, 10.0, 200.0),
    ]);
    setup.channels[3].plausible = (0.0, 20_000.0);
    let (tap, pure) = (water("tap", 200.0, 50.0), water("purified", 0.0, 0.0));
    setup.minerals.first_fill = Some(Arc::clone(&tap));
    setup.minerals.top_up = Some(Arc::clone(&pure));
    setup.waters = [tap, pure].into();
    Arc::new(setup)
}

pub(super) struct Sump {
    pub(super) watch: SumpWatch,
    pub(super) minute: i64,
    /// m, and so m³.
    pub(super) level: f64,
    /// What it wanted done.
    pub(super) effects: Vec<Effect>,
}

impl Sump {
    /// Charged at the start, and a first day of 8 % (4.2 °Bx), pH 9.2 and
    /// 2400 µS/cm.
    pub(super) fn charged() -> Self {
        Self::charged_with(equipped())
    }

    pub(super) fn charged_with(setup: Arc<SumpSetup>) -> Self {
        let mut sump = Sump {
            watch: SumpWatch::new(setup, ADMISSION, start()),
            minute: 0,
            level: 0.9,
            effects: Vec::new(),
        };
        sump.write("charge", None, event(HappeningKind::Recharged, None));
        sump.run(24 * 60, 4.2, 9.2, 2400.0);
        sump
    }

    pub(super) fn run(&mut self, minutes: i64, brix: f64, ph: f64, conductivity: f64) {
        for _ in 0..minutes {
            self.minute += 1;
            let values = [
                (BRIX, brix),
                (LEVEL, self.level),
                (PH, ph),
                (CONDUCTIVITY, conductivity),
            ];
            for (channel, value) in values {
                self.sense(channel, value);
            }
        }
    }

    pub(super) fn sense(&mut self, channel: u16, value: f64) {
        let reading = Reading {
            channel,
            claimed: Some(minute(self.minute)),
            arrival: minute(self.minute),
            value,
            form: Form::Reported,
            quality: Quality::GOOD,
        };
        self.watch.step(&Event::Reading(reading), &mut self.effects);
        self.effects
            .retain(|effect| matches!(effect, Effect::Journal(_)));
    }

    pub(super) fn usual(&mut self, minutes: i64) {
        self.run(minutes, 4.2, 9.2, 2400.0);
    }

    pub(super) fn hardness(&self) -> f64 {
        self.content(Mineral::Hardness).unwrap().value
    }

    /// Litres that the readings told to have gone in or out, and nobody wrote.
    pub(super) fn inferred(&self) -> Vec<(MovementKind, f64)> {
        let movements = self.watch.balance.balance.movements();
        let inferred = movements.filter(|one| one.origin == Origin::Inferred);
        inferred.map(|one| (one.kind, one.litres.value)).collect()
    }

    pub(super) fn write(&mut self, id: &str, supersedes: Option<&str>, kind: EntryKind) {
        self.write_of(minute(self.minute), id, supersedes, kind);
    }

    /// Written now, of an earlier time.
    pub(super) fn write_of(
        &mut self,
        time: Timestamp,
        id: &str,
        supersedes: Option<&str>,
        kind: EntryKind,
    ) {
        let entry = Entry {
            id: id.into(),
            time,
            sump: "mill".into(),
            by: None,
            supersedes: supersedes.map(str::to_owned),
            kind,
        };
        self.watch.step(
            &Event::Entry(Box::new(entry), minute(self.minute)),
            &mut self.effects,
        );
    }

    pub(super) fn content(&self, mineral: Mineral) -> Option<Measured> {
        let minerals = self.watch.status().minerals.unwrap();
        let mut tracers = minerals.tracers.iter();
        tracers.find(|one| one.mineral == mineral)?.content_mg_l
    }
}

pub(super) fn event(what: HappeningKind, litres: Option<f64>) -> EntryKind {
    EntryKind::Event {
        what,
        litres,
        channel: None,
        advice: None,
    }
}

pub(super) fn read(quantity: Quantity, value: f64, method: Option<Method>) -> EntryKind {
    EntryKind::HandReading {
        mixer: None,
        quantity,
        value,
        method,
        written: None,
    }
}

pub(super) fn added(litres: f64, water: Option<&str>) -> EntryKind {
    EntryKind::Addition {
        what: AdditionKind::Water,
        litres,
        strength_pct: None,
        water: water.map(str::to_owned),
        advice: None,
    }
}

pub(super) fn smelt(smell: Smell) -> EntryKind {
    EntryKind::Impression {
        smell: Some(smell),
        look: Vec::new(),
        text: None,
    }
}
