//! What came of a dose: as expected, or what the miss means.

use serde::Serialize;

use crate::units::Measured;

use super::amounts::Amounts;
use super::dose::MixState;

/// A measured value this many standard deviations from what was expected of it
/// has missed. Common practice, no source.
const MISS_SIGMAS: f64 = 3.0;

/// A factor or chart is not wrong by more than this share. Choice: above it
/// other causes are nearer.
const LIKELY_FACTOR_ERROR: f64 = 0.3;

/// Shares of the volume believed between which the true one lies. Choice:
/// nameplates are often wrong by 10 to 30 % (memory), and a little more is
/// allowed for.
const LIKELY_VOLUME: (f64, f64) = (0.6, 1.6);

/// What was known of a sump when its dose was followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Followed {
    /// Where the sump was.
    pub before: MixState,
    /// What went out and in: what entries say, else what was advised.
    pub poured: Amounts,
    /// Relative standard uncertainty of the fluid's chart, as a share.
    pub chart_uncertainty: f64,
    /// The smallest amount that people can measure out, L.
    pub step_l: f64,
    /// A miss smaller than this calls for nothing, in points.
    pub dead_band: f64,
}

/// What was measured after mixing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Concentration, %.
    pub concentration: f64,
    /// Standard uncertainty of the reading alone, in points.
    pub repeatability: f64,
    /// Volume, L, where it is measured.
    pub volume: Option<Measured>,
}

/// How what was measured compares with what was expected.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judgement {
    /// Measured less expected, in points of concentration.
    pub deviation_pct: f64,
    /// Standard deviation to expect of that.
    pub deviation_sigma_pct: f64,
    /// Whether it is within three of these, or within the dead band.
    pub as_expected: bool,
    /// What a miss may mean, the likeliest first; empty where there is none.
    pub causes: Vec<Cause>,
}

/// What may be behind a miss. Its words stand under `cause.<key>` in the phrases
/// of each language.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "cause", rename_all = "snake_case")]
pub enum Cause {
    /// Another amount went in than the one reckoned with: the level says so.
    Amount {
        /// By how much the level says that the volume changed, L.
        changed_l: f64,
        /// By how much it should have, L.
        expected_l: f64,
    },
    /// It reads as if nothing had been added: not added, or not mixed in.
    NotMixed,
    /// The sump holds another volume than the settings make of it.
    Volume {
        /// The volume that explains what was measured, L.
        explains_l: f64,
    },
    /// The premix had another strength.
    Strength {
        /// The strength that explains what was measured, %.
        explains_pct: f64,
    },
    /// The refractive factor or chart does not fit.
    Factor {
        /// What it would have to be multiplied by.
        explains_times: f64,
    },
    /// Stirred-up tramp oil, which a refractometer reads as strength.
    TrampOil,
}

impl Followed {
    /// Volume kept, whole volume after, both L.
    fn volumes(&self) -> (f64, f64) {
        let kept = (self.before.volume.value - self.poured.drain_l).max(0.0);
        (kept, kept + self.poured.premix_l)
    }

    /// What is to be expected after mixing.
    pub fn expected(&self) -> MixState {
        self.before.after(&self.poured)
    }

    /// Standard deviation of measured less expected.
    ///
    /// The same instrument and chart are read before and after, so that the
    /// chart's error δ counts only through what was added: δ·x/V'. What is left
    /// are two readings, r²(1 + (k/V')²), the volume, ((c−c')/V' · u(V))², and
    /// the reading of the measuring can. Worked out here.
    fn sigma(&self, found: &Found) -> f64 {
        let (kept, whole) = self.volumes();
        let whole = whole.max(f64::MIN_POSITIVE);
        let expected = self.expected().concentration.value;
        let before = self.before.repeatability * kept / whole;
        let moved = self.before.concentration.value - expected;
        let by_volume = moved / whole * self.before.volume.uncertainty;
        let by_chart = 100.0 * self.chart_uncertainty * self.poured.concentrate_l / whole;
        // A reading anywhere within one step.
        let by_can = 100.0 * self.step_l / 12f64.sqrt() / whole;
        [before, by_volume, by_chart, by_can]
            .into_iter()
            .fold(found.repeatability, f64::hypot)
    }

    /// Holds what was found against what was expected.
    pub fn judge(&self, found: &Found) -> Judgement {
        let deviation = found.concentration - self.expected().concentration.value;
        let sigma = self.sigma(found);
        let as_expected = deviation.abs() <= (MISS_SIGMAS * sigma).max(self.dead_band);
        Judgement {
            deviation_pct: deviation,
            deviation_sigma_pct: sigma,
            as_expected,
            causes: if as_expected {
                Vec::new()
            } else {
                self.causes(found, deviation)
            },
        }
    }

    /// What speaks for what: a level that changed otherwise speaks for the
    /// amount; a concentration that stood still, for nothing mixed in; an
    /// assumed volume, for the volume. Tramp oil only ever reads high, and a
    /// wrong factor shows only where concentrate went in.
    fn causes(&self, found: &Found, deviation: f64) -> Vec<Cause> {
        let mut causes = Vec::new();
        causes.extend(self.amount(found));
        let moved = found.concentration - self.before.concentration.value;
        let noise = MISS_SIGMAS * found.repeatability.hypot(self.before.repeatability);
        if moved.abs() <= noise {
            causes.push(Cause::NotMixed);
        }
        let (volume, strength) = (self.volume(found), self.strength(found));
        if self.before.volume_assumed {
            causes.extend(volume);
            causes.extend(strength);
        } else {
            causes.extend(strength);
            causes.extend(volume);
        }
        causes.extend(self.factor(deviation));
        if deviation > 0.0 {
            causes.push(Cause::TrampOil);
        }
        causes
    }

    fn amount(&self, found: &Found) -> Option<Cause> {
        let (before, after) = (self.before.volume, found.volume?);
        if self.before.volume_assumed {
            return None;
        }
        let changed_l = after.value - before.value;
        let expected_l = self.poured.premix_l - self.poured.drain_l;
        let noise = MISS_SIGMAS * after.uncertainty.hypot(before.uncertainty);
        let off = (changed_l - expected_l).abs() > noise + self.step_l;
        off.then_some(Cause::Amount {
            changed_l,
            expected_l,
        })
    }

    /// From the step that an addition a of strength p caused, after a drain d:
    /// V = d + a (p − c₂)/(c₂ − c₁); worked out here.
    fn volume(&self, found: &Found) -> Option<Cause> {
        let (before, after) = (self.before.concentration.value, found.concentration);
        let Amounts {
            drain_l,
            premix_l,
            premix_strength_pct,
            ..
        } = self.poured;
        let explains_l = drain_l + premix_l * (premix_strength_pct - after) / (after - before);
        let believed = self.before.volume.value;
        let likely = LIKELY_VOLUME.0 * believed..=LIKELY_VOLUME.1 * believed;
        likely
            .contains(&explains_l)
            .then_some(Cause::Volume { explains_l })
    }

    /// p = (c₂ V' − c₁ k)/a, worked out here; only where premix went in.
    fn strength(&self, found: &Found) -> Option<Cause> {
        if self.poured.concentrate_l <= 0.0 {
            return None;
        }
        let (kept, whole) = self.volumes();
        let mass = found.concentration * whole - self.before.concentration.value * kept;
        let explains_pct = mass / self.poured.premix_l;
        (0.0..=100.0)
            .contains(&explains_pct)
            .then_some(Cause::Strength { explains_pct })
    }

    /// A factor that is too large by δ reads all of the mix too strong by δ,
    /// and what was added as δ·x/V' more than expected.
    fn factor(&self, deviation: f64) -> Option<Cause> {
        let (_, whole) = self.volumes();
        let error = deviation / (100.0 * self.poured.concentrate_l / whole);
        (error.abs() <= LIKELY_FACTOR_ERROR).then(|| Cause::Factor {
            explains_times: 1.0 / (1.0 + error),
        })
    }
}

#[cfg(test)]
mod tests;
