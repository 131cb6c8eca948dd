//! Requests and answers as JSON lines, and their bounds; the same over every kind of socket.

use serde::{Deserialize, Serialize};
use tokio::io::{AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader};
use tokio::sync::{mpsc, oneshot};

use crate::book::event::Origin;
use crate::daemon::{Answer, Ask};

/// Version of the exchange.
const VERSION: u32 = 1;
/// The longest request or answer, in bytes: a note of some pages.
pub(super) const LINE_MAX: u64 = 64 * 1024;
/// How long either side waits for the other.
pub(super) const PATIENCE: std::time::Duration = std::time::Duration::from_secs(5);

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Request {
    version: u32,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    say: Vec<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    who: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    secret: Option<String>,
}

#[derive(Serialize, Deserialize)]
struct Response {
    version: u32,
    #[serde(flatten)]
    reply: Reply,
}

/// What a daemon answers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reply {
    /// The job that it records.
    Job(String),
    /// It was done and kept.
    Done(Vec<String>),
    /// It could not be done, and why.
    Refused(String),
    /// The words were not understood.
    NotUnderstood(String),
}

/// A request to do something.
pub(super) fn request(words: &[String]) -> String {
    line(&Request { version: VERSION, say: words.to_vec(), who: false, secret: None })
}

/// A request for the job's name.
pub(super) fn who() -> String {
    line(&Request { version: VERSION, say: Vec::new(), who: true, secret: None })
}

/// The same request with a secret.
pub(super) fn with_secret(request: &str, secret: &str) -> String {
    match serde_json::from_str::<Request>(request) {
        Ok(request) => line(&Request { secret: Some(secret.to_owned()), ..request }),
        Err(_) => request.to_owned(),
    }
}

pub(super) fn read_reply(text: &str) -> Result<Reply, String> {
    let response: Response = serde_json::from_str(text).map_err(|error| format!("no answer of ours: {error}"))?;
    if response.version == VERSION {
        Ok(response.reply)
    } else {
        Err(format!("an answer of version {} found, {VERSION} was wanted", response.version))
    }
}

/// Serves one connection.
pub(super) async fn serve(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    job: &str,
    secret: Option<&str>,
    asks: &mpsc::Sender<Ask>,
) {
    let (read, mut write) = tokio::io::split(stream);
    let mut text = String::new();
    let mut lines = BufReader::new(read.take(LINE_MAX));
    let Ok(Ok(_)) = tokio::time::timeout(PATIENCE, lines.read_line(&mut text)).await else { return };
    let reply = answer(&text, job, secret, asks).await;
    let response = line(&Response { version: VERSION, reply });
    // Whoever asked may have gone; what was done is done.
    let _ = tokio::time::timeout(PATIENCE, write.write_all(response.as_bytes())).await;
    let _ = write.shutdown().await;
}

async fn answer(text: &str, job: &str, secret: Option<&str>, asks: &mpsc::Sender<Ask>) -> Reply {
    let request: Request = match serde_json::from_str(text) {
        Ok(request) => request,
        Err(error) => return Reply::NotUnderstood(format!("a request of ours was wanted: {error}")),
    };
    if request.version != VERSION {
        let found = request.version;
        return Reply::NotUnderstood(format!("a request of version {found} found, {VERSION} was wanted"));
    }
    if secret.is_some() && request.secret.as_deref() != secret {
        return Reply::Refused("the secret of this daemon was wanted".to_owned());
    }
    if request.who {
        return Reply::Job(job.to_owned());
    }
    let (to, from) = oneshot::channel();
    let ask = Ask { words: request.say, by: Origin::Tell, answer: Some(to) };
    if asks.try_send(ask).is_err() {
        return Reply::Refused("too many commands wait already: say it again".to_owned());
    }
    match from.await {
        Ok(Answer::Done(done)) => Reply::Done(done),
        Ok(Answer::Refused(why)) => Reply::Refused(why),
        Ok(Answer::NotUnderstood(why)) => Reply::NotUnderstood(why),
        Err(_) => Reply::Refused("the daemon is stopping".to_owned()),
    }
}

fn line(value: &impl Serialize) -> String {
    let mut text = serde_json::to_string(value).expect("plain data");
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn asked(text: &str, secret: Option<&str>) -> Reply {
        let (asks, mut taken) = mpsc::channel::<Ask>(1);
        tokio::spawn(async move {
            while let Some(ask) = taken.recv().await {
                let done = Answer::Done(ask.words);
                ask.answer.unwrap().send(done).unwrap();
            }
        });
        let (ours, mut theirs) = tokio::io::duplex(64);
        let text = text.to_owned();
        let talk = tokio::spawn(async move {
            theirs.write_all(text.as_bytes()).await.unwrap();
            let mut answer = String::new();
            theirs.read_to_string(&mut answer).await.unwrap();
            answer
        });
        serve(ours, "a.job", secret, &asks).await;
        read_reply(&talk.await.unwrap()).unwrap()
    }

    #[tokio::test]
    async fn words_come_through_and_an_answer_comes_back() {
        let words = ["note".to_owned(), "wind, \"gusts\"".to_owned()];
        assert_eq!(asked(&request(&words), None).await, Reply::Done(words.to_vec()));
        assert_eq!(asked(&who(), None).await, Reply::Job("a.job".to_owned()));
    }

    #[tokio::test]
    async fn a_wrong_request_is_answered_and_does_nothing() {
        assert!(matches!(asked("GET / HTTP/1.1\n", None).await, Reply::NotUnderstood(_)));
        assert!(matches!(asked("{\"version\":2}\n", None).await, Reply::NotUnderstood(_)));
        assert!(matches!(asked(&who(), Some("s")).await, Reply::Refused(_)));
        assert_eq!(asked(&with_secret(&who(), "s"), Some("s")).await, Reply::Job("a.job".to_owned()));
    }
}
