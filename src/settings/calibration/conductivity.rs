//! A conductivity instrument: its cell, and who compensates.

use crate::chemistry::{
    Cell, ConductivityCompensation, ConductivityProbe, ConductivityStandard, LinearCoefficient,
    ProbeBands, ProbeFactor,
};
use crate::engine::Calibration;
use crate::settings::defaults;
use crate::settings::problem::{CalibrationProblem, Problem};
use crate::settings::remark::Remarked;
use crate::settings::review::Review;
use crate::units::{
    CellConstant, Conductance, ConductivityAsIs, Parse, RelativeCoefficient, Temperature,
};

use super::{BY_INSTRUMENT, Compensated, Desk, Reports};

#[derive(Debug, Clone, Copy)]
enum Word {
    Linear,
    Iso7888,
    ByInstrument,
}

const WORDS: [(&str, Word); 3] = [
    ("linear", Word::Linear),
    ("iso7888", Word::Iso7888),
    (BY_INSTRUMENT, Word::ByInstrument),
];

/// What the standard is referred to where the instrument compensates itself.
const REFERENCE: Temperature = Temperature::from_celsius(25.0);

impl Desk<'_> {
    pub(super) fn probe(&self, review: &mut Review, reports: Reports) -> Option<Calibration> {
        let compensation = self.conductivity_compensation(review)?;
        let probe = match (reports, compensation) {
            (Reports::Conductance, None) => {
                let whose = "instruments that report conductivity; conductance is never \
                             compensated, so write \"linear\"";
                review.tell(&self.path("compensation"), Problem::OnlyFor(whose));
                return None;
            }
            (Reports::Conductance, Some(rule)) => {
                ConductivityProbe::Conductance(self.cell(review)?, rule)
            }
            (_, Some(rule)) => ConductivityProbe::AsIs(self.factor(review)?, rule),
            (_, None) => ConductivityProbe::Compensated(self.factor(review)?),
        };
        Some(Calibration::Probe(probe))
    }

    /// What is left to us to compensate by; none where the instrument does so.
    fn conductivity_compensation(
        &self,
        review: &mut Review,
    ) -> Option<Option<ConductivityCompensation>> {
        let path = self.path("compensation");
        let example = "compensation = \"linear\", or \"by_instrument\" where it compensates itself";
        let word = review.required(&path, self.raw.compensation.as_deref(), example)?;
        let given = self.raw.coefficient.is_some();
        match review.one_of(&path, word, &WORDS)? {
            Word::ByInstrument => {
                self.refuse_twice(review, "coefficient", given)?;
                Some(None)
            }
            Word::Iso7888 => {
                self.refuse(review, "coefficient", given, "compensation = \"linear\"")?;
                review.remark(&path, self.date, Remarked::NaturalWater);
                Some(Some(ConductivityCompensation::NaturalWater))
            }
            Word::Linear => {
                let path = self.path("coefficient");
                let coefficient = review.or_default(
                    &path,
                    self.raw.coefficient.as_ref(),
                    RelativeCoefficient::parse,
                    defaults::CONDUCTIVITY_COEFFICIENT,
                )?;
                let checked = LinearCoefficient::new(coefficient);
                let checked = review.good(&path, checked.map_err(CalibrationProblem::from))?;
                Some(Some(ConductivityCompensation::Linear(checked)))
            }
        }
    }

    fn cell(&self, review: &mut Review) -> Option<Cell> {
        let path = self.path("cell_constant");
        match (&self.raw.cell_constant, self.is_checked()) {
            (Some(_), true) => {
                review.tell(
                    &path,
                    Problem::NotBoth("cell_constant", "standard and shown"),
                );
                None
            }
            (None, true) => {
                let standard = self.standard(review);
                let path = self.path("shown");
                let example = "shown = \"2.8 mS\", the conductance in the standard";
                let written = self.raw.shown.as_ref();
                let shown = review.needed(&path, written, Conductance::parse, example)?;
                let cell = Cell::from_standard(shown, standard?);
                review.good(&path, cell.map_err(CalibrationProblem::from))
            }
            (written, false) => {
                let example = "cell_constant = \"0.5 1/cm\"";
                let constant =
                    review.needed(&path, written.as_ref(), CellConstant::parse, example)?;
                review.good(&path, Cell::new(constant).map_err(CalibrationProblem::from))
            }
        }
    }

    /// Whether the instrument was held into a standard.
    fn is_checked(&self) -> bool {
        self.raw.standard.is_some() || self.raw.shown.is_some()
    }

    fn factor(&self, review: &mut Review) -> Option<ProbeFactor> {
        if !self.is_checked() {
            let given = self.raw.temperature.is_some();
            self.refuse(review, "temperature", given, "standard and shown")?;
            return Some(ProbeFactor::NONE);
        }
        let standard = self.standard(review);
        let path = self.path("shown");
        let example = "shown = \"1390 µS/cm\", the reading in the standard";
        let written = self.raw.shown.as_ref();
        let shown = review.needed(&path, written, ConductivityAsIs::parse, example)?;
        let factor = ProbeFactor::from_standard(
            shown.microsiemens_per_cm(),
            standard?.microsiemens_per_cm(),
        );
        let factor = review.good(&path, factor.map_err(CalibrationProblem::from))?;
        if let Some(remark) = factor.judge(&ProbeBands::default()) {
            review.remark(self.at, self.date, Remarked::Probe(remark));
        }
        Some(factor)
    }

    /// What the standard has: by its name, or as its bottle states it for the
    /// temperature.
    fn standard(&self, review: &mut Review) -> Option<ConductivityAsIs> {
        let path = self.path("standard");
        let example = "standard = \"kcl-1413\"";
        let written = review.required(&path, self.raw.standard.as_ref(), example)?;
        let temperature = match self.compensated {
            Compensated::Here => {
                self.temperature(review, "temperature = \"24 °C\" of the standard")?
            }
            Compensated::ByInstrument => {
                let given = self.raw.temperature.is_some();
                self.refuse_twice(review, "temperature", given)?;
                REFERENCE
            }
        };
        let starts_as_number = written.text().starts_with(|c: char| c.is_ascii_digit());
        if starts_as_number {
            return review.good(&path, ConductivityAsIs::parse(written.text()));
        }
        let names = ConductivityStandard::ALL.map(|standard| (standard.name(), standard));
        let standard = review.one_of(&path, written.text(), &names)?;
        let at = standard.at(temperature).map_err(CalibrationProblem::from);
        review.good(&path, at)
    }
}
