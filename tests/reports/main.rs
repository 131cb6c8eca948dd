//! What reports print: the published examples to their digits in both forms, one job in every output against its
//! golden, and that each output says the same numbers.

#[path = "../harness/mod.rs"]
mod harness;

mod everywhere;
mod full;
mod office;
mod outputs;
mod paper;
mod published;
mod rises;
mod samples;
mod schema;
mod spreadsheet;
mod standing;
