//! The command line: arguments to checked values, one module a command.
//!
//! Exit codes: 0 done; 1 it was tried and failed, or what was asked about is not so; 2 what was asked is not
//! understood or cannot be opened.

mod arguments;
mod backup;
mod book;
mod capture;
mod completions;
mod demo;
mod explain;
mod failure;
mod field;
mod format;
mod formats;
mod job;
mod listen;
mod log;
mod man;
mod network;
mod outlets;
mod page;
mod polls;
mod ports;
mod replay;
mod report;
mod say;
mod schema;
mod service;
mod signals;
mod simulate;
mod source;
mod tell;
mod verify;

use std::ffi::OsString;

use clap::Parser;

use arguments::{Arguments, Verb};
pub use failure::Failure;

/// Runs the program with these arguments, the first being its own name.
///
/// # Errors
/// A sentence for the person, and the exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Result<(), Failure> {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) if error.use_stderr() => return Err(Failure::usage(&error)),
        Err(help) => {
            // Help and version; a closed pipe is no failure.
            let _ = help.print();
            return Ok(());
        }
    };
    log::start(&arguments.logging)?;
    match arguments.verb {
        Verb::Demo(demo) => demo::run(&demo),
        Verb::Listen(listen) => listen::run(*listen),
        Verb::Tell(tell) => tell::run(tell),
        Verb::Ports(which) => ports::run(&which),
        Verb::Book(book) => book::run(&book),
        Verb::Report(report) => report::run(&report),
        Verb::Explain(explain) => explain::run(&explain),
        Verb::Today(today) => field::today(&today),
        Verb::Cards(cards) => field::cards(&cards),
        Verb::Test(activity) => field::activity("test", &activity),
        Verb::Marks(marks) => field::marks(marks.verb),
        Verb::Set(set) => field::set(set.verb),
        Verb::Tape(activity) => field::activity("tape", &activity),
        Verb::Reciprocal(activity) => field::activity("reciprocal", &activity),
        Verb::Adjust(adjust) => network::adjust::run(&adjust),
        Verb::Plan(plan) => network::plan::run(&plan),
        Verb::Replay(replay) => replay::run(&replay),
        Verb::Verify(job) => verify::run(&job),
        Verb::Backup(backup) => backup::run(&backup),
        Verb::Capture(capture) => capture::run(capture),
        Verb::Simulate(simulate) => simulate::run(&simulate),
        Verb::Format(kit) => format::run(kit),
        Verb::Formats => formats::list(),
        Verb::Classes => schema::classes(),
        Verb::Schema(which) => schema::run(&which),
        Verb::Service(service) => service::run(&service),
        Verb::Completions(completions) => completions::run(&completions),
        Verb::Man(man) => man::run(&man),
    }
}
