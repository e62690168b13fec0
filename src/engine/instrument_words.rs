//! How an instrument is, in English words for the state of its channel. Messages
//! have words of their own, in the language of who reads them.

use crate::advice::{Caution, instrument_step_words, look_first};
use crate::signal::{InstrumentJudgement, InstrumentReason as Reason};
use crate::units::{Quantity, Timestamp};

use super::instrument_told::InstrumentFigures;

/// What the instrument shows, since when, and what to look at first; none where
/// it is good.
pub(super) fn words(
    quantity: Quantity,
    judged: &InstrumentJudgement,
    figures: &InstrumentFigures,
) -> Option<String> {
    let (reason, since) = (judged.reason?, judged.since?);
    let name = instrument(quantity);
    let shows = shows(quantity, figures, reason, since);
    let first = instrument_step_words(look_first(quantity, reason)).unwrap_or_default();
    let caution = match reason {
        Reason::Silent | Reason::Fault | Reason::JustTouched | Reason::Foam => String::new(),
        _ => format!(" {}", Caution::ProbeOut.words()),
    };
    Some(format!("{name} {shows}. {first}{caution}"))
}

/// What people call the instrument.
const fn instrument(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Brix => "refractometer",
        Quantity::Concentration => "concentration probe",
        Quantity::Ph => "pH electrode",
        Quantity::Redox => "redox electrode",
        Quantity::Conductivity => "conductivity cell",
        Quantity::Temperature => "thermometer",
        Quantity::Level | Quantity::Volume => "level probe",
        Quantity::Flow => "flow meter",
        Quantity::Pressure => "pressure transmitter",
        Quantity::DissolvedOxygen => "oxygen probe",
        Quantity::Metered => "meter",
        Quantity::State => "switch",
        Quantity::Hardness
        | Quantity::Chloride
        | Quantity::Nitrite
        | Quantity::Bacteria
        | Quantity::Fungi
        | Quantity::TrampOil => "instrument",
    }
}

fn shows(
    quantity: Quantity,
    figures: &InstrumentFigures,
    reason: Reason,
    since: Timestamp,
) -> String {
    let amount = |value: f64| {
        let decimals = quantity.decimals();
        format!("{value:.decimals$} {}", quantity.unit())
    };
    let known = |value: Option<f64>| value.map_or("its value".to_owned(), amount);
    match reason {
        Reason::Silent => format!("silent since {since}"),
        Reason::Fault => format!("reports a fault since {since}"),
        Reason::Frozen => {
            let shown = known(figures.frozen_at);
            format!("frozen at {shown} since {since} while the fluid moves")
        }
        Reason::JustTouched => format!("cleaned or calibrated at {since} and settling"),
        Reason::OutOfRange => format!("shows what cannot be true since {since}"),
        Reason::Foam => {
            let held = figures.held.map(amount).unwrap_or_default();
            format!(
                "sees foam since {since}; it was {held} before: keep to that, and dose nothing until the foam is gone"
            )
        }
        Reason::Noisy => {
            let now = known(figures.scatter);
            let usual = figures.usual_scatter;
            let usual = usual.map_or(String::new(), |usual| format!(" (usual {})", amount(usual)));
            format!("noisy since {since}, single readings scatter by {now}{usual}")
        }
        Reason::Fouled => {
            let drift = known(figures.drift_a_day);
            format!("drifts by {drift} a day since {since}, which no addition or loss explains")
        }
        Reason::Drifting => {
            let off = figures.over_hand.unwrap_or_default();
            let side = if off < 0.0 { "below" } else { "above" };
            let off = amount(off.abs());
            format!("drifts away from hand readings since {since}, last {off} {side}")
        }
        Reason::Spiking => {
            let share = figures.spike_share_pct.unwrap_or_default();
            format!("spiking since {since}, {share:.0} % of the last hour's readings")
        }
    }
}
