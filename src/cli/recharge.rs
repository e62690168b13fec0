//! `recharge`: go on, exchange a part or clean out, with the reasons as far as
//! the store knows the charge, and the plan for a clean-out and a new charge.
//! Nothing is asked of a running daemon, and nothing is scheduled.

use std::fmt::Write as _;

use serde::Serialize;

use super::sump_named::{NoSump, sump_named};
use super::{NO, WRONG};
use crate::advice::choice::{Choice, choose};
use crate::advice::recharge::{self, RechargeCase, RechargeError, RechargePlan, VolumeSource};
use crate::daemon::kept::{self, KeptError};
use crate::engine::{OldCharge, SumpSetup, SumpWatch};
use crate::settings::Settings;
use crate::store::StoreError;
use crate::units::{Measured, Timestamp, Volume, to_wire};

/// What is asked.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Name of the sump.
    pub sump: String,
    /// The true volume, where it is better known than to settings and readings.
    pub volume: Option<Volume>,
    /// Share of the volume that no drain gets out, 0 to 1.
    pub rest: f64,
    /// Whether the plan alone is wanted.
    pub plan_only: bool,
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
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What the store keeps of the sump cannot be read.
    #[error(transparent)]
    Kept(#[from] KeptError),
    /// A plan that cannot be written as JSON.
    #[error("the plan cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}

impl RechargeFault {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            RechargeFault::NoSump(_) | RechargeFault::Plan(_) => WRONG,
            RechargeFault::Store(_) | RechargeFault::Kept(_) | RechargeFault::Json(_) => NO,
        }
    }
}

/// Choice and plan together.
#[derive(Debug, Serialize)]
struct Both<'a> {
    choice: Option<&'a Chosen>,
    plan: &'a Planned,
}

/// The plan with what the plant has in stock.
#[derive(Debug, Serialize)]
struct Planned {
    #[serde(flatten)]
    plan: RechargePlan,
    stock: Option<Stock>,
}

#[derive(Debug, Serialize)]
struct Stock {
    litres_l: f64,
    counted: String,
}

/// The choice by what the watch knows of the charge.
#[derive(Debug, Serialize)]
struct Chosen {
    as_of: Timestamp,
    volume_l: Option<Measured>,
    concentration_pct: Option<Measured>,
    #[serde(flatten)]
    choice: Choice,
    /// What is not known and would count.
    missing: Vec<String>,
}

/// Choice and plan as text that ends in a line break. The charge is as the
/// store keeps it, where it does, else as the settings have it.
///
/// # Errors
/// When there is no such sump, no plan for it, or a store that cannot be read.
pub fn told(settings: &Settings, ask: &Ask) -> Result<String, RechargeFault> {
    let sump = sump_named(settings, &ask.sump)?;
    let watch = match kept::store(settings)? {
        Some(reader) => kept::watch(settings, &reader, sump)?,
        None => None,
    };
    let plan = recharge::plan(&sump.recharge, &case(sump, watch.as_ref(), ask))?;
    let chosen = watch.as_ref().map(|watch| Chosen::new(watch, &plan));
    let planned = Planned {
        stock: stock(settings, sump),
        plan,
    };
    match (ask.json, ask.plan_only) {
        (true, true) => Ok(format!("{}\n", to_wire(&planned)?)),
        (true, false) => {
            let both = Both {
                choice: chosen.as_ref(),
                plan: &planned,
            };
            Ok(format!("{}\n", to_wire(&both)?))
        }
        (false, true) => Ok(planned.text()),
        (false, false) => Ok(format!(
            "{}\n{}",
            choice_text(chosen.as_ref()),
            planned.text()
        )),
    }
}

/// What a volume that was given says holds for the old charge and the new.
fn case(sump: &SumpSetup, watch: Option<&SumpWatch>, ask: &Ask) -> RechargeCase {
    let charge = watch.map_or_else(|| sump.charge_by_settings(), SumpWatch::old_charge);
    let charge = match ask.volume {
        Some(volume) => OldCharge {
            volume,
            fill_to: volume,
            source: VolumeSource::Given,
            ..charge
        },
        None => charge,
    };
    sump.recharge_case(&OldCharge {
        rest: ask.rest,
        ..charge
    })
}

fn stock(settings: &Settings, sump: &SumpSetup) -> Option<Stock> {
    let mut stocks = settings.stocks.iter();
    let stock = stocks.find(|stock| stock.fluid == sump.fluid.name)?;
    Some(Stock {
        litres_l: stock.litres.litres(),
        counted: stock.counted.to_string(),
    })
}

impl Chosen {
    fn new(watch: &SumpWatch, plan: &RechargePlan) -> Self {
        let mut found = watch.charge_found();
        // By the volume that the plan goes by, so that their waste compares.
        found.evidence.volume = Volume::from_litres(plan.old_volume_l);
        Chosen {
            as_of: watch.now(),
            volume_l: watch.volume_by_balance(),
            concentration_pct: watch.concentration(),
            choice: choose(&watch.setup().choice, &found.evidence, &plan.totals),
            missing: found.missing,
        }
    }
}

/// What to do with the present charge, as people read it.
fn choice_text(chosen: Option<&Chosen>) -> String {
    let Some(chosen) = chosen else {
        return "What to do with the present charge cannot be weighed: the store keeps nothing of this sump yet, or \
                may not be read by you. The plan goes by the settings.\n"
            .to_owned();
    };
    let Chosen { as_of, choice, .. } = chosen;
    let measured = |value: Option<Measured>, unit: &str, decimals: usize| {
        value.map_or("not known".to_owned(), |Measured { value, uncertainty }| {
            format!(
                "{value:.decimals$} {unit}, give or take {:.decimals$} {unit}",
                2.0 * uncertainty
            )
        })
    };
    let mut text = format!(
        "What to do with the present charge, as of {as_of}: advice for appointed people to decide on\n   \
         volume         {}\n   concentration  {}\n{choice}",
        measured(chosen.volume_l, "L", 0),
        measured(chosen.concentration_pct, "%", 1),
    );
    if !chosen.missing.is_empty() {
        // Writing to a String never fails.
        let _ = writeln!(text, "Not known: {}.", chosen.missing.join(", "));
    }
    text
}

impl Planned {
    fn text(&self) -> String {
        let mut text = self.plan.to_string();
        if let Some(stock) = &self.stock {
            // Writing to a String never fails.
            let _ = writeln!(
                text,
                "   stock        {:.0} L of concentrate counted on {}",
                stock.litres_l, stock.counted
            );
        }
        text
    }
}
