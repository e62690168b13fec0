//! What is in a sump, as amounts that are kept.

/// Water as it comes out of a tap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tap {
    /// Hardness, mg/L of calcium carbonate.
    pub hardness: f64,
    /// Chloride, mg/L.
    pub chloride: f64,
}

/// The plant's soft water, which everything is made up with.
pub const SOFT: Tap = Tap {
    hardness: 50.0,
    chloride: 12.0,
};

/// The hard water of the well beside it.
pub const HARD: Tap = Tap {
    hardness: 340.0,
    chloride: 95.0,
};

/// An amount of mix.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Contents {
    /// Water, L.
    pub water_l: f64,
    /// Concentrate, L.
    pub concentrate_l: f64,
    /// Hardness as calcium carbonate, g.
    pub hardness_g: f64,
    /// Chloride, g.
    pub chloride_g: f64,
}

impl Contents {
    /// Fresh mix; volumes add up.
    pub(super) fn fresh(litres: f64, strength_pct: f64, tap: Tap) -> Contents {
        let concentrate_l = litres * strength_pct / 100.0;
        let water_l = litres - concentrate_l;
        Contents {
            water_l,
            concentrate_l,
            hardness_g: water_l * tap.hardness / 1000.0,
            chloride_g: water_l * tap.chloride / 1000.0,
        }
    }

    /// Volume, L.
    pub fn volume_l(&self) -> f64 {
        self.water_l + self.concentrate_l
    }

    /// Concentration, % by volume; 0 when there is nothing.
    pub fn concentration_pct(&self) -> f64 {
        per(100.0 * self.concentrate_l, self.volume_l())
    }

    /// Hardness, mg/L of calcium carbonate.
    pub fn hardness_mg_l(&self) -> f64 {
        per(1000.0 * self.hardness_g, self.volume_l())
    }

    /// Chloride, mg/L.
    pub fn chloride_mg_l(&self) -> f64 {
        per(1000.0 * self.chloride_g, self.volume_l())
    }

    pub(super) fn add(&mut self, more: Contents) {
        self.water_l += more.water_l;
        self.concentrate_l += more.concentrate_l;
        self.hardness_g += more.hardness_g;
        self.chloride_g += more.chloride_g;
    }

    /// Takes out so many litres of mix, or all there is; tells how much.
    pub(super) fn take(&mut self, litres: f64) -> f64 {
        let volume = self.volume_l();
        let share = per(litres, volume).clamp(0.0, 1.0);
        for part in [
            &mut self.water_l,
            &mut self.concentrate_l,
            &mut self.hardness_g,
            &mut self.chloride_g,
        ] {
            *part *= 1.0 - share;
        }
        share * volume
    }

    /// Lets so many litres of water go as vapour, or all there is.
    pub(super) fn evaporate(&mut self, litres: f64) {
        self.water_l -= litres.clamp(0.0, self.water_l);
    }
}

fn per(amount: f64, whole: f64) -> f64 {
    match whole {
        whole if whole > 0.0 => amount / whole,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn nothing_is_made_and_nothing_lost(
            start in 10.0..1000.0_f64, strength in 0.0..20.0_f64, more in 0.0..500.0_f64,
            taken in 0.0..2000.0_f64, evaporated in 0.0..300.0_f64,
        ) {
            let mut mix = Contents::fresh(start, strength, SOFT);
            mix.add(Contents::fresh(more, 3.0, HARD));
            let before = mix;
            let taken = mix.take(taken);
            prop_assert!((before.volume_l() - taken - mix.volume_l()).abs() < 1e-6);
            if mix.volume_l() > 1.0 {
                prop_assert!((mix.concentration_pct() - before.concentration_pct()).abs() < 1e-6);
                prop_assert!((mix.hardness_mg_l() - before.hardness_mg_l()).abs() < 1e-4);
            }
            let hardness = mix.hardness_g;
            mix.evaporate(evaporated);
            prop_assert!(mix.water_l >= 0.0 && mix.hardness_g == hardness);
        }
    }
}
