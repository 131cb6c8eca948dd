//! The wish of the user or the system to stop.

use std::io;

use super::Failure;
use crate::link::Stop;

/// From now on asks for a stop when the user or the system does. A second signal is not needed: every wait has its
/// bound.
pub(super) fn stop_on_signals(stop: &Stop) -> Result<(), Failure> {
    let signalled = signalled().map_err(Failure::outcome)?;
    let asked = stop.clone();
    tokio::spawn(async move {
        signalled.await;
        asked.ask();
    });
    Ok(())
}

/// Signals are caught from the call on, not from the first wait on: one that came between would end the program with
/// the terminal in raw mode.
#[cfg(unix)]
fn signalled() -> io::Result<impl Future<Output = ()>> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
            _ = hang_up.recv() => {}
        }
    })
}

#[cfg(not(unix))]
fn signalled() -> io::Result<impl Future<Output = ()>> {
    let mut interrupt = tokio::signal::windows::ctrl_c()?;
    Ok(async move {
        interrupt.recv().await;
    })
}
