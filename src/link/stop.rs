//! One wish, heard by all who hold a copy: stop.

use tokio::sync::watch;

/// A wish to stop. Copies share it; once asked it stays asked.
#[derive(Clone, Debug)]
pub struct Stop(watch::Sender<bool>);

impl Stop {
    /// Not asked yet.
    pub fn new() -> Self {
        Stop(watch::Sender::new(false))
    }

    /// Asks everybody who holds a copy to stop.
    pub fn ask(&self) {
        self.0.send_replace(true);
    }

    /// Whether it was asked.
    pub fn asked(&self) -> bool {
        *self.0.borrow()
    }

    /// Waits until it is asked.
    pub async fn wait(&self) {
        let mut seen = self.0.subscribe();
        // The sender cannot go while it is borrowed here, so the only way out is the wish.
        let _ = seen.wait_for(|asked| *asked).await;
    }
}

impl Default for Stop {
    fn default() -> Self {
        Stop::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_copy_hears_it_whether_it_waits_already_or_comes_late() {
        let stop = Stop::new();
        let copy = stop.clone();
        let waiting = tokio::spawn(async move { copy.wait().await });
        assert!(!stop.asked());
        stop.ask();
        waiting.await.unwrap();
        stop.wait().await;
        assert!(stop.asked());
    }
}
