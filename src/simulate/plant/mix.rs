//! What is in a sump, as amounts that are kept: water, concentrate, salts.

/// Salts in the plant's make-up water, g/L (memory: tap water of 250 mg/L).
pub(super) const SALTS_OF_WATER: f64 = 0.25;

/// An amount of mix.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Mix {
    /// Water, L.
    pub water_l: f64,
    /// Concentrate, L.
    pub concentrate_l: f64,
    /// Salts that came with the water, g.
    pub salts_g: f64,
    /// The age of each litre of concentrate in hours, added up, L·h.
    pub concentrate_age_lh: f64,
}

impl Mix {
    /// Fresh mix from the plant's water. Volumes add up: mixing contraction is
    /// below 0.1 % (common practice, no source).
    pub(in crate::simulate) fn fresh(litres: f64, strength_pct: f64) -> Mix {
        let concentrate_l = litres * strength_pct / 100.0;
        let water_l = litres - concentrate_l;
        Mix {
            water_l,
            concentrate_l,
            salts_g: water_l * SALTS_OF_WATER,
            concentrate_age_lh: 0.0,
        }
    }

    /// Volume, L.
    pub fn volume_l(&self) -> f64 {
        self.water_l + self.concentrate_l
    }

    /// Concentration, % by volume; 0 when there is nothing.
    pub fn concentration_pct(&self) -> f64 {
        match self.volume_l() {
            volume if volume > 0.0 => 100.0 * self.concentrate_l / volume,
            _ => 0.0,
        }
    }

    /// Salts, g/L; 0 when there is nothing.
    pub fn salts_g_per_l(&self) -> f64 {
        match self.volume_l() {
            volume if volume > 0.0 => self.salts_g / volume,
            _ => 0.0,
        }
    }

    /// Mean age of the concentrate, h; 0 when there is none.
    pub fn mean_age_h(&self) -> f64 {
        match self.concentrate_l {
            litres if litres > 0.0 => self.concentrate_age_lh / litres,
            _ => 0.0,
        }
    }

    pub(in crate::simulate) fn add(&mut self, more: Mix) {
        self.water_l += more.water_l;
        self.concentrate_l += more.concentrate_l;
        self.salts_g += more.salts_g;
        self.concentrate_age_lh += more.concentrate_age_lh;
    }

    /// Takes out so many litres of mix, or all there is.
    pub(in crate::simulate) fn take(&mut self, litres: f64) -> Mix {
        let volume = self.volume_l();
        if volume <= 0.0 {
            return Mix::default();
        }
        let share = (litres / volume).clamp(0.0, 1.0);
        let taken = Mix {
            water_l: self.water_l * share,
            concentrate_l: self.concentrate_l * share,
            salts_g: self.salts_g * share,
            concentrate_age_lh: self.concentrate_age_lh * share,
        };
        self.water_l -= taken.water_l;
        self.concentrate_l -= taken.concentrate_l;
        self.salts_g -= taken.salts_g;
        self.concentrate_age_lh -= taken.concentrate_age_lh;
        taken
    }

    /// Lets so many litres of water go as vapour, or all there is; tells how
    /// many went.
    pub(in crate::simulate) fn evaporate(&mut self, litres: f64) -> f64 {
        let gone = litres.clamp(0.0, self.water_l);
        self.water_l -= gone;
        gone
    }

    pub(super) fn grow_older(&mut self, hours: f64) {
        self.concentrate_age_lh += self.concentrate_l * hours;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn nothing_is_made_and_nothing_lost(
            start in 10.0..1000.0_f64, strength in 0.0..20.0_f64,
            added in 0.0..500.0_f64, added_strength in 0.0..20.0_f64,
            taken in 0.0..2000.0_f64, evaporated in 0.0..300.0_f64,
        ) {
            let mut mix = Mix::fresh(start, strength);
            let before = mix;
            let addition = Mix::fresh(added, added_strength);
            mix.add(addition);
            let out = mix.take(taken);
            let vapour = mix.evaporate(evaporated);
            let water = before.water_l + addition.water_l - out.water_l - vapour;
            prop_assert!((mix.water_l - water).abs() < 1e-9);
            let concentrate = before.concentrate_l + addition.concentrate_l - out.concentrate_l;
            prop_assert!((mix.concentrate_l - concentrate).abs() < 1e-9);
            let salts = before.salts_g + addition.salts_g - out.salts_g;
            prop_assert!((mix.salts_g - salts).abs() < 1e-9);
            prop_assert!(mix.water_l >= 0.0 && mix.concentrate_l >= 0.0);
        }

        #[test]
        fn taking_mix_keeps_its_strength(strength in 0.1..20.0_f64, taken in 0.0..99.0_f64) {
            let mut mix = Mix::fresh(100.0, strength);
            mix.take(taken);
            prop_assert!((mix.concentration_pct() - strength).abs() < 1e-9);
        }
    }
}
