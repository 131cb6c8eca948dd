//! A pseudo-terminal in the place of a cable: opened, unplugged, plugged in under another name, held by another.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::os::unix::fs::{PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use tokio::time::timeout;

use super::*;
use crate::link::{EventReceiver, Gone, LinkEvent, LinkHandle, Stop, reader, spawn};

/// An instrument's end of a line. The line's other end is kept raw, as a cable is.
struct Line {
    far: File,
    /// Keeps what was written while nobody listens.
    _near: File,
    path: PathBuf,
}

impl Line {
    fn new() -> Self {
        let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&far).unwrap();
        unlockpt(&far).unwrap();
        let path = PathBuf::from(ptsname(&far, Vec::new()).unwrap().into_string().unwrap());
        let near = File::options().read(true).write(true).open(&path).unwrap();
        let mut settings = tcgetattr(&near).unwrap();
        settings.make_raw();
        tcsetattr(&near, OptionalActions::Now, &settings).unwrap();
        Line { far: far.into(), _near: near, path }
    }

    /// Unplugs the line for good.
    fn unplug(self) {}
}

/// A listener with a by-id directory and a registry of the test's own.
struct Listener {
    events: EventReceiver,
    handle: LinkHandle,
    dir: tempfile::TempDir,
}

impl Listener {
    fn new(path: &Path) -> Self {
        Listener::in_dir(path, tempfile::tempdir().unwrap())
    }

    fn in_dir(path: &Path, dir: tempfile::TempDir) -> Self {
        let registry = Registry::at(dir.path().join("simulated"));
        let settings = SerialSettings::at(9600);
        let path = path.to_str().unwrap().to_owned();
        let source = SerialSource::new(path, settings, dir.path().join("by-id"), Some(registry));
        let stop = Stop::new();
        let (handle, outgoing) = LinkHandle::new(stop.clone());
        let events = spawn(async move |events| reader::drive(source, events, outgoing, &stop).await);
        Listener { events, handle, dir }
    }

    async fn next(&mut self) -> Result<LinkEvent, Gone> {
        timeout(Duration::from_secs(20), self.events.recv()).await.expect("something happens within 20 s")
    }

    async fn expect_opened(&mut self, path: &Path) {
        let what = format!("serial {} 9600 8N1", path.display());
        assert_eq!(self.next().await, Ok(LinkEvent::Opened { what, simulated: Simulated::No }));
    }

    async fn expect_bytes(&mut self, wanted: &[u8]) {
        let mut heard = Vec::new();
        while heard.len() < wanted.len() {
            match self.next().await {
                Ok(LinkEvent::Chunk { bytes, .. }) => heard.extend(bytes),
                other => panic!("{other:?} after {} of {} bytes", heard.len(), wanted.len()),
            }
        }
        assert!(heard == wanted, "the bytes sent are the bytes heard");
    }

    async fn expect_lost(&mut self) {
        match self.next().await {
            Ok(LinkEvent::Lost { why }) => assert_eq!(why, SerialSource::CLOSED),
            other => panic!("{other:?}"),
        }
    }

    async fn expect_waiting(&mut self) -> Trouble {
        match self.next().await {
            Ok(LinkEvent::Waiting { why }) => why,
            other => panic!("{other:?}"),
        }
    }
}

fn link_to(target: &Path, link: &Path) {
    fs::create_dir_all(link.parent().unwrap()).unwrap();
    let half = link.with_extension("half");
    symlink(target, &half).unwrap();
    fs::rename(half, link).unwrap();
}

#[tokio::test]
async fn every_byte_arrives_unchanged_those_sent_before_the_open_included() {
    let mut line = Line::new();
    line.far.write_all(b"early\r\n").unwrap();
    let mut listener = Listener::new(&line.path);
    listener.expect_opened(&line.path).await;
    listener.expect_bytes(b"early\r\n").await;
    let all: Vec<u8> = (0..200_000u32).map(|i| (i * 7 + i / 256) as u8).collect();
    let sent = all.clone();
    let mut far = line.far.try_clone().unwrap();
    let writer = tokio::task::spawn_blocking(move || far.write_all(&sent).unwrap());
    listener.expect_bytes(&all).await;
    writer.await.unwrap();
}

#[tokio::test]
async fn an_answer_arrives_and_a_stop_frees_the_port() {
    let mut line = Line::new();
    let mut listener = Listener::new(&line.path);
    listener.expect_opened(&line.path).await;
    listener.handle.send(b"\x06".to_vec()).unwrap();
    let mut answer = [0; 1];
    line.far.read_exact(&mut answer).unwrap();
    assert_eq!(&answer, b"\x06");
    line.far.write_all(b"half a rec").unwrap();
    listener.handle.stop();
    listener.expect_bytes(b"half a rec").await;
    assert_eq!(listener.next().await, Err(Gone::Ended));
    Listener::new(&line.path).expect_opened(&line.path).await;
}

#[tokio::test]
async fn an_unplugged_line_is_lost_at_once_waited_for_and_taken_up_again() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("port");
    let mut line = Line::new();
    link_to(&line.path, &path);
    let mut listener = Listener::new(&path);
    listener.expect_opened(&path).await;
    line.far.write_all(b"half").unwrap();
    listener.expect_bytes(b"half").await;
    let unplugged = std::time::Instant::now();
    line.unplug();
    listener.expect_lost().await;
    assert!(unplugged.elapsed() < Duration::from_secs(1));
    // The name is still there and leads to nothing.
    assert_eq!(listener.expect_waiting().await, Trouble::Missing { what: format!("serial port {}", path.display()) });
    let mut line = Line::new();
    link_to(&line.path, &path);
    let plugged_in = std::time::Instant::now();
    listener.expect_opened(&path).await;
    assert!(plugged_in.elapsed() < Duration::from_secs(3));
    line.far.write_all(b"whole\n").unwrap();
    listener.expect_bytes(b"whole\n").await;
}

#[tokio::test]
async fn a_port_that_is_not_there_at_the_start_is_picked_up_when_it_comes() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("port");
    let mut listener = Listener::new(&path);
    assert!(matches!(listener.expect_waiting().await, Trouble::Missing { .. }));
    let line = Line::new();
    link_to(&line.path, &path);
    listener.expect_opened(&path).await;
}

#[tokio::test]
async fn a_port_in_use_is_not_called_missing_and_its_holder_is_named() {
    let line = Line::new();
    let mut first = Listener::new(&line.path);
    first.expect_opened(&line.path).await;
    let mut second = Listener::new(&line.path);
    let by = Some(format!("this very program (process {})", std::process::id()));
    let what = format!("serial port {}", line.path.display());
    assert_eq!(second.expect_waiting().await, Trouble::InUse { what, by });
    first.handle.stop();
    assert_eq!(first.next().await, Err(Gone::Ended));
    second.expect_opened(&line.path).await;
}

#[tokio::test]
async fn a_plain_file_is_no_port() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let trouble = Listener::new(file.path()).expect_waiting().await;
    assert!(trouble.to_string().ends_with("it is a file and no port; to play a capture, name it as one"), "{trouble}");
}

/// Root may open everything, so as root the test runs itself once more as another user.
#[cfg(target_os = "linux")]
#[tokio::test]
async fn a_port_that_others_may_open_names_its_group() {
    const PORT: &str = "CLOSERUN_TEST_REFUSED_PORT";
    if let Ok(port) = std::env::var(PORT) {
        // It is tried again until it may be opened, and what keeps it closed is said once.
        let dir = tempfile::tempdir().unwrap();
        let name = dir.path().join("port");
        link_to(Path::new(&port), &name);
        let mut listener = Listener::new(&name);
        let trouble = listener.expect_waiting().await;
        assert!(matches!(&trouble, Trouble::NotAllowed { group: Some(_), .. }), "{trouble:?}");
        assert!(trouble.to_string().contains("members of the group"), "{trouble}");
        tokio::time::sleep(Duration::from_secs(5)).await;
        let ours = Line::new();
        link_to(&ours.path, &name);
        listener.expect_opened(&name).await;
        return;
    }
    let line = Line::new();
    fs::set_permissions(&line.path, fs::Permissions::from_mode(0o060)).unwrap();
    if rustix::process::geteuid().is_root() {
        let name = "link::serial::tests::a_port_that_others_may_open_names_its_group";
        let nobody = 65534;
        // By this name even that user may run it, wherever it lies.
        let run = std::process::Command::new("/proc/self/exe")
            .args(["--exact", name, "--nocapture"])
            .env(PORT, &line.path)
            .env("TMPDIR", "/tmp")
            .current_dir("/")
            .uid(nobody)
            .gid(nobody)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&run.stdout);
        assert!(run.status.success() && said.contains("1 passed"), "{said}{}", String::from_utf8_lossy(&run.stderr));
    } else {
        // The owner is asked by the owner's bits, which forbid it.
        let trouble = Listener::new(&line.path).expect_waiting().await;
        assert!(matches!(&trouble, Trouble::NotAllowed { group: Some(_), .. }), "{trouble:?}");
    }
}

#[tokio::test]
async fn an_adapter_is_followed_to_another_number_and_not_mistaken_for_another() {
    let dir = tempfile::tempdir().unwrap();
    let (level, other) = (dir.path().join("by-id/usb-level"), dir.path().join("by-id/usb-other"));
    let path = dir.path().join("ttyUSB0");
    let line = Line::new();
    link_to(&line.path, &path);
    link_to(&line.path, &level);
    let mut listener = Listener::in_dir(&path, dir);
    listener.expect_opened(&path).await;

    // Another device takes the number before ours is back.
    let mut stranger = Line::new();
    fs::remove_file(&level).unwrap();
    link_to(&stranger.path, &path);
    link_to(&stranger.path, &other);
    stranger.far.write_all(b"not ours\n").unwrap();
    line.unplug();
    listener.expect_lost().await;
    let trouble = listener.expect_waiting().await;
    let what = format!("serial port {}", path.display());
    assert_eq!(trouble, Trouble::AnotherDevice { what, wanted: "usb-level".into() });

    let mut line = Line::new();
    link_to(&line.path, &level);
    listener.expect_opened(&line.path).await;
    let remark = format!("ttyUSB0 is {} now", line.path.display());
    assert_eq!(listener.next().await, Ok(LinkEvent::Warned { what: remark }));
    line.far.write_all(b"ours\n").unwrap();
    listener.expect_bytes(b"ours\n").await;
    assert!(listener.dir.path().exists());
}

#[tokio::test]
async fn a_registered_port_is_known_to_be_simulated() {
    let line = Line::new();
    let dir = tempfile::tempdir().unwrap();
    let registry = Registry::at(dir.path().join("simulated"));
    let _registration = registry.register(line.path.to_str().unwrap(), "a level").unwrap();
    let by_another_name = dir.path().join("port");
    link_to(&line.path, &by_another_name);
    let mut listener = Listener::in_dir(&by_another_name, dir);
    assert!(matches!(listener.next().await, Ok(LinkEvent::Opened { simulated: Simulated::Yes, .. })));
}

#[cfg(target_os = "linux")]
#[tokio::test]
async fn a_lost_port_costs_no_processor_time() {
    let cpu = || {
        let stat = fs::read_to_string("/proc/thread-self/stat");
        // Fields 14 and 15, in ticks of which there are 100 a second on Linux.
        let ticks: u64 = stat
            .unwrap()
            .rsplit_once(')')
            .unwrap()
            .1
            .split(' ')
            .skip(12)
            .take(2)
            .map(|t| t.parse::<u64>().unwrap())
            .sum();
        Duration::from_millis(ticks * 10)
    };
    let line = Line::new();
    let source = SerialSource::new(line.path.to_str().unwrap().into(), SerialSettings::at(9600), PathBuf::new(), None);
    let (sender, mut receiver) = crate::link::queue();
    let stop = Stop::new();
    let (_handle, outgoing) = LinkHandle::new(stop.clone());
    let unplugged = async {
        assert!(matches!(receiver.recv().await, Ok(LinkEvent::Opened { .. })));
        line.unplug();
        let before = cpu();
        let absent = Duration::from_secs(2);
        tokio::time::sleep(absent).await;
        let used = cpu() - before;
        assert!(used < absent / 20, "{used:?} of {absent:?}");
        assert!(matches!(receiver.recv().await, Ok(LinkEvent::Lost { .. })));
        stop.ask();
    };
    // On one thread, whose time is measured.
    tokio::join!(reader::drive(source, &sender, outgoing, &stop), unplugged);
}

/// Without a radio only what the library would say is at hand.
#[test]
fn a_port_of_classic_bluetooth_that_does_not_connect_says_so() {
    use tokio_serial::{Error, ErrorKind};
    let said = |path: &str, kind, description: &str| {
        trouble(in_words(Path::new(path)), Path::new(path), None, &Error::new(kind, description)).to_string()
    };
    let missing = ErrorKind::Io(std::io::ErrorKind::NotFound);
    assert_eq!(
        said("/dev/rfcomm0", missing, "No such file or directory"),
        "serial port /dev/rfcomm0 does not answer (it is bound to no device: `sudo rfcomm bind 0 ADDRESS`): check that \
         it is switched on, and its address and port"
    );
    assert_eq!(
        said("/dev/rfcomm0", ErrorKind::Unknown, "Host is down"),
        "serial port /dev/rfcomm0 does not answer (Host is down): check that it is switched on, and its address and port"
    );
    assert_eq!(
        said("/dev/ttyUSB0", missing, "No such file or directory"),
        "serial port /dev/ttyUSB0 is not there: plug it in, or check the name"
    );
}
