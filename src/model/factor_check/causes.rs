//! Why two methods part: what speaks for and against each cause.

use serde::Serialize;

use super::pair::{FactorPair, OtherMethod};
use super::watch::FactorSetup;
use crate::model::robust::{median, spread};
use crate::model::{Evidence, Weight};
use crate::units::{Measured, Timestamp};

/// The first and the newest pairs that are compared.
const ENDS: usize = 3;
/// Two ratios are the same if they differ by less than so many standard
/// uncertainties. Choice: one of twenty is wrong.
const SAME: f64 = 2.0;
/// The most likely cause is named if it has so many points, and leads by so
/// many. Choice: more than one weak fact.
const STANDS_OUT: i32 = 2;

/// What can be wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum GapCause {
    /// The refractive factor in force is not that of this concentrate.
    Factor,
    /// Emulsified tramp oil, which a refractometer reads as strength.
    TrampOil,
    /// The titration, falsified by additions of acid, alkali or biocide.
    Titration,
}

/// A cause and what speaks for and against it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GapSuspect {
    /// The cause.
    pub cause: GapCause,
    /// What is known, in order of weight.
    pub evidence: Vec<Evidence>,
    /// What to do first to find out.
    pub look: &'static str,
}

/// What else is known of the sump.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FactorContext {
    /// The newest reading of tramp oil, % by volume, and when.
    pub tramp_oil: Option<(f64, Timestamp)>,
    /// When somebody last saw a film of oil.
    pub oil_film: Option<Timestamp>,
    /// When acid, alkali, biocide or cleaner was last put in, or the pH jumped as
    /// if it were.
    pub disturbed: Option<Timestamp>,
}

impl GapSuspect {
    fn points(&self) -> i32 {
        self.evidence.iter().map(Evidence::points).sum()
    }
}

/// The three causes of a gap, the most likely first.
pub(super) fn suspects(
    pairs: &[FactorPair],
    setup: &FactorSetup,
    around: &FactorContext,
    ratio: Measured,
) -> Vec<GapSuspect> {
    let seen = Seen::of(pairs, ratio);
    let mut suspects = vec![
        GapSuspect {
            cause: GapCause::Factor,
            evidence: for_factor(&seen),
            look: "Mix samples of known strength (2.5, 5, 7.5, 10 %) from this lot in your own \
                   water, read each, and work the factor out through the reading of the water.",
        },
        GapSuspect {
            cause: GapCause::TrampOil,
            evidence: for_tramp_oil(&seen, setup, around),
            look: "Let a sample stand, up to a day, read its lower phase, and measure how much oil \
                   has risen.",
        },
        GapSuspect {
            cause: GapCause::Titration,
            evidence: for_titration(&seen, around),
            look: "Titrate again with fresh reagent and a fresh mix of known strength beside it; \
                   if they still part, have a laboratory decide.",
        },
    ];
    for suspect in &mut suspects {
        suspect
            .evidence
            .sort_by_key(|fact| std::cmp::Reverse(fact.weight));
    }
    suspects.sort_by_key(|suspect| std::cmp::Reverse(suspect.points()));
    suspects
}

/// The cause that stands out: clearly more speaks for it than against it, and
/// clearly more than for the next.
pub(super) fn decide(suspects: &[GapSuspect]) -> Option<GapCause> {
    let [first, second, ..] = suspects else {
        return None;
    };
    let next = second.points().max(0);
    (first.points() >= next + STANDS_OUT).then_some(first.cause)
}

/// What the pairs themselves say.
struct Seen<'a> {
    pairs: &'a [FactorPair],
    /// Ratio of the first and of the newest pairs, where there are enough to
    /// tell them apart.
    ends: Option<(Measured, Measured)>,
    newest: &'a FactorPair,
    /// Whether the pairs scatter beyond their readings.
    scatters: bool,
}

impl<'a> Seen<'a> {
    fn of(pairs: &'a [FactorPair], ratio: Measured) -> Self {
        let ends = (pairs.len() >= 2).then(|| {
            let count = ENDS.min(pairs.len() / 2);
            (end(&pairs[..count]), end(&pairs[pairs.len() - count..]))
        });
        let scatter = spread(pairs.iter().map(FactorPair::ratio), ratio.value).unwrap_or(0.0);
        let of_one = median(pairs.iter().map(FactorPair::ratio_uncertainty)).unwrap_or(0.0);
        Seen {
            pairs,
            ends,
            newest: &pairs[pairs.len() - 1],
            scatters: pairs.len() > ENDS && scatter > SAME * of_one,
        }
    }

    fn since(&self) -> Option<Timestamp> {
        self.pairs.first().map(|pair| pair.time)
    }

    fn reads_high(&self) -> bool {
        self.newest.gap() > 0.0
    }
}

/// The ratio over the pairs at one end.
fn end(pairs: &[FactorPair]) -> Measured {
    let value = median(pairs.iter().map(FactorPair::ratio)).unwrap_or(1.0);
    let of_one = median(pairs.iter().map(FactorPair::ratio_uncertainty)).unwrap_or(1.0);
    Measured::new(value, of_one / (pairs.len() as f64).sqrt())
}

fn differ(a: Measured, b: Measured) -> bool {
    (a.value - b.value).abs() > SAME * a.uncertainty.hypot(b.uncertainty)
}

/// One, of which nothing is in doubt: two methods that agree.
const AGREED: Measured = Measured::new(1.0, 0.0);

fn for_factor(seen: &Seen<'_>) -> Vec<Evidence> {
    let mut facts = Vec::new();
    if let Some((first, newest)) = seen.ends {
        let since = seen.since();
        if differ(first, AGREED) {
            let what = "the two methods parted from the first pairs of the charge on";
            facts.push(
                Evidence::supports(Weight::Moderate, what)
                    .valued(first.value, "")
                    .since(since),
            );
        } else {
            let what = "the two methods agreed in the first pairs of the charge";
            facts.push(
                Evidence::contradicts(Weight::Strong, what)
                    .valued(first.value, "")
                    .since(since),
            );
        }
        if differ(first, newest) {
            let what = "the ratio of the two methods has changed, and a factor does not";
            facts.push(Evidence::contradicts(Weight::Moderate, what).valued(newest.value, ""));
        } else if differ(newest, AGREED) {
            let what = "the ratio of the two methods has stayed the same";
            facts.push(Evidence::supports(Weight::Moderate, what).valued(newest.value, ""));
        }
    }
    if !seen.reads_high() {
        let what = "the refractometer reads low, which tramp oil does not cause";
        facts.push(Evidence::supports(Weight::Weak, what).valued(seen.newest.gap(), "%"));
    }
    facts
}

fn for_tramp_oil(seen: &Seen<'_>, setup: &FactorSetup, around: &FactorContext) -> Vec<Evidence> {
    let mut facts = Vec::new();
    let gap = seen.newest.gap();
    facts.push(if seen.reads_high() {
        let what = "the refractometer reads high, as it does with emulsified tramp oil";
        Evidence::supports(Weight::Weak, what).valued(gap, "%")
    } else {
        let what = "the refractometer reads low, and tramp oil makes it read high";
        Evidence::contradicts(Weight::Strong, what).valued(gap, "%")
    });
    if let Some((first, newest)) = seen.ends {
        if differ(first, newest) && newest.value < first.value {
            let what = "the refractometer has come to read ever higher";
            facts.push(
                Evidence::supports(Weight::Moderate, what)
                    .valued(newest.value - first.value, "")
                    .since(seen.since()),
            );
        } else if differ(first, AGREED) {
            let what = "the gap has been there from the start of the charge and has not grown";
            facts.push(Evidence::contradicts(Weight::Moderate, what).since(seen.since()));
        }
    }
    if let Some((oil, time)) = around.tramp_oil {
        facts.push(if oil > setup.tramp_oil_pct {
            let what = "much tramp oil was measured";
            Evidence::supports(Weight::Moderate, what)
                .valued(oil, "%")
                .since(Some(time))
        } else {
            let what = "little tramp oil was measured";
            Evidence::contradicts(Weight::Moderate, what)
                .valued(oil, "%")
                .since(Some(time))
        });
    }
    if let Some(time) = around.oil_film {
        let what = "a film of oil was seen";
        facts.push(Evidence::supports(Weight::Weak, what).since(Some(time)));
    }
    facts
}

fn for_titration(seen: &Seen<'_>, around: &FactorContext) -> Vec<Evidence> {
    let mut facts = Vec::new();
    let newest_by = |method| {
        let mut back = seen.pairs.iter().rev();
        back.find(|pair| pair.method == method)
    };
    let titrated = newest_by(OtherMethod::Titration);
    if let Some(laboratory) = newest_by(OtherMethod::Laboratory) {
        let agrees = (laboratory.ratio() - 1.0).abs() <= SAME * laboratory.ratio_uncertainty();
        facts.push(match (agrees, titrated) {
            (true, Some(_)) => {
                let what = "a laboratory agrees with the refractometer, titration does not";
                Evidence::supports(Weight::Strong, what).since(Some(laboratory.time))
            }
            _ => {
                let what = "a laboratory parts from the refractometer too";
                Evidence::contradicts(Weight::Strong, what).since(Some(laboratory.time))
            }
        });
    }
    if let Some(time) = around.disturbed {
        let parted_before =
            seen.ends.is_some_and(|(first, _)| differ(first, AGREED)) && seen.pairs[0].time < time;
        if seen.newest.time >= time && !parted_before {
            let what = "acid, alkali, biocide or cleaner came in before the methods parted";
            facts.push(Evidence::supports(Weight::Moderate, what).since(Some(time)));
        }
    } else if titrated.is_some() {
        let what = "nobody put in acid, alkali, biocide or cleaner, and the pH did not jump";
        facts.push(Evidence::contradicts(Weight::Weak, what));
    }
    if seen.scatters {
        let what = "the pairs scatter more than their readings";
        facts.push(Evidence::supports(Weight::Weak, what));
    }
    facts
}
