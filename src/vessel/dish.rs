//! Dished (torispherical) heads: a crown, part of a sphere, that a rounded
//! knuckle joins smoothly to the cylinder. All lengths are for a cylinder of
//! diameter 1.

use std::f64::consts::{FRAC_PI_2, PI};

use super::error::VesselError;
use super::quadrature::integral_from_root;

/// Proportions of a dished head. The volumes of a standing one are closed
/// forms; a lying one is integrated over the circles that it is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dish {
    /// Radius of the crown.
    crown: f64,
    /// Radius of the knuckle.
    knuckle: f64,
    /// Distance of the knuckle's centre from the axis.
    centre: f64,
    /// Angle between the axis and the line on which both centres and the join
    /// of crown and knuckle lie.
    angle: f64,
    /// Distance of the join from the axis.
    join: f64,
    /// Height of the join above the lowest point.
    join_height: f64,
    depth: f64,
    /// Volume of one head.
    full: f64,
}

impl Dish {
    /// The usual crown radius, as a share of the diameter. DIN 28011, seen
    /// second hand; there of the outside diameter.
    pub const USUAL_CROWN: f64 = 1.0;
    /// The usual knuckle radius, as a share of the diameter. DIN 28011, likewise.
    pub const USUAL_KNUCKLE: f64 = 0.1;

    /// A head whose crown and knuckle have these radii, as shares of the
    /// cylinder's inside diameter.
    ///
    /// # Errors
    /// When the crown is not 0.5 to 100, or the knuckle not 0.001 to 0.499: such
    /// parts do not meet, or are flat.
    pub fn new(crown: f64, knuckle: f64) -> Result<Self, VesselError> {
        proportion("crown radius", crown, (0.5, 100.0))?;
        proportion("knuckle radius", knuckle, (0.001, 0.499))?;
        let centre = 0.5 - knuckle;
        let angle = (centre / (crown - knuckle)).min(1.0).asin();
        let mut dish = Dish {
            crown,
            knuckle,
            centre,
            angle,
            join: crown * angle.sin(),
            join_height: crown * (1.0 - angle.cos()),
            depth: crown - (crown - knuckle) * angle.cos(),
            full: 0.0,
        };
        dish.full = 2.0 * dish.volume_beyond(0.0);
        Ok(dish)
    }

    /// How deep it is in the middle.
    pub(super) fn depth(&self) -> f64 {
        self.depth
    }

    /// Volume of a standing head up to `level`, at most its depth: a cap of the
    /// sphere, π·h²·(R − h/3), and above it the knuckle, whose radius is
    /// c + √(k² − u²) with u down from its centre.
    pub(super) fn standing_volume(&self, level: f64) -> f64 {
        let cap = level.min(self.join_height);
        let cap = PI * cap * cap * (self.crown - cap / 3.0);
        if level <= self.join_height {
            return cap;
        }
        let of_knuckle = |u: f64| {
            let (c, k) = (self.centre, self.knuckle);
            let chord = (k * k - u * u).max(0.0).sqrt();
            let arc = k * k * (u / k).clamp(-1.0, 1.0).asin();
            c * c * u + c * (u * chord + arc) + k * k * u - u * u * u / 3.0
        };
        let (lower, upper) = (self.depth - self.join_height, self.depth - level);
        cap + PI * (of_knuckle(lower) - of_knuckle(upper))
    }

    /// Free surface in a standing head at `level`, at most its depth.
    pub(super) fn standing_surface(&self, level: f64) -> f64 {
        if level <= self.join_height {
            return PI * level * (2.0 * self.crown - level);
        }
        let u = self.depth - level;
        let radius = self.centre + (self.knuckle * self.knuckle - u * u).max(0.0).sqrt();
        PI * radius * radius
    }

    /// Volume of a lying head up to `level`, 0 to 1.
    pub(super) fn lying_volume(&self, level: f64) -> f64 {
        let beyond = self.volume_beyond((level - 0.5).abs());
        if level < 0.5 {
            beyond
        } else {
            self.full - beyond
        }
    }

    /// Free surface in a lying head at `level`, 0 to 1: as many chords, each
    /// 2·√(x² − d²) long, as there are circles.
    pub(super) fn lying_surface(&self, level: f64) -> f64 {
        let distance = (level - 0.5).abs();
        self.over_circles(distance, |radius| 2.0 * half_chord(radius, distance))
    }

    /// Volume beyond a plane along the axis at this distance from it: of each
    /// circle the segment x²·acos(d/x) − d·√(x² − d²).
    fn volume_beyond(&self, distance: f64) -> f64 {
        self.over_circles(distance, |radius| {
            let angle = (distance / radius).min(1.0).acos();
            radius * radius * angle - distance * half_chord(radius, distance)
        })
    }

    /// The integral of `part` of each circle's radius over the head's depth, of
    /// the circles that reach further from the axis than `distance`; crown and
    /// knuckle each over the angle around their centre.
    fn over_circles(&self, distance: f64, part: impl Fn(f64) -> f64) -> f64 {
        let (c, k) = (self.centre, self.knuckle);
        let of_crown = |angle: f64| {
            let radius = self.crown * angle.sin();
            part(radius) * radius
        };
        let of_knuckle = |angle: f64| part(c + k * angle.sin()) * k * angle.sin();
        if distance < self.join {
            let first = (distance / self.crown).asin();
            integral_from_root(first, self.angle, of_crown)
                + integral_from_root(self.angle, FRAC_PI_2, of_knuckle)
        } else {
            let first = ((distance - c) / k).min(1.0).asin();
            integral_from_root(first, FRAC_PI_2, of_knuckle)
        }
    }
}

/// The head with the usual proportions.
impl Default for Dish {
    fn default() -> Self {
        Dish::new(Dish::USUAL_CROWN, Dish::USUAL_KNUCKLE)
            .expect("the usual proportions are allowed")
    }
}

/// Half of a chord at a distance from the centre of a circle.
fn half_chord(radius: f64, distance: f64) -> f64 {
    ((radius - distance) * (radius + distance)).max(0.0).sqrt()
}

fn proportion(
    name: &'static str,
    found: f64,
    (least, most): (f64, f64),
) -> Result<(), VesselError> {
    if least <= found && found <= most {
        Ok(())
    } else {
        Err(VesselError::Proportion {
            name,
            found,
            least,
            most,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All of a head by its two ways: integrated over its circles, and by the
    /// closed form of the standing head.
    #[test]
    fn lying_and_standing_heads_hold_the_same() {
        for (crown, knuckle) in [
            (1.0, 0.1),
            (0.8, 0.154),
            (1.0, 0.06),
            (0.5, 0.3),
            (20.0, 0.4),
        ] {
            let dish = Dish::new(crown, knuckle).unwrap();
            let standing = dish.standing_volume(dish.depth());
            assert!((dish.lying_volume(1.0) / standing - 1.0).abs() < 1e-12);
        }
    }

    /// Memory: DIN 28011 and DIN 28013 give 0.1·D³ and 0.1298·D³ with D the
    /// inside diameter, for radii that are shares of the outside diameter, so
    /// that they agree only roughly.
    #[test]
    fn the_usual_heads_hold_what_their_standards_say() {
        let usual = Dish::default().lying_volume(1.0);
        assert!((usual / 0.1 - 1.0).abs() < 0.015, "{usual}");
        let deep = Dish::new(0.8, 0.154).unwrap().lying_volume(1.0);
        assert!((deep / 0.1298 - 1.0).abs() < 0.015, "{deep}");
    }

    #[test]
    fn with_a_crown_of_half_the_diameter_it_is_half_a_sphere() {
        let dish = Dish::new(0.5, 0.25).unwrap();
        assert!((dish.depth() - 0.5).abs() < 1e-12);
        assert!((dish.lying_volume(1.0) - PI / 12.0).abs() < 1e-12);
        let cap = |level: f64| PI * level * level * (0.5 - level / 3.0);
        for level in [0.03, 0.2, 0.45, 0.7, 0.99] {
            assert!((2.0 * dish.lying_volume(level) / cap(level) - 1.0).abs() < 1e-9);
        }
        assert!((dish.standing_volume(0.3) / cap(0.3) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn refuses_parts_that_do_not_meet() {
        let told = Dish::new(0.4, 0.1).unwrap_err().to_string();
        assert_eq!(
            told,
            "the head's crown radius is 0.4 of the diameter; allowed is 0.5 to 100"
        );
        for (crown, knuckle) in [(f64::NAN, 0.1), (1.0, 0.0), (1.0, 0.5), (1.0, f64::NAN)] {
            assert!(Dish::new(crown, knuckle).is_err());
        }
    }
}
