//! The job file: what was acknowledged is there, once, unchanged, in order, whatever happened; and whatever was changed
//! later shows.

mod altered;
mod beside;
mod child;
mod crash;
mod faults;
mod full;
mod golden;
mod mount;
mod moved;
mod naive;
mod power;
mod record;
mod refuse;
mod samples;
mod shared;
