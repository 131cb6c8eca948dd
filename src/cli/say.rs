//! Sentences to a person or a pipe. Whoever has stopped reading is no error: `closerun classes | head` ends in good
//! order, and a recording whose terminal went away too.

use std::fmt::Arguments;
use std::io::{self, Write};

/// A line on standard output.
pub(super) fn line(text: Arguments<'_>) {
    let _ = writeln!(io::stdout(), "{text}");
}

/// A line on standard error.
pub(super) fn aside(text: Arguments<'_>) {
    let _ = writeln!(io::stderr(), "{text}");
}
