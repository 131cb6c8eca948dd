//! A capture of 100 MB through the built program: how fast, and with how much memory at most.

#[cfg(not(target_os = "linux"))]
pub(super) fn measure() {
    println!("long capture: the peak of memory is only known on Linux");
}

/// Bytes of the capture.
#[cfg(target_os = "linux")]
const CAPTURE: usize = 100_000_000;

/// What it may take at most, in kB.
#[cfg(target_os = "linux")]
const PEAK_MAX_KB: u64 = 40_000;

/// The capture comes through a named pipe, so that the program is still there when its peak is read.
#[cfg(target_os = "linux")]
pub(super) fn measure() {
    use std::io::Write;
    use std::process::{Command, Stdio};

    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("capture.bytes");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let format = closerun::protocol::find("comma").unwrap();
    let records: Vec<u8> =
        (0..1000).flat_map(|number| super::record(&format, super::reading(&format, number))).collect();
    let mut command = Command::new(env!("CARGO_BIN_EXE_closerun"));
    command.args(["format", "try", "comma"]).arg(&pipe).args(["--show", "none"]);
    let mut reader = command.stdout(Stdio::piped()).spawn().unwrap();
    let mut into = std::fs::File::options().write(true).open(&pipe).unwrap();
    let began = std::time::Instant::now();
    let mut sent = 0;
    while sent < CAPTURE {
        into.write_all(&records).unwrap();
        sent += records.len();
    }
    let status = std::fs::read_to_string(format!("/proc/{}/status", reader.id())).unwrap();
    drop(into);
    assert!(reader.wait().unwrap().success());
    let took = began.elapsed();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB"));
    let peak_kb: u64 = peak.expect("the kernel says it").parse().unwrap();
    let mb_per_s = sent as f64 / 1e6 / took.as_secs_f64();
    println!(
        "long capture: {} MB in {:.2} s ({mb_per_s:.0} MB/s), at most {:.1} MB of memory, {} MB allowed",
        sent / 1_000_000,
        took.as_secs_f64(),
        peak_kb as f64 / 1000.0,
        PEAK_MAX_KB / 1000
    );
    assert!(peak_kb < PEAK_MAX_KB, "{peak_kb} kB");
}
