//! A D-Bus daemon of a test's own.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// A running daemon. Dropped, it is killed.
pub(crate) struct Bus {
    daemon: Child,
    address: String,
}

impl Bus {
    /// Starts one whose socket lies in `folder`. `None`, with the reason printed, where there is no daemon to start; where
    /// all tests must run, there has to be.
    pub(crate) fn start(folder: &Path) -> Option<Self> {
        let (config, socket) = (folder.join("bus.conf"), folder.join("bus.sock"));
        std::fs::write(&config, CONFIG.replace("SOCKET", &socket.display().to_string())).unwrap();
        let mut command = Command::new("dbus-daemon");
        command.arg("--config-file").arg(&config).args(["--nofork", "--nopidfile", "--print-address=1"]);
        // It says on standard error that it may not raise its own limits, which is so.
        let Ok(mut daemon) = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn() else {
            assert!(std::env::var("CI").as_deref() != Ok("true"), "dbus-daemon is wanted under CI=true");
            println!("skipped: no dbus-daemon");
            return None;
        };
        let mut address = String::new();
        BufReader::new(daemon.stdout.take().unwrap()).read_line(&mut address).unwrap();
        Some(Bus { daemon, address: address.trim().to_owned() })
    }

    pub(crate) fn address(&self) -> &str {
        &self.address
    }
}

impl Drop for Bus {
    fn drop(&mut self) {
        let _ = self.daemon.kill();
        let _ = self.daemon.wait();
    }
}

/// Everybody may say everything to everybody.
const CONFIG: &str = r#"<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path=SOCKET</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_type="method_call"/>
    <allow send_type="method_return"/>
    <allow send_type="error"/>
    <allow send_type="signal"/>
    <allow receive_type="method_call"/>
    <allow receive_type="method_return"/>
    <allow receive_type="error"/>
    <allow receive_type="signal"/>
  </policy>
</busconfig>
"#;
