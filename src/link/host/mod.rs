//! What only the operating system can tell. One file for Unix, one for elsewhere, with the same functions.

#[cfg(not(unix))]
mod elsewhere;
#[cfg(unix)]
mod unix;

#[cfg(not(unix))]
use elsewhere as system;
#[cfg(unix)]
use unix as system;

pub(super) use system::{
    group_of, is_plain_file, is_pseudo_terminal, private_dir, process_began, runtime_dir, trouble_of_no_device,
    watch_over,
};
