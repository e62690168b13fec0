//! Edge nodes: asking for births, and missing those that do not show
//! themselves.

use super::poll::Poller;
use crate::ingest::intake::Arrived;
use crate::mqtt::Client;

impl Poller {
    /// Gathers what channels are told of nodes that do not show themselves.
    pub(super) fn miss_nodes(&mut self) {
        let arrival = (self.source.clock)();
        let mut contents = std::mem::take(&mut self.contents);
        self.source.router.nodes_mut().miss(arrival, &mut contents);
        for (sump, content) in contents.drain(..) {
            let (shard, _) = self.source.intake.place(sump);
            self.gathered[shard].arrived.push(Arrived {
                sump,
                arrival,
                content,
                ack: None,
            });
            self.gathering += 1;
        }
        self.contents = contents;
    }

    /// Publishes the requests for births that are due. One that finds no room
    /// is left: the next message that is not understood wants it again.
    pub(super) fn ask_for_births(&mut self, client: &Client) {
        let nodes = self.source.router.nodes_mut();
        if !nodes.has_requests() {
            return;
        }
        let now = (self.source.clock)();
        for (topic, payload) in nodes.requests(now) {
            match client.command(&topic, payload) {
                Ok(()) => tracing::info!(topic, "asked for a new birth"),
                Err(error) => tracing::warn!(topic, "cannot ask for a new birth: {error}"),
            }
        }
    }
}
