//! The language described by its own types: a JSON Schema for editors, and a page for people.
//!
//! Both come from the structs that read a file, with their doc comments, so neither can say anything else.

use std::fmt::Write as _;

use schemars::generate::SchemaSettings;
use serde_json::{Map, Value};

use super::checksum::catalogue::CATALOGUE;
use super::format::file::File;

/// The JSON Schema of the language, indented.
pub fn schema() -> String {
    format!("{:#}\n", described())
}

/// The reference page of the language, as Markdown.
pub fn reference() -> String {
    let schema = described();
    let mut page = "# Reference of the record format language\n\nGenerated from the types that read a format file: \
                    `closerun format schema` gives the same as JSON Schema. Keys in bold must be there.\n\n"
        .to_owned();
    describe("The file", &schema, &mut page);
    let definitions = schema["$defs"].as_object().into_iter().flatten();
    for (name, definition) in in_order(&schema, definitions.map(|(name, _)| name.as_str())) {
        describe(name, definition, &mut page);
    }
    page.push_str("## Names of CRCs\n\n| name | bits |\n|---|---|\n");
    for (name, entry) in CATALOGUE {
        let _ = writeln!(page, "| `{name}` | {} |", entry.bits());
    }
    page
}

fn described() -> Value {
    let schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<File>();
    let mut schema = schema.to_value();
    without_null(&mut schema);
    schema
}

/// TOML has no null: a key that may be missing is not one that may hold nothing.
fn without_null(value: &mut Value) {
    match value {
        Value::Object(map) => {
            if let Some(Value::Array(types)) = map.get_mut("type") {
                types.retain(|word| word != "null");
                if let [only] = &types[..] {
                    let only = only.clone();
                    map.insert("type".to_owned(), only);
                }
            }
            if let Some(Value::Array(choices)) = map.get_mut("anyOf") {
                choices.retain(|choice| choice["type"] != "null");
                if let [only] = &choices[..] {
                    let only = only.clone();
                    map.remove("anyOf");
                    map.extend(only.as_object().cloned().unwrap_or_default());
                }
            }
            if map.get("default").is_some_and(Value::is_null) {
                map.remove("default");
            }
            map.values_mut().for_each(without_null);
        }
        Value::Array(values) => values.iter_mut().for_each(without_null),
        _ => {}
    }
}

/// Definitions in the order in which the file first needs them.
fn in_order<'a>(schema: &'a Value, names: impl Iterator<Item = &'a str>) -> Vec<(&'a str, &'a Value)> {
    let mut order: Vec<&str> = Vec::new();
    needed(schema, &schema["$defs"], &mut order);
    for name in names {
        if !order.contains(&name) {
            order.push(name);
        }
    }
    order.into_iter().map(|name| (name, &schema["$defs"][name])).collect()
}

fn needed<'a>(value: &'a Value, definitions: &'a Value, order: &mut Vec<&'a str>) {
    match value {
        Value::Object(map) => {
            if let Some(name) = map.get("$ref").and_then(Value::as_str).and_then(|path| path.strip_prefix("#/$defs/"))
                && !order.contains(&name)
            {
                order.push(name);
                needed(&definitions[name], definitions, order);
            }
            for (key, value) in map {
                if key != "$defs" {
                    needed(value, definitions, order);
                }
            }
        }
        Value::Array(values) => values.iter().for_each(|value| needed(value, definitions, order)),
        _ => {}
    }
}

fn describe(name: &str, definition: &Value, page: &mut String) {
    let _ = write!(page, "## {name}\n\n{}\n\n", text(&definition["description"]));
    if let Some(properties) = definition["properties"].as_object() {
        keys(definition, properties, page);
    }
    if let Some(words) = words(definition) {
        page.push_str("| value | meaning |\n|---|---|\n");
        for (word, meaning) in words {
            let _ = writeln!(page, "| `{word}` | {meaning} |");
        }
        page.push('\n');
    }
}

fn keys(definition: &Value, properties: &Map<String, Value>, page: &mut String) {
    let required =
        |key: &str| definition["required"].as_array().is_some_and(|keys| keys.iter().any(|known| known == key));
    page.push_str("| key | holds | meaning |\n|---|---|---|\n");
    for (key, value) in properties {
        let shown = if required(key) { format!("**`{key}`**") } else { format!("`{key}`") };
        let _ = writeln!(page, "| {shown} | {} | {} |", holds(value), text(&value["description"]));
    }
    page.push('\n');
}

/// What a key holds, in a few words.
fn holds(value: &Value) -> String {
    if let Some(name) = value["$ref"].as_str().and_then(|path| path.strip_prefix("#/$defs/")) {
        return format!("[{name}](#{})", name.to_lowercase());
    }
    match value["type"].as_str() {
        Some("array") => match value["prefixItems"].as_array() {
            Some(items) => format!("list of {}", items.iter().map(holds).collect::<Vec<_>>().join(" and ")),
            None => format!("list of {}", holds(&value["items"])),
        },
        Some("object") if value["additionalProperties"].is_object() => {
            format!("table of {}", holds(&value["additionalProperties"]))
        }
        Some("integer") => "whole number".to_owned(),
        Some("boolean") => "`true` or `false`".to_owned(),
        Some("string") => "text".to_owned(),
        Some(word) => word.to_owned(),
        None => "see there".to_owned(),
    }
}

/// The words of an enumeration, each with its meaning.
fn words(definition: &Value) -> Option<Vec<(String, String)>> {
    let one_of = definition["oneOf"].as_array().into_iter().flatten();
    let described = one_of.map(|word| (text(&word["const"]), text(&word["description"])));
    let plain = definition["enum"].as_array().into_iter().flatten().map(|word| (text(word), String::new()));
    let words: Vec<_> = described.chain(plain).collect();
    (!words.is_empty()).then_some(words)
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().replace('\n', " ").replace('|', "\\|")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::protocol::{Format, shipped};

    /// Whether a value is as the schema says; only the words that this schema uses.
    fn accepts(schema: &Value, root: &Value, value: &Value) -> bool {
        if let Some(path) = schema["$ref"].as_str() {
            let name = path.strip_prefix("#/$defs/").unwrap();
            return accepts(&root["$defs"][name], root, value);
        }
        let any = |key: &str| {
            schema[key].as_array().is_none_or(|choices| choices.iter().any(|choice| accepts(choice, root, value)))
        };
        let typed = match schema["type"].as_str() {
            Some("object") => value.is_object(),
            Some("array") => value.is_array(),
            Some("string") => value.is_string(),
            Some("boolean") => value.is_boolean(),
            Some("integer") => value.is_i64(),
            Some("number") => value.is_number(),
            None => true,
            Some(other) => panic!("unknown type {other}"),
        };
        let one = schema["const"].is_null() || schema["const"] == *value;
        let listed = schema["enum"].as_array().is_none_or(|words| words.contains(value));
        let properties = schema["properties"].as_object();
        let members = value.as_object().is_none_or(|members| {
            members.iter().all(|(key, value)| {
                match (properties.and_then(|properties| properties.get(key)), &schema["additionalProperties"]) {
                    (Some(known), _) => accepts(known, root, value),
                    (None, Value::Bool(allowed)) => *allowed,
                    (None, Value::Null) => true,
                    (None, others) => accepts(others, root, value),
                }
            })
        });
        let required = schema["required"]
            .as_array()
            .is_none_or(|keys| !value.is_object() || keys.iter().all(|key| value.get(key.as_str().unwrap()).is_some()));
        let items = value.as_array().is_none_or(|items| {
            schema["items"].is_null() || items.iter().all(|item| accepts(&schema["items"], root, item))
        });
        typed && one && listed && any("anyOf") && any("oneOf") && members && required && items
    }

    fn as_json(text: &str) -> Value {
        toml::from_str::<Value>(text).unwrap()
    }

    #[test]
    fn the_schema_accepts_what_the_reader_accepts() {
        let schema = described();
        for (name, text) in shipped() {
            assert!(accepts(&schema, &schema, &as_json(text)), "{name}");
        }
    }

    #[test]
    fn the_schema_refuses_what_the_reader_refuses_by_its_shape() {
        let schema = described();
        let (_, good) = shipped()[0];
        for (from, to) in [
            ("kind = \"line\"", "kind = \"lime\""),
            ("separator = \",\"", "seperator = \",\""),
            ("max = 200", "max = \"200\""),
            ("title = ", "titel = "),
            ("is = \"integer\"", "is = \"whole\""),
        ] {
            let bad = good.replacen(from, to, 1);
            assert_ne!(bad, good);
            assert!(!accepts(&schema, &schema, &as_json(&bad)), "{to}");
            assert!(Format::parse(&bad).is_err(), "{to}");
        }
    }

    #[test]
    fn every_key_and_every_word_is_described() {
        let page = reference();
        for (line, text) in page.lines().enumerate().filter(|(_, text)| text.starts_with("| ")) {
            let meaning = text.rsplit('|').nth(1).unwrap_or_default().trim();
            assert!(
                meaning.len() > 5
                    || text.starts_with("| key")
                    || text.starts_with("| value")
                    || text.starts_with("| name")
                    || text.starts_with("| `CRC-"),
                "line {line}: {text}"
            );
        }
        for name in ["Frame", "Check", "Record", "Field", "Talk", "Example", "Is", "Means"] {
            assert!(page.contains(&format!("## {name}\n")), "{name}");
        }
    }
}
