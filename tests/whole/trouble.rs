//! What goes wrong around the program: ports and jobs that others hold, doors that are closed, outputs that go away.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

use closerun::book::event::Body;
use closerun::simulate::{Act, Place, Tempo, Wire};
use rustix::process::{Pid, Signal};

use crate::port::{BarePort, Level};
use crate::program::{Program, command, run, settle, until};
use crate::{events, kept, listen, names, shots};

#[test]
fn a_job_that_is_being_recorded_is_not_recorded_twice() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut level = Level::on_terminal(folder, "comma");
    let mut first = listen(folder, &level, "");
    level.shoot("1.50000", "20.00");
    first.readings(1);
    let second = run(folder, "listen --stdin --format comma --job tower.job");
    assert_eq!(second.code, 2, "{}", second.err);
    assert!(second.err.contains("tower.job") && second.err.contains("in use"), "{}", second.err);
    // The first is unharmed.
    level.shoot("1.20000", "20.00");
    first.readings(1);
    first.stop().assert_good();
    assert_eq!(kept(folder, "tower.job"), ["1.50000", "1.20000"]);
    run(folder, "verify tower.job").assert_good();
}

#[test]
fn a_port_in_use_is_called_so_and_leaves_no_job_behind() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let level = Level::on_terminal(folder, "comma");
    let first = listen(folder, &level, "");
    let second = run(folder, "listen --port port --format comma --job other.job");
    assert_eq!(second.code, 2, "{}", second.err);
    assert!(second.err.contains("in use"), "{}", second.err);
    assert!(second.err.contains(&first.id().to_string()), "its holder is named: {}", second.err);
    assert!(!folder.join("other.job").exists());
    first.stop().assert_good();

    let missing = run(folder, "listen --port /dev/ttyUSB97 --format comma --job other.job");
    assert_eq!(missing.code, 2);
    assert!(missing.err.contains("/dev/ttyUSB97") && !missing.err.contains("in use"), "{}", missing.err);
    assert!(!folder.join("other.job").exists());
}

#[test]
fn a_port_that_this_user_may_not_open_names_the_group() {
    if !rustix::process::geteuid().is_root() {
        println!("skipped: not root, so nobody else can be asked to open the port");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let level = Level::on_terminal(folder.path(), "comma");
    let node = fs::canonicalize(level.port()).unwrap();
    fs::set_permissions(&node, fs::Permissions::from_mode(0o660)).unwrap();
    // A folder that everybody may use, with a program that everybody may run.
    let open = tempfile::tempdir().unwrap();
    fs::set_permissions(open.path(), fs::Permissions::from_mode(0o777)).unwrap();
    let copy = open.path().join("program");
    fs::copy(env!("CARGO_BIN_EXE_closerun"), &copy).unwrap();
    let mut as_nobody = Command::new("setpriv");
    settle(&mut as_nobody, open.path());
    as_nobody.args(["--reuid=65534", "--regid=65534", "--clear-groups", "--"]).arg(&copy);
    as_nobody.args(["listen", "--format", "comma", "--job", "tower.job", "--port"]).arg(&node);
    let ended = Program::of(&mut as_nobody).end();
    assert_eq!(ended.code, 2, "{}", ended.err);
    for said in ["group", "log in again"] {
        assert!(ended.err.contains(said) && !ended.err.contains("in use"), "{said:?} in {}", ended.err);
    }
    assert!(!open.path().join("tower.job").exists());
    drop(level);
}

#[test]
fn the_file_of_another_program_is_refused_untouched() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let other = rusqlite::Connection::open(folder.join("other.db")).unwrap();
    other.execute_batch("CREATE TABLE event(seq INTEGER); INSERT INTO event VALUES (1);").unwrap();
    drop(other);
    fs::write(folder.join("notes.txt"), "tower: BM-1 is the bolt by the door\n").unwrap();
    for name in ["other.db", "notes.txt"] {
        let before = fs::read(folder.join(name)).unwrap();
        for arguments in [
            format!("listen --stdin --format comma --job {name}"),
            format!("verify {name}"),
            format!("replay {name}"),
            format!("book {name}"),
            format!("backup {name} copy.job"),
        ] {
            let ended = run(folder, &arguments);
            assert_eq!(ended.code, 2, "{arguments}: {}{}", ended.out, ended.err);
            assert!(ended.err.contains(name), "{arguments}: {}", ended.err);
        }
        assert_eq!(fs::read(folder.join(name)).unwrap(), before, "{name}");
    }
    assert_eq!(names(folder), ["notes.txt", "other.db"]);
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    run(folder, "demo --quiet --speed 1000 --job d.job").assert_good();
    let questions = ["book d.job", "book d.job --json", "verify d.job", "replay d.job", "classes", "formats", "ports"];
    for arguments in questions.into_iter().chain(["schema lines", "tell", "--help", "format check comma"]) {
        let (nobody, out) = std::io::pipe().unwrap();
        drop(nobody);
        let ended = Program::of(command(folder, arguments).stdout(Stdio::from(out))).end();
        assert_eq!((ended.code, &*ended.err), (0, ""), "{arguments}");
    }
}

#[test]
fn with_its_outputs_gone_it_goes_on_recording() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut level = Level::on_terminal(folder, "comma");
    // The log's disk is full from the start; standard error is closed before it, standard output on the way.
    let arguments = "-vv --log /dev/full listen --json --port port --format comma --job tower.job";
    let (nobody, err) = std::io::pipe().unwrap();
    drop(nobody);
    let mut program = Program::of(command(folder, arguments).stderr(Stdio::from(err)));
    program.line_of_type("listening");
    let shots = shots(30);
    for (turn, (staff, sight)) in shots.iter().enumerate() {
        level.shoot(staff, sight);
        if turn == 10 {
            program.readings(5);
            program.stop_reading();
        }
    }
    until("thirty readings in the book", || run(folder, "tell status").assert_good().out.contains("30 readings"));
    assert_eq!(program.stop().code, 0);
    assert_eq!(kept(folder, "tower.job"), shots.into_iter().map(|(staff, _)| staff).collect::<Vec<_>>());
    run(folder, "verify tower.job").assert_good();
}

/// Where Debian puts the library that tells one process another time.
fn another_time() -> Option<PathBuf> {
    let folders =
        fs::read_dir("/usr/lib").ok()?.flatten().map(|entry| entry.path().join("faketime/libfaketimeMT.so.1"));
    folders.into_iter().find(|library| library.exists())
}

#[test]
fn a_clock_that_somebody_sets_is_an_event_and_disturbs_nothing() {
    let Some(library) = another_time() else {
        assert!(std::env::var_os("CI").is_none(), "CI needs faketime");
        println!("skipped: no faketime, which sets the clock of one process");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut level = Level::on_terminal(folder, "comma");
    let (set, half) = (folder.join("time"), folder.join("half"));
    let set_clock = |by: &str| {
        fs::write(&half, by).unwrap();
        fs::rename(&half, &set).unwrap();
    };
    set_clock("+0");
    let mut listen = command(folder, "listen --port port --format comma --job tower.job --json --quiet-after 600");
    listen.env("LD_PRELOAD", library).env("FAKETIME_TIMESTAMP_FILE", &set);
    let mut program = Program::of(listen.env("FAKETIME_NO_CACHE", "1").env("FAKETIME_DONT_FAKE_MONOTONIC", "1"));
    program.line_of_type("listening");
    let mut steps = Vec::new();
    for (turn, by) in ["+0", "+7200", "-3600"].into_iter().enumerate() {
        set_clock(by);
        level.shoot(&format!("1.5{turn}000"), "20.00");
        program.readings(1);
    }
    assert_eq!(program.stop().code, 0);
    for event in events(folder, "tower.job") {
        match event.body {
            Body::ClockStepped { by_ms } => steps.push((by_ms as f64 / 3.6e6).round()),
            Body::LinkChanged { state } => panic!("{state:?}"),
            _ => {}
        }
    }
    assert_eq!(steps, [2.0, -3.0], "in hours");
    assert_eq!(kept(folder, "tower.job"), ["1.50000", "1.51000", "1.52000"]);
    run(folder, "replay tower.job").assert_good();
}

#[test]
fn a_program_that_was_frozen_has_lost_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    // At its own pace the line brings less in three seconds than a kernel holds for who does not read.
    let wire = Wire { baud: 9_600, bits: 10 };
    let place = Place::PseudoTerminal { link: Some(folder.join("port")) };
    let mut level = Level::with_tempo(folder, "comma", place, Tempo::Line(wire));
    let mut program = listen(folder, &level, "");
    let shots = shots(300);
    let frames = shots.iter().map(|(staff, sight)| Act::Send(level.frame(staff, sight))).collect();
    level.play(frames);
    program.readings(20);
    program.signal(Signal::STOP);
    // The one wait that is for no thing: time during which it does not live.
    std::thread::sleep(Duration::from_secs(3));
    program.signal(Signal::CONT);
    program.readings(shots.len() - 20);
    program.stop().assert_good();
    assert_eq!(kept(folder, "tower.job"), shots.into_iter().map(|(staff, _)| staff).collect::<Vec<_>>());
    assert_eq!(level.finish().undelivered, 0);
}

#[test]
fn a_format_file_that_changes_meanwhile_is_the_next_starts_matter() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let comma = closerun::protocol::shipped().iter().find(|(name, _)| *name == "comma").unwrap().1;
    fs::write(folder.join("mine.toml"), comma).unwrap();
    let port = BarePort::new();
    let arguments =
        format!("listen --port {} --format mine.toml --job tower.job --json --quiet --no-page", port.name());
    let mut program = Program::start(folder, &arguments);
    program.line_of_type("listening");
    port.write(b"R,1,,1.50000,20.00,\r\n");
    program.readings(1);
    // Half of a file, as an editor may leave it for a moment; then one that reads another kind of record.
    fs::write(folder.join("mine.toml"), &comma[..comma.len() / 2]).unwrap();
    port.write(b"R,2,,1.20000,20.00,\r\n");
    program.readings(1);
    fs::write(folder.join("mine.toml"), comma.replace("R,", "Q,")).unwrap();
    port.write(b"R,3,,1.40000,20.00,\r\n");
    program.readings(1);
    program.stop().assert_good();

    let mut program = Program::start(folder, &arguments);
    program.line_of_type("listening");
    port.write(b"Q,4,,1.30000,20.00,\r\n");
    program.readings(1);
    program.stop().assert_good();
    assert_eq!(kept(folder, "tower.job"), ["1.50000", "1.20000", "1.40000", "1.30000"]);
    let digests: Vec<String> = events(folder, "tower.job")
        .into_iter()
        .filter_map(|event| match event.body {
            Body::ListeningBegan { digest, .. } => Some(digest),
            _ => None,
        })
        .collect();
    assert!(
        digests.len() == 2 && digests[0] != digests[1],
        "by which file each was read is in the record: {digests:?}"
    );
}

#[test]
fn a_read_that_fails_once_is_an_outage_like_any_other() {
    if Command::new("strace").arg("-V").stdout(Stdio::null()).status().is_err() {
        assert!(std::env::var_os("CI").is_none(), "CI needs strace");
        println!("skipped: no strace, which lets one system call fail");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let port = BarePort::new();
    let mut traced = Command::new("strace");
    settle(&mut traced, folder);
    traced.args(["-qq", "-f", "-o", "/dev/null", "-e", "trace=read", "-P", port.name()]);
    traced.args(["-e", "inject=read:error=EIO:when=2", "--", env!("CARGO_BIN_EXE_closerun")]);
    traced.args(["listen", "--port", port.name(), "--format", "comma", "--job", "tower.job", "--json", "--quiet"]);
    let mut program = Program::of(traced.arg("--no-page"));
    program.line_of_type("listening");
    port.write(b"R,1,,1.50000,20.00,\r\n");
    program.readings(1);
    program.json_line("loss", |line| line["type"] == "link" && line["state"] == "lost");
    program.json_line("return", |line| line["type"] == "link" && line["state"] == "open");
    port.write(b"R,2,,1.20000,20.00,\r\n");
    program.readings(1);
    // The program itself is told to stop, and its tracer ends with it.
    let tracer = program.id();
    let traced = fs::read_to_string(format!("/proc/{tracer}/task/{tracer}/children")).unwrap();
    let traced = Pid::from_raw(traced.trim().parse().expect("one child")).unwrap();
    rustix::process::kill_process(traced, Signal::TERM).unwrap();
    program.end().assert_good();
    assert_eq!(kept(folder, "tower.job"), ["1.50000", "1.20000"]);
}
