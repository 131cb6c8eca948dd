//! The link's settings and what may be sent, from the file to the tree.

use super::Rule;
use super::build::{Faults, name};
use crate::protocol::format::file::{AcknowledgeFile, LinkFile, Means, Resent, TalkFile};
use crate::protocol::format::written::{At, Octets};
use crate::protocol::limits::BYTES_MAX;
use crate::protocol::link::{Ble, LinkDefaults};
use crate::protocol::talk::{Acknowledge, Answer, Command, Poll, Talk};

pub(super) fn link(file: &LinkFile, faults: &mut Faults) -> LinkDefaults {
    let within = |value: Option<&At<u32>>, least: u32, most: u32, what: &str, faults: &mut Faults| {
        if let Some(At { value, span }) = value
            && !(least..=most).contains(value)
        {
            faults.add(span, format!("{value} found, {what} from {least} to {most} was wanted"));
        }
    };
    within(file.baud.as_ref(), 50, 4_000_000, "a speed in baud", faults);
    within(file.silence_ms.as_ref(), 1, 60_000, "a silence in milliseconds", faults);
    within(file.quiet_s.as_ref(), 1, 86_400, "a time in seconds", faults);
    if let Some(bits) = file.data_bits.as_ref().filter(|bits| !(5..=8).contains(&bits.value)) {
        faults.add(&bits.span, format!("{} data bits found, 5 to 8 were wanted", bits.value));
    }
    if let Some(bits) = file.stop_bits.as_ref().filter(|bits| !(1..=2).contains(&bits.value)) {
        faults.add(&bits.span, format!("{} stop bits found, 1 or 2 were wanted", bits.value));
    }
    let ble = file.ble.as_ref().map(|ble| {
        for uuid in [Some(&ble.service), Some(&ble.notify), ble.write.as_ref()].into_iter().flatten() {
            if !is_uuid(uuid) {
                let message = format!("{:?} found, a UUID was wanted", uuid.value);
                faults.advise(&uuid.span, message, "for example \"0000180a-0000-1000-8000-00805f9b34fb\"");
            }
        }
        Ble {
            service: ble.service.value.clone(),
            notify: ble.notify.value.clone(),
            write: ble.write.as_ref().map(|write| write.value.clone()),
        }
    });
    LinkDefaults {
        baud: file.baud.as_ref().map(|baud| baud.value),
        data_bits: file.data_bits.as_ref().map(|bits| bits.value),
        parity: file.parity,
        stop_bits: file.stop_bits.as_ref().map(|bits| bits.value),
        flow: file.flow,
        silence_ms: file.silence_ms.as_ref().map(|silence| silence.value),
        quiet_s: file.quiet_s.as_ref().map(|quiet| quiet.value),
        ble,
    }
}

fn is_uuid(text: &str) -> bool {
    let dashes = [8, 13, 18, 23];
    text.len() == 36
        && text
            .bytes()
            .enumerate()
            .all(|(at, byte)| if dashes.contains(&at) { byte == b'-' } else { byte.is_ascii_hexdigit() })
}

pub(super) fn build(file: &TalkFile, records: &[Rule], faults: &mut Faults) -> Talk {
    let mut commands: Vec<Command> = Vec::new();
    for command in &file.command {
        name(&command.name, "a command", faults);
        if commands.iter().any(|known| known.name == command.name.value) {
            faults.add(&command.name.span, format!("two commands named {:?} found", command.name.value));
        }
        let (name, does, bytes) = (command.name.value.clone(), command.does, sent(&command.send, faults));
        commands.push(Command { name, does, bytes });
    }
    let mut polls = Vec::new();
    for poll in &file.poll {
        if !(1..=86_400).contains(&poll.every_s.value) {
            faults.add(&poll.every_s.span, format!("every {} s found, 1 to 86400 s were wanted", poll.every_s.value));
        }
        polls.push(Poll { every_s: poll.every_s.value, bytes: sent(&poll.send, faults) });
    }
    Talk {
        greeting: file.greeting.iter().map(|bytes| sent(bytes, faults)).collect(),
        echo: file.echo,
        commands,
        polls,
        acknowledge: file.acknowledge.as_ref().and_then(|file| acknowledge(file, records, faults)),
    }
}

fn sent(octets: &At<Octets>, faults: &mut Faults) -> Vec<u8> {
    if !(1..=BYTES_MAX).contains(&octets.0.len()) {
        faults.add(&octets.span, format!("{} bytes found, 1 to {BYTES_MAX} were wanted", octets.0.len()));
    }
    octets.0.clone()
}

fn acknowledge(file: &At<AcknowledgeFile>, records: &[Rule], faults: &mut Faults) -> Option<Acknowledge> {
    let mut places = Vec::new();
    let known: Vec<_> = records.iter().map(|rule| &*rule.name).collect();
    match &file.records {
        None => places.extend(0..records.len()),
        Some(names) => {
            for name in &names.value {
                match records.iter().position(|rule| *rule.name == *name.value) {
                    Some(place) => places.push(place),
                    None => faults.unknown(&name.span, "record", name, &known),
                }
            }
        }
    }
    let good = answer(&file.good, &places, records, faults);
    let bad = file.bad.as_ref().map(|bytes| sent(bytes, faults));
    let unnumbered = places.iter().map(|&place| &records[place]).find(|rule| rule.slot(Means::Sequence).is_none());
    if let (Resent::Sequence, Some(rule)) = (file.resent, unnumbered) {
        let message = format!("records known again by their sequence number found, and a {} has none", rule.name);
        let advice = "say which field it is: `means = \"sequence\"`; or which records are answered: `records = [..]`; \
            or `resent = \"bytes\"`";
        faults.advise(&file.span, message, advice);
    }
    Some(Acknowledge { records: places, good, bad, resent: file.resent })
}

/// Takes `{name}` out of an answer.
fn answer(octets: &At<Octets>, places: &[usize], records: &[Rule], faults: &mut Faults) -> Vec<Answer> {
    let bytes = sent(octets, faults);
    let mut parts = Vec::new();
    let mut rest = &bytes[..];
    while let Some(open) = memchr::memchr(b'{', rest) {
        let Some(close) = memchr::memchr(b'}', &rest[open..]) else { break };
        let field = String::from_utf8_lossy(&rest[open + 1..open + close]).into_owned();
        for &place in places {
            if !records[place].fields.iter().any(|known| *known.name == *field) {
                let known: Vec<_> = records[place].fields.iter().map(|field| &*field.name).collect();
                faults.unknown(&octets.span, &format!("field of a {}", records[place].name), &field, &known);
            }
        }
        if open > 0 {
            parts.push(Answer::Bytes(rest[..open].to_vec()));
        }
        parts.push(Answer::Field(field));
        rest = &rest[open + close + 1..];
    }
    if !rest.is_empty() {
        parts.push(Answer::Bytes(rest.to_vec()));
    }
    parts
}
