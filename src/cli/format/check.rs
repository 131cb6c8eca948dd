//! `closerun format check`: all that is wrong with format files, each thing at its place; of a good one, what it
//! delivers and which checks it will leave silent.

use serde::Serialize;

use super::silent::{Lack, lacks};
use crate::cli::Failure;
use crate::cli::arguments::FormatCheck;
use crate::cli::formats;
use crate::cli::say;
use crate::excerpt::Excerpt;
use crate::protocol::{Alike, Examination, ExampleFailure, Format, FormatError, Means, RecordKind, Told};

pub(super) fn run(arguments: &FormatCheck) -> Result<(), Failure> {
    let (mut bad, mut unread) = (0, Vec::new());
    for (at, name) in arguments.files.iter().enumerate() {
        let text = match formats::text(name) {
            Ok(text) => text,
            Err(why) => {
                unread.push(why.to_string());
                continue;
            }
        };
        let report = Report::of(name, &text);
        bad += usize::from(!report.good);
        if arguments.json {
            say::line(format_args!("{}", serde_json::to_string(&report).expect("a report is plain data")));
        } else {
            say::text(format_args!("{}{}", if at > 0 { "\n" } else { "" }, report.text()));
        }
    }
    match (unread.is_empty(), bad) {
        (true, 0) => Ok(()),
        (true, bad) => Err(Failure::outcome(match arguments.files.len() {
            1 => "the file has errors".to_owned(),
            count => format!("{bad} of {count} files have errors"),
        })),
        (false, _) => Err(Failure::input(unread.join("\ncloserun: "))),
    }
}

/// What is to be said of one file.
#[derive(Serialize)]
struct Report<'a> {
    file: &'a str,
    good: bool,
    errors: Vec<ErrorView>,
    /// What a person should look at: nothing is wrong by it.
    doubts: Vec<String>,
    /// Of a file that could be read as a format.
    #[serde(skip_serializing_if = "Option::is_none")]
    format: Option<FormatView>,
}

/// One thing that is wrong.
#[derive(Serialize)]
struct ErrorView {
    line: usize,
    column: usize,
    message: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<String>,
    /// All of it as text, with the line and the place in it marked.
    #[serde(rename = "text")]
    shown: String,
}

/// What a format says.
#[derive(Serialize)]
struct FormatView {
    name: String,
    title: String,
    link: String,
    examples: usize,
    reading: Vec<&'static str>,
    status: Vec<&'static str>,
    faults: bool,
    protected: bool,
    /// Changes on the way that the checks do not see.
    unnoticed: Vec<String>,
    frame_max_bytes: usize,
    frame_max_steps: u64,
    lacks: Vec<Lack>,
}

impl<'a> Report<'a> {
    fn of(file: &'a str, text: &str) -> Self {
        let format = match Format::parse(text) {
            Ok(format) => format,
            Err(errors) => {
                let errors = errors.iter().map(ErrorView::of_file).collect();
                return Report { file, good: false, errors, doubts: Vec::new(), format: None };
            }
        };
        let examination = format.examine();
        let failed = examination.failures.iter().map(|failure| ErrorView::of_example(text, failure, ""));
        let one_way = examination.one_way.iter();
        let one_way = one_way.map(|failure| ErrorView::of_example(text, failure, "it cannot be written again: "));
        let errors: Vec<ErrorView> = failed.chain(one_way).chain(without_examples(&format)).collect();
        let format = Some(FormatView::of(&format, &examination));
        Report { file, good: errors.is_empty(), errors, doubts: doubts(&examination), format }
    }

    fn text(&self) -> String {
        let good = self.format.as_ref().filter(|_| self.good);
        let mut text = match good {
            Some(format) => format!("{}: good\n{}", self.file, format.text()),
            None => self.errors.iter().map(|error| format!("{}, {}\n", self.file, error.shown)).collect(),
        };
        for doubt in &self.doubts {
            let lead = if good.is_some() { "  look" } else { self.file };
            text += &format!("{lead}: {doubt}\n");
        }
        text
    }
}

/// What is not wrong and may still not be meant.
fn doubts(examination: &Examination) -> Vec<String> {
    let hidden = |alike: &Alike| {
        let Alike { taken, other, .. } = alike;
        format!("a frame that fits both {taken} and {other} is taken for a {taken}, because it stands first")
    };
    let alike = examination.alike.iter().filter(|alike| alike.order == Told::NotAtAll).map(hidden);
    let unshown = examination.without_example.iter().map(|record| format!("no example shows the record {record}"));
    alike.chain(unshown).collect()
}

impl ErrorView {
    fn of_file(error: &FormatError) -> Self {
        ErrorView {
            line: error.at.line,
            column: error.at.column,
            message: error.message.clone(),
            advice: error.advice.clone(),
            shown: error.to_string(),
        }
    }

    fn of_example(text: &str, failure: &ExampleFailure, lead: &str) -> Self {
        let about = failure.about.as_ref().map(|about| format!(" ({about})")).unwrap_or_default();
        let message = format!("example {}{about}: {lead}{}", failure.number, failure.reason);
        let begin = text.match_indices('\n').map(|(at, _)| at + 1).nth(failure.line.wrapping_sub(2)).unwrap_or(0);
        ErrorView::at(text, begin, message)
    }

    /// At the line that begins with this byte, without a comment behind it.
    fn at(text: &str, begin: usize, message: String) -> Self {
        let line = text[begin..].lines().next().unwrap_or_default();
        let end = begin + line.split(" #").next().unwrap_or(line).trim_end().len();
        let excerpt = Excerpt::of(text, &(begin..end));
        let Excerpt { line, column, .. } = excerpt;
        let shown = format!("line {line}, column {column}: {message}\n{excerpt}");
        ErrorView { line, column, message, advice: None, shown }
    }
}

/// A format that nothing shows to be right.
fn without_examples(format: &Format) -> Option<ErrorView> {
    let message = "no example found, at least one was wanted: a frame as it is sent, and what must come out of it";
    let text = format.text().trim_end();
    let last_line = text.rfind('\n').map_or(0, |at| at + 1);
    (format.example_count() == 0).then(|| ErrorView::at(text, last_line, message.to_owned()))
}

impl FormatView {
    fn of(format: &Format, examination: &Examination) -> Self {
        let delivers = format.delivers();
        let words = |means: &[Means]| means.iter().map(|means| means.word()).collect();
        FormatView {
            name: format.name().to_owned(),
            title: format.title().to_owned(),
            link: formats::serial_of(format).to_string(),
            examples: format.example_count(),
            reading: words(delivers.reading()),
            status: words(delivers.status()),
            faults: delivers.has_kind(RecordKind::Fault),
            protected: delivers.is_protected(),
            unnoticed: examination.unnoticed.clone(),
            frame_max_bytes: examination.bounds.frame,
            frame_max_steps: examination.bounds.steps,
            lacks: lacks(&delivers),
        }
    }

    fn text(&self) -> String {
        let mut delivers = vec![format!("readings with {}", self.reading.join(", "))];
        if !self.status.is_empty() {
            delivers.push(format!("states with {}", self.status.join(", ")));
        }
        if self.faults {
            delivers.push("faults".to_owned());
        }
        let mut text = format!("  {}: {}\n  serial port at {}\n", self.name, self.title, self.link);
        text += &match self.examples {
            1 => "  1 example comes out as the file says, and can be written again\n".to_owned(),
            count => format!("  {count} examples come out as the file says, and can be written again\n"),
        };
        text += &format!("  a frame has at most {} bytes", self.frame_max_bytes);
        text += &format!(" and costs at most {} steps\n", self.frame_max_steps);
        text += &format!("  delivers {}\n", delivers.join("; "));
        let marked = if self.protected { "" } else { "; each reading is marked unprotected" };
        for change in &self.unnoticed {
            text += &format!("  not noticed on the way: {change}{marked}\n");
        }
        for lack in &self.lacks {
            text += &format!("  {}\n", lack.sentence());
        }
        text
    }
}
