//! Hardness or chloride of the mix too high.
//!
//! Minerals of the make-up water pile up together, and harm of one alone has come
//! in another way. Softened water keeps its salts. Hardness is lost to soaps of the
//! concentrate, so that it counts for less. All of it memory, no source.

use crate::model::Mineral;

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Water brings much of a mineral from this share of its watch limit on. Choice:
/// losses are made of evaporation to three quarters (memory: a half to nine
/// tenths), which piles up what the water brings to the fourfold.
const BRINGS: f64 = 0.25;
/// Water is soft below this hardness, mg/L of calcium carbonate. Choice: a third
/// of what is good against foam.
const SOFT_MG_L: f64 = 30.0;
/// Conductivity that is off its base line by less says nothing. Choice: as much as
/// a tenth of charts and base lines, and what some chloride makes.
const TELLING: f64 = 0.12;
/// A charge is old after so many days. Choice: those of small sumps last two to six
/// months (memory).
const OLD_D: f64 = 60.0;

/// What is known of one mineral in a sump, mg/L.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MineralSeen {
    /// Its content.
    pub content: Option<f64>,
    /// Above this it is to be watched.
    pub watch: f64,
    /// Content of the top-up water by the settings.
    pub water: Option<f64>,
    /// Where it ends by this water and the losses of late.
    pub ends_at: Option<f64>,
    /// By how much the last reading was higher than expected, where that was too
    /// much for chance and not long ago.
    pub read_over: Option<f64>,
}

impl MineralSeen {
    /// It is to be watched.
    pub(super) fn is_high(&self) -> bool {
        self.content.is_some_and(|content| content > self.watch)
    }

    /// It is known not to be.
    pub(super) fn is_not_high(&self) -> bool {
        self.content.is_some_and(|content| content <= self.watch)
    }

    /// The water brings much of it.
    pub(super) fn water_brings(&self) -> Option<f64> {
        self.water.filter(|water| *water > BRINGS * self.watch)
    }

    /// The water is known to bring little.
    pub(super) fn water_is_pure(&self) -> bool {
        self.water.is_some_and(|water| water <= BRINGS * self.watch)
    }

    /// Where it ends, if that is too high.
    pub(super) fn ends_high(&self) -> Option<f64> {
        self.ends_at.filter(|ends_at| *ends_at > self.watch)
    }
}

pub(super) fn suspects(pairs: &Pairs, mineral: Mineral) -> Vec<Suspect> {
    let (own, other) = match mineral {
        Mineral::Hardness => (&pairs.hardness, &pairs.chloride),
        Mineral::Chloride => (&pairs.chloride, &pairs.hardness),
    };
    let alone = mineral == Mineral::Chloride && other.is_not_high();
    let unit = mineral.quantity().unit();
    let is_pure = own.water_is_pure();
    let mut suspects = vec![
        Suspect::of(CauseKind::Minerals)
            .valued(STRONG, own.ends_high(), unit, Sign::EndsHigh)
            .valued(MODERATE, own.water_brings(), unit, Sign::WaterBrings)
            .with(MODERATE, other.is_high(), Sign::OtherMineralHigh)
            .valued(WEAK, old(pairs), "d", Sign::OldCharge)
            .unless(MODERATE, alone || is_pure)
            .unless(MODERATE, own.read_over.is_some()),
        Suspect::of(CauseKind::OtherWater)
            .valued(MODERATE, own.read_over, unit, Sign::ReadOver)
            .with(
                MODERATE,
                own.read_over.is_some() && other.is_high(),
                Sign::OtherMineralHigh,
            )
            .with(
                WEAK,
                own.read_over.is_some() && is_pure,
                Sign::WaterShouldBePure,
            )
            .unless(MODERATE, alone),
        Suspect::of(CauseKind::Evaporation)
            .valued(MODERATE, pairs.water_lost, "L/h", Sign::WaterLost)
            .with(
                MODERATE,
                pairs.concentration == Course::Rising,
                Sign::ConcentrationRises,
            )
            .with(WEAK, pairs.volume == Course::Falling, Sign::LevelFalls),
    ];
    if mineral == Mineral::Chloride {
        suspects.push(softened(pairs));
        suspects.push(
            salt_in(pairs)
                .valued(MODERATE, own.read_over, unit, Sign::ReadOver)
                .unless(MODERATE, own.ends_high().is_some()),
        );
    }
    suspects
}

/// The top-up water is soft and has chloride.
pub(super) fn softened(pairs: &Pairs) -> Suspect {
    let soft = pairs.hardness.water.filter(|water| *water < SOFT_MG_L);
    let salty = pairs.chloride.water_brings();
    Suspect::of(CauseKind::SoftenedWater)
        .valued(
            STRONG,
            salty.filter(|_| soft.is_some()),
            "mg/L",
            Sign::SoftWaterSalty,
        )
        .with(
            WEAK,
            soft.and(salty).is_some() && pairs.chloride_alone(),
            Sign::HardnessNotHigh,
        )
}

/// Salt that the make-up water did not bring.
pub(super) fn salt_in(pairs: &Pairs) -> Suspect {
    let alone = pairs.chloride_alone();
    Suspect::of(CauseKind::SaltIn)
        .with(MODERATE, alone, Sign::HardnessNotHigh)
        .valued(
            WEAK,
            pairs.conducts_more(TELLING).filter(|_| alone),
            "",
            Sign::ConductivityHigh,
        )
        .unless(MODERATE, pairs.hardness.is_high())
}

/// Days since the charge was filled, where they are many.
pub(super) fn old(pairs: &Pairs) -> Option<f64> {
    pairs.charge_age_d.filter(|days| *days > OLD_D)
}
