//! Small values of a format file that may be written in more than one way, each with its place kept.

use std::fmt;
use std::marker::PhantomData;
use std::ops::{Deref, Range};

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};

use crate::units::{Decimal, Unit};

/// A value and where it stands in the file.
#[derive(Clone, Debug)]
pub(crate) struct At<T> {
    pub(crate) value: T,
    pub(crate) span: Range<usize>,
}

impl<T> Deref for At<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T: PartialEq> PartialEq for At<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

impl<T: Eq> Eq for At<T> {}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for At<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = toml::Spanned::<T>::deserialize(deserializer)?;
        let span = spanned.span();
        Ok(At { value: spanned.into_inner(), span })
    }
}

impl<T: JsonSchema> JsonSchema for At<T> {
    fn inline_schema() -> bool {
        T::inline_schema()
    }
    fn schema_name() -> std::borrow::Cow<'static, str> {
        T::schema_name()
    }
    fn schema_id() -> std::borrow::Cow<'static, str> {
        T::schema_id()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        T::json_schema(generator)
    }
}

/// Bytes: a string of ASCII characters, or a list of numbers from 0 to 255.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Octets(pub(crate) Vec<u8>);

impl<'de> Deserialize<'de> for Octets {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Octet;
        impl<'de> Visitor<'de> for Octet {
            type Value = Octets;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(
                    "bytes: a string of ASCII characters such as \"R,\", or a list of numbers such as [0x02, 0x1B]",
                )
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Octets, E> {
                match text.chars().find(|c| !c.is_ascii()) {
                    None => Ok(Octets(text.as_bytes().to_vec())),
                    Some(odd) => Err(E::custom(format!(
                        "{odd:?} is no ASCII character, so its bytes depend on the encoding: write the bytes as a list such as \
                         [0xC3, 0xA9]"
                    ))),
                }
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Octets, A::Error> {
                let mut bytes = Vec::new();
                while let Some(byte) = list.next_element::<u8>()? {
                    bytes.push(byte);
                }
                Ok(Octets(bytes))
            }
        }
        deserializer.deserialize_any(Octet)
    }
}

impl JsonSchema for Octets {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Bytes".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "Bytes: a string of ASCII characters, or a list of numbers from 0 to 255.",
            "anyOf": [
                {"type": "string"},
                {"type": "array", "items": {"type": "integer", "minimum": 0, "maximum": 255}}
            ]
        })
    }
}

/// How long a field is: exactly so many characters, or from so many to so many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Width {
    pub(crate) min: usize,
    pub(crate) max: usize,
}

impl<'de> Deserialize<'de> for Width {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Wide;
        impl<'de> Visitor<'de> for Wide {
            type Value = Width;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a width: a number such as 8, or the least and the most such as [1, 8]")
            }
            fn visit_i64<E: de::Error>(self, width: i64) -> Result<Width, E> {
                let width = usize::try_from(width).map_err(|_| E::custom("a width cannot be negative"))?;
                Ok(Width { min: width, max: width })
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Width, A::Error> {
                let short = |found| de::Error::invalid_length(found, &Wide);
                let min = list.next_element()?.ok_or_else(|| short(0))?;
                let max = list.next_element()?.ok_or_else(|| short(1))?;
                match list.next_element::<usize>()? {
                    None => Ok(Width { min, max }),
                    Some(_) => Err(short(3)),
                }
            }
        }
        deserializer.deserialize_any(Wide)
    }
}

impl JsonSchema for Width {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Width".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "Exactly so many characters, or the least and the most.",
            "anyOf": [
                {"type": "integer", "minimum": 0},
                {"type": "array", "items": {"type": "integer", "minimum": 0}, "minItems": 2, "maxItems": 2}
            ]
        })
    }
}

/// A small number, the same for every unit or one for each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum PerUnit {
    /// Whatever the unit.
    All(u8),
    /// By the unit's place in [`Unit::ALL`].
    Each([Option<u8>; Unit::ALL.len()]),
}

impl<'de> Deserialize<'de> for PerUnit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Per;
        impl<'de> Visitor<'de> for Per {
            type Value = PerUnit;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number of decimals such as 5, or one for each unit such as { m = 5, ft = 4 }")
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<PerUnit, E> {
                small(number).map(PerUnit::All)
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<PerUnit, A::Error> {
                let mut each = [None; Unit::ALL.len()];
                while let Some((unit, number)) = map.next_entry::<Unit, i64>()? {
                    each[unit_place(unit)] = Some(small(number)?);
                }
                Ok(PerUnit::Each(each))
            }
        }
        fn small<E: de::Error>(number: i64) -> Result<u8, E> {
            u8::try_from(number)
                .ok()
                .filter(|&n| n <= 15)
                .ok_or_else(|| E::custom(format!("{number} decimals found, 0 to 15 were wanted")))
        }
        deserializer.deserialize_any(Per)
    }
}

/// The place of a unit in [`Unit::ALL`].
pub(crate) fn unit_place(unit: Unit) -> usize {
    Unit::ALL.iter().position(|&known| known == unit).expect("all units are listed")
}

impl JsonSchema for PerUnit {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "PerUnit".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let number = json_schema!({"type": "integer", "minimum": 0, "maximum": 15});
        json_schema!({
            "description": "A number of decimals, the same for every unit or one for each.",
            "anyOf": [
                number,
                {
                    "type": "object",
                    "properties": {"m": number, "mm": number, "ft": number, "sft": number},
                    "additionalProperties": false
                }
            ]
        })
    }
}

/// A number or a text, kept as text: `1.2834`, `"1.28340 m"`, `7`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Figure(pub(crate) String);

impl Figure {
    /// The exact number, if it is one.
    pub(crate) fn number(&self) -> Option<Decimal> {
        self.0.parse().ok()
    }
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Fig;
        impl Visitor<'_> for Fig {
            type Value = Figure;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number or a text")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Figure, E> {
                Ok(Figure(text.to_owned()))
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Figure, E> {
                Ok(Figure(number.to_string()))
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Figure, E> {
                // The shortest text that gives the same float is the text in the file, or a shorter one of equal value.
                Ok(Figure(number.to_string()))
            }
        }
        deserializer.deserialize_any(Fig)
    }
}

impl JsonSchema for Figure {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Figure".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"description": "A number or a text.", "anyOf": [{"type": "number"}, {"type": "string"}]})
    }
}

/// A table whose keys are the file's own, in the order of the file.
#[derive(Clone, Debug)]
pub(crate) struct Pairs<T>(pub(crate) Vec<(At<String>, At<T>)>);

impl<T> Default for Pairs<T> {
    fn default() -> Self {
        Pairs(Vec::new())
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Pairs<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Table<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for Table<T> {
            type Value = Pairs<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a table such as { B = \"back\", F = \"fore\" }")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Pairs<T>, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry::<At<String>, At<T>>()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }
        deserializer.deserialize_map(Table(PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for Pairs<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("TableOf{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "object", "additionalProperties": generator.subschema_for::<T>()})
    }
}

impl<'de> Deserialize<'de> for super::file::From {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use super::file::From;
        struct Place;
        impl Visitor<'_> for Place {
            type Value = From;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("\"body\", or a number of bytes from the first byte of the frame")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<From, E> {
                if text == "body" { Ok(From::Body) } else { Err(E::unknown_variant(text, &["body"])) }
            }
            fn visit_i64<E: de::Error>(self, at: i64) -> Result<From, E> {
                usize::try_from(at).map(From::Byte).map_err(|_| E::custom("a place in the frame cannot be negative"))
            }
        }
        deserializer.deserialize_any(Place)
    }
}

impl JsonSchema for super::file::From {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "From".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "`body`, or a number of bytes from the first byte of the frame.",
            "anyOf": [{"const": "body"}, {"type": "integer", "minimum": 0}]
        })
    }
}
