//! The arguments as clap sees them, and the settings among them as [`Given`].

mod field;
mod installing;
mod kit;
mod network;
mod report;

use std::path::PathBuf;

use clap::{ArgAction, Args, Parser, Subcommand, ValueEnum};

use crate::config::{ClassGiven, Given, Said, SerialGiven};
pub(super) use field::{Activity, Cards, Desk, Marks, MarksVerb, Set, SetVerb, Today};
pub(super) use installing::{Completions, Man, Service, ServiceFile};
pub(super) use kit::{Capture, Faults, FormatCheck, FormatDraft, FormatKit, FormatTry, FormatVerb, Shown, Simulate};
pub(super) use network::{Adjust, Plan, ShownAs, SigmaFlag, WeightFlags, Weights};
pub(super) use report::{PaperSize, Report};

/// Listens to a digital level, keeps the level book while the shots arrive, and says hold before the legs are lifted.
#[derive(Debug, Parser)]
#[command(name = "closerun", version, max_term_width = 100, arg_required_else_help = true)]
pub(super) struct Arguments {
    #[command(subcommand)]
    pub(super) verb: Verb,
    #[command(flatten)]
    pub(super) logging: Logging,
}

/// What is logged, and where.
#[derive(Debug, Args)]
#[command(next_help_heading = "Log")]
pub(super) struct Logging {
    /// Log more to standard error: -v what happens, -vv every chunk
    #[arg(short, long = "verbose", action = ArgAction::Count, global = true)]
    pub(super) verbose: u8,
    /// Log to this file too, as JSON lines
    #[arg(long, value_name = "FILE", global = true)]
    pub(super) log: Option<PathBuf>,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(super) enum Verb {
    /// A loop through an invented building on a simulated level, start to close
    Demo(Demo),
    /// Listen to an instrument and keep the book
    Listen(Box<Listen>),
    /// Say something to a running listen: strike, repeat, point, note, ...
    Tell(Tell),
    /// List the serial ports that are plugged in, or what is heard over Bluetooth
    Ports(Ports),
    /// Print the field book of a job
    Book(Book),
    /// The report of a job for its file: PDF, spreadsheet, tables, drawings
    Report(Report),
    /// Why a run does not close, the likeliest single mistake first
    Explain(Explain),
    /// What is due today, open, provisional and checked
    Today(Today),
    /// Print a card for each set target: what it stands for, how well it is known, what it hangs on
    Cards(Cards),
    /// Test the level: two-peg, or the field test of ISO 17123-2
    Test(Activity),
    /// Known marks: list, share, check one against another, compare two epochs
    Marks(Marks),
    /// Targets: lists of design elevations, grades, cut and fill, how set targets stand
    Set(Set),
    /// Carry a height up a suspended steel tape: FROM TO nominal L certified L plummet W temperature T
    Tape(Activity),
    /// Cross a gap from both banks: FROM TO DISTANCE [xSETS]
    Reciprocal(Activity),
    /// Adjust the runs of jobs, and plain networks, by least squares
    Adjust(Box<Adjust>),
    /// What intended runs would give, and which extra run would help most
    Plan(Plan),
    /// Recompute a job from its raw bytes and compare
    Replay(Replay),
    /// Check that a job's record is as it was kept
    Verify(Verify),
    /// Copy a job, also while it is being recorded
    Backup(Backup),
    /// Record what arrives on a port, byte for byte and when, to be played again
    Capture(Capture),
    /// A simulated instrument on a pseudo-terminal or TCP port, in any record format
    Simulate(Simulate),
    /// Check record formats, and try them on what an instrument sent
    Format(FormatKit),
    /// List the record formats that are shipped
    Formats,
    /// List the accuracy classes with their limits and sources
    Classes,
    /// Print the JSON Schema of what --json writes
    Schema(Schema),
    /// Print what a system needs to run listen as a service
    Service(Service),
    /// Print what completes this command line in a shell
    Completions(Completions),
    /// Print the manual page, or write those of all commands
    Man(Man),
}

/// Arguments of `demo`.
#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Show feet
    #[arg(long, conflicts_with = "metres")]
    pub(super) feet: bool,
    /// Show metres (the default)
    #[arg(long)]
    pub(super) metres: bool,
    /// Seed of noise and faults: the same seed gives the same run
    #[arg(long, default_value_t = 1, value_name = "NUMBER")]
    pub(super) seed: u64,
    /// How many times faster than a crew works
    #[arg(long, default_value_t = 12.0, value_name = "FACTOR", value_parser = kit::speed)]
    pub(super) speed: f64,
    /// The format that the simulated level speaks
    #[arg(long, value_name = "NAME")]
    pub(super) format: Option<String>,
    /// The job file to make
    #[arg(long, value_name = "FILE")]
    pub(super) job: Option<PathBuf>,
    #[command(flatten)]
    pub(super) view: View,
}

/// How a run is shown.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "View")]
pub(super) struct View {
    /// One JSON object a line instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// No tones
    #[arg(long)]
    pub(super) quiet: bool,
    /// Where the live page listens: lan, a port, or an address; this machine only, if absent
    #[arg(long, value_name = "ADDR", conflicts_with = "no_page")]
    pub(super) page: Option<String>,
    /// No live page
    #[arg(long)]
    pub(super) no_page: bool,
}

/// Arguments of `listen`.
#[derive(Debug, Args)]
pub(super) struct Listen {
    /// A settings file; what is said here wins over it
    #[arg(long, value_name = "FILE")]
    pub(super) settings: Option<PathBuf>,
    #[command(flatten)]
    pub(super) given: ListenGiven,
    /// Wait for a port that is not there yet instead of giving up
    #[arg(long)]
    pub(super) wait: bool,
    #[command(flatten)]
    pub(super) view: View,
}

/// The settings among the arguments of `listen`.
#[derive(Debug, Args)]
pub(super) struct ListenGiven {
    /// Serial port to listen to; the only one that is plugged in, if absent
    #[arg(long, value_name = "PATH", help_heading = "Link")]
    port: Option<String>,
    /// Bluetooth Low Energy device; its format names the service (see ports --ble)
    #[arg(long, value_name = "NAME|ADDRESS", help_heading = "Link")]
    ble: Option<String>,
    /// Serial converter on the network
    #[arg(long, value_name = "HOST:PORT", help_heading = "Link")]
    tcp: Option<String>,
    /// Listen to standard input
    #[arg(long, help_heading = "Link")]
    stdin: bool,
    /// Listen to a capture file
    #[arg(long, value_name = "FILE", help_heading = "Link")]
    capture: Option<String>,
    /// How fast a capture is played
    #[arg(long, value_name = "recorded|full", help_heading = "Link")]
    pace: Option<String>,
    #[command(flatten)]
    serial: SerialFlags,
    /// Record format: a name (see formats) or a file; the one that fits, if absent
    #[arg(long, value_name = "NAME|FILE", help_heading = "Link")]
    format: Option<String>,
    /// Say so when nothing has come for so long
    #[arg(long, value_name = "SECONDS", help_heading = "Link")]
    quiet_after: Option<u64>,
    /// The job file, made or taken up again
    #[arg(long, value_name = "FILE", help_heading = "Job")]
    job: Option<String>,
    /// Point that the run starts on
    #[arg(long, value_name = "POINT", help_heading = "Job")]
    start: Option<String>,
    /// A point whose elevation somebody else set, in the job's unit; may be repeated
    #[arg(long, value_name = "POINT=ELEVATION", help_heading = "Job")]
    known: Vec<String>,
    /// A point whose elevation is made up; may be repeated
    #[arg(long, value_name = "POINT=ELEVATION", help_heading = "Job")]
    assumed: Vec<String>,
    /// Accuracy class (see classes)
    #[arg(long, value_name = "NAME", help_heading = "Job")]
    class: Option<String>,
    /// Observing sequence: BF, BBFF, BFFB; aBF alternates; BFx3 takes three shots a sight
    #[arg(long, value_name = "SEQUENCE", help_heading = "Job")]
    sequence: Option<String>,
    /// Unit of the job
    #[arg(long, value_name = "m|ft|sft", help_heading = "Job")]
    unit: Option<String>,
    /// Another unit that the instrument may send; may be repeated
    #[arg(long, value_name = "UNIT", help_heading = "Job")]
    also_unit: Vec<String>,
    /// One staff or a pair
    #[arg(long, value_name = "one|pair", help_heading = "Job")]
    staffs: Option<String>,
    /// How the book is written
    #[arg(long, value_name = "height-of-instrument|rise-and-fall", help_heading = "Job")]
    booking: Option<String>,
}

/// How a serial port is set.
#[derive(Debug, Args)]
pub(super) struct SerialFlags {
    /// Bits a second, if not those of the format
    #[arg(long, value_name = "RATE", help_heading = "Link")]
    baud: Option<u32>,
    /// Data bits, parity, stop bits, if not those of the format
    #[arg(long, value_name = "8N1", help_heading = "Link")]
    character: Option<String>,
    /// Flow control, if not that of the format
    #[arg(long, value_name = "none|hardware|software", help_heading = "Link")]
    flow: Option<String>,
}

impl SerialFlags {
    /// As settings.
    pub(super) fn given(self) -> SerialGiven {
        SerialGiven {
            baud: self.baud.map(|baud| Said::flag("--baud", baud)),
            character: self.character.map(|character| Said::flag("--character", character)),
            flow: self.flow.map(|flow| Said::flag("--flow", flow)),
        }
    }
}

impl ListenGiven {
    /// As settings that win over those of the file.
    pub(super) fn given(self) -> Given {
        let text = |flag: &'static str, value: Option<String>| value.map(|value| Said::flag(flag, value));
        let texts = |flag: &'static str, values: Vec<String>| {
            values.into_iter().map(|value| Said::flag(flag, value)).collect::<Vec<_>>()
        };
        let mut given = Given {
            port: text("--port", self.port),
            ble: text("--ble", self.ble),
            tcp: text("--tcp", self.tcp),
            stdin: self.stdin.then(|| Said::flag("--stdin", true)),
            capture: text("--capture", self.capture),
            pace: text("--pace", self.pace),
            format: text("--format", self.format),
            job: text("--job", self.job),
            unit: text("--unit", self.unit),
            also_units: texts("--also-unit", self.also_unit),
            class: self.class.map(|name| Said::flag("--class", ClassGiven::Named(name))),
            sequence: text("--sequence", self.sequence),
            start: text("--start", self.start),
            known: texts("--known", self.known),
            assumed: texts("--assumed", self.assumed),
            booking: text("--booking", self.booking),
            quiet_after_s: self.quiet_after.map(|seconds| Said::flag("--quiet-after", seconds)),
            ..Given::default()
        };
        given.serial = self.serial.given();
        given.staffs.in_use = text("--staffs", self.staffs);
        given
    }
}

/// Arguments of `ports`.
#[derive(Debug, Args)]
pub(super) struct Ports {
    /// Listen for Bluetooth Low Energy devices instead
    #[arg(long)]
    pub(super) ble: bool,
}

/// Arguments of `tell`.
#[derive(Debug, Args)]
pub(super) struct Tell {
    /// The job that is being recorded; the only one, if absent
    #[arg(long, value_name = "FILE")]
    pub(super) job: Option<PathBuf>,
    /// The command and what belongs to it; none lists the commands
    #[arg(value_name = "COMMAND", trailing_var_arg = true, allow_hyphen_values = true)]
    pub(super) words: Vec<String>,
}

/// Arguments of `verify`.
#[derive(Debug, Args)]
pub(super) struct Verify {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(super) job: PathBuf,
    /// An event and the first digits of its hash, as they were written down: on a mark card, in a report
    #[arg(long, value_name = "EVENT:HASH")]
    pub(super) written: Option<String>,
}

/// Arguments of `book`.
#[derive(Debug, Args)]
pub(super) struct Book {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(super) job: PathBuf,
    #[command(flatten)]
    pub(super) shape: BookShape,
    /// As comma-separated values, one row a reading
    #[arg(long, conflicts_with = "json")]
    pub(super) csv: bool,
    /// As one JSON document
    #[arg(long)]
    pub(super) json: bool,
    /// In pages, with a head and a foot on each
    #[arg(long, conflicts_with_all = ["csv", "json"])]
    pub(super) pages: bool,
}

/// How a field book is written, alone or in a report.
#[derive(Debug, Args)]
pub(super) struct BookShape {
    /// How the book is written; as the job was set, if absent
    #[arg(long, value_enum)]
    pub(super) form: Option<BookForm>,
    /// How a misclosure is shared out; by setups, as lines are weighted, if absent
    #[arg(long, value_enum)]
    pub(super) share_out: Option<ShareOut>,
    /// Show feet
    #[arg(long, conflicts_with = "metres")]
    pub(super) feet: bool,
    /// Show metres
    #[arg(long)]
    pub(super) metres: bool,
}

/// Arguments of `explain`.
#[derive(Debug, Args)]
pub(super) struct Explain {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(super) job: PathBuf,
    /// Only this run
    #[arg(long, value_name = "NUMBER")]
    pub(super) run: Option<u32>,
    /// As one JSON document
    #[arg(long)]
    pub(super) json: bool,
}

/// How the book is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum BookForm {
    HeightOfInstrument,
    RiseAndFall,
}

/// How a misclosure is shared out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum ShareOut {
    Length,
    Setups,
    None,
}

/// Arguments of `replay`.
#[derive(Debug, Args)]
pub(super) struct Replay {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(super) job: PathBuf,
    /// Another format than the one that was used: a name or a file
    #[arg(long, value_name = "NAME|FILE")]
    pub(super) format: Option<String>,
}

/// Arguments of `backup`.
#[derive(Debug, Args)]
pub(super) struct Backup {
    /// The job file
    #[arg(value_name = "JOB")]
    pub(super) job: PathBuf,
    /// The copy to make; it must not be there yet
    #[arg(value_name = "FILE")]
    pub(super) to: PathBuf,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub(super) struct Schema {
    /// Which
    #[arg(value_enum)]
    pub(super) which: Which,
}

/// Which schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Which {
    /// The lines of listen --json and demo --json
    Lines,
    /// The document of book --json
    Book,
    /// The document of report --json
    Report,
    /// The document of explain --json
    Explain,
    /// The document of adjust --json
    Adjust,
    /// The document of plan --json
    Plan,
    /// The document of today --json
    Today,
}
