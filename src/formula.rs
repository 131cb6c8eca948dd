//! Texts that a spreadsheet would take for a formula (`=`, `+`, `-`, `@` first), made safe on the way into a list of
//! comma-separated values by an apostrophe before them, and taken out of it again.

/// Whether a spreadsheet would take the text for a formula, or would once apostrophes before it are taken off.
fn like_formula(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(['=', '+', '-', '@'])
}

/// The text as it is written.
pub(crate) fn guarded(text: &str) -> String {
    if like_formula(text) { format!("'{text}") } else { text.to_owned() }
}

/// The text that was meant.
pub(crate) fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(bare) if like_formula(bare) => bare,
        _ => text,
    }
}
