//! The record of a binary plan in words of the format language.

use super::numbers::{FLOAT_DECIMALS, Writing};
use super::{Byte, Found, Layout, Page};
use crate::protocol::draft::plan::{Names, Plan};
use crate::protocol::draft::scale::{sight_range, staff_range};
use crate::protocol::draft::words;
use crate::protocol::format::file::Order;

/// Writes the record, and says what was found and what is open.
pub(super) fn record(page: &Page<'_>, layout: &Layout, plan: &mut Plan) -> Option<()> {
    let mut fields: Vec<String> = Vec::new();
    let mut names = Names::default();
    let mut at = 0;
    let mut free = Vec::new();
    while at < page.len {
        let byte = layout.bytes.iter().find(|(place, _)| *place == at).map(|(_, byte)| byte);
        let number = [Some((layout.staff, "staff")), layout.sight.map(|sight| (sight, "sight"))];
        if let Some((found, means)) = number.into_iter().flatten().find(|(found, _)| found.at == at) {
            fields.push(number_field(page, layout, &found, means, plan)?);
            plan.found.push(format!("{means}: byte {at} of the body, {}", described(&found)));
            at += found.writing.size();
        } else if let Some((_, writing)) = layout.sequence.filter(|(place, _)| *place == at) {
            plan.found.push(format!("number of the record: byte {at} of the body, counted up"));
            fields.push(format!("{{ {}, means = \"sequence\" }}", kind(writing)));
            at += writing.size();
        } else if let Some(length) = page.length.clone().filter(|length| length.start == at) {
            fields.push(format!("{{ is = \"length\", bytes = {} }}", length.len()));
            at = length.end;
        } else if let Some(flag) = layout.inverted.filter(|flag| flag.at == at) {
            let (upright, inverted) = if flag.set { (0, 1) } else { (1, 0) };
            let bit = flag.bit;
            let mut bits = vec![format!(
                "{{ bit = {bit}, means = \"inverted\", values = {{ \"{upright}\" = \"upright\", \"{inverted}\" = \"inverted\" }} }}"
            )];
            plan.found.push(format!("inverted staff: bit {bit} of byte {at} of the body"));
            bits.extend(other_bits(byte, bit, &mut names, at));
            fields.push(format!(
                "{{ is = \"flags\", bytes = 1, bits = [\n        {},\n    ] }}",
                bits.join(",\n        ")
            ));
            at += 1;
        } else {
            match byte? {
                Byte::Constant(first) => {
                    let mut literal = vec![*first];
                    while let Some((_, Byte::Constant(next))) =
                        layout.bytes.iter().find(|(place, _)| *place == at + literal.len())
                        && page.length.as_ref().is_none_or(|length| length.start != at + literal.len())
                    {
                        literal.push(*next);
                    }
                    fields.push(format!("{{ is = \"literal\", literal = {} }}", words::octets(&literal)));
                    at += literal.len();
                }
                Byte::Choice(values) => {
                    let name = names.take(&format!("byte-{at}"));
                    let shown: Vec<String> = values.iter().map(|value| format!("{value:#04X}")).collect();
                    plan.questions.push(format!("what does {name} say: {}? Perhaps the role", shown.join(", ")));
                    let pairs: Vec<String> = shown.iter().map(|value| format!("\"{value}\" = \"{value}\"")).collect();
                    fields.push(format!(
                        "{{ name = \"{name}\", is = \"choice\", bytes = 1, values = {{ {} }} }}",
                        pairs.join(", ")
                    ));
                    at += 1;
                }
                Byte::Free => {
                    let from = at;
                    while layout.bytes.iter().any(|(place, byte)| *place == at && matches!(byte, Byte::Free)) {
                        at += 1;
                    }
                    free.push(if at - from == 1 {
                        format!("byte {from}")
                    } else {
                        format!("bytes {from} to {}", at - 1)
                    });
                    fields.push(format!("{{ is = \"skip\", bytes = {} }}", at - from));
                }
            }
        }
    }
    if !free.is_empty() {
        plan.questions.push(format!("what do {} of the body say? They are passed over", free.join(", ")));
    }
    let fields: String = fields.iter().map(|field| format!("    {field},\n")).collect();
    plan.record = format!("layout = \"binary\"\nfields = [\n{fields}]\n");
    Some(())
}

fn number_field(page: &Page<'_>, layout: &Layout, found: &Found, means: &str, plan: &Plan) -> Option<String> {
    let mut keys = format!("{}, means = \"{means}\", unit = \"{}\"", kind(found.writing), found.scale.unit);
    if let Writing::Float { .. } = found.writing {
        keys.push_str(&format!(", decimals = {}", decimals(page, found, plan)));
    } else {
        if found.scale.implied > 0 {
            keys.push_str(&format!(", implied = {}", found.scale.implied));
        }
        if found.scale.times > 1 {
            keys.push_str(&format!(", times = {}", found.scale.times));
        }
    }
    if let (Some(absent), "sight") = (&layout.absent, means) {
        let bytes: Vec<String> = absent.iter().map(|byte| format!("{byte:#04X}")).collect();
        keys.push_str(&format!(", absent = [[{}]]", bytes.join(", ")));
    }
    // Bytes that were zero so far and are counted to the number must not make it absurd unnoticed.
    let unit = found.scale.unit;
    let (least, most) = if means == "staff" { staff_range(unit) } else { sight_range(unit) };
    keys.push_str(&format!(", range = [{least}, {most}]"));
    Some(format!("{{ {keys} }}"))
}

/// The fewest decimals that leave no float of the readings changed by more than its own resolution.
fn decimals(page: &Page<'_>, found: &Found, plan: &Plan) -> u8 {
    let numbers: Vec<i64> = page
        .row(found.at, found.writing)
        .into_iter()
        .zip(&plan.members)
        .filter_map(|(number, member)| number.filter(|_| *member).map(|number| number.mantissa))
        .collect();
    let most = numbers.iter().map(|number| number.unsigned_abs()).max().unwrap_or(0);
    // A float of 4 bytes holds 24 bits.
    let resolution = most.div_ceil(1 << 24).max(1) as i64;
    let fits = |decimals: u8| {
        let step = 10i64.pow(u32::from(FLOAT_DECIMALS - decimals));
        numbers.iter().all(|number| {
            let rest = number.rem_euclid(step);
            rest.min(step - rest) <= resolution
        })
    };
    (0..FLOAT_DECIMALS).find(|decimals| fits(*decimals)).unwrap_or(FLOAT_DECIMALS - 2)
}

fn kind(writing: Writing) -> String {
    let order = |order: Order| words::order(order);
    match writing {
        Writing::Integer { bytes, order: by, signed } => {
            let is = if signed { "signed" } else { "unsigned" };
            let by = if bytes > 1 { format!(", order = {}", order(by)) } else { String::new() };
            format!("is = \"{is}\", bytes = {bytes}{by}")
        }
        Writing::Float { bytes, order: by } => format!("is = \"float\", bytes = {bytes}, order = {}", order(by)),
        Writing::Bcd { bytes, nibble } => {
            format!("is = \"bcd\", bytes = {bytes}{}", if nibble { ", sign = \"nibble\"" } else { "" })
        }
    }
}

fn described(found: &Found) -> String {
    let (implied, times, unit) = (found.scale.implied, found.scale.times, found.scale.unit);
    let size = 8 * found.writing.size();
    match (found.writing, times) {
        (Writing::Float { .. }, _) => format!("a float of {size} bits in {unit}"),
        (Writing::Bcd { .. }, _) => format!("packed digits in {unit}, {implied} decimals implied"),
        (_, 1) => format!("{size} bits in {unit}, {implied} decimals implied"),
        (_, times) => format!("{size} bits in {unit}, {implied} decimals implied, steps of {times}"),
    }
}

/// The bits beside the one that says inverted: only with the values that were seen, where these are few.
fn other_bits(byte: Option<&Byte>, flag: u8, names: &mut Names, at: usize) -> Vec<String> {
    let mut parts = Vec::new();
    for (bit, bits) in [(0, flag), (flag + 1, 7 - flag)].into_iter().filter(|(_, bits)| *bits > 0) {
        let part = |value: &u8| value >> bit & (0xFF >> (8 - bits));
        let mut found: Vec<u8> = match byte {
            Some(Byte::Choice(values)) => values.iter().map(part).collect(),
            Some(Byte::Constant(value)) => vec![part(value)],
            Some(Byte::Free) | None => Vec::new(),
        };
        found.sort_unstable();
        found.dedup();
        if found == [0] {
            continue;
        }
        let name = names.take(&format!("byte-{at}-bits"));
        let pairs: Vec<String> = found.iter().map(|value| format!("\"{value}\" = \"{value}\"")).collect();
        let values = if pairs.is_empty() { String::new() } else { format!(", values = {{ {} }}", pairs.join(", ")) };
        parts.push(format!("{{ bit = {bit}, bits = {bits}, name = \"{name}\"{values} }}"));
    }
    parts
}
