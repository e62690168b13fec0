//! What went in or out at once: a step of unknown size that the readings after it
//! tell, until it is settled what it was.

use serde::{Deserialize, Serialize};

use super::{DRIFT, LASTING, LEAST_VOLUME, M, STEP_M, STEP_V, State, V};
use crate::model::movement::LoggedSum;
use crate::model::setup::BalanceSetup;

/// The strength that people write of a premix errs by this share, besides the
/// litres. Memory: two cans, each filled to 2 %.
const STRENGTH_DOUBT: f64 = 0.02;

/// What went in or out at once, as the readings tell it: volume and concentrate
/// in L, with their covariance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Volume, L; negative where something went out.
    pub volume_l: f64,
    /// Concentrate in it, L.
    pub concentrate_l: f64,
    /// Variance of the volume.
    pub volume_variance: f64,
    /// Variance of the concentrate.
    pub concentrate_variance: f64,
    /// Their covariance.
    pub covariance: f64,
}

impl State {
    /// Something went in or out just now, and nothing is known of it but
    /// what its points will tell.
    pub(in crate::model) fn open_step(&mut self, setup: &BalanceSetup) {
        self.close_step();
        let wide = setup.working_volume_l.max(self.known.mean(V));
        self.known.push(0.0, wide * wide);
        self.known.push(0.0, (0.3 * wide).powi(2));
        self.known.mix_in(V, &[(STEP_V, 1.0)], 0.0);
        self.known.mix_in(M, &[(STEP_M, 1.0)], 0.0);
    }

    /// What went in or out at the open step.
    pub(in crate::model) fn step(&self) -> Option<Step> {
        (self.known.len() > LASTING).then(|| Step {
            volume_l: self.known.mean(STEP_V),
            concentrate_l: self.known.mean(STEP_M),
            volume_variance: self.known.covariance(STEP_V, STEP_V),
            concentrate_variance: self.known.covariance(STEP_M, STEP_M),
            covariance: self.known.covariance(STEP_V, STEP_M),
        })
    }

    /// The open step is what people wrote down.
    pub(in crate::model) fn learn_step(&mut self, logged: &LoggedSum) {
        let tiny = 1e-12;
        let surprise = logged.litres - self.known.mean(STEP_V);
        let variance = logged.litres_variance + tiny;
        self.known.learn(&[(STEP_V, 1.0)], surprise, variance);
        // Litres and concentrate err together; what the concentrate errs by
        // beyond that is independent.
        let together = logged.covariance / variance;
        let row = [(STEP_M, 1.0), (STEP_V, -together)];
        let surprise = logged.concentrate - together * logged.litres - self.known.expected(&row).0;
        let rest = logged.concentrate_variance - together * logged.covariance;
        let by_strength = (STRENGTH_DOUBT * logged.concentrate).powi(2);
        self.known
            .learn(&row, surprise, rest.max(0.0) + by_strength + tiny);
    }

    /// The open step was nothing that went in or out, but the instrument of
    /// the concentration: wiped, fouled, or something before it.
    pub(in crate::model) fn blame_instrument(&mut self) {
        let (volume, concentrate) = (
            self.known.mean(V).max(LEAST_VOLUME),
            self.known.mean(STEP_M),
        );
        let scale = 100.0 / volume;
        self.known
            .mix_in(DRIFT, &[(STEP_M, scale)], scale * concentrate);
        self.known.mix_in(M, &[(STEP_M, -1.0)], -concentrate);
        self.close_step();
    }

    /// What the open step was is settled.
    pub(in crate::model) fn close_step(&mut self) {
        self.known.truncate(LASTING);
    }
}
