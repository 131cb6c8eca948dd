//! A connection over Bluetooth as a stream of bytes.
//!
//! The library's streams of notifications and events do not end with the connection, nor with the system's Bluetooth
//! service. So three things go on side by side, and the first that ends says why: notifications are taken in, messages
//! are written, and it is watched whether there still is a connection.

use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use btleplug::api::{
    CentralEvent, CentralState, CharPropFlags, Characteristic, Peripheral as _, ValueNotification, WriteType,
};
use btleplug::platform::Peripheral;
use futures_util::{Stream, StreamExt};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, DuplexStream, ReadBuf, duplex};
use tokio::sync::mpsc;
use tokio::task::AbortHandle;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::super::SEND_MAX_BYTES;
use super::radio::{CALL_MAX_WAIT, within};

/// Notifications that wait to be read. A notification holds 512 bytes at most, so this is 2 MiB, minutes of the fastest
/// link; nothing can hold the instrument back, so beyond it the connection is given up rather than bytes lost unseen.
const NOTIFICATIONS_MAX: usize = 4096;
/// How often it is asked whether there still is a connection, should nobody have said that it went.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// How long a write may take: a radio repeats what was not received, and gives the connection up after at most 32 s;
/// long before that somebody wants to know.
const WRITE_MAX_WAIT: Duration = Duration::from_secs(10);
/// Bytes of a notification or write that carry no data, by the Attribute Protocol: code and handle.
const OVERHEAD_BYTES: u16 = 3;
/// The least MTU there is.
const MTU_MIN: u16 = 23;
/// A full notification after which nothing comes for this long was probably cut off.
const CUT_AFTER: Duration = Duration::from_secs(1);

/// Notifications of a connected device.
type Notifications = Pin<Box<dyn Stream<Item = ValueNotification> + Send>>;
/// What happens to the adapter and its devices.
type Events = Pin<Box<dyn Stream<Item = CentralEvent> + Send>>;

/// What a stream goes over.
pub(super) struct Line {
    pub(super) peripheral: Peripheral,
    pub(super) notify: Characteristic,
    pub(super) write: Option<Characteristic>,
    pub(super) mtu: u16,
    pub(super) hint: Hint,
}

/// Something that the user should know, said once.
#[derive(Clone, Default)]
pub(super) struct Hint(Arc<Mutex<Option<String>>>);

impl Hint {
    fn give(&self, what: String) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(what);
    }

    pub(super) fn take(&self) -> Option<String> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }
}

/// The bytes of a connection. Dropped, it is no longer listened to; the connection itself is not ended by that.
pub(in crate::link) struct BleStream {
    received: mpsc::Receiver<Vec<u8>>,
    /// What of the last notification is not read yet.
    rest: Vec<u8>,
    sent: DuplexStream,
    /// Why it ended, once it has.
    ended: Arc<OnceLock<String>>,
    task: AbortHandle,
}

impl BleStream {
    /// Begins to take in and to send.
    pub(super) fn start(line: Line, notifications: Notifications, events: Events) -> Self {
        let (taken, received) = mpsc::channel(NOTIFICATIONS_MAX);
        let (sent, to_send) = duplex(SEND_MAX_BYTES);
        let ended = Arc::new(OnceLock::new());
        let why = Arc::clone(&ended);
        let task = tokio::spawn(async move {
            let reason = tokio::select! {
                // What was heard by the time it ended is taken in first.
                biased;
                reason = hear(&line, notifications, &taken) => reason,
                reason = watch(&line, events) => reason,
                reason = speak(&line, to_send) => reason,
            };
            let _ = why.set(reason);
            drop(taken);
        });
        BleStream { received, rest: Vec::new(), sent, ended, task: task.abort_handle() }
    }
}

impl Drop for BleStream {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn hear(line: &Line, mut notifications: Notifications, taken: &mpsc::Sender<Vec<u8>>) -> String {
    let mut cut = Cut::new(line.mtu);
    while let Some(notification) = notifications.next().await {
        if notification.uuid != line.notify.uuid || notification.value.is_empty() {
            continue;
        }
        if let Some(hint) = cut.hint(notification.value.len(), Instant::now()) {
            line.hint.give(hint);
        }
        if taken.try_send(notification.value).is_err() {
            return format!("more than {NOTIFICATIONS_MAX} notifications were waiting to be kept");
        }
    }
    "the system's Bluetooth service ended".to_owned()
}

async fn watch(line: &Line, mut events: Events) -> String {
    let mut looks = interval(LOOK_EVERY);
    looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let id = line.peripheral.id();
    loop {
        tokio::select! {
            event = events.next() => match event {
                Some(CentralEvent::DeviceDisconnected(gone)) if gone == id => return GONE.to_owned(),
                Some(CentralEvent::StateUpdate(CentralState::PoweredOff)) => {
                    return "Bluetooth was switched off on this machine".to_owned();
                }
                Some(_) => {}
                None => return "the system's Bluetooth service ended".to_owned(),
            },
            _ = looks.tick() => match within(CALL_MAX_WAIT, line.peripheral.is_connected()).await {
                Ok(true) => {}
                Ok(false) => return GONE.to_owned(),
                Err(failed) => return format!("the system's Bluetooth service lost it: {failed}"),
            },
        }
    }
}

const GONE: &str = "the instrument is gone from Bluetooth: out of reach, switched off, or connected to something else";

async fn speak(line: &Line, mut to_send: DuplexStream) -> String {
    let Some(write) = &line.write else { return std::future::pending().await };
    let way = match write.properties.contains(CharPropFlags::WRITE) {
        true => WriteType::WithResponse,
        false => WriteType::WithoutResponse,
    };
    let mut piece = vec![0; usize::from(line.mtu.max(MTU_MIN) - OVERHEAD_BYTES)];
    loop {
        // Our own end of a pipe in memory, which is open for as long as this runs.
        let Ok(length @ 1..) = to_send.read(&mut piece).await else { return std::future::pending().await };
        match timeout(WRITE_MAX_WAIT, line.peripheral.write(write, &piece[..length], way)).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => return format!("a message to the instrument was not taken: {error}"),
            Err(_) => {
                return format!("a message to the instrument was not taken within {} s", WRITE_MAX_WAIT.as_secs());
            }
        }
    }
}

/// Notices an instrument that cuts its records off at what one notification can carry: a full one, and then nothing.
struct Cut {
    /// The most that one can carry.
    most: usize,
    full_at: Option<Instant>,
    said: Said,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    NotYet,
    Once,
}

impl Cut {
    fn new(mtu: u16) -> Self {
        Cut { most: usize::from(mtu.saturating_sub(OVERHEAD_BYTES)), full_at: None, said: Said::NotYet }
    }

    /// A notification of so many bytes has come.
    fn hint(&mut self, length: usize, now: Instant) -> Option<String> {
        let full_before = self.full_at.take();
        if length == self.most {
            self.full_at = Some(now);
        }
        let alone = full_before.is_some_and(|at| now.duration_since(at) >= CUT_AFTER);
        if !alone || self.said == Said::Once {
            return None;
        }
        self.said = Said::Once;
        Some(format!(
            "a notification was full ({} bytes, MTU {}) and nothing followed it: if records are refused, the instrument \
             cuts them off there; set it to send them in pieces, or shorter ones",
            self.most,
            self.most + usize::from(OVERHEAD_BYTES)
        ))
    }
}

impl AsyncRead for BleStream {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let stream = self.get_mut();
        if stream.rest.is_empty() {
            match stream.received.poll_recv(cx) {
                Poll::Pending => return Poll::Pending,
                Poll::Ready(Some(bytes)) => stream.rest = bytes,
                Poll::Ready(None) => {
                    // Without a reason the task was ended from outside: the end, as of any stream.
                    return Poll::Ready(stream.ended.get().map_or(Ok(()), |why| Err(io::Error::other(why.clone()))));
                }
            }
        }
        let length = stream.rest.len().min(buffer.remaining());
        buffer.put_slice(&stream.rest[..length]);
        stream.rest.drain(..length);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for BleStream {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.get_mut().sent).poll_write(cx, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().sent).poll_flush(cx)
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().sent).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_notification_that_nothing_follows_is_told_once() {
        let mut cut = Cut::new(23);
        let began = Instant::now();
        let at = |ms: u64| began + Duration::from_millis(ms);
        // A record in three pieces, then another: nothing is cut.
        for (ms, length) in [(0, 20), (10, 20), (20, 7), (5000, 20), (5010, 20), (5020, 1)] {
            assert_eq!(cut.hint(length, at(ms)), None, "{ms}");
        }
        assert_eq!(cut.hint(20, at(9000)), None, "what follows is not known yet");
        let hint = cut.hint(20, at(12_000)).unwrap();
        assert!(hint.starts_with("a notification was full (20 bytes, MTU 23) and nothing followed it"), "{hint}");
        assert_eq!(cut.hint(20, at(15_000)), None, "once");
    }
}
