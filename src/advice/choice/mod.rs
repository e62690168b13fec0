//! Go on, exchange a part, treat with a biocide, or clean out and recharge:
//! the reasons for and against each, weighed and put in order.
//!
//! A swap takes a share s of the fluid out and fills fresh mix in. Of what has
//! gathered it leaves 1 − s, n of them (1 − s)ⁿ. To come from x down to a goal g
//! with fresh mix that brings f of it itself takes
//!
//! ```text
//! s = (x − g)/(x − f)      in one swap; for f = 0 that is 1 − q, with q = g/x
//! s_n = 1 − (1 − s)^(1/n)  in each of n swaps
//! ```
//!
//! (worked out here).
//!
//! Promises: each course comes with all its reasons, each with its weight and
//! where it is from; exactly on a limit is still within, as the texts have it
//! ("more than"). Refuses: an amount of biocide, in words or as a number; to
//! decide: the order is advice.

mod exchange;
mod reasons;
#[cfg(test)]
mod tests;
mod text;

pub use exchange::Exchange;
pub use reasons::{Reason, Weight};

use serde::Serialize;

use crate::model::money::{Cost, Prices};
use crate::model::souring::Souring;
use crate::units::{Concentration, Measured, Quantity, Span, Volume};

use super::Caution;
use super::recharge::{HAZARDS, Totals};

/// What is known of a sump.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The whole volume.
    pub volume: Volume,
    /// Strength that an exchanged part is filled up with.
    pub target: Concentration,
    /// What has gathered in the mix and a swap thins: nitrite, hardness,
    /// chloride, conductivity and the like.
    pub contents: Vec<Content>,
    /// How far the pH lies below that of the first fill of this charge.
    pub ph_drop: Option<f64>,
    /// How likely it goes sour, by all signs together.
    pub souring: Option<Souring>,
    /// Bacteria, CFU/mL.
    pub bacteria: Option<f64>,
    /// Yeasts and moulds, CFU/mL.
    pub fungi: Option<f64>,
    /// Tramp oil, % by volume.
    pub tramp_oil: Option<f64>,
    /// Age of the charge.
    pub age: Option<Span>,
    /// What things cost, where known.
    pub prices: Option<Prices>,
}

/// Something that has gathered in the mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Content {
    /// What it is.
    pub quantity: Quantity,
    /// How much there is, in the quantity's unit.
    pub value: Measured,
    /// How much there may be.
    pub limit: f64,
    /// How much fresh mix brings itself.
    pub fresh: f64,
}

/// Where the limits lie that no content has with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChoiceLimits {
    /// Nitrite above which something has to be done, mg/L. TRGS 611, 5.3 (3):
    /// 20 mg/L.
    pub nitrite_mg_l: f64,
    /// A pH so much below the first fill is one to ask the maker about. DGUV
    /// Regel 109-003, annex, test plan no. 2: 0.5.
    pub ph_drop_ask: f64,
    /// A pH so much below it calls for change and clean-out. The same: 1.0.
    pub ph_drop_change: f64,
    /// Bacteria from which on the treatment is reviewed, CFU/mL. HSE, page on
    /// bacterial contamination: 10³.
    pub bacteria_review: f64,
    /// Bacteria from which on the sump is drained and cleaned, CFU/mL. The
    /// same: 10⁶.
    pub bacteria_clean: f64,
    /// Yeasts and moulds from which on slime has to be cleaned out, CFU/mL.
    /// Memory: 10³.
    pub fungi_clean: f64,
    /// Tramp oil from which on it is skimmed off, %. Memory: 4 %.
    pub tramp_oil: f64,
    /// Age at which charges are usually changed. Memory: well kept small sumps
    /// 6 to 12 months, central systems 1 to 5 years.
    pub usual_life: Span,
    /// Share of a limit that an exchange is to come down to, since at the limit
    /// itself it would soon be due again; above 0, at most 1.
    pub goal: f64,
    /// Largest share of one swap, above 0 and below 1.
    pub largest_swap: f64,
    /// Most swaps.
    pub most_swaps: u16,
}

/// Of each field what it says of itself. Life: a year, the upper end of what
/// small sumps live. Goal of 80 %, swaps of at most a half and three of them:
/// choice; smaller and more of them would make more waste than a clean-out.
impl Default for ChoiceLimits {
    fn default() -> Self {
        ChoiceLimits {
            nitrite_mg_l: 20.0,
            ph_drop_ask: 0.5,
            ph_drop_change: 1.0,
            bacteria_review: 1e3,
            bacteria_clean: 1e6,
            fungi_clean: 1e3,
            tramp_oil: 4.0,
            usual_life: Span::from_hours(365 * 24),
            goal: 0.8,
            largest_swap: 0.5,
            most_swaps: 3,
        }
    }
}

impl ChoiceLimits {
    /// Whether something lies beyond its limit, so that there is a choice to
    /// make.
    pub fn are_breached(&self, evidence: &Evidence) -> bool {
        let beyond = |value: Option<f64>, limit: f64| value.is_some_and(|value| value > limit);
        let from = |value: Option<f64>, limit: f64| value.is_some_and(|value| value >= limit);
        evidence.contents.iter().any(Content::is_above)
            || beyond(evidence.ph_drop, self.ph_drop_ask)
            || from(evidence.bacteria, self.bacteria_review)
            || from(evidence.fungi, self.fungi_clean)
            || beyond(evidence.tramp_oil, self.tramp_oil)
            || evidence.age.is_some_and(|age| age > self.usual_life)
            || evidence.souring >= Some(Souring::Likely)
    }
}

/// What can be done.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "course", rename_all = "snake_case")]
pub enum Remedy {
    /// Go on, with upkeep.
    GoOn,
    /// Exchange a part of the fluid.
    PartialExchange {
        /// How much, where that helps.
        exchange: Option<Exchange>,
    },
    /// Clean out and recharge.
    CleanOut {
        /// Waste, L.
        waste_l: f64,
        /// What it costs, where there are prices.
        cost: Option<Cost>,
    },
    /// Have appointed persons treat it with a biocide. No amount ever.
    Biocide,
}

/// One course with its reasons.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Course {
    /// What is done.
    #[serde(flatten)]
    pub remedy: Remedy,
    /// Weights for it less weights against it.
    pub score: i32,
    /// What speaks for it.
    pub reasons_for: Vec<Reason>,
    /// What speaks against it.
    pub reasons_against: Vec<Reason>,
    /// What to beware of.
    pub cautions: Vec<Caution>,
}

/// All courses, the one with the most to say for it first. Of equals the one
/// that changes least comes first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Choice {
    /// The courses.
    pub courses: Vec<Course>,
}

/// Weighs what is known against the limits; `clean_out` is what the
/// clean-out would take.
pub fn choose(limits: &ChoiceLimits, evidence: &Evidence, clean_out: &Totals) -> Choice {
    let exchange = exchange::exchange(limits, evidence);
    let scales = reasons::weigh(limits, evidence, exchange.as_ref(), clean_out);
    let clean_out = Remedy::CleanOut {
        waste_l: clean_out.waste_l,
        cost: clean_out.cost.clone(),
    };
    let exchange = Remedy::PartialExchange {
        exchange: exchange.ok(),
    };
    let mut courses = vec![
        course(Remedy::GoOn, scales.go_on, &[Caution::DataSheets]),
        course(exchange, scales.exchange, &EXCHANGE),
        course(clean_out, scales.clean_out, &HAZARDS),
        course(Remedy::Biocide, scales.biocide, &BIOCIDE),
    ];
    // A stable sort: equals stay in this order.
    courses.sort_by_key(|course| -course.score);
    Choice { courses }
}

/// What to beware of at an exchange.
const EXCHANGE: [Caution; 6] = [
    Caution::PremixOnly,
    Caution::Concentrate,
    Caution::WasteCodes,
    Caution::SlipperyFloor,
    Caution::MovingParts,
    Caution::DataSheets,
];
/// What to beware of with biocides.
const BIOCIDE: [Caution; 3] = [
    Caution::Biocide,
    Caution::ProtectiveEquipment,
    Caution::DataSheets,
];

fn course(remedy: Remedy, sides: reasons::Sides, cautions: &[Caution]) -> Course {
    Course {
        remedy,
        score: sides.score(),
        reasons_for: sides.pro,
        reasons_against: sides.con,
        cautions: cautions.to_vec(),
    }
}
