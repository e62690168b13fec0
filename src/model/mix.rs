//! A body of fluid, and what several make together.

use crate::units::{Concentration, Volume};

/// So much fluid of such a strength; water is 0 %, concentrate 100 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mix {
    /// How much there is.
    pub volume: Volume,
    /// The share of concentrate in it, by volume.
    pub concentration: Concentration,
}

impl Mix {
    /// So much fluid of such a strength.
    pub const fn new(volume: Volume, concentration: Concentration) -> Self {
        Mix {
            volume,
            concentration,
        }
    }

    /// So much neat concentrate.
    pub const fn concentrate(volume: Volume) -> Self {
        Mix::new(volume, Concentration::from_percent(100.0))
    }

    /// So much water.
    pub const fn water(volume: Volume) -> Self {
        Mix::new(volume, Concentration::from_percent(0.0))
    }

    /// The concentrate in it.
    pub fn concentrate_part(&self) -> Volume {
        Volume::from_litres(self.concentration.fraction() * self.volume.litres())
    }

    /// The water in it.
    pub fn water_part(&self) -> Volume {
        Volume::from_litres((1.0 - self.concentration.fraction()) * self.volume.litres())
    }

    /// What `parts` make when they have mixed: ΣV at ΣcV/ΣV. Volumes are taken
    /// to add up (mixing contraction is below 0.1 %; memory). Nothing at all has
    /// concentration 0.
    pub fn of(parts: &[Mix]) -> Mix {
        let total: f64 = parts.iter().map(|part| part.volume.litres()).sum();
        let concentrate: f64 = parts
            .iter()
            .map(|part| part.concentrate_part().litres())
            .sum();
        let share = if total > 0.0 {
            concentrate / total
        } else {
            0.0
        };
        Mix::new(
            Volume::from_litres(total),
            Concentration::from_fraction(share),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_up() {
        let l = Volume::from_litres;
        let sump = Mix::new(l(820.0), Concentration::from_percent(4.2));
        let made = Mix::of(&[sump, Mix::concentrate(l(9.0)), Mix::water(l(171.0))]);
        assert_eq!(made.volume, l(1000.0));
        assert!((made.concentration.percent() - 4.344).abs() < 1e-12);
        assert!((made.concentrate_part().litres() - 43.44).abs() < 1e-9);
        assert!((made.water_part().litres() - 956.56).abs() < 1e-9);
        assert_eq!(Mix::of(&[]), Mix::water(l(0.0)));
    }
}
