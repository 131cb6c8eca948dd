//! The few ways in which tests drive the program.
#![allow(dead_code, unreachable_pub, reason = "each test file is a crate of its own and uses its part of the harness")]

pub mod crew;
pub mod outside;
pub mod page;
pub mod published;
