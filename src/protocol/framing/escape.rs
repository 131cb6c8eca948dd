//! Byte stuffing: bytes that would look like start or end are hidden inside a frame.

/// How bytes are hidden.
#[derive(Debug, Clone)]
pub(in crate::protocol) struct Escape {
    /// The byte that says: the next one is hidden.
    pub(in crate::protocol) byte: u8,
    pub(in crate::protocol) hidden: Hidden,
}

/// What is sent in place of a hidden byte.
#[derive(Debug, Clone)]
pub(in crate::protocol) enum Hidden {
    /// The byte exclusive-or this.
    Flip(u8),
    /// For each hidden byte, the byte sent.
    Replaced(Vec<[u8; 2]>),
}

impl Escape {
    /// Uncovers hidden bytes.
    ///
    /// # Errors
    /// The place of an escape that hides nothing known.
    pub(in crate::protocol) fn uncover(&self, sent: &[u8], out: &mut Vec<u8>) -> Result<(), usize> {
        let mut at = 0;
        while at < sent.len() {
            let plain = memchr::memchr(self.byte, &sent[at..]).map_or(sent.len(), |behind| at + behind);
            out.extend_from_slice(&sent[at..plain]);
            if plain == sent.len() {
                break;
            }
            let hidden = *sent.get(plain + 1).ok_or(plain)?;
            out.push(match &self.hidden {
                Hidden::Flip(flip) => hidden ^ flip,
                Hidden::Replaced(pairs) => pairs.iter().find(|pair| pair[1] == hidden).ok_or(plain)?[0],
            });
            at = plain + 2;
        }
        Ok(())
    }

    /// Hides the bytes that must be: the escape, and what start and end begin with.
    pub(in crate::protocol) fn cover(&self, plain: &[u8], start: &[u8], end: &[u8], out: &mut Vec<u8>) {
        for &byte in plain {
            let sent = match &self.hidden {
                Hidden::Flip(flip) => (byte == self.byte || byte == start[0] || byte == end[0]).then_some(byte ^ flip),
                Hidden::Replaced(pairs) => pairs.iter().find(|pair| pair[0] == byte).map(|pair| pair[1]),
            };
            match sent {
                Some(sent) => out.extend_from_slice(&[self.byte, sent]),
                None => out.push(byte),
            }
        }
    }

    /// How many bytes were sent for the first `plain` bytes that they uncover to; one for each beyond the last.
    pub(in crate::protocol) fn sent_for(&self, sent: &[u8], plain: usize) -> usize {
        let mut at = 0;
        for _ in 0..plain {
            at += if sent.get(at) == Some(&self.byte) { 2 } else { 1 };
        }
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn covered_and_uncovered() {
        let all: Vec<u8> = (0..=255).collect();
        let flip = Escape { byte: 0x7D, hidden: Hidden::Flip(0x20) };
        let replaced = Escape { byte: 0xDB, hidden: Hidden::Replaced(vec![[0xC0, 0xDC], [0xDB, 0xDD]]) };
        for (escape, flag) in [(flip, 0x7E), (replaced, 0xC0)] {
            let (mut sent, mut back) = (Vec::new(), Vec::new());
            escape.cover(&all, &[flag], &[flag], &mut sent);
            assert!(!sent.contains(&flag));
            escape.uncover(&sent, &mut back).unwrap();
            assert_eq!(back, all);
            assert_eq!([256, 258].map(|plain| escape.sent_for(&sent, plain)), [sent.len(), sent.len() + 2]);
        }
    }

    #[test]
    fn an_escape_of_nothing_known_is_named() {
        let replaced = Escape { byte: 0xDB, hidden: Hidden::Replaced(vec![[0xC0, 0xDC]]) };
        assert_eq!(replaced.uncover(&[1, 0xDB, 2], &mut Vec::new()), Err(1));
        assert_eq!(replaced.uncover(&[1, 2, 0xDB], &mut Vec::new()), Err(2));
    }
}
