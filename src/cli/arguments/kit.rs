//! The arguments of the integrator's kit.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::SerialFlags;
use crate::config::{Given, Said};
use crate::protocol::draft::Seen;

/// Arguments of `capture`.
#[derive(Debug, Args)]
#[command(allow_missing_positional = true)]
pub(in crate::cli) struct Capture {
    /// Serial port to record
    #[arg(value_name = "PORT", required_unless_present_any = ["tcp", "ble"], conflicts_with_all = ["tcp", "ble"])]
    port: Option<String>,
    /// The capture to make; it must not be there yet
    #[arg(value_name = "FILE", required = true)]
    pub(in crate::cli) file: PathBuf,
    /// Record a Bluetooth Low Energy device, by the service that the format names
    #[arg(long, value_name = "NAME|ADDRESS", help_heading = "Link", requires = "format", conflicts_with = "tcp")]
    ble: Option<String>,
    /// Record a serial converter on the network
    #[arg(long, value_name = "HOST:PORT", help_heading = "Link")]
    tcp: Option<String>,
    #[command(flatten)]
    serial: SerialFlags,
    /// Set the port as this format has it: a name or a file. Nothing else of the format is used
    #[arg(long, value_name = "NAME|FILE", help_heading = "Link")]
    format: Option<String>,
    /// Send what the format says, its greeting, polls and answers. Without it nothing is sent
    #[arg(long, requires = "format", help_heading = "Link")]
    talk: bool,
    /// Stop after so long; without it, at Ctrl-C
    #[arg(long = "for", value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..))]
    pub(in crate::cli) seconds: Option<u32>,
}

impl Capture {
    /// The format by which the instrument is asked and answered, if it is.
    pub(in crate::cli) fn talks_as(&self) -> Option<&str> {
        self.format.as_deref().filter(|_| self.talk)
    }

    /// The link as settings.
    pub(in crate::cli) fn given(self) -> Given {
        Given {
            port: self.port.map(|port| Said::flag("PORT", port)),
            ble: self.ble.map(|device| Said::flag("--ble", device)),
            tcp: self.tcp.map(|address| Said::flag("--tcp", address)),
            format: self.format.map(|format| Said::flag("--format", format)),
            serial: self.serial.given(),
            ..Given::default()
        }
    }
}

/// Arguments of `simulate`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Simulate {
    /// The format that it speaks: a name (see formats) or a file
    #[arg(value_name = "FORMAT")]
    pub(in crate::cli) format: String,
    /// A name for its port: a symbolic link to the pseudo-terminal
    #[arg(long, value_name = "PATH", conflicts_with = "tcp")]
    pub(in crate::cli) at: Option<PathBuf>,
    /// Be heard on a TCP port instead of a pseudo-terminal; port 0 takes a free one
    #[arg(long, value_name = "HOST:PORT")]
    pub(in crate::cli) tcp: Option<String>,
    /// End after so many shots, on the point of the first; without it, at Ctrl-C
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..))]
    pub(in crate::cli) shots: Option<u32>,
    /// Seed of the run, its noise and its faults: the same seed gives the same bytes
    #[arg(long, default_value_t = 1, value_name = "NUMBER")]
    pub(in crate::cli) seed: u64,
    /// How many times faster than a crew works
    #[arg(long, default_value_t = 12.0, value_name = "FACTOR", value_parser = speed)]
    pub(in crate::cli) speed: f64,
    /// Send feet, where the format can
    #[arg(long)]
    pub(in crate::cli) feet: bool,
    #[command(flatten)]
    pub(in crate::cli) faults: Faults,
}

/// How often what goes wrong.
#[derive(Debug, Args)]
#[command(next_help_heading = "Faults, each as a probability a record")]
pub(in crate::cli) struct Faults {
    /// One or two bytes are changed
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) damage: f64,
    /// The end is missing
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) truncate: f64,
    /// It is sent a second time
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) repeat: f64,
    /// Noise comes before it
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) noise: f64,
    /// It comes after a silence of 20 s
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) silence: f64,
    /// It is held back and sent in one go with the next
    #[arg(long, default_value_t = 0.0, value_name = "SHARE", value_parser = probability)]
    pub(in crate::cli) burst: f64,
}

/// A factor that a crew can be followed at, and that a second of a run does not take an hour at.
pub(super) fn speed(text: &str) -> Result<f64, String> {
    number_within(text, 0.1, 1000.0, "a factor")
}

fn probability(text: &str) -> Result<f64, String> {
    number_within(text, 0.0, 1.0, "a share")
}

fn number_within(text: &str, least: f64, most: f64, what: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| format!("{what} from {least} to {most} was wanted"))
}

/// Arguments of `format`.
#[derive(Debug, Args)]
pub(in crate::cli) struct FormatKit {
    #[command(subcommand)]
    pub(in crate::cli) verb: FormatVerb,
}

/// What to do with a record format.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum FormatVerb {
    /// Check format files, and say what they deliver and what they cannot
    Check(FormatCheck),
    /// Hold a format against a capture or a live port: every frame, and what each part was taken for
    Try(Box<FormatTry>),
    /// Propose a format from a capture and a few readings as the instrument's display showed them
    Draft(FormatDraft),
    /// Print the JSON Schema of the format language, for editors
    Schema,
    /// Print the reference page of the format language, as Markdown
    Reference,
}

/// Arguments of `format check`.
#[derive(Debug, Args)]
pub(in crate::cli) struct FormatCheck {
    /// Format files, or names of shipped formats
    #[arg(value_name = "FILE", required = true)]
    pub(in crate::cli) files: Vec<String>,
    /// One JSON object a file instead of text
    #[arg(long)]
    pub(in crate::cli) json: bool,
}

/// Arguments of `format try`.
#[derive(Debug, Args)]
pub(in crate::cli) struct FormatTry {
    /// The format: a file, or the name of a shipped one
    #[arg(value_name = "FILE")]
    pub(in crate::cli) format: String,
    /// A capture, or a file of bare bytes
    #[arg(
        value_name = "CAPTURE",
        required_unless_present_any = ["port", "ble", "tcp"],
        conflicts_with_all = ["port", "ble", "tcp"]
    )]
    pub(in crate::cli) capture: Option<PathBuf>,
    /// Try it on this serial port; what the format says is sent
    #[arg(long, value_name = "PATH", help_heading = "Link", conflicts_with_all = ["ble", "tcp"])]
    port: Option<String>,
    /// Try it on a Bluetooth Low Energy device
    #[arg(long, value_name = "NAME|ADDRESS", help_heading = "Link", conflicts_with = "tcp")]
    ble: Option<String>,
    /// Try it on a serial converter on the network
    #[arg(long, value_name = "HOST:PORT", help_heading = "Link")]
    tcp: Option<String>,
    #[command(flatten)]
    serial: SerialFlags,
    /// Which frames are shown; the summary always is
    #[arg(long, value_enum, default_value_t = Shown::All)]
    pub(in crate::cli) show: Shown,
    /// One JSON object a line instead of text
    #[arg(long)]
    pub(in crate::cli) json: bool,
}

/// Arguments of `format draft`.
#[derive(Debug, Args)]
pub(in crate::cli) struct FormatDraft {
    /// A capture, or a file of bare bytes
    #[arg(value_name = "CAPTURE")]
    pub(in crate::cli) capture: PathBuf,
    /// A reading as the display showed it, and the distance if it is known: 1.2834/31.42, 4.211ft/103.1ft. In the order
    /// in which they were shot; others may lie between
    #[arg(long, value_name = "READING/SIGHT", required = true, num_args = 1.., value_parser = Seen::parse)]
    pub(in crate::cli) seen: Vec<Seen>,
    /// Write the draft to this file; it must not be there yet
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) to: Option<PathBuf>,
}

/// Which frames are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum Shown {
    /// Every one
    All,
    /// Those that were refused, or are not whole
    Refused,
    /// None
    None,
}

impl FormatTry {
    /// The live link as settings.
    pub(in crate::cli) fn given(self) -> Given {
        Given {
            port: self.port.map(|port| Said::flag("--port", port)),
            ble: self.ble.map(|device| Said::flag("--ble", device)),
            tcp: self.tcp.map(|address| Said::flag("--tcp", address)),
            serial: self.serial.given(),
            ..Given::default()
        }
    }
}
