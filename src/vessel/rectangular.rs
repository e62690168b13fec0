//! Boxes. All lengths in metres, `level` between the bottom and the top.

/// Volume of a box with a flat floor, m³: L·W·h.
pub(super) fn volume(length: f64, width: f64, level: f64) -> f64 {
    length * width * level
}

/// Volume above an evenly sloped floor, m³: below its high end a wedge,
/// L·W·h²/(2·rise); above it a box less the floor, L·W·(h − rise/2).
pub(super) fn sloped_volume(length: f64, width: f64, rise: f64, level: f64) -> f64 {
    if level < rise {
        length * width * level * level / (2.0 * rise)
    } else {
        length * width * (level - 0.5 * rise)
    }
}

/// Free surface above an evenly sloped floor, m²: L·W, below the floor's high
/// end its part h/rise.
pub(super) fn sloped_surface(length: f64, width: f64, rise: f64, level: f64) -> f64 {
    length * width * (level / rise).min(1.0)
}
