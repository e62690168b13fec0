//! What the state of the fluid comes to: minerals, souring, and the
//! refractometer against other methods.

use crate::alarm::Verdict;
use crate::model::factor_check::GapCause;
use crate::model::{FactorStatus, Mineral, Souring, SouringStatus, Speaks, Weight};
use crate::rules::{Finding, Step, judge_bound};
use crate::units::Quantity;

use crate::engine::watch::SumpWatch;

impl SumpWatch {
    /// Of a charge in which nothing is known of the mineral nothing is told; one
    /// that is not known any more may be as high as it was. Mass and volume are not those of one mix while something goes in or out.
    pub(super) fn of_mineral(&self, mineral: Mineral, step: Step) -> Finding {
        let bound = step.of(self.setup.minerals.bounds(mineral));
        let settling = self.balance.balance.is_settling() || self.dosing.mixing_until.is_some();
        let content = self.mineral_now(mineral).map(|content| content.value);
        let content = content.filter(|_| !settling);
        let unknown = settling || self.chemistry.now.minerals.is_lost(mineral);
        let verdict = match content {
            None if !unknown => Verdict::Inside,
            content => judge_bound(bound, content),
        };
        Finding {
            value: content,
            unit: Some(mineral.quantity().unit()),
            limit: Some(bound),
            ..Finding::plain(verdict)
        }
    }

    pub(super) fn of_excess(&self, step: Step) -> Finding {
        let bound = step.of(self.setup.minerals.excess);
        let ratio = self.conductivity_ratio();
        Finding {
            value: ratio,
            unit: Some(""),
            limit: Some(bound),
            ..Finding::plain(judge_bound(bound, ratio))
        }
    }

    /// Told first where at least one moderate sign says so: two weak ones, as a
    /// weekend's stand-still and a slow fall of pH, need nobody yet. What people found
    /// too long ago tells of nothing new, and that it is over is seen by looking again.
    pub(super) fn of_souring(&self, step: Step) -> Finding {
        let status = self.souring_status();
        let speaks = |status: &SouringStatus| match step {
            Step::Watch => status.level >= Souring::Watch && has_moderate_sign(status),
            Step::Act => status.level >= Souring::Likely,
        };
        let told = status.as_ref().is_some_and(speaks);
        let since = status.filter(|_| told).and_then(|status| {
            let facts = status.evidence.into_iter();
            facts
                .filter(|fact| fact.speaks == Speaks::For)
                .filter_map(|fact| fact.since)
                .min()
        });
        let is_unknown = || {
            let as_found = self.souring_as_last_found();
            self.misses_a_sign() || as_found.is_some_and(|status| speaks(&status))
        };
        let verdict = match told {
            true => Verdict::Outside,
            false if is_unknown() => Verdict::Unknown,
            false => Verdict::Inside,
        };
        Finding {
            since,
            ..Finding::plain(verdict)
        }
    }

    /// Whether an instrument that tells of souring tells nothing now.
    fn misses_a_sign(&self) -> bool {
        let mut channels = self.setup.channels.iter();
        channels.any(|channel| match channel.quantity {
            Quantity::Ph => self.instrument_ph().is_none(),
            of @ (Quantity::DissolvedOxygen | Quantity::Redox) => self.signal(of).is_none(),
            _ => false,
        })
    }

    /// What was measured too long ago says no more that there is too much, and not
    /// that it is gone; nor does a refractometer that is not heard.
    pub(super) fn of_tramp_oil(&self) -> Finding {
        let most = self.setup.methods.tramp_oil_pct;
        let read = self.tramp_oil();
        let parts = self.factor_status().filter(parts_by_tramp_oil);
        let found = read.is_some_and(|read| read > most) || parts.is_some();
        let told = found || self.suspects_oil(self.is_told_of_oil());
        let last_read = self.chemistry.now.tramp_oil;
        let was_too_much = last_read.is_some_and(|(share, _)| share > most);
        let verdict = match told {
            true => Verdict::Outside,
            false if was_too_much || self.cannot_tell_of_oil() => Verdict::Unknown,
            false => Verdict::Inside,
        };
        Finding {
            value: read,
            unit: Some(Quantity::TrampOil.unit()),
            limit: read.map(|_| most),
            ..Finding::plain(verdict)
        }
    }

    pub(super) fn of_factor(&self) -> Finding {
        let status = self.factor_status();
        let told = status
            .as_ref()
            .is_some_and(|status| status.gap.too_much && !parts_by_tramp_oil(status));
        Finding {
            value: status.as_ref().map(|status| status.gap.points),
            unit: Some(Quantity::Concentration.unit()),
            since: status.filter(|_| told).map(|status| status.gap.time),
            ..Finding::plain(Verdict::of(told))
        }
    }
}

fn has_moderate_sign(status: &SouringStatus) -> bool {
    let mut facts = status.evidence.iter();
    facts.any(|fact| fact.speaks == Speaks::For && fact.weight >= Weight::Moderate)
}

fn parts_by_tramp_oil(status: &FactorStatus) -> bool {
    status.gap.too_much && status.cause == Some(GapCause::TrampOil)
}
