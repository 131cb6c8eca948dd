//! Drafts of captures.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| closerun_fuzz::drafted(data));
