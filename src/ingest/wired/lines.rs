//! One serial port with lines of text as a source.

use std::sync::atomic::Ordering;
use std::time::Instant;

use tokio_serial::SerialStream;

use crate::line::{Freshness, LOOK_EVERY, LineCounts, LineReader, Place};
use crate::settings::{Origin, SerialSettings, Settings};

use super::deliver::{Deliver, Served};
use super::keep::{Attend, Left};
use super::port::{self, OpenError};
use super::state::State;
use super::wire::{AT_ONCE, Lost, Wire, read};

/// A port and the channels that its lines serve.
pub(super) struct LineSource {
    settings: SerialSettings,
    deliver: Deliver,
    /// One a channel, at the place that [`Deliver`] knows it by.
    places: Vec<Place>,
    lines: LineCounts,
    state: State,
    /// Times of the reader are counted from here.
    start: Instant,
}

impl LineSource {
    /// The port at this place of the settings, and the channels that stand in
    /// its lines.
    pub(super) fn new(
        settings: &Settings,
        port: usize,
        mut deliver: Deliver,
        state: State,
    ) -> Self {
        let mut places = Vec::new();
        for route in &settings.routes {
            match route.origin {
                Origin::Line { source, place } if source == port => {
                    deliver.serve(Served::of(route));
                    places.push(place);
                }
                _ => {}
            }
        }
        LineSource {
            settings: settings.serial[port].clone(),
            deliver,
            places,
            lines: LineCounts::default(),
            state,
            start: Instant::now(),
        }
    }

    /// Reads lines. What lay waiting while this was held up would be taken for
    /// lines of now, and is dropped.
    async fn read_on(
        &mut self,
        wire: &mut SerialStream,
        reader: &mut LineReader,
    ) -> Result<std::convert::Infallible, Left> {
        let mut freshness = Freshness::new(self.start.elapsed());
        let mut buffer = [0; AT_ONCE];
        loop {
            let came = tokio::select! {
                biased;
                handed = self.deliver.hand_on(), if self.deliver.holds_any() => {
                    handed?;
                    freshness.look(self.start.elapsed());
                    continue;
                }
                came = tokio::time::timeout(LOOK_EVERY, read(wire, &mut buffer)) => came,
            };
            let fresh = freshness.look(self.start.elapsed());
            let Ok(len) = came else {
                continue;
            };
            let len = len?;
            self.state.heard();
            if fresh {
                self.take(reader, &buffer[..len]);
            } else {
                let behind = wire.discard().map_err(Lost::from)?;
                reader.handle_old(len + behind, &mut self.lines);
                self.state.report().handle_lines(self.lines);
            }
        }
    }

    /// Takes what came in.
    fn take(&mut self, reader: &mut LineReader, bytes: &[u8]) {
        let (deliver, places) = (&mut self.deliver, &self.places);
        let report = self.state.report();
        let name = report.source.to_string();
        let now = self.start.elapsed();
        reader.handle_input(bytes, now, &mut self.lines, |line, values| {
            deliver.received();
            let values = match values {
                Ok(values) => values,
                Err(why) => {
                    deliver.refused(&name, line, &why);
                    return deliver.no_values(&why);
                }
            };
            for (channel, place) in places.iter().enumerate() {
                match values.get(*place) {
                    Ok(number) => deliver.value(channel, number, &name),
                    Err(why) => {
                        deliver.refused(&name, line, &why);
                        deliver.no_value(channel, &why);
                    }
                }
            }
        });
        let oversized = &report.counters.oversized;
        oversized.store(self.lines.overlong, Ordering::Relaxed);
        report.handle_lines(self.lines);
    }
}

impl Attend for LineSource {
    type Wire = SerialStream;
    type Refusal = OpenError;

    async fn open(&mut self) -> Result<SerialStream, OpenError> {
        port::open(&self.settings.port)
    }

    async fn attend(&mut self, mut wire: SerialStream) -> Left {
        let SerialSettings {
            format,
            end,
            longest,
            ..
        } = self.settings.clone();
        let mut reader = LineReader::new(format, end, longest);
        match self.read_on(&mut wire, &mut reader).await {
            Ok(never) => match never {},
            Err(left) => left,
        }
    }

    fn deliver(&mut self) -> &mut Deliver {
        &mut self.deliver
    }

    fn state(&mut self) -> &mut State {
        &mut self.state
    }
}
