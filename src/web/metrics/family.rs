//! One family of values, written as OpenMetrics wants it: described once, with
//! all its values behind.

use std::fmt;

use prometheus_client::encoding::{
    DescriptorEncoder, EncodeCounterValue, EncodeLabelSet, NoLabelSet,
};
use prometheus_client::metrics::MetricType;
use prometheus_client::registry::Unit;

/// What a family is called and means.
#[derive(Debug, Clone, Copy)]
pub(super) struct Family {
    /// Without prefix, unit and the ending of its kind.
    pub(super) name: &'static str,
    /// Its base unit, which becomes a part of the name.
    pub(super) unit: Option<&'static str>,
    /// A sentence.
    pub(super) help: &'static str,
}

impl Family {
    /// One without a unit.
    pub(super) const fn new(name: &'static str, help: &'static str) -> Self {
        let unit = None;
        Family { name, unit, help }
    }

    /// One in this base unit.
    pub(super) const fn of(name: &'static str, unit: &'static str, help: &'static str) -> Self {
        let unit = Some(unit);
        Family { name, unit, help }
    }

    fn unit(&self) -> Option<Unit> {
        self.unit.map(|unit| Unit::Other(unit.to_owned()))
    }

    /// Values that go up and down. What is no number is left out, and so is a
    /// family without any value.
    pub(super) fn gauges<L: EncodeLabelSet>(
        &self,
        out: &mut DescriptorEncoder<'_>,
        rows: impl IntoIterator<Item = (L, f64)>,
    ) -> fmt::Result {
        let rows = rows.into_iter().filter(|(_, value)| value.is_finite());
        let mut rows = rows.peekable();
        if rows.peek().is_none() {
            return Ok(());
        }
        let unit = self.unit();
        let kind = MetricType::Gauge;
        let mut family = out.encode_descriptor(self.name, self.help, unit.as_ref(), kind)?;
        rows.try_for_each(|(labels, value)| family.encode_family(&labels)?.encode_gauge(&value))
    }

    /// Values that only go up, from the daemon's start on.
    pub(super) fn counters<L: EncodeLabelSet, V: EncodeCounterValue>(
        &self,
        out: &mut DescriptorEncoder<'_>,
        rows: impl IntoIterator<Item = (L, V)>,
    ) -> fmt::Result {
        let mut rows = rows.into_iter().peekable();
        if rows.peek().is_none() {
            return Ok(());
        }
        let unit = self.unit();
        let kind = MetricType::Counter;
        let mut family = out.encode_descriptor(self.name, self.help, unit.as_ref(), kind)?;
        rows.try_for_each(|(labels, value)| {
            let mut one = family.encode_family(&labels)?;
            one.encode_counter::<NoLabelSet, V, f64>(&value, None)
        })
    }

    /// How values are spread over steps, with their sum.
    pub(super) fn histogram(
        &self,
        out: &mut DescriptorEncoder<'_>,
        steps: &[(f64, u64)],
        sum: f64,
    ) -> fmt::Result {
        let unit = self.unit();
        let kind = MetricType::Histogram;
        let mut family = out.encode_descriptor(self.name, self.help, unit.as_ref(), kind)?;
        let count = steps.iter().map(|(_, count)| count).sum();
        family.encode_histogram::<NoLabelSet>(sum, count, steps, None)
    }

    /// What does not change, in labels.
    pub(super) fn info<L: EncodeLabelSet>(
        &self,
        out: &mut DescriptorEncoder<'_>,
        labels: &L,
    ) -> fmt::Result {
        let kind = MetricType::Info;
        let mut family = out.encode_descriptor(self.name, self.help, None, kind)?;
        family.encode_info(labels)
    }
}
