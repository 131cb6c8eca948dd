//! `closerun completions`: what completes the command line in a shell.

use clap::CommandFactory;

use super::Failure;
use super::arguments::{Arguments, Completions};
use super::say;

pub(super) fn run(completions: &Completions) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(completions.shell, &mut Arguments::command(), "closerun", &mut script);
    say::text(format_args!("{}", String::from_utf8_lossy(&script)));
    Ok(())
}
