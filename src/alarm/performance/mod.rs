//! How good the alarms are, in the figures of ISA-18.2 and IEC 62682, from the
//! steps that the journal tells.
//!
//! The bounds are those of the standards from memory; ours are marked "choice".
//! They hold for one person at least thirty days long. Refuses: to say what to
//! do about an alarm that comes too often.

mod course;
mod event;
mod figure;
mod flood;
mod frequent;
mod hiding;
mod period;
mod priorities;
mod rate;
mod repeats;
mod response;
mod stale;
#[cfg(test)]
mod tests;

use serde::Serialize;

pub use course::{Annunciation, Course, Hidden, Occurrence, Present};
pub use event::{AlarmEvent, AlarmName, Standing, Step, meaning};
pub use figure::{Bound, Figure, Inside, Unit};
pub use flood::Flood;
pub use frequent::AlarmCount;
pub use hiding::HiddenTime;
pub use period::Period;

use crate::units::{Span, Timestamp};

/// The standard's figures need the data of so many days (secondary source).
const ENOUGH_DAYS: f64 = 30.0;
/// Three times within so long is chattering (memory).
const CHATTERING: Span = Span::from_mins(1);

/// What of the figures can be set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measures {
    /// The mean rates are multiplied by this: sumps that one person looks
    /// after, for each of those that the steps are of. What comes within
    /// minutes does not scale so, and stays as it was.
    pub scale: f64,
    /// Three times within so long is repeating: a mix changes over hours, so
    /// that its alarms come again and again at another pace than those of a
    /// flow or a pressure.
    pub repeats_within: Span,
    /// An alarm that goes by itself within so long is fleeting.
    pub fleeting_within: Span,
}

impl Default for Measures {
    fn default() -> Self {
        Measures {
            scale: 1.0,
            // A shift (choice).
            repeats_within: Span::from_hours(8),
            // Before anybody could have come and done anything (choice).
            fleeting_within: Span::from_mins(10),
        }
    }
}

/// All figures of a period.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Performance {
    /// Of which time.
    #[serde(flatten)]
    pub period: Period,
    /// How many days that is.
    pub days: f64,
    /// Whether these are enough for the standard's figures: at least thirty.
    pub enough_days: bool,
    /// By which the mean rates are multiplied.
    pub scale: f64,
    /// How often people were told.
    pub annunciations: usize,
    /// The figures, in a fixed order.
    pub figures: Vec<Figure>,
    /// How often each alarm was told, the most frequent first.
    pub most_frequent: Vec<AlarmCount>,
    /// The floods.
    pub floods: Vec<Flood>,
    /// Alarms that came three times within a minute, and how often in such
    /// bursts.
    pub chattering: Vec<AlarmCount>,
    /// The same within [`Measures::repeats_within`].
    pub repeating: Vec<AlarmCount>,
    /// Alarms that went by themselves, and how often.
    pub fleeting: Vec<AlarmCount>,
    /// Alarms that stood for more than a day.
    pub stale: Vec<Occurrence>,
    /// How often and how long alarms were hidden.
    pub hidden: Vec<HiddenTime>,
    /// Steps that were left out because there were too many.
    pub dropped: u64,
}

impl Performance {
    /// The figures of these steps. Those before the period tell what stood when
    /// it began; those at its end and later are passed over. The steps of one
    /// alarm must come in their order.
    pub fn of(
        events: impl IntoIterator<Item = AlarmEvent>,
        period: Period,
        measures: &Measures,
    ) -> Self {
        let until_end = events.into_iter().filter(|event| event.time < period.to);
        Performance::of_course(&Course::of(until_end), period, measures)
    }

    /// The figures of a course that ends with the period.
    pub fn of_course(course: &Course, period: Period, measures: &Measures) -> Self {
        let annunciations = course.annunciations().iter();
        let told: Vec<&Annunciation> = annunciations.filter(|one| period.has(one.time)).collect();
        let raised = || {
            let occurrences = course.occurrences().iter();
            occurrences.filter(|one| period.has(one.raised))
        };
        let mut times: Vec<Timestamp> = told.iter().map(|one| one.time).collect();
        times.sort_unstable();
        let by_alarm = repeats::by_alarm(told.iter().copied());
        let floods = flood::floods(&times, period);
        let most_frequent = frequent::by_frequency(told.iter().copied());
        let chattering = repeats::repeating(&by_alarm, CHATTERING);
        let repeating = repeats::repeating(&by_alarm, measures.repeats_within);
        let fleeting = repeats::fleeting(raised(), &by_alarm, measures.fleeting_within);
        let stale = stale::stale(course.occurrences(), period);

        let mut figures = rate::rates(&times, period, measures.scale);
        figures.push(flood::share_of_time(&floods, period));
        figures.push(frequent::share_of_ten(&most_frequent));
        figures.push(none_of("chattering_alarms", &chattering));
        figures.push(none_of("fleeting_alarms", &fleeting));
        figures.push(count_of("repeating_alarms", &repeating));
        figures.push(stale::on_worst_day(&stale, period));
        figures.extend(response::times(raised()));
        figures.extend(priorities::shares(&told));
        let days = period.in_steps(Span::from_hours(24));
        Performance {
            period,
            days,
            enough_days: days >= ENOUGH_DAYS,
            scale: measures.scale,
            annunciations: told.len(),
            figures,
            most_frequent,
            floods,
            chattering,
            repeating,
            fleeting,
            stale,
            hidden: hiding::hidden_times(course.hidden(), period),
            dropped: course.dropped(),
        }
    }

    /// The figure of this name.
    pub fn figure(&self, name: &str) -> Option<&Figure> {
        self.figures.iter().find(|figure| figure.name == name)
    }
}

/// How many alarms are among these.
fn count_of(name: &'static str, alarms: &[AlarmCount]) -> Figure {
    Figure::plain(name, Unit::Count, Some(alarms.len() as f64))
}

/// The same where the standard would have none (memory).
fn none_of(name: &'static str, alarms: &[AlarmCount]) -> Figure {
    count_of(name, alarms).against(Bound::AtMost(0.0), None)
}
