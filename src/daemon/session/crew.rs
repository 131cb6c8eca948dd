//! Everybody who looks and listens.

use std::time::Duration;

use crate::book::Book;
use crate::book::event::Event;
use crate::book::finding::Priority;
use crate::daemon::outlet::{Outlet, Shown};
use crate::report::live::{self, Line};

/// The outlets of a session.
pub(super) struct Crew(Vec<Box<dyn Outlet>>);

impl Crew {
    pub(super) fn new(outlets: Vec<Box<dyn Outlet>>) -> Self {
        Crew(outlets)
    }

    /// Shows an event that is kept and booked.
    pub(super) fn see(&mut self, book: &Book, event: &Event) {
        self.show(book, Some(event), &live::lines(book, event));
    }

    /// Tells what is no event.
    pub(super) fn notice(&mut self, book: &Book, priority: Priority, text: String) {
        self.show(book, None, &[live::notice(book, priority, text)]);
    }

    /// Tells that a job is taken up again as it was left.
    pub(super) fn taken_up(&mut self, book: &Book) {
        self.show(book, None, &[live::taken_up(book)]);
    }

    /// Shows how things stand.
    pub(super) fn stands(&mut self, book: &Book, heard_ago: Option<Duration>) {
        if book.is_open() {
            self.0.iter_mut().for_each(|outlet| outlet.stands(book, heard_ago));
        }
    }

    /// What has gone wrong with any of them is told by the others.
    pub(super) fn tell_troubles(&mut self, book: &Book) {
        let troubles: Vec<String> = self.0.iter_mut().filter_map(|outlet| outlet.trouble()).collect();
        troubles.into_iter().for_each(|trouble| self.notice(book, Priority::Warn, trouble));
    }

    /// Nothing more will come.
    pub(super) fn end(&mut self) {
        self.0.iter_mut().for_each(|outlet| outlet.end());
    }

    fn show(&mut self, book: &Book, event: Option<&Event>, lines: &[Line]) {
        for outlet in &mut self.0 {
            outlet.show(&Shown { book, event, lines });
        }
    }
}
