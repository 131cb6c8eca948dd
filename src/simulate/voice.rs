//! The instrument's side of a record format: readings become records, and the format's talk becomes manners.

use std::sync::Arc;

use super::act::{Answers, Frame};
use super::ear::{Echo, Manners, Speaks, Told};
use super::scene::Shot;
use super::wire::Wire;
use crate::book::moment::Moment;
use crate::book::reading::{Heard, Reading, Status};
use crate::protocol::link::Parity;
use crate::protocol::talk::Does;
use crate::protocol::{Decoder, Format, Piece, RecordKind, WriteError};

/// The speed of a line whose format does not say any. Common practice, no source.
const BAUD: u32 = 9600;
/// A counter turns over where its field is full: at one of these.
const TURNS_OVER_AT: [u64; 4] = [10_000, 1_000, 256, 100];

/// An instrument that speaks a format.
#[derive(Clone, Debug)]
pub struct Voice {
    format: Arc<Format>,
}

impl Voice {
    /// An instrument that speaks `format`.
    pub fn of(format: Arc<Format>) -> Self {
        Voice { format }
    }

    /// The format that it speaks.
    pub fn format(&self) -> &Arc<Format> {
        &self.format
    }

    /// The line that the format asks for.
    pub fn wire(&self) -> Wire {
        let link = self.format.link();
        let parity = u8::from(matches!(link.parity, Some(Parity::Even | Parity::Odd)));
        Wire {
            baud: link.baud.unwrap_or(BAUD),
            bits: 1 + link.data_bits.unwrap_or(8) + parity + link.stop_bits.unwrap_or(1),
        }
    }

    /// How an instrument behaves that speaks this format: what the format lets a listener send, it takes.
    pub fn manners(&self) -> Manners {
        let talk = self.format.talk();
        let greetings = talk.greeting.iter().map(|bytes| (bytes.clone(), Told::Nothing));
        let polls = talk.polls.iter().map(|poll| (poll.bytes.clone(), Told::Poll));
        let commands = talk.commands.iter().map(|command| {
            let told = match command.does {
                Does::Measure => Told::Measure,
                Does::Status => Told::Status,
                Does::Other => Told::Nothing,
            };
            (command.bytes.clone(), told)
        });
        Manners {
            // The same bytes may greet and poll; then they poll.
            commands: commands.chain(polls).chain(greetings).collect(),
            speaks: if talk.polls.is_empty() { Speaks::Unasked } else { Speaks::WhenPolled },
            echo: if talk.echo { Echo::On } else { Echo::Off },
        }
    }

    /// A record of a reading, as far as the format can say it. A number of the record beyond what the format can hold
    /// turns over, as a counter does.
    ///
    /// # Errors
    /// A reading that the format cannot write.
    pub fn reading(&self, reading: &Reading) -> Result<Frame, WriteError> {
        let first = match self.say(&Heard::Reading(reading.clone())) {
            Ok(frame) => return Ok(frame),
            Err(error) => error,
        };
        let Some(number) = reading.sequence else { return Err(first) };
        for limit in TURNS_OVER_AT {
            let turned = Reading { sequence: Some(number % limit), ..reading.clone() };
            if let Ok(frame) = self.say(&Heard::Reading(turned)) {
                return Ok(frame);
            }
        }
        Err(first)
    }

    /// A record of a shot. What its reading does not hold is not told, except a role in a format that cannot leave it
    /// out: there a made-up one would be worse than the true one.
    ///
    /// # Errors
    /// A reading that the format cannot write.
    pub fn shot(&self, shot: &Shot) -> Result<Frame, WriteError> {
        let frame = self.reading(&shot.reading)?;
        if shot.reading.role.is_some() {
            return Ok(frame);
        }
        match self.read(&frame.bytes).map(|piece| piece.heard) {
            Some(Heard::Reading(Reading { role: Some(_), .. })) => {
                self.reading(&Reading { role: Some(shot.role), ..shot.reading.clone() })
            }
            _ => Ok(frame),
        }
    }

    /// A record of the instrument's state; `None` if the format has none.
    ///
    /// # Errors
    /// A state that the format cannot write.
    pub fn status(&self, status: &Status) -> Result<Option<Frame>, WriteError> {
        if !self.format.delivers().has_kind(RecordKind::Status) {
            return Ok(None);
        }
        self.say(&Heard::Status(status.clone())).map(Some)
    }

    /// A record that says what is wrong with the instrument.
    ///
    /// # Errors
    /// A format without such a record, or a code that it cannot write.
    pub fn fault(&self, code: &str) -> Result<Frame, WriteError> {
        self.say(&Heard::Fault { code: code.to_owned(), meaning: None })
    }

    fn say(&self, heard: &Heard) -> Result<Frame, WriteError> {
        let bytes = self.format.write(&self.format.record_of(heard)?)?;
        let good = self.read(&bytes).and_then(|piece| piece.reply);
        let bad = self.format.talk().acknowledge.as_ref().and_then(|answers| answers.bad.clone());
        Ok(Frame { bytes, answers: good.map(|good| Answers { good, bad }) })
    }

    /// What a listener would make of it, its answer included.
    fn read(&self, bytes: &[u8]) -> Option<Piece> {
        let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(&self.format)), Vec::new());
        decoder.push(bytes, Moment::default(), &mut pieces);
        // Where silence ends a record, this is long enough.
        decoder.silence(Moment::from_us(i64::MAX), &mut pieces);
        pieces.pop()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::reading::Role;
    use crate::protocol::{find, shipped};
    use crate::simulate::Chance;
    use crate::simulate::scene::{Level, Setup, Sight, Staff, shots};
    use crate::units::{Length, Unit};

    fn voice(name: &str) -> Voice {
        Voice::of(Arc::new(find(name).unwrap()))
    }

    fn run(level: &Level) -> Vec<Shot> {
        let sight = |point: &str, mm, distance_m: i64| Sight {
            point: crate::book::reading::PointName::new(point).unwrap(),
            elevation: Length::from_mm(mm),
            distance: Length::from_mm(distance_m * 1000),
            staff: Staff::A,
        };
        let setups: Vec<Setup> = (0..6)
            .map(|n| Setup::new(Length::from_mm(1400), sight("A", n * 300, 25), sight("B", (n + 1) * 300, 24)))
            .collect();
        shots(level, &setups, "aBFFB".parse().unwrap(), &mut Chance::seeded(9)).unwrap()
    }

    #[test]
    fn every_shipped_format_says_what_was_shot() {
        for (name, _) in shipped() {
            let voice = voice(name);
            for shot in run(&Level::metric()) {
                let frame = voice.shot(&shot).unwrap();
                let piece = voice.read(&frame.bytes).unwrap();
                let Heard::Reading(heard) = piece.heard else { panic!("{name}: {piece:?}") };
                // A format may carry a digit less than the level has; it is rounded then, and never by more.
                let rounded = heard.staff.value() - shot.reading.staff.value();
                assert!(rounded.abs() <= Length::from_um(50), "{name}: {rounded:?}");
                let sight = |reading: &Reading| reading.sight.map(|sight| sight.value());
                let (told, seen) = (sight(&heard).unwrap(), sight(&shot.reading).unwrap());
                assert!((told - seen).abs() <= Length::from_mm(50), "{name}: {told:?}");
                assert!(heard.role.is_none_or(|role| role == shot.role), "{name}: a role that is told is the true one");
                assert_eq!(piece.raw, frame.bytes);
            }
        }
    }

    #[test]
    fn a_role_is_told_when_asked_and_where_the_format_insists() {
        let shot = run(&Level::metric()).swap_remove(1);
        let told = |name, shot: &Shot| match voice(name).read(&voice(name).shot(shot).unwrap().bytes).unwrap().heard {
            Heard::Reading(reading) => reading.role,
            other => panic!("{other:?}"),
        };
        assert_eq!(shot.role, Role::Fore);
        assert_eq!(told("comma", &shot), None);
        assert_eq!(told("sentence", &shot), Some(Role::Fore));
        let reading = Reading { role: Some(Role::Fore), ..shot.reading.clone() };
        assert_eq!(told("comma", &Shot { reading, ..shot }), Some(Role::Fore));
    }

    #[test]
    fn a_counter_turns_over_where_its_field_is_full() {
        let mut shot = run(&Level::metric()).swap_remove(0);
        shot.reading.sequence = Some(123_456);
        let text = String::from_utf8(voice("sentence").shot(&shot).unwrap().bytes).unwrap();
        assert!(text.starts_with("@L3456,"), "{text}");
        let text = String::from_utf8(voice("comma").shot(&shot).unwrap().bytes).unwrap();
        assert!(text.starts_with("R,123456,"), "{text}");
    }

    #[test]
    fn feet_are_sent_as_feet_where_the_format_knows_them() {
        let shot = run(&Level { decimals: 4, ..Level::feet() }).swap_remove(0);
        let frame = voice("columns").shot(&shot).unwrap();
        let Heard::Reading(heard) = voice("columns").read(&frame.bytes).unwrap().heard else { panic!() };
        assert_eq!((heard.staff.unit(), heard.staff.digits()), (Unit::Foot, shot.reading.staff.digits()));
    }

    #[test]
    fn the_line_is_as_the_format_sets_it() {
        for (name, baud, bits) in
            [("comma", 9600, 10), ("columns", 4800, 11), ("sentence", 19200, 10), ("packet", 115_200, 10)]
        {
            assert_eq!(voice(name).wire(), Wire { baud, bits }, "{name}");
        }
    }

    #[test]
    fn state_and_trouble_are_said_where_there_are_records_for_them() {
        let status = Level::metric().status(20);
        let frame = voice("comma").status(&status).unwrap().unwrap();
        assert_eq!(frame.bytes, b"S,90,14.0\r\n");
        assert_eq!(voice("columns").status(&status), Ok(None));
        assert_eq!(voice("comma").fault("12").unwrap().bytes, b"E,12\r\n");
        assert!(voice("columns").fault("12").is_err());
    }

    #[test]
    fn what_a_format_lets_a_listener_send_is_taken() {
        let manners = voice("comma").manners();
        assert_eq!(manners.commands, [(b"M\r\n".to_vec(), Told::Measure), (b"Q\r\n".to_vec(), Told::Status)]);
        assert_eq!((manners.speaks, manners.echo), (Speaks::Unasked, Echo::Off));
        let polled = format!("{LINES}[talk]\necho = true\npoll = [{{ every_s = 1, send = \"P\\n\" }}]\n");
        let manners = Voice::of(Arc::new(Format::parse(&polled).unwrap())).manners();
        assert_eq!(manners.commands, [(b"P\n".to_vec(), Told::Poll)]);
        assert_eq!((manners.speaks, manners.echo), (Speaks::WhenPolled, Echo::On));
    }

    /// An invented format; what may be said to its instrument is added behind.
    const LINES: &str = r#"
format = 1
name = "lines"
title = "a number and a reading a line"
[frame]
kind = "line"
end = "\n"
[[record]]
name = "shot"
kind = "reading"
layout = "separated"
separator = ","
fields = [{ is = "integer", means = "sequence" }, { is = "decimal", means = "staff", unit = "m", decimals = 4 }]
"#;

    #[test]
    fn a_record_knows_the_answer_that_it_waits_for() {
        let talk = r#"acknowledge = { good = "OK {sequence}\n", bad = "NO\n", resent = "sequence" }"#;
        let voice = Voice::of(Arc::new(Format::parse(&format!("{LINES}[talk]\n{talk}\n")).unwrap()));
        let frame = voice.shot(&run(&Level::metric())[2]).unwrap();
        let answers = Answers { good: b"OK 3\n".to_vec(), bad: Some(b"NO\n".to_vec()) };
        assert_eq!(frame.answers, Some(answers));
        assert_eq!(voice.manners(), Manners::default());
    }
}
