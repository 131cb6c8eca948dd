//! The integrator's kit, as a person drives it: the built program, its files, its exit codes and what it prints.

mod check;
mod draft;
mod golden;
mod guide;
mod language;
mod live;
mod memory;
#[path = "../harness/program.rs"]
mod program;
mod trial;
