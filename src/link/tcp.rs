//! A TCP connection to a serial converter, or to a simulator on another machine. We are the client.

use std::io;
use std::time::Duration;

use tokio::net::TcpStream;
use tokio::time::timeout;

use super::reader::{Opened, Source};
use super::registry::Registry;
use super::trouble::Trouble;
use super::{Simulated, host};

/// How long a connection may take to be made; after it another try is more likely to help than more patience.
const CONNECT_MAX_WAIT: Duration = Duration::from_secs(5);

/// A connection that is made again whenever it can be.
pub(super) struct TcpSource {
    address: String,
    registry: Option<Registry>,
}

impl TcpSource {
    pub(super) fn new(address: String, registry: Option<Registry>) -> Self {
        TcpSource { address, registry }
    }

    fn no_answer(&self, why: &str) -> Trouble {
        Trouble::NoAnswer { what: self.address.clone(), why: why.to_owned() }
    }
}

impl Source for TcpSource {
    type Stream = TcpStream;

    const CLOSED: &'static str = "the other end closed the connection";

    async fn open(&mut self) -> Result<Opened<TcpStream>, Trouble> {
        let stream = match timeout(CONNECT_MAX_WAIT, TcpStream::connect(&self.address)).await {
            Ok(Ok(stream)) => stream,
            Ok(Err(error)) => return Err(self.no_answer(&in_words(&error))),
            Err(_) => return Err(self.no_answer("no connection within 5 s")),
        };
        let mut remarks = Vec::new();
        // An acknowledgement is short and waited for.
        if let Err(error) = stream.set_nodelay(true).and_then(|()| host::watch_over(&stream)) {
            remarks.push(format!("a connection that dies silently will be noticed late: {error}"));
        }
        let simulated = match (&self.registry, stream.peer_addr(), stream.local_addr()) {
            (Some(registry), Ok(peer), Ok(local)) if registry.holds_connection(peer, local) => Simulated::Yes,
            _ => Simulated::No,
        };
        Ok(Opened { stream, what: format!("tcp {}", self.address), simulated, remarks })
    }
}

fn in_words(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::ConnectionRefused => "the connection was refused: nothing listens on that port".to_owned(),
        io::ErrorKind::HostUnreachable | io::ErrorKind::NetworkUnreachable => "no way leads there".to_owned(),
        io::ErrorKind::InvalidInput => "that is no address, host:port was wanted".to_owned(),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::TcpListener;

    use super::super::{LinkEvent, LinkHandle, Stop, reader, spawn};
    use super::*;

    fn listen(address: String, registry: Option<Registry>) -> (LinkHandle, super::super::EventReceiver) {
        let stop = Stop::new();
        let (handle, outgoing) = LinkHandle::new(stop.clone());
        let source = TcpSource::new(address, registry);
        (handle, spawn(async move |events| reader::drive(source, events, outgoing, &stop).await))
    }

    #[tokio::test]
    async fn bytes_come_answers_go_and_a_closed_connection_is_made_again() {
        let converter = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = converter.local_addr().unwrap().to_string();
        let (handle, mut events) = listen(address.clone(), None);
        for round in 0..2u8 {
            let (mut far, _) = converter.accept().await.unwrap();
            let opened = LinkEvent::Opened { what: format!("tcp {address}"), simulated: Simulated::No };
            assert_eq!(events.recv().await, Ok(opened));
            far.write_all(&[round, 0, 255]).await.unwrap();
            assert!(matches!(events.recv().await, Ok(LinkEvent::Chunk { bytes, .. }) if bytes == [round, 0, 255]));
            handle.send(b"\x06".to_vec()).unwrap();
            assert_eq!(far.read_u8().await.unwrap(), 6);
            drop(far);
            assert_eq!(events.recv().await, Ok(LinkEvent::Lost { why: TcpSource::CLOSED.into() }));
        }
    }

    #[tokio::test]
    async fn an_address_that_does_not_answer_is_waited_for() {
        let converter = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = converter.local_addr().unwrap().to_string();
        drop(converter);
        let (_handle, mut events) = listen(address.clone(), None);
        let why = "the connection was refused: nothing listens on that port".to_owned();
        let waiting = LinkEvent::Waiting { why: Trouble::NoAnswer { what: address.clone(), why } };
        assert_eq!(events.recv().await, Ok(waiting));
        let converter = TcpListener::bind(&address).await.unwrap();
        converter.accept().await.unwrap();
        assert!(matches!(events.recv().await, Ok(LinkEvent::Opened { .. })));

        let (_handle, mut events) = listen("no address".into(), None);
        let why = "that is no address, host:port was wanted".to_owned();
        let waiting = LinkEvent::Waiting { why: Trouble::NoAnswer { what: "no address".into(), why } };
        assert_eq!(events.recv().await, Ok(waiting));
    }

    #[tokio::test]
    async fn a_registered_simulator_is_known() {
        let dir = tempfile::tempdir().unwrap();
        let registry = Registry::at(dir.path().join("simulated"));
        let simulator = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = simulator.local_addr().unwrap().to_string();
        let _registration = registry.register(&address, "a level").unwrap();
        let (_handle, mut events) = listen(address, Some(registry));
        assert!(matches!(events.recv().await, Ok(LinkEvent::Opened { simulated: Simulated::Yes, .. })));
    }

    /// What the kernel was asked is what finds a silent death within 30 s; the death itself is the kernel's to find.
    #[cfg(target_os = "linux")]
    #[tokio::test]
    async fn the_kernel_is_asked_to_find_a_dead_connection_within_half_a_minute() {
        use rustix::net::sockopt;
        let converter = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let mut source = TcpSource::new(converter.local_addr().unwrap().to_string(), None);
        let stream = source.open().await.unwrap().stream;
        assert!(sockopt::socket_keepalive(&stream).unwrap());
        let (idle, every) = (sockopt::tcp_keepidle(&stream).unwrap(), sockopt::tcp_keepintvl(&stream).unwrap());
        let silent = idle + every * sockopt::tcp_keepcnt(&stream).unwrap();
        assert!(silent <= Duration::from_secs(30), "{silent:?} when we only listen");
        assert!((1..=30_000).contains(&sockopt::tcp_user_timeout(&stream).unwrap()), "when we have spoken");
    }
}
