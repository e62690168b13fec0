//! The brain: one [`SumpWatch`] a sump, and the shard that keeps the time for
//! several of them. Nothing else decides anything.
//!
//! Promises: the same events give the same effects, byte for byte; time comes
//! from events only; a sump's memory is fixed by its settings; a watch can be
//! written to a snapshot and goes on from it as if nothing had happened.
//! Refuses: to look at a clock, a file, a socket or an unchecked setting.

mod event;
mod setup;

pub use event::{
    AdditionKind, Effect, Entry, EntryKind, Event, HappeningKind, JournalRecord, Quality,
    QualityClass, Reading, Sample, SeriesIx,
};
pub use setup::{
    AdmissionSetup, ChannelSetup, DespikeSetup, DoseSetup, FluidSetup, LimitLevel, LimitSetup,
    Priority, SumpSetup,
};
