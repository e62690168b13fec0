//! The ways that could bring a sump to its target, with their amounts before
//! they are rounded.

use crate::model::drift::Drift;
use crate::model::{Mix, makeup};
use crate::units::{Concentration, Measured, Volume};

use super::balance::{self, BalanceError, Makeup};
use super::dose::{DoseSetup, MixState};
use super::option::DoseCase;
use super::way::Way;

/// Head room is used only where the sump stays below its largest volume even if
/// it holds more than was measured by so many standard uncertainties. Choice:
/// about 98 in 100 cases.
const HEAD_ROOM_SIGMAS: f64 = 2.0;

/// A way with its amounts before they are rounded, all steps together.
pub(super) struct Candidate {
    pub(super) way: Way,
    pub(super) drain: f64,
    pub(super) concentrate: f64,
    pub(super) water: f64,
    /// Where the sump is once the waiting is over, where there is any.
    pub(super) from: MixState,
    pub(super) wait_d: Option<Measured>,
}

impl DoseCase<'_> {
    /// Every way that could do good.
    ///
    /// # Errors
    /// When the balance has no answer.
    pub(super) fn candidates(&self, setup: &DoseSetup) -> Result<Vec<Candidate>, BalanceError> {
        let makeup = self.makeup(setup)?;
        let rich = self.now.concentration.value > self.target.percent();
        let mut list = Vec::new();
        if makeup.drain.litres() <= 0.0 {
            list.push(self.now_with(plain_way(&makeup), &makeup));
        } else if rich {
            list.push(self.now_with(Way::DrainAndWater, &makeup));
            list.extend(self.water_as_it_falls());
        } else {
            list.push(self.now_with(Way::DrainAndPremix, &makeup));
            list.extend(self.premix_of_strongest(setup));
            list.extend(self.wait_and_premix(setup));
            list.extend(self.neat_at_point(setup));
        }
        if rich {
            list.extend(self.water(&makeup));
        }
        if self.is_near(setup) {
            list.push(self.adding(Way::LetItBe, 0.0, 0.0));
        }
        Ok(list)
    }

    fn adding(&self, way: Way, concentrate: f64, water: f64) -> Candidate {
        Candidate {
            way,
            drain: 0.0,
            concentrate,
            water,
            from: self.now,
            wait_d: None,
        }
    }

    fn now_with(&self, way: Way, makeup: &Makeup) -> Candidate {
        Candidate {
            drain: makeup.drain.litres(),
            ..self.adding(way, makeup.concentrate.litres(), makeup.water.litres())
        }
    }

    /// Room up to the volume to be kept, and up to the largest volume, L.
    fn rooms(&self) -> (f64, f64) {
        let now = self.now.volume;
        let sure = now.value + HEAD_ROOM_SIGMAS * now.uncertainty;
        let room = (self.target_volume.litres() - now.value).max(0.0);
        (room, (self.max_volume.litres() - sure).max(0.0))
    }

    /// Too lean for the room there is: the strongest premix into that room,
    /// which leads part of the way, and into the head room, w = V(cₜ−c)/(p−cₜ)
    /// of it; worked out here.
    fn premix_of_strongest(&self, setup: &DoseSetup) -> Vec<Candidate> {
        let p = setup.strongest_premix.fraction();
        let (room, head_room) = self.rooms();
        let of_premix = |way, litres: f64| self.adding(way, p * litres, (1.0 - p) * litres);
        let whole = self.addition_of(setup.strongest_premix);
        let mut list = Vec::new();
        if room > 0.0 {
            list.push(of_premix(Way::Premix, room));
        }
        if let Some(whole) = whole.filter(|whole| *whole > room && *whole <= head_room) {
            list.push(of_premix(Way::PremixToMax, whole));
        }
        list
    }

    /// Too rich: water alone, w = V(c/cₜ−1), into the room there is, or all of
    /// that room where it leads part of the way only, or into the head room;
    /// worked out here.
    fn water(&self, makeup: &Makeup) -> Vec<Candidate> {
        let (room, head_room) = self.rooms();
        let Some(whole) = self.addition_of(Concentration::default()) else {
            return Vec::new();
        };
        let drains = makeup.drain.litres() > 0.0;
        let mut list = Vec::new();
        // Where neither is needed, water alone is what the balance says.
        if room > 0.0 && (drains || makeup.concentrate.litres() > 0.0) {
            list.push(self.adding(Way::WaterOnly, 0.0, whole.min(room)));
        }
        if drains && whole > room && whole <= head_room {
            list.push(self.adding(Way::WaterToMax, 0.0, whole));
        }
        list
    }

    /// Concentrate alone where there is room, V(cₜ−c)/(1−cₜ), at the point that
    /// the settings name.
    fn neat_at_point(&self, setup: &DoseSetup) -> Option<Candidate> {
        setup.dosing_point.as_ref()?;
        let (room, head_room) = self.rooms();
        let concentrate = self.addition_of(Concentration::from_percent(100.0))?;
        (concentrate <= room.max(head_room))
            .then(|| self.adding(Way::NeatAtPoint, concentrate, 0.0))
    }

    /// Waiting until the strongest premix fits: the volume falls to
    /// Vₜ(p−cₜ)/(p−c), taken with the concentration of now, which evaporation
    /// only brings nearer.
    fn wait_and_premix(&self, setup: &DoseSetup) -> Option<Candidate> {
        let losses = self.losses?;
        let (v, c, _) = self.numbers();
        let (p, fill_to) = (setup.strongest_premix.fraction(), self.fill_to());
        let filled = Mix::new(fill_to, self.now.values().1);
        let exchanged = makeup::exchange(filled, setup.strongest_premix, self.target).ok()?;
        let left = fill_to.litres() - exchanged.litres();
        let by_c = left / (p - c) * self.now.concentration.uncertainty / 100.0;
        let fall = Measured {
            value: v - left,
            uncertainty: by_c.hypot(self.now.volume.uncertainty),
        };
        let wait_d = losses.days_for(fall)?;
        let drift = Drift::new(self.mix(), losses.rates()?).ok()?;
        let sunk = drift.sunk_to(Volume::from_litres(left)).ok()?;
        let then = sunk.concentration.fraction();
        let from = MixState {
            concentration: Measured {
                value: 100.0 * then,
                uncertainty: self.now.concentration.uncertainty * then / c.max(f64::MIN_POSITIVE),
            },
            volume: Measured {
                value: left,
                ..self.now.volume
            },
            ..self.now
        };
        let (volume, concentration) = from.values();
        let strongest = setup.strongest_premix;
        let makeup =
            balance::limited(volume, concentration, fill_to, self.target, strongest).ok()?;
        Some(Candidate {
            from,
            wait_d: Some(wait_d),
            ..self.now_with(Way::WaitAndPremix, &makeup)
        })
    }

    /// Replacing the losses by water at a level that is held, carry-off alone
    /// takes concentrate out: d(cV)/dt = −D·c, hence t = V/D · ln(c/cₜ); worked
    /// out here. The water is all that is lost in that time.
    fn water_as_it_falls(&self) -> Option<Candidate> {
        let losses = self.losses?;
        let (v, c, ct) = self.numbers();
        let carry_off = losses.carry_off;
        let days = v / carry_off.value * (c / ct).ln();
        if !(carry_off.value > 0.0 && days.is_finite() && days > 0.0) {
            return None;
        }
        let by_rate = carry_off.uncertainty / carry_off.value;
        let by_c = self.now.concentration.uncertainty / (100.0 * c) / (c / ct).ln();
        let wait_d = Measured {
            value: days,
            uncertainty: days * by_rate.hypot(by_c),
        };
        let water = losses.both.value * days;
        Some(Candidate {
            wait_d: Some(wait_d),
            ..self.adding(Way::WaterAsItFalls, 0.0, water)
        })
    }

    /// So much of an addition of this strength brings the sump to its target,
    /// L; none where it does not lead there.
    fn addition_of(&self, strength: Concentration) -> Option<f64> {
        let litres = makeup::addition(self.mix(), strength, self.target).ok()?;
        Some(litres.litres())
    }

    /// What is in the sump.
    fn mix(&self) -> Mix {
        let (volume, concentration) = self.now.values();
        Mix::new(volume, concentration)
    }

    /// Volume in L, concentration and target as shares.
    fn numbers(&self) -> (f64, f64, f64) {
        let (volume, concentration) = self.now.values();
        let target = self.target.fraction();
        (volume.litres(), concentration.fraction(), target)
    }
}

fn plain_way(makeup: &Makeup) -> Way {
    if makeup.concentrate.litres() > 0.0 {
        Way::Premix
    } else {
        Way::WaterOnly
    }
}
