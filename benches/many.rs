//! Many instruments under one daemon: 64 pseudo-terminals, ten readings a second each. Nothing is lost, and so long after
//! the last byte of a record its line is on standard output, durably kept; against a bare append and `fdatasync` of the
//! same bytes at the same pace by one thread, on the same disk, in the same run. `cargo bench --bench many`.

#[cfg(target_os = "linux")]
#[path = "../tests/harness/port.rs"]
mod port;
#[cfg(target_os = "linux")]
#[path = "../tests/harness/program.rs"]
mod program;

#[cfg(target_os = "linux")]
fn main() {
    linux::main();
}

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("many: measured on Linux only");
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fmt::Write as _;
    use std::fs::File;
    use std::io::{BufRead, BufReader, Write};
    use std::path::Path;
    use std::process::{ChildStdout, Stdio};
    use std::time::{Duration, Instant};

    use closerun::book::event::Body;
    use closerun::book::reading::Heard;
    use closerun::config::INSTRUMENTS_MAX;
    use closerun::store::Job;

    use crate::port::BarePort;
    use crate::program::{Taken, command};

    /// Readings of each instrument, at this pace.
    const READINGS: usize = 200;
    const EVERY: Duration = Duration::from_millis(100);
    const COUNT: usize = INSTRUMENTS_MAX * READINGS;

    pub(crate) fn main() {
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path();
        bare(folder);
        daemon(folder);
    }

    /// A record of an instrument: the digits of the staff say which it is.
    fn record(reading: usize) -> String {
        format!("R,{reading},,{}.{reading:05},20.00,\r\n", 1 + reading % 2)
    }

    /// When each record is due, from the first: those of one round are spread over it.
    fn due(index: usize) -> Duration {
        EVERY * (index / INSTRUMENTS_MAX) as u32 + EVERY * (index % INSTRUMENTS_MAX) as u32 / INSTRUMENTS_MAX as u32
    }

    fn wait_until(then: Instant) {
        std::thread::sleep(then.saturating_duration_since(Instant::now()));
    }

    fn bare(folder: &Path) {
        let open = |n: usize| File::options().create(true).append(true).open(folder.join(format!("bare-{n}"))).unwrap();
        let mut files: Vec<File> = (0..INSTRUMENTS_MAX).map(open).collect();
        let began = Instant::now();
        let mut times = Vec::with_capacity(COUNT);
        for index in 0..COUNT {
            wait_until(began + due(index));
            let file = &mut files[index % INSTRUMENTS_MAX];
            file.write_all(record(index / INSTRUMENTS_MAX).as_bytes()).unwrap();
            file.sync_data().unwrap();
            times.push(began.elapsed() - due(index));
        }
        say("bare append + fdatasync, from when it was due", times);
    }

    fn daemon(folder: &Path) {
        let ports: Vec<BarePort> = (0..INSTRUMENTS_MAX).map(|_| BarePort::new()).collect();
        let mut settings = "format = \"comma\"\n".to_owned();
        for (n, port) in ports.iter().enumerate() {
            let port = port.name();
            writeln!(settings, "[[instrument]]\nname = \"i{n}\"\nport = \"{port}\"\njob = \"i{n}.job\"").unwrap();
        }
        std::fs::write(folder.join("site.toml"), settings).unwrap();
        let arguments = "listen --settings site.toml --json --quiet --no-page";
        let started = Instant::now();
        let mut child = command(folder, arguments).stderr(Stdio::null()).spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        for _ in 0..INSTRUMENTS_MAX {
            until(&mut lines, "\"type\":\"listening\"");
        }
        println!("many/start to listening, {INSTRUMENTS_MAX} new jobs: {:?}", started.elapsed());

        let began = Instant::now();
        let reading = std::thread::spawn(move || {
            let mut shown = vec![None; COUNT];
            for _ in 0..COUNT {
                let line: serde_json::Value = serde_json::from_str(&until(&mut lines, "\"type\":\"reading\"")).unwrap();
                let at = began.elapsed();
                let instrument: usize = line["instrument"].as_str().unwrap()[1..].parse().unwrap();
                let reading = line["number"].as_u64().unwrap() as usize - 1;
                assert_eq!(shown[reading * INSTRUMENTS_MAX + instrument].replace(at), None, "shown twice: {line}");
            }
            // What else it says, verdicts and findings, is read to its end.
            std::io::copy(&mut lines, &mut std::io::sink()).unwrap();
            shown
        });
        let mut sent = Vec::with_capacity(COUNT);
        for index in 0..COUNT {
            wait_until(began + due(index));
            sent.push(began.elapsed());
            ports[index % INSTRUMENTS_MAX].write(record(index / INSTRUMENTS_MAX).as_bytes());
        }
        let pid = rustix::process::Pid::from_child(&child);
        while !reading.is_finished() && began.elapsed() < due(COUNT) + Duration::from_secs(2) {
            std::thread::sleep(EVERY);
        }
        let Taken { processor_s, resident_mb } = Taken::by(child.id());
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
        let shown = reading.join().expect("every reading is shown");
        assert!(child.wait().unwrap().success());
        let shown = shown.into_iter().map(|at| at.expect("each was shown"));
        say("record to line, kept", shown.zip(&sent).map(|(shown, sent)| shown - *sent).collect());
        let time = due(COUNT).as_secs_f64();
        println!("many/processor time: {processor_s:.1} s in {time:.0} s; resident {resident_mb:.1} MB");
        for n in 0..INSTRUMENTS_MAX {
            let job = Job::read(&folder.join(format!("i{n}.job"))).unwrap();
            let staffs: Vec<String> = job.events().filter_map(|event| staff(event.unwrap().body)).collect();
            let wanted: Vec<String> = (0..READINGS).map(|n| format!("{}.{n:05}", 1 + n % 2)).collect();
            assert!(staffs == wanted, "instrument {n} has lost something: {} readings", staffs.len());
        }
        println!("many/lost: none of {COUNT}");
    }

    fn staff(body: Body) -> Option<String> {
        match body {
            Body::Heard { heard: Heard::Reading(reading) } => Some(reading.staff.digits().to_string()),
            _ => None,
        }
    }

    fn until(lines: &mut BufReader<ChildStdout>, wanted: &str) -> String {
        let mut line = String::new();
        loop {
            line.clear();
            assert!(lines.read_line(&mut line).unwrap() > 0, "{wanted} was wanted before the end");
            if line.contains(wanted) {
                return line;
            }
        }
    }

    fn say(what: &str, mut times: Vec<Duration>) {
        times.sort();
        let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize].as_secs_f64() * 1e3;
        println!("many/{what}: median {:.2} ms, p99 {:.2} ms, most {:.2} ms", at(0.5), at(0.99), at(1.0));
    }
}
