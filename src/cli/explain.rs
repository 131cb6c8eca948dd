//! `closerun explain`: why a run does not close, also while it is being recorded.

use super::Failure;
use super::arguments::Explain as Arguments;
use super::job::{name, print, read};
use crate::report::causes::{self, Explained};
use crate::report::live::closing_lines;

/// Columns of a line.
const WIDTH: usize = 80;

pub(super) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let (book, _) = read(&arguments.job)?;
    if let Some(number) = arguments.run
        && !(1..=book.runs().len() as u32).contains(&number)
    {
        let held = book.runs().len();
        return Err(Failure::input(format!("no run {number}: {} holds {held}", arguments.job.display())));
    }
    let explained = causes::explained(&book, &name(&arguments.job), arguments.run);
    if arguments.json {
        let text = serde_json::to_string_pretty(&explained).expect("texts, numbers and lists can be written");
        return print(&format!("{text}\n"));
    }
    print(&text(&explained, closing_lines(&book, WIDTH)))
}

fn text(explained: &Explained, closing: Vec<String>) -> String {
    let mut out = String::new();
    if explained.simulated {
        out.push_str("SIMULATED: a simulated instrument was heard; nothing here was measured.\n");
    }
    for causes in &explained.misclosures {
        out.push_str(&causes::print(causes, WIDTH));
    }
    if explained.misclosures.is_empty() {
        out.push_str("nothing to explain: no misclosure is over its allowance\n");
        closing.iter().for_each(|line| out.push_str(&format!("{line}\n")));
    }
    out
}
