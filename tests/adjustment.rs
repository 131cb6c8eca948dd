//! The adjustment of levelling networks: published examples, refusals, invariants over generated networks, agreement with
//! NumPy and SciPy, intervals that hold the truth as often as they say, and the commands from end to end.

#[path = "adjustment/command.rs"]
mod command;
#[path = "adjustment/example.rs"]
mod example;
#[path = "adjustment/generate.rs"]
mod generate;
#[path = "harness/mod.rs"]
mod harness;
#[path = "adjustment/intervals.rs"]
mod intervals;
#[path = "adjustment/invariants.rs"]
mod invariants;
#[path = "adjustment/oracle.rs"]
mod oracle;
#[path = "harness/program.rs"]
mod program;
#[path = "adjustment/published.rs"]
mod published;
