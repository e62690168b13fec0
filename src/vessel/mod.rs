//! Tank shapes: level to volume.
//!
//! Promises: volume never falls as the level rises (to within rounding of
//! 1e-9 L); level 0 is the lowest inside point; every level and every volume
//! has an answer, for below the bottom a tank is empty (or holds what its
//! strapping table says of 0 m) and above the top full.
//! Refuses: dimensions that are not finite and positive, or that do not fit
//! together; tables with levels or volumes out of order. What stands inside a
//! tank (pipes, pumps, chips) is not known here.

mod cone;
mod cylinder;
mod dish;
mod error;
mod head;
mod make;
mod quadrature;
mod rectangular;
mod strapping;

pub use dish::Dish;
pub use error::VesselError;
pub use head::Head;
pub use strapping::{StrappingError, StrappingTable};

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
        heads: Head,
    },
    /// A standing cylinder on a bottom of its own shape.
    VerticalCylinder {
        /// Inside diameter.
        diameter: Length,
        /// Shape of the bottom.
        bottom: Head,
        /// Inside height of bottom and cylinder together.
        height: Length,
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
    /// Any shape, by what it was measured to hold.
    Strapped(StrappingTable),
}

impl Vessel {
    /// Inside height: the level at which the tank is full.
    pub fn height(&self) -> Length {
        match *self {
            Vessel::Rectangular { height, .. }
            | Vessel::SlopedFloor { height, .. }
            | Vessel::VerticalCylinder { height, .. }
            | Vessel::ConeBottom { height, .. } => height,
            Vessel::HorizontalCylinder { diameter, .. } => diameter,
            Vessel::Strapped(ref table) => Length::from_metres(table.height()),
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

    /// The level at which the tank holds `volume`: 0 for less than it can hold,
    /// the top for as much as it holds or more, else the lowest level where a
    /// strapping table gives several. Found by halving down to the last bits of
    /// the height, as not every shape has a closed form.
    pub fn level_for(&self, volume: Volume) -> Length {
        /// Halvings until neighbouring levels differ in the last bit only.
        const HALVINGS: usize = 53;
        let wanted = volume.litres() / 1000.0;
        let (mut low, mut high) = (0.0, self.height().metres());
        if wanted <= self.cubic_metres(low) {
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
            } => cylinder::lying_volume(diameter.metres(), length.metres(), heads, level),
            Vessel::VerticalCylinder {
                diameter, bottom, ..
            } => cylinder::standing_volume(diameter.metres(), bottom, level),
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
            Vessel::Strapped(ref table) => table.volume(level),
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
            } => cylinder::lying_surface(diameter.metres(), length.metres(), heads, level),
            Vessel::VerticalCylinder {
                diameter, bottom, ..
            } => bottom.standing_surface(diameter.metres(), level),
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
            Vessel::Strapped(ref table) => table.surface(level),
        }
    }
}

#[cfg(test)]
mod tests;
