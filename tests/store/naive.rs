//! Writers that break the promises on purpose, so that the tests are seen to notice: they acknowledge before the commit
//! has returned, use `synchronous=NORMAL`, or go on after an error as if nothing had been.
//!
//! They use SQL of their own and nothing of the store but its way to compute a hash, which they leave out too.

use std::env;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};

use crate::child::Acknowledgement;

/// Which promise the naive writer breaks.
pub(crate) const BREAKS: &str = "CLOSERUN_NAIVE";

fn connect(path: &Path, synchronous: &str) -> Connection {
    let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_WRITE).unwrap();
    connection.execute_batch(&format!("PRAGMA synchronous = {synchronous}; PRAGMA wal_autocheckpoint = 0")).unwrap();
    connection
}

fn insert(connection: &Connection, seq: u64) -> rusqlite::Result<usize> {
    connection.execute(
        "INSERT INTO event VALUES (?1, '', 'listening-ended', 0, '{\"kind\":\"listening-ended\"}', x'', zeroblob(32))",
        [seq as i64],
    )
}

fn last(connection: &Connection) -> u64 {
    connection.query_row("SELECT ifnull(max(seq), 0) FROM event", [], |row| row.get::<_, i64>(0)).unwrap() as u64
}

/// Appends for ever.
pub(crate) fn stream(path: &Path, say: &impl Fn(String)) {
    let breaks = env::var(BREAKS).unwrap();
    let connection = connect(path, if breaks == "normal" { "NORMAL" } else { "FULL" });
    for seq in last(&connection) + 1.. {
        if breaks == "early" {
            say(Acknowledgement::now(seq).say());
        }
        if let Err(error) = insert(&connection, seq) {
            return say(error.to_string());
        }
        say(Acknowledgement::now(seq).say());
    }
}

/// Appends at each order, and takes no error seriously: tries again, or says that it is done.
pub(crate) fn obey(path: &Path, orders: impl Fn() -> Option<String>, say: &impl Fn(String)) {
    let breaks = env::var(BREAKS).unwrap();
    let connection = connect(path, if breaks == "normal" { "NORMAL" } else { "FULL" });
    let mut seq = last(&connection);
    say(format!("ok {seq}"));
    while orders().is_some_and(|order| order != "close") {
        seq += 1;
        if insert(&connection, seq).is_err() && breaks == "retry" {
            let _ = insert(&connection, seq);
        }
        say(format!("ok {seq}"));
    }
    say("OneFile".into());
}
