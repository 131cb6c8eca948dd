//! `closerun format`: the part of the integrator's kit that works on format files.

mod check;
mod draft;
mod silent;
mod trial;

use std::io::{self, Write};

use super::Failure;
use super::arguments::{FormatKit, FormatVerb};
use crate::protocol;

pub(super) fn run(kit: FormatKit) -> Result<(), Failure> {
    match kit.verb {
        FormatVerb::Check(check) => check::run(&check),
        FormatVerb::Try(arguments) => trial::run(*arguments),
        FormatVerb::Draft(arguments) => draft::run(&arguments),
        FormatVerb::Schema => print(&protocol::schema()),
        FormatVerb::Reference => print(&protocol::reference()),
    }
}

/// Prints a long text. Whoever reads only its beginning has what was wanted.
fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::outcome(format!("the output: {error}")))
        }
        _ => Ok(()),
    }
}
