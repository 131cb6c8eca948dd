//! What may be sent to the instrument, as a format file says it. Nothing else ever is.

pub use super::format::file::{Does, Resent};

/// What may be sent to the instrument.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Talk {
    /// Sent in order when the link was opened.
    pub greeting: Vec<Vec<u8>>,
    /// What is sent comes back.
    pub echo: bool,
    /// Named commands.
    pub commands: Vec<Command>,
    /// Sent again and again.
    pub polls: Vec<Poll>,
    /// Answers that the instrument waits for.
    pub acknowledge: Option<Acknowledge>,
}

impl Talk {
    /// The command that makes the instrument take a reading, if there is one.
    pub fn measure(&self) -> Option<&Command> {
        self.commands.iter().find(|command| command.does == Does::Measure)
    }

    /// The command of that name.
    pub fn command(&self, name: &str) -> Option<&Command> {
        self.commands.iter().find(|command| command.name == name)
    }

    /// Whether these bytes are something that is sent; line ends do not count.
    pub(super) fn sends(&self, bytes: &[u8]) -> bool {
        let bare = |bytes: &[u8]| bytes.trim_ascii().to_vec();
        let bytes = bare(bytes);
        self.sent().any(|sent| bare(sent) == bytes)
    }

    /// How long a message is that comes back in front of other bytes; the longest counts.
    pub(super) fn echo_in_front(&self, bytes: &[u8]) -> Option<usize> {
        let in_front = |sent: &&[u8]| !sent.is_empty() && sent.len() < bytes.len() && bytes.starts_with(sent);
        self.sent().filter(|_| self.echo).filter(in_front).map(<[u8]>::len).max()
    }

    /// All that is ever sent unasked.
    fn sent(&self) -> impl Iterator<Item = &[u8]> {
        let polls = self.polls.iter().map(|poll| &*poll.bytes);
        let commands = self.commands.iter().map(|command| &*command.bytes);
        self.greeting.iter().map(|greeting| &**greeting).chain(commands).chain(polls)
    }
}

/// A named command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    /// Its name.
    pub name: String,
    /// What it makes the instrument do.
    pub does: Does,
    /// The bytes to send.
    pub bytes: Vec<u8>,
}

/// Bytes sent again and again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Poll {
    /// Seconds between two of them.
    pub every_s: u32,
    /// The bytes to send.
    pub bytes: Vec<u8>,
}

/// Answers that the instrument waits for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Acknowledge {
    /// The places of the records that are answered.
    pub(super) records: Vec<usize>,
    /// The answer to a good one.
    pub(super) good: Vec<Answer>,
    /// The answer to a damaged one.
    pub bad: Option<Vec<u8>>,
    /// How a record that is sent again is known.
    pub resent: Resent,
}

/// Part of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// These bytes.
    Bytes(Vec<u8>),
    /// The field of that name, as it was sent.
    Field(String),
}
