//! Every way that leads a sump to its target, and which is the best.

use serde::Serialize;

use crate::units::{Concentration, Measured, Span, Volume};

use super::balance::{self, BalanceError, Makeup};
use super::dose::{DoseSetup, MixState};
use super::measure::Measure;
use super::money::{Cost, Costs};

/// Head room is used only where the sump stays below its largest volume even if
/// it holds more than was measured by so many standard uncertainties. Choice:
/// about 98 in 100 cases.
const HEAD_ROOM_SIGMAS: f64 = 2.0;

/// One way to bring a sump to its target. Of ways that are equal otherwise, the
/// first here is recommended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// Water into the room that there is.
    WaterOnly,
    /// Premix into the room that there is.
    Premix,
    /// Water into the head room above the volume to be kept.
    WaterToMax,
    /// Premix into the head room above the volume to be kept.
    PremixToMax,
    /// Concentrate as delivered, at the dosing point that the settings name.
    NeatAtPoint,
    /// Let mix out and fill with water.
    DrainAndWater,
    /// Let mix out and fill with premix.
    DrainAndPremix,
    /// Wait until the losses have made room, then add premix.
    WaitAndPremix,
    /// Replace the losses by water alone until the concentration has come down.
    WaterAsItFalls,
    /// Do nothing.
    LetItBe,
}

/// What a sump loses, L/d.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossRates {
    /// Water lost as vapour.
    pub evaporation: Measured,
    /// Mix lost with parts, chips and mist.
    pub carry_off: Measured,
}

/// Amounts of one step, rounded to what people can measure.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Amounts {
    /// Mix to let out first, L.
    pub drain_l: f64,
    /// Concentrate in the premix, L.
    pub concentrate_l: f64,
    /// Water in the premix, L.
    pub water_l: f64,
    /// Premix to add, L: concentrate and water together.
    pub premix_l: f64,
    /// Strength of the premix, % by volume; 0 is water alone.
    pub premix_strength_pct: f64,
}

/// One option: a way, and what comes of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoseOption {
    /// The way.
    pub way: Way,
    /// What to drain and add in this step.
    #[serde(flatten)]
    pub amounts: Amounts,
    /// Steps until the target, this one included, about.
    pub steps: u32,
    /// Concentration to expect after this step, %.
    pub expected_concentration_pct: Measured,
    /// Volume to expect after this step, L.
    pub expected_volume_l: Measured,
    /// Whether all steps together lead to the target, as near as that can be
    /// told.
    pub reaches_target: bool,
    /// Whether the sump is then filled up to the volume to be kept.
    pub fills_up: bool,
    /// Mix that goes to waste in all steps, L.
    pub waste_l: f64,
    /// What all steps cost, where prices are set.
    pub cost: Option<Cost>,
    /// Days to wait first, or until it is done, where waiting is the way.
    pub wait_d: Option<Measured>,
    /// How long all steps take, with waiting and mixing, min.
    pub time_min: f64,
}

/// A sump in need of a dose, and what bounds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseCase<'a> {
    /// Where the sump is.
    pub now: MixState,
    /// Concentration wanted.
    pub target: Concentration,
    /// Volume wanted.
    pub target_volume: Volume,
    /// Volume that must never be exceeded.
    pub max_volume: Volume,
    /// How long an addition takes to mix in.
    pub mixing: Span,
    /// What the sump loses, where that is known.
    pub losses: Option<LossRates>,
    /// What fluids cost, where prices are set.
    pub costs: Option<&'a Costs>,
}

/// A way with its amounts before they are rounded, all steps together.
struct Candidate {
    way: Way,
    drain: f64,
    concentrate: f64,
    water: f64,
    /// Where the sump is once the waiting is over, where there is any.
    from: MixState,
    wait_d: Option<Measured>,
}

impl Amounts {
    /// A drain, and concentrate and water mixed, L.
    pub fn new(drain_l: f64, concentrate_l: f64, water_l: f64) -> Self {
        let premix_l = concentrate_l + water_l;
        Amounts {
            drain_l,
            concentrate_l,
            water_l,
            premix_l,
            premix_strength_pct: if premix_l > 0.0 {
                100.0 * concentrate_l / premix_l
            } else {
                0.0
            },
        }
    }
}

impl LossRates {
    /// Both together, L/d.
    pub fn total(&self) -> Measured {
        Measured {
            value: self.evaporation.value + self.carry_off.value,
            uncertainty: self
                .evaporation
                .uncertainty
                .hypot(self.carry_off.uncertainty),
        }
    }

    /// Days until the volume has fallen by so much without any top-up:
    /// V/(E + D), worked out here. None where nothing is lost.
    pub fn days_for(&self, fall: Measured) -> Option<Measured> {
        let total = self.total();
        let value = fall.value / total.value;
        let relative = total.uncertainty / total.value;
        (total.value > 0.0 && value.is_finite() && value >= 0.0).then(|| Measured {
            value,
            uncertainty: (value * relative).hypot(fall.uncertainty / total.value),
        })
    }

    /// Concentration after the volume fell from `v0` to `v` without any top-up:
    /// c₀ (V₀/V)^(E/(E+D)), the solution of d(cV)/dt = −D·c, dV/dt = −(E + D);
    /// worked out here.
    fn strengthened(&self, c0: f64, v0: f64, v: f64) -> f64 {
        let share = self.evaporation.value / self.total().value;
        c0 * (v0 / v).powf(share)
    }
}

impl DoseCase<'_> {
    /// How near to the target is near enough, in points: the dead band, or the
    /// reading's own standard uncertainty where that is more.
    pub(super) fn near_enough(&self, setup: &DoseSetup) -> f64 {
        let dead_band = setup.dead_band.percent();
        dead_band.max(self.now.concentration.uncertainty)
    }

    /// Whether the concentration is near enough to its target.
    pub(super) fn is_near(&self, setup: &DoseSetup) -> bool {
        self.missed_by(self.now.concentration.value) <= self.near_enough(setup)
    }

    /// Whether the sump is full as far as that can be told or topped up.
    pub(super) fn is_full(&self, setup: &DoseSetup) -> bool {
        let tellable = (2.0 * setup.measure.step.litres()).max(self.now.volume.uncertainty);
        self.target_volume.litres() - self.now.volume.value < tellable
    }

    fn missed_by(&self, percent: f64) -> f64 {
        (percent - self.target.percent()).abs()
    }

    /// Up to where the sump may be filled in the ordinary way: to the volume to
    /// be kept, or where it stands already.
    fn fill_to(&self) -> Volume {
        let (now, max) = (self.now.volume.value, self.max_volume.litres());
        let wanted = self.target_volume.litres();
        Volume::from_litres(if now <= max { wanted.max(now) } else { wanted })
    }

    /// What is to be drained and added with the strongest premix allowed.
    pub(super) fn makeup(&self, setup: &DoseSetup) -> Result<Makeup, BalanceError> {
        let (volume, concentration) = self.now.values();
        let strongest = setup.strongest_premix;
        balance::limited(
            volume,
            concentration,
            self.fill_to(),
            self.target,
            strongest,
        )
    }

    /// Whether the bare balance would ask for a premix stronger than allowed.
    pub(super) fn is_limited(&self, setup: &DoseSetup) -> bool {
        let (volume, concentration) = self.now.values();
        balance::balance(volume, concentration, self.fill_to(), self.target)
            .ok()
            .and_then(|bare| bare.premix_strength())
            .is_some_and(|strength| strength > setup.strongest_premix)
    }

    /// Every option that does good, the best first.
    ///
    /// The best reaches the target without a wait longer than allowed; of those
    /// it wastes least; of those it fills the sump; of those it takes least
    /// time.
    ///
    /// # Errors
    /// When the balance has no answer.
    pub(super) fn options(&self, setup: &DoseSetup) -> Result<Vec<DoseOption>, BalanceError> {
        let mut options: Vec<DoseOption> = self
            .candidates(setup)?
            .into_iter()
            .map(|candidate| self.option(setup, &candidate))
            .filter(|option| self.does_good(setup, option))
            .collect();
        let longest_wait = setup.longest_wait.secs_f64() / 86_400.0;
        let waits_long = |one: &DoseOption| one.wait_d.is_some_and(|d| d.value > longest_wait);
        options.sort_by(|a, b| {
            let fails = |one: &DoseOption| (!one.reaches_target, waits_long(one));
            fails(a)
                .cmp(&fails(b))
                .then(a.waste_l.total_cmp(&b.waste_l))
                .then(b.fills_up.cmp(&a.fills_up))
                .then(a.time_min.total_cmp(&b.time_min))
                .then(a.way.cmp(&b.way))
        });
        Ok(options)
    }

    fn does_good(&self, setup: &DoseSetup, option: &DoseOption) -> bool {
        let after = self.missed_by(option.expected_concentration_pct.value);
        let before = self.missed_by(self.now.concentration.value);
        if self.is_near(setup) {
            after <= before.max(self.near_enough(setup))
        } else {
            after < before
        }
    }

    fn candidates(&self, setup: &DoseSetup) -> Result<Vec<Candidate>, BalanceError> {
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
        let (v, c, ct) = self.numbers();
        let p = setup.strongest_premix.fraction();
        let (room, head_room) = self.rooms();
        let of_premix = |way, litres: f64| self.adding(way, p * litres, (1.0 - p) * litres);
        let whole = v * (ct - c) / (p - ct);
        let mut list = Vec::new();
        if room > 0.0 {
            list.push(of_premix(Way::Premix, room));
        }
        if whole > room && whole <= head_room {
            list.push(of_premix(Way::PremixToMax, whole));
        }
        list
    }

    /// Too rich: water alone, w = V(c/cₜ−1), into the room there is, or all of
    /// that room where it leads part of the way only, or into the head room;
    /// worked out here.
    fn water(&self, makeup: &Makeup) -> Vec<Candidate> {
        let (v, c, ct) = self.numbers();
        let (room, head_room) = self.rooms();
        let whole = v * (c / ct - 1.0);
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
        let (v, c, ct) = self.numbers();
        let (room, head_room) = self.rooms();
        let concentrate = v * (ct - c) / (1.0 - ct);
        (concentrate <= room.max(head_room))
            .then(|| self.adding(Way::NeatAtPoint, concentrate, 0.0))
    }

    /// Waiting until the strongest premix fits: the volume falls to
    /// Vₜ(p−cₜ)/(p−c), taken with the concentration of now, which evaporation
    /// only brings nearer.
    fn wait_and_premix(&self, setup: &DoseSetup) -> Option<Candidate> {
        let losses = self.losses?;
        let (v, c, ct) = self.numbers();
        let (p, fill_to) = (setup.strongest_premix.fraction(), self.fill_to());
        let left = fill_to.litres() * (p - ct) / (p - c);
        let by_c = left / (p - c) * self.now.concentration.uncertainty / 100.0;
        let fall = Measured {
            value: v - left,
            uncertainty: by_c.hypot(self.now.volume.uncertainty),
        };
        let wait_d = losses.days_for(fall)?;
        let then = losses.strengthened(c, v, left);
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
        let water = losses.total().value * days;
        Some(Candidate {
            wait_d: Some(wait_d),
            ..self.adding(Way::WaterAsItFalls, 0.0, water)
        })
    }

    /// Volume in L, concentration and target as shares.
    fn numbers(&self) -> (f64, f64, f64) {
        let (volume, concentration) = self.now.values();
        let target = self.target.fraction();
        (volume.litres(), concentration.fraction(), target)
    }

    fn option(&self, setup: &DoseSetup, candidate: &Candidate) -> DoseOption {
        let steps = self.steps(setup, candidate);
        let amounts = rounded(&setup.measure, setup, candidate, steps);
        let total = f64::from(steps);
        let result = self.result(candidate, &amounts);
        let (volume, concentration) = self.in_one_go(candidate);
        let near = self.near_enough(setup);
        let full = 2.0 * setup.measure.step.litres();
        let wait_min = candidate.wait_d.map_or(0.0, |days| days.value * 1440.0);
        DoseOption {
            way: candidate.way,
            amounts,
            steps,
            expected_concentration_pct: result.concentration,
            expected_volume_l: result.volume,
            reaches_target: self.missed_by(concentration.percent()) <= near,
            fills_up: self.target_volume.litres() - volume.litres() < full,
            waste_l: total * amounts.drain_l,
            cost: self.costs.map(|costs| costs.of(&amounts, total)),
            wait_d: candidate.wait_d,
            time_min: wait_min + self.mixing_min(candidate.way) * total,
        }
    }

    fn mixing_min(&self, way: Way) -> f64 {
        match way {
            Way::LetItBe | Way::WaterAsItFalls => 0.0,
            _ => self.mixing.secs_f64() / 60.0,
        }
    }

    /// Into how many equal steps the amounts are split so that the first, which
    /// moves most, moves the concentration by no more than the largest step.
    ///
    /// A share f of a drain d and an addition a of strength p moves it by
    /// f·a(p−c)/(V + f(a−d)); that is s at f = sV/(a|p−c| − s(a−d)); worked out
    /// here. A sump that is filled by more than it keeps is filled, not
    /// corrected, and takes one step.
    fn steps(&self, setup: &DoseSetup, candidate: &Candidate) -> u32 {
        let added = candidate.concentrate + candidate.water;
        let (v, c) = (
            candidate.from.volume.value,
            candidate.from.concentration.value / 100.0,
        );
        let kept = v - candidate.drain;
        if added <= 0.0 || kept < added || candidate.way == Way::WaterAsItFalls {
            return 1;
        }
        let largest = setup.largest_step.fraction();
        let strength = candidate.concentrate / added;
        let net = added * (strength - c).abs() - largest * (added - candidate.drain);
        let share = largest * v / net;
        if net > 0.0 && share < 1.0 {
            // A cast of a float to an integer saturates.
            (1.0 / share - 1e-9).ceil() as u32
        } else {
            1
        }
    }

    /// Where the sump stands after one step.
    fn result(&self, candidate: &Candidate, amounts: &Amounts) -> MixState {
        if candidate.way == Way::WaterAsItFalls {
            let shrink = self.target.percent() / self.now.concentration.value;
            return MixState {
                concentration: Measured {
                    value: self.target.percent(),
                    uncertainty: self.now.concentration.uncertainty * shrink,
                },
                ..self.now
            };
        }
        candidate.from.after(amounts)
    }

    /// Volume and concentration once all steps are done, before rounding.
    fn in_one_go(&self, candidate: &Candidate) -> (Volume, Concentration) {
        let (volume, concentration) = candidate.from.values();
        if candidate.way == Way::WaterAsItFalls {
            // Every litre of it takes the place of one that was lost.
            return (volume, self.target);
        }
        balance::after(
            volume,
            concentration,
            Volume::from_litres(candidate.drain),
            Volume::from_litres(candidate.concentrate),
            Volume::from_litres(candidate.water),
        )
    }
}

fn plain_way(makeup: &Makeup) -> Way {
    if makeup.concentrate.litres() > 0.0 {
        Way::Premix
    } else {
        Way::WaterOnly
    }
}

/// Rounds one of so many equal steps to what people can measure: the drain up,
/// the total addition down (never an overfill), the concentrate to the nearest
/// that keeps the premix within the strongest allowed.
fn rounded(measure: &Measure, setup: &DoseSetup, candidate: &Candidate, steps: u32) -> Amounts {
    let share = 1.0 / f64::from(steps.max(1));
    let (drain, concentrate) = (share * candidate.drain, share * candidate.concentrate);
    let added = concentrate + share * candidate.water;
    let drain_l = measure.up(drain).min(candidate.from.volume.value);
    let premix_l = measure.down(added + drain_l - drain);
    let strongest = match candidate.way {
        Way::NeatAtPoint => 1.0,
        _ => setup.strongest_premix.fraction(),
    };
    let mut concentrate_l = measure.nearest(concentrate).min(premix_l);
    if concentrate_l > strongest * premix_l + 1e-9 {
        concentrate_l = measure.down(strongest * premix_l);
    }
    Amounts::new(drain_l, concentrate_l, premix_l - concentrate_l)
}

#[cfg(test)]
pub(super) mod tests;
