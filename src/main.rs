//! The `closerun` binary: parses, calls, prints the error.

use std::process::ExitCode;

fn main() -> ExitCode {
    match closerun::cli::run(std::env::args_os()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("closerun: {failure}");
            ExitCode::from(failure.code())
        }
    }
}
