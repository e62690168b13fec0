//! What the cell of a conductivity instrument adds: its constant, and how far
//! the instrument is off.

use std::ops::RangeInclusive;

use crate::chemistry::Judgement;
use crate::units::{CellConstant, Conductance, ConductivityAsIs};

/// Constants that cells are built with, in 1/cm. Choice: those sold have 0.01 to
/// 10.
const CONSTANTS: RangeInclusive<f64> = 0.001..=100.0;

/// A cell that gives conductance: κ = K·G.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell(CellConstant);

/// A constant that no cell has.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "a cell constant of {found} is no cell's, 0.001 to 100 1/cm can be; check the units of the \
     reading and of the standard"
)]
pub struct CellError {
    /// What was given or worked out.
    pub found: CellConstant,
}

impl Cell {
    /// From its constant.
    ///
    /// # Errors
    /// When that is not 0.001 to 100 1/cm.
    pub fn new(constant: CellConstant) -> Result<Self, CellError> {
        if CONSTANTS.contains(&constant.per_cm()) {
            Ok(Cell(constant))
        } else {
            Err(CellError { found: constant })
        }
    }

    /// From the conductance that it gave in a standard which conducts
    /// `standard` at its temperature: K = κ/G.
    ///
    /// # Errors
    /// When the constant is not 0.001 to 100 1/cm; nothing read is no cell.
    pub fn from_standard(
        conductance: Conductance,
        standard: ConductivityAsIs,
    ) -> Result<Self, CellError> {
        let ratio = standard.microsiemens_per_cm() / conductance.microsiemens();
        // A conductance of nought gives no finite number, which no type holds.
        let finite = if ratio.is_finite() { ratio } else { 0.0 };
        Cell::new(CellConstant::from_per_cm(finite))
    }

    /// Its constant.
    pub const fn constant(self) -> CellConstant {
        self.0
    }

    /// What a fluid conducts between whose electrodes there is this conductance.
    pub fn conductivity(self, conductance: Conductance) -> ConductivityAsIs {
        ConductivityAsIs::from_microsiemens_per_cm(self.0.per_cm() * conductance.microsiemens())
    }

    /// The conductance between the electrodes in a fluid that conducts so much.
    pub fn conductance(self, conductivity: ConductivityAsIs) -> Conductance {
        Conductance::from_microsiemens(conductivity.microsiemens_per_cm() / self.0.per_cm())
    }
}

/// Factors by which an instrument can be off. Choice: beyond them the standard
/// was not the one that it is said to be, or the cell is broken.
const FACTORS: RangeInclusive<f64> = 0.5..=2.0;

/// What an instrument's conductivity is multiplied with to be right: what a
/// standard conducts over what the instrument showed in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeFactor(f64);

/// A factor that no working instrument needs.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the instrument shows {shown:.1} µS/cm where the standard has {standard:.1}; that is more \
     than a factor of 2: check the standard, the units and the cell"
)]
pub struct ProbeFactorError {
    /// What the instrument showed, µS/cm.
    pub shown: f64,
    /// What the standard has, µS/cm.
    pub standard: f64,
}

impl ProbeFactor {
    /// Of an instrument that is right as it is.
    pub const NONE: ProbeFactor = ProbeFactor(1.0);

    /// From what an instrument showed in a standard and what that has, both in
    /// µS/cm and both either as they are or at 25 °C.
    ///
    /// # Errors
    /// When the two differ by more than a factor of 2.
    pub fn from_standard(shown: f64, standard: f64) -> Result<Self, ProbeFactorError> {
        let factor = standard / shown;
        if FACTORS.contains(&factor) {
            Ok(ProbeFactor(factor))
        } else {
            Err(ProbeFactorError { shown, standard })
        }
    }

    /// The factor.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// What is not good about it; nothing when all is.
    pub fn judge(self, bands: &ProbeBands) -> Option<ProbeRemark> {
        let off = self.0.recip() - 1.0;
        if off.abs() > bands.replace {
            Some(ProbeRemark::FarOff { off })
        } else if off.abs() > bands.good {
            Some(ProbeRemark::Off { off })
        } else {
            None
        }
    }
}

/// How far an instrument may be off, as shares of the standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeBands {
    /// Up to here it is good.
    pub good: f64,
    /// Beyond here the cell is to be replaced.
    pub replace: f64,
}

/// Accepted are ±2 to 5 % (common practice, no source).
impl Default for ProbeBands {
    fn default() -> Self {
        ProbeBands {
            good: 0.02,
            replace: 0.05,
        }
    }
}

/// What is not good about an instrument, and what to do.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ProbeRemark {
    /// It is off by more than is good.
    #[error(
        "the instrument was {:+.1} % off in the standard: clean the cell and check it again \
         in fresh standard",
        off * 100.0
    )]
    Off {
        /// How far, as a share of the standard.
        off: f64,
    },
    /// It is off by more than is borne.
    #[error(
        "the instrument was {:+.1} % off in the standard: if cleaning does not help, replace \
         the cell",
        off * 100.0
    )]
    FarOff {
        /// How far, as a share of the standard.
        off: f64,
    },
}

impl ProbeRemark {
    /// How bad it is.
    pub const fn judgement(&self) -> Judgement {
        match self {
            ProbeRemark::Off { .. } => Judgement::Watch,
            ProbeRemark::FarOff { .. } => Judgement::Replace,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::ConductivityStandard;
    use crate::units::Temperature;

    fn kappa(value: f64) -> ConductivityAsIs {
        ConductivityAsIs::from_microsiemens_per_cm(value)
    }

    #[test]
    fn a_standard_gives_the_constant() {
        let standard = ConductivityStandard::Sold1413.at(Temperature::from_celsius(20.0));
        // By hand: 1278 µS/cm over 2556 µS.
        let read = Conductance::from_microsiemens(2556.0);
        let cell = Cell::from_standard(read, standard.unwrap()).unwrap();
        assert_eq!(cell.constant().per_cm(), 0.5);
        let mix = Conductance::from_microsiemens(6000.0);
        assert_eq!(cell.conductivity(mix), kappa(3000.0));
    }

    #[test]
    fn tells_what_is_no_cell_and_no_probe() {
        for conductance in [0.0, -5.0, 1e9] {
            let read = Conductance::from_microsiemens(conductance);
            let told = Cell::from_standard(read, kappa(1413.0)).unwrap_err();
            assert!(told.to_string().contains("0.001 to 100 1/cm"), "{told}");
        }
        for shown in [1.413, 0.0, -1413.0, f64::NAN] {
            let told = ProbeFactor::from_standard(shown, 1413.0).unwrap_err();
            assert!(
                told.to_string().contains("where the standard has 1413.0"),
                "{told}"
            );
        }
    }

    #[test]
    fn each_band_has_its_word() {
        let judged = |shown| {
            let factor = ProbeFactor::from_standard(shown, 1000.0).unwrap();
            factor.judge(&ProbeBands::default())
        };
        assert_eq!(judged(1019.0), None);
        let watch = judged(979.0).unwrap();
        assert_eq!(watch.judgement(), Judgement::Watch);
        assert!(watch.to_string().contains("-2.1 % off"), "{watch}");
        let worn = judged(1051.0).unwrap();
        assert_eq!(worn.judgement(), Judgement::Replace);
        assert!(worn.to_string().contains("+5.1 % off"), "{worn}");
    }

    proptest! {
        #[test]
        fn conductance_is_the_inverse(constant in 0.001f64..100.0, value in 0.0f64..1e6) {
            let cell = Cell::new(CellConstant::from_per_cm(constant)).unwrap();
            let back = cell.conductivity(cell.conductance(kappa(value)));
            prop_assert!((back.microsiemens_per_cm() - value).abs() <= 1e-9 * (1.0 + value));
        }

        #[test]
        fn its_own_reading_of_a_standard_gives_the_cell(constant in 0.001f64..100.0, value in 1.0f64..1e6) {
            let cell = Cell::new(CellConstant::from_per_cm(constant)).unwrap();
            let found = Cell::from_standard(cell.conductance(kappa(value)), kappa(value));
            let found = found.map_or(f64::NAN, |cell| cell.constant().per_cm());
            // At the ends of the range rounding may throw it out.
            prop_assume!(found.is_finite());
            prop_assert!((found / constant - 1.0).abs() < 1e-9);
        }
    }
}
