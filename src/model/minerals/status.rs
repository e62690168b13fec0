//! The minerals of a sump as others are shown them.

use serde::Serialize;

use super::advice::{WaterAdvice, advise};
use super::content::{Content, Read};
use super::excess::{ConductivityExcess, content_by_excess};
use super::forecast::{Course, Forecast, Losses};
use super::setup::{Mineral, MineralSetup};
use super::watch::MineralWatch;
use crate::units::{Concentration, Conductivity, Measured, Timestamp, Volume};

/// The minerals of a sump.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MineralStatus {
    /// Hardness and chloride, each where something is known of it.
    pub tracers: Vec<TracerStatus>,
    /// Conductivity against its base line.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub excess: Option<ConductivityExcess>,
    /// Which water for what, and why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub advice: Option<WaterAdvice>,
}

/// One mineral of a sump.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TracerStatus {
    /// Which.
    pub mineral: Mineral,
    /// Content of the mix, mg/L (hardness as calcium carbonate).
    pub content_mg_l: Option<Measured>,
    /// Since when it is not known any more, as water of unknown content was put
    /// in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unknown_since: Option<Timestamp>,
    /// What the last reading said where something else had been expected, mg/L:
    /// read, expected, when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surprise: Option<Surprise>,
    /// Content by the excess of conductivity alone, mg/L; an upper figure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_conductivity_mg_l: Option<Measured>,
    /// Where it ends with the present losses and top-up water, mg/L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steady_mg_l: Option<f64>,
    /// When it reaches the next limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<Forecast>,
    /// What must be known of its readings.
    pub remark: &'static str,
}

/// A reading that nobody expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Surprise {
    /// When it was taken.
    pub time: Timestamp,
    /// What was read, mg/L.
    pub read_mg_l: f64,
    /// What had been expected, mg/L.
    pub expected_mg_l: f64,
}

/// The sump as it is now.
#[derive(Debug, Clone, Copy)]
pub struct SumpNow {
    /// Volume, above 0.
    pub volume: Volume,
    /// Concentration; where it is not known, that which is wanted.
    pub concentration: Concentration,
    /// Conductivity, where it is known together with the concentration.
    pub conductivity: Option<Conductivity>,
    /// What goes out, where that is known.
    pub losses: Option<Losses>,
}

impl MineralWatch {
    /// What is known now; nothing where nothing is.
    pub fn status(&self, setup: &MineralSetup, now: &SumpNow) -> Option<MineralStatus> {
        let seen = now.conductivity;
        let excess = seen.and_then(|seen| self.excess(setup, seen, now.concentration));
        let tracers = Mineral::ALL
            .into_iter()
            .filter_map(|mineral| self.tracer_status(mineral, setup, now, excess.as_ref()));
        let status = MineralStatus {
            tracers: tracers.collect(),
            excess,
            advice: advise(setup, now),
        };
        let silent =
            status.tracers.is_empty() && status.excess.is_none() && status.advice.is_none();
        (!silent).then_some(status)
    }

    /// How long the content takes to its next limit, where that is known: most
    /// likely, and at most in nineteen of twenty cases where that is not beyond
    /// `most_d`; both in days.
    pub fn next_limit_in(
        &self,
        mineral: Mineral,
        setup: &MineralSetup,
        now: &SumpNow,
        most_d: f64,
    ) -> Option<(f64, Option<f64>)> {
        let course = self.course(mineral, setup, now)?;
        let next = next_limit(&course, setup, mineral);
        let likely = course.likely_reaches(next)?;
        Some((likely, course.surely_reaches(next, most_d)))
    }

    fn course(&self, mineral: Mineral, setup: &MineralSetup, now: &SumpNow) -> Option<Course> {
        let top_up = setup.top_up.as_deref()?;
        Some(Course {
            volume: now.volume,
            concentration: now.concentration,
            losses: now.losses?,
            now: self.content(mineral, now.volume)?,
            top_up: top_up.content(mineral)?,
        })
    }

    fn tracer_status(
        &self,
        mineral: Mineral,
        setup: &MineralSetup,
        now: &SumpNow,
        excess: Option<&ConductivityExcess>,
    ) -> Option<TracerStatus> {
        let tracer = self.tracer(mineral);
        let content = tracer.mg_l(now.volume);
        let unknown_since = match tracer {
            Content::Lost { since } => Some(*since),
            Content::Unknown | Content::Followed(_) => None,
        };
        if content.is_none() && unknown_since.is_none() {
            return None;
        }
        let top_up = setup.top_up.as_deref();
        let brings = top_up.and_then(|water| water.content(mineral));
        let course = self.course(mineral, setup, now);
        let by_conductivity = excess.and_then(|excess| {
            let conducts = top_up?.conductivity?;
            content_by_excess(excess, self.at_first_fill(mineral)?, brings?, conducts)
        });
        Some(TracerStatus {
            mineral,
            content_mg_l: content,
            unknown_since,
            surprise: tracer.read().and_then(surprise),
            by_conductivity_mg_l: by_conductivity,
            steady_mg_l: course.and_then(|c| c.turnover().steady_mg_l(c.top_up.value)),
            forecast: course.map(|course| course.reaches(next_limit(&course, setup, mineral))),
            remark: mineral.remark(),
        })
    }
}

/// The first limit that the content has not passed, or the last, mg/L.
fn next_limit(course: &Course, setup: &MineralSetup, mineral: Mineral) -> f64 {
    let bounds = setup.bounds(mineral);
    if course.now.value < bounds.watch {
        bounds.watch
    } else {
        bounds.act
    }
}

fn surprise(read: Read) -> Option<Surprise> {
    read.surprising.map(|expected| Surprise {
        time: read.time,
        read_mg_l: read.value,
        expected_mg_l: expected,
    })
}
