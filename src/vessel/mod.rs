//! Tank shapes: level to volume.
//!
//! Promises: volume never falls as the level rises (to within rounding of
//! 1e-9 L); level 0 is the lowest inside point; every level and every volume
//! has an answer, for below the bottom a tank is empty and above the top full.
//! Refuses: dimensions that are not finite and positive, or that do not fit
//! together. What stands inside a tank (pipes, pumps, chips) is not known here.

mod cone;
mod cylinder;
mod rectangular;

pub use cylinder::Heads;

use crate::units::{Length, Volume};

/// A tank, by its inside dimensions. Its constructors check them.
#[derive(Debug, Clone, PartialEq)]
pub enum Vessel {
    /// An upright box with a flat floor.
    Rectangular {
        /// Inside length.
        length: Length,
        /// Inside width.
        width: Length,
        /// Inside height.
        height: Length,
    },
    /// An upright box whose floor slopes evenly along its length.
    SlopedFloor {
        /// Inside length, along the slope's direction, measured level.
        length: Length,
        /// Inside width.
        width: Length,
        /// How far the floor's high end lies above its low end.
        rise: Length,
        /// Inside height above the floor's low end.
        height: Length,
    },
    /// A lying cylinder with the same head at both ends.
    HorizontalCylinder {
        /// Inside diameter.
        diameter: Length,
        /// Length of the straight part.
        length: Length,
        /// Shape of the ends.
        heads: Heads,
    },
    /// A standing cylinder on a cone.
    ConeBottom {
        /// Inside diameter of the cylinder.
        diameter: Length,
        /// Height of the cone.
        cone_height: Length,
        /// Diameter at the bottom of the cone; zero where it ends in a point.
        outlet_diameter: Length,
        /// Inside height of cone and cylinder together.
        height: Length,
    },
}

/// Why dimensions do not make a tank.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum VesselError {
    /// A dimension is not a positive finite number.
    #[error("the tank's {dimension} is {found}; give a length above 0 m")]
    NotPositive {
        /// The dimension's name.
        dimension: &'static str,
        /// What was given.
        found: Length,
    },
    /// A dimension is larger than another that must hold it.
    #[error(
        "the tank's {dimension} is {found}, more than its {limit_name} of {limit}; \
         measure both again, inside and from the lowest point"
    )]
    DoesNotFit {
        /// The dimension's name.
        dimension: &'static str,
        /// What was given.
        found: Length,
        /// Name of the dimension that it may not exceed.
        limit_name: &'static str,
        /// That dimension.
        limit: Length,
    },
}

impl Vessel {
    /// An upright box with a flat floor.
    ///
    /// # Errors
    /// When a dimension is not positive.
    pub fn rectangular(length: Length, width: Length, height: Length) -> Result<Self, VesselError> {
        Ok(Vessel::Rectangular {
            length: positive("length", length)?,
            width: positive("width", width)?,
            height: positive("height", height)?,
        })
    }

    /// An upright box whose floor rises by `rise` along its length.
    ///
    /// # Errors
    /// When a dimension is not positive or the floor rises above the top.
    pub fn sloped_floor(
        length: Length,
        width: Length,
        rise: Length,
        height: Length,
    ) -> Result<Self, VesselError> {
        let height = positive("height", height)?;
        Ok(Vessel::SlopedFloor {
            length: positive("length", length)?,
            width: positive("width", width)?,
            rise: within("rise", positive("rise", rise)?, "height", height)?,
            height,
        })
    }

    /// A lying cylinder; `length` is that of the straight part.
    ///
    /// # Errors
    /// When a dimension is not positive.
    pub fn horizontal_cylinder(
        diameter: Length,
        length: Length,
        heads: Heads,
    ) -> Result<Self, VesselError> {
        Ok(Vessel::HorizontalCylinder {
            diameter: positive("diameter", diameter)?,
            length: positive("length", length)?,
            heads,
        })
    }

    /// A standing cylinder on a cone; an `outlet_diameter` of zero is a cone
    /// that ends in a point.
    ///
    /// # Errors
    /// When a dimension is not positive (the outlet may be zero), when the cone
    /// is higher than the whole, or its outlet wider than the cylinder.
    pub fn cone_bottom(
        diameter: Length,
        cone_height: Length,
        outlet_diameter: Length,
        height: Length,
    ) -> Result<Self, VesselError> {
        let diameter = positive("diameter", diameter)?;
        let height = positive("height", height)?;
        let cone_height = positive("cone height", cone_height)?;
        if outlet_diameter != Length::from_metres(0.0) {
            positive("outlet diameter", outlet_diameter)?;
        }
        Ok(Vessel::ConeBottom {
            diameter,
            cone_height: within("cone height", cone_height, "height", height)?,
            outlet_diameter: within("outlet diameter", outlet_diameter, "diameter", diameter)?,
            height,
        })
    }

    /// Inside height: the level at which the tank is full.
    pub fn height(&self) -> Length {
        match *self {
            Vessel::Rectangular { height, .. }
            | Vessel::SlopedFloor { height, .. }
            | Vessel::ConeBottom { height, .. } => height,
            Vessel::HorizontalCylinder { diameter, .. } => diameter,
        }
    }

    /// Volume of fluid at `level`; below 0 it is empty, above the top full.
    pub fn volume(&self, level: Length) -> Volume {
        Volume::from_litres(1000.0 * self.cubic_metres(self.inside(level)))
    }

    /// Volume when full to the top.
    pub fn full_volume(&self) -> Volume {
        self.volume(self.height())
    }

    /// The level at which the tank holds `volume`: 0 for less than nothing,
    /// the top for more than it holds. Found by halving down to the last bits
    /// of the height, as not every shape has a closed form.
    pub fn level_for(&self, volume: Volume) -> Length {
        /// Halvings until neighbouring levels differ in the last bit only.
        const HALVINGS: usize = 53;
        let wanted = volume.litres() / 1000.0;
        let (mut low, mut high) = (0.0, self.height().metres());
        if wanted <= 0.0 {
            return Length::from_metres(low);
        }
        if wanted >= self.cubic_metres(high) {
            return self.height();
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.cubic_metres(middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        Length::from_metres(0.5 * (low + high))
    }

    /// Litres by which the volume rises for a metre of level, at `level`: the
    /// free surface in m² times 1000. Taken at the bottom or the top for
    /// levels beyond them.
    pub fn litres_per_metre(&self, level: Length) -> f64 {
        1000.0 * self.surface(self.inside(level))
    }

    /// The level in metres, brought to between bottom and top.
    fn inside(&self, level: Length) -> f64 {
        level.metres().max(0.0).min(self.height().metres())
    }

    fn cubic_metres(&self, level: f64) -> f64 {
        match *self {
            Vessel::Rectangular { length, width, .. } => {
                rectangular::volume(length.metres(), width.metres(), level)
            }
            Vessel::SlopedFloor {
                length,
                width,
                rise,
                ..
            } => rectangular::sloped_volume(length.metres(), width.metres(), rise.metres(), level),
            Vessel::HorizontalCylinder {
                diameter,
                length,
                heads,
            } => cylinder::volume(diameter.metres(), length.metres(), heads, level),
            Vessel::ConeBottom {
                diameter,
                cone_height,
                outlet_diameter,
                ..
            } => cone::volume(
                diameter.metres(),
                cone_height.metres(),
                outlet_diameter.metres(),
                level,
            ),
        }
    }

    fn surface(&self, level: f64) -> f64 {
        match *self {
            Vessel::Rectangular { length, width, .. } => length.metres() * width.metres(),
            Vessel::SlopedFloor {
                length,
                width,
                rise,
                ..
            } => rectangular::sloped_surface(length.metres(), width.metres(), rise.metres(), level),
            Vessel::HorizontalCylinder {
                diameter,
                length,
                heads,
            } => cylinder::surface(diameter.metres(), length.metres(), heads, level),
            Vessel::ConeBottom {
                diameter,
                cone_height,
                outlet_diameter,
                ..
            } => cone::surface(
                diameter.metres(),
                cone_height.metres(),
                outlet_diameter.metres(),
                level,
            ),
        }
    }
}

fn positive(dimension: &'static str, found: Length) -> Result<Length, VesselError> {
    if found.metres().is_finite() && found.metres() > 0.0 {
        Ok(found)
    } else {
        Err(VesselError::NotPositive { dimension, found })
    }
}

fn within(
    dimension: &'static str,
    found: Length,
    limit_name: &'static str,
    limit: Length,
) -> Result<Length, VesselError> {
    if found <= limit {
        Ok(found)
    } else {
        Err(VesselError::DoesNotFit {
            dimension,
            found,
            limit_name,
            limit,
        })
    }
}

#[cfg(test)]
mod tests;
