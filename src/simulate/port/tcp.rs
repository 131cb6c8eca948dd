//! A TCP port: one listener at a time, as with a serial converter. The instrument waits for one before it speaks.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;

use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Mutex;

/// A port that nobody waits on yet.
pub(in crate::simulate) struct Tcp {
    listener: std::net::TcpListener,
    address: SocketAddr,
}

impl Tcp {
    /// Listens at `host:port`; port 0 takes a free one.
    pub(in crate::simulate) fn open(address: &str) -> io::Result<Self> {
        let listener = std::net::TcpListener::bind(address)?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?;
        Ok(Tcp { listener, address })
    }

    /// Where it listens.
    pub(in crate::simulate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Ready to be read and written, inside a runtime.
    pub(in crate::simulate) fn live(self) -> io::Result<LiveTcp> {
        Ok(LiveTcp { listener: TcpListener::from_std(self.listener)?, client: Mutex::new(None) })
    }
}

/// A port in use.
pub(in crate::simulate) struct LiveTcp {
    listener: TcpListener,
    client: Mutex<Option<Arc<TcpStream>>>,
}

impl LiveTcp {
    /// The listener of the moment; waits for one.
    async fn client(&self) -> io::Result<Arc<TcpStream>> {
        let mut client = self.client.lock().await;
        if let Some(client) = &*client {
            return Ok(Arc::clone(client));
        }
        let (stream, _) = self.listener.accept().await?;
        stream.set_nodelay(true)?;
        Ok(Arc::clone(client.insert(Arc::new(stream))))
    }

    /// Lets go of a listener that has gone.
    async fn let_go(&self, gone: &Arc<TcpStream>) {
        let mut client = self.client.lock().await;
        if client.as_ref().is_some_and(|client| Arc::ptr_eq(client, gone)) {
            *client = None;
        }
    }

    pub(in crate::simulate) async fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let client = self.client().await?;
            client.readable().await?;
            match client.try_read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                Ok(0) | Err(_) => self.let_go(&client).await,
                Ok(length) => return Ok(length),
            }
        }
    }

    /// Writes some of the bytes; `Ok(0)` when the listener went away, and the rest of the record with it.
    pub(in crate::simulate) async fn write(&self, bytes: &[u8]) -> io::Result<usize> {
        let client = self.client().await?;
        loop {
            client.writable().await?;
            match client.try_write(bytes) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                Ok(0) | Err(_) => {
                    self.let_go(&client).await;
                    return Ok(0);
                }
                Ok(length) => return Ok(length),
            }
        }
    }
}
