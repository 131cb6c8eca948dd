//! `closerun book`: prints the field book of a job, also while it is being recorded.

use std::path::Path;

use super::Failure;
use super::arguments::{Book as Arguments, BookForm, BookShape, ShareOut};
use super::job::{name, print, read};
use crate::book::Book;
use crate::book::settings::Booking;
use crate::report::document::{BookOptions, Distribution, document};
use crate::report::text::{Layout, Pages};
use crate::report::{csv as values, json, text};
use crate::units::Unit;

pub(super) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let (book, events) = read(&arguments.job)?;
    let options = options(&book, &arguments.shape);
    let field_book = document(&book, &events, &name(&arguments.job), options);
    let out = if arguments.csv {
        values::print(&field_book)
    } else if arguments.json {
        json::print(&field_book)
    } else {
        let pages = if arguments.pages { Pages::OfLines(Layout::LINES) } else { Pages::Continuous };
        text::print(&field_book, Layout { pages, ..Layout::default() })
    };
    print(&out)
}

/// How a field book is wanted.
pub(super) fn options(book: &Book, shape: &BookShape) -> BookOptions {
    let mut options = BookOptions::of(book);
    if let Some(form) = shape.form {
        options.form = match form {
            BookForm::HeightOfInstrument => Booking::HeightOfInstrument,
            BookForm::RiseAndFall => Booking::RiseAndFall,
        };
    }
    if let Some(share_out) = shape.share_out {
        options.distribution = match share_out {
            ShareOut::Length => Distribution::ByLength,
            ShareOut::Setups => Distribution::BySetups,
            ShareOut::None => Distribution::None,
        };
    }
    options.unit = match (shape.feet, shape.metres) {
        (true, _) => Some(Unit::Foot),
        (_, true) => Some(Unit::Metre),
        _ => None,
    };
    options
}

/// Prints the book of a job that was just recorded.
pub(super) fn print_after(job: &Path) -> Result<(), Failure> {
    let (book, events) = read(job)?;
    let field_book = document(&book, &events, &name(job), BookOptions::of(&book));
    print(&text::print(&field_book, Layout::default()))
}
