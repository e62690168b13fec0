//! The sump's signals at one time: estimates and channel values that may be
//! used now, with their uncertainty.

use crate::advice::{MixState, Withheld};
use crate::units::{Brix, Length, Measured, Quantity, Volume};

use super::watch::SumpWatch;

/// Relative standard uncertainty of a volume that nobody measured: the
/// nameplate is often wrong by 10–30 % (memory, no source).
const ASSUMED_VOLUME_UNCERTAINTY: f64 = 0.1;

impl SumpWatch {
    /// The channel's smoothed value, unless it is silent or doubted.
    #[inline]
    pub(super) fn usable(&self, channel: usize) -> Option<f64> {
        let watch = &self.channels[channel];
        let fresh = !watch.is_silent(&self.setup.channels[channel], self.now);
        if fresh && !self.doubts[channel].is_active() {
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
        if let Some((_, brix)) = self.first_usable(Quantity::Brix) {
            let reading = Brix::from_degrees(brix);
            let chart = &self.setup.fluid.chart;
            return Some(
                chart
                    .concentration(reading, self.setup.water_zero)
                    .percent(),
            );
        }
        self.first_usable(Quantity::Concentration)
            .map(|(_, value)| value)
    }

    /// Measured volume, L, lines included.
    pub(super) fn volume_value(&self) -> Option<f64> {
        if let Some((_, level)) = self.first_usable(Quantity::Level) {
            let tank = self.setup.vessel.volume(Length::from_metres(level));
            return Some(tank.litres() + self.setup.lines.litres());
        }
        self.first_usable(Quantity::Volume).map(|(_, value)| value)
    }

    /// Concentration with its uncertainty: of the reading through the chart's
    /// slope, and of the chart itself.
    pub(super) fn concentration(&self) -> Option<Measured> {
        let value = self.concentration_value()?;
        let by_chart = self.setup.fluid.chart_uncertainty * value;
        let by_reading = match self.first_usable(Quantity::Brix) {
            Some((channel, brix)) => {
                let net = Brix::from_degrees(brix - self.setup.water_zero.degrees());
                let slope = self.setup.fluid.chart.slope_at(net);
                slope * self.setup.channels[channel].uncertainty
            }
            None => {
                let (channel, _) = self.first_usable(Quantity::Concentration)?;
                self.setup.channels[channel].uncertainty
            }
        };
        Some(Measured {
            value,
            uncertainty: by_chart.hypot(by_reading),
        })
    }

    /// Volume with its uncertainty; where no instrument measures it, the
    /// volume that the sump is to be kept at.
    fn volume(&self) -> Option<(Measured, bool)> {
        if !self.measures(Quantity::Level) && !self.measures(Quantity::Volume) {
            let value = self.setup.working_volume.litres();
            let uncertainty = ASSUMED_VOLUME_UNCERTAINTY * value;
            return Some((Measured { value, uncertainty }, true));
        }
        let value = self.volume_value()?;
        let uncertainty = match self.first_usable(Quantity::Level) {
            Some((channel, level)) => {
                self.setup
                    .vessel
                    .litres_per_metre(Length::from_metres(level))
                    * self.setup.channels[channel].uncertainty
            }
            None => {
                let (channel, _) = self.first_usable(Quantity::Volume)?;
                self.setup.channels[channel].uncertainty
            }
        };
        Some((Measured { value, uncertainty }, false))
    }

    /// Where the sump is, for a dose.
    pub(super) fn mix_state(&self) -> Result<MixState, Withheld> {
        let concentration = self.concentration().ok_or(Withheld::NoConcentration)?;
        let (volume, volume_assumed) = self.volume().ok_or(Withheld::NoVolume)?;
        Ok(MixState {
            concentration,
            volume,
            volume_assumed,
        })
    }

    /// Whether the sump has a channel of this quantity.
    fn measures(&self, quantity: Quantity) -> bool {
        self.setup.channels.iter().any(|c| c.quantity == quantity)
    }

    #[inline]
    fn first_usable(&self, quantity: Quantity) -> Option<(usize, f64)> {
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
}
