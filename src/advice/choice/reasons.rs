//! What speaks for and against each course.

use serde::Serialize;

use crate::advice::recharge::{Totals, litres};
use crate::model::souring::Souring;
use crate::units::Quantity;

use super::exchange::{Exchange, NoExchange};
use super::{ChoiceLimits, Content, Evidence};

/// How much a reason counts. Choice: what decides outweighs any few others,
/// what is strong outweighs two hints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// It is worth knowing.
    Hint,
    /// It counts.
    Strong,
    /// It settles the matter unless another does too.
    Decides,
}

impl Weight {
    const fn points(self) -> i32 {
        match self {
            Weight::Hint => 1,
            Weight::Strong => 3,
            Weight::Decides => 10,
        }
    }
}

/// A reason, for or against.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reason {
    /// In words.
    pub words: String,
    /// How much it counts.
    pub weight: Weight,
    /// Where it is from.
    pub source: &'static str,
}

/// The two sides of one course.
#[derive(Debug, Default)]
pub(super) struct Sides {
    /// For it.
    pub(super) pro: Vec<Reason>,
    /// Against it.
    pub(super) con: Vec<Reason>,
}

/// The sides of all courses.
#[derive(Debug, Default)]
pub(super) struct Scales {
    pub(super) go_on: Sides,
    pub(super) exchange: Sides,
    pub(super) biocide: Sides,
    pub(super) clean_out: Sides,
}

const TRGS: &str = "TRGS 611, 5.3 (3)";
const DGUV: &str = "DGUV Regel 109-003, annex, test plan no. 2";
const DGUV_PAGE: &str = "DGUV, page on changing coolants";
const HSE: &str = "HSE, page on bacterial contamination";
const HERE: &str = "worked out here";
const MEMORY: &str = "memory";
const PRACTICE: &str = "common practice";

impl Sides {
    pub(super) fn score(&self) -> i32 {
        let points = |reasons: &[Reason]| -> i32 {
            reasons.iter().map(|reason| reason.weight.points()).sum()
        };
        points(&self.pro) - points(&self.con)
    }

    fn pro(&mut self, weight: Weight, source: &'static str, words: impl Into<String>) {
        let words = words.into();
        self.pro.push(Reason {
            words,
            weight,
            source,
        });
    }

    fn con(&mut self, weight: Weight, source: &'static str, words: impl Into<String>) {
        let words = words.into();
        self.con.push(Reason {
            words,
            weight,
            source,
        });
    }
}

/// All reasons.
pub(super) fn weigh(
    limits: &ChoiceLimits,
    evidence: &Evidence,
    exchange: Result<&Exchange, &NoExchange>,
    clean_out: &Totals,
) -> Scales {
    let mut scales = Scales::default();
    scales.always(clean_out);
    for content in evidence.contents.iter().filter(|one| one.is_above()) {
        scales.content(content);
    }
    scales.exchange(exchange, clean_out);
    scales.ph(limits, evidence.ph_drop);
    scales.souring(evidence.souring);
    scales.bacteria(limits, evidence.bacteria);
    scales.fungi(limits, evidence.fungi);
    scales.tramp_oil(limits, evidence.tramp_oil);
    scales.age(limits, evidence);
    scales
}

impl Scales {
    fn always(&mut self, clean_out: &Totals) {
        use Weight::{Hint, Strong};
        self.go_on
            .pro(Hint, HERE, "It makes no waste and stops no machine.");
        let stop = format!(
            "It stops the machines and makes {} of waste.",
            litres(clean_out.waste_l)
        );
        self.clean_out.con(Hint, HERE, stop);
        self.biocide.con(
            Strong,
            MEMORY,
            "Biocides are hazardous (allergy, skin, breath) and regulated; what they kill stays in the sump, slime and endotoxin with it, and growth comes back. Usually the worse course; supplier's data sheet, appointed persons.",
        );
    }

    fn content(&mut self, content: &Content) {
        use Weight::{Decides, Hint, Strong};
        let Content {
            quantity,
            value,
            limit,
            ..
        } = *content;
        let unit = quantity.unit();
        let found = format!(
            "{quantity} is {:.0} {unit}, above {limit} {unit}",
            value.value
        );
        if quantity == Quantity::Nitrite {
            let rule = format!(
                "{found}: change, change in part, or an inhibitor in agreement with the maker."
            );
            self.go_on
                .con(Decides, TRGS, format!("{found}: something has to be done."));
            self.go_on.pro(
                Hint,
                TRGS,
                "An inhibitor may do instead, kind and amount in agreement with the fluid's maker.",
            );
            self.exchange.pro(Strong, TRGS, rule.clone());
            self.clean_out.pro(Strong, TRGS, rule);
        } else {
            self.go_on.con(
                Strong,
                MEMORY,
                format!("{found}: upkeep takes none of it away."),
            );
            self.exchange
                .pro(Strong, HERE, format!("{found}: a swap thins it."));
            self.clean_out.pro(
                Hint,
                HERE,
                format!("{found}: a new charge starts without it."),
            );
        }
        if value.interval_90().0 <= limit {
            self.go_on.pro(
                Hint,
                HERE,
                format!(
                    "The limit lies within the uncertainty of {quantity}: measure again first."
                ),
            );
        }
    }

    fn exchange(&mut self, exchange: Result<&Exchange, &NoExchange>, clean_out: &Totals) {
        use Weight::{Decides, Hint, Strong};
        let exchange = match exchange {
            Ok(exchange) => exchange,
            Err(why) => return self.exchange.con(Decides, HERE, why.words()),
        };
        let waste = format!("It makes {} of waste.", litres(exchange.waste_l));
        self.exchange.con(Hint, HERE, waste);
        if exchange.waste_l >= clean_out.waste_l {
            self.exchange
                .con(Strong, HERE, "It makes no less waste than a clean-out.");
        }
        if let (Some(one), Some(other)) = (&exchange.cost, &clean_out.cost) {
            let (one, other, currency) = (one.total, other.total, other.currency);
            let words = format!("It costs {one:.0} {currency}, a clean-out {other:.0} {currency}.");
            if one < other {
                self.exchange.pro(Hint, HERE, words);
            } else {
                self.exchange.con(Strong, HERE, words);
            }
        }
    }

    fn ph(&mut self, limits: &ChoiceLimits, drop: Option<f64>) {
        use Weight::{Decides, Hint, Strong};
        let Some(drop) = drop else { return };
        let found = format!("The pH lies {drop:.1} below the first fill");
        if drop > limits.ph_drop_change {
            let rule = format!(
                "{found}, more than {}: change the fluid and clean the circuit.",
                limits.ph_drop_change
            );
            self.clean_out.pro(Decides, DGUV, rule.clone());
            self.go_on.con(Decides, DGUV, rule);
            self.exchange
                .con(Strong, DGUV, format!("{found}: a part is not enough."));
        } else if drop > limits.ph_drop_ask {
            let rule = format!(
                "{found}, more than {}: act as the fluid's maker advises.",
                limits.ph_drop_ask
            );
            self.go_on.con(Hint, DGUV, rule);
        }
    }

    /// All signs together. They rest in part on pH and counts, which speak for
    /// themselves, so that alone they decide nothing.
    fn souring(&mut self, souring: Option<Souring>) {
        use Weight::{Hint, Strong};
        let (weight, words) = match souring {
            None | Some(Souring::Watch) => return,
            Some(Souring::NoSign) => {
                return self.go_on.pro(Hint, HERE, "No sign that it goes sour.");
            }
            Some(Souring::Likely) => (Hint, "The signs together make it likely that it goes sour."),
            Some(Souring::Certain) => (
                Strong,
                "Signs that do not depend on one another say that it is sour.",
            ),
        };
        self.go_on.con(weight, HERE, words);
        self.clean_out.pro(weight, HERE, words);
        let rest = format!("{words} A part that stays brings it back.");
        self.exchange.con(weight, HERE, rest);
    }

    fn bacteria(&mut self, limits: &ChoiceLimits, count: Option<f64>) {
        use Weight::{Decides, Hint, Strong};
        let Some(count) = count else {
            self.biocide
                .con(Strong, HERE, "No count of bacteria is known.");
            return;
        };
        let found = format!("{} of bacteria", colonies(count));
        if count >= limits.bacteria_clean {
            let rule = format!(
                "{found}: poor, to be acted on at once, normally by draining and cleaning."
            );
            self.clean_out.pro(Decides, HSE, rule.clone());
            self.go_on.con(Decides, HSE, rule);
            self.exchange.con(
                Strong,
                HERE,
                format!("{found}: half of the fluid exchanged is half of them, and they are back after one doubling."),
            );
            self.biocide.con(
                Strong,
                HSE,
                format!("{found}: draining and cleaning is the normal answer."),
            );
        } else if count >= limits.bacteria_review {
            let rule = format!("{found}: look at the upkeep again, treat by the assessment.");
            self.go_on.pro(Hint, HSE, rule.clone());
            self.biocide.pro(Hint, HSE, rule);
        } else {
            self.go_on.pro(Hint, HSE, format!("{found}: good."));
            self.biocide
                .con(Strong, HSE, format!("{found}: nothing to treat."));
        }
    }

    fn fungi(&mut self, limits: &ChoiceLimits, count: Option<f64>) {
        let Some(count) = count.filter(|count| *count >= limits.fungi_clean) else {
            return;
        };
        let words = format!(
            "{} of fungi: they sit in slime, which only cleaning takes out.",
            colonies(count)
        );
        self.clean_out.pro(Weight::Strong, MEMORY, words.clone());
        self.exchange.con(Weight::Strong, MEMORY, words);
    }

    fn tramp_oil(&mut self, limits: &ChoiceLimits, share: Option<f64>) {
        if let Some(share) = share.filter(|share| *share > limits.tramp_oil) {
            let words = format!("Tramp oil {share:.1} %: skim it off first, and find the leak.");
            self.go_on.pro(Weight::Hint, PRACTICE, words);
        }
    }

    fn age(&mut self, limits: &ChoiceLimits, evidence: &Evidence) {
        if let Some(age) = evidence.age.filter(|age| *age > limits.usual_life) {
            let words = format!(
                "The charge is {age} old, more than the usual {}; fixed intervals have proved good as upkeep.",
                limits.usual_life
            );
            self.clean_out.pro(Weight::Strong, DGUV_PAGE, words);
        }
    }
}

impl NoExchange {
    fn words(self) -> String {
        match self {
            NoExchange::NothingToThin => "Nothing that a swap thins is above its limit.".into(),
            NoExchange::FreshMixBringsIt(quantity) => format!(
                "Fresh mix brings so much {quantity} with its water that no swap reaches the goal: better water first."
            ),
            NoExchange::TooMuch(quantity) => {
                format!("There is so much {quantity} that the swaps allowed do not reach the goal.")
            }
        }
    }
}

/// A count as dip slides show it: by its power of ten.
fn colonies(count: f64) -> String {
    format!("10^{:.1} CFU/mL", count.max(1.0).log10())
}
