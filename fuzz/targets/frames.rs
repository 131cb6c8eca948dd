//! Frames under every shipped format.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| closerun_fuzz::frames(data));
