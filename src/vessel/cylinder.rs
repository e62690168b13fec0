//! Cylinders, lying and standing. All lengths in metres, `level` between the
//! bottom and the top.

use std::f64::consts::PI;

use super::head::Head;

/// Volume of a lying cylinder, m³: the circular segment R²·acos((R−h)/R) −
/// (R−h)·√(2Rh−h²) times the straight length, and what is in the heads.
pub(super) fn lying_volume(diameter: f64, length: f64, heads: Head, level: f64) -> f64 {
    let radius = 0.5 * diameter;
    let above = radius - level;
    let segment = radius * radius * (above / radius).clamp(-1.0, 1.0).acos()
        - above * half_chord(diameter, level);
    length * segment + heads.lying_volume(diameter, level)
}

/// Free surface of a lying cylinder, m²: a rectangle as wide as the chord, and
/// what lies in the heads.
pub(super) fn lying_surface(diameter: f64, length: f64, heads: Head, level: f64) -> f64 {
    2.0 * half_chord(diameter, level) * length + heads.lying_surface(diameter, level)
}

/// Volume of a standing cylinder, m³: what is in its bottom, and πR² times the
/// rest of the level.
pub(super) fn standing_volume(diameter: f64, bottom: Head, level: f64) -> f64 {
    let depth = level.min(bottom.depth(diameter));
    let circle = PI * 0.25 * diameter * diameter;
    bottom.standing_volume(diameter, depth) + circle * (level - depth)
}

/// Half the width of the surface at `level`: √(2Rh−h²).
fn half_chord(diameter: f64, level: f64) -> f64 {
    (level * (diameter - level)).max(0.0).sqrt()
}
