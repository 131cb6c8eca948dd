//! From the last byte of a record on the port to its line on standard output, durably kept, against a bare append and
//! `fdatasync` of the same bytes on the same disk, in turn with it in the same run.
//!
//! Beside it what the program takes while nothing happens: processor time, memory, the time from its start to its first
//! line, and the size of the binary. Run with `cargo bench --bench latency`.

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
    println!("latency: measured on Linux only");
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fs::File;
    use std::io::{BufRead, BufReader, Write};
    use std::path::Path;
    use std::process::{Child, ChildStdout, Stdio};
    use std::time::{Duration, Instant};

    use crate::port::BarePort;
    use crate::program::{Taken, command};

    /// Records that are timed.
    const RECORDS: usize = 400;
    /// Between two records, so that the log has been written into the job file; a crew takes seconds.
    const BETWEEN: Duration = Duration::from_millis(15);
    /// Starts that are timed.
    const STARTS: usize = 15;
    /// How long nothing happens while the processor time is taken.
    const IDLE: Duration = Duration::from_secs(10);

    pub(crate) fn main() {
        let folder = tempfile::tempdir().unwrap();
        let port = BarePort::new();
        latency(folder.path(), &port);
        starts(folder.path(), &port);
        let size = std::fs::metadata(env!("CARGO_BIN_EXE_closerun")).unwrap().len();
        println!("latency/binary: {:.1} MB", size as f64 / 1e6);
    }

    struct Listening {
        child: Child,
        lines: BufReader<ChildStdout>,
    }

    impl Listening {
        fn start(folder: &Path, port: &BarePort, job: &str) -> Self {
            let arguments = format!("listen --json --quiet --port {} --format comma --job {job}", port.name());
            let mut child = command(folder, &arguments).stderr(Stdio::null()).spawn().unwrap();
            let lines = BufReader::new(child.stdout.take().unwrap());
            Listening { child, lines }
        }

        fn until(&mut self, wanted: &str) {
            let mut line = String::new();
            loop {
                line.clear();
                assert!(self.lines.read_line(&mut line).unwrap() > 0, "{wanted} was wanted before the end");
                if line.contains(wanted) {
                    return;
                }
            }
        }

        fn stop(mut self) {
            let pid = rustix::process::Pid::from_child(&self.child);
            rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
            assert!(self.child.wait().unwrap().success());
        }
    }

    fn latency(folder: &Path, port: &BarePort) {
        let mut listening = Listening::start(folder, port, "latency.job");
        listening.until("\"type\":\"listening\"");
        let mut bare = File::options().create(true).append(true).open(folder.join("bare")).unwrap();
        let (mut through, mut appended) = (Vec::new(), Vec::new());
        for number in 0..RECORDS {
            let record = format!("R,{number},,{}.{:05},20.00,\r\n", 1 + number % 2, 20_000 + number * 41 % 70_000);
            let (begin, last) = record.as_bytes().split_at(record.len() - 1);

            let began = Instant::now();
            bare.write_all(record.as_bytes()).unwrap();
            bare.sync_data().unwrap();
            appended.push(began.elapsed());

            port.write(begin);
            std::thread::sleep(BETWEEN);
            let began = Instant::now();
            port.write(last);
            listening.until("\"type\":\"reading\"");
            through.push(began.elapsed());
            if number % 2 == 1 {
                listening.until("\"type\":\"verdict\"");
            }
            std::thread::sleep(BETWEEN);
        }
        let (through_median, through_p99) = spread(&mut through);
        let (bare_median, bare_p99) = spread(&mut appended);
        println!("latency/record to line, kept: median {} ms, p99 {} ms", ms(through_median), ms(through_p99));
        println!("latency/bare append + fdatasync: median {} ms, p99 {} ms", ms(bare_median), ms(bare_p99));
        let over = through_median.saturating_sub(bare_median);
        let allowed = 2 * bare_median + Duration::from_millis(1);
        println!("latency/over the bare append: {} ms; {} ms in all is the aim", ms(over), ms(allowed));

        let before = Taken::by(listening.child.id());
        std::thread::sleep(IDLE);
        let after = Taken::by(listening.child.id());
        println!("latency/idle for {IDLE:?}: {:.2} s of processor time", after.processor_s - before.processor_s);
        println!("latency/resident after {RECORDS} records: {:.1} MB", after.resident_mb);
        listening.stop();
    }

    fn starts(folder: &Path, port: &BarePort) {
        let (mut first, mut ready) = (Vec::new(), Vec::new());
        for start in 0..STARTS {
            let began = Instant::now();
            let mut listening = Listening::start(folder, port, &format!("start-{start}.job"));
            listening.until("\"type\":\"job\"");
            first.push(began.elapsed());
            listening.until("\"type\":\"listening\"");
            ready.push(began.elapsed());
            listening.stop();
        }
        println!("latency/start to the first line, new job: median {} ms", ms(spread(&mut first).0));
        println!("latency/start to listening, new job: median {} ms", ms(spread(&mut ready).0));
    }

    /// Median and 99th percentile.
    fn spread(times: &mut [Duration]) -> (Duration, Duration) {
        times.sort();
        (times[times.len() / 2], times[times.len() * 99 / 100])
    }

    fn ms(time: Duration) -> String {
        format!("{:.2}", time.as_secs_f64() * 1e3)
    }
}
