//! What a person says, and the answer.

use super::Session;
use crate::book::event::Body;
use crate::book::finding::Priority;
use crate::book::{Input, decide};
use crate::daemon::keep::Keep;
use crate::daemon::words::{self, Spoken};
use crate::daemon::{Answer, Ask};
use crate::field;
use crate::report::{live, today};

impl<K: Keep> Session<K> {
    /// Does what was said, and answers whoever waits for it.
    pub(super) fn ask(&mut self, ask: Ask) {
        // What was heard before it was said is booked before it.
        self.drain();
        let answer = self.answer(&ask);
        let refused = match &answer {
            Answer::Refused(why) | Answer::NotUnderstood(why) => Some(why.clone()),
            Answer::Done(_) => None,
        };
        match (ask.answer, refused) {
            // Whoever asked may have gone; what was done is done.
            (Some(to), _) => drop(to.send(answer)),
            (None, Some(why)) => self.notice(Priority::Note, why),
            (None, None) => {}
        }
    }

    fn answer(&mut self, ask: &Ask) -> Answer {
        if !self.book.is_open() {
            return Answer::Refused(self.why_not());
        }
        let command = match words::understand(&ask.words, &self.book) {
            Ok(Spoken::Command(command)) => command,
            Ok(Spoken::Today) => {
                let list = today::list(&self.book, "", self.clocks.wall());
                return Answer::Done(today::words(&list));
            }
            Ok(Spoken::Status) => return Answer::Done(live::status_in_words(&self.book)),
            Err(error) => return Answer::NotUnderstood(error.to_string()),
        };
        if let Err(why) = field::permit(&self.book, &command) {
            return Answer::Refused(why);
        }
        let body = match decide(&self.book, &Input::Command { command, by: ask.by.clone() }) {
            Ok(body) => body,
            Err(refused) => return Answer::Refused(refused.to_string()),
        };
        let event = self.book.last_event() + 1;
        let said = match &body {
            Some(Body::Commanded { command, .. }) => Some(live::command_words(command)),
            _ => None,
        };
        if !self.keep_now(body.into_iter().collect()) {
            return Answer::Refused(self.why_not());
        }
        self.tell_what_is_due();
        let mut done: Vec<String> = said.into_iter().map(|words| format!("event {event}: {words}")).collect();
        let activity = live::activity_answer(&self.book, event);
        if activity.is_empty() {
            done.extend(self.book.last_verdict().map(live::given_words));
        }
        done.extend(activity);
        Answer::Done(done)
    }

    fn why_not(&self) -> String {
        let cause = self.keeper.stopped().map_or("the job is not open yet", |not| &not.cause);
        format!("not recording: {cause}")
    }
}
