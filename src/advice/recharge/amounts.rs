//! The arithmetic of a plan.

use serde::Serialize;

use crate::model::money::{Cost, Litres};
use crate::units::{Concentration, Span, Volume};

use super::setup::{RechargeCase, RechargeError, RechargeSetup};

/// The cleaner in the old fluid.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cleaning {
    /// The cleaner, where one is chosen.
    pub cleaner: Option<String>,
    /// Old fluid to draw off first, so that the cleaner fits in, L.
    pub draw_off_l: f64,
    /// Cleaner, L; nothing where only the supplier's data sheet says it.
    pub cleaner_l: Option<f64>,
    /// How long it circulates, h.
    pub circulate_h: f64,
    /// Old fluid and cleaner that are drained afterwards, L.
    pub drain_l: f64,
}

/// One rinse, and how many.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rinse {
    /// How many are planned.
    pub times: u16,
    /// Volume of one, L.
    pub volume_l: f64,
    /// Its strength, %; 0 is fresh water.
    pub strength_pct: f64,
    /// Concentrate for one, L.
    pub concentrate_l: f64,
    /// Water for one, L.
    pub water_l: f64,
    /// How long one circulates, h.
    pub circulate_h: f64,
}

/// What no drain gets out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rest {
    /// Its volume, L.
    pub volume_l: f64,
    /// Its strength after the rinses, %.
    pub strength_pct: f64,
    /// Old fluid in the new charge, as a share in %.
    pub carry_over_pct: f64,
    /// The share that must not be reached, %.
    pub carry_over_limit_pct: f64,
    /// Rinses after which it is not reached any more.
    pub rinses_needed: u16,
}

/// The new charge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Fill {
    /// Strength of the first fill, %.
    pub strength_pct: f64,
    /// Concentrate altogether, L.
    pub concentrate_l: f64,
    /// Water altogether, L.
    pub water_l: f64,
    /// Water that goes in first, L.
    pub water_first_l: f64,
    /// Premix that follows, L.
    pub premix_l: f64,
    /// Strength of the premix, %.
    pub premix_strength_pct: f64,
    /// How long it circulates before it is measured, h.
    pub circulate_h: f64,
}

/// What it takes altogether.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Totals {
    /// Waste, L.
    pub waste_l: f64,
    /// Whether a cleaner comes on top of the waste whose amount is not known.
    pub waste_lacks_cleaner: bool,
    /// Concentrate, L.
    pub concentrate_l: f64,
    /// Water, L.
    pub water_l: f64,
    /// Hours of circulating and, where the rate is known, draining.
    pub hours_h: f64,
    /// Work whose hours are not known.
    pub hours_lack: Vec<&'static str>,
    /// What it costs without the cleaner, where there are prices.
    pub cost: Option<Cost>,
}

/// The cleaner, as a share of the fluid that it goes into. Where both do not
/// fit in, fluid is drawn off first: of V in the room V + h, with the share s,
/// V − (V + h)/(1 + s).
pub(super) fn cleaning(setup: &RechargeSetup, case: &RechargeCase) -> Cleaning {
    let volume = case.old_volume.litres();
    let share = setup.cleaner.as_ref().and_then(|cleaner| cleaner.share());
    let room = volume + case.head_room.litres();
    let draw_off = share.map_or(0.0, |share| (volume - room / (1.0 + share)).max(0.0));
    let kept = volume - draw_off;
    let cleaner = share.map(|share| case.out_at_most(share * kept));
    Cleaning {
        cleaner: setup.cleaner.as_ref().map(|cleaner| cleaner.title.clone()),
        draw_off_l: draw_off,
        cleaner_l: cleaner,
        circulate_h: hours(setup.cleaner_time),
        drain_l: kept + cleaner.unwrap_or(0.0) - rest_volume(case),
    }
}

/// One rinse.
pub(super) fn rinse(setup: &RechargeSetup, case: &RechargeCase) -> Rinse {
    let volume = setup.rinse_share * case.volume.litres();
    let concentrate = case.out(setup.rinse_strength.fraction() * volume);
    let water = case.out(volume - concentrate);
    Rinse {
        times: setup.rinses,
        volume_l: concentrate + water,
        strength_pct: setup.rinse_strength.percent(),
        concentrate_l: concentrate,
        water_l: water,
        circulate_h: hours(setup.rinse_time),
    }
}

/// What stays after the rinses. The cleaner has thinned the old fluid; each
/// rinse mixes with what stays, and as much of the mixture stays.
pub(super) fn rest(
    setup: &RechargeSetup,
    case: &RechargeCase,
    cleaning: &Cleaning,
    rinse: &Rinse,
) -> Rest {
    let volume = rest_volume(case);
    let kept = if volume > 0.0 {
        volume / (volume + rinse.volume_l)
    } else {
        0.0
    };
    let old = case.old_volume.litres() - cleaning.draw_off_l;
    let thinned = old / (old + cleaning.cleaner_l.unwrap_or(0.0)) * case.old.percent();
    let left = kept.powi(i32::from(rinse.times));
    let share = volume / case.volume.litres();
    Rest {
        volume_l: volume,
        strength_pct: rinse.strength_pct + (thinned - rinse.strength_pct) * left,
        carry_over_pct: 100.0 * share * left,
        carry_over_limit_pct: 100.0 * setup.carry_over_limit,
        rinses_needed: rinses_needed(share, kept, setup.carry_over_limit),
    }
}

/// The first n for which rest·keptⁿ lies below the limit.
fn rinses_needed(rest: f64, kept: f64, limit: f64) -> u16 {
    let mut share = rest;
    let mut times = 0;
    while share >= limit && times < u16::MAX {
        share *= kept;
        times += 1;
    }
    times
}

/// The new charge on top of what stays. Water goes in first, and then a premix
/// as strong as is allowed, since concentrate goes into water. Where amounts are
/// rounded to what can be measured out, it is filled to a step below the whole
/// volume at most, and no premix is stronger for it.
pub(super) fn fill(
    setup: &RechargeSetup,
    case: &RechargeCase,
    rest: &Rest,
) -> Result<Fill, RechargeError> {
    let strength = setup.fill_strength(case);
    let volume = case.volume.litres();
    let held = rest.strength_pct / 100.0 * rest.volume_l;
    let concentrate = strength.fraction() * volume - held;
    if concentrate < 0.0 {
        return Err(RechargeError::RestTooRich {
            rest: Volume::from_litres(rest.volume_l),
            strength: Concentration::from_percent(rest.strength_pct),
            fill: strength,
        });
    }
    let concentrate = case.out(concentrate);
    let water = case.out_at_most(volume - rest.volume_l - concentrate);
    let premix = concentrate / case.strongest_premix.fraction();
    let premix = case.measure.map_or(premix, |measure| measure.up(premix));
    let premix = premix.min(concentrate + water);
    Ok(Fill {
        strength_pct: strength.percent(),
        concentrate_l: concentrate,
        water_l: water,
        water_first_l: concentrate + water - premix,
        premix_l: premix,
        premix_strength_pct: if premix > 0.0 {
            100.0 * concentrate / premix
        } else {
            0.0
        },
        circulate_h: hours(setup.settle.max(case.mixing)),
    })
}

/// The sums.
pub(super) fn totals(
    setup: &RechargeSetup,
    case: &RechargeCase,
    cleaning: &Cleaning,
    rinse: &Rinse,
    fill: &Fill,
) -> Totals {
    let times = f64::from(rinse.times);
    let waste = cleaning.draw_off_l + cleaning.drain_l + times * rinse.volume_l;
    let concentrate = times * rinse.concentrate_l + fill.concentrate_l;
    let water = times * rinse.water_l + fill.water_l;
    let drains = drain_hours(setup, waste);
    let circulation = cleaning.circulate_h + times * rinse.circulate_h + fill.circulate_h;
    let mut lack = vec!["opening, cleaning and closing by hand", "filling"];
    if drains.is_none() {
        lack.insert(0, "draining");
    }
    let litres = Litres {
        concentrate_l: concentrate,
        water_l: water,
        drained_l: waste,
    };
    Totals {
        waste_l: waste,
        waste_lacks_cleaner: cleaning.cleaner_l.is_none(),
        concentrate_l: concentrate,
        water_l: water,
        hours_h: circulation + drains.unwrap_or(0.0),
        hours_lack: lack,
        cost: case
            .prices
            .map(|prices| Cost::of_change_out(&litres, &prices)),
    }
}

/// How long it takes to drain so many litres, where the rate is known.
pub(super) fn drain_hours(setup: &RechargeSetup, litres: f64) -> Option<f64> {
    setup
        .drain_rate
        .map(|rate| litres / (60.0 * rate.litres_per_minute()))
}

/// Where the sump is not full, it is a share of what is there.
fn rest_volume(case: &RechargeCase) -> f64 {
    case.rest * case.volume.litres().min(case.old_volume.litres())
}

fn hours(span: Span) -> f64 {
    span.secs_f64() / 3600.0
}
