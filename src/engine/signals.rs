//! The sump's signals at one time: estimates and channel values that may be
//! used now, with their uncertainty.

use std::sync::Arc;

use crate::advice::{self, Found, MixState, Withheld};
use crate::units::{Brix, Length, Measured, Quantity, Span, Volume};

use super::dose_grade::DoseBlock;
use super::event::QualityClass;
use super::watch::SumpWatch;

/// So long foam that was seen is taken to be there, unless it is looked at
/// again. Choice: sumps are looked at daily.
const FOAM_HOLDS: Span = Span::from_hours(24);

/// What drains back is taken as learned once it is known to within this share.
const SURE_OF_DRAIN_BACK: f64 = 0.2;

/// Relative standard uncertainty of a volume that nobody measured: the
/// nameplate is often wrong by 10–30 % (memory, no source).
const ASSUMED_VOLUME_UNCERTAINTY: f64 = 0.1;

/// Standard uncertainty of a reading of a hand refractometer, °Bx or points.
/// Memory: they are read to 0.1 or 0.2 °Bx.
const HAND_UNCERTAINTY: f64 = 0.1;

impl SumpWatch {
    /// The channel's smoothed value, unless it is too old or doubted.
    #[inline]
    pub(super) fn usable(&self, channel: usize) -> Option<f64> {
        let watch = &self.channels[channel];
        let fresh = !watch.is_stale(&self.setup.channels[channel], self.now);
        if fresh && !self.alarms.is_doubted(channel) {
            watch.value(&self.setup.channels[channel].kind)
        } else {
            None
        }
    }

    /// The channel's value, however old.
    pub(super) fn value_of(&self, channel: usize) -> Option<f64> {
        self.channels[channel].value(&self.setup.channels[channel].kind)
    }

    /// The signal that a limit is set on.
    #[inline]
    pub(super) fn signal(&self, quantity: Quantity) -> Option<f64> {
        match quantity {
            Quantity::Concentration => self.concentration_value(),
            Quantity::Volume => self.volume_value(),
            other => self.first_usable(other).map(|(_, value)| value),
        }
    }

    /// Concentration, %: from a refractometer where there is one, else from an
    /// instrument that reports it.
    pub(super) fn concentration_value(&self) -> Option<f64> {
        let (channel, value) = self.concentration_channel()?;
        Some(self.concentration_at(channel, value))
    }

    /// Measured volume, L, lines included.
    pub(super) fn volume_value(&self) -> Option<f64> {
        let (channel, value) = self.volume_channel()?;
        Some(self.volume_at(channel, value) - self.drained_back())
    }

    /// What stands in the tank and belongs into the lines, L: only while the
    /// pumps are known to stand.
    #[inline]
    fn drained_back(&self) -> f64 {
        let none = self.setup.lines.litres() <= 0.0;
        if none || self.pumps_run() != Some(false) {
            return 0.0;
        }
        let learned = self.balance.balance.drain_back_l();
        let known = self.setup.drain_back.map_or(0.0, Volume::litres);
        let sure = |back: &Measured| back.uncertainty < SURE_OF_DRAIN_BACK * back.value;
        learned.filter(sure).map_or(known, |back| back.value)
    }

    /// Concentration with its uncertainty.
    pub fn concentration(&self) -> Option<Measured> {
        let (channel, value) = self.concentration_channel()?;
        Some(self.concentration_by(channel, value).0)
    }

    /// The concentration that a channel's value stands for, with its
    /// uncertainty: of the reading through the chart's slope, and of the chart
    /// itself; and the former alone, in points.
    fn concentration_by(&self, channel: usize, value: f64) -> (Measured, f64) {
        let setup = &self.setup.channels[channel];
        let fluid = &self.setup.fluid;
        let slope = if setup.quantity == Quantity::Brix {
            let net = Brix::from_degrees(value - self.setup.water_zero.degrees());
            fluid.chart.slope_at(net)
        } else {
            1.0
        };
        let by_reading = slope * setup.uncertainty;
        let percent = self.concentration_at(channel, value);
        let by_chart = fluid.chart_uncertainty * percent;
        (
            Measured::new(percent, by_chart.hypot(by_reading)),
            by_reading,
        )
    }

    #[inline]
    pub(super) fn concentration_at(&self, channel: usize, value: f64) -> f64 {
        if self.setup.channels[channel].quantity != Quantity::Brix {
            return value;
        }
        let (reading, zero) = (Brix::from_degrees(value), self.setup.water_zero);
        self.setup
            .fluid
            .chart
            .concentration(reading, zero)
            .percent()
    }

    #[inline]
    pub(super) fn concentration_channel(&self) -> Option<(usize, f64)> {
        self.first_usable(Quantity::Brix)
            .or_else(|| self.first_usable(Quantity::Concentration))
    }

    /// The concentration that a hand reading of a refractometer, or of the
    /// concentration itself, stands for.
    pub(super) fn by_hand(&self, quantity: Quantity, value: f64) -> Measured {
        let fluid = &self.setup.fluid;
        let (percent, slope) = if quantity == Quantity::Brix {
            let (reading, zero) = (Brix::from_degrees(value), self.setup.water_zero);
            let net = Brix::from_degrees(value - zero.degrees());
            let concentration = fluid.chart.concentration(reading, zero);
            (concentration.percent(), fluid.chart.slope_at(net))
        } else {
            (value, 1.0)
        };
        let by_chart = fluid.chart_uncertainty * percent;
        Measured::new(percent, by_chart.hypot(slope * HAND_UNCERTAINTY))
    }

    /// Measured volume with its uncertainty, L, lines included.
    pub(super) fn volume(&self) -> Option<Measured> {
        let (channel, value) = self.volume_channel()?;
        Some(self.volume_by(channel, value))
    }

    /// The volume that a channel's value stands for.
    fn volume_by(&self, channel: usize, value: f64) -> Measured {
        let setup = &self.setup.channels[channel];
        let slope = if setup.quantity == Quantity::Level {
            let level = Length::from_metres(value);
            self.setup.vessel.litres_per_metre(level)
        } else {
            1.0
        };
        let litres = self.volume_at(channel, value) - self.drained_back();
        Measured::new(litres, slope * setup.uncertainty)
    }

    #[inline]
    pub(super) fn volume_at(&self, channel: usize, value: f64) -> f64 {
        if self.setup.channels[channel].quantity != Quantity::Level {
            return value;
        }
        let tank = self.setup.vessel.volume(Length::from_metres(value));
        tank.litres() + self.setup.lines.litres()
    }

    #[inline]
    pub(super) fn volume_channel(&self) -> Option<(usize, f64)> {
        self.first_usable(Quantity::Level)
            .or_else(|| self.first_usable(Quantity::Volume))
    }

    /// The channel's value, if a dose may go by it: neither silent nor doubted,
    /// its newest readings good and enough of them.
    ///
    /// # Errors
    /// With the channel and what keeps it from that.
    fn for_dose(&self, channel: usize) -> Result<f64, Withheld> {
        let name = || Arc::clone(&self.setup.channels[channel].name);
        let (good, needed) = (
            self.channels[channel].good_run(),
            self.setup.dose.good_readings,
        );
        let too_few = || Withheld::TooFew {
            channel: name(),
            good,
            needed,
        };
        let value = self.dose_grade(channel).map_err(|block| match block {
            DoseBlock::NoValue => too_few(),
            DoseBlock::Silent { .. } => Withheld::Silent { channel: name() },
            DoseBlock::Doubted => Withheld::Doubted { channel: name() },
            DoseBlock::Reading {
                class: QualityClass::Bad,
            } => Withheld::Bad { channel: name() },
            DoseBlock::Reading { .. } => Withheld::Unsure { channel: name() },
            DoseBlock::Instrument { reason, since, .. } => Withheld::Instrument {
                channel: name(),
                instrument: reason,
                since,
            },
        })?;
        if good < needed {
            return Err(too_few());
        }
        Ok(value)
    }

    /// The first channel of these quantities that a dose may go by, in this
    /// order; None where there is no channel of any.
    ///
    /// # Errors
    /// What is wrong with the first channel where it is so with all.
    fn first_for_dose(&self, quantities: [Quantity; 2]) -> Result<Option<(usize, f64)>, Withheld> {
        let channels = &self.setup.channels;
        let of =
            |quantity| (0..channels.len()).filter(move |ix| channels[*ix].quantity == quantity);
        let mut wrong = None;
        for channel in quantities.into_iter().flat_map(of) {
            match self.for_dose(channel) {
                Ok(value) => return Ok(Some((channel, value))),
                Err(withheld) => wrong = wrong.or(Some(withheld)),
            }
        }
        wrong.map_or(Ok(None), Err)
    }

    /// Where the sump is, for a dose: by good readings of a sump that is mixed
    /// and does not foam.
    ///
    /// # Errors
    /// With what keeps a dose back, and at which channel.
    pub(super) fn mix_state(&self) -> Result<MixState, Withheld> {
        self.may_be_sampled()?;
        let of_concentration = self.first_for_dose([Quantity::Brix, Quantity::Concentration])?;
        let (channel, value) = of_concentration.ok_or(Withheld::NoConcentration)?;
        let (concentration, repeatability) = self.concentration_by(channel, value);
        let of_volume = self.first_for_dose([Quantity::Level, Quantity::Volume])?;
        let measured = of_volume.map(|(channel, value)| self.volume_by(channel, value));
        Ok(MixState {
            concentration,
            repeatability,
            volume: measured.unwrap_or_else(|| self.assumed_volume()),
            volume_assumed: measured.is_none(),
        })
    }

    /// What was found after mixing, where it is known.
    pub(super) fn found(&self) -> Option<Found> {
        let (channel, value) = self.concentration_channel()?;
        let (concentration, repeatability) = self.concentration_by(channel, value);
        Some(Found {
            concentration: concentration.value,
            repeatability,
            volume: self.volume(),
        })
    }

    /// Where no instrument measures the volume: what is to be kept.
    fn assumed_volume(&self) -> Measured {
        let value = self.setup.working_volume.litres();
        Measured::new(value, ASSUMED_VOLUME_UNCERTAINTY * value)
    }

    /// Whether what the probes see is the mix of the whole sump.
    ///
    /// # Errors
    /// While the pumps are known to stand still, until they have run for as
    /// long as mixing takes, and while foam was the last thing seen.
    fn may_be_sampled(&self) -> Result<(), Withheld> {
        if let Some((since, running)) = self.pumps_since() {
            let mixing = self.mixing_span(self.setup.working_volume);
            if !running {
                return Err(Withheld::PumpsStopped { since });
            }
            if since + mixing > self.now {
                return Err(Withheld::Mixing {
                    until: since + mixing,
                });
            }
        }
        match self.remembered.foam() {
            Some((seen, true)) if seen + FOAM_HOLDS > self.now => Err(Withheld::Foaming { seen }),
            _ => Ok(()),
        }
    }

    #[inline]
    pub(super) fn first_usable(&self, quantity: Quantity) -> Option<(usize, f64)> {
        self.setup
            .channels
            .iter()
            .enumerate()
            .filter(|(_, channel)| channel.quantity == quantity)
            .find_map(|(ix, _)| self.usable(ix).map(|value| (ix, value)))
    }

    /// The volume that an addition must mix into.
    pub(super) fn mixing_volume(&self) -> Volume {
        Volume::from_litres(
            self.volume_value()
                .unwrap_or_else(|| self.setup.working_volume.litres()),
        )
    }

    /// How long an addition to so much takes to mix in.
    pub(super) fn mixing_span(&self, volume: Volume) -> Span {
        advice::mixing_time(&self.setup.dose, volume, self.setup.circulation)
    }
}
