//! The live feed: one bounded broadcast channel.
//!
//! A slow reader misses messages and nobody waits for it; the store must not depend on this channel.

use boltscribe_http::{LiveMessage, News};
use std::sync::Arc;
use tokio::sync::broadcast;

/// Messages a reader may lag behind before it misses some: over a second of 32 busy rigs.
pub const FEED_MAX: usize = 4096;

/// The sending side of the live feed.
#[derive(Clone)]
pub struct Feed {
    to: broadcast::Sender<Arc<LiveMessage>>,
}

impl Default for Feed {
    fn default() -> Self {
        Self { to: broadcast::channel(FEED_MAX).0 }
    }
}

impl Feed {
    /// Tells everyone who listens; nobody listening is no fault.
    pub fn tell(&self, rig: &str, utc_ns: i64, news: News) {
        if self.to.receiver_count() == 0 {
            return;
        }
        let message = LiveMessage { rig: rig.to_owned(), utc_ns, news };
        let _ = self.to.send(Arc::new(message));
    }

    /// A receiver.
    #[must_use]
    pub fn subscribe(&self) -> broadcast::Receiver<Arc<LiveMessage>> {
        self.to.subscribe()
    }
}
