//! The instruments of a sump.

use crate::engine::{ChannelKind, ChannelSetup, DespikeSetup, InputSetup, SeriesIx};
use crate::units::{Parse, Quantity, Span};

use super::current_loop;
use super::defaults::{self, Likeness};
use super::instrument;
use super::key_path::KeyPath;
use super::measure;
use super::payload;
use super::problem::Problem;
use super::raw::{RawChannel, RawDespike};
use super::review::Review;
use super::written::{Switch, Written};

/// What a channel must know of its sump for its defaults.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surroundings {
    /// Inside height of the tank, m.
    pub(super) height: Option<f64>,
    /// Working volume, L.
    pub(super) working: Option<f64>,
}

impl Surroundings {
    fn likeness(self, quantity: Quantity) -> Option<Likeness> {
        match quantity {
            Quantity::Level => Some(defaults::likeness(quantity, self.height?, 0.0)),
            Quantity::Volume => Some(defaults::likeness(quantity, 0.0, self.working?)),
            _ => Some(defaults::likeness(quantity, 0.0, 0.0)),
        }
    }
}

/// What a channel is.
#[derive(Debug, Clone, Copy)]
pub(super) struct What {
    /// What it measures.
    pub(super) quantity: Quantity,
    /// What kind of instrument it is, where that is known.
    pub(super) kind: Option<ChannelKind>,
    /// From what it reports to the channel's unit, where that is known.
    pub(super) input: Option<InputSetup>,
    /// Where its readings are kept.
    pub(super) series: SeriesIx,
}

/// The quantity that a channel measures.
pub(super) fn quantity(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Quantity> {
    let path = at.key("quantity");
    let word = review.required(&path, raw.quantity.as_deref(), "quantity = \"brix\"")?;
    review.one_of(&path, word, &Quantity::ALL.map(|one| (one.name(), one)))
}

/// How the channel's readings are to be treated.
pub(super) fn channel(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawChannel,
    what: What,
    surroundings: Surroundings,
) -> Option<ChannelSetup> {
    let quantity = what.quantity;
    let likeness = surroundings.likeness(quantity);
    let desk = Desk {
        at,
        quantity,
        likeness,
    };
    let plausible = desk.plausible(review, raw.plausible.as_deref());
    let despike = desk.despike(review, raw.despike.as_ref());
    let smooth = smooth(review, at, raw);
    let silent_after = silent_after(review, at, raw, quantity);
    let usual = likeness.map(|likeness| likeness.uncertainty);
    let uncertainty = desk.spread(review, "uncertainty", raw.uncertainty.as_ref(), usual);
    let usual = likeness.map(|likeness| likeness.hand_tolerance);
    let tolerance = desk.spread(review, "hand_tolerance", raw.hand_tolerance.as_ref(), usual);
    let (wander, drift) = desk.unsteadiness(review, raw);
    let instrument = instrument::instrument(review, at, raw, quantity, uncertainty);
    let current_loop = current_loop::range(review, at, raw, quantity);
    Some(ChannelSetup {
        name: name.into(),
        quantity,
        kind: what.kind?,
        input: InputSetup {
            current_loop: current_loop?,
            ..what.input?
        },
        series: what.series,
        plausible: plausible?,
        despike: despike?,
        smooth: smooth?,
        silent_after: silent_after?,
        uncertainty: uncertainty?,
        hand_tolerance: tolerance?,
        wander: wander?,
        drift: drift?,
        instrument: instrument?,
    })
}

fn smooth(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Span> {
    let path = at.key("smooth");
    if raw.smooth.as_ref().is_some_and(Written::is_off) {
        return Some(Span::ZERO);
    }
    let span = review.or_default(&path, raw.smooth.as_ref(), Span::parse, defaults::SMOOTH)?;
    let range = (Span::ZERO, Span::from_hours(24));
    review.within(&path, span, range, |span| span.to_string())
}

fn silent_after(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Quantity,
) -> Option<Span> {
    let path = at.key("silent_after");
    let written = match raw.silent_after.as_ref() {
        None if quantity == Quantity::State => return Some(defaults::STATE_SILENT_AFTER),
        None if payload::is_of_edge_node(raw) => return Some(defaults::METRIC_SILENT_AFTER),
        Some(written) if written.is_off() => return Some(defaults::NEVER),
        written => written,
    };
    let span = review.or_default(&path, written, Span::parse, defaults::SILENT_AFTER)?;
    let range = (Span::from_secs(1), Span::from_hours(31 * 24));
    review.within(&path, span, range, |span| span.to_string())
}

/// One channel while its values are being read.
struct Desk<'a> {
    at: &'a KeyPath,
    quantity: Quantity,
    likeness: Option<Likeness>,
}

impl Desk<'_> {
    fn plausible(&self, review: &mut Review, written: Option<&[Written]>) -> Option<(f64, f64)> {
        let path = self.at.key("plausible");
        match written {
            None => self.likeness.map(|likeness| likeness.plausible),
            Some([low, high]) => {
                let low = self.value(review, &path.item(0), low);
                let high = self.value(review, &path.item(1), high);
                let (low, high) = (low?, high?);
                if low < high {
                    return Some((low, high));
                }
                let problem = Problem::Order {
                    low_name: "the lowest plausible value".to_owned(),
                    low: self.shown(low),
                    high_name: "the highest".to_owned(),
                    high: self.shown(high),
                };
                review.tell(&path, problem);
                None
            }
            Some(list) => {
                let wanted = "the lowest and the highest value";
                let found = list.len();
                review.tell(&path, Problem::Length { wanted, found });
                None
            }
        }
    }

    fn despike(
        &self,
        review: &mut Review,
        raw: Option<&Switch<RawDespike>>,
    ) -> Option<Option<DespikeSetup>> {
        let standard = RawDespike::default();
        let raw = match raw {
            Some(Switch::Off) => return Some(None),
            Some(Switch::On(raw)) => raw,
            None => &standard,
        };
        let at = self.at.key("despike");
        let window = despike_window(review, &at, raw);
        let sigmas = raw.sigmas.unwrap_or(defaults::DESPIKE_SIGMAS);
        let sigmas = review.within(&at.key("sigmas"), sigmas, (1.0, 20.0), |x| x.to_string());
        let floor = match &raw.floor {
            None => self.likeness.map(|likeness| likeness.floor),
            Some(written) => self.distance(review, &at.key("floor"), written, 0.0),
        };
        Some(Some(DespikeSetup {
            window: window?,
            sigmas: sigmas?,
            floor: floor?,
        }))
    }

    /// An uncertainty or tolerance: a distance above 0.
    fn spread(
        &self,
        review: &mut Review,
        key: &str,
        written: Option<&Written>,
        usual: Option<f64>,
    ) -> Option<f64> {
        match written {
            None => usual,
            Some(written) => self.distance(review, &self.at.key(key), written, 1e-6),
        }
    }

    /// How far the zero wanders and drifts; only told of what measures the
    /// concentration.
    fn unsteadiness(&self, review: &mut Review, raw: &RawChannel) -> (Option<f64>, Option<f64>) {
        let (wander, drift) = defaults::unsteadiness(self.quantity);
        let measures = matches!(self.quantity, Quantity::Brix | Quantity::Concentration);
        let mut read = |key: &str, written: Option<&Written>, usual: f64| {
            if !measures && written.is_some() {
                let concentration = "quantity = \"brix\" and \"concentration\"";
                review.tell(&self.at.key(key), Problem::OnlyFor(concentration));
                return None;
            }
            self.spread(review, key, written, Some(usual))
        };
        let wander = read("wander", raw.wander.as_ref(), wander);
        let drift = read("drift", raw.drift.as_ref(), drift);
        (wander, drift)
    }

    fn value(&self, review: &mut Review, path: &KeyPath, written: &Written) -> Option<f64> {
        let value = review.good(path, measure::value(self.quantity, written.text()))?;
        let range = defaults::conceivable(self.quantity);
        review.within(path, value, range, |value| self.shown(value))
    }

    fn distance(
        &self,
        review: &mut Review,
        path: &KeyPath,
        written: &Written,
        least: f64,
    ) -> Option<f64> {
        let value = review.good(path, measure::difference(self.quantity, written.text()))?;
        let (_, most) = defaults::conceivable(self.quantity);
        review.within(path, value, (least, most), |value| self.shown(value))
    }

    fn shown(&self, value: f64) -> String {
        format!("{value} {}", self.quantity.unit())
    }
}

fn despike_window(review: &mut Review, at: &KeyPath, raw: &RawDespike) -> Option<Span> {
    let path = at.key("window");
    let written = raw.window.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::DESPIKE_WINDOW)?;
    let range = (Span::from_secs(1), Span::from_hours(24));
    review.within(&path, span, range, |span| span.to_string())
}
