//! Minerals that come and go with what goes into a sump and out of it: each
//! movement once, whoever tells of it.
//!
//! Meters, the steps that readings show, and people tell of the same litres. A
//! meter goes before what people write of its kind; what they write goes before
//! what the readings told.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::model::minerals::Movement;
use crate::model::{self, MineralWatch, MovementKind, Water};
use crate::units::{Concentration, Measured, Timestamp, Volume};

use super::entry::{AdditionKind, EntryKind, HappeningKind};
use super::setup::{ChannelKind, MeterOf, SumpSetup};
use super::watch::SumpWatch;

/// More than this share of a sump is not let out of it: what is emptied wholly is
/// charged anew. Choice: sludge and corners hold back a twentieth.
const MOST_LET_OUT: f64 = 0.95;

/// What went in or, below 0, out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Moved {
    /// How much, L.
    pub(super) litres: f64,
    /// Strength of what went in.
    pub(super) strength: Concentration,
}

/// The sump just before something moved.
#[derive(Debug, Clone, Copy)]
struct Before {
    time: Timestamp,
    carry_off_l_d: Measured,
    /// Volume as it is now.
    now: Volume,
    /// Volume just before.
    volume: Volume,
}

impl Before {
    fn count(
        &self,
        minerals: &mut MineralWatch,
        setup: &SumpSetup,
        moved: Moved,
        water: Option<&Water>,
    ) {
        minerals.carry_to(self.time, self.carry_off_l_d, self.now);
        let movement = self.movement(moved, water);
        minerals.move_in_or_out(&setup.minerals, &movement, self.volume);
    }

    fn movement<'a>(&self, moved: Moved, water: Option<&'a Water>) -> Movement<'a> {
        Movement {
            time: self.time,
            litres: moved.litres.max(-MOST_LET_OUT * self.volume.litres()),
            strength: moved.strength,
            water,
        }
    }
}

impl Moved {
    /// What the readings told, where it carries minerals.
    pub(super) fn told_by(movement: &model::Movement) -> Option<Self> {
        let carries = matches!(
            movement.kind,
            MovementKind::Water | MovementKind::Premix | MovementKind::MixOut
        );
        let percent = movement.strength_pct.map_or(0.0, |strength| strength.value);
        carries.then(|| Moved {
            litres: movement.litres.value,
            strength: Concentration::from_percent(percent.clamp(0.0, 100.0)),
        })
    }
}

impl SumpWatch {
    /// Takes in what instruments tell to have gone in or out.
    pub(super) fn note_movement(&mut self, time: Timestamp, moved: Moved) {
        let before = self.before(time, moved);
        for signs in self.chemistry.both() {
            before.count(&mut signs.minerals, &self.setup, moved, None);
        }
    }

    /// Takes in what an entry tells to have gone in or out.
    pub(super) fn move_by_entry(&mut self, time: Timestamp, moved: Moved, water: Option<&str>) {
        let before = self.before(time, moved);
        let water = water.map(|name| water_named(&self.setup, name));
        let minerals = &mut self.chemistry.now.minerals;
        before.count(minerals, &self.setup, moved, water.as_deref());
    }

    /// What the entry tells to have gone in or out, unless a meter counts it,
    /// with the name of its water.
    pub(super) fn moved_by(&self, kind: &EntryKind) -> Option<(Moved, Option<String>)> {
        match kind {
            EntryKind::Addition {
                what,
                litres,
                strength_pct,
                water,
                ..
            } if !self.is_metered(*what) => {
                let percent = match what {
                    AdditionKind::Water => 0.0,
                    AdditionKind::Concentrate => 100.0,
                    AdditionKind::Premix => strength_pct.unwrap_or(0.0),
                };
                let strength = Concentration::from_percent(percent);
                let litres = *litres;
                Some((Moved { litres, strength }, water.clone()))
            }
            EntryKind::Event {
                what: HappeningKind::Drained,
                litres: Some(litres),
                ..
            } => {
                let (litres, strength) = (-litres, Concentration::default());
                Some((Moved { litres, strength }, None))
            }
            _ => None,
        }
    }

    /// The entry wrote down what the readings had told: it goes before, and what
    /// they told is taken back. Should the entry be undone, it stands again.
    pub(super) fn count_once(&mut self, entry: &str, told: Moved) {
        if self.chemistry.explain(entry, told) {
            let before = self.before(self.now, told);
            let movement = before.movement(told, None);
            let minerals = &mut self.chemistry.now.minerals;
            minerals.take_back(&self.setup.minerals, &movement, before.volume);
        }
    }

    /// Whether a meter counts additions of this kind here.
    pub(super) fn is_metered(&self, what: AdditionKind) -> bool {
        let mut channels = self.setup.channels.iter();
        channels.any(|channel| {
            let ChannelKind::Meter { of, .. } = channel.kind else {
                return false;
            };
            match of {
                MeterOf::Water => what == AdditionKind::Water,
                MeterOf::Concentrate => what == AdditionKind::Concentrate,
                MeterOf::Premix(_) => what == AdditionKind::Premix,
            }
        })
    }

    /// The level has mostly fallen already when it is told what was let out, so
    /// that comes on top of it again, as far as the sump holds it. Where nobody
    /// measures the level, the volume is what it should be.
    fn before(&self, time: Timestamp, moved: Moved) -> Before {
        let now = self.balanced_volume();
        let let_out = (-moved.litres).max(0.0);
        let volume = if self.balance_setup.level_measured {
            let full = self.setup.max_volume.litres().max(now.litres());
            Volume::from_litres(full.min(now.litres() + let_out))
        } else {
            now
        };
        Before {
            time,
            carry_off_l_d: self.carry_off(),
            now,
            volume,
        }
    }
}

/// The water that an entry names; one that nobody described has a name only.
fn water_named(setup: &SumpSetup, name: &str) -> Arc<Water> {
    let mut waters = setup.waters.iter();
    let known = waters.find(|water| water.name.eq_ignore_ascii_case(name.trim()));
    known.map_or_else(|| Arc::new(Water::undescribed(name)), Arc::clone)
}
