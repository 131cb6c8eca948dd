//! Who must not be heard: other hosts, other sites, forms, and browsers that are not paired.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};

use serde_json::Value;

use super::run::{Run, connect, request};

const STRIKE: &str = r#"{"say":["strike","1"]}"#;

/// Asks at `port` for everything that the run describes, as strangers do.
///
/// # Errors
/// What was heard though it must not be.
pub(crate) fn refuses_strangers(port: u16, run: &Run) -> Result<(), String> {
    let document: Value = serde_json::from_str(&run.get("/v1/openapi.json").body).unwrap();
    let mut paths: Vec<String> = document["paths"].as_object().unwrap().keys().cloned().collect();
    paths.extend(["/", "/operator", "/instruments/a/staff", "/page.js", "/nothing"].map(str::to_owned));
    let (host, own) = (run.host(), format!("http://{}", run.host()));
    let json = ("Content-Type", "application/json");
    let refused = |method: &str, path: &str, headers: &[(&str, &str)]| {
        let status = request(port, method, path, headers, STRIKE).status;
        if status == 403 { Ok(()) } else { Err(format!("{method} {path} {headers:?} was answered with {status}")) }
    };
    for path in &paths {
        let path = path.replace("{plot}", "profile.svg").replace("{instrument}", "a");
        for method in ["GET", "POST", "PUT", "DELETE", "OPTIONS"] {
            refused(method, &path, &[("Host", "example.org")])?;
            refused(method, &path, &[("Host", "example.org"), ("Origin", "http://example.org"), json])?;
            refused(method, &path, &[("Host", &host), ("Origin", "http://example.org"), json])?;
            refused(method, &path, &[("Host", &host), ("Origin", "null"), json])?;
        }
    }
    for say in ["/v1/say", "/v1/instruments/a/say"] {
        refused("POST", say, &[("Host", &host), ("Origin", &own), json])?;
        refused("POST", say, &[("Host", &host), ("Origin", &own), ("Content-Type", "text/plain")])?;
        refused("POST", say, &[("Host", &host), json])?;
        refused("POST", say, &[("Host", &host), ("Origin", &own), json, ("Cookie", "closerun=1; closerun-1=2")])?;
    }
    Ok(())
}

/// A door without a guard: what it passes on to the page says that it comes from the page itself. Gives its port.
pub(crate) fn unguarded(run: &Run) -> u16 {
    let door = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = door.local_addr().unwrap().port();
    let (own, host) = (run.port, run.host());
    std::thread::spawn(move || {
        for stranger in door.incoming().map_while(Result::ok) {
            // Whoever gives up early has seen enough.
            let _ = launder(stranger, own, &host);
        }
    });
    port
}

fn launder(mut stranger: TcpStream, own: u16, host: &str) -> std::io::Result<()> {
    let mut asked = Vec::new();
    let mut part = [0; 4096];
    let head = loop {
        let read = stranger.read(&mut part)?;
        asked.extend_from_slice(&part[..read]);
        let text = String::from_utf8_lossy(&asked).into_owned();
        // Every request of these tests has the same body, so what of it has come by now need not be kept.
        if let Some((head, _)) = text.split_once("\r\n\r\n") {
            break head.to_owned();
        }
        if read == 0 {
            return Ok(());
        }
    };
    let is = |line: &str, name: &str| line.split(':').next().is_some_and(|found| found.eq_ignore_ascii_case(name));
    let kept = head.lines().filter(|line| !is(line, "host") && !is(line, "origin") && !is(line, "content-type"));
    let mut clean: Vec<String> = kept.map(str::to_owned).collect();
    clean.push(format!("Host: {host}"));
    clean.push(format!("Origin: http://{host}"));
    clean.push("Content-Type: application/json".to_owned());
    let mut to = connect(own);
    to.write_all(format!("{}\r\n\r\n{STRIKE}", clean.join("\r\n")).as_bytes())?;
    let mut answer = Vec::new();
    to.read_to_end(&mut answer)?;
    stranger.write_all(&answer)
}
