//! A cause that is weighed.

use serde::Serialize;

use super::CauseKind;

/// A fact with many other causes, with few, and with hardly any.
pub(super) const WEAK: i32 = 1;
pub(super) const MODERATE: i32 = 2;
pub(super) const STRONG: i32 = 3;

/// A likely cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LikelyCause {
    /// What it is.
    pub cause: CauseKind,
    /// What speaks for it, the weightiest first.
    pub signs: Vec<SignSeen>,
}

/// A sign with its value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SignSeen {
    /// The sign.
    pub sign: Sign,
    /// Its value, where it is a number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Unit of the value; empty for a plain number.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub unit: &'static str,
}

/// What speaks for a cause. Its words stand under `sign.<key>` in the phrases of
/// each language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sign {
    /// Water ran in by the balance, L a day of it or L/h.
    WaterByBalance,
    /// Mix or concentrate ran in by the balance.
    MixByBalance,
    /// The level rises.
    LevelRises,
    /// The level falls.
    LevelFalls,
    /// The concentration rises.
    ConcentrationRises,
    /// The concentration falls.
    ConcentrationFalls,
    /// The concentration stays.
    ConcentrationSteady,
    /// Somebody wrote down plain water.
    WaterWrittenDown,
    /// Somebody wrote down an addition just now.
    JustAdded,
    /// Nothing was added for so many hours.
    NothingAdded,
    /// The mixer's outlet reads weaker than it is set to.
    MixerReadsWeak,
    /// The mixer's outlet reads stronger than it is set to.
    MixerReadsStrong,
    /// The hand reading is higher than the instrument.
    HandReadsHigher,
    /// The hand reading is lower than the instrument.
    HandReadsLower,
    /// The instrument asks for somebody.
    InstrumentAsks,
    /// The balance forbids what the instrument shows.
    BalanceForbids,
    /// Conductivity did not fall with it.
    ConductivityStays,
    /// Conductivity did not rise with it.
    ConductivityLags,
    /// Conductivity is high for the concentration.
    ConductivityHigh,
    /// Titration reads less.
    TitrationLess,
    /// Titration reads more than it did.
    TitrationMore,
    /// Tramp oil was measured or seen.
    OilFound,
    /// pH rose suddenly.
    PhJumped,
    /// There is little oxygen in it.
    OxygenLow,
    /// A dip slide found germs.
    GermsFound,
    /// It smells.
    Smells,
    /// It stood still for long.
    StoodStill,
    /// It is warm.
    Warm,
    /// Mix goes by the balance.
    MixLost,
    /// Water goes by the balance, and the concentrate stays.
    WaterLost,
    /// The pumps started just now.
    PumpsStarted,
    /// The pumps stand.
    PumpsStand,
    /// Foam was seen.
    FoamSeen,
    /// Minerals are above what is to be watched.
    MineralsHigh,
    /// The other mineral is above what is to be watched too.
    OtherMineralHigh,
    /// Chloride is above what is to be watched, and hardness is not.
    HardnessNotHigh,
    /// The top-up water has much of it, by the settings.
    WaterBrings,
    /// The top-up water has little of it, by the settings.
    WaterShouldBePure,
    /// The top-up water has little hardness and much chloride, by the settings.
    SoftWaterSalty,
    /// By this water and the losses of late it ends above what is to be watched.
    EndsHigh,
    /// The reading was higher than the waters and losses explain.
    ReadOver,
    /// The charge is old.
    OldCharge,
    /// pH is higher than in the fresh charge, beyond what the concentration makes.
    PhOver,
    /// pH is lower than in the fresh charge, beyond what the concentration makes.
    PhFell,
    /// Conductivity is low for the concentration.
    ConductivityLow,
    /// A dip slide found few germs.
    GermsFew,
    /// The make-up water has much nitrate, by the settings.
    NitrateInWater,
    /// The make-up water has little nitrate, by the settings.
    LittleNitrate,
    /// The temperature rises.
    TemperatureRises,
    /// The temperature falls.
    TemperatureFalls,
    /// The temperature stays.
    TemperatureSteady,
    /// The sump holds less than it should.
    LevelLow,
    /// The pumps run.
    PumpsRun,
}

impl Sign {
    /// Every sign.
    pub const ALL: [Sign; 53] = [
        Sign::WaterByBalance,
        Sign::MixByBalance,
        Sign::LevelRises,
        Sign::LevelFalls,
        Sign::ConcentrationRises,
        Sign::ConcentrationFalls,
        Sign::ConcentrationSteady,
        Sign::WaterWrittenDown,
        Sign::JustAdded,
        Sign::NothingAdded,
        Sign::MixerReadsWeak,
        Sign::MixerReadsStrong,
        Sign::HandReadsHigher,
        Sign::HandReadsLower,
        Sign::InstrumentAsks,
        Sign::BalanceForbids,
        Sign::ConductivityStays,
        Sign::ConductivityLags,
        Sign::ConductivityHigh,
        Sign::TitrationLess,
        Sign::TitrationMore,
        Sign::OilFound,
        Sign::PhJumped,
        Sign::OxygenLow,
        Sign::GermsFound,
        Sign::Smells,
        Sign::StoodStill,
        Sign::Warm,
        Sign::MixLost,
        Sign::WaterLost,
        Sign::PumpsStarted,
        Sign::PumpsStand,
        Sign::FoamSeen,
        Sign::MineralsHigh,
        Sign::OtherMineralHigh,
        Sign::HardnessNotHigh,
        Sign::WaterBrings,
        Sign::WaterShouldBePure,
        Sign::SoftWaterSalty,
        Sign::EndsHigh,
        Sign::ReadOver,
        Sign::OldCharge,
        Sign::PhOver,
        Sign::PhFell,
        Sign::ConductivityLow,
        Sign::GermsFew,
        Sign::NitrateInWater,
        Sign::LittleNitrate,
        Sign::TemperatureRises,
        Sign::TemperatureFalls,
        Sign::TemperatureSteady,
        Sign::LevelLow,
        Sign::PumpsRun,
    ];
}

/// A cause with what was found for and against it.
#[derive(Debug)]
pub(super) struct Suspect {
    cause: CauseKind,
    signs: Vec<(i32, SignSeen)>,
    against: i32,
}

impl Suspect {
    pub(super) const fn of(cause: CauseKind) -> Self {
        Suspect {
            cause,
            signs: Vec::new(),
            against: 0,
        }
    }

    /// The sign speaks for it, where it was seen.
    pub(super) fn with(self, weight: i32, seen: bool, sign: Sign) -> Self {
        self.valued(weight, seen.then_some(f64::NAN), "", sign)
    }

    /// The sign speaks for it by this value, where there is one.
    pub(super) fn valued(
        mut self,
        weight: i32,
        value: Option<f64>,
        unit: &'static str,
        sign: Sign,
    ) -> Self {
        if let Some(value) = value {
            let value = Some(value).filter(|value| value.is_finite());
            self.signs.push((weight, SignSeen { sign, value, unit }));
        }
        self
    }

    /// This speaks against it, where it is so.
    pub(super) fn unless(mut self, weight: i32, is_so: bool) -> Self {
        self.against += if is_so { weight } else { 0 };
        self
    }

    pub(super) const fn cause(&self) -> CauseKind {
        self.cause
    }

    pub(super) fn points(&self) -> i32 {
        self.signs.iter().map(|(weight, _)| weight).sum::<i32>() - self.against
    }

    /// Whether more speaks for it than against it.
    pub(super) fn is_likely(&self) -> bool {
        self.points() > 0
    }

    pub(super) fn into_likely(mut self) -> LikelyCause {
        self.signs
            .sort_by_key(|(weight, _)| std::cmp::Reverse(*weight));
        LikelyCause {
            cause: self.cause,
            signs: self.signs.into_iter().map(|(_, sign)| sign).collect(),
        }
    }
}
