//! A trial and the balance that watches it.

use sumpward::model::{Balance, BalanceSetup, ErrorSetup, Logged, Losses, Movement, Point, Told};
use sumpward::simulate::plant::Tank;
use sumpward::simulate::trial::{Trial, TrialErrors, TrialReading, TrialSpec};
use sumpward::units::{Span, Timestamp};

/// Monday, 2026-03-02, midnight.
pub(crate) const START: Timestamp = Timestamp::from_millis(1_772_409_600_000);

/// A sump of 800 L that loses 4 % of it a day, three tenths of that as
/// carry-off.
pub(crate) fn spec(factor: f64, concentration_pct: f64, errors: TrialErrors) -> TrialSpec {
    let volume_l = 800.0;
    let (work, rest) = (16.0, 8.0);
    let a_day = 0.04 * volume_l;
    TrialSpec {
        tank: Tank::Rectangular {
            length_m: 1.8,
            width_m: 0.9,
            height_m: 0.6,
        },
        lines_l: 60.0,
        drain_back_l: 0.0,
        volume_l,
        concentration_pct,
        circulation_l_per_min: 60.0,
        evaporation_l_per_h: 0.7 * a_day / (work + 0.35 * rest),
        carry_off_l_per_h: 0.3 * a_day / work,
        uneven: 0.0,
        working: (6.0, 22.0),
        pumps_stop: false,
        factor,
        water_zero_brix: 0.2,
        errors,
        interval: Span::from_mins(5),
    }
}

/// The errors of good instruments, each reading by itself.
pub(crate) fn white() -> TrialErrors {
    TrialErrors {
        brix: 0.04,
        brix_wander: 0.0,
        wander_hours: 6.0,
        brix_drift: 0.0,
        level_m: 0.0015,
        metering: 0.02,
    }
}

/// The same with errors that hang together.
pub(crate) fn wandering() -> TrialErrors {
    TrialErrors {
        brix_wander: 0.02,
        brix_drift: 0.1,
        ..white()
    }
}

/// What is known of the sump beforehand.
pub(crate) fn setup(spec: &TrialSpec) -> BalanceSetup {
    let Tank::Rectangular {
        length_m, width_m, ..
    } = spec.tank
    else {
        unreachable!("trials here have boxes");
    };
    BalanceSetup {
        working_volume_l: spec.volume_l,
        target_pct: spec.concentration_pct,
        lines_l: spec.lines_l,
        drain_back_l: None,
        level_measured: true,
        concentration_measured: true,
        fills_itself: false,
        work_is_known: true,
        mixing: Span::from_millis(
            (5.0 * spec.volume_l / spec.circulation_l_per_min * 60_000.0) as i64,
        ),
        strongest_premix_pct: 20.0,
        errors: ErrorSetup {
            volume_l: 1000.0 * length_m * width_m * 0.002,
            concentration_pct: 0.05 * spec.factor,
            wander_pct: 0.02 * spec.factor,
            drift_pct: 0.1 * spec.factor,
            metering: 0.02,
            chart: 0.0,
        },
    }
}

/// A trial under watch.
pub(crate) struct Watched {
    pub(crate) trial: Trial,
    pub(crate) spec: TrialSpec,
    pub(crate) setup: BalanceSetup,
    pub(crate) balance: Balance,
    pub(crate) told: Vec<Told>,
    entries: usize,
}

impl Watched {
    pub(crate) fn new(spec: TrialSpec, seed: u64) -> Self {
        let setup = setup(&spec);
        Watched {
            trial: Trial::new(&spec, seed, START),
            spec,
            setup,
            balance: Balance::new(&setup),
            told: Vec::new(),
            entries: 0,
        }
    }

    pub(crate) fn step(&mut self) -> TrialReading {
        let works = self.trial.cuts();
        let reading = self.trial.step();
        let Tank::Rectangular {
            length_m, width_m, ..
        } = self.spec.tank
        else {
            unreachable!("trials here have boxes");
        };
        let point = Point {
            time: reading.time,
            volume_l: Some(1000.0 * length_m * width_m * reading.level_m + self.spec.lines_l),
            concentration_pct: Some(self.spec.factor * (reading.brix - self.spec.water_zero_brix)),
            working: works,
            pumps_run: Some(reading.pumps_run),
            metered_l: 0.0,
            metered_concentrate_l: 0.0,
        };
        self.balance.take(&self.setup, point, &mut self.told);
        reading
    }

    pub(crate) fn run_hours(&mut self, hours: f64) {
        let steps = (hours * 3600.0 / self.spec.interval.secs_f64()).round() as usize;
        for _ in 0..steps {
            self.step();
        }
    }

    /// Lets time pass while nobody listens.
    pub(crate) fn away_hours(&mut self, hours: f64) {
        let steps = (hours * 3600.0 / self.spec.interval.secs_f64()).round() as usize;
        for _ in 0..steps {
            self.trial.step();
        }
    }

    /// Puts in premix, and writes it down if `logged`.
    pub(crate) fn add(&mut self, litres: f64, strength_pct: f64, logged: bool) -> f64 {
        let really = self.trial.add(litres, strength_pct);
        if logged {
            self.entries += 1;
            let logged = Logged {
                entry: format!("entry-{}", self.entries),
                time: self.trial.now(),
                litres,
                strength_pct: Some(strength_pct),
            };
            self.balance.log(&self.setup, logged, &mut self.told);
        }
        really
    }

    pub(crate) fn movements(&self) -> Vec<&Movement> {
        let movements = self.told.iter().filter_map(|told| match told {
            Told::Movement(movement) => Some(movement),
            _ => None,
        });
        movements.collect()
    }

    pub(crate) fn losses(&self) -> Losses {
        self.balance
            .losses(&self.setup)
            .expect("losses are identifiable here")
    }

    /// Evaporation and carry-off on a day, as they truly are, L.
    pub(crate) fn true_losses(&self) -> (f64, f64) {
        true_losses(&self.spec)
    }
}

/// Evaporation and carry-off on a day, as they truly are, L.
pub(crate) fn true_losses(spec: &TrialSpec) -> (f64, f64) {
    let (from, to) = spec.working;
    let (work, rest) = (to - from, 24.0 - to + from);
    (
        spec.evaporation_l_per_h * (work + 0.35 * rest),
        spec.carry_off_l_per_h * work,
    )
}

/// Median and worst of relative errors.
pub(crate) fn median_and_worst(errors: &[f64]) -> (f64, f64) {
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    (sizes[sizes.len() / 2], sizes[sizes.len() - 1])
}
