//! What goes wrong at a sump, how often, how badly and for how long.
//!
//! Rates are per sump and year and all are choices: so high that each kind
//! happens often enough in a year of forty sumps to be counted, so low that most
//! of the time nothing is wrong. Sizes are those seen in practice (common
//! practice, no source).

use crate::simulate::random::Random;
use crate::units::{Span, Timestamp};

use super::calendar::{STAND_STILLS, YEAR_START};
use super::instruments::Channel;
use super::layout::SumpSpec;

/// Something that goes wrong at a sump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaultKind {
    /// The mixer gives less than it is set to; size: what it gives over what it
    /// should.
    MixerLean,
    /// The mixer gives more; size likewise.
    MixerRich,
    /// Water runs in unseen; size: share of the working volume an hour.
    WaterIngress,
    /// Mix runs out unseen; size likewise.
    Leak,
    /// Microbes take over; size: how far pH falls in the end.
    Souring,
    /// Top-ups come from the hard tap; no size.
    HardWater,
    /// Tramp oil in the mix lifts the refractometer; size: °Bx in the end.
    TrampOil,
    /// Alkaline cleaner got into the mix; size: how far pH rises.
    Cleaner,
    /// A film on the prism; size: what it adds in the end, °Bx.
    FouledPrism,
    /// The instrument sends the same again and again.
    Frozen(Channel),
    /// The instrument sends nothing.
    Silent(Channel),
    /// A loose contact; size: share of readings that are spikes.
    Spiking(Channel),
    /// Air in the refractometer's cell; size: share of readings far too low.
    Bubbles,
    /// Foam under the level probe; size: how much it lifts the reading, mm.
    Foam,
    /// The current loop is open: no current flows.
    BrokenLoop(Channel),
    /// The circulation pumps stand although they should run.
    PumpsStopped,
    /// The plant's broker is gone: no sump reports anything.
    BrokerGone,
}

/// One fault as it will happen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned {
    /// What.
    pub kind: FaultKind,
    /// How much of it; see the kind.
    pub size: f64,
    /// How long it takes to grow to that, h.
    pub grows_h: f64,
    /// When it begins.
    pub from: Timestamp,
    /// When it ends by itself; otherwise it stays until somebody mends it.
    pub until: Option<Timestamp>,
}

/// How often a kind happens and what it is like.
struct Habit {
    kind: FaultKind,
    a_year: f64,
    size: (f64, f64),
    grows_h: (f64, f64),
    lasts_h: Option<(f64, f64)>,
}

const fn habit(kind: FaultKind, a_year: f64, size: (f64, f64)) -> Habit {
    Habit {
        kind,
        a_year,
        size,
        grows_h: (0.0, 0.0),
        lasts_h: None,
    }
}

impl Habit {
    const fn grows(self, grows_h: (f64, f64)) -> Habit {
        Habit { grows_h, ..self }
    }

    const fn lasts(self, lasts_h: (f64, f64)) -> Habit {
        Habit {
            lasts_h: Some(lasts_h),
            ..self
        }
    }
}

const HABITS: [Habit; 26] = {
    use Channel::{Brix, Conductivity, Level, Ph, Temperature};
    use FaultKind::{
        BrokenLoop, Bubbles, Cleaner, Foam, FouledPrism, Frozen, HardWater, Leak, MixerLean,
        MixerRich, PumpsStopped, Silent, Souring, Spiking, TrampOil, WaterIngress,
    };
    let none = (1.0, 1.0);
    [
        habit(MixerLean, 0.6, (0.3, 0.75)),
        habit(MixerRich, 0.4, (1.35, 2.2)),
        habit(WaterIngress, 0.3, (0.002, 0.02)),
        habit(Leak, 0.4, (0.002, 0.015)),
        // Beside those of the stand-stills.
        habit(Souring, 0.1, (0.7, 1.5)).grows((72.0, 240.0)),
        habit(HardWater, 0.3, none),
        habit(TrampOil, 0.5, (0.6, 1.8)).grows((120.0, 480.0)),
        habit(Cleaner, 0.4, (0.4, 0.9)).lasts((168.0, 240.0)),
        habit(FouledPrism, 1.5, (0.5, 2.0)).grows((8.0, 96.0)),
        habit(Frozen(Brix), 0.3, none),
        habit(Frozen(Ph), 0.2, none),
        habit(Frozen(Conductivity), 0.2, none),
        habit(Frozen(Level), 0.2, none),
        habit(Silent(Brix), 0.4, none),
        habit(Silent(Ph), 0.3, none),
        habit(Silent(Conductivity), 0.3, none),
        habit(Silent(Temperature), 0.2, none),
        habit(Silent(Level), 0.3, none),
        habit(Spiking(Brix), 0.2, (0.3, 0.6)),
        habit(Spiking(Ph), 0.3, (0.3, 0.6)),
        habit(Spiking(Level), 0.2, (0.3, 0.6)),
        habit(Bubbles, 0.8, (0.3, 0.6)).lasts((12.0, 120.0)),
        habit(Foam, 0.8, (20.0, 60.0)).lasts((4.0, 72.0)),
        habit(BrokenLoop(Brix), 0.4, none),
        habit(BrokenLoop(Level), 0.4, none),
        habit(PumpsStopped, 1.0, none).lasts((1.0, 10.0)),
    ]
};

/// Times a year that the broker is gone, and for how long, h.
const BROKER_A_YEAR: f64 = 4.0;
const BROKER_LASTS_H: (f64, f64) = (0.7, 10.0);

/// The chance that a sump sours in a stand-still (choice).
const SOURS_IN_STAND_STILL: f64 = 0.3;

const YEAR_H: f64 = 365.0 * 24.0;

/// All that will go wrong at a sump in a year, in the order of its beginning.
/// It does not depend on what anybody does about it.
pub fn timetable(seed: u64, spec: &SumpSpec) -> Vec<Planned> {
    let mut plan = Vec::new();
    for (place, habit) in HABITS.iter().enumerate() {
        let on_loop = match habit.kind {
            FaultKind::BrokenLoop(Channel::Brix) => spec.loops.0,
            FaultKind::BrokenLoop(_) => spec.loops.1,
            _ => true,
        };
        if on_loop {
            let part = format!("faults/{}/{place}", spec.place);
            random_times(seed, &part, habit, &mut plan);
        }
    }
    let broker = habit(FaultKind::BrokerGone, BROKER_A_YEAR, (1.0, 1.0)).lasts(BROKER_LASTS_H);
    random_times(seed, "faults/broker", &broker, &mut plan);
    stand_stills(seed, spec, &mut plan);
    plan.sort_by_key(|planned| (planned.from, planned.kind));
    plan
}

fn random_times(seed: u64, part: &str, habit: &Habit, plan: &mut Vec<Planned>) {
    let mut chance = Random::for_part(seed, part);
    let mut hour = 0.0;
    loop {
        hour += -(1.0 - chance.share()).ln() * YEAR_H / habit.a_year;
        if hour >= YEAR_H {
            return;
        }
        let from = after_hours(YEAR_START, hour);
        let size = chance.between(habit.size.0, habit.size.1);
        let grows_h = chance.between(habit.grows_h.0, habit.grows_h.1);
        let lasts = habit
            .lasts_h
            .map(|(least, most)| chance.between(least, most));
        plan.push(Planned {
            kind: habit.kind,
            size,
            grows_h,
            from,
            until: lasts.map(|hours| after_hours(from, hours)),
        });
    }
}

/// Still, warm fluid without air sours.
fn stand_stills(seed: u64, spec: &SumpSpec, plan: &mut Vec<Planned>) {
    let mut chance = Random::for_part(seed, &format!("faults/{}/still", spec.place));
    for (first_day, _) in STAND_STILLS {
        let sours = chance.share() < SOURS_IN_STAND_STILL;
        let (size, grows_h) = (chance.between(0.7, 1.5), chance.between(72.0, 240.0));
        let hour = 24.0 * first_day as f64 + chance.between(24.0, 96.0);
        if sours {
            plan.push(Planned {
                kind: FaultKind::Souring,
                size,
                grows_h,
                from: after_hours(YEAR_START, hour),
                until: None,
            });
        }
    }
}

fn after_hours(from: Timestamp, hours: f64) -> Timestamp {
    from + Span::from_millis((hours * 3_600_000.0) as i64)
}

/// A fault as it happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Happened {
    /// As it was planned.
    pub planned: Planned,
    /// When it was over; none while it lasts.
    pub over: Option<Timestamp>,
}

/// The faults of one sump as they stand at a time.
#[derive(Debug, Clone)]
pub(super) struct Faults {
    ahead: std::iter::Peekable<std::vec::IntoIter<Planned>>,
    /// Places in `happened` of those that last.
    present: Vec<usize>,
    pub(super) happened: Vec<Happened>,
}

impl Faults {
    /// Those of the timetable that begin from `start` on.
    pub(super) fn new(plan: Vec<Planned>, start: Timestamp) -> Self {
        let plan: Vec<Planned> = plan.into_iter().filter(|p| p.from >= start).collect();
        Faults {
            ahead: plan.into_iter().peekable(),
            present: Vec::new(),
            happened: Vec::new(),
        }
    }

    /// Lets faults begin and end by the clock. One whose kind is there already
    /// does not begin again.
    pub(super) fn advance(&mut self, now: Timestamp) {
        while let Some(planned) = self.ahead.next_if(|planned| planned.from <= now) {
            if self.present(planned.kind).is_none() {
                self.present.push(self.happened.len());
                self.happened.push(Happened {
                    planned,
                    over: None,
                });
            }
        }
        let happened = &mut self.happened;
        self.present.retain(|&place| {
            let until = happened[place].planned.until;
            let over = until.filter(|&until| until <= now);
            happened[place].over = over;
            over.is_none()
        });
    }

    pub(super) fn any(&self) -> bool {
        !self.present.is_empty()
    }

    pub(super) fn present(&self, kind: FaultKind) -> Option<&Planned> {
        let mut present = self.present.iter();
        let place = present.find(|&&place| self.happened[place].planned.kind == kind)?;
        Some(&self.happened[*place].planned)
    }

    /// Ends a fault; `false` if it was not there.
    pub(super) fn mend(&mut self, kind: FaultKind, now: Timestamp) -> bool {
        let happened = &mut self.happened;
        let before = self.present.len();
        self.present.retain(|&place| {
            let is = happened[place].planned.kind == kind;
            if is {
                happened[place].over = Some(now);
            }
            !is
        });
        self.present.len() < before
    }
}

impl Planned {
    /// How much of it there is at `now`: it grows evenly to its size.
    pub(super) fn grown(&self, now: Timestamp) -> f64 {
        let hours = (now - self.from).secs_f64() / 3600.0;
        match self.grows_h {
            grows_h if grows_h > 0.0 => self.size * (hours / grows_h).clamp(0.0, 1.0),
            _ => self.size,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::layout::sumps;
    use super::*;

    #[test]
    fn a_year_of_the_plant_has_every_kind_and_the_broker_goes_for_all_at_once() {
        let sumps = sumps(3);
        let plans: Vec<Vec<Planned>> = sumps.iter().map(|spec| timetable(3, spec)).collect();
        for habit in &HABITS {
            let of = |plan: &Vec<Planned>| plan.iter().filter(|p| p.kind == habit.kind).count();
            let count: usize = plans.iter().map(of).sum();
            let spread = 4.0 * (40.0 * habit.a_year).sqrt() + 12.0;
            let most = 40.0 * habit.a_year + spread + 26.0;
            assert!(
                (1.0..most).contains(&(count as f64)),
                "{:?} {count}",
                habit.kind
            );
        }
        let broker = |plan: &Vec<Planned>| -> Vec<Planned> {
            let gone = plan.iter().filter(|p| p.kind == FaultKind::BrokerGone);
            gone.copied().collect()
        };
        assert!(
            plans
                .windows(2)
                .all(|two| broker(&two[0]) == broker(&two[1]))
        );
    }

    #[test]
    fn faults_begin_end_and_are_mended() {
        let at = |hours| YEAR_START + Span::from_hours(hours);
        let planned = |kind, from, until: Option<i64>| Planned {
            kind,
            size: 2.0,
            grows_h: 10.0,
            from: at(from),
            until: until.map(at),
        };
        let plan = vec![
            planned(FaultKind::FouledPrism, 1, None),
            planned(FaultKind::Foam, 2, Some(4)),
            planned(FaultKind::FouledPrism, 3, None),
        ];
        let mut faults = Faults::new(plan, YEAR_START);
        faults.advance(at(3));
        assert_eq!(faults.happened.len(), 2, "no second film on the first");
        let film = faults.present(FaultKind::FouledPrism).unwrap();
        assert_eq!(film.grown(at(6)), 1.0);
        faults.advance(at(5));
        assert!(faults.present(FaultKind::Foam).is_none());
        assert_eq!(faults.happened[1].over, Some(at(4)));
        assert!(faults.mend(FaultKind::FouledPrism, at(7)));
        assert!(!faults.mend(FaultKind::FouledPrism, at(7)) && !faults.any());
        assert_eq!(faults.happened[0].over, Some(at(7)));
    }
}
