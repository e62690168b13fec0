//! Tanks from their dimensions, which are checked here.

use crate::units::Length;

use super::error::{VesselError, positive, within};
use super::{Head, Vessel};

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
        heads: Head,
    ) -> Result<Self, VesselError> {
        Ok(Vessel::HorizontalCylinder {
            diameter: positive("diameter", diameter)?,
            length: positive("length", length)?,
            heads,
        })
    }

    /// A standing cylinder on a bottom.
    ///
    /// # Errors
    /// When a dimension is not positive or the bottom is deeper than the whole
    /// is high.
    pub fn vertical_cylinder(
        diameter: Length,
        bottom: Head,
        height: Length,
    ) -> Result<Self, VesselError> {
        let diameter = positive("diameter", diameter)?;
        let height = positive("height", height)?;
        let depth = Length::from_metres(bottom.depth(diameter.metres()));
        within("bottom depth", depth, "height", height)?;
        Ok(Vessel::VerticalCylinder {
            diameter,
            bottom,
            height,
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
}
