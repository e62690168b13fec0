//! What the balance says of the sump, as others are shown it, and what others
//! in the house go by.

use serde::Serialize;

use crate::advice;
use crate::model::money::{self, Consumption, Litres, OverStrength};
use crate::model::{
    Departure, Forecast, ForecastCase, Losses, Movement, NotIdentifiable, TopUp, VolumeJudgement,
    forecast, minerals,
};
use crate::rules::LimitLevel;
use crate::units::{Measured, Quantity, Span, Timestamp, Volume};

use super::ph_trend::PhOutlook;
use super::watch::SumpWatch;

/// Movements that are shown, the newest.
const SHOWN: usize = 8;
/// Where no limit of the volume is set, the sump is taken to want its top-up at
/// this share of the working volume (memory: the usual lower limit).
const LOWEST: f64 = 0.85;

/// What the balance says of the sump.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BalanceStatus {
    /// Volume by level and balance together, L, lines included.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volume_l: Option<Measured>,
    /// What runs back from the lines when the pumps stop, as learned, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drain_back_l: Option<Measured>,
    /// The losses of late.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub losses: Option<Losses>,
    /// Why the losses cannot be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_identifiable: Option<NotIdentifiable>,
    /// What is lost or gained beyond what is usual.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub departure: Option<Departure>,
    /// What comes if nobody does anything.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<Forecast>,
    /// Strength of make-up that holds the concentration against the losses, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub holding_strength_pct: Option<Measured>,
    /// What each mixer leads to at its setting.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub mixers: Vec<MixerOutlook>,
    /// When pH reaches its lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ph: Option<PhOutlook>,
    /// True volume over the settings' volume, as doses tell it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volume_by_doses: Option<VolumeByDoses>,
    /// The newest lines of the ledger, newest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ledger: Vec<Movement>,
    /// What was used since the charge began, L.
    pub used: Litres,
    /// What the mix costs by being too strong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_strength: Option<OverStrength>,
    /// The currency of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub currency: Option<String>,
    /// All of this that a person should read, a sentence each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub words: Vec<String>,
}

/// Where a mixer leads at its setting, if all losses are made up from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MixerOutlook {
    /// The mixer.
    pub mixer: String,
    /// What it is set to, %.
    pub setting_pct: f64,
    /// The concentration that it leads to, %.
    pub leads_to_pct: Measured,
}

/// The true volume as doses tell it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VolumeByDoses {
    /// True volume over that of the settings.
    pub ratio: Measured,
    /// How many doses say so.
    pub doses: u32,
    /// Whether the settings hold.
    pub judgement: VolumeJudgement,
}

impl SumpWatch {
    /// What the balance says; none before it has seen anything.
    pub(super) fn balance_status(&self) -> Option<BalanceStatus> {
        let balance = &self.balance.balance;
        let losses = balance.losses(&self.balance_setup);
        let known = losses.ok();
        let newest = balance.movements().rev().take(SHOWN).cloned();
        let mut status = BalanceStatus {
            volume_l: balance
                .volume_l()
                .filter(|_| self.balance_setup.level_measured),
            drain_back_l: self.learned_drain_back(),
            losses: known,
            not_identifiable: losses.err(),
            departure: balance.departure().copied(),
            forecast: known.and_then(|losses| self.forecast(&losses)),
            holding_strength_pct: self.holding_strength(),
            mixers: self.mixer_outlooks(),
            ph: self.ph_outlook(),
            volume_by_doses: self.volume_by_doses(),
            ledger: newest.collect(),
            used: *self.balance.consumption.charge(),
            over_strength: self.over_strength(),
            currency: self
                .setup
                .prices
                .as_ref()
                .map(|prices| prices.currency.to_string()),
            words: Vec::new(),
        };
        status.words = status.in_words();
        balance.volume_l().is_some().then_some(status)
    }

    fn learned_drain_back(&self) -> Option<Measured> {
        let learned = self.balance.balance.drain_back_l()?;
        (learned.uncertainty < 0.5 * learned.value).then_some(learned)
    }

    /// The losses, where they are known, for doses and mixers.
    pub(super) fn loss_rates(&self) -> Option<advice::LossRates> {
        let losses = self.balance.balance.losses(&self.balance_setup).ok()?;
        Some(advice::LossRates {
            evaporation: losses.evaporation_l_per_d,
            carry_off: losses.carry_off_l_per_d,
            both: losses.both_l_per_d,
        })
    }

    /// The losses, where they are known, for minerals.
    pub(super) fn mineral_losses(&self) -> Option<minerals::Losses> {
        let losses = self.balance.balance.losses(&self.balance_setup).ok()?;
        Some(minerals::Losses {
            evaporation_l_d: losses.evaporation_l_per_d,
            carry_off_l_d: losses.carry_off_l_per_d,
            both_l_d: losses.both_l_per_d,
        })
    }

    fn holding_strength(&self) -> Option<Measured> {
        advice::holding_strength(self.setup.target, &self.loss_rates()?)
    }

    fn mixer_outlooks(&self) -> Vec<MixerOutlook> {
        let Some(losses) = self.loss_rates() else {
            return Vec::new();
        };
        let outlooks = self.setup.mixers.iter().filter_map(|mixer| {
            Some(MixerOutlook {
                mixer: mixer.name.to_string(),
                setting_pct: mixer.setting.percent(),
                leads_to_pct: advice::leads_to(mixer.setting, &losses)?,
            })
        });
        outlooks.collect()
    }

    /// What comes if nobody does anything, where the losses are known.
    pub(super) fn known_forecast(&self) -> Option<Forecast> {
        let losses = self.balance.balance.losses(&self.balance_setup).ok()?;
        self.forecast(&losses)
    }

    fn forecast(&self, losses: &Losses) -> Option<Forecast> {
        let limit = |signal: Quantity, level: LimitLevel| {
            let mut of_signal = self.setup.limits.iter().filter(|one| one.signal == signal);
            of_signal
                .find(|one| one.level == level)
                .map(|one| one.threshold)
        };
        let working = self.setup.working_volume.litres();
        let lowest = limit(Quantity::Volume, LimitLevel::Low).unwrap_or(LOWEST * working);
        let highest = limit(Quantity::Concentration, LimitLevel::High);
        let case = ForecastCase {
            now: self.now,
            volume_l: self.balance.balance.volume_l()?,
            concentration_pct: self.concentration()?,
            lowest_l: lowest,
            highest_pct: highest.unwrap_or(self.setup.window.1.percent()),
            full_l: working,
            target_pct: self.setup.target.percent(),
            strongest_pct: self.setup.dose.strongest_premix.percent(),
        };
        forecast(&case, losses, self.setup.shifts.as_deref())
    }

    pub(super) fn volume_by_doses(&self) -> Option<VolumeByDoses> {
        let (doses, setup) = (&self.balance.doses, self.dose_volume_setup());
        Some(VolumeByDoses {
            ratio: doses.ratio(&setup)?,
            doses: doses.doses(),
            judgement: doses.judge(&setup)?,
        })
    }

    /// What was used, by day, month and charge.
    pub fn consumption(&self) -> &Consumption {
        &self.balance.consumption
    }

    /// What it costs that the mix is too strong, where there is a price and
    /// the losses are known.
    pub fn over_strength(&self) -> Option<OverStrength> {
        let price = self.setup.prices.as_ref()?.concentrate?;
        let carry_off = self.loss_rates()?.carry_off;
        let volume = self.balance.balance.volume_l()?;
        let now = self.concentration()?;
        let cost = money::over_strength(now, self.setup.target, volume, carry_off, price)?;
        // Within what the reading is sure to it is no excess.
        (cost.on_board.interval_90().0 > 0.0).then_some(cost)
    }

    /// The volume that the balance of minerals goes by.
    pub(super) fn balanced_volume(&self) -> Volume {
        let measured = self.balance.balance.volume_l();
        let measured = measured.filter(|_| self.balance_setup.level_measured);
        measured
            .filter(|volume| volume.value > 0.0)
            .map_or(self.setup.working_volume, |volume| {
                Volume::from_litres(volume.value)
            })
    }
}

impl BalanceStatus {
    fn in_words(&self) -> Vec<String> {
        let mut words = Vec::new();
        if let Some(losses) = &self.losses {
            let (evaporation, carry_off) = (losses.evaporation_l_per_d, losses.carry_off_l_per_d);
            words.push(format!(
                "Losses a day: {} L of water by evaporation, {} L of mix carried off.",
                range(evaporation),
                range(carry_off)
            ));
        }
        if let Some(why) = self.not_identifiable {
            words.push(format!("{}.", capital(why.words())));
        }
        if let Some(holding) = self.holding_strength_pct {
            words.push(format!(
                "Make-up of {} % holds the concentration against these losses.",
                range(holding)
            ));
        }
        for mixer in &self.mixers {
            words.push(format!(
                "Mixer {} at {:.1} % leads to {} % in the end.",
                mixer.mixer,
                mixer.setting_pct,
                range(mixer.leads_to_pct)
            ));
        }
        if let Some(departure) = &self.departure {
            words.push(format!(
                "{:.1} L/h beyond what is usual since {}: {}.",
                departure.litres_per_hour.value,
                minute(departure.since),
                departure.kind.words()
            ));
        }
        self.outlook_in_words(&mut words);
        if let Some(by_doses) = &self.volume_by_doses {
            words.extend(by_doses.in_words());
        }
        if let Some((cost, currency)) = self.over_strength.as_ref().zip(self.currency.as_ref()) {
            words.push(format!(
                "The mix is too strong: concentrate for {:.2} {currency} too much on board, for {:.2} {currency} more a day.",
                cost.on_board.value, cost.per_day.value
            ));
        }
        words
    }

    fn outlook_in_words(&self, words: &mut Vec<String>) {
        if let Some(top_up) = self.forecast.and_then(|forecast| forecast.top_up) {
            words.push(top_up_in_words(&top_up));
        }
        if let Some(high) = self
            .forecast
            .and_then(|forecast| forecast.high_concentration)
        {
            words.push(format!(
                "Without a top-up the concentration reaches its upper limit about {}.",
                minute(high.time)
            ));
        }
        if let Some(ph) = &self.ph {
            words.push(ph.in_words());
        }
    }
}

impl VolumeByDoses {
    fn in_words(&self) -> Option<String> {
        let (low, high) = self.ratio.interval_90();
        let off = match self.judgement {
            VolumeJudgement::Agrees => return None,
            VolumeJudgement::HoldsLess => "less",
            VolumeJudgement::HoldsMore => "more",
        };
        Some(format!(
            "{} doses say that the sump holds {off} than the settings say: {:.0} to {:.0} % of it. Measure the tank and the lines again.",
            self.doses,
            100.0 * low,
            100.0 * high
        ))
    }
}

fn top_up_in_words(top_up: &TopUp) -> String {
    let TopUp {
        by,
        litres,
        strength_pct,
        reaches_target,
    } = top_up;
    let latest = by
        .latest
        .map_or("later".to_owned(), |latest| minute(latest).to_string());
    let short = if *reaches_target {
        ""
    } else {
        " A top-up alone cannot bring it to its target: see the dose."
    };
    format!(
        "Next top-up by {} (between {} and {latest}): {litres:.0} L of {strength_pct:.1} %.{short}",
        minute(by.time),
        minute(by.earliest)
    )
}

/// A value with its 90 % interval in words, none of them below nothing.
fn range(measured: Measured) -> String {
    let (low, high) = measured.interval_90();
    let [value, low, high] = [measured.value, low, high].map(|litres| litres.max(0.0));
    format!("{value:.1} ({low:.1} to {high:.1})")
}

/// To the minute: nobody foresees seconds.
pub(super) fn minute(time: Timestamp) -> Timestamp {
    time.floor(Span::from_mins(1))
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Outlook;
    use crate::units::Timestamp;

    #[test]
    fn a_top_up_that_does_not_suffice_says_so() {
        let by = Outlook {
            time: Timestamp::from_millis(86_400_000),
            earliest: Timestamp::from_millis(0),
            latest: None,
        };
        let mut top_up = TopUp {
            by,
            litres: 150.0,
            strength_pct: 20.0,
            reaches_target: true,
        };
        let plain = top_up_in_words(&top_up);
        assert!(plain.ends_with("later): 150 L of 20.0 %."), "{plain}");
        top_up.reaches_target = false;
        let told = top_up_in_words(&top_up);
        let short = " A top-up alone cannot bring it to its target: see the dose.";
        assert_eq!(told, format!("{plain}{short}"));
    }

    #[test]
    fn no_amount_is_shown_below_nothing() {
        assert_eq!(range(Measured::new(-3.0, 2.0)), "0.0 (0.0 to 0.3)");
        assert_eq!(range(Measured::new(10.0, 2.0)), "10.0 (6.7 to 13.3)");
    }
}
