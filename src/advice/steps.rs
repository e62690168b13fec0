//! Into how many steps a correction is split.

use super::candidate::Candidate;
use super::dose::DoseSetup;
use super::option::DoseCase;
use super::way::Way;

impl DoseCase<'_> {
    /// Into how many equal steps the amounts are split so that the first, which
    /// moves most, moves the concentration by no more than the largest step.
    ///
    /// A share f of a drain d and an addition a of strength p moves it by
    /// f·a(p−c)/(V + f(a−d)); that is s at f = sV/(a|p−c| − s(a−d)); worked out
    /// here. A sump that is filled by more than it keeps is filled, not
    /// corrected, and takes one step.
    pub(super) fn steps(&self, setup: &DoseSetup, candidate: &Candidate) -> u32 {
        let added = candidate.concentrate + candidate.water;
        let (v, c) = (
            candidate.from.volume.value,
            candidate.from.concentration.value / 100.0,
        );
        let kept = v - candidate.drain;
        if added <= 0.0 || kept < added || candidate.way == Way::WaterAsItFalls {
            return 1;
        }
        let largest = setup.largest_step.fraction();
        let strength = candidate.concentrate / added;
        let net = added * (strength - c).abs() - largest * (added - candidate.drain);
        let share = largest * v / net;
        if net > 0.0 && share < 1.0 {
            // A cast of a float to an integer saturates.
            (1.0 / share - 1e-9).ceil() as u32
        } else {
            1
        }
    }
}
