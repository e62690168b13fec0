//! Standing cylinders on a cone. All lengths in metres, `level` between the
//! bottom and the top.

use std::f64::consts::PI;

/// Volume, m³: in the cone a frustum, π/3·h·(r₀² + r₀r + r²) with r at the
/// surface; above it the whole cone and πR² times the rest.
pub(super) fn volume(diameter: f64, cone_height: f64, outlet_diameter: f64, level: f64) -> f64 {
    let outlet = 0.5 * outlet_diameter;
    let radius = radius(diameter, cone_height, outlet_diameter, level);
    let depth = level.min(cone_height);
    let frustum = PI / 3.0 * depth * (outlet * outlet + outlet * radius + radius * radius);
    frustum + PI * radius * radius * (level - depth)
}

/// Free surface, m²: πr².
pub(super) fn surface(diameter: f64, cone_height: f64, outlet_diameter: f64, level: f64) -> f64 {
    let radius = radius(diameter, cone_height, outlet_diameter, level);
    PI * radius * radius
}

/// Radius of the surface, growing evenly from the outlet to the cylinder.
fn radius(diameter: f64, cone_height: f64, outlet_diameter: f64, level: f64) -> f64 {
    let share = (level / cone_height).min(1.0);
    0.5 * (outlet_diameter + (diameter - outlet_diameter) * share)
}
