//! Where the page listens: loopback unless the network is asked for by name.

use std::fmt;
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, UdpSocket};
use std::str::FromStr;

/// The port that is tried first. From the range that is registered to nobody in particular; chosen here.
pub const DEFAULT_PORT: u16 = 8790;

/// Where the page is to listen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Address {
    /// Nothing was said: this machine only, at the usual port or any other that is free.
    Usual,
    /// Exactly here.
    Exact(SocketAddr),
}

impl Address {
    /// Takes the address.
    ///
    /// # Errors
    /// It is in use, not of this machine, or not allowed.
    pub fn bind(self) -> io::Result<TcpListener> {
        match self {
            Address::Exact(address) => TcpListener::bind(address),
            Address::Usual => TcpListener::bind((Ipv4Addr::LOCALHOST, DEFAULT_PORT))
                .or_else(|_| TcpListener::bind((Ipv4Addr::LOCALHOST, 0))),
        }
    }
}

impl FromStr for Address {
    type Err = AddressError;

    /// `lan`, a port, an address, or both: `lan`, `8790`, `192.168.1.5`, `0.0.0.0:8790`.
    fn from_str(text: &str) -> Result<Self, AddressError> {
        let lan = |port| Address::Exact(SocketAddr::from((Ipv4Addr::UNSPECIFIED, port)));
        let refused = || AddressError { found: text.to_owned() };
        if let Some(rest) = text.strip_prefix("lan") {
            return match rest.strip_prefix(':') {
                None if rest.is_empty() => Ok(lan(DEFAULT_PORT)),
                Some(port) => port.parse().map(lan).map_err(|_| refused()),
                None => Err(refused()),
            };
        }
        if let Ok(port) = text.parse::<u16>() {
            return Ok(Address::Exact(SocketAddr::from((Ipv4Addr::LOCALHOST, port))));
        }
        let alone = |ip: IpAddr| SocketAddr::new(ip, DEFAULT_PORT);
        text.parse().or_else(|_| text.parse().map(alone)).map(Address::Exact).map_err(|_| refused())
    }
}

/// A text that is no address for the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AddressError {
    found: String,
}

impl fmt::Display for AddressError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:?} found as the page's address, lan, a port, or an address such as 127.0.0.1:{DEFAULT_PORT} was wanted",
            self.found
        )
    }
}

impl std::error::Error for AddressError {}

/// The address by which others on the network reach this machine. Nothing is sent: the system is only asked which way
/// it would go.
pub(super) fn own_address(any: IpAddr) -> IpAddr {
    let (here, far): (SocketAddr, SocketAddr) = if any.is_ipv6() {
        // Addresses set aside for documentation (RFC 3849, RFC 5737): never anybody's.
        ((Ipv6Addr::UNSPECIFIED, 0).into(), (Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 1), 9).into())
    } else {
        ((Ipv4Addr::UNSPECIFIED, 0).into(), (Ipv4Addr::new(192, 0, 2, 1), 9).into())
    };
    let asked = UdpSocket::bind(here).and_then(|socket| socket.connect(far).and_then(|()| socket.local_addr()));
    match asked {
        Ok(own) if !own.ip().is_unspecified() => own.ip(),
        _ if any.is_ipv6() => Ipv6Addr::LOCALHOST.into(),
        _ => Ipv4Addr::LOCALHOST.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_network_is_asked_for_by_name_or_by_address() {
        let at = |text: &str| text.parse::<Address>();
        assert_eq!(at("lan"), Ok(Address::Exact(SocketAddr::from(([0, 0, 0, 0], DEFAULT_PORT)))));
        assert_eq!(at("lan:80"), Ok(Address::Exact(SocketAddr::from(([0, 0, 0, 0], 80)))));
        assert_eq!(at("0"), Ok(Address::Exact(SocketAddr::from(([127, 0, 0, 1], 0)))));
        assert_eq!(at("[::1]:90"), Ok(Address::Exact(SocketAddr::from(([0, 0, 0, 0, 0, 0, 0, 1], 90)))));
        assert_eq!(at("10.0.0.7"), Ok(Address::Exact(SocketAddr::from(([10, 0, 0, 7], DEFAULT_PORT)))));
        let error = at("example.org:80").unwrap_err().to_string();
        assert!(error.starts_with("\"example.org:80\" found as the page's address, lan, a port"), "{error}");
    }
}
