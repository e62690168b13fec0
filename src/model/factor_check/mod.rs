//! The refractometer held against titration or a laboratory.
//!
//! The methods differ, each in its own way: a refractometer reads emulsified
//! tramp oil as strength; titration does not see tramp oil, but large additions
//! of acids, alkalis or biocides falsify it (DGUV Regel 109-003, section 7.1).
//! So both are kept, pair by pair, and where they part, what speaks for and
//! against each of three causes is told: the refractive factor, tramp oil, the
//! titration.
//!
//! A new factor is a proposal with the time from which it would hold. Nothing
//! here rewrites what was measured before.

mod calibration;
mod causes;
mod pair;
#[cfg(test)]
mod tests;
mod watch;

pub use calibration::{FactorCalibrationError, calibrate_factor};
pub use causes::{FactorContext, GapCause, GapSuspect};
pub use pair::{FactorPair, OtherMethod};
pub use watch::{FactorProposal, FactorRatio, FactorSetup, FactorStatus, FactorWatch, MethodGap};
