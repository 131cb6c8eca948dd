//! The capture file: what arrived on a port, byte for byte, and when.
//!
//! Text, one JSON object a line. The first line is the header, the others what happened, in order:
//!
//! ```text
//! {"closerun-capture":1,"link":"serial /dev/ttyUSB0 9600 8N1","began_us":1700000000000000}
//! {"us":1250000,"hex":"312e32383330300d0a"}
//! {"us":9400000,"gap":"the port is gone: the cable was unplugged, or the adapter lost its power"}
//! ```
//!
//! `began_us` is microseconds since 1970, `us` microseconds since then. A gap is an outage: what comes after it does
//! not continue what came before it. A capture of a simulated instrument says `"simulated":true` in its header. A file
//! without the header is taken for bare bytes, whose times nobody knows.

use std::fmt;
use std::fs::File;
use std::io::{self, BufRead, Read, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::Simulated;

/// The version that is written, and the newest that is read.
pub const CAPTURE_VERSION: u32 = 1;
/// How the header begins, by which a capture is told from bare bytes.
const MARK: &[u8] = b"{\"closerun-capture\":";
/// The longest line: a chunk of 64 KiB as hexadecimal with what stands around it.
const LINE_MAX_BYTES: u64 = 2 * 64 * 1024 + 256;

/// The first line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// Version of the file's form.
    #[serde(rename = "closerun-capture")]
    pub version: u32,
    /// The link in words: `serial /dev/ttyUSB0 9600 8N1`.
    pub link: String,
    /// When it began, in microseconds since 1970.
    pub began_us: i64,
    /// A simulated instrument was heard.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

/// What happened, by one line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Captured {
    /// Bytes arrived.
    Bytes {
        /// When, in microseconds since 1970.
        at_us: i64,
        /// Which.
        bytes: Vec<u8>,
    },
    /// The link was lost; what follows came after it was found again.
    Gap {
        /// When, in microseconds since 1970.
        at_us: i64,
        /// Why.
        why: String,
    },
}

/// A line as it is written.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    us: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hex: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    gap: Option<String>,
}

/// Writes a capture. Each line is in the file before the call returns, so that a killed capture lacks at most one.
#[derive(Debug)]
pub struct CaptureWriter {
    file: File,
    began_us: i64,
}

impl CaptureWriter {
    /// Makes the file and writes its header.
    ///
    /// # Errors
    /// When it cannot be made or written; a file that is there already is left alone.
    pub fn create(path: &Path, link: &str, simulated: Simulated, began_us: i64) -> io::Result<Self> {
        let mut writer = CaptureWriter { file: File::create_new(path)?, began_us };
        let simulated = simulated == Simulated::Yes;
        let header = Header { version: CAPTURE_VERSION, link: link.to_owned(), began_us, simulated };
        writer.write(&header)?;
        Ok(writer)
    }

    /// Adds bytes that arrived.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn bytes(&mut self, at_us: i64, bytes: &[u8]) -> io::Result<()> {
        self.write(&Line { us: at_us - self.began_us, hex: Some(to_hex(bytes)), gap: None })
    }

    /// Adds an outage.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn gap(&mut self, at_us: i64, why: &str) -> io::Result<()> {
        self.write(&Line { us: at_us - self.began_us, hex: None, gap: Some(why.to_owned()) })
    }

    /// Ends the capture: all of it is on the disk when this returns.
    ///
    /// # Errors
    /// When the disk would not take it.
    pub fn finish(self) -> io::Result<()> {
        self.file.sync_all()
    }

    fn write(&mut self, line: &impl Serialize) -> io::Result<()> {
        let mut text = serde_json::to_vec(line)?;
        text.push(b'\n');
        self.file.write_all(&text)
    }
}

/// Reads a capture, line by line.
pub struct CaptureReader<R> {
    from: R,
    header: Option<Header>,
    line: u64,
}

/// Why a capture could not be read on.
#[derive(Debug)]
pub enum CaptureError {
    /// The file could not be read.
    Io(io::Error),
    /// It was written by a newer version of this program.
    Newer {
        /// The version found.
        found: u32,
    },
    /// A line is no line of a capture. The next one may be.
    Line {
        /// Which, counted from 1.
        line: u64,
        /// What is wrong with it.
        why: String,
    },
}

impl fmt::Display for CaptureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CaptureError::Io(error) => write!(f, "the capture could not be read: {error}"),
            CaptureError::Newer { found } => write!(
                f,
                "the capture is of version {found}, up to {CAPTURE_VERSION} can be read here: a newer closerun wrote it"
            ),
            CaptureError::Line { line, why } => write!(f, "line {line} of the capture is damaged: {why}"),
        }
    }
}

impl std::error::Error for CaptureError {}

impl<R: BufRead> CaptureReader<R> {
    /// Looks at the beginning: a capture, or bare bytes.
    ///
    /// # Errors
    /// When it cannot be read, is of a newer version, or has a damaged header.
    pub fn new(mut from: R) -> Result<Self, CaptureError> {
        // A buffered reader shows more than the mark at once, unless the file itself is shorter.
        let begins_with_mark = from.fill_buf().map_err(CaptureError::Io)?.starts_with(MARK);
        let mut reader = CaptureReader { from, header: None, line: 0 };
        if begins_with_mark {
            let line = reader.line()?.unwrap_or_default();
            let header: Header = serde_json::from_slice(&line).map_err(|error| reader.damaged(&error))?;
            if header.version > CAPTURE_VERSION {
                return Err(CaptureError::Newer { found: header.version });
            }
            reader.header = Some(header);
        }
        Ok(reader)
    }

    /// The header; `None` for bare bytes.
    pub fn header(&self) -> Option<&Header> {
        self.header.as_ref()
    }

    /// What happened next; `None` at the end. Bare bytes come in pieces, stamped by `now`.
    ///
    /// # Errors
    /// When it cannot be read, or for a damaged line, after which one may go on.
    pub fn next(&mut self, now_us: impl Fn() -> i64) -> Result<Option<Captured>, CaptureError> {
        let Some(began_us) = self.header.as_ref().map(|header| header.began_us) else {
            let bytes = self.from.fill_buf().map_err(CaptureError::Io)?.to_vec();
            self.from.consume(bytes.len());
            return Ok((!bytes.is_empty()).then(|| Captured::Bytes { at_us: now_us(), bytes }));
        };
        let Some(line) = self.line()? else { return Ok(None) };
        let line: Line = serde_json::from_slice(&line).map_err(|error| self.damaged(&error))?;
        let at_us = began_us.saturating_add(line.us);
        match line {
            Line { hex: Some(hex), gap: None, .. } => match from_hex(&hex) {
                Some(bytes) => Ok(Some(Captured::Bytes { at_us, bytes })),
                None => Err(self.damaged(&"pairs of hexadecimal digits were wanted")),
            },
            Line { hex: None, gap: Some(why), .. } => Ok(Some(Captured::Gap { at_us, why })),
            _ => Err(self.damaged(&"one of hex and gap was wanted")),
        }
    }

    /// The next line without its end; `None` behind the last.
    fn line(&mut self) -> Result<Option<Vec<u8>>, CaptureError> {
        let mut line = Vec::new();
        self.line += 1;
        let length =
            self.from.by_ref().take(LINE_MAX_BYTES).read_until(b'\n', &mut line).map_err(CaptureError::Io)? as u64;
        if line.pop_if(|last| *last == b'\n').is_some() {
            return Ok(Some(line));
        }
        match length {
            0 => Ok(None),
            LINE_MAX_BYTES => {
                self.skip_line().map_err(CaptureError::Io)?;
                Err(self.damaged(&format_args!("it is longer than {LINE_MAX_BYTES} bytes")))
            }
            _ => Err(self.damaged(&"it has no end, as when the capture was cut off")),
        }
    }

    /// Moves behind the next line end.
    fn skip_line(&mut self) -> io::Result<()> {
        loop {
            let buffer = self.from.fill_buf()?;
            let (length, found) = match memchr::memchr(b'\n', buffer) {
                Some(at) => (at + 1, true),
                None => (buffer.len(), buffer.is_empty()),
            };
            self.from.consume(length);
            if found {
                return Ok(());
            }
        }
    }

    fn damaged(&self, why: &dyn fmt::Display) -> CaptureError {
        CaptureError::Line { line: self.line, why: why.to_string() }
    }
}

fn to_hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes.iter().flat_map(|b| [DIGITS[usize::from(b >> 4)], DIGITS[usize::from(b & 15)]]).map(char::from).collect()
}

fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digit = |c: u8| char::from(c).to_digit(16);
    text.as_bytes()
        .chunks(2)
        .map(|pair| match pair {
            &[high, low] => u8::try_from(digit(high)? << 4 | digit(low)?).ok(),
            _ => None,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Vec<Result<Captured, String>> {
        let mut reader = CaptureReader::new(text).unwrap();
        let mut found = Vec::new();
        while let Some(next) = reader.next(|| 7).transpose() {
            found.push(next.map_err(|error| error.to_string()));
        }
        found
    }

    const HEADER: &str = "{\"closerun-capture\":1,\"link\":\"serial /dev/ttyUSB0 9600 8N1\",\"began_us\":1000}\n";

    #[test]
    fn what_was_written_is_read_and_looks_as_documented() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("one.capture");
        let every_byte: Vec<u8> = (0..=255).collect();
        let mut writer = CaptureWriter::create(&path, "serial /dev/ttyUSB0 9600 8N1", Simulated::No, 1000).unwrap();
        writer.bytes(1005, b"1.2\r\n").unwrap();
        writer.gap(1006, "gone").unwrap();
        writer.bytes(990, &every_byte).unwrap();
        writer.finish().unwrap();
        assert!(CaptureWriter::create(&path, "x", Simulated::No, 0).is_err(), "never written over");
        let text = std::fs::read_to_string(&path).unwrap();
        let expected =
            format!("{HEADER}{{\"us\":5,\"hex\":\"312e320d0a\"}}\n{{\"us\":6,\"gap\":\"gone\"}}\n{{\"us\":-10,");
        assert!(text.starts_with(&expected), "{text}");
        assert_eq!(
            read(text.as_bytes()),
            [
                Ok(Captured::Bytes { at_us: 1005, bytes: b"1.2\r\n".to_vec() }),
                Ok(Captured::Gap { at_us: 1006, why: "gone".into() }),
                Ok(Captured::Bytes { at_us: 990, bytes: every_byte }),
            ]
        );
    }

    #[test]
    fn a_capture_of_a_simulated_instrument_says_so() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("one.capture");
        CaptureWriter::create(&path, "x", Simulated::Yes, 0).unwrap();
        let text = std::fs::read(&path).unwrap();
        assert!(CaptureReader::new(&text[..]).unwrap().header().unwrap().simulated);
    }

    #[test]
    fn a_damaged_line_is_named_and_the_next_one_read() {
        let long = "x".repeat(LINE_MAX_BYTES as usize + 10);
        for (bad, why) in [
            ("{\"us\":1}", "line 2 of the capture is damaged: one of hex and gap was wanted"),
            ("{\"us\":1,\"hex\":\"0\"}", "line 2 of the capture is damaged: pairs of hexadecimal digits were wanted"),
            ("{\"us\":1,\"hex\":\"+1\"}", "line 2 of the capture is damaged: pairs of hexadecimal digits were wanted"),
            (&long, "line 2 of the capture is damaged: it is longer than 131328 bytes"),
        ] {
            let text = format!("{HEADER}{bad}\n{{\"us\":1,\"hex\":\"41\"}}\n");
            assert_eq!(
                read(text.as_bytes()),
                [Err(why.to_owned()), Ok(Captured::Bytes { at_us: 1001, bytes: b"A".to_vec() })]
            );
        }
        let cut = format!("{HEADER}{{\"us\":1,\"he");
        assert_eq!(
            read(cut.as_bytes()),
            [Err("line 2 of the capture is damaged: it has no end, as when the capture was cut off".to_owned())]
        );
    }

    #[test]
    fn bare_bytes_and_a_newer_version() {
        assert_eq!(read(b"1.2\r\n"), [Ok(Captured::Bytes { at_us: 7, bytes: b"1.2\r\n".to_vec() })]);
        assert_eq!(read(b""), []);
        let newer = b"{\"closerun-capture\":2,\"link\":\"x\",\"began_us\":0}\n";
        let error = CaptureReader::new(&newer[..]).err().unwrap();
        assert_eq!(
            error.to_string(),
            "the capture is of version 2, up to 1 can be read here: a newer closerun wrote it"
        );
    }
}
