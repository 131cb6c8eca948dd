//! The network between a browser and the program, which can go dead without either being told.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};

/// What passes on at once.
const PIECE: usize = 16 * 1024;

/// A port that passes on to another while it is alive. While it is dead nothing passes, and nothing is refused either.
pub(crate) struct Wire {
    pub(crate) port: u16,
    gate: Arc<Gate>,
}

#[derive(Default)]
struct Gate {
    dead: Mutex<bool>,
    changed: Condvar,
}

impl Wire {
    /// A wire to this port. Who asks for the wire's port asks there for the port behind it.
    pub(crate) fn to(port: u16) -> Wire {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let own = listener.local_addr().unwrap().port();
        let gate = Arc::new(Gate::default());
        let held = Arc::clone(&gate);
        std::thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                held.wait();
                let Ok(far) = TcpStream::connect(("127.0.0.1", port)) else { continue };
                let names = [format!("127.0.0.1:{own}").into_bytes(), format!("127.0.0.1:{port}").into_bytes()];
                let (to, from) = (copies(&near, &far), copies(&far, &near));
                let (up, down) = (Arc::clone(&held), Arc::clone(&held));
                std::thread::spawn(move || pass(to, &up, |piece| renamed(piece, &names)));
                std::thread::spawn(move || pass(from, &down, <[u8]>::to_vec));
            }
        });
        Wire { port: own, gate }
    }

    /// Whether anything passes.
    pub(crate) fn alive(&self, is: bool) {
        *self.gate.dead.lock().unwrap() = !is;
        self.gate.changed.notify_all();
    }
}

impl Gate {
    fn wait(&self) {
        let dead = self.dead.lock().unwrap();
        drop(self.changed.wait_while(dead, |dead| *dead).unwrap());
    }
}

fn copies(from: &TcpStream, to: &TcpStream) -> (TcpStream, TcpStream) {
    (from.try_clone().unwrap(), to.try_clone().unwrap())
}

fn pass((mut from, mut to): (TcpStream, TcpStream), gate: &Gate, change: impl Fn(&[u8]) -> Vec<u8>) {
    let mut piece = vec![0; PIECE];
    while let Ok(count @ 1..) = from.read(&mut piece) {
        gate.wait();
        if to.write_all(&change(&piece[..count])).is_err() {
            break;
        }
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}

/// The name of the wire as the name of what is behind it: the program answers to its own alone.
fn renamed(piece: &[u8], [near, far]: &[Vec<u8>; 2]) -> Vec<u8> {
    let mut text = Vec::with_capacity(piece.len());
    let mut rest = piece;
    while let Some(at) = rest.windows(near.len()).position(|window| window == near) {
        text.extend_from_slice(&rest[..at]);
        text.extend_from_slice(far);
        rest = &rest[at + near.len()..];
    }
    text.extend_from_slice(rest);
    text
}
