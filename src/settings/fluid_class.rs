//! The classes of water-mixed fluids, and what is usual of each where the trade
//! tells them apart. Where it does not, one default stands for all.

use std::fmt;

/// A class by its share of mineral oil in the concentrate: soluble (emulsifiable)
/// oil up to about 80 %, semi-synthetic 5 to 30 %, synthetic none (published:
/// NIOSH, abstract of a method for ASTM P-42-97, NIOSHTIC 20024039).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FluidClass {
    /// An emulsion, milky.
    SolubleOil,
    /// An emulsion of very small drops, milky to translucent.
    SemiSynthetic,
    /// A solution, clear.
    Synthetic,
}

/// What is usual of a class. All from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Usual {
    /// Refractive factor, % by volume for each °Bx, lowest and highest.
    pub(super) factor: (f64, f64),
    /// Strength in use from grinding to heavy cutting, %, lowest and highest.
    pub(super) strength: (f64, f64),
    /// Below this it rusts and grows, %, where the trade names a bound.
    pub(super) leanest: Option<f64>,
    /// Conductivity from which on a mix is to be thinned or changed, µS/cm,
    /// where the usual of the class lies below.
    pub(super) conductivity_high: Option<f64>,
}

impl FluidClass {
    /// Every class by its word.
    pub(super) const WORDS: [(&'static str, FluidClass); 3] = [
        ("soluble oil", FluidClass::SolubleOil),
        ("semi-synthetic", FluidClass::SemiSynthetic),
        ("synthetic", FluidClass::Synthetic),
    ];

    /// What is usual of it. Conductivity: 1 to 4 mS/cm for emulsions and 5 to 6
    /// for solutions are usual, above 5 mS/cm is the guide value to act.
    pub(super) const fn usual(self) -> Usual {
        match self {
            FluidClass::SolubleOil => Usual {
                factor: (0.9, 1.2),
                strength: (3.0, 20.0),
                leanest: Some(3.0),
                conductivity_high: Some(5000.0),
            },
            FluidClass::SemiSynthetic => Usual {
                factor: (1.1, 1.8),
                strength: (3.0, 10.0),
                leanest: None,
                conductivity_high: Some(5000.0),
            },
            FluidClass::Synthetic => Usual {
                factor: (1.5, 3.5),
                strength: (2.0, 8.0),
                leanest: Some(2.0),
                conductivity_high: None,
            },
        }
    }
}

impl fmt::Display for FluidClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = Self::WORDS.iter().find(|(_, class)| class == self);
        f.write_str(word.map_or("", |(word, _)| word))
    }
}
