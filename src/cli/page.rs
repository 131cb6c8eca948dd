//! The live page beside a run: where it listens, and what the terminal says of it.

use std::io::{self, IsTerminal, Write};
use std::net::TcpListener;
use std::path::Path;

use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};
use tokio::sync::mpsc;

use super::Failure;
use super::arguments::View;
use crate::daemon::Ask;
use crate::daemon::outlet::{Outlet, PageOutlet, Upward};
use crate::page::{self, Address, Instrument, Limits, Opened};

/// Takes the page's address, unless no page is wanted.
pub(super) fn listen(view: &View) -> Result<Option<TcpListener>, Failure> {
    if view.no_page {
        return Ok(None);
    }
    let address = match &view.page {
        Some(text) => text.parse().map_err(|error| Failure::input(format!("--page: {error}")))?,
        None => Address::Usual,
    };
    let listener = address.bind().map_err(|error| match address {
        Address::Exact(at) => Failure::input(format!("--page: cannot listen at {at}: {error}")),
        Address::Usual => {
            Failure::input(format!("the page cannot listen on this machine: {error}; --no-page goes without"))
        }
    })?;
    Ok(Some(listener))
}

/// A run that the page shows: by which name, and where its commands go.
pub(super) struct OnPage<'a> {
    name: String,
    job: &'a Path,
    asks: &'a mpsc::Sender<Ask>,
}

impl<'a> OnPage<'a> {
    /// By the name of its instrument, or of its job where that has none.
    pub(super) fn of(instrument: Option<&str>, job: &'a Path, asks: &'a mpsc::Sender<Ask>) -> Self {
        let by_job = || job.file_stem().unwrap_or(job.as_os_str()).to_string_lossy().into_owned();
        OnPage { name: instrument.map_or_else(by_job, str::to_owned), job, asks }
    }
}

/// Opens the page and says its address and pairing code on standard error; gives an outlet for each run, in order.
pub(super) fn open(listener: TcpListener, runs: &[OnPage<'_>]) -> Result<Vec<Box<dyn Outlet>>, Failure> {
    let instrument = |run: &OnPage<'_>| Instrument::new(&*run.name, Upward::new(run.asks.clone(), run.job.to_owned()));
    let opened = page::open(listener, Limits::usual(), runs.iter().map(instrument).collect());
    let (opened, feeds) = opened.map_err(|error| Failure::outcome(format!("the page does not start: {error}")))?;
    tell(&opened, &mut io::stderr());
    Ok(feeds.into_iter().map(|feed| Box::new(PageOutlet::new(feed)) as Box<dyn Outlet>).collect())
}

/// Says where the page is. A code that phones read is drawn where phones can come: not on this machine's own address.
fn tell(opened: &Opened, to: &mut (impl Write + IsTerminal)) {
    // Whoever closed standard error does not want to know.
    let _ = writeln!(to, "page: {}  pairing code {}", opened.url(), opened.code);
    if opened.address.ip().is_loopback() {
        let _ = writeln!(to, "      for phones on this network too: --page lan");
    } else if to.is_terminal() {
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

    /// The terminal as a picture, half a letter a dot high, in white (255) and black.
    fn picture(code: &str) -> Vec<Vec<u8>> {
        let halves = |line: &str| {
            let letters = line.strip_prefix("\x1b[97;40m").unwrap().strip_suffix("\x1b[0m").unwrap();
            let row = |white: [char; 2]| letters.chars().map(|c| if white.contains(&c) { 255 } else { 0 }).collect();
            [row(['\u{2588}', '\u{2580}']), row(['\u{2588}', '\u{2584}'])]
        };
        code.lines().flat_map(halves).collect()
    }

    #[test]
    fn what_a_telephone_reads_from_the_terminal_is_the_address_with_its_code() {
        /// Dots of a picture in a module.
        const SCALE: usize = 4;
        for url in ["http://192.168.1.20:8790/#pair=440917", "http://[fe80::1234:5678:9abc:def0]:65535/#pair=000000"] {
            let dots = picture(&drawn(url));
            let (width, height) = (dots[0].len() * SCALE, dots.len() * SCALE);
            let grey = |x: usize, y: usize| dots[y / SCALE][x / SCALE];
            let mut seen = rqrr::PreparedImage::prepare_from_greyscale(width, height, grey);
            let read: Vec<String> = seen.detect_grids().iter().map(|grid| grid.decode().unwrap().1).collect();
            assert_eq!(read, [url]);
        }
    }
}
