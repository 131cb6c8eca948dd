//! Formats made up by chance, and records for them: what holds for these does not hold by the luck of the shipped ones.
//!
//! A seed says everything: the format file, the records, the damage.

mod content;
mod dice;
mod fields;
mod plain;
mod tests;

use content::Make;
pub(super) use dice::Dice;
use fields::{binary, characters};

use super::record::{Content, Record};
use crate::units::Digits;

/// A format made up, and how records for it are made.
pub(super) struct Made {
    pub(super) text: String,
    record: &'static str,
    fields: Vec<Field>,
}

struct Field {
    name: String,
    optional: bool,
    content: Make,
}

impl Made {
    /// One record by chance.
    pub(super) fn record(&self, dice: &mut Dice) -> Record {
        let mut record = Record::new(self.record);
        for field in &self.fields {
            if !(field.optional && dice.one_in(3)) {
                record = record.with(field.name.clone(), field.content.make(dice));
            }
        }
        record
    }

    /// One record with a staff reading such as is taken on a building site, in metres; the reading, if the format is
    /// fine enough for one.
    pub(super) fn shot(&self, dice: &mut Dice) -> Option<(Record, Digits)> {
        let mut record = self.record(dice);
        let staff = self.fields[0].content.staff(dice)?;
        for (name, content) in &mut record.fields {
            match &**name {
                name if name == self.fields[0].name => *content = Content::Number(staff),
                "u" => *content = Content::Text("M".to_owned()),
                _ => {}
            }
        }
        Some((record, staff))
    }
}

/// What surrounds a record, and what may therefore stand in it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Carries {
    /// Characters only.
    Characters,
    /// Any byte.
    Bytes,
}

/// Makes a format up.
pub(super) fn made(dice: &mut Dice) -> Made {
    let encoding = dice.pick(&["ascii", "latin-1", "utf-8"]);
    let mut text = format!("format = 1\nname = \"made\"\ntitle = \"made up\"\ntext = \"{encoding}\"\n");
    text.push_str("[link]\nsilence_ms = 40\n");
    let frame = dice.below(8);
    // Any byte may be sent as digits.
    let digits = frame < 2 && dice.one_in(3);
    let carries = if frame < 4 && !digits { Carries::Characters } else { Carries::Bytes };
    let layout = match (frame, carries) {
        (3, _) => "lines",
        (4, _) => dice.pick(&["columns", "binary"]),
        (_, Carries::Characters) => dice.pick(&["separated", "columns", "keyed", "json", "parts"]),
        (_, Carries::Bytes) => dice.pick(&["binary", "binary", "separated", "columns", "keyed", "json"]),
    };
    let letters = match (encoding, layout) {
        ("ascii", "json") | (_, "json" | "columns" | "binary") | ("ascii", _) => "ABCxyz0189",
        _ => "ABCxyz0189é",
    };
    let mut record = format!("[[record]]\nname = \"made\"\nkind = \"reading\"\nlayout = \"{layout}\"\n");
    let begins = layout != "json" && dice.one_in(2) || layout == "lines";
    if begins {
        record.push_str("begins = \"Q\"\n");
    }
    let mut fields = Vec::new();
    record.push_str(&body(layout, letters, begins, &mut fields, dice));
    let checks = checks(carries, frame, dice);
    text.push_str(&self::frame(frame, layout, &checks, dice));
    if digits {
        text.push_str(dice.pick(&["sent_as = \"hex\"\n", "sent_as = \"hex-lower\"\n"]));
    }
    text.push_str(&checks.text);
    if frame == 4 {
        // All frames have one size, so none may end early.
        record = record.replace("short = true", "short = false");
        // The size is only known now; what the first attempt says is wrong says what it must be.
        let trial = format!("{text}{record}").replace("size = 0", "size = 60000");
        let said = super::Format::parse(&trial).unwrap_err().to_string();
        let found = said.split("fields of ").nth(1).and_then(|rest| rest.split(' ').next()).unwrap_or_else(|| {
            panic!("{trial}\n{said}");
        });
        let around = 1 + checks.size;
        let size = found.parse::<usize>().unwrap() + around;
        text = text.replace("size = 0", &format!("size = {size}"));
    }
    text.push_str(&record);
    Made { text, record: "made", fields }
}

struct Checks {
    text: String,
    size: usize,
    behind: bool,
}

fn checks(carries: Carries, frame: u64, dice: &mut Dice) -> Checks {
    let (mut text, mut size) = (String::new(), 0);
    let behind = matches!(frame, 1 | 6) && dice.one_in(3);
    let each_line = frame == 3 && dice.one_in(2);
    for _ in 0..dice.below(3) {
        let (form, binary) = match carries {
            Carries::Characters => (dice.pick(&["hex", "hex-lower", "decimal"]), false),
            Carries::Bytes if dice.one_in(3) => ("hex", false),
            Carries::Bytes => ("binary", true),
        };
        let (kind, bytes) = match dice.below(6) {
            0 => ("kind = \"xor\"\n", 1),
            1 => ("kind = \"sum\"\nbytes = 2\nfirst = 7\nfinish = \"ones-complement\"\n", 2),
            2 => ("kind = \"lrc\"\n", 1),
            3 => ("kind = \"crc\"\nname = \"CRC-16/MODBUS\"\norder = \"little\"\n", 2),
            4 => ("kind = \"crc\"\nname = \"CRC-32/BZIP2\"\n", 4),
            _ => ("kind = \"modulo\"\nmodulus = 11\nweights = [3, 1, 7]\n", 1),
        };
        let decimal = [0, 3, 5, 0, 10][bytes];
        let mut width = if binary { bytes } else { 2 * bytes };
        if form == "decimal" {
            width = decimal;
        }
        if kind.contains("modulo") {
            width = match form {
                "binary" | "hex" | "hex-lower" => width,
                _ => 2,
            };
        }
        text.push_str(&format!("[[check]]\n{kind}form = \"{form}\"\n"));
        if behind {
            text.push_str("stands = \"behind-end\"\n");
        }
        if each_line {
            text.push_str("stands = \"each-line\"\n");
        }
        if dice.one_in(2) {
            text.push_str("after = \"*\"\n");
            width += 1;
        }
        if dice.one_in(3) {
            text.push_str("to = \"check\"\n");
        }
        if (frame > 3 || each_line) && dice.one_in(3) {
            text.push_str("from = 0\n");
        }
        size += width;
    }
    Checks { text, size, behind }
}

fn frame(frame: u64, layout: &str, checks: &Checks, dice: &mut Dice) -> String {
    let body = match frame {
        0 if layout == "json" => "kind = \"line\"\nend = \"\\n\"\n".to_owned(),
        0 => format!("kind = \"line\"\nend = \"{}\"\n", dice.pick(&["\\n", "\\r\\n", "any", "~"])),
        1 if checks.behind => "kind = \"delimited\"\nstart = [0x02]\nend = [0x03]\n".to_owned(),
        1 => format!("kind = \"delimited\"\nstart = \"@\"\nend = \"{}\"\n", dice.pick(&["\\r\\n", "~"])),
        2 => format!(
            "kind = \"prefixed\"\nstart = \"#\"\nend = \"{}\"\nlength = {{ at = 1, bytes = 4, form = \"{}\", counts = \"{}\", plus = {} }}\n",
            dice.pick(&["", "\\n"]),
            dice.pick(&["decimal", "hex"]),
            dice.pick(&["frame", "rest", "body"]),
            dice.below(4),
        ),
        3 => "kind = \"block\"\nopen = \"Q\"\nclose = \"END\"\nend = \"\\r\\n\"\n".to_owned(),
        4 => "kind = \"fixed\"\nstart = [0xC3]\nsize = 0\nmax = 60000\n".to_owned(),
        5 => format!(
            "kind = \"prefixed\"\nstart = [{}]\nlength = {{ at = {}, bytes = 2, order = \"{}\", counts = \"{}\" }}\n",
            dice.pick(&["0xA5, 0x5A", "0xA5, 0xA5"]),
            2,
            dice.pick(&["big", "little"]),
            dice.pick(&["frame", "rest", "body"]),
        ),
        6 => match dice.below(4) {
            0 => "kind = \"delimited\"\nstart = [0x7E]\nend = [0x7E]\nescape = { byte = 0x7D, flip = 0x20 }\n".to_owned(),
            1 => "kind = \"delimited\"\nstart = [0x02]\nend = [0x03]\nescape = { byte = 0x10, flip = 0 }\n".to_owned(),
            2 => "kind = \"delimited\"\nstart = [0x10, 0x02]\nend = [0x10, 0x03]\nescape = { byte = 0x10, flip = 0 }\n".to_owned(),
            _ => "kind = \"delimited\"\nstart = [0xC0]\nend = [0xC0]\nescape = { byte = 0xDB, replaces = [[0xC0, 0xDC], [0xDB, 0xDD]] }\n"
                .to_owned(),
        },
        _ => "kind = \"silence\"\n".to_owned(),
    };
    let max = if frame == 4 { "" } else { "max = 2000\n" };
    format!("[frame]\n{body}{max}")
}

fn body(layout: &str, letters: &'static str, begins: bool, fields: &mut Vec<Field>, dice: &mut Dice) -> String {
    let count = 1 + dice.below(6) as usize;
    let mut text = String::new();
    let mut repeats = false;
    match layout {
        "separated" => {
            repeats = dice.one_in(3);
            let separator = if repeats { " " } else { dice.pick(&[",", ";", "; ", "\\t"]) };
            text.push_str(&format!("separator = \"{separator}\"\nseparator_repeats = {repeats}\n"));
            let short = !repeats && dice.one_in(3);
            text.push_str(&format!("short = {short}\n"));
        }
        "keyed" => text.push_str(&format!(
            "separator = \"{}\"\njoins = \"{}\"\n",
            dice.pick(&[";", ", "]),
            dice.pick(&["=", ":"])
        )),
        "columns" => text.push_str(&format!("short = {}\n", dice.one_in(3))),
        "lines" => text.push_str("line_end = \"\\r\\n\"\n"),
        _ => {}
    }
    let unit_from = layout != "binary" && dice.one_in(4);
    let mut listed = Vec::new();
    let mut column = 1 + usize::from(begins);
    for place in 0..count {
        let mut made = if layout == "binary" {
            binary(place, dice)
        } else {
            characters(place, if repeats { "spaced" } else { layout }, letters, unit_from, dice)
        };
        let gap = dice.below(3) as usize;
        match layout {
            "columns" => {
                let from = column + gap;
                column = from + made.wide;
                made.keys.push_str(&format!(", columns = [{from}, {}]", column - 1));
            }
            "keyed" => made.keys.push_str(&format!(", key = \"K{place}\"")),
            "json" => {
                let path = dice.pick(&["", "/sub", "/sub/sub"]);
                made.keys.push_str(&format!(", pointer = \"{path}/k{place}\""));
            }
            _ => {}
        }
        listed.push(format!("{{ {} }}", made.keys));
        if matches!(layout, "parts" | "lines") && place + 1 < count {
            listed.push("{ is = \"literal\", literal = \"|\" }".to_owned());
        }
        fields.push(Field { name: format!("f{place}"), optional: made.optional, content: made.content });
    }
    if unit_from {
        let mut keys = "name = \"u\", means = \"unit\", is = \"choice\", values = { M = \"m\", F = \"ft\" }".to_owned();
        match layout {
            "columns" => keys.push_str(&format!(", columns = [{column}, {column}]")),
            "keyed" => keys.push_str(", key = \"U\""),
            "json" => keys.push_str(", pointer = \"/u\""),
            "parts" | "lines" => listed.push("{ is = \"literal\", literal = \"|\" }".to_owned()),
            _ => {}
        }
        listed.push(format!("{{ {keys} }}"));
        fields.push(Field { name: "u".to_owned(), optional: false, content: Make::Choice(vec!["M", "F"]) });
    }
    if layout == "lines" {
        text.push_str("lines = [\n    { begins = \" 1\" },\n    { layout = \"parts\", fields = [\n");
        for field in listed {
            text.push_str(&format!("        {field},\n"));
        }
        text.push_str("    ] },\n    { begins = \"END\" },\n]\n");
        return text;
    }
    text.push_str("fields = [\n");
    for field in listed {
        text.push_str(&format!("    {field},\n"));
    }
    text.push_str("]\n");
    text
}
