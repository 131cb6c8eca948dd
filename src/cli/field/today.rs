//! `closerun today`: what has been checked in a job, what is due, what is provisional, what is open.

use super::super::Failure;
use super::super::arguments::Today as Arguments;
use super::super::job::{name, print, read};
use crate::daemon::{Clock, SystemClock};
use crate::report::today::{list, words};

pub(in crate::cli) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let (book, _) = read(&arguments.job)?;
    let list = list(&book, &name(&arguments.job), SystemClock::new().wall());
    if arguments.json {
        let text = serde_json::to_string_pretty(&list).expect("texts and lists can be written");
        return print(&format!("{text}\n"));
    }
    print(&words(&list).into_iter().map(|line| line + "\n").collect::<String>())
}
