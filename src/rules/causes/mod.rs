//! What may have caused a condition, the likeliest first, with what speaks for
//! each.
//!
//! Promises: plain values in, an order out; the same for the same. A cause is
//! named only if more speaks for it than against it. Refuses: to name the one
//! cause; what is named is where to look first.
//!
//! The pairs of signals (falling pH at a steady concentration is no dilution,
//! and so on) are those of the trade, memory, no source; the weights are chosen
//! so that one fact that hardly has another cause outweighs one that has few.

mod concentration;
mod factor;
mod level;
mod minerals;
mod nitrite;
mod pairs;
mod ph;
mod salts;
mod suspect;
mod temperature;

use serde::Serialize;

use crate::model::Mineral;
use crate::units::Quantity;

use super::{Charted, Condition, Direction};
pub use minerals::MineralSeen;
pub use pairs::{Course, Pairs};
use suspect::Suspect;
pub use suspect::{LikelyCause, Sign, SignSeen};

/// No more causes are named. Choice: nobody looks at a fourth.
const NAMED: usize = 3;

/// A kind of cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CauseKind {
    /// Water runs in that nobody wrote down.
    WaterIn,
    /// It was topped up with plain water.
    PlainWater,
    /// The mixer gives too weak a mix.
    MixerWeak,
    /// The mixer gives too strong a mix.
    MixerStrong,
    /// Concentrate or mix came in that nobody wrote down.
    MixIn,
    /// Nothing was added for long.
    TopUpOverdue,
    /// Water evaporates and is not made up.
    Evaporation,
    /// The refractometer does not read the mix.
    Prism,
    /// Tramp oil lifts what the refractometer reads.
    TrampOil,
    /// A cleaner or another alkali came in.
    Cleaner,
    /// The mix became leaner, and its pH with it.
    Dilution,
    /// The mix became richer, and its pH with it.
    Richer,
    /// Bacteria.
    Bacteria,
    /// Acid was carried in.
    Acid,
    /// The electrode does not read the mix.
    Electrode,
    /// Fluid is carried off by parts and chips.
    CarryOff,
    /// A leak.
    Leak,
    /// The pumps filled the lines.
    LinesFilled,
    /// The pumps stand, and the lines have run back.
    DrainedBack,
    /// More was added than there was room.
    Overfilled,
    /// Foam under the level probe.
    Foam,
    /// The level probe is not well.
    LevelProbe,
    /// Minerals of the make-up water piled up.
    Minerals,
    /// Salt came in with something else than the make-up water.
    SaltIn,
    /// It was topped up with another water than is set.
    OtherWater,
    /// The top-up water is softened, which keeps its salts.
    SoftenedWater,
    /// Purified water thins out the salts of the first fill.
    PureWater,
    /// The conductivity cell does not read the mix.
    ConductivityCell,
    /// Microbes turn nitrate into nitrite.
    NitrateTurned,
    /// The make-up water brings nitrate, of which nitrite comes.
    NitrateInWater,
    /// Nitrite came in with parts or another fluid.
    NitriteIn,
    /// The cooler does not cool.
    Cooler,
    /// Pumps and machines heat too little fluid.
    LittleFluid,
    /// It is warm where the sump stands.
    WarmSurroundings,
    /// It is cold where the sump stands.
    ColdSurroundings,
    /// Cold water came in.
    ColdWater,
    /// The cooler cools too much.
    CoolsTooMuch,
    /// The temperature probe does not read the mix.
    TemperatureProbe,
}

impl CauseKind {
    /// Every kind.
    pub const ALL: [CauseKind; 38] = [
        CauseKind::WaterIn,
        CauseKind::PlainWater,
        CauseKind::MixerWeak,
        CauseKind::MixerStrong,
        CauseKind::MixIn,
        CauseKind::TopUpOverdue,
        CauseKind::Evaporation,
        CauseKind::Prism,
        CauseKind::TrampOil,
        CauseKind::Cleaner,
        CauseKind::Dilution,
        CauseKind::Richer,
        CauseKind::Bacteria,
        CauseKind::Acid,
        CauseKind::Electrode,
        CauseKind::CarryOff,
        CauseKind::Leak,
        CauseKind::LinesFilled,
        CauseKind::DrainedBack,
        CauseKind::Overfilled,
        CauseKind::Foam,
        CauseKind::LevelProbe,
        CauseKind::Minerals,
        CauseKind::SaltIn,
        CauseKind::OtherWater,
        CauseKind::SoftenedWater,
        CauseKind::PureWater,
        CauseKind::ConductivityCell,
        CauseKind::NitrateTurned,
        CauseKind::NitrateInWater,
        CauseKind::NitriteIn,
        CauseKind::Cooler,
        CauseKind::LittleFluid,
        CauseKind::WarmSurroundings,
        CauseKind::ColdSurroundings,
        CauseKind::ColdWater,
        CauseKind::CoolsTooMuch,
        CauseKind::TemperatureProbe,
    ];
}

/// The causes of a condition, the likeliest first, three at most.
pub fn causes(condition: &Condition, pairs: &Pairs) -> Vec<LikelyCause> {
    let suspects = match condition {
        Condition::Limit(Quantity::Concentration | Quantity::Brix, level)
        | Condition::Ahead(Quantity::Concentration, level) => {
            concentration::suspects(pairs, level.is_low())
        }
        Condition::Limit(Quantity::Ph, level) | Condition::Ahead(Quantity::Ph, level) => {
            ph::suspects(pairs, level.is_low())
        }
        Condition::Souring(_) | Condition::PhDrop(_) => ph::suspects(pairs, true),
        Condition::Nitrite(_) => nitrite::suspects(pairs),
        Condition::Limit(Quantity::Volume | Quantity::Level, level)
        | Condition::Ahead(Quantity::Volume, level) => level::suspects(pairs, level.is_low()),
        Condition::TrampOil => factor::oil(pairs),
        Condition::Loss => level::suspects(pairs, true),
        Condition::Gain => level::suspects(pairs, false),
        Condition::Limit(Quantity::Conductivity, level)
        | Condition::Ahead(Quantity::Conductivity, level) => salts::suspects(pairs, level.is_low()),
        Condition::Excess(_) => salts::beyond_base_line(pairs),
        Condition::Mineral(mineral, _) => minerals::suspects(pairs, *mineral),
        Condition::Limit(Quantity::Temperature, level)
        | Condition::Ahead(Quantity::Temperature, level) => {
            temperature::suspects(pairs, level.is_low())
        }
        Condition::Ahead(signal, _) => Mineral::read_as(*signal)
            .map_or_else(Vec::new, |mineral| minerals::suspects(pairs, mineral)),
        Condition::Rate(signal, direction) => moving(*signal, *direction, pairs),
        Condition::Shifted(of) => {
            let down = pairs.shift.is_some_and(|shift| shift < 0.0);
            match of {
                Charted::Concentration => concentration::suspects(pairs, down),
                Charted::Ph => ph::suspects(pairs, down),
                Charted::RefractiveFactor => factor::suspects(pairs, down),
            }
        }
        _ => Vec::new(),
    };
    named(suspects)
}

/// What may make a signal go that way.
fn moving(signal: Quantity, direction: Direction, pairs: &Pairs) -> Vec<Suspect> {
    let down = direction == Direction::Falling;
    match signal {
        Quantity::Concentration => concentration::suspects(pairs, down),
        Quantity::Ph => ph::suspects(pairs, down),
        Quantity::Volume => level::suspects(pairs, down),
        Quantity::Conductivity => salts::suspects(pairs, down),
        Quantity::Temperature => temperature::suspects(pairs, down),
        _ => Vec::new(),
    }
}

fn named(mut suspects: Vec<Suspect>) -> Vec<LikelyCause> {
    suspects.retain(Suspect::is_likely);
    suspects.sort_by_key(|suspect| std::cmp::Reverse(suspect.points()));
    suspects
        .into_iter()
        .take(NAMED)
        .map(Suspect::into_likely)
        .collect()
}

#[cfg(test)]
mod tests;
