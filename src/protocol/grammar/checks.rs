//! Checks over a frame, from the file to the tree.

use super::build::{Faults, span};
use crate::nearest::nearest;
use crate::protocol::checksum::catalogue::{self, Cyclic};
use crate::protocol::checksum::{Check, SHOWN_MAX, Sum};
use crate::protocol::format::file::{CheckFile, CheckKind, Finish, Form, FrameFile, FrameKind, From, Stands};
use crate::protocol::format::written::At;
use crate::protocol::limits::{BYTES_MAX, CHECKS_MAX};

pub(super) fn build(checks: &[At<CheckFile>], frame: &FrameFile, faults: &mut Faults) -> Vec<Check> {
    if let Some(beyond) = checks.get(CHECKS_MAX) {
        faults.add(&beyond.span, format!("{} checks found, at most {CHECKS_MAX} were wanted", checks.len()));
    }
    for check in checks {
        stands(check, checks, frame, faults);
    }
    checks.iter().filter_map(|check| one(check, faults)).collect()
}

/// Not every frame has every place in which a check could stand.
fn stands(check: &At<CheckFile>, all: &[At<CheckFile>], frame: &FrameFile, faults: &mut Faults) {
    let kind = frame.kind.value;
    match check.stands {
        Stands::BehindEnd if kind != FrameKind::Delimited => {
            faults.add(&check.span, "a check behind the end found, which only a `delimited` frame can have");
        }
        Stands::EachLine if kind != FrameKind::Block => faults.advise(
            &check.span,
            "a check on each line found, which only a `block` can have",
            "leave `stands` out: where each line is a frame, a check over the frame is one over the line",
        ),
        Stands::EachLine if all.iter().any(|other| other.stands == Stands::BeforeEnd) => {
            faults.add(&check.span, "checks on each line and over the whole block found, one or the other was wanted");
        }
        Stands::BeforeEnd | Stands::BehindEnd | Stands::EachLine => {}
    }
}

fn one(check: &At<CheckFile>, faults: &mut Faults) -> Option<Check> {
    use CheckKind::{Crc, Lrc, Mod97, Modulo, Sum as Plain, Xor};
    let kind = check.kind.value;
    let finish = (check.finish != Finish::AsIs).then_some(&check.span);
    faults.misplaced(
        &[
            ("name", span(&check.name), kind == Crc),
            ("bytes", span(&check.bytes), kind == Plain),
            ("first", span(&check.first), matches!(kind, Plain | Xor)),
            ("finish", finish, kind == Plain),
            ("modulus", span(&check.modulus), kind == Modulo),
            ("weights", span(&check.weights), kind == Modulo),
        ],
        "a check of this kind",
    );
    let (sum, bits, label) = match kind {
        Crc => {
            let Some(name) = &check.name else {
                faults.advise(
                    &check.span,
                    "a CRC without `name` found",
                    "give its catalogue name, such as \"CRC-16/ARC\"",
                );
                return None;
            };
            let Some(entry) = catalogue::entry(name) else {
                unknown_crc(name, faults);
                return None;
            };
            (Sum::Cyclic(Cyclic::new(entry)), u32::from(entry.1.bits()), name.value.clone())
        }
        Xor => {
            let first = check.first.as_ref().map_or(0, |first| first.value);
            match u8::try_from(first) {
                Ok(first) => (Sum::Xor { first }, 8, "exclusive-or".to_owned()),
                Err(_) => {
                    faults.add(span(&check.first)?, format!("{first} found, a byte from 0 to 255 was wanted"));
                    return None;
                }
            }
        }
        Plain => {
            let bytes = check.bytes.as_ref().map_or(1, |bytes| bytes.value);
            if !(1..=4).contains(&bytes) {
                faults.add(span(&check.bytes)?, format!("a sum of {bytes} bytes found, 1 to 4 were wanted"));
                return None;
            }
            let first = check.first.as_ref().map_or(0, |first| first.value);
            (Sum::Plain { bytes, first, finish: check.finish }, 8 * bytes as u32, "sum".to_owned())
        }
        Lrc => (Sum::Plain { bytes: 1, first: 0, finish: Finish::TwosComplement }, 8, "LRC".to_owned()),
        Modulo => {
            let Some(modulus) = &check.modulus else {
                faults.advise(
                    &check.span,
                    "a remainder without `modulus` found",
                    "say of what it is the remainder: `modulus = 10`",
                );
                return None;
            };
            if modulus.value < 2 {
                faults.add(&modulus.span, format!("modulus {} found, 2 to 65535 was wanted", modulus.value));
                return None;
            }
            let weights = check.weights.as_ref().map_or(vec![1], |weights| weights.value.clone());
            if weights.is_empty() {
                faults.add(span(&check.weights)?, "no weights found, at least one was wanted");
                return None;
            }
            let bits = if modulus.value > 256 { 16 } else { 8 };
            (
                Sum::Modulo { modulus: modulus.value, weights: weights.into(), of: check.of },
                bits,
                "check digit".to_owned(),
            )
        }
        Mod97 => (Sum::Mod97, 8, "control number".to_owned()),
    };
    let decimal = matches!(kind, Modulo | Mod97);
    let form = check.form.as_ref().map_or(if decimal { Form::Decimal } else { Form::Binary }, |form| form.value);
    let least = least_size(form, bits, sum.most(bits));
    let size = match &check.digits {
        None => least,
        Some(digits) if form == Form::Binary => {
            faults.add(&digits.span, "`digits` has no meaning for a binary check");
            return None;
        }
        Some(digits) if (least..=SHOWN_MAX).contains(&digits.value) => digits.value,
        Some(digits) => {
            let found = digits.value;
            faults.add(&digits.span, format!("{found} digits found, {least} to {SHOWN_MAX} were wanted"));
            return None;
        }
    };
    let after = check.after.as_ref().map_or(Box::default(), |after| after.0.clone().into_boxed_slice());
    if after.len() > BYTES_MAX {
        faults.add(span(&check.after)?, format!("{} bytes found, at most {BYTES_MAX} were wanted", after.len()));
    }
    let from = match check.from {
        From::Body => None,
        From::Byte(at) => Some(at),
    };
    let (order, to, stands, label) = (check.order, check.to, check.stands, label.into());
    Some(Check { sum, form, size, order, after, from, to, stands, label })
}

fn least_size(form: Form, bits: u32, most: u64) -> usize {
    match form {
        Form::Binary => bits.div_ceil(8) as usize,
        Form::Hex | Form::HexLower => bits.div_ceil(4) as usize,
        Form::Decimal => most.to_string().len(),
    }
}

fn unknown_crc(name: &At<String>, faults: &mut Faults) {
    let names = || catalogue::CATALOGUE.iter().map(|(name, _)| *name);
    let message = format!("unknown CRC {:?} found, a name of the CRC catalogue was wanted", name.value);
    let upper = name.to_ascii_uppercase();
    let alike: Vec<_> =
        names().filter(|known| known.starts_with(&*upper) || upper.starts_with(*known)).take(4).collect();
    let advice = match nearest(name, names()) {
        Some(meant) => format!("did you mean {meant:?}?"),
        None if !alike.is_empty() => format!("names like it: {}", alike.join(", ")),
        None => "names look like \"CRC-16/ARC\", \"CRC-16/MODBUS\", \"CRC-32/ISO-HDLC\"".to_owned(),
    };
    faults.advise(&name.span, message, advice);
}
