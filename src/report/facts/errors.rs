//! How far the instruments and people of a sump can be trusted, by its settings.

use crate::engine::SumpSetup;
use crate::units::{Brix, Length, Quantity};

/// Losses below this share of the working volume a day are as good as none; as the
/// daemon has it.
const NONE_A_DAY: f64 = 0.002;

/// How far volume and concentration of a sump can be trusted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errors {
    /// Of the volume, by scatter and wander, L.
    pub volume_l: f64,
    /// By drift in ten days, L.
    pub volume_drift_l: f64,
    /// Of the concentration, in points.
    pub points: f64,
    /// By drift in ten days, in points.
    pub points_drift: f64,
    /// Of the chart, as a share.
    pub chart: f64,
    /// How people measure out, as a share.
    pub metering: f64,
    /// Losses of so much a day are as good as none, L.
    pub none_l_per_d: f64,
}

impl Errors {
    /// By the settings of a sump.
    pub fn of(setup: &SumpSetup) -> Self {
        let channel = |quantities: &[Quantity]| {
            let mut channels = setup.channels.iter();
            channels.find(|one| quantities.contains(&one.quantity))
        };
        let level = channel(&[Quantity::Level, Quantity::Volume]);
        let strength = channel(&[Quantity::Brix, Quantity::Concentration]);
        let working = setup.working_volume;
        let litres = level.map_or(1.0, |one| match one.quantity {
            Quantity::Level => {
                let at: Length = setup.vessel.level_for(working);
                setup.vessel.litres_per_metre(at)
            }
            _ => 1.0,
        });
        let points = strength.map_or(1.0, |one| match one.quantity {
            Quantity::Brix => {
                let chart = &setup.fluid.chart;
                chart.slope_at(chart.brix_for(setup.target, Brix::default()))
            }
            _ => 1.0,
        });
        let of = |one: Option<&crate::engine::ChannelSetup>, slope: f64| {
            one.map_or((0.0, 0.0), |one| {
                (slope * one.uncertainty.hypot(one.wander), slope * one.drift)
            })
        };
        let (volume_l, volume_drift_l) = of(level, litres);
        let (points, points_drift) = of(strength, points);
        Errors {
            volume_l,
            volume_drift_l,
            points,
            points_drift,
            chart: setup.fluid.chart_uncertainty,
            metering: setup.metering,
            none_l_per_d: NONE_A_DAY * working.litres(),
        }
    }
}
