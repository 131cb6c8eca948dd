//! Sessions beside each other: each with its link, its job and its commands, all on the one loop's thread.
//!
//! Whatever ends one of them, the others go on. Only a fault of the program itself, a panic, ends them all, in good
//! order, and is then what the program ends with.

use tokio::sync::mpsc;
use tokio::task::{JoinSet, LocalSet};

use super::keep::{Keep, NotKept};
use super::session::{Ending, Session};
use super::{Ask, run};
use crate::book::Book;
use crate::link::{EventReceiver, Stop};

/// A session and what wakes it.
pub struct Post<K> {
    /// The session, not begun.
    pub session: Session<K>,
    /// What its link has.
    pub link: EventReceiver,
    /// What people say.
    pub asks: mpsc::Receiver<Ask>,
}

/// What became of a session.
#[derive(Debug)]
pub struct Outcome {
    /// How it ended.
    pub ending: Ending,
    /// Its book, if the job file could be completed.
    pub book: Result<Book, NotKept>,
}

impl<K: Keep> Post<K> {
    /// Runs it until its input ends or somebody wants it to stop, and leaves one complete file at once.
    async fn attend(mut self, stop: Stop) -> Outcome {
        let ending = run(&mut self.session, self.link, self.asks, stop).await;
        let reason = match &ending {
            Ending::Good => "told to stop, or the input ended".to_owned(),
            Ending::Bad { why } => format!("a part of the program failed: {why}"),
        };
        Outcome { book: self.session.close(&reason), ending }
    }
}

/// Runs sessions until each has ended. What became of them, in their order.
pub async fn attend<K: Keep + 'static>(posts: Vec<Post<K>>, stop: &Stop) -> Vec<Outcome> {
    let mut outcomes: Vec<Option<Outcome>> = posts.iter().map(|_| None).collect();
    let here = LocalSet::new();
    here.run_until(async {
        let mut running = JoinSet::new();
        for (index, post) in posts.into_iter().enumerate() {
            let stop = stop.clone();
            running.spawn_local(async move { (index, post.attend(stop).await) });
        }
        let mut fault = None;
        while let Some(ended) = running.join_next().await {
            match ended {
                Ok((index, outcome)) => outcomes[index] = Some(outcome),
                Err(error) => {
                    stop.ask();
                    fault = fault.or(error.try_into_panic().ok());
                }
            }
        }
        if let Some(fault) = fault {
            std::panic::resume_unwind(fault);
        }
    })
    .await;
    outcomes.into_iter().map(|outcome| outcome.expect("each has ended, and none by a panic")).collect()
}
