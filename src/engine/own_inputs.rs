//! What rules of a plant's own can ask for, as the watch knows it.

use std::cell::OnceCell;
use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::model::{Forecast, Mineral, Outlook};
use serde::Serialize;

use crate::rules::own::{OwnEntry, OwnInputs, OwnValue, WEEKDAYS};
use crate::rules::{Condition, OwnAlarm, Rule};
use crate::units::{Measured, Quantity, Timestamp};

use super::watch::SumpWatch;

/// A value that a rule of the plant's own looked at.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AskedValue {
    /// How the rule asks for it, as `ph` or `minutes_since_reading("ph")`.
    pub asked: Box<str>,
    /// What it is; null where it is not there.
    pub value: Option<OwnValue>,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
}

/// The values of one moment: gathered when the first rule asks for them, and
/// then shared by all.
#[derive(Debug, Default)]
pub(super) struct InputsOnce {
    own: OnceCell<OwnInputs>,
    forecast: OnceCell<Option<Forecast>>,
}

impl InputsOnce {
    pub(super) fn get(&self, watch: &SumpWatch, own: &OwnAlarm) -> &OwnInputs {
        self.own.get_or_init(|| watch.own_inputs(&own.zone))
    }

    /// What comes if nobody does anything: readings and entries change it, and
    /// what becomes of the alarms of rules does not.
    pub(super) fn forecast(&self, watch: &SumpWatch) -> Option<Forecast> {
        *self.forecast.get_or_init(|| watch.known_forecast())
    }
}

impl SumpWatch {
    /// What the rule behind a condition of the plant's own looks at now; of other
    /// conditions nothing. A rule's text bounds how much that is.
    pub(super) fn asked_by_rule(&self, condition: &Condition) -> Vec<AskedValue> {
        let own = self.setup.rules.iter().find_map(|setup| match &setup.rule {
            Rule::Own(own) if setup.rule.condition() == *condition => Some(own),
            _ => None,
        });
        let Some(own) = own else {
            return Vec::new();
        };
        let inputs = self.own_inputs(&own.zone);
        let verdict = own.rule.verdict(&inputs);
        let asked = own.rule.evidence(verdict, &inputs).map(|one| AskedValue {
            asked: one.asked.into(),
            value: one.value,
            unit: one.unit,
        });
        asked.collect()
    }

    fn own_inputs(&self, zone: &TimeZone) -> OwnInputs {
        let mut inputs = OwnInputs::default();
        self.ask_setup(&mut inputs);
        self.ask_signals(&mut inputs);
        self.ask_model(&mut inputs);
        self.ask_pumps(&mut inputs);
        self.ask_clock(&mut inputs, zone);
        self.ask_since(&mut inputs);
        let standing = self.alarms.each().filter(|(_, _, life)| life.is_active());
        inputs.active = standing
            .map(|(_, spec, _)| Arc::from(spec.condition.to_string()))
            .collect();
        inputs
    }

    fn ask_setup(&self, inputs: &mut OwnInputs) {
        let (low, high) = self.setup.window;
        inputs.target = Some(self.setup.target.percent());
        inputs.window_low = Some(low.percent());
        inputs.window_high = Some(high.percent());
        inputs.working_volume = Some(self.setup.working_volume.litres());
    }

    fn ask_signals(&self, inputs: &mut OwnInputs) {
        let volume = self.volume_value();
        inputs.concentration = self.concentration_value();
        inputs.volume = volume;
        inputs.filled = volume.map(|litres| 100.0 * litres / self.setup.working_volume.litres());
        inputs.brix = self.signal(Quantity::Brix);
        inputs.ph = self.signal(Quantity::Ph);
        inputs.conductivity = self.signal(Quantity::Conductivity);
        inputs.temperature = self.signal(Quantity::Temperature);
        inputs.level = self.signal(Quantity::Level);
        inputs.flow = self.signal(Quantity::Flow);
        inputs.pressure = self.signal(Quantity::Pressure);
        inputs.dissolved_oxygen = self.signal(Quantity::DissolvedOxygen);
        inputs.redox = self.signal(Quantity::Redox);
    }

    /// Where no instrument measures it, what was last read by hand or follows
    /// from that.
    fn ask_model(&self, inputs: &mut OwnInputs) {
        let (signs, souring) = (&self.chemistry.now, &self.setup.souring);
        let content = |mineral| {
            let content = signs.minerals.content(mineral, self.setup.working_volume);
            content.map(|content| content.value)
        };
        let inline = |quantity| self.signal(quantity);
        inputs.hardness = inline(Quantity::Hardness).or_else(|| content(Mineral::Hardness));
        inputs.chloride = inline(Quantity::Chloride).or_else(|| content(Mineral::Chloride));
        let nitrite = signs.nitrite.map(|(_, read)| read.value);
        inputs.nitrite = inline(Quantity::Nitrite).or(nitrite);
        inputs.bacteria = signs.souring.bacteria_now(souring, self.now);
        inputs.fungi = signs.souring.fungi_now(souring, self.now);
        let tramp_oil = signs.tramp_oil.map(|(percent, _)| percent);
        inputs.tramp_oil = inline(Quantity::TrampOil).or(tramp_oil);
        let used = self.balance.consumption.charge();
        inputs.concentrate_used = Some(used.concentrate_l);
        inputs.water_used = Some(used.water_l);
        self.ask_balance(inputs);
    }

    fn ask_balance(&self, inputs: &mut OwnInputs) {
        let Some(status) = self.balance_status() else {
            return;
        };
        let value = |measured: Measured| measured.value;
        inputs.evaporation = status.losses.map(|losses| losses.evaporation_l_per_d.value);
        inputs.carry_off = status.losses.map(|losses| losses.carry_off_l_per_d.value);
        inputs.beyond_usual = status.departure.map(|departure| {
            let runs = departure.litres_per_hour.value;
            if departure.gains { -runs } else { runs }
        });
        inputs.holding_strength = status.holding_strength_pct.map(value);
        inputs.ph_per_week = self.ph_trend.a_week().map(value);
        let days = |outlook: Outlook| (outlook.time - self.now).secs_f64() / 86_400.0;
        let forecast = status.forecast;
        inputs.days_to_low_volume = forecast.and_then(|to_come| to_come.low_volume).map(days);
        inputs.days_to_high_concentration = forecast
            .and_then(|to_come| to_come.high_concentration)
            .map(days);
        inputs.days_to_low_ph = status.ph.map(|ph| days(ph.reaches));
    }

    fn ask_pumps(&self, inputs: &mut OwnInputs) {
        let pumps = self.pumps_since();
        inputs.pumps_run = pumps.map(|(_, run)| run);
        inputs.pumps_minutes = pumps.map(|(since, _)| self.minutes_since(since));
        inputs.mixing = Some(self.dosing.mixing_until.is_some());
        let shifts = self.setup.shifts.as_deref();
        inputs.in_shift = shifts.map(|shifts| shifts.is_working(self.now));
    }

    fn ask_clock(&self, inputs: &mut OwnInputs, zone: &TimeZone) {
        let Ok(now) = jiff::Timestamp::from_millisecond(self.now.millis()) else {
            return;
        };
        let local = zone.to_datetime(now);
        inputs.hour = Some(local.hour().into());
        inputs.minute = Some(local.minute().into());
        let day = usize::try_from(local.weekday().to_monday_zero_offset());
        inputs.weekday = day.ok().and_then(|day| WEEKDAYS.get(day).copied());
    }

    fn ask_since(&self, inputs: &mut OwnInputs) {
        for (setup, watch) in self.setup.channels.iter().zip(&self.channels) {
            if watch.last_time == Timestamp::MIN {
                continue;
            }
            let minutes = self.minutes_since(watch.usable_at);
            let known = inputs.since_reading[setup.quantity as usize];
            let newest = known.map_or(minutes, |known| known.min(minutes));
            inputs.set_since_reading(setup.quantity, newest);
        }
        for kind in OwnEntry::ALL {
            if let Some(last) = self.upkeep.last_entered(kind) {
                inputs.set_since_entry(kind, self.minutes_since(last));
            }
        }
        let charge = self.upkeep.last_entered(OwnEntry::Recharged);
        inputs.charge_age = charge.map(|since| self.minutes_since(since) / 1440.0);
    }

    fn minutes_since(&self, time: Timestamp) -> f64 {
        (self.now - time).secs_f64() / 60.0
    }
}
