//! The formats that come with the program. All are invented; each shows another part of the language.

use std::fmt;

use super::Format;
use crate::nearest::nearest;

/// Name and text of each.
const SHIPPED: &[(&str, &str)] = &[
    ("comma", include_str!("../../protocols/comma.toml")),
    ("sentence", include_str!("../../protocols/sentence.toml")),
    ("columns", include_str!("../../protocols/columns.toml")),
    ("packet", include_str!("../../protocols/packet.toml")),
    ("pairs", include_str!("../../protocols/pairs.toml")),
    ("objects", include_str!("../../protocols/objects.toml")),
    ("block", include_str!("../../protocols/block.toml")),
    ("stuffed", include_str!("../../protocols/stuffed.toml")),
    ("poll", include_str!("../../protocols/poll.toml")),
    ("telegram", include_str!("../../protocols/telegram.toml")),
];

/// Name and text of each format that comes with the program.
pub fn shipped() -> &'static [(&'static str, &'static str)] {
    SHIPPED
}

/// The shipped format of that name.
///
/// # Errors
/// A name that none of them has.
pub fn find(name: &str) -> Result<Format, Unknown> {
    match SHIPPED.iter().find(|(known, _)| *known == name) {
        Some((_, text)) => Ok(Format::parse(text).expect("every shipped format is checked by a test")),
        None => Err(Unknown { found: name.to_owned() }),
    }
}

/// A name that no shipped format has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unknown {
    /// What was asked for.
    pub found: String,
}

impl Unknown {
    /// The name that was probably meant.
    pub fn meant(&self) -> Option<&'static str> {
        nearest(&self.found, SHIPPED.iter().map(|(name, _)| *name))
    }
}

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let known: Vec<_> = SHIPPED.iter().map(|(name, _)| *name).collect();
        write!(
            f,
            "unknown format {:?}, one of {} or the path of a format file was wanted",
            self.found,
            known.join(", ")
        )?;
        match self.meant() {
            Some(meant) => write!(f, "; did you mean {meant}?"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for Unknown {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_format_is_good_and_its_examples_agree() {
        for (name, text) in SHIPPED {
            let format = Format::parse(text).unwrap_or_else(|errors| panic!("{name}\n{errors}"));
            assert_eq!(format.name(), *name);
            assert!(format.example_count() >= 3, "{name}: {} examples", format.example_count());
            let failures = format.run_examples();
            assert!(failures.is_empty(), "{name}\n{}", failures.iter().map(ToString::to_string).collect::<String>());
        }
    }

    #[test]
    fn a_mistyped_name_is_guessed_at() {
        let unknown = find("sentense").unwrap_err();
        assert_eq!(unknown.meant(), Some("sentence"));
        assert!(unknown.to_string().starts_with("unknown format \"sentense\", one of comma, "), "{unknown}");
    }
}
