//! The daemon's end of the page: takes in what was kept, without ever waiting, and the thread that serves it.

use std::net::{SocketAddr, TcpListener};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use tokio::sync::mpsc;

use super::pairing::Pairing;
use super::site::Site;
use super::{BEAT, ENDING_TIME, serve};
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
    Ended,
}

/// The daemon's end of the page, for one instrument.
pub struct Feed {
    instrument: usize,
    news: Option<mpsc::Sender<(usize, News)>>,
    thread: Option<Arc<Thread>>,
    /// The last event that the page was given; `None` before the first, or when it must be given the book anew.
    given: Option<u64>,
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
        // Its end of the queue lives for as long as its thread works.
        if !self.news.as_ref()?.is_closed() {
            return None;
        }
        self.news = None;
        let again = "recording goes on, start again to get it back";
        Some(match self.thread.take()?.why() {
            Some(why) => format!("the page has stopped: {why}; {again}"),
            None => format!("the page has died; {again}"),
        })
    }

    /// This instrument's run has ended. With the last of them the page ends, within a bounded time.
    pub fn end(&mut self) {
        self.give(News::Ended);
        self.news = None;
        if let Some(thread) = self.thread.take().and_then(Arc::into_inner) {
            thread.wait(LAST_WAIT);
        }
    }

    /// `false`: it found no room.
    fn give(&mut self, news: News) -> bool {
        self.news.as_ref().is_some_and(|to| to.try_send((self.instrument, news)).is_ok())
    }
}

/// The page's thread, which the feeds share.
struct Thread(Mutex<Work>);

enum Work {
    Going(JoinHandle<Result<(), String>>),
    /// Ended, and why; `None` if it died.
    Ended(Option<String>),
}

impl Thread {
    fn new(handle: JoinHandle<Result<(), String>>) -> Arc<Self> {
        Arc::new(Thread(Mutex::new(Work::Going(handle))))
    }

    /// Why it ended by itself, once it has.
    fn why(&self) -> Option<String> {
        let mut work = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let why = match std::mem::replace(&mut *work, Work::Ended(None)) {
            Work::Going(handle) => handle.join().ok().and_then(Result::err),
            Work::Ended(why) => why,
        };
        *work = Work::Ended(why.clone());
        why
    }

    fn wait(self, at_most: Duration) {
        let Work::Going(handle) = self.0.into_inner().unwrap_or_else(PoisonError::into_inner) else { return };
        let until = Instant::now() + at_most;
        while !handle.is_finished() && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

/// Starts the page's thread; gives a feed for each instrument.
pub(super) fn start(
    listener: TcpListener,
    own: SocketAddr,
    site: Site,
    pairing: Pairing,
) -> std::io::Result<Vec<Feed>> {
    let (to, news) = mpsc::channel(NEWS_MAX);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().max_blocking_threads(4).build()?;
    let count = site.all().len();
    let work = move || {
        let served = runtime.block_on(work(listener, own, Arc::new(site), pairing, news));
        runtime.shutdown_timeout(Duration::ZERO);
        served
    };
    let thread = Thread::new(std::thread::Builder::new().name("page".to_owned()).spawn(work)?);
    let feed = |instrument| Feed { instrument, news: Some(to.clone()), thread: Some(Arc::clone(&thread)), given: None };
    Ok((0..count).map(feed).collect())
}

async fn work(
    listener: TcpListener,
    own: SocketAddr,
    site: Arc<Site>,
    pairing: Pairing,
    mut news: mpsc::Receiver<(usize, News)>,
) -> Result<(), String> {
    let listener = tokio::net::TcpListener::from_std(listener).map_err(|error| error.to_string())?;
    let (stop, stopping) = tokio::sync::watch::channel(false);
    let mut serving = tokio::spawn(serve::serve(listener, own, Arc::clone(&site), Arc::new(pairing), stopping));
    let mut beat = tokio::time::interval(BEAT);
    loop {
        tokio::select! {
            biased;
            next = news.recv() => match next {
                Some((instrument, news)) => take(&site, instrument, news),
                None => break,
            },
            ended = &mut serving => return Err(ended.map_or_else(|error| error.to_string(), |()| "no more clients can be taken".to_owned())),
            _ = beat.tick() => site.all().iter().for_each(|shown| shown.hub.beat()),
        }
    }
    site.all().iter().for_each(|shown| shown.hub.end());
    stop.send_replace(true);
    // What is still open then is closed with the thread.
    let _ = tokio::time::timeout(ENDING_TIME, serving).await;
    Ok(())
}

fn take(site: &Site, instrument: usize, news: News) {
    let hub = &site.all()[instrument].hub;
    match news {
        News::Kept(event) => hub.keep(&event),
        News::Whole(book) => hub.take(*book),
        News::Notice(lines) => hub.notice(&lines),
        News::Turned(heard_ago) => hub.turned(heard_ago),
        News::Ended => hub.end(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with_thread(work: impl FnOnce() -> Result<(), String> + Send + 'static) -> [Feed; 2] {
        let (to, news) = mpsc::channel(1);
        let thread = Thread::new(std::thread::spawn(work));
        drop(news);
        [0, 1].map(|instrument| Feed {
            instrument,
            news: Some(to.clone()),
            thread: Some(Arc::clone(&thread)),
            given: None,
        })
    }

    #[test]
    fn a_page_that_ended_by_itself_is_said_once_for_each_instrument() {
        for mut feed in with_thread(|| Err("no more clients can be taken".to_owned())) {
            let said = feed.lost().unwrap();
            assert!(said.starts_with("the page has stopped: no more clients can be taken;"), "{said}");
            assert_eq!(feed.lost(), None);
        }
    }

    #[test]
    fn a_page_that_died_is_said() {
        let [mut feed, _] = with_thread(|| panic!("planted"));
        assert!(feed.lost().unwrap().starts_with("the page has died"));
    }
}
