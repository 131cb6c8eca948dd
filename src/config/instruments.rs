//! Several instruments in one settings file: what is said of each, and what must keep them apart.

use super::Config;
use super::check::Check;
use super::given::{Given, Place, Said};

/// The most instruments that one daemon hears: more than any site has, and as many as the bench of many hears.
pub const INSTRUMENTS_MAX: usize = 64;
/// The longest name of an instrument: it stands before each of its lines, which leaves the other columns of eighty.
pub const NAME_MAX: usize = 12;

/// What is said of each instrument: by the flags, where not by its own table, where not by what stands beside the
/// tables. One, where there are no tables.
pub(super) fn each(check: &mut Check<'_>, mut file: Given, flags: Given) -> Vec<Given> {
    let tables = std::mem::take(&mut file.instruments);
    if tables.is_empty() {
        return vec![flags.over(file)];
    }
    if let Some(beyond) = tables.get(INSTRUMENTS_MAX) {
        let found = tables.len();
        check.refuse(&beyond.place, format!("{found} instruments found, at most {INSTRUMENTS_MAX} were wanted"));
    }
    if tables.len() > 1 {
        refuse_what_only_one_can_have(check, &file);
        refuse_what_only_one_can_have(check, &flags);
    }
    tables.into_iter().map(|table| own(check, table, &file, &flags)).collect()
}

fn own(check: &mut Check<'_>, table: Said<Given>, beside: &Given, flags: &Given) -> Given {
    let Said { value: mut given, place } = table;
    if let Some(nested) = given.instruments.first() {
        check.refuse(&nested.place, "an instrument found inside another, each beside the others was wanted");
    }
    given.instruments = Vec::new();
    if let Some(sound) = &given.sound {
        check.refuse(&sound.place, "sound found for one instrument, it was wanted before the tables, for all of them");
    }
    let given = flags.clone().over(given).over(beside.clone());
    if given.name.is_none() {
        check.refuse(&place, "an instrument without a name found, one such as name = \"north\" was wanted");
    }
    given
}

/// A port, a job, a start: what two instruments would only fight for.
fn refuse_what_only_one_can_have(check: &mut Check<'_>, given: &Given) {
    let stdin = given.stdin.as_ref().map(|said| ("stdin", &said.place));
    let text =
        |what: &'static str, said: &'_ Option<Said<String>>| said.as_ref().map(|said| (what, said.place.clone()));
    let said = [
        text("a name", &given.name),
        text("a port", &given.port),
        text("a Bluetooth device", &given.ble),
        text("a tcp address", &given.tcp),
        stdin.map(|(what, place)| (what, place.clone())),
        text("a capture", &given.capture),
        text("a job file", &given.job),
        text("a start", &given.start),
    ];
    for (what, place) in said.into_iter().flatten() {
        check.refuse(&place, format!("{what} found for several instruments, one in the table of each was wanted"));
    }
}

/// Refuses instruments that could not be told apart, or would fight for a port or a job.
pub(super) fn apart(check: &mut Check<'_>, each: &[Given], configs: &[Config]) {
    if configs.len() < 2 {
        return;
    }
    for (index, (given, config)) in each.iter().zip(configs).enumerate() {
        let earlier = &configs[..index];
        let twin =
            |same: &dyn Fn(&Config) -> bool| earlier.iter().find(|other| same(other)).and_then(|o| o.name.clone());
        if let (Some(name), Some(place)) = (&config.name, place(&given.name))
            && twin(&|other| other.name.as_ref() == Some(name)).is_some()
        {
            check.refuse(place, format!("{name:?} found for two instruments, a name of its own was wanted for each"));
        }
        if let (Some(job), Some(place)) = (&config.job, place(&given.job))
            && let Some(twin) = twin(&|other| other.job.as_ref() == Some(job))
        {
            check.refuse(place, format!("{} is the job of {twin} too, one of its own was wanted", job.display()));
        }
        let source = place(&given.port).or(place(&given.ble)).or(place(&given.tcp)).or(place(&given.capture));
        let source = source.or(given.stdin.as_ref().map(|said| &said.place));
        match (&config.source, source, &given.name) {
            (Some(source), Some(place), _) => {
                if let Some(twin) = twin(&|other| other.source.as_ref() == Some(source)) {
                    check.refuse(place, format!("{twin} listens here too, a source of its own was wanted"));
                }
            }
            (None, None, Some(name)) => check.refuse(
                &name.place,
                "no source found for this instrument, a port, a Bluetooth device, a tcp address or a capture was wanted",
            ),
            // Wrong, and said already.
            _ => {}
        }
    }
}

fn place<T>(said: &Option<Said<T>>) -> Option<&Place> {
    said.as_ref().map(|said| &said.place)
}

/// The name: it stands before lines, and in the name of a job file that was not named.
pub(super) fn name(check: &mut Check<'_>, given: &Given) -> Option<String> {
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    check.read(given.name.as_ref(), |text| match text.len() {
        1..=NAME_MAX if text.chars().all(fits) => Ok(text.clone()),
        _ => Err(format!("{text:?} found, a name of at most {NAME_MAX} letters, digits, - and _ was wanted")),
    })
}
