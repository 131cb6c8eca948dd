//! What a simulated instrument makes of the bytes that it is sent: answers, commands, polls. Pure.

/// How an instrument behaves towards whoever listens to it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Manners {
    /// What it is told.
    pub commands: Vec<(Vec<u8>, Told)>,
    /// It keeps its records until it is polled for them.
    pub speaks: Speaks,
    /// It sends back what it is sent.
    pub echo: Echo,
}

/// When an instrument sends a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Speaks {
    /// By itself.
    #[default]
    Unasked,
    /// One record for each poll or command to measure.
    WhenPolled,
}

/// Whether an instrument sends back what it is sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Echo {
    /// It does not.
    #[default]
    Off,
    /// It does.
    On,
}

/// What bytes from the listener mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// The record arrived well.
    Good,
    /// The record arrived damaged.
    Bad,
    /// Take a reading now.
    Measure,
    /// Send your state.
    Status,
    /// Send what there is.
    Poll,
    /// Something that needs no doing, such as a greeting.
    Nothing,
}

/// The beginning of some bytes, understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Understood {
    /// So many bytes say this.
    As(Told, usize),
    /// So many bytes say nothing known.
    Unknown(usize),
    /// Too few bytes to tell.
    More,
}

/// Looks at the beginning of `bytes` for one of the known ones; the longest wins.
pub(super) fn understand<'k>(known: impl Iterator<Item = (&'k [u8], Told)>, bytes: &[u8]) -> Understood {
    let mut best = None;
    let mut could_grow = false;
    for (wanted, told) in known {
        if bytes.starts_with(wanted) && !wanted.is_empty() {
            if best.is_none_or(|(_, length)| wanted.len() > length) {
                best = Some((told, wanted.len()));
            }
        } else if wanted.starts_with(bytes) {
            could_grow = true;
        }
    }
    match best {
        Some((told, length)) => Understood::As(told, length),
        None if bytes.is_empty() || could_grow => Understood::More,
        None => Understood::Unknown(1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_bytes_are_understood_however_they_are_cut() {
        let known: [(&[u8], Told); 4] =
            [(b"\x06", Told::Good), (b"M\r", Told::Measure), (b"MX\r", Told::Status), (b"", Told::Bad)];
        for (bytes, wanted) in [
            (&b""[..], Understood::More),
            (b"M", Understood::More),
            (b"MX", Understood::More),
            (b"M\rM\r", Understood::As(Told::Measure, 2)),
            (b"MX\r", Understood::As(Told::Status, 3)),
            (b"\x06M", Understood::As(Told::Good, 1)),
            (b"MY\r", Understood::Unknown(1)),
            (b"?M\r", Understood::Unknown(1)),
        ] {
            assert_eq!(understand(known.iter().copied(), bytes), wanted, "{bytes:?}");
        }
    }
}
