//! A capture, or a file of bare bytes, read as it goes by.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use super::{Stopped, Trial};
use crate::book::moment::Moment;
use crate::cli::Failure;
use crate::link::{CaptureError, CaptureReader, Captured, Simulated};

/// What is read of the file at once. Bare bytes come in chunks of this, whatever the bytes' own chunks were.
const READ_BYTES: usize = 64 * 1024;

/// Holds the whole file against the format.
pub(super) fn play(path: &Path, trial: &mut Trial) -> Result<(), Stopped> {
    let refused = |why: String| Stopped::Failed(Failure::input(format!("capture {}: {why}", path.display())));
    let file = File::open(path).map_err(|error| refused(error.to_string()))?;
    let mut reader =
        CaptureReader::new(BufReader::with_capacity(READ_BYTES, file)).map_err(|error| refused(error.to_string()))?;
    let (began, simulated) = match reader.header() {
        Some(header) => (Moment::from_us(header.began_us), header.simulated),
        // Nobody knows when bare bytes came.
        None => (Moment::default(), false),
    };
    if let Some(header) = reader.header() {
        let heard = format!("{}, begun {began}", header.link);
        trial.note(&heard)?;
    }
    trial.opened(began, if simulated { Simulated::Yes } else { Simulated::No });
    let mut now = began;
    // After an outage nobody knows when the link was open again: what comes first may be the tail of a record.
    let mut anew = false;
    loop {
        match reader.next(|| began.us()) {
            Ok(None) => break,
            Ok(Some(Captured::Bytes { at_us, bytes })) => {
                now = Moment::from_us(at_us);
                if std::mem::take(&mut anew) {
                    trial.opened(now, Simulated::No);
                }
                // What the instrument was answered then is not in the capture.
                trial.push(&bytes, now)?;
            }
            Ok(Some(Captured::Gap { at_us, why })) => {
                now = Moment::from_us(at_us);
                trial.silence(now)?;
                trial.closed(now)?;
                trial.note(&format!("gap: {why}"))?;
                anew = true;
            }
            // Bytes are missing here, so nothing may be glued over the place.
            Err(error @ CaptureError::Line { .. }) => {
                trial.closed(now)?;
                trial.note(&error.to_string())?;
                anew = true;
            }
            Err(error) => return Err(refused(error.to_string())),
        }
    }
    trial.closed(now)
}
