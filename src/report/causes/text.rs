//! Causes as paragraphs of text: a lead and a sentence each, to be broken at the width of whoever prints them.

use super::{CauseView, Causes};
use crate::report::text::wrap;

/// How much is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extent {
    /// The likeliest few, for a crew that stands in the field.
    Few,
    /// All of them, with where they may be.
    All,
}

/// The likeliest few are so many.
const FEW: usize = 3;
/// Causes less likely than this beside others are not among the few.
const FEW_SHARE: f64 = 0.01;

/// Columns before a sentence.
const LEAD: usize = 9;

/// A sentence with what stands before its first line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paragraph {
    /// Before the first line, [`LEAD`] columns.
    pub lead: String,
    /// The sentence.
    pub text: String,
}

fn under(text: String) -> Paragraph {
    Paragraph { lead: " ".repeat(LEAD), text }
}

/// The causes as paragraphs.
pub fn paragraphs(causes: &Causes, extent: Extent) -> Vec<Paragraph> {
    let mut out = Vec::new();
    let noise_first = causes.causes.first().is_some_and(|cause| cause.share < causes.noise_share);
    if noise_first {
        out.push(under(causes.noise_words.clone()));
    }
    if !causes.causes.is_empty() {
        out.push(under("single mistakes that explain it, likeliest first; nothing is altered".to_owned()));
    }
    let few = causes.causes.iter().take(FEW).filter(|cause| cause.number == 1 || cause.share >= FEW_SHARE).count();
    let told = match extent {
        Extent::Few => few,
        Extent::All => causes.causes.len(),
    };
    for cause in &causes.causes[..told] {
        out.extend(cause_paragraphs(cause, extent));
    }
    let left = causes.causes.len() - told + causes.more;
    let mut last: Vec<String> = (!noise_first).then(|| causes.noise_words.clone()).into_iter().collect();
    match (left, extent) {
        (0, _) => {}
        (left, Extent::Few) => last.push(format!("{left} less likely: closerun explain")),
        (left, Extent::All) => last.push(format!("{left} more are less likely than these")),
    }
    if !last.is_empty() {
        out.push(under(last.join("; ")));
    }
    out
}

fn cause_paragraphs(cause: &CauseView, extent: Extent) -> Vec<Paragraph> {
    let lead = format!("{:>7}  ", cause.number);
    let mut out = vec![Paragraph { lead, text: cause.what.clone() }];
    out.extend(cause.places_words.clone().map(under));
    out.push(under(format!("{}; {}", cause.closes_words, cause.likely_words)));
    let confirm = match extent {
        Extent::Few => &cause.confirm[..cause.confirm.len().min(1)],
        Extent::All => &cause.confirm[..],
    };
    out.extend(confirm.iter().map(|words| under(format!("to confirm: {words}"))));
    if extent == Extent::All {
        out.push(under(format!("if so: {}", cause.accept)));
    }
    out
}

/// All of it, for reading: the misclosure first.
pub fn print(causes: &Causes, width: usize) -> String {
    let mut lines = wrap::wrap(
        "",
        &format!("run {}, setup {}: misclosure at {} {}", causes.run, causes.setup, causes.point, causes.share_words),
        width,
    );
    lines.extend(wrap::wrap(&" ".repeat(LEAD), &causes.basis, width));
    for Paragraph { lead, text } in paragraphs(causes, Extent::All) {
        lines.extend(wrap::wrap(&lead, &text, width));
    }
    let together = match causes.closures {
        1 => "one closure was looked at".to_owned(),
        closures => format!("{closures} closures were looked at together"),
    };
    let priors = format!("{together}; how often each mistake happens: {}", causes.priors);
    lines.extend(wrap::wrap(&" ".repeat(LEAD), &priors, width));
    let mut text = lines.join("\n");
    text.push('\n');
    text
}
