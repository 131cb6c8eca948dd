//! Bytes sent as two hexadecimal digits each, so that binary records pass over a line made for text.

use crate::protocol::checksum::{Mismatch, read_shown, show};
use crate::protocol::format::file::{Form, Order};

/// Bytes sent as two hexadecimal digits each.
#[derive(Clone, Copy, Debug)]
pub(in crate::protocol) struct Pairs {
    /// Which letters are among the digits.
    pub(in crate::protocol) form: Form,
}

impl Pairs {
    /// The bytes that the digits stand for.
    ///
    /// # Errors
    /// The place of two characters that stand for none.
    pub(super) fn undo(self, sent: &[u8], out: &mut Vec<u8>) -> Result<(), Mismatch> {
        for (place, pair) in sent.chunks(2).enumerate() {
            match read_shown(pair, self.form, Order::Big).and_then(|value| u8::try_from(value).ok()) {
                Some(byte) if pair.len() == 2 => out.push(byte),
                _ => return Err(self.none(pair, 2 * place)),
            }
        }
        Ok(())
    }

    /// How many digits were sent for the first `plain` bytes; one byte for each beyond the last.
    pub(super) fn sent_for(self, sent: &[u8], plain: usize) -> usize {
        let pairs = plain.min(sent.len() / 2);
        plain + pairs
    }

    /// The digits for bytes.
    pub(super) fn written(self, bytes: &[u8], out: &mut Vec<u8>) {
        for &byte in bytes {
            out.extend_from_slice(show(byte.into(), self.form, 2, Order::Big).as_bytes());
        }
    }

    fn none(self, pair: &[u8], at: usize) -> Mismatch {
        let letters = if self.form == Form::HexLower { "small" } else { "capital" };
        let found = pair.escape_ascii();
        let reason = format!("\"{found}\" found, two hexadecimal digits with {letters} letters were wanted");
        Mismatch { at, reason }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_and_back() {
        let all: Vec<u8> = (0..=255).collect();
        for form in [Form::Hex, Form::HexLower] {
            let (mut sent, mut back) = (Vec::new(), Vec::new());
            Pairs { form }.written(&all, &mut sent);
            assert_eq!((sent.len(), &sent[..8]), (512, &b"00010203"[..]));
            Pairs { form }.undo(&sent, &mut back).unwrap();
            assert_eq!(back, all);
            assert_eq!([1, 256, 258].map(|plain| Pairs { form }.sent_for(&sent, plain)), [2, 512, 514]);
        }
    }

    #[test]
    fn what_stands_for_no_byte_is_named_at_its_place() {
        let undone = |sent: &[u8]| Pairs { form: Form::Hex }.undo(sent, &mut Vec::new()).unwrap_err();
        let wanted = "found, two hexadecimal digits with capital letters were wanted";
        for (sent, at, found) in [(&b"01aF"[..], 2, "aF"), (b"0102A", 4, "A"), (b"+1", 0, "+1")] {
            assert_eq!(undone(sent), Mismatch { at, reason: format!("\"{found}\" {wanted}") });
        }
    }
}
