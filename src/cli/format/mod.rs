//! `closerun format`: the part of the integrator's kit that works on format files.

mod check;
mod silent;
mod trial;

use super::Failure;
use super::arguments::{FormatKit, FormatVerb};

pub(super) fn run(kit: FormatKit) -> Result<(), Failure> {
    match kit.verb {
        FormatVerb::Check(check) => check::run(&check),
        FormatVerb::Try(arguments) => trial::run(*arguments),
    }
}
