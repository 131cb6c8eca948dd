//! Bluetooth without a radio: the built program and its real library on a private D-Bus daemon, with a stand-in for BlueZ
//! that is built here. What it hears, what becomes of outages, and what it says where there is no connection.
#![cfg(target_os = "linux")]

mod bluez;
mod bus;
#[path = "../harness/program.rs"]
mod program;
mod site;

mod hearing;
mod nearby;
mod outages;
mod refusals;
