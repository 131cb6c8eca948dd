//! Who may give commands: a browser that was told the code of the terminal.
//!
//! The code is short enough to type with gloves on, so tries are few. What a paired browser holds afterwards is a secret
//! of 256 bits, of which only the digest is kept here. Both are gone when the program ends.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};

/// Digits of the code.
const DIGITS: u32 = 6;
/// Wrong tries before the door is shut for a while: with the pause below, a millionth chance each, 300 an hour.
const TRIES_MAX: u32 = 5;
/// How long the door stays shut.
const SHUT_FOR: Duration = Duration::from_secs(60);
/// Paired browsers; beyond it the oldest must pair again.
const PAIRED_MAX: usize = 64;

/// The code, and who was told it.
pub(super) struct Pairing {
    code: String,
    inner: Mutex<Inner>,
}

struct Inner {
    paired: Vec<[u8; 32]>,
    wrong: u32,
    shut_since: Option<Instant>,
}

/// What came of a try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Tried {
    /// Paired: the secret for the browser.
    Paired(String),
    /// Not the code; so many tries are left.
    Wrong(u32),
    /// Too many wrong tries: wait so many seconds.
    Shut(u64),
}

impl Pairing {
    pub(super) fn new() -> std::io::Result<Self> {
        let mut bytes = [0u8; 8];
        getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
        let number = u64::from_le_bytes(bytes) % 10u64.pow(DIGITS);
        let code = format!("{number:0width$}", width = DIGITS as usize);
        Ok(Pairing { code, inner: Mutex::new(Inner { paired: Vec::new(), wrong: 0, shut_since: None }) })
    }

    pub(super) fn code(&self) -> &str {
        &self.code
    }

    /// A browser says the code.
    pub(super) fn attempt(&self, code: &str, now: Instant) -> std::io::Result<Tried> {
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(since) = inner.shut_since {
            let left = SHUT_FOR.saturating_sub(now.saturating_duration_since(since));
            if left > Duration::ZERO {
                return Ok(Tried::Shut(left.as_secs() + 1));
            }
            (inner.shut_since, inner.wrong) = (None, 0);
        }
        // Digests, so that the time taken tells nothing of how much was right.
        if digest(code.trim()) != digest(&self.code) {
            inner.wrong += 1;
            if inner.wrong >= TRIES_MAX {
                inner.shut_since = Some(now);
                return Ok(Tried::Shut(SHUT_FOR.as_secs()));
            }
            return Ok(Tried::Wrong(TRIES_MAX - inner.wrong));
        }
        let mut bytes = [0u8; 32];
        getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
        let secret: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        if inner.paired.len() == PAIRED_MAX {
            inner.paired.remove(0);
        }
        inner.paired.push(digest(&secret));
        Ok(Tried::Paired(secret))
    }

    /// Whether a browser that shows this secret was paired.
    pub(super) fn knows(&self, secret: &str) -> bool {
        let digest = digest(secret);
        let inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        inner.paired.contains(&digest)
    }
}

fn digest(text: &str) -> [u8; 32] {
    Sha256::digest(text.as_bytes()).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_code_pairs_and_nothing_else_does() {
        let pairing = Pairing::new().unwrap();
        assert_eq!(pairing.code().len(), 6);
        let Tried::Paired(secret) = pairing.attempt(pairing.code(), Instant::now()).unwrap() else { panic!("paired") };
        assert!(pairing.knows(&secret));
        assert!(!pairing.knows(""));
        assert!(!pairing.knows(pairing.code()));
    }

    #[test]
    fn tries_are_few_and_the_right_code_waits_too() {
        let pairing = Pairing::new().unwrap();
        let start = Instant::now();
        let left: Vec<Tried> = (0..5).map(|_| pairing.attempt("nonsense", start).unwrap()).collect();
        assert_eq!(left[..4], [Tried::Wrong(4), Tried::Wrong(3), Tried::Wrong(2), Tried::Wrong(1)]);
        assert_eq!(left[4], Tried::Shut(60));
        let soon = pairing.attempt(pairing.code(), start + Duration::from_secs(59)).unwrap();
        assert!(matches!(soon, Tried::Shut(_)), "{soon:?}");
        let later = pairing.attempt(pairing.code(), start + Duration::from_secs(61)).unwrap();
        assert!(matches!(later, Tried::Paired(_)), "{later:?}");
    }
}
