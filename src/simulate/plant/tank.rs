//! Tank shapes: how high so many litres stand.

use std::f64::consts::PI;

/// Inside dimensions of a tank, in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tank {
    /// An upright box.
    Rectangular {
        /// Inside length.
        length_m: f64,
        /// Inside width.
        width_m: f64,
        /// Inside height.
        height_m: f64,
    },
    /// A lying cylinder.
    HorizontalCylinder {
        /// Inside diameter.
        diameter_m: f64,
        /// Length of the straight part.
        length_m: f64,
        /// Its two ends.
        heads: Heads,
    },
}

/// The ends of a lying cylinder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heads {
    /// Flat plates.
    Flat,
    /// Half ellipsoids a quarter of the diameter deep.
    Ellipsoidal2To1,
}

/// The level is found to within this, m.
const LEVEL_STEP: f64 = 1e-9;

impl Tank {
    /// Inside height, m.
    pub fn height_m(&self) -> f64 {
        match *self {
            Tank::Rectangular { height_m, .. } => height_m,
            Tank::HorizontalCylinder { diameter_m, .. } => diameter_m,
        }
    }

    /// Litres in the tank at a level in metres above its lowest inside point;
    /// below 0 it is empty, above the top full.
    ///
    /// The cylinder is its circular segment times its length. A half ellipsoid
    /// of depth D/4 at each end makes one spheroid whose filled share at x =
    /// level/D is that of a sphere, 3x² − 2x³, of π D³/12 in all.
    pub fn litres_at(&self, level_m: f64) -> f64 {
        let level = level_m.clamp(0.0, self.height_m());
        let cubic_metres = match *self {
            Tank::Rectangular {
                length_m, width_m, ..
            } => length_m * width_m * level,
            Tank::HorizontalCylinder {
                diameter_m,
                length_m,
                heads,
            } => {
                let radius = diameter_m / 2.0;
                let above = radius - level;
                let half_angle = (above / radius).clamp(-1.0, 1.0).acos();
                let half_chord = (level * (diameter_m - level)).max(0.0).sqrt();
                let segment = radius * radius * half_angle - above * half_chord;
                let x = level / diameter_m;
                let both_heads = match heads {
                    Heads::Flat => 0.0,
                    Heads::Ellipsoidal2To1 => {
                        PI * diameter_m.powi(3) / 12.0 * (3.0 - 2.0 * x) * x * x
                    }
                };
                segment * length_m + both_heads
            }
        };
        cubic_metres * 1000.0
    }

    /// The level in metres at which so many litres stand; the top for more than
    /// the tank holds.
    pub fn level_m_of(&self, litres: f64) -> f64 {
        let (mut low, mut high) = (0.0, self.height_m());
        while high - low > LEVEL_STEP {
            let middle = (low + high) / 2.0;
            if self.litres_at(middle) < litres {
                low = middle;
            } else {
                high = middle;
            }
        }
        (low + high) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn tanks() -> [Tank; 3] {
        let lying = |heads| Tank::HorizontalCylinder {
            diameter_m: 1.2,
            length_m: 2.0,
            heads,
        };
        [
            Tank::Rectangular {
                length_m: 1.5,
                width_m: 0.8,
                height_m: 0.6,
            },
            lying(Heads::Flat),
            lying(Heads::Ellipsoidal2To1),
        ]
    }

    /// Adds up thin vertical slices of the free surface's area.
    fn integrated(tank: &Tank, level_m: f64) -> f64 {
        let slices = 20_000;
        let thickness = level_m / f64::from(slices);
        let area = |h: f64| match *tank {
            Tank::Rectangular {
                length_m, width_m, ..
            } => length_m * width_m,
            Tank::HorizontalCylinder {
                diameter_m,
                length_m,
                heads,
            } => {
                let half_chord = (h * (diameter_m - h)).sqrt();
                let ends = match heads {
                    Heads::Flat => 0.0,
                    // An ellipse of half axes half_chord and half_chord / 2.
                    Heads::Ellipsoidal2To1 => PI * half_chord * half_chord / 2.0,
                };
                2.0 * half_chord * length_m + ends
            }
        };
        (0..slices)
            .map(|n| area((f64::from(n) + 0.5) * thickness) * thickness * 1000.0)
            .sum()
    }

    #[test]
    fn volumes_agree_with_integration_slice_by_slice() {
        for tank in tanks() {
            for share in [0.1, 0.4, 0.5, 0.9, 1.0] {
                let level = share * tank.height_m();
                let (closed, summed) = (tank.litres_at(level), integrated(&tank, level));
                assert!((closed - summed).abs() < 0.01, "{tank:?} {closed} {summed}");
            }
        }
    }

    proptest! {
        #[test]
        fn level_and_volume_are_inverse(share in 0.0..1.0_f64, which in 0_usize..3) {
            let tank = tanks()[which];
            let litres = share * tank.litres_at(tank.height_m());
            let back = tank.litres_at(tank.level_m_of(litres));
            prop_assert!((back - litres).abs() < 1e-4, "{} {}", litres, back);
        }
    }
}
