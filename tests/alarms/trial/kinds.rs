//! What can truly be wrong, which conditions tell it, and in what time.
//!
//! A condition tells a kind where a person who reads it goes to look at the
//! right thing. The time allowed counts only while the thing can be seen: pumps
//! that run, an instrument that reports. What is over before that is not asked
//! for.

use std::fmt;

use sumpward::engine::LimitLevel;
use sumpward::simulate::year::{Channel, FaultKind, Planned, SumpSpec, Truth, stands_still};
use sumpward::units::{Quantity, Span, Timestamp};

use super::record::{Slip, SlipKind};

/// Something that is truly wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Fault(FaultKind),
    Slip(SlipKind),
    /// A signal is outside of a limit: this signal, and whether it is a low one.
    Limit(Quantity, bool),
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Kind::Fault(kind) => {
                let name = format!("{kind:?}").to_lowercase();
                f.pad(&name.replace('(', " ").replace(')', ""))
            }
            Kind::Slip(kind) => f.pad(&format!("{kind:?}").to_lowercase()),
            Kind::Limit(quantity, low) => {
                let side = if *low { "low" } else { "high" };
                f.pad(&format!("{quantity} {side}"))
            }
        }
    }
}

/// What nobody was told of is found by chance after so long (choice: well
/// after it should have been told).
pub(crate) fn found_after(kind: FaultKind) -> Span {
    let days = match kind {
        FaultKind::HardWater => 120,
        FaultKind::TrampOil => 60,
        FaultKind::MixerLean | FaultKind::MixerRich => 30,
        FaultKind::Souring => 40,
        FaultKind::FouledPrism | FaultKind::Frozen(_) => 14,
        FaultKind::Leak | FaultKind::WaterIngress => 8,
        FaultKind::BrokerGone | FaultKind::PumpsStopped => 2,
        _ => 7,
    };
    Span::from_hours(24 * days)
}

/// The words of a condition.
pub(crate) struct Words<'a>(Vec<&'a str>);

impl<'a> Words<'a> {
    pub(crate) fn of(condition: &'a str) -> Self {
        Words(condition.split(['.', '_', ' ']).collect())
    }

    pub(crate) fn has(&self, word: &str) -> bool {
        self.0.contains(&word)
    }

    fn any(&self, words: &[&str]) -> bool {
        self.0.iter().any(|word| words.contains(word))
    }
}

/// Whether somebody who reads this condition is led to that kind.
pub(crate) fn tells(kind: Kind, condition: &str) -> bool {
    let words = Words::of(condition);
    let instrument = words.any(&["silent", "disagrees", "instrument"]);
    let strength = words.any(&["concentration", "brix"]) && !instrument;
    let fill = words.any(&["volume", "level"]) && !instrument;
    let (low, high) = (
        words.any(&["low", "falling"]),
        words.any(&["high", "rising"]),
    );
    // Of a chart or a rate that does not say which way.
    let either = words.any(&["shifted"]);
    let of = |channel: Channel| instrument && words.any(&[channel.name()]);
    let losses = words.any(&["loss", "leak", "departure", "lost", "unexplained"]);
    let gains = words.any(&[
        "gain",
        "ingress",
        "departure",
        "in",
        "unexplained",
        "thinned",
    ]);
    match kind {
        Kind::Fault(fault) => match fault {
            FaultKind::MixerLean => words.any(&["mixer"]) || (strength && (low || either)),
            FaultKind::MixerRich => words.any(&["mixer"]) || (strength && (high || either)),
            FaultKind::WaterIngress => {
                gains || (fill && (high || either)) || (strength && (low || either))
            }
            FaultKind::Leak => losses || (fill && (low || either)),
            FaultKind::Souring => {
                words.any(&["souring", "bacteria"])
                    || (words.any(&["ph"]) && (low || either || words.any(&["drop"])))
            }
            FaultKind::HardWater => {
                (words.any(&["minerals", "hardness", "chloride"]) && !words.any(&["overdue"]))
                    || (words.any(&["conductivity"]) && !instrument)
            }
            FaultKind::TrampOil => words.any(&["methods", "factor", "oil"]) || of(Channel::Brix),
            FaultKind::Cleaner => {
                words.any(&["cleaner"]) || (words.any(&["ph"]) && !instrument && !low)
            }
            FaultKind::FouledPrism | FaultKind::Bubbles => of(Channel::Brix),
            FaultKind::Foam => of(Channel::Level) || words.any(&["foam"]),
            FaultKind::Frozen(channel)
            | FaultKind::Silent(channel)
            | FaultKind::Spiking(channel)
            | FaultKind::BrokenLoop(channel) => of(channel),
            FaultKind::PumpsStopped => words.any(&["pumps"]),
            // What the daemon tells of it is tried with the whole program.
            FaultKind::BrokerGone => words.any(&["broker", "source", "silent"]),
        },
        Kind::Slip(slip) => match slip {
            SlipKind::Unlogged => words.any(&["movement", "inferred", "unlogged"]) || gains,
            SlipKind::WrongStrength => {
                words.any(&["movement", "contradicted", "inferred"]) || strength
            }
            SlipKind::Miswritten => {
                words.any(&["contradicted", "inferred", "movement"]) || gains || losses
            }
            SlipKind::MissedWeekly | SlipKind::MissedMonthly => words.any(&["check", "overdue"]),
            SlipKind::MissedDose => words.any(&["dose"]) || strength || fill,
        },
        Kind::Limit(quantity, is_low) => {
            let side = (is_low && low) || (!is_low && high);
            let named = match quantity {
                Quantity::Concentration | Quantity::Brix => strength,
                Quantity::Volume | Quantity::Level => fill,
                other => words.any(&[other.to_string().as_str()]) && !instrument,
            };
            named && side
        }
    }
}

/// The hours for which a fault must be to be seen, of those in which it can be
/// seen at all, and why.
pub(crate) struct Allowed {
    /// Time from which on there is enough of it, h after its beginning.
    pub(crate) grown_h: f64,
    /// Hours from then on, of those that count.
    pub(crate) hours: f64,
    /// Why so much.
    #[allow(dead_code, reason = "for who reads it here")]
    pub(crate) why: &'static str,
}

fn allowed(grown_h: f64, hours: f64, why: &'static str) -> Allowed {
    Allowed {
        grown_h,
        hours,
        why,
    }
}

/// None where it is too little ever to be seen.
pub(crate) fn of_fault(planned: &Planned, spec: &SumpSpec) -> Option<Allowed> {
    let grown =
        |enough: f64| (planned.size >= enough).then(|| planned.grows_h * enough / planned.size);
    Some(match planned.kind {
        FaultKind::MixerLean | FaultKind::MixerRich => allowed(
            0.0,
            9.0 * 24.0,
            "its outlet is read weekly, its effect is far slower",
        ),
        FaultKind::WaterIngress | FaultKind::Leak => {
            let usual = (spec.evaporation_a_day + spec.carry_off_a_day) / 16.0;
            let beyond = planned.size - 0.3 * usual;
            let hours = (beyond > 0.0).then(|| 12.0 + 0.03 / beyond)?;
            allowed(
                0.0,
                hours,
                "3 % of the volume beyond a third of the usual losses, and half a day",
            )
        }
        FaultKind::Souring => allowed(
            grown(0.6)?,
            24.0,
            "from a fall of 0.6 on a day in which the pumps run",
        ),
        FaultKind::HardWater => allowed(0.0, 36.0 * 24.0, "from the limit on the monthly test set"),
        FaultKind::TrampOil => {
            let enough = 1.1 / spec.product.factor;
            allowed(
                grown(enough)?,
                36.0 * 24.0,
                "from one point on the monthly titration",
            )
        }
        FaultKind::Cleaner => allowed(0.0, 6.0, "a jump of pH, its filters and delays"),
        FaultKind::FouledPrism => allowed(
            grown(0.4)?,
            48.0,
            "from 0.4 °Bx on two days of a balance that forbids it",
        ),
        FaultKind::Frozen(_) => allowed(0.0, 8.0, "6 h in which the fluid moves"),
        FaultKind::Silent(_) | FaultKind::BrokenLoop(_) => allowed(0.0, 0.5, "silent after 15 min"),
        FaultKind::Spiking(_) | FaultKind::Bubbles => allowed(
            0.0,
            4.0,
            "the share of an hour's readings, two hours in a row",
        ),
        FaultKind::Foam => allowed(1.0, 4.0, "scatter over hours"),
        FaultKind::PumpsStopped => allowed(0.0, 1.0, "longer than a tool change"),
        // The daemon knows of it and tells it once; a watch is to keep still.
        FaultKind::BrokerGone => return None,
    })
}

/// Whether this fault can be seen while that is true.
pub(crate) fn shows(
    kind: FaultKind,
    time: Timestamp,
    truth: &Truth,
    mineral_limits: (f64, f64),
) -> bool {
    match kind {
        FaultKind::Souring
        | FaultKind::Cleaner
        | FaultKind::FouledPrism
        | FaultKind::Bubbles
        | FaultKind::Foam
        | FaultKind::Frozen(_)
        | FaultKind::Leak
        | FaultKind::WaterIngress => truth.pumps_run,
        FaultKind::PumpsStopped => truth.works,
        // Nobody reads a mixer's outlet then.
        FaultKind::MixerLean | FaultKind::MixerRich | FaultKind::TrampOil => !stands_still(time),
        FaultKind::HardWater => {
            truth.hardness_mg_l > 1.1 * mineral_limits.0
                || truth.chloride_mg_l > 1.1 * mineral_limits.1
        }
        _ => true,
    }
}

/// The instrument without which this fault cannot be seen.
pub(crate) fn needs(kind: FaultKind) -> Option<Channel> {
    match kind {
        FaultKind::Souring | FaultKind::Cleaner => Some(Channel::Ph),
        FaultKind::FouledPrism
        | FaultKind::Bubbles
        | FaultKind::Frozen(Channel::Brix)
        | FaultKind::Spiking(Channel::Brix) => Some(Channel::Brix),
        FaultKind::Foam | FaultKind::Leak | FaultKind::WaterIngress => Some(Channel::Level),
        FaultKind::Frozen(channel) | FaultKind::Spiking(channel) => Some(channel),
        _ => None,
    }
}

/// The hours in which a slip is to be told; none where it is too small to be
/// told from what is measured out wrongly anyhow.
pub(crate) fn of_slip(slip: &Slip) -> Option<Allowed> {
    match slip.kind {
        SlipKind::Unlogged | SlipKind::Miswritten => (slip.size >= 0.04)
            .then(|| allowed(0.0, 24.0, "a step of 4 % of the volume, once it has mixed")),
        SlipKind::WrongStrength => (slip.size >= 0.04)
            .then(|| allowed(0.0, 24.0, "4 % of the concentrate, once it has mixed")),
        SlipKind::MissedWeekly | SlipKind::MissedMonthly => Some(allowed(
            0.0,
            4.0 * 24.0,
            "half a week late, a weekend in it",
        )),
        SlipKind::MissedDose => Some(allowed(0.0, 36.0, "on the next working day")),
    }
}

/// The hours in which a signal outside of its limit is to be told, of those in
/// which its instrument shows it.
pub(crate) const OF_LIMIT: Allowed = Allowed {
    grown_h: 0.0,
    hours: 1.0,
    why: "despiking, smoothing, the on-delay, and mixing",
};

/// Whether this level is on the low side.
pub(crate) const fn is_low(level: LimitLevel) -> bool {
    matches!(level, LimitLevel::Low | LimitLevel::LowLow)
}

/// What a gauge's limits are about.
pub(crate) const fn quantity_of(channel: Channel) -> Quantity {
    match channel {
        Channel::Brix => Quantity::Concentration,
        Channel::Ph => Quantity::Ph,
        Channel::Conductivity => Quantity::Conductivity,
        Channel::Temperature => Quantity::Temperature,
        Channel::Level | Channel::Pumps => Quantity::Volume,
    }
}
