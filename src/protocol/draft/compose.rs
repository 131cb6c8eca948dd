//! A plan made a format file: frame, checks, other kinds of record, the reading, examples, and what is open as comments.

use std::fmt::Write as _;

use super::checks::{Found, taken};
use super::cutting::Cutting;
use super::plan::Plan;
use super::words;

/// The most other kinds of record that are told apart.
const OTHERS_MAX: usize = 8;

/// The most examples of readings.
const EXAMPLES_MAX: usize = 4;

/// Everything before the examples, and the frames that they are made of.
pub(super) struct Composed {
    /// The file without its comments in front and without examples.
    pub(super) body: String,
    /// Other kinds of record: name, and the frame that shows it.
    pub(super) others: Vec<(String, usize)>,
}

/// Writes a plan.
pub(super) fn compose(cutting: &Cutting, checks: &[Found], bodies: &[&[u8]], plan: &Plan) -> Composed {
    let mut body = "format = 1\nname = \"drafted\"\ntitle = \"drafted from a capture\"\n".to_owned();
    match plan.record.contains("is = \"text\"") && bodies.iter().any(|body| !body.is_ascii()) {
        false => {}
        true if bodies.iter().all(|body| std::str::from_utf8(body).is_ok()) => body.push_str("text = \"utf-8\"\n"),
        true => body.push_str("text = \"latin-1\"\n"),
    }
    body.push_str("\n# Speed, bits and parity cannot be seen in a capture: they are those it was made with.\n[link]\n");
    if let Some(silence_ms) = cutting.silence_ms {
        let _ = writeln!(body, "silence_ms = {silence_ms}");
    }
    let _ = write!(body, "\n[frame]\n{}", words::frame(&cutting.framer, taken(checks), cutting.longest()));
    for check in checks {
        let (agrees, of) = check.agrees;
        let _ = write!(body, "\n# Agrees with {agrees} of {of} frames.\n{}", check.words);
    }
    let others = others(bodies, plan);
    for (name, prefix, _) in &others {
        let _ = write!(
            body,
            "\n# Nothing is known of these but how they begin.\n[[record]]\nname = \"{name}\"\nkind = \"ignored\"\nbegins = {}\n",
            words::octets(prefix)
        );
    }
    let _ = write!(body, "\n[[record]]\nname = \"reading\"\nkind = \"reading\"\n{}", plan.record);
    Composed { body, others: others.into_iter().map(|(name, _, frame)| (name, frame)).collect() }
}

/// Other kinds of record: what each begins with that no reading does, and the first frame of it.
fn others(bodies: &[&[u8]], plan: &Plan) -> Vec<(String, Vec<u8>, usize)> {
    let mut members = bodies.iter().zip(&plan.members).filter(|(_, member)| **member).map(|(body, _)| *body);
    let Some(first) = members.next() else { return Vec::new() };
    let shared = members.fold(first.len(), |shared, body| common(&first[..shared], body));
    let readings =
        |prefix: &[u8]| bodies.iter().zip(&plan.members).any(|(body, member)| *member && body.starts_with(prefix));
    let mut found: Vec<(String, Vec<u8>, usize)> = Vec::new();
    for (frame, body) in bodies.iter().enumerate().filter(|(frame, _)| !plan.members[*frame]) {
        if found.len() >= OTHERS_MAX || found.iter().any(|(_, prefix, _)| body.starts_with(prefix)) {
            continue;
        }
        let apart = common(&first[..shared], body);
        let word = body[apart..].iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
        let prefix = &body[..body.len().min(apart + word.max(1))];
        let digit = prefix.last().is_none_or(u8::is_ascii_digit);
        let again = bodies.iter().filter(|body| body.starts_with(prefix)).count();
        if digit && body.is_ascii() || readings(prefix) || again < 2 {
            continue;
        }
        found.push((format!("other-{}", found.len() + 1), prefix.to_vec(), frame));
    }
    found
}

/// How many bytes two begin with alike.
fn common(a: &[u8], b: &[u8]) -> usize {
    a.iter().zip(b).take_while(|(a, b)| a == b).count()
}

/// What an example must give: `staff = "1.28340 m"` and its like.
pub(super) type Gives = String;

/// One example.
pub(super) fn example(about: &str, sent: &[u8], record: &str, gives: &Gives) -> String {
    let mut example = format!("\n[[example]]\nabout = {}\n{}record = \"{record}\"\n", words::text(about), frame(sent));
    if !gives.is_empty() {
        let _ = writeln!(example, "gives = {{ {gives} }}");
    }
    example
}

/// An example that must be refused.
pub(super) fn refused(about: &str, sent: &[u8], reason: &str) -> String {
    format!("\n[[example]]\nabout = {}\n{}refused = {}\n", words::text(about), frame(sent), words::text(reason))
}

fn frame(sent: &[u8]) -> String {
    let plain = sent.iter().all(|byte| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t'));
    if plain {
        let text: String = sent.iter().map(|&byte| char::from(byte)).collect();
        return format!("text = {}\n", words::text(&text));
    }
    format!("hex = \"{}\"\n", words::hex(sent))
}

/// Which of the frames that were shown become examples: the first, the last, and some between.
pub(super) fn chosen(shown: &[usize]) -> Vec<usize> {
    let step = shown.len().div_ceil(EXAMPLES_MAX).max(1);
    shown.iter().copied().step_by(step).collect()
}
