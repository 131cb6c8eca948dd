//! The settings file as text, and what is wrong with it as TOML.

use std::ops::Range;

use super::errors::{ConfigError, ConfigErrors, Located};
use super::given::Given;
use crate::excerpt::Excerpt;
use crate::nearest::nearest;

/// The largest settings file that is read: a thousand known points fit many times over.
pub const FILE_MAX_BYTES: usize = 64 * 1024;

/// A settings file that is TOML and has no unknown setting in it.
#[derive(Clone, Debug)]
pub struct SettingsFile {
    /// The file as it was named, for messages.
    name: String,
    text: String,
    given: Given,
}

impl SettingsFile {
    /// Reads a settings file's text. `name` is how the person named the file.
    ///
    /// # Errors
    /// Text that is no TOML, or sets what cannot be set.
    pub fn parse(name: &str, text: &str) -> Result<Self, ConfigErrors> {
        if text.len() > FILE_MAX_BYTES {
            let message = format!("{} bytes found, a settings file of at most {FILE_MAX_BYTES} was wanted", text.len());
            let place = Located::WholeFile { name: name.to_owned() };
            return Err(ConfigErrors(vec![ConfigError { place, message }]));
        }
        match toml::from_str(text) {
            Ok(given) => Ok(SettingsFile { name: name.to_owned(), text: text.to_owned(), given }),
            Err(error) => {
                let place = match error.span() {
                    Some(span) => located(name, text, &span),
                    None => Located::WholeFile { name: name.to_owned() },
                };
                Err(ConfigErrors(vec![ConfigError { place, message: in_plain_words(error.message()) }]))
            }
        }
    }

    /// What it says.
    pub fn given(&self) -> &Given {
        &self.given
    }

    /// A place in it.
    pub(super) fn locate(&self, span: &Range<usize>) -> Located {
        located(&self.name, &self.text, span)
    }
}

fn located(name: &str, text: &str, span: &Range<usize>) -> Located {
    Located::File { name: name.to_owned(), excerpt: Excerpt::of(text, span) }
}

/// A message of the TOML reader, put as the rest of ours are. One of a kind not known here is passed on as it is.
fn in_plain_words(message: &str) -> String {
    if let Some((found, allowed)) = message.strip_prefix("unknown field `").and_then(|rest| rest.split_once('`')) {
        let allowed: Vec<&str> = allowed.split('`').skip(1).step_by(2).collect();
        return match nearest(found, allowed.iter().copied()) {
            Some(meant) => format!("unknown setting {found:?}, {meant} was probably meant"),
            None => format!("unknown setting {found:?}, one of {} was wanted", allowed.join(", ")),
        };
    }
    let mismatch = message.strip_prefix("invalid type: ").or_else(|| message.strip_prefix("invalid value: "));
    if let Some((found, wanted)) = mismatch.and_then(|rest| rest.split_once(", expected ")) {
        let wanted = match wanted {
            "a string" => "text in quotes",
            "u32" | "u64" => "a whole number",
            "f64" => "a number",
            "a boolean" => "true or false",
            "a sequence" if found == "map" => "a list, or tables in double brackets",
            "a sequence" => "a list in brackets",
            other => other,
        };
        let found = if found == "map" { "a table" } else { found };
        return format!("{} found, {wanted} was wanted", found.replace('`', ""));
    }
    match message {
        "duplicate key" => "the same setting found twice, once was wanted".to_owned(),
        other => other.replace('`', ""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(text: &str) -> String {
        SettingsFile::parse("site.toml", text).unwrap_err().to_string()
    }

    #[test]
    fn a_misspelt_setting_is_told_what_was_probably_meant() {
        assert_eq!(
            refusal("port = \"/dev/ttyUSB0\"\nsequense = \"BF\"\n"),
            "site.toml, line 2, column 1: unknown setting \"sequense\", sequence was probably meant\n\
             \x20 2 | sequense = \"BF\"\n\
             \x20   | ^^^^^^^^"
        );
        assert_eq!(
            refusal("[staffs]\nlenght = \"4 m\"\n").lines().next().unwrap(),
            "site.toml, line 2, column 1: unknown setting \"lenght\", length was probably meant"
        );
        assert_eq!(
            refusal("[class]\nsight-maximum = \"50 m\"\n").lines().next().unwrap(),
            "site.toml, line 2, column 1: unknown setting \"sight-maximum\", sight-max was probably meant"
        );
        assert_eq!(
            refusal("[serial]\nwheel = 3\n").lines().next().unwrap(),
            "site.toml, line 2, column 1: unknown setting \"wheel\", one of baud, character, flow was wanted"
        );
    }

    #[test]
    fn a_value_of_the_wrong_kind_is_told_what_was_wanted() {
        for (text, said) in [
            ("port = 4", "line 1, column 8: integer 4 found, text in quotes was wanted"),
            ("quiet-after-s = 1.5", "line 1, column 17: floating point 1.5 found, a whole number was wanted"),
            ("quiet-after-s = -1", "line 1, column 17: integer -1 found, a whole number was wanted"),
            ("stdin = \"yes\"", "line 1, column 9: string \"yes\" found, true or false was wanted"),
            ("known = \"BM-1=5\"", "line 1, column 9: string \"BM-1=5\" found, a list in brackets was wanted"),
            ("class = 3", "line 1, column 9: integer 3 found, the name of a class or a table of limits was wanted"),
            ("staffs = 2", "line 1, column 10: integer 2 found, a table was wanted"),
            ("[corrections]\nrefraction-k = \"no\"", "line 2, column 16: string \"no\" found, a number was wanted"),
        ] {
            assert_eq!(refusal(text).lines().next().unwrap(), format!("site.toml, {said}"), "{text}");
        }
    }

    #[test]
    fn what_is_no_toml_is_shown_where_it_ends_to_be() {
        assert_eq!(
            refusal("unit = \"m\"\nport = \"a\nformat = \"b\""),
            "site.toml, line 2, column 10: invalid basic string, expected \"\n  2 | port = \"a\n    |          ^"
        );
        assert_eq!(
            refusal("unit = \"m\"\nunit = \"ft\"").lines().next().unwrap(),
            "site.toml, line 2, column 1: the same setting found twice, once was wanted"
        );
    }

    #[test]
    fn a_file_beyond_the_bound_is_not_read() {
        let long = format!("# {}", "x".repeat(FILE_MAX_BYTES));
        assert_eq!(refusal(&long), "site.toml: 65538 bytes found, a settings file of at most 65536 was wanted");
    }
}
