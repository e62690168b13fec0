//! A refractometer: its zero and span, and who compensates.

use crate::chemistry::{BrixCompensation, Refractometer, ShownBrix};
use crate::engine::{Calibration, FluidSetup};
use crate::settings::problem::{CalibrationProblem, Problem};
use crate::settings::review::Review;
use crate::units::{Brix, Parse};

use super::{BY_INSTRUMENT, Compensated, Desk};

#[derive(Debug, Clone, Copy)]
enum Word {
    ByInstrument,
    PerKelvin,
    AsWater,
}

const WORDS: [(&str, Word); 3] = [
    (BY_INSTRUMENT, Word::ByInstrument),
    ("per_kelvin", Word::PerKelvin),
    ("as_water", Word::AsWater),
];

impl Desk<'_> {
    pub(super) fn refractometer(
        &self,
        review: &mut Review,
        fluid: Option<&FluidSetup>,
    ) -> Option<Calibration> {
        let compensation = self.brix_compensation(review, fluid)?;
        let right = Refractometer::right(compensation);
        let zeroed = self.zeroed(review, right)?;
        let spanned = self.spanned(review, zeroed)?;
        Some(Calibration::Refractometer(spanned))
    }

    fn brix_compensation(
        &self,
        review: &mut Review,
        fluid: Option<&FluidSetup>,
    ) -> Option<BrixCompensation> {
        let path = self.path("compensation");
        let example = "compensation = \"by_instrument\", or \"per_kelvin\" where it does not";
        let word = review.required(&path, self.raw.compensation.as_deref(), example)?;
        match review.one_of(&path, word, &WORDS)? {
            Word::ByInstrument => Some(BrixCompensation::ByInstrument),
            Word::AsWater => Some(BrixCompensation::AsWater),
            Word::PerKelvin => {
                // A fluid that is not known was told already.
                let fluid = fluid?;
                if fluid.temperature_coefficient.is_none() {
                    let fluid = fluid.name.to_string();
                    review.tell(&path, Problem::NoCoefficient(fluid));
                }
                fluid
                    .temperature_coefficient
                    .map(BrixCompensation::PerKelvin)
            }
        }
    }

    fn zeroed(&self, review: &mut Review, right: Refractometer) -> Option<Refractometer> {
        let given = self.raw.temperature.is_some();
        let Some(written) = &self.raw.zero else {
            self.refuse(
                review,
                "temperature",
                given,
                "zero, as that of the pure water",
            )?;
            return Some(right);
        };
        let path = self.path("zero");
        let shown = review.good(&path, Brix::parse(written.text()))?;
        let water = match self.compensated {
            Compensated::ByInstrument => {
                self.refuse_twice(review, "temperature", given)?;
                None
            }
            Compensated::Here => {
                Some(self.temperature(review, "temperature = \"20 °C\" of the pure water")?)
            }
        };
        let zeroed = right.with_zero(ShownBrix(shown), water);
        review.good(&path, zeroed.map_err(CalibrationProblem::from))
    }

    fn spanned(&self, review: &mut Review, zeroed: Refractometer) -> Option<Refractometer> {
        let path = self.path("span");
        match self.raw.span.as_deref() {
            None => Some(zeroed),
            Some([shown, reference]) => {
                let shown = review.good(&path.item(0), Brix::parse(shown.text()));
                let reference = review.good(&path.item(1), Brix::parse(reference.text()));
                let spanned = zeroed.with_span(ShownBrix(shown?), reference?);
                review.good(&path, spanned.map_err(CalibrationProblem::from))
            }
            Some(list) => {
                let wanted =
                    "what was shown and what the reference has, as [\"10.1 °Bx\", \"10 °Bx\"]";
                let found = list.len();
                review.tell(&path, Problem::Length { wanted, found });
                None
            }
        }
    }
}
