//! Settings as they were given: each absent or with the place that says it. Nothing here has been looked at yet.
//!
//! The settings file is read into this by serde; the command line fills in the same.

use std::fmt;
use std::ops::Range;

use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};

/// A value and where it was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Said<T> {
    /// What was said.
    pub value: T,
    /// Where.
    pub place: Place,
}

/// Where a value was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the settings file, at these bytes.
    File(Range<usize>),
    /// By this flag of the command line, `--unit`.
    Flag(&'static str),
}

impl<T> Said<T> {
    /// A value from the command line.
    pub fn flag(flag: &'static str, value: T) -> Self {
        Said { value, place: Place::Flag(flag) }
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Said<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = toml::Spanned::<T>::deserialize(deserializer)?;
        Ok(Said { place: Place::File(spanned.span()), value: spanned.into_inner() })
    }
}

/// Everything that can be set.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table of settings")]
pub struct Given {
    /// What the instrument is called, where one of several speaks.
    pub name: Option<Said<String>>,
    /// Serial port to listen at.
    pub port: Option<Said<String>>,
    /// Name or address of a Bluetooth device to listen at.
    pub ble: Option<Said<String>>,
    /// `host:port` to listen at.
    pub tcp: Option<Said<String>>,
    /// Listen at standard input.
    pub stdin: Option<Said<bool>>,
    /// Capture file to listen to.
    pub capture: Option<Said<String>>,
    /// How fast a capture is played: `recorded` or `full`.
    pub pace: Option<Said<String>>,
    /// Record format: the name of a shipped one, or a path.
    pub format: Option<Said<String>>,
    /// Job file.
    pub job: Option<Said<String>>,
    /// Unit of elevations and of what is shown.
    pub unit: Option<Said<String>>,
    /// Units of another kind that the instrument may send; they are converted.
    pub also_units: Vec<Said<String>>,
    /// Accuracy class.
    pub class: Option<Said<ClassGiven>>,
    /// Observing sequence.
    pub sequence: Option<Said<String>>,
    /// Where the first run starts: `BM-1`, or `BM-1=52.3480`.
    pub start: Option<Said<String>>,
    /// Known points, `BM-1=52.3480`.
    pub known: Vec<Said<String>>,
    /// Points with an elevation made up to start from, `A=100`.
    pub assumed: Vec<Said<String>>,
    /// How the book is written.
    pub booking: Option<Said<String>>,
    /// Seconds of silence after which the link is said to be quiet.
    pub quiet_after_s: Option<Said<u64>>,
    /// Tones: `on` or `off`.
    pub sound: Option<Said<String>>,
    /// Settings of the serial port that differ from the format's.
    pub serial: SerialGiven,
    /// The staffs.
    pub staffs: StaffsGiven,
    /// What the level can do.
    pub level: LevelGiven,
    /// Corrections to readings.
    pub corrections: CorrectionsGiven,
    /// `[[instrument]]`: several instruments at once, each with these settings of its own; what stands beside the tables
    /// holds for all of them.
    #[serde(rename = "instrument")]
    pub instruments: Vec<Said<Given>>,
}

/// `[serial]`
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table")]
pub struct SerialGiven {
    /// Bits a second.
    pub baud: Option<Said<u32>>,
    /// Data bits, parity and stop bits, `7E1`.
    pub character: Option<Said<String>>,
    /// `none`, `hardware` (RTS and CTS) or `software` (XON and XOFF).
    pub flow: Option<Said<String>>,
}

/// `[staffs]`
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table")]
pub struct StaffsGiven {
    /// `one` or `pair`.
    pub in_use: Option<Said<String>>,
    /// Length of the staff, `4 m`.
    pub length: Option<Said<String>>,
    /// Readings nearer than this to either end are doubtful, `20 mm`.
    pub margin: Option<Said<String>>,
}

/// `[level]`
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table")]
pub struct LevelGiven {
    /// What it is called, to keep its tests by: `L-2`.
    pub name: Option<Said<String>>,
    /// Shortest sight that it reads, `1.5 m`.
    pub sight_min: Option<Said<String>>,
    /// Longest sight that it reads, `100 m`.
    pub sight_max: Option<Said<String>>,
    /// Standard deviation of one staff reading, `0.3 mm`.
    pub reading_sd: Option<Said<String>>,
}

/// `[corrections]`
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table")]
pub struct CorrectionsGiven {
    /// Inclination of the line of sight, positive where it climbs.
    pub collimation_mm_per_m: Option<Said<f64>>,
    /// Coefficient of refraction.
    pub refraction_k: Option<Said<f64>>,
    /// Scale of the staff.
    pub staff_scale_ppm: Option<Said<f64>>,
    /// Expansion of the staff.
    pub staff_expansion_ppm_per_c: Option<Said<f64>>,
    /// Temperature at which the staff is right.
    pub staff_standard_c: Option<Said<f64>>,
    /// Temperature of the staff now.
    pub staff_temperature_c: Option<Said<f64>>,
}

/// An accuracy class: the id of one of ours, or one of the job's own.
#[derive(Clone, Debug, PartialEq)]
pub enum ClassGiven {
    /// The id of one of ours.
    Named(String),
    /// The job's own limits.
    Own(Box<OwnClass>),
}

impl<'de> Deserialize<'de> for ClassGiven {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        /// By hand, because an untagged enum would lose the places of what is inside.
        struct NameOrTable;

        impl<'de> Visitor<'de> for NameOrTable {
            type Value = ClassGiven;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the name of a class or a table of limits")
            }

            fn visit_str<E>(self, name: &str) -> Result<ClassGiven, E> {
                Ok(ClassGiven::Named(name.to_owned()))
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<ClassGiven, A::Error> {
                OwnClass::deserialize(MapAccessDeserializer::new(map)).map(|own| ClassGiven::Own(Box::new(own)))
            }
        }

        deserializer.deserialize_any(NameOrTable)
    }
}

/// `[class]`: limits of the job's own.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default, expecting = "a table of limits")]
pub struct OwnClass {
    /// Name to print.
    pub title: Option<Said<String>>,
    /// Where the limits come from.
    pub source: Option<Said<String>>,
    /// The class of ours whose limits hold where none is set here.
    pub base: Option<Said<String>>,
    /// Misclosure of a section run both ways.
    pub section_mm_per_root_km: Option<Said<f64>>,
    /// Misclosure of a loop or of a line between known points.
    pub loop_mm_per_root_km: Option<Said<f64>>,
    /// Misclosure by setups.
    pub mm_per_root_setup: Option<Said<f64>>,
    /// Longest sight.
    pub sight_max: Option<Said<String>>,
    /// Largest imbalance of a setup.
    pub setup_imbalance_max: Option<Said<String>>,
    /// Largest sum of imbalances.
    pub sum_imbalance_max: Option<Said<String>>,
    /// Least height of the line of sight.
    pub line_of_sight_min: Option<Said<String>>,
    /// Largest deviation of a reading.
    pub spread_max: Option<Said<String>>,
    /// Largest difference of a setup's two height differences.
    pub two_differences_max: Option<Said<String>>,
    /// The number of setups between marks must be even.
    pub even_setups: Option<Said<bool>>,
    /// Largest inclination of the line of sight, mm per m.
    pub collimation_max_mm_per_m: Option<Said<f64>>,
    /// Days that a test of the line of sight holds.
    pub collimation_interval_days: Option<Said<u32>>,
}

impl Given {
    /// These settings where they say something, `under` where they do not. Lists are joined, these first; the
    /// sources of bytes are one setting. Tables of instruments are nobody's: they are taken out before.
    pub fn over(self, under: Given) -> Given {
        let texts = [&self.port, &self.ble, &self.tcp, &self.capture];
        let under = match self.stdin.is_some() || texts.iter().any(|text| text.is_some()) {
            true => Given { port: None, ble: None, tcp: None, stdin: None, capture: None, ..under },
            false => under,
        };
        Given {
            name: self.name.or(under.name),
            port: self.port.or(under.port),
            ble: self.ble.or(under.ble),
            tcp: self.tcp.or(under.tcp),
            stdin: self.stdin.or(under.stdin),
            capture: self.capture.or(under.capture),
            pace: self.pace.or(under.pace),
            format: self.format.or(under.format),
            job: self.job.or(under.job),
            unit: self.unit.or(under.unit),
            also_units: self.also_units.into_iter().chain(under.also_units).collect(),
            class: self.class.or(under.class),
            sequence: self.sequence.or(under.sequence),
            start: self.start.or(under.start),
            known: self.known.into_iter().chain(under.known).collect(),
            assumed: self.assumed.into_iter().chain(under.assumed).collect(),
            booking: self.booking.or(under.booking),
            quiet_after_s: self.quiet_after_s.or(under.quiet_after_s),
            sound: self.sound.or(under.sound),
            serial: SerialGiven {
                baud: self.serial.baud.or(under.serial.baud),
                character: self.serial.character.or(under.serial.character),
                flow: self.serial.flow.or(under.serial.flow),
            },
            staffs: StaffsGiven {
                in_use: self.staffs.in_use.or(under.staffs.in_use),
                length: self.staffs.length.or(under.staffs.length),
                margin: self.staffs.margin.or(under.staffs.margin),
            },
            level: LevelGiven {
                name: self.level.name.or(under.level.name),
                sight_min: self.level.sight_min.or(under.level.sight_min),
                sight_max: self.level.sight_max.or(under.level.sight_max),
                reading_sd: self.level.reading_sd.or(under.level.reading_sd),
            },
            corrections: self.corrections.over(under.corrections),
            instruments: Vec::new(),
        }
    }
}

impl CorrectionsGiven {
    fn over(self, under: CorrectionsGiven) -> CorrectionsGiven {
        CorrectionsGiven {
            collimation_mm_per_m: self.collimation_mm_per_m.or(under.collimation_mm_per_m),
            refraction_k: self.refraction_k.or(under.refraction_k),
            staff_scale_ppm: self.staff_scale_ppm.or(under.staff_scale_ppm),
            staff_expansion_ppm_per_c: self.staff_expansion_ppm_per_c.or(under.staff_expansion_ppm_per_c),
            staff_standard_c: self.staff_standard_c.or(under.staff_standard_c),
            staff_temperature_c: self.staff_temperature_c.or(under.staff_temperature_c),
        }
    }
}
