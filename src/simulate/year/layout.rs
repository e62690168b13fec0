//! The forty sumps of the plant.

use crate::simulate::random::Random;

use super::calendar::Shifts;

/// Sumps of the plant.
pub const SUMPS: usize = 40;

/// A product in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Product {
    /// Name of its data sheet.
    pub name: &'static str,
    /// Concentration for one degree of refractometer reading, % per °Bx.
    pub factor: f64,
    /// pH of a fresh mix at its target.
    pub fresh_ph: f64,
    /// What one per cent of concentrate adds to the conductivity, µS/cm.
    pub conductivity_per_pct: f64,
    /// Concentration to be kept, %.
    pub target_pct: f64,
}

/// The products. Factors lie within the usual ranges of the classes (common
/// practice, no source).
pub static PRODUCTS: [Product; 3] = [
    Product {
        name: "soluble",
        factor: 1.0,
        fresh_ph: 9.2,
        conductivity_per_pct: 150.0,
        target_pct: 8.0,
    },
    Product {
        name: "semi",
        factor: 1.4,
        fresh_ph: 9.3,
        conductivity_per_pct: 210.0,
        target_pct: 7.0,
    },
    Product {
        name: "synthetic",
        factor: 2.0,
        fresh_ph: 9.1,
        conductivity_per_pct: 400.0,
        target_pct: 5.0,
    },
];

/// One sump, as it is built and as it works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SumpSpec {
    /// The plant, by its seed.
    pub plant: u64,
    /// Place in the plant, from 0.
    pub place: usize,
    /// Its product.
    pub product: Product,
    /// Inside length, width and height of the tank, m.
    pub tank_m: (f64, f64, f64),
    /// Fluid in pipes and machines while the pumps run, L.
    pub lines_l: f64,
    /// What of it runs back when they stop, L.
    pub drain_back_l: f64,
    /// Volume to be kept, lines included, L.
    pub working_l: f64,
    /// What is above runs over the edge, lines included, L.
    pub max_l: f64,
    /// Flow of the circulation pumps, L/min.
    pub circulation_l_per_min: f64,
    /// Refractometer reading of the make-up water alone, °Bx.
    pub water_zero_brix: f64,
    /// When its machines cut.
    pub shifts: Shifts,
    /// Whether the pumps stop while nothing is cut.
    pub pumps_stop: bool,
    /// Water lost as vapour on an average working day, as a share of the
    /// working volume.
    pub evaporation_a_day: f64,
    /// Mix lost with parts and chips on an average working day, likewise.
    pub carry_off_a_day: f64,
    /// Whether the refractometer and the level probe are on 4–20 mA loops.
    pub loops: (bool, bool),
    /// What the mixer is set to, %: what holds the target, rounded to half a
    /// per cent as its scale is.
    pub mixer_pct: f64,
}

impl SumpSpec {
    /// Its name in topics and settings; no other plant has it.
    pub fn name(&self) -> String {
        format!("m-{:02}-{}", self.place + 1, self.plant)
    }

    /// Its free surface, m².
    pub fn surface_m2(&self) -> f64 {
        self.tank_m.0 * self.tank_m.1
    }

    /// The level at which so many litres stand in the tank, m.
    pub fn level_m(&self, litres_in_tank: f64) -> f64 {
        let level = litres_in_tank / 1000.0 / self.surface_m2();
        level.clamp(0.0, self.tank_m.2)
    }
}

/// The plant's sumps: single machines of 250 to 800 L for the most part, some
/// lines of 1500 to 4000 L. Losses are 3 to 5 % of the volume a working day of
/// two shifts, a quarter to a third of it carry-off (common practice, no
/// source).
pub fn sumps(seed: u64) -> Vec<SumpSpec> {
    (0..SUMPS).map(|place| sump(seed, place)).collect()
}

fn sump(seed: u64, place: usize) -> SumpSpec {
    let mut chance = Random::for_part(seed, &format!("layout/{place}"));
    let line = place % 8 == 7;
    let working_l = match line {
        true => chance.between(1500.0, 4000.0),
        false => chance.between(250.0, 800.0),
    };
    let working_l = (working_l / 10.0).round() * 10.0;
    let product = PRODUCTS[[0, 0, 1, 1, 0, 1, 2, 0][place % 8]];
    let lines_l = (working_l * chance.between(0.04, 0.10)).round();
    let depth_m = chance.between(0.38, 0.5) * if line { 1.8 } else { 1.0 };
    let surface = (working_l - lines_l) / 1000.0 / depth_m;
    let width = (100.0 * (surface / 1.8).sqrt()).round() / 100.0;
    let length = (100.0 * surface / width).round() / 100.0;
    let shifts = [Shifts::Two, Shifts::One, Shifts::Two, Shifts::Three][place % 4];
    // A machine that works longer loses more on a day.
    let by_hours = (shifts.hours_a_day() / 16.0).powf(0.7);
    let lost = chance.between(0.03, 0.05) * by_hours;
    let carried = lost * chance.between(0.25, 0.34);
    let holding = product.target_pct * carried / lost;
    SumpSpec {
        plant: seed,
        place,
        product,
        tank_m: (length, width, (100.0 * depth_m * 1.35).round() / 100.0),
        lines_l,
        drain_back_l: (lines_l * chance.between(0.4, 0.8)).round(),
        working_l,
        max_l: (working_l * 1.08).round(),
        circulation_l_per_min: (working_l * chance.between(0.06, 0.12)).round(),
        water_zero_brix: 0.2,
        shifts,
        pumps_stop: shifts != Shifts::Three && !line,
        evaporation_a_day: lost - carried,
        carry_off_a_day: carried,
        loops: (place % 4 == 1, place.is_multiple_of(2)),
        mixer_pct: (2.0 * holding).round().max(1.0) / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sump_fits_its_tank() {
        for spec in sumps(1) {
            let holds = 1000.0 * spec.surface_m2() * spec.tank_m.2;
            assert!(
                holds > spec.max_l - spec.lines_l + spec.drain_back_l,
                "{spec:?}"
            );
            assert!(spec.mixer_pct < spec.product.target_pct, "{spec:?}");
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_plant() {
        assert_eq!(sumps(7), sumps(7));
        assert_ne!(sumps(7), sumps(8));
    }
}
