//! Lying cylinders. All lengths in metres, `level` between 0 and the diameter.

use std::f64::consts::PI;

/// The ends of a lying cylinder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heads {
    /// Flat plates.
    Flat,
    /// Half ellipsoids, a quarter of the diameter deep.
    Ellipsoidal2To1,
    /// Half spheres.
    Hemispherical,
}

impl Heads {
    /// Depth of one head as a share of the radius.
    fn depth(self) -> f64 {
        match self {
            Heads::Flat => 0.0,
            Heads::Ellipsoidal2To1 => 0.5,
            Heads::Hemispherical => 1.0,
        }
    }
}

/// Volume, m³: the circular segment R²·acos((R−h)/R) − (R−h)·√(2Rh−h²) times
/// the straight length, and the cap π·h²·(R − h/3) of the sphere that two
/// half spheres make, flattened to the heads' depth.
pub(super) fn volume(diameter: f64, length: f64, heads: Heads, level: f64) -> f64 {
    let radius = 0.5 * diameter;
    let above = radius - level;
    let segment = radius * radius * (above / radius).clamp(-1.0, 1.0).acos()
        - above * half_chord(diameter, level);
    let cap = PI * level * level * (radius - level / 3.0);
    length * segment + heads.depth() * cap
}

/// Free surface, m²: a rectangle as wide as the chord, and the two half
/// ellipses of the heads, π·(2Rh−h²) for half spheres.
pub(super) fn surface(diameter: f64, length: f64, heads: Heads, level: f64) -> f64 {
    let half_chord = half_chord(diameter, level);
    2.0 * half_chord * length + heads.depth() * PI * half_chord * half_chord
}

/// Half the width of the surface at `level`: √(2Rh−h²).
fn half_chord(diameter: f64, level: f64) -> f64 {
    (level * (diameter - level)).max(0.0).sqrt()
}
