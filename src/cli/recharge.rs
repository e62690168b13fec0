//! `recharge`: the plan for a clean-out and a new charge, from the settings
//! alone. Nothing is asked of a running daemon, and nothing is scheduled.

use std::fmt::Write as _;

use serde::Serialize;

use crate::advice::mixing_time;
use crate::advice::recharge::{self, RechargeCase, RechargeError, RechargePlan, VolumeSource};
use crate::engine::SumpSetup;
use crate::settings::{Settings, nearest};
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
    #[error("there is no sump \"{found}\"; {offer}")]
    NoSump {
        /// The name given.
        found: String,
        /// The nearest one, or all.
        offer: String,
    },
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
    let sump = find(settings, &ask.sump)?;
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

fn find<'a>(settings: &'a Settings, name: &str) -> Result<&'a SumpSetup, RechargeFault> {
    let found = settings.sumps.iter().find(|sump| *sump.name == *name);
    found.ok_or_else(|| {
        let names = || settings.sumps.iter().map(|sump| &*sump.name);
        let offer = match nearest(name, names()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", names().collect::<Vec<_>>().join(", ")),
        };
        RechargeFault::NoSump {
            found: name.chars().take(70).collect(),
            offer,
        }
    })
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
