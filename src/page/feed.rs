//! The daemon's end of the page: takes in what was kept, without ever waiting, and the thread that serves it.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use tokio::sync::mpsc;

use super::hub::Hub;
use super::pairing::Pairing;
use super::{BEAT, ENDING_TIME, Limits, Upstream, serve};
use crate::book::Book;
use crate::book::event::Event;
use crate::report::live::Line;

/// News that wait for the page's thread: minutes of work, should it be busy. Beyond it the page is given the book anew.
const NEWS_MAX: usize = 4096;
/// How long the daemon waits for the page to end.
const LAST_WAIT: Duration = Duration::from_secs(1);

enum News {
    Kept(Box<Event>),
    Whole(Box<Book>),
    Notice(Vec<Line>),
    Turned(Option<Duration>),
}

/// The daemon's end of the page.
pub struct Feed {
    news: Option<mpsc::Sender<News>>,
    thread: Option<JoinHandle<Result<(), String>>>,
    /// The last event that the page was given; `None` before the first, or when it must be given the book anew.
    given: Option<u64>,
    lost_said: bool,
}

impl Feed {
    /// An event was kept, and this is the book after it.
    pub fn kept(&mut self, event: &Event, book: &Book) {
        let follows = match self.given {
            Some(given) => event.seq == given + 1,
            None => event.seq == 1,
        };
        let news = if follows { News::Kept(Box::new(event.clone())) } else { News::Whole(Box::new(book.clone())) };
        self.given = self.give(news).then_some(event.seq);
    }

    /// Lines that no event holds were shown, and this is the book.
    pub fn said(&mut self, lines: &[Line], book: &Book) {
        if self.given != Some(book.last_event()) && book.is_open() {
            self.given = self.give(News::Whole(Box::new(book.clone()))).then_some(book.last_event());
        }
        self.give(News::Notice(lines.to_vec()));
    }

    /// The daemon's loop has turned; so long ago the instrument was heard.
    pub fn turned(&mut self, heard_ago: Option<Duration>) {
        self.give(News::Turned(heard_ago));
    }

    /// Why the page has ended by itself, once.
    pub fn lost(&mut self) -> Option<String> {
        let dead = self.thread.as_ref().is_none_or(JoinHandle::is_finished);
        if self.lost_said || self.news.is_none() || !dead {
            return None;
        }
        self.lost_said = true;
        self.news = None;
        Some(match self.thread.take().map(JoinHandle::join) {
            Some(Ok(Err(why))) => format!("the page has stopped: {why}; recording goes on, start again to get it back"),
            _ => "the page has died; recording goes on, start again to get it back".to_owned(),
        })
    }

    /// Ends the page and waits for it, within a bounded time.
    pub fn end(&mut self) {
        self.news = None;
        let Some(thread) = self.thread.take() else { return };
        let until = Instant::now() + LAST_WAIT;
        while !thread.is_finished() && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// `false`: it found no room.
    fn give(&mut self, news: News) -> bool {
        self.news.as_ref().is_some_and(|to| to.try_send(news).is_ok())
    }
}

/// Starts the page's thread.
pub(super) fn start(
    listener: TcpListener,
    own: SocketAddr,
    limits: Limits,
    pairing: Pairing,
    upstream: Arc<dyn Upstream>,
) -> std::io::Result<Feed> {
    let (to, news) = mpsc::channel(NEWS_MAX);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().max_blocking_threads(4).build()?;
    let work = move || {
        let served = runtime.block_on(work(listener, own, limits, pairing, upstream, news));
        runtime.shutdown_timeout(Duration::ZERO);
        served
    };
    let thread = std::thread::Builder::new().name("page".to_owned()).spawn(work)?;
    Ok(Feed { news: Some(to), thread: Some(thread), given: None, lost_said: false })
}

async fn work(
    listener: TcpListener,
    own: SocketAddr,
    limits: Limits,
    pairing: Pairing,
    upstream: Arc<dyn Upstream>,
    mut news: mpsc::Receiver<News>,
) -> Result<(), String> {
    let hub = Arc::new(Hub::new(limits));
    let listener = tokio::net::TcpListener::from_std(listener).map_err(|error| error.to_string())?;
    let (stop, stopping) = tokio::sync::watch::channel(false);
    let mut serving =
        tokio::spawn(serve::serve(listener, own, Arc::clone(&hub), Arc::new(pairing), upstream, stopping));
    let mut beat = tokio::time::interval(BEAT);
    loop {
        tokio::select! {
            biased;
            next = news.recv() => match next {
                Some(News::Kept(event)) => hub.keep(&event),
                Some(News::Whole(book)) => hub.take(*book),
                Some(News::Notice(lines)) => hub.notice(&lines),
                Some(News::Turned(heard_ago)) => hub.turned(heard_ago),
                None => break,
            },
            ended = &mut serving => return Err(ended.map_or_else(|error| error.to_string(), |()| "no more clients can be taken".to_owned())),
            _ = beat.tick() => hub.beat(),
        }
    }
    hub.end();
    stop.send_replace(true);
    // What is still open then is closed with the thread.
    let _ = tokio::time::timeout(ENDING_TIME, serving).await;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with_thread(work: impl FnOnce() -> Result<(), String> + Send + 'static) -> Feed {
        let (to, _news) = mpsc::channel(1);
        let thread = std::thread::spawn(work);
        while !thread.is_finished() {
            std::thread::yield_now();
        }
        Feed { news: Some(to), thread: Some(thread), given: None, lost_said: false }
    }

    #[test]
    fn a_page_that_ended_by_itself_is_said_once() {
        let mut feed = with_thread(|| Err("no more clients can be taken".to_owned()));
        let said = feed.lost().unwrap();
        assert!(said.starts_with("the page has stopped: no more clients can be taken;"), "{said}");
        assert_eq!(feed.lost(), None);
    }

    #[test]
    fn a_page_that_died_is_said() {
        let mut feed = with_thread(|| panic!("planted"));
        assert!(feed.lost().unwrap().starts_with("the page has died"));
    }
}
