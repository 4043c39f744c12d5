//! Waking every task that waits for something to do.

use tokio::sync::watch;

/// A bell that all tasks hear, also those that were busy when it rang.
pub struct Wake(watch::Sender<u64>);

impl Default for Wake {
    fn default() -> Self {
        Wake(watch::Sender::new(0))
    }
}

impl Wake {
    /// Wakes everybody who listens.
    pub fn wake(&self) {
        self.0.send_modify(|rung| *rung = rung.wrapping_add(1));
    }

    /// An ear of one's own.
    pub fn listen(&self) -> Ear {
        Ear(self.0.subscribe())
    }
}

/// Hears the bell.
pub struct Ear(watch::Receiver<u64>);

impl Ear {
    /// What rang so far is dealt with.
    pub fn mark_unchanged(&mut self) {
        self.0.mark_unchanged();
    }

    /// Waits until it rings; for ever where nobody can ring it any more.
    pub async fn changed(&mut self) {
        if self.0.changed().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
