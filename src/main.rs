//! The `closerun` binary: parses, calls, prints the error.

use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    match closerun::cli::run(std::env::args_os()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            // Nobody may be left to read it.
            let _ = writeln!(std::io::stderr(), "closerun: {failure}");
            ExitCode::from(failure.code())
        }
    }
}
