//! How annunciations fall on the priorities.

use super::course::Annunciation;
use super::figure::{Bound, Figure, Unit, share};
use crate::alarm::Priority;

/// The share of each priority. The standard would have about 80 % low, 15 %
/// medium and 5 % high; "about" is taken here as no more of the upper two, and
/// no less of the lowest (choice).
pub(super) fn shares(told: &[&Annunciation]) -> Vec<Figure> {
    let of = |name, priority, bound| {
        let count = told.iter().filter(|one| one.priority == priority).count();
        let share = share(count as f64, told.len() as f64);
        Figure::plain(name, Unit::Share, share).against(bound, None)
    };
    vec![
        of("low_priority", Priority::Low, Bound::AtLeast(0.80)),
        of("medium_priority", Priority::Medium, Bound::AtMost(0.15)),
        of("high_priority", Priority::High, Bound::AtMost(0.05)),
    ]
}
