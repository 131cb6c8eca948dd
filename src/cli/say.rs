//! Sentences to a person or a pipe. Whoever has stopped reading is no error: `closerun classes | head` ends in good
//! order, and a recording whose terminal went away too.

use std::fmt::Arguments;
use std::io::{self, ErrorKind, Write};

/// A line on standard output.
pub(super) fn line(text: Arguments<'_>) {
    self::text(format_args!("{text}\n"));
}

/// Lines on standard output, each with its end.
pub(super) fn text(text: Arguments<'_>) {
    match write!(io::stdout(), "{text}") {
        // Not all of it is where it was sent to: a full disk.
        Err(error) if error.kind() != ErrorKind::BrokenPipe => aside(format_args!("standard output: {error}")),
        _ => {}
    }
}

/// A line on standard error.
pub(super) fn aside(text: Arguments<'_>) {
    let _ = writeln!(io::stderr(), "{text}");
}
