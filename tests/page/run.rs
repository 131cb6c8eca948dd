//! The program as it runs with its page, driven through its standard input, and a bare HTTP client for it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use serde_json::Value;

/// Longer than anything here takes on a loaded machine.
pub(crate) const PATIENCE: Duration = Duration::from_secs(30);

/// A running `closerun listen` or `demo`.
pub(crate) struct Run {
    child: Child,
    input: Option<ChildStdin>,
    pub(crate) port: u16,
    pub(crate) code: String,
    lines: Receiver<String>,
    /// What comes on standard error after the page's address.
    said: Option<JoinHandle<String>>,
    /// Shots sent so far: an instrument numbers its records, and one number twice is one record twice.
    pub(crate) shots: u32,
}

impl Run {
    /// Starts to record into a job, at any free port.
    pub(crate) fn start(job: &Path) -> Run {
        Run::start_at(job, 0)
    }

    /// Starts to record into a job, with the page at a port.
    pub(crate) fn start_at(job: &Path, port: u16) -> Run {
        let mut listen = Command::new(env!("CARGO_BIN_EXE_closerun"));
        listen.args(["listen", "--stdin", "--format", "comma", "--known", "BM-1=52.3480", "--start", "BM-1", "--json"]);
        listen.args(["--job".as_ref(), job.as_os_str()]).args(["--page", &port.to_string()]);
        Run::of(listen)
    }

    /// Starts the demonstration: a simulated level, and a crew that makes mistakes.
    pub(crate) fn demo(job: &Path) -> Run {
        let mut demo = Command::new(env!("CARGO_BIN_EXE_closerun"));
        demo.args(["demo", "--json", "--page", "0", "--speed", "20", "--job"]).arg(job);
        Run::of(demo)
    }

    fn of(mut command: Command) -> Run {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let mut stderr = BufReader::new(child.stderr.take().unwrap());
        let mut said = String::new();
        stderr.read_line(&mut said).unwrap();
        let rest =
            said.strip_prefix("page: http://127.0.0.1:").unwrap_or_else(|| panic!("the page's address: {said:?}"));
        let (port, code) = rest.trim().split_once("/  pairing code ").unwrap();
        let (port, code) = (port.parse().unwrap(), code.to_owned());
        let said = std::thread::spawn(move || {
            let mut rest = String::new();
            stderr.read_to_string(&mut rest).map(|_| rest).unwrap_or_default()
        });
        let stdout = BufReader::new(child.stdout.take().unwrap());
        let (to, lines) = channel();
        std::thread::spawn(move || stdout.lines().map_while(Result::ok).try_for_each(|line| to.send(line)));
        let input = child.stdin.take();
        Run { child, input, port, code, lines, said: Some(said), shots: 0 }
    }

    /// Sends bytes as the instrument would.
    pub(crate) fn send(&mut self, text: &str) {
        let input = self.input.as_mut().expect("the input is open");
        input.write_all(text.as_bytes()).unwrap();
        input.flush().unwrap();
    }

    /// A shot on a point with a role; staff and sight as text.
    pub(crate) fn shot(&mut self, point: &str, staff: &str, sight: &str, role: char) {
        self.shots += 1;
        let number = self.shots;
        self.send(&format!("R,{number},{point},{staff},{sight},{role}\r\n"));
    }

    /// A setup in good order, from the point before to `TPn`.
    pub(crate) fn good_setup(&mut self) {
        self.shot("", "1.50000", "30.00", 'B');
        self.shot("", "1.40000", "30.10", 'F');
    }

    /// The next JSON line of the terminal of a type.
    pub(crate) fn line(&self, of: &str) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let line =
                self.lines.recv_timeout(until.saturating_duration_since(Instant::now())).expect("a line in time");
            let line: Value = serde_json::from_str(&line).unwrap();
            if line["type"] == of {
                return line;
            }
        }
    }

    /// Kills it as a power cut would.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Stops it where it stands, as a hanging disk would.
    pub(crate) fn freeze(&self) {
        self.signal(rustix::process::Signal::STOP);
    }

    /// Lets it go on.
    pub(crate) fn thaw(&self) {
        self.signal(rustix::process::Signal::CONT);
    }

    fn signal(&self, signal: rustix::process::Signal) {
        rustix::process::kill_process(rustix::process::Pid::from_child(&self.child), signal).unwrap();
    }

    /// Ends its input and waits for its end.
    pub(crate) fn end(mut self) -> (ExitStatus, Duration) {
        let began = Instant::now();
        drop(self.input.take());
        let status = self.child.wait().unwrap();
        (status, began.elapsed())
    }

    /// Ends it; gives everything that it printed and that was not asked for, but for the line that tells the code.
    pub(crate) fn rest(mut self) -> Vec<String> {
        drop(self.input.take());
        self.child.wait().unwrap();
        let said = self.said.take().expect("asked once").join().unwrap();
        self.lines.iter().chain(said.lines().map(str::to_owned)).collect()
    }

    /// A request under the page's own address.
    pub(crate) fn get(&self, path: &str) -> Answer {
        request(self.port, "GET", path, &[("Host", &self.host())], "")
    }

    /// A command as the page sends it.
    pub(crate) fn post(&self, path: &str, body: &str, cookie: Option<&str>) -> Answer {
        let (host, origin) = (self.host(), format!("http://{}", self.host()));
        let mut headers = vec![("Host", &*host), ("Origin", &*origin), ("Content-Type", "application/json")];
        headers.extend(cookie.map(|cookie| ("Cookie", cookie)));
        request(self.port, "POST", path, &headers, body)
    }

    /// Pairs; gives the cookie.
    pub(crate) fn pair(&self) -> String {
        let answer = self.post("/v1/pair", &format!("{{\"code\":\"{}\"}}", self.code), None);
        assert_eq!(answer.status, 200, "{}", answer.body);
        let cookie = answer.header("set-cookie").expect("a cookie");
        for word in ["HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(cookie.contains(word), "{cookie}");
        }
        cookie.split(';').next().unwrap().to_owned()
    }

    pub(crate) fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// The state, once it holds so many readings.
    pub(crate) fn state_with(&self, readings: usize) -> Value {
        let until = Instant::now() + PATIENCE;
        loop {
            let state: Value = serde_json::from_str(&self.get("/v1/state").body).unwrap();
            if state["readings"].as_array().unwrap().len() >= readings {
                return state;
            }
            assert!(Instant::now() < until, "no {readings} readings in time: {state}");
            std::thread::yield_now();
        }
    }
}

impl Drop for Run {
    fn drop(&mut self) {
        // Gone already after `end` and `kill`.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: String,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let named =
            |line: &'_ str| line.split_once(": ").filter(|(found, _)| found.eq_ignore_ascii_case(name)).is_some();
        self.head.lines().find(|line| named(line)).and_then(|line| line.split_once(": ")).map(|(_, value)| value)
    }
}

/// One request in HTTP/1.0, whose answer ends with the connection.
pub(crate) fn request(port: u16, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    let mut stream = connect(port);
    send_request(&mut stream, method, path, headers, body);
    let mut text = String::new();
    stream.read_to_string(&mut text).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    Answer { status, head: head.to_owned(), body: body.to_owned() }
}

pub(crate) fn connect(port: u16) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream
}

fn send_request(stream: &mut TcpStream, method: &str, path: &str, headers: &[(&str, &str)], body: &str) {
    let mut text = format!("{method} {path} HTTP/1.0\r\n");
    for (name, value) in headers {
        text += &format!("{name}: {value}\r\n");
    }
    text += &format!("Content-Length: {}\r\n\r\n{body}", body.len());
    stream.write_all(text.as_bytes()).unwrap();
}

/// A message of a stream.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Message {
    pub(crate) id: Option<u64>,
    pub(crate) event: String,
    pub(crate) data: Value,
}

/// An open stream.
pub(crate) struct Stream {
    lines: BufReader<TcpStream>,
}

impl Stream {
    /// Opens it; `last` is said as a browser says it when it comes again.
    pub(crate) fn open(run: &Run, path: &str, last: Option<u64>) -> Stream {
        Stream::at(run.port, path, last)
    }

    /// The same at a port.
    pub(crate) fn at(port: u16, path: &str, last: Option<u64>) -> Stream {
        let (host, last) = (format!("127.0.0.1:{port}"), last.map(|last| last.to_string()));
        let mut headers = vec![("Host", &*host)];
        headers.extend(last.as_deref().map(|last| ("Last-Event-ID", last)));
        let mut stream = connect(port);
        send_request(&mut stream, "GET", path, &headers, "");
        let mut lines = BufReader::new(stream);
        let mut line = String::new();
        lines.read_line(&mut line).unwrap();
        assert!(line.contains("200"), "{line}");
        while line != "\r\n" {
            line.clear();
            lines.read_line(&mut line).unwrap();
        }
        Stream { lines }
    }

    /// The next message; `None` once the stream has ended.
    pub(crate) fn next(&mut self) -> Option<Message> {
        let mut message = Message { id: None, event: String::new(), data: Value::Null };
        loop {
            let mut line = String::new();
            if self.lines.read_line(&mut line).unwrap() == 0 {
                return None;
            }
            match line.trim_end().split_once(": ") {
                Some(("id", id)) => message.id = Some(id.parse().unwrap()),
                Some(("event", event)) => message.event = event.to_owned(),
                Some(("data", data)) => message.data = serde_json::from_str(data).unwrap(),
                None if !message.event.is_empty() => return Some(message),
                _ => {}
            }
        }
    }

    /// Messages with an id up to and with one.
    pub(crate) fn up_to(&mut self, last: u64) -> Vec<Message> {
        let mut got = Vec::new();
        while got.last().is_none_or(|message: &Message| message.id < Some(last)) {
            let message = self.next().expect("the stream goes on");
            if message.id.is_some() {
                got.push(message);
            }
        }
        got
    }
}
