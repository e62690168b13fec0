//! From raw readings to a signal that can be trusted: loop currents, despiking,
//! smoothing, the counts of meters, trends, control charts and how instruments are.
//!
//! Promises: fixed memory a channel, no allocation a reading, the same result
//! for the same readings. Only a trend, which is asked for now and then, takes
//! memory while it is worked out. Refuses: to invent a value where there is
//! none.

mod control;
mod cusum;
mod ewma_chart;
mod hampel;
mod instrument;
mod loop_current;
mod meter;
mod shift_chart;
mod smooth;
mod trend;

pub use control::{ChartError, Control};
pub use cusum::{Cusum, CusumSetup, HeadStart};
pub use ewma_chart::{EwmaChart, EwmaSetup};
pub use hampel::{DESPIKE_CAPACITY, Despike, DespikeSetup, Judged, hampel};
pub use instrument::{
    Bad, Compared, Drift, Fluid, InstrumentClass, InstrumentJudgement, InstrumentReason,
    InstrumentSetup, InstrumentWatch, Probe, Seen,
};
pub use loop_current::{
    LoopJudgement, LoopRange, LoopRangeError, LoopState, LoopWatch, UNDEFINED_HOLD,
};
pub use meter::{Counted, Meter, MeterSetup};
pub use shift_chart::{Shift, ShiftChart, ShiftSetup};
pub use smooth::Smoother;
pub use trend::{Confidence, TREND_CAPACITY, Trend, TrendError, theil_sen, theil_sen_per_hour};
