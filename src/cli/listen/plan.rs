//! What the settings of one instrument come to: its link, its formats, its job file.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use super::named_by_time;
use crate::book::moment::Moment;
use crate::book::settings::Settings;
use crate::cli::{Failure, formats, ports, source};
use crate::config::{Config, Serial, Source};
use crate::daemon::Listener;
use crate::link::{self, LinkSpec, PortKind};
use crate::protocol::Format;

/// One instrument that is to be heard.
pub(super) struct Plan {
    pub(super) name: Option<String>,
    pub(super) spec: LinkSpec,
    pub(super) listener: Listener,
    pub(super) path: PathBuf,
    pub(super) settings: Settings,
    pub(super) quiet_after: Option<Duration>,
}

impl Plan {
    /// The plan for these settings; `now` names a job file that was not named.
    pub(super) fn of(config: Config, now: Moment) -> Result<Self, Failure> {
        let source = match &config.source {
            Some(source) => source.clone(),
            None => the_only_port()?,
        };
        let format = config.format.as_ref().map(formats::choose).transpose()?;
        let candidates = match &format {
            Some(format) => vec![Arc::clone(format)],
            None => formats::all()?,
        };
        let (spec, listener) = join(&source, config.serial, format, candidates)?;
        Ok(Plan {
            spec,
            listener,
            path: config.job.unwrap_or_else(|| named_by_time(now, config.name.as_deref())),
            name: config.name,
            settings: config.settings,
            quiet_after: config.quiet_after,
        })
    }

    /// A failure of this instrument, among several.
    pub(super) fn failed(&self, failure: Failure) -> Failure {
        match &self.name {
            Some(name) => failure.of(name),
            None => failure,
        }
    }
}

/// The link to open and the formats to hear it with. Without a named format only those are candidates whose serial
/// settings can be heard at the same time.
fn join(
    source: &Source,
    serial: Serial,
    format: Option<Arc<Format>>,
    candidates: Vec<Arc<Format>>,
) -> Result<(LinkSpec, Listener), Failure> {
    let spec = source::spec(source, serial, format.as_ref())?;
    let listener = match (format, &spec) {
        (Some(format), _) => Listener::named(format),
        (None, LinkSpec::Serial { settings, .. }) => {
            Listener::open(candidates.into_iter().filter(|format| formats::serial_of(format) == *settings))
        }
        (None, _) => Listener::open(candidates),
    };
    Ok((spec, listener))
}

/// The port, when only one is plugged in.
fn the_only_port() -> Result<Source, Failure> {
    // Ports that are part of the machine are there whether anything is plugged in or not.
    let plugged = |kind: &PortKind| !matches!(kind, PortKind::BuiltIn);
    let found: Vec<link::PortInfo> = link::ports().into_iter().filter(|port| plugged(&port.kind)).collect();
    match &found[..] {
        [port] => Ok(Source::Port(port.path.clone())),
        [] => Err(Failure::input(
            "no serial port is plugged in: plug the instrument in, or name a source with --port, --ble, --tcp, --stdin or --capture",
        )),
        several => {
            let list: Vec<String> = several.iter().flat_map(ports::lines).map(|line| format!("\n  {line}")).collect();
            Err(Failure::input(format!("several serial ports are plugged in, name one with --port:{}", list.concat())))
        }
    }
}
