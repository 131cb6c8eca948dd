//! The live page beside a run: where it listens, and what the terminal says of it.

use std::collections::VecDeque;
use std::io::{self, IsTerminal, Write};
use std::net::{SocketAddr, TcpListener};
use std::path::Path;

use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};
use tokio::sync::mpsc;

use super::Failure;
use super::arguments::View;
use crate::daemon::Ask;
use crate::daemon::outlet::{Outlet, PageOutlet, Upward};
use crate::page::{self, Address, Limits, Opened};

/// Addresses that are taken for pages: one for each instrument, or none if no page is wanted.
pub(super) struct Pages(VecDeque<TcpListener>);

impl Pages {
    /// Takes the page's address; for further instruments the ports that follow.
    pub(super) fn listen(view: &View, instruments: usize) -> Result<Self, Failure> {
        if view.no_page {
            return Ok(Pages(VecDeque::new()));
        }
        let first = match &view.page {
            Some(text) => text.parse().map_err(|error| Failure::input(format!("--page: {error}")))?,
            None => Address::Usual,
        };
        (0..).take(instruments).map(|index| bind(first, index)).collect::<Result<_, _>>().map(Pages)
    }

    /// Opens the page of the next instrument and says its address and pairing code on standard error.
    pub(super) fn open(
        &mut self,
        instrument: Option<&str>,
        job: &Path,
        asks: &mpsc::Sender<Ask>,
    ) -> Result<Option<Box<dyn Outlet>>, Failure> {
        let Some(listener) = self.0.pop_front() else { return Ok(None) };
        let upward = Upward::new(asks.clone(), job.to_owned());
        let opened = page::open(listener, Limits::usual(), upward);
        let (opened, feed) = opened.map_err(|error| Failure::outcome(format!("the page does not start: {error}")))?;
        tell(&opened, instrument, &mut io::stderr());
        Ok(Some(Box::new(PageOutlet::new(feed))))
    }
}

fn bind(first: Address, index: u16) -> Result<TcpListener, Failure> {
    let address = match first {
        Address::Exact(at) if at.port() > 0 => {
            let port = at.port().checked_add(index);
            let port = port.ok_or_else(|| Failure::input(format!("--page: no port is left behind {at}")))?;
            Address::Exact(SocketAddr::new(at.ip(), port))
        }
        first => first,
    };
    address.bind().map_err(|error| match address {
        Address::Exact(at) => Failure::input(format!("--page: cannot listen at {at}: {error}")),
        Address::Usual => {
            Failure::input(format!("the page cannot listen on this machine: {error}; --no-page goes without"))
        }
    })
}

/// Says where the page is. A code that phones read is drawn where phones can come: not on this machine's own address.
fn tell(opened: &Opened, instrument: Option<&str>, to: &mut (impl Write + IsTerminal)) {
    let lead = instrument.map(|name| format!("{name}: ")).unwrap_or_default();
    // Whoever closed standard error does not want to know.
    let _ = writeln!(to, "{lead}page: {}  pairing code {}", opened.url(), opened.code);
    if to.is_terminal() && !opened.address.ip().is_loopback() {
        let _ = writeln!(to, "{}", drawn(&opened.pairing_url()));
        let _ = writeln!(to, "anyone on this network can read the page; commands need the code");
    }
}

/// A text as a code for phones, in half-height blocks, black on white whatever the terminal's colours are.
fn drawn(text: &str) -> String {
    // Longer than any code holds: the address above it is enough.
    let Ok(code) = QrCode::with_error_correction_level(text, EcLevel::L) else { return String::new() };
    // What the renderer calls dark is a full block, which takes the colour of letters: white here.
    let blocks = code.render::<Dense1x2>().dark_color(Dense1x2::Light).light_color(Dense1x2::Dark).build();
    let lines = blocks.lines().map(|line| format!("\x1b[97;40m{line}\x1b[0m\n"));
    lines.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_code_for_phones_fits_eighty_columns() {
        let code = drawn("http://192.168.100.100:65535/#pair=123456");
        assert!(code.lines().count() > 10);
        let columns = |line: &str| line.chars().filter(|c| !c.is_ascii() || *c == ' ').count();
        assert!(code.lines().all(|line| (20..=80).contains(&columns(line))));
    }
}
