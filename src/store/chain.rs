//! The hash chain: what is hashed, in which order, so that anyone can compute it again.
//!
//! Pure: no SQL and no file. The encoding is a promise; `tests/store/recompute.py` does the same with nothing but the
//! standard library of Python.
//!
//! ```text
//! field(bytes) = length of bytes as 8 bytes, most significant first, then the bytes
//! hash(0)      = SHA-256 of the text "closerun job 1"
//! hash(n)      = SHA-256 of hash(n-1), field(seq), field(at), field(kind), field(simulated), field(body), field(raw)
//! ```
//!
//! `seq` and `simulated` are hashed as decimal digits, texts as the UTF-8 that is stored, `raw` as it is. The lengths
//! keep two different rows from ever giving the same bytes.

use std::fmt;

use sha2::{Digest as _, Sha256};

/// What stands before the first event. It ends with the version of the file.
const BEGINNING: &str = "closerun job 1";

/// A SHA-256 hash.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digest(pub [u8; 32]);

impl fmt::Display for Digest {
    /// Hexadecimal; with a precision, so many digits of it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = f.precision().unwrap_or(64).min(64);
        (0..digits).try_for_each(|at| {
            let byte = self.0[at / 2];
            write!(f, "{:x}", if at % 2 == 0 { byte >> 4 } else { byte & 0xf })
        })
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:.12}")
    }
}

/// How far a job has come: the number of its last event and the hash over everything up to it.
///
/// Written down elsewhere (on paper, in a report), it lets a file that was cut short, or computed anew, be recognised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// The number of the last event; 0 before the first.
    pub seq: u64,
    /// The hash of the last event.
    pub hash: Digest,
}

impl Head {
    /// Before the first event.
    pub fn start() -> Self {
        Head { seq: 0, hash: Digest(Sha256::digest(BEGINNING).into()) }
    }

    /// After one more row, whatever its own hash column says.
    pub(super) fn after(self, row: Content<'_>) -> Self {
        let mut hasher = Sha256::new_with_prefix(self.hash.0);
        let mut field = |bytes: &[u8]| {
            hasher.update((bytes.len() as u64).to_be_bytes());
            hasher.update(bytes);
        };
        field(row.seq.to_string().as_bytes());
        field(row.at.as_bytes());
        field(row.kind.as_bytes());
        field(if row.simulated { b"1" } else { b"0" });
        field(row.body.as_bytes());
        field(row.raw);
        Head { seq: row.seq, hash: Digest(hasher.finalize().into()) }
    }
}

/// A row as it is hashed: every column but the hash.
#[derive(Clone, Copy, Debug)]
pub(super) struct Content<'a> {
    pub(super) seq: u64,
    pub(super) at: &'a str,
    pub(super) kind: &'a str,
    pub(super) simulated: bool,
    pub(super) body: &'a str,
    pub(super) raw: &'a [u8],
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROW: Content<'_> =
        Content { seq: 1, at: "2026-01-01T00:00:00.000000Z", kind: "note", simulated: false, body: "{}", raw: b"ab" };

    #[test]
    fn bytes_cannot_wander_from_one_field_to_the_next() {
        let whole = Head::start().after(ROW);
        let moved = Head::start().after(Content { body: "{}a", raw: b"b", ..ROW });
        assert_ne!(whole.hash, moved.hash);
    }

    #[test]
    fn every_column_counts() {
        let whole = Head::start().after(ROW).hash;
        for other in [
            Content { seq: 2, ..ROW },
            Content { at: "2026-01-01T00:00:00.000001Z", ..ROW },
            Content { kind: "Note", ..ROW },
            Content { simulated: true, ..ROW },
            Content { body: "{ }", ..ROW },
            Content { raw: b"", ..ROW },
        ] {
            assert_ne!(Head::start().after(other).hash, whole, "{other:?}");
        }
        assert_ne!(Head::start().after(ROW).after(ROW).hash, whole, "what went before counts too");
    }

    #[test]
    fn a_digest_is_shown_in_hexadecimal() {
        let digest = Digest([0x0f; 32]);
        assert_eq!(digest.to_string(), "0f".repeat(32));
        assert_eq!(format!("{digest:.5}"), "0f0f0");
    }
}
