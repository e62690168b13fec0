//! One metric that a channel wants: what a message says of it, and when it was
//! so.

use std::sync::Arc;

use crate::units::{Span, Timestamp};

use super::host::Delivery;
use super::metric::{Metric, MetricQuality};
use super::outcome::{Counters, Finding, Footing, News, Outcome, Trouble};
use super::topic::Kind;
use super::value::{DataType, Value};

/// The least that one time is after another.
const TICK: Span = Span::from_millis(1);

/// One message while it is being read.
pub(super) struct Desk<'a> {
    /// What the message is.
    pub(super) kind: Kind,
    /// Whether it came for the first time.
    pub(super) delivery: Delivery,
    /// When it was sent, as the node says.
    pub(super) sent: Option<Timestamp>,
    /// When it came.
    pub(super) arrival: Timestamp,
    pub(super) out: &'a mut Outcome,
    pub(super) counters: &'a mut Counters,
}

impl Desk<'_> {
    pub(super) fn find(&mut self, metric: usize, news: News) {
        self.out.findings.push(Finding { metric, news });
    }
}

/// A metric that a channel wants.
#[derive(Debug)]
pub(super) struct Wanted {
    /// Its place in the host.
    pub(super) place: usize,
    pub(super) name: Arc<str>,
    /// As the latest birth has it.
    pub(super) datatype: Option<DataType>,
    /// Whether the latest birth has it.
    pub(super) in_birth: bool,
    newest: Option<Newest>,
}

/// The newest thing that was said of a metric.
#[derive(Debug, Clone, Copy)]
struct Newest {
    /// When the node says that the value was taken.
    taken: Timestamp,
    /// When it was said to be so.
    so_at: Timestamp,
    value: Option<Value>,
}

impl Wanted {
    pub(super) fn new(place: usize, name: Arc<str>) -> Self {
        Wanted {
            place,
            name,
            datatype: None,
            in_birth: false,
            newest: None,
        }
    }

    /// What one metric of a message says.
    pub(super) fn read(&mut self, metric: &Metric<'_>, footing: Footing, desk: &mut Desk<'_>) {
        if metric.historical {
            return self.read_past(metric, footing, desk);
        }
        let carried = match metric.quality {
            MetricQuality::Stale => None,
            MetricQuality::Good | MetricQuality::Bad => metric.value,
        };
        let read = carried.map(|value| value.read(metric.datatype.or(self.datatype)));
        let value = match read {
            Some(Ok(value)) => Some(value),
            Some(Err(why)) => {
                desk.counters.unreadable += 1;
                let metric = Arc::clone(&self.name);
                let trouble = Trouble::Value { metric, why };
                desk.out.trouble_of(self.place, trouble);
                None
            }
            None => None,
        };
        let time = self.time(metric, value, desk);
        let news = match value {
            Some(value) => News::Reading {
                value,
                time,
                quality: metric.quality,
                footing,
                historical: false,
            },
            // It is sent when it changes: the last value holds no more.
            None => News::Gone {
                time: time.unwrap_or(desk.arrival),
            },
        };
        desk.find(self.place, news);
    }

    /// A value of the past stands at its own time, and says nothing of now.
    fn read_past(&self, metric: &Metric<'_>, footing: Footing, desk: &mut Desk<'_>) {
        let name = || Arc::clone(&self.name);
        let trouble = match (metric.time, metric.value, metric.quality) {
            (None, ..) => Trouble::PastWithoutTime { metric: name() },
            (_, None, _) | (_, _, MetricQuality::Stale) => {
                desk.counters.past_unusable += 1;
                return;
            }
            (time, Some(value), quality) => match value.read(metric.datatype.or(self.datatype)) {
                Ok(value) => {
                    let news = News::Reading {
                        value,
                        time,
                        quality,
                        footing,
                        historical: true,
                    };
                    return desk.find(self.place, news);
                }
                Err(why) => Trouble::Value {
                    metric: name(),
                    why,
                },
            },
        };
        desk.counters.past_unusable += 1;
        desk.out.trouble_of(self.place, trouble);
    }

    /// When a present value is so: when it was taken, but in a birth, which
    /// says what is so now, when that was sent.
    ///
    /// Present values of one metric come in the order of their times (chapter
    /// 5, "Data Publish"). So one that was taken after the newest, but before
    /// the birth that held the newest was sent, is so right after that birth.
    fn time(
        &mut self,
        metric: &Metric<'_>,
        value: Option<Value>,
        desk: &Desk<'_>,
    ) -> Option<Timestamp> {
        let taken = metric.time.or(desk.sent)?;
        let so_at = match desk.kind {
            Kind::Birth => desk.sent.unwrap_or(taken),
            _ => taken,
        };
        if desk.delivery == Delivery::Again {
            return Some(so_at);
        }
        let so_at = match self.newest {
            Some(newest) if taken >= newest.taken && so_at <= newest.so_at => {
                let same = taken == newest.taken && value == newest.value;
                if same {
                    newest.so_at
                } else {
                    newest.so_at + TICK
                }
            }
            _ => so_at,
        };
        if self.newest.is_none_or(|newest| so_at > newest.so_at) {
            self.newest = Some(Newest {
                taken,
                so_at,
                value,
            });
        }
        Some(so_at)
    }

    /// The time of a death, which came after everything else: not before the
    /// newest value, even where the clocks of node and host differ.
    pub(super) fn no_earlier(&self, time: Timestamp) -> Timestamp {
        self.newest.map_or(time, |newest| newest.so_at.max(time))
    }
}
