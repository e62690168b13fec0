//! Strapping tables: levels with the volumes that were measured at them.
//!
//! Between its points a table is a monotone cubic (F. N. Fritsch and R. E.
//! Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17
//! (1980) 238–246), not a straight line. A tank's free surface changes
//! steadily with the level; with straight lines it would jump at each point,
//! and with it each loss that is read from the level. The cubic passes through
//! every point, never falls and never swings beyond two neighbours, and between
//! the few points that a plant measures it comes nearer to the tank.

use crate::units::{Length, Volume};

/// Fewest points: those of a box.
const LEAST: usize = 2;
/// Most points. Choice: one a centimetre in a tank of 5 m.
const MOST: usize = 500;

/// Volumes at strictly rising levels, the first at the lowest inside point.
#[derive(Debug, Clone, PartialEq)]
pub struct StrappingTable {
    knots: Vec<Knot>,
}

/// One point, and how steeply the volume rises there.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    /// m.
    level: f64,
    /// m³.
    volume: f64,
    /// m³ for a metre, which is the free surface in m².
    slope: f64,
}

/// Why points do not make a table; rows are counted from 1.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StrappingError {
    /// Not enough points, or too many.
    #[error("the table has {0} points; it needs {LEAST} to {MOST}")]
    Count(usize),
    /// A level or volume that is no number.
    #[error("row {row} holds what is no finite number; measure it again")]
    NotFinite {
        /// The row.
        row: usize,
    },
    /// The table says nothing of the bottom.
    #[error(
        "the table begins at {0}; begin it with the volume at 0 m, the lowest inside point, or what \
         is below would be a guess"
    )]
    FirstLevel(Length),
    /// Less than nothing.
    #[error("row 1 says {0}; a tank holds 0 L or more")]
    Negative(Volume),
    /// Two rows in the wrong order, or twice the same level.
    #[error("row {row} says {level} after {before}; put the rows in order, each level once")]
    LevelNotRising {
        /// The row.
        row: usize,
        /// Its level.
        level: Length,
        /// The level in the row before.
        before: Length,
    },
    /// Less at a higher level.
    #[error("row {row} says {volume} after {before}; a fuller tank does not hold less")]
    VolumeFalls {
        /// The row.
        row: usize,
        /// Its volume.
        volume: Volume,
        /// The volume in the row before.
        before: Volume,
    },
    /// All volumes are the same.
    #[error("the table says {0} at every level; a tank holds more when it is fuller")]
    Level(Volume),
}

impl StrappingError {
    /// The row that is wrong, counted from 1, where it is one alone.
    pub fn row(&self) -> Option<usize> {
        match self {
            StrappingError::Count(_) | StrappingError::Level(_) => None,
            StrappingError::FirstLevel(_) | StrappingError::Negative(_) => Some(1),
            StrappingError::NotFinite { row }
            | StrappingError::LevelNotRising { row, .. }
            | StrappingError::VolumeFalls { row, .. } => Some(*row),
        }
    }
}

impl StrappingTable {
    /// A table of points, 2 to 500, that begins at 0 m.
    ///
    /// # Errors
    /// When there are too few or too many points, when it does not begin at
    /// 0 m, when levels do not rise or volumes fall, when it holds nothing.
    pub fn new(points: &[(Length, Volume)]) -> Result<Self, StrappingError> {
        check(points)?;
        let plain: Vec<_> = points
            .iter()
            .map(|(level, volume)| (level.metres(), volume.litres() / 1000.0))
            .collect();
        let knots = plain.iter().zip(slopes(&plain));
        let knots = knots.map(|(&(level, volume), slope)| Knot {
            level,
            volume,
            slope,
        });
        Ok(StrappingTable {
            knots: knots.collect(),
        })
    }

    /// The highest level, m.
    pub(super) fn height(&self) -> f64 {
        self.knots.last().map_or(0.0, |knot| knot.level)
    }

    /// Volume at a level in the table, m³.
    pub(super) fn volume(&self, level: f64) -> f64 {
        let piece = self.piece(level);
        let (first, second, third) = piece.coefficients();
        let t = (level - piece.low.level) / piece.length();
        piece.low.volume + piece.length() * t * (first + t * (second + t * third))
    }

    /// Free surface at a level in the table, m².
    pub(super) fn surface(&self, level: f64) -> f64 {
        let piece = self.piece(level);
        let (first, second, third) = piece.coefficients();
        let t = (level - piece.low.level) / piece.length();
        (first + t * (2.0 * second + 3.0 * t * third)).max(0.0)
    }

    /// The two points around a level.
    fn piece(&self, level: f64) -> Piece {
        let above = self.knots.partition_point(|knot| knot.level <= level);
        let above = above.clamp(1, self.knots.len() - 1);
        Piece {
            low: self.knots[above - 1],
            high: self.knots[above],
        }
    }
}

/// Two neighbouring points.
struct Piece {
    low: Knot,
    high: Knot,
}

impl Piece {
    fn length(&self) -> f64 {
        self.high.level - self.low.level
    }

    /// Of the Hermite cubic in t = (level − low)/length, those of t, t² and t³,
    /// each divided by the length.
    fn coefficients(&self) -> (f64, f64, f64) {
        let mean = (self.high.volume - self.low.volume) / self.length();
        let (low, high) = (self.low.slope, self.high.slope);
        (low, 3.0 * mean - 2.0 * low - high, low + high - 2.0 * mean)
    }
}

fn check(points: &[(Length, Volume)]) -> Result<(), StrappingError> {
    if !(LEAST..=MOST).contains(&points.len()) {
        return Err(StrappingError::Count(points.len()));
    }
    let is_finite = |(level, volume): &(Length, Volume)| {
        level.metres().is_finite() && volume.litres().is_finite()
    };
    if let Some(place) = points.iter().position(|point| !is_finite(point)) {
        return Err(StrappingError::NotFinite { row: place + 1 });
    }
    let (first, last) = (points[0], points[points.len() - 1]);
    if first.0 != Length::default() {
        return Err(StrappingError::FirstLevel(first.0));
    }
    if first.1 < Volume::default() {
        return Err(StrappingError::Negative(first.1));
    }
    for (place, pair) in points.windows(2).enumerate() {
        let ((low, less), (high, more)) = (pair[0], pair[1]);
        let row = place + 2;
        if high <= low {
            let (level, before) = (high, low);
            return Err(StrappingError::LevelNotRising { row, level, before });
        }
        if more < less {
            let (volume, before) = (more, less);
            return Err(StrappingError::VolumeFalls {
                row,
                volume,
                before,
            });
        }
    }
    if first.1 == last.1 {
        return Err(StrappingError::Level(first.1));
    }
    Ok(())
}

/// Slopes at the points: first those of the parabolas through three points,
/// then as much less as it takes for no piece to fall.
fn slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let chords: Vec<Chord> = points.windows(2).map(Chord::between).collect();
    let last = chords.len() - 1;
    let mut slopes: Vec<f64> = (0..points.len())
        .map(|place| match place {
            0 => chords[0].slope_at_end(chords.get(1)),
            _ if place > last => {
                chords[last].slope_at_end(last.checked_sub(1).map(|at| &chords[at]))
            }
            _ => chords[place - 1].slope_towards(&chords[place]),
        })
        .collect();
    for (place, chord) in chords.iter().enumerate() {
        let (low, high) = (slopes[place], slopes[place + 1]);
        [slopes[place], slopes[place + 1]] = chord.limited(low, high);
    }
    slopes
}

/// The straight line between two neighbouring points.
struct Chord {
    length: f64,
    slope: f64,
}

impl Chord {
    fn between(pair: &[(f64, f64)]) -> Self {
        let length = pair[1].0 - pair[0].0;
        let slope = (pair[1].1 - pair[0].1) / length;
        Chord { length, slope }
    }

    /// Slope, at the point between them, of the parabola through the three
    /// points of two chords.
    fn slope_towards(&self, next: &Chord) -> f64 {
        (self.length * next.slope + next.length * self.slope) / (self.length + next.length)
    }

    /// Slope at the far end from the neighbour: that parabola's, or its own
    /// where it stands alone.
    fn slope_at_end(&self, neighbour: Option<&Chord>) -> f64 {
        neighbour.map_or(self.slope, |next| {
            (2.0 * self.slope - self.slope_towards(next)).max(0.0)
        })
    }

    /// The slopes at both ends, brought into the circle of radius 3 (times the
    /// chord's slope) in which the cubic does not fall: Fritsch and Carlson's
    /// sufficient condition.
    fn limited(&self, low: f64, high: f64) -> [f64; 2] {
        let (size, most) = (low.hypot(high), 3.0 * self.slope);
        if size <= most {
            return [low, high];
        }
        [low * most / size, high * most / size]
    }
}

#[cfg(test)]
mod tests;
