//! The ends of cylinders.

use std::f64::consts::PI;

use super::dish::Dish;

/// The end of a cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Head {
    /// A flat plate.
    Flat,
    /// Half an ellipsoid, a quarter of the diameter deep.
    Ellipsoidal2To1,
    /// Half a sphere.
    Hemispherical,
    /// A part of a sphere with a rounded edge.
    Dished(Dish),
}

impl Head {
    /// How deep it is in the middle, for a cylinder of this diameter.
    pub(super) fn depth(self, diameter: f64) -> f64 {
        match self {
            Head::Flat => 0.0,
            Head::Ellipsoidal2To1 => 0.25 * diameter,
            Head::Hemispherical => 0.5 * diameter,
            Head::Dished(dish) => diameter * dish.depth(),
        }
    }

    /// Volume of the two heads of a lying cylinder up to `level`, m³; of half
    /// spheres the cap π·h²·(R − h/3) of the sphere that they make, of half
    /// ellipsoids that cap flattened to their depth.
    pub(super) fn lying_volume(self, diameter: f64, level: f64) -> f64 {
        if let Head::Dished(dish) = self {
            return 2.0 * diameter.powi(3) * dish.lying_volume(level / diameter);
        }
        let radius = 0.5 * diameter;
        let flattening = self.depth(diameter) / radius;
        flattening * PI * level * level * (radius - level / 3.0)
    }

    /// Free surface in the two heads of a lying cylinder, m²; of half spheres a
    /// circle, π·(2Rh − h²), of half ellipsoids that circle flattened.
    pub(super) fn lying_surface(self, diameter: f64, level: f64) -> f64 {
        if let Head::Dished(dish) = self {
            return 2.0 * diameter * diameter * dish.lying_surface(level / diameter);
        }
        let flattening = 2.0 * self.depth(diameter) / diameter;
        flattening * PI * (level * (diameter - level)).max(0.0)
    }

    /// Volume of a head as the bottom of a standing cylinder up to `level`, at
    /// most its depth, m³; of half an ellipsoid of depth b it is
    /// π·R²·h²·(b − h/3)/b².
    pub(super) fn standing_volume(self, diameter: f64, level: f64) -> f64 {
        let (radius, depth) = (0.5 * diameter, self.depth(diameter));
        match self {
            Head::Flat => 0.0,
            Head::Dished(dish) => diameter.powi(3) * dish.standing_volume(level / diameter),
            Head::Ellipsoidal2To1 | Head::Hemispherical => {
                let share = level / depth;
                PI * radius * radius * share * share * (depth - level / 3.0)
            }
        }
    }

    /// Free surface at `level` in a head as the bottom of a standing cylinder,
    /// m²; the circle of the cylinder from the head's depth on.
    pub(super) fn standing_surface(self, diameter: f64, level: f64) -> f64 {
        let depth = self.depth(diameter);
        if level >= depth {
            return PI * 0.25 * diameter * diameter;
        }
        match self {
            Head::Dished(dish) => diameter * diameter * dish.standing_surface(level / diameter),
            Head::Flat | Head::Ellipsoidal2To1 | Head::Hemispherical => {
                let share = level / depth;
                PI * 0.25 * diameter * diameter * share * (2.0 - share)
            }
        }
    }
}
