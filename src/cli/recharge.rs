//! `recharge`: the plan for a clean-out and a new charge, from the settings
//! alone. Nothing is asked of a running daemon, and nothing is scheduled.

use std::fmt::Write as _;

use serde::Serialize;

use super::sump_named::{NoSump, sump_named};
use crate::advice::mixing_time;
use crate::advice::recharge::{self, RechargeCase, RechargeError, RechargePlan, VolumeSource};
use crate::engine::SumpSetup;
use crate::settings::Settings;
use crate::units::{Volume, to_wire};

/// What is asked.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Name of the sump.
    pub sump: String,
    /// The true volume, where it is not the one in the settings.
    pub volume: Option<Volume>,
    /// Share of the volume that no drain gets out, 0 to 1.
    pub rest: f64,
    /// Whether one JSON object is wanted.
    pub json: bool,
}

/// Why there is no plan.
#[derive(Debug, thiserror::Error)]
pub enum RechargeFault {
    /// No sump of this name.
    #[error(transparent)]
    NoSump(#[from] NoSump),
    /// Numbers that make no plan.
    #[error(transparent)]
    Plan(#[from] RechargeError),
    /// A plan that cannot be written as JSON.
    #[error("the plan cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}

/// The plan with what the plant has in stock.
#[derive(Debug, Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    plan: &'a RechargePlan,
    stock: Option<Stock>,
}

#[derive(Debug, Serialize)]
struct Stock {
    litres_l: f64,
    counted: String,
}

/// The plan as text that ends in a line break.
///
/// # Errors
/// When there is no such sump, or no plan for it.
pub fn told(settings: &Settings, ask: &Ask) -> Result<String, RechargeFault> {
    let sump = sump_named(settings, &ask.sump)?;
    let plan = recharge::plan(&sump.recharge, &case(sump, ask))?;
    let mut stocks = settings.stocks.iter();
    let stock = stocks.find(|stock| stock.fluid == sump.fluid.name);
    let stock = stock.map(|stock| Stock {
        litres_l: stock.litres.litres(),
        counted: stock.counted.to_string(),
    });
    if ask.json {
        let told = Told { plan: &plan, stock };
        return Ok(format!("{}\n", to_wire(&told)?));
    }
    let mut text = plan.to_string();
    if let Some(stock) = stock {
        // Writing to a String never fails.
        let _ = writeln!(
            text,
            "   stock        {:.0} L of concentrate counted on {}",
            stock.litres_l, stock.counted
        );
    }
    Ok(text)
}

/// What is known without readings: the old charge is taken to be at its target.
fn case(sump: &SumpSetup, ask: &Ask) -> RechargeCase {
    let volume = ask.volume.unwrap_or(sump.working_volume);
    RechargeCase {
        sump: sump.name.clone(),
        title: sump.title.clone(),
        fluid: sump.fluid.title.clone(),
        mixing_note: sump.fluid.mixing_note.clone(),
        volume,
        volume_source: match ask.volume {
            Some(_) => VolumeSource::Given,
            None => VolumeSource::Settings,
        },
        head_room: Volume::from_litres(sump.max_volume.litres() - sump.working_volume.litres()),
        old: sump.target,
        rest: ask.rest,
        target: sump.target,
        strongest_premix: sump.dose.strongest_premix,
        mixing: mixing_time(&sump.dose, volume, sump.circulation),
        prices: sump.prices,
    }
}
