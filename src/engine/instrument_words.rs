//! How an instrument is, in words for the technician who goes there. What to
//! look at first is common practice, no source.

use crate::signal::{InstrumentJudgement, InstrumentReason as Reason};
use crate::units::{Quantity, Timestamp};

use super::channel::ChannelWatch;
use super::setup::ChannelSetup;

/// Goes with each advice to touch a probe.
const CAUTION: &str = "Lock out the pumps before you open a cell or draw a probe, and protect skin and eyes as the safety data sheet says.";

/// What the instrument shows, since when, and what to look at first; none where
/// it is good.
pub(super) fn words(
    setup: &ChannelSetup,
    watch: &ChannelWatch,
    judged: &InstrumentJudgement,
) -> Option<String> {
    let (reason, since) = (judged.reason?, judged.since?);
    let name = instrument(setup.quantity);
    let shows = shows(setup, watch, reason, since);
    let first = look_first(setup.quantity, reason);
    let caution = match reason {
        Reason::Silent | Reason::Fault | Reason::JustTouched | Reason::Foam => String::new(),
        _ => format!(" {CAUTION}"),
    };
    Some(format!("{name} {shows}: {first}.{caution}"))
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

fn shows(setup: &ChannelSetup, watch: &ChannelWatch, reason: Reason, since: Timestamp) -> String {
    let amount = |value: f64| {
        let decimals = setup.quantity.decimals();
        format!("{value:.decimals$} {}", setup.quantity.unit())
    };
    let shown = watch.value(&setup.kind).map(amount);
    let shown = shown.as_deref().unwrap_or("its value");
    let instrument = &watch.instrument;
    match reason {
        Reason::Silent => format!("silent since {since}"),
        Reason::Fault => format!("reports a fault since {since}"),
        Reason::Frozen => format!("frozen at {shown} since {since} while the fluid moves"),
        Reason::JustTouched => format!("cleaned or calibrated at {since} and settling"),
        Reason::OutOfRange => format!("shows what cannot be true since {since}"),
        Reason::Foam => {
            let held = instrument.held().map(amount).unwrap_or_default();
            format!(
                "sees foam since {since}; it was {held} before: keep to that, and dose nothing until the foam is gone"
            )
        }
        Reason::Noisy => {
            let (now, usual) = instrument.scatter();
            let now = amount(now);
            let usual = usual.map_or(String::new(), |usual| format!(" (usual {})", amount(usual)));
            format!("noisy since {since}, single readings scatter by {now}{usual}")
        }
        Reason::Fouled => {
            let drift = instrument.drift_forbidden().map(amount);
            let drift = drift.unwrap_or_default();
            format!("drifts by {drift} a day since {since}, which no addition or loss explains")
        }
        Reason::Drifting => {
            let off = instrument.drift().map(|drift| f64::from(drift.difference));
            let side = if off < Some(0.0) { "below" } else { "above" };
            let off = amount(off.map_or(0.0, f64::abs));
            format!("drifts away from hand readings since {since}, last {off} {side}")
        }
        Reason::Spiking => {
            let share = 100.0 * instrument.spike_share().unwrap_or_default();
            format!("spiking since {since}, {share:.0} % of the last hour's readings")
        }
    }
}

fn look_first(quantity: Quantity, reason: Reason) -> &'static str {
    match (reason, quantity) {
        (Reason::Silent, _) => "look at its supply, its cable and its gateway",
        (Reason::Fault, _) => "read its own display, then look at its loop and cable",
        (Reason::JustTouched, _) => "let it settle, then read by hand and enter the reading",
        (Reason::Foam, _) => {
            "look at the surface; foam comes of soft water, too strong a mix, a leaking suction or jets from too high"
        }
        (Reason::Drifting | Reason::Fouled | Reason::Frozen, Quantity::Brix) => {
            "wipe the prism, check the cell's flow, then compare by hand"
        }
        (Reason::Drifting | Reason::Fouled | Reason::Frozen, Quantity::Ph | Quantity::Redox) => {
            "clean the electrode of oil, check it in buffers, then compare by hand"
        }
        (Reason::Drifting | Reason::Fouled | Reason::Frozen, Quantity::Conductivity) => {
            "clean the cell of oil and fines, check it in a standard, then compare by hand"
        }
        (
            Reason::Drifting | Reason::Fouled | Reason::Frozen,
            Quantity::Level | Quantity::Volume,
        ) => {
            "look for swarf in the probe's port and for a float that sticks, then compare by dip stick"
        }
        (Reason::Drifting | Reason::Fouled | Reason::Frozen, _) => {
            "clean the probe, then compare by hand"
        }
        (Reason::Noisy | Reason::Spiking, Quantity::Brix) => {
            "look for air bubbles and chips in the cell, check its flow"
        }
        (Reason::Noisy | Reason::Spiking, Quantity::Level | Quantity::Volume) => {
            "look for waves, foam and jets under the probe, then at its cable"
        }
        (Reason::Noisy | Reason::Spiking, _) => {
            "look for bubbles at the probe, then at its cable and earth"
        }
        (Reason::OutOfRange, _) => {
            "check that the probe is wetted, then its calibration and its unit in the settings"
        }
    }
}
