//! The live page: over bare sockets, and in a real browser where one is installed.

#[path = "../harness/mod.rs"]
mod harness;

mod browser;
mod chrome;
mod fed;
mod http;
mod idle;
mod names;
mod openapi;
mod planted;
mod run;
mod seen;
mod several;
mod strangers;
mod wire;
