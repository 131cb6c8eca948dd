//! Everybody who looks and listens.

use std::time::Duration;

use crate::book::Book;
use crate::book::event::Event;
use crate::book::finding::Priority;
use crate::daemon::outlet::{Outlet, Shown, Standing};
use crate::report::live::{self, Line};

/// The outlets of a session, and the name under which they know it.
pub(super) struct Crew {
    name: Option<String>,
    outlets: Vec<Box<dyn Outlet>>,
}

impl Crew {
    pub(super) fn new(name: Option<String>, outlets: Vec<Box<dyn Outlet>>) -> Self {
        Crew { name, outlets }
    }

    /// Shows an event that is kept and booked.
    pub(super) fn see(&mut self, book: &Book, event: &Event) {
        self.show(book, Some(event), live::lines(book, event));
    }

    /// Tells what is no event.
    pub(super) fn notice(&mut self, book: &Book, priority: Priority, text: String) {
        self.show(book, None, vec![live::notice(book, priority, text)]);
    }

    /// Tells that a job is taken up again as it was left.
    pub(super) fn taken_up(&mut self, book: &Book) {
        self.show(book, None, vec![live::taken_up(book)]);
    }

    /// Shows how things stand.
    pub(super) fn stands(&mut self, book: &Book, heard_ago: Option<Duration>) {
        if book.is_open() {
            let standing = Standing { instrument: self.name.as_deref(), book, heard_ago };
            self.outlets.iter_mut().for_each(|outlet| outlet.stands(&standing));
        }
    }

    /// What has gone wrong with any of them is told by the others.
    pub(super) fn tell_troubles(&mut self, book: &Book) {
        let troubles: Vec<String> = self.outlets.iter_mut().filter_map(|outlet| outlet.trouble()).collect();
        troubles.into_iter().for_each(|trouble| self.notice(book, Priority::Warn, trouble));
    }

    /// Nothing more will come.
    pub(super) fn end(&mut self) {
        self.outlets.iter_mut().for_each(|outlet| outlet.end());
    }

    fn show(&mut self, book: &Book, event: Option<&Event>, mut lines: Vec<Line>) {
        lines.iter_mut().for_each(|line| line.instrument.clone_from(&self.name));
        for outlet in &mut self.outlets {
            outlet.show(&Shown { book, event, lines: &lines });
        }
    }
}
