//! The ways that lead a sump to its target.

use serde::Serialize;

/// One way to bring a sump to its target. Of ways that are equal otherwise, the
/// first here is recommended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// Water into the room that there is.
    WaterOnly,
    /// Premix into the room that there is.
    Premix,
    /// Water into the head room above the volume to be kept.
    WaterToMax,
    /// Premix into the head room above the volume to be kept.
    PremixToMax,
    /// Concentrate as delivered, at the dosing point that the settings name.
    NeatAtPoint,
    /// Let mix out and fill with water.
    DrainAndWater,
    /// Let mix out and fill with premix.
    DrainAndPremix,
    /// Wait until the losses have made room, then add premix.
    WaitAndPremix,
    /// Replace the losses by water alone until the concentration has come down.
    WaterAsItFalls,
    /// Do nothing.
    LetItBe,
}
