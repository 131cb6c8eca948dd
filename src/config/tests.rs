//! Which of two wins, what holds where nothing is said, and the words of every refusal.

use super::*;
use crate::book::classes::{self, Basis, Limit};
use crate::book::sequence::Sequence;
use crate::book::settings::{Booking, StaffsInUse};
use crate::link::{DataBits, Flow, LinkSpec, Pace, Parity, SerialSettings, StopBits, Uart};
use crate::units::{Length, Unit};

fn file(text: &str) -> SettingsFile {
    SettingsFile::parse("site.toml", text).expect("the settings are TOML")
}

fn of_file(text: &str) -> Result<Config, ConfigErrors> {
    Config::from(Some(&file(text)), Given::default()).map(only)
}

fn only(configs: Vec<Config>) -> Config {
    let [config] = configs.try_into().expect("one instrument");
    config
}

fn of_flags(flags: Given) -> Result<Config, ConfigErrors> {
    Config::of(flags)
}

fn text(flag: &'static str, value: &str) -> Option<Said<String>> {
    Some(Said::flag(flag, value.to_owned()))
}

fn known(config: &Config) -> Vec<(String, String, bool)> {
    let shown = |point: &crate::book::settings::KnownPoint| {
        let elevation = point.elevation;
        (point.name.to_string(), format!("{} {}", elevation.digits(), elevation.unit()), point.assumed)
    };
    config.settings.known.iter().map(shown).collect()
}

#[test]
fn nothing_said_is_building_work_in_metres_with_one_staff() {
    let config = of_flags(Given::default()).unwrap();
    assert_eq!((&config.source, &config.format, &config.job), (&None, &None, &None));
    assert_eq!((config.sound, config.quiet_after), (Sound::On, None));
    assert_eq!(config.serial, Serial::default());
    let settings = config.settings;
    assert_eq!((settings.unit, settings.sequence), (Unit::Metre, Sequence::BF));
    assert_eq!(settings.class.id, "building");
    assert_eq!((settings.start, settings.known.len()), (None, 0));
    assert_eq!((settings.staffs.in_use, settings.staffs.length), (StaffsInUse::One, Length::from_mm(4000)));
    assert_eq!(settings.staffs.margin, Length::from_mm(20));
    let instrument = settings.instrument;
    assert_eq!((instrument.sight_min, instrument.sight_max), (Length::from_mm(1500), Length::from_mm(100_000)));
    assert_eq!(instrument.reading_sd, Length::from_um(300));
    assert_eq!(settings.corrections, crate::book::settings::Corrections::default());
    assert_eq!(settings.booking, Booking::HeightOfInstrument);
}

#[test]
fn a_whole_settings_file_is_taken() {
    let config = of_file(
        r#"
        port = "/dev/serial/by-id/usb-cable-0"
        format = "formats/ours.toml"
        job = "core-north.job"
        unit = "ft"
        also-units = ["m"]
        class = "usace-construction-layout"
        sequence = "aBFFB"
        start = "BM-1"
        known = ["BM-1=171.750", "BM-7=52.3480 m"]
        assumed = ["A=100"]
        booking = "rise-and-fall"
        quiet-after-s = 30
        sound = "off"

        [serial]
        baud = 19200
        character = "7E1"
        flow = "software"

        [staffs]
        in-use = "pair"
        length = "16 ft"
        margin = "0.1 ft"

        [level]
        sight-min = "2 m"
        sight-max = "80 m"
        reading-sd = "0.4 mm"

        [corrections]
        collimation-mm-per-m = -0.03
        refraction-k = 0.14
        staff-scale-ppm = 12
        staff-expansion-ppm-per-c = 23
        staff-temperature-c = 31.5
        "#,
    )
    .unwrap();
    assert_eq!(config.source, Some(Source::Port("/dev/serial/by-id/usb-cable-0".to_owned())));
    assert_eq!(config.format, Some(FormatChoice::File("formats/ours.toml".into())));
    assert_eq!(config.job, Some("core-north.job".into()));
    assert_eq!((config.quiet_after, config.sound), (Some(Duration::from_secs(30)), Sound::Off));
    let character = (DataBits::Seven, Parity::Even, StopBits::One);
    assert_eq!(config.serial, Serial { baud: Some(19200), character: Some(character), flow: Some(Flow::Software) });
    let point = |name: &str, elevation: &str, assumed| (name.to_owned(), elevation.to_owned(), assumed);
    assert_eq!(
        known(&config),
        [point("BM-1", "171.750 ft", false), point("BM-7", "52.3480 m", false), point("A", "100 ft", true)]
    );
    let settings = config.settings;
    assert_eq!((settings.unit, settings.also_units), (Unit::Foot, vec![Unit::Metre]));
    assert_eq!(settings.class.id, "usace-construction-layout");
    assert_eq!(settings.sequence.to_string(), "aBFFB");
    assert_eq!(settings.start.unwrap().as_str(), "BM-1");
    assert_eq!(settings.booking, Booking::RiseAndFall);
    assert_eq!(settings.staffs.in_use, StaffsInUse::Pair);
    assert_eq!(settings.staffs.length, Length::parse("16", Unit::Foot).unwrap());
    assert_eq!(settings.staffs.margin, Length::parse("0.1", Unit::Foot).unwrap());
    assert_eq!(settings.instrument.sight_max, Length::from_mm(80_000));
    assert_eq!(settings.instrument.reading_sd, Length::from_um(400));
    let corrections = settings.corrections;
    assert_eq!((corrections.collimation_mm_per_m, corrections.refraction_k), (Some(-0.03), Some(0.14)));
    assert_eq!(corrections.staff_scale_ppm, Some(12.0));
    let expansion = corrections.staff_expansion.unwrap();
    assert_eq!((expansion.ppm_per_c, expansion.standard_c, expansion.staff_c), (23.0, 20.0, Some(31.5)));
}

#[test]
fn the_command_line_wins_and_the_file_holds_where_it_is_silent() {
    let file = file(
        "port = \"/dev/ttyUSB0\"\nunit = \"ft\"\nclass = \"usace-third-order\"\nsequence = \"BBFF\"\n\
         known = [\"BM-1=171.750\", \"BM-2=180.5\"]\n[serial]\nbaud = 1200\nflow = \"hardware\"\n\
         [staffs]\nlength = \"5 m\"\n",
    );
    let mut flags = Given {
        tcp: text("--tcp", "level.local:7001"),
        sequence: text("--sequence", "BF"),
        known: vec![Said::flag("--known", "BM-1=171.760".to_owned())],
        ..Given::default()
    };
    flags.serial.baud = Some(Said::flag("--baud", 9600));
    let config = only(Config::from(Some(&file), flags).unwrap());
    assert_eq!(config.source, Some(Source::Tcp("level.local:7001".to_owned())));
    assert_eq!((config.serial.baud, config.serial.flow), (Some(9600), Some(Flow::Hardware)));
    assert_eq!(config.settings.sequence, Sequence::BF);
    assert_eq!((config.settings.unit, config.settings.class.id.as_str()), (Unit::Foot, "usace-third-order"));
    assert_eq!(config.settings.staffs.length, Length::from_mm(5000));
    let names: Vec<_> = known(&config).into_iter().map(|(name, elevation, _)| name + " " + &elevation).collect();
    assert_eq!(names, ["BM-1 171.760 ft", "BM-2 180.5 ft"]);
}

#[test]
fn a_wrong_value_in_the_file_does_no_harm_where_a_flag_wins() {
    let file = file("unit = \"yd\"\nport = \"\"\n");
    let flags = Given { unit: text("--unit", "m"), stdin: Some(Said::flag("--stdin", true)), ..Given::default() };
    let config = only(Config::from(Some(&file), flags).unwrap());
    assert_eq!((config.settings.unit, config.source), (Unit::Metre, Some(Source::StandardInput)));
}

#[test]
fn a_class_that_asks_for_a_sequence_is_observed_by_it_unless_another_is_set() {
    let first = |sequence: &str| {
        let text = format!("class = \"fgcc1984-first-order-class-I\"\n{sequence}");
        of_file(&text).unwrap().settings.sequence.to_string()
    };
    assert_eq!(first(""), "BFFB");
    assert_eq!(first("sequence = \"BBFF\""), "BBFF");
}

#[test]
fn a_start_may_bring_its_elevation() {
    let start = |text: &str| of_file(text).unwrap().settings.start.map(|name| name.to_string());
    assert_eq!(start("start = \"BM-1=52.3480\"").as_deref(), Some("BM-1"));
    assert_eq!(start("known = [\"BM-1=52.3480\"]"), None);
    assert_eq!(start("start = \"TP\"\nknown = [\"BM-1=52.3480\"]").as_deref(), Some("TP"));
    let config = of_file("start = \"BM-1=52.3480\"\nknown = [\"BM-2=50.100\"]").unwrap();
    assert_eq!(known(&config).len(), 2);
}

#[test]
fn a_class_of_the_job_s_own_has_its_limits_and_those_of_its_base() {
    let class = |text: &str| of_file(text).unwrap().settings.class;
    let own = class("[class]\nloop-mm-per-root-km = 8\nsight-max = \"150 ft\"\neven-setups = true\n");
    assert_eq!((own.id.as_str(), own.title.as_str()), ("own", "the job's own class"));
    let loop_rate = own.loop_mm_per_sqrt_km.unwrap();
    assert_eq!((loop_rate.mm, loop_rate.basis), (8.0, Basis::Own));
    assert_eq!(own.sight_max, Some(Limit { value: Length::parse("150", Unit::Foot).unwrap(), basis: Basis::Own }));
    assert_eq!(own.even_setups, Some(Basis::Own));
    assert_eq!((own.setup_imbalance_max, own.section_mm_per_sqrt_km), (None, None));

    let base = classes::find("fgcc1984-third-order").unwrap();
    let over = class("class = { base = \"fgcc1984-third-order\", sight-max = \"50 m\" }");
    assert_eq!(over.title, "the job's own class, otherwise FGCC 1984 third order");
    assert_eq!(over.sight_max, Some(Limit { value: Length::from_mm(50_000), basis: Basis::Own }));
    assert_eq!(over.setup_imbalance_max, base.setup_imbalance_max);
    assert_eq!((over.section_mm_per_sqrt_km, &over.source), (base.section_mm_per_sqrt_km, &base.source));

    let titled =
        class("[class]\ntitle = \"tower core, section 5\"\nsource = \"the contract\"\nspread-max = \"0.4 mm\"");
    assert_eq!((titled.title.as_str(), titled.source.as_str()), ("tower core, section 5", "the contract"));
    assert_eq!(titled.spread_max, Some(Limit { value: Length::from_um(400), basis: Basis::Own }));
}

/// The first line of the only refusal.
fn refusal(result: Result<Config, ConfigErrors>) -> String {
    let errors = result.expect_err("a refusal");
    assert_eq!(errors.iter().count(), 1, "{errors}");
    errors.to_string().lines().next().unwrap().to_owned()
}

#[test]
fn each_refusal_names_the_place_what_was_found_and_what_would_do() {
    for (text, said) in [
        ("unit = \"metr\"", "column 8: unknown unit \"metr\", metres was probably meant"),
        ("unit = \"yd\"", "column 8: unknown unit \"yd\", one of m, ft, sft was wanted"),
        ("unit = \"mm\"", "column 8: mm found, one of m, ft, sft was wanted: elevations are not kept in mm"),
        ("also-units = [\"fot\"]", "column 15: unknown unit \"fot\", one of m, mm, ft, sft was wanted"),
        ("sequence = \"bf\"", "column 12: unknown observing sequence \"bf\", BF was probably meant"),
        (
            "booking = \"rise-an-fall\"",
            "column 11: unknown form of booking \"rise-an-fall\", rise-and-fall was probably meant",
        ),
        ("sound = \"loud\"", "column 9: unknown sound \"loud\", one of on, off was wanted"),
        ("pace = \"ful\"", "column 8: unknown pace \"ful\", full was probably meant"),
        ("quiet-after-s = 0", "column 17: 0 found, a number of seconds from 1 to 3600 was wanted"),
        ("quiet-after-s = 3601", "column 17: 3601 found, a number of seconds from 1 to 3600 was wanted"),
        ("port = \" \"", "column 8: an empty name found, a port such as /dev/ttyUSB0 was wanted"),
        ("job = \"\"", "column 7: an empty name found, a job file such as core-north.job was wanted"),
        ("format = \"\"", "column 10: an empty name found, a format such as comma was wanted"),
        ("capture = \"\"", "column 11: an empty name found, a capture file such as morning.capture was wanted"),
        ("tcp = \"level\"", "column 7: \"level\" found, a host and a port such as 192.168.4.1:7001 were wanted"),
        ("tcp = \"level:0\"", "column 7: \"level:0\" found, a host and a port such as 192.168.4.1:7001 were wanted"),
        ("tcp = \":7001\"", "column 7: \":7001\" found, a host and a port such as 192.168.4.1:7001 were wanted"),
        ("start = \"\"", "column 9: an empty point name found, a name such as BM-1 was wanted"),
        (
            "known = [\"BM-1=1\", \"BM-2\"]",
            "column 20: \"BM-2\" gives no elevation, a point such as BM-1=52.3480 was wanted",
        ),
        (
            "known = [\"BM-1=1.20\", \"BM-1=1.30\"]",
            "column 23: BM-1 found with 1.20 m and with 1.30 m, one elevation was wanted",
        ),
        ("serial.baud = 10", "column 15: 10 found, a speed of 50 to 4000000 bits a second was wanted"),
        (
            "serial.character = \"8X1\"",
            "column 20: \"8X1\" found, data bits, parity and stop bits such as 8N1 or 7E1 were wanted",
        ),
        (
            "serial.character = \"9N1\"",
            "column 20: \"9N1\" found, data bits, parity and stop bits such as 8N1 or 7E1 were wanted",
        ),
        (
            "serial.character = \"8N1 none\"",
            "column 20: \"8N1 none\" found, data bits, parity and stop bits such as 8N1 or 7E1 were wanted",
        ),
        (
            "serial.character = \"\"",
            "column 20: \"\" found, data bits, parity and stop bits such as 8N1 or 7E1 were wanted",
        ),
        (
            "serial.flow = \"rts\"",
            "column 15: unknown flow control \"rts\", one of none, hardware, software was wanted",
        ),
        ("staffs.in-use = \"two\"", "column 17: unknown number of staffs \"two\", one of one, pair was wanted"),
        ("staffs.length = \"4\"", "column 17: \"4\" found without a unit, a length such as \"4 m\" was wanted"),
        ("staffs.length = \"0 m\"", "column 17: \"0 m\" found, a length above nought was wanted"),
        ("staffs.length = \"4000 m\"", "column 17: \"4000 m\" found, a length of at most 12.00 m was wanted"),
        ("staffs.margin = \"-1 mm\"", "column 17: \"-1 mm\" found, a length of nought or more was wanted"),
        (
            "staffs.margin = \"2 m\"",
            "column 17: a margin of 2.000 m at either end leaves nothing of a staff of 4.000 m, a smaller one was wanted",
        ),
        (
            "level.sight-min = \"200 m\"",
            "column 19: sights from 200.00 m to 100.00 m found, a longest beyond the shortest was wanted",
        ),
        ("level.sight-max = \"2000 m\"", "column 19: \"2000 m\" found, a length of at most 1000.00 m was wanted"),
        ("level.reading-sd = \"0.3 m\"", "column 20: \"0.3 m\" found, a length of at most 0.01 m was wanted"),
        ("corrections.collimation-mm-per-m = 20", "column 36: 20 found, a number from -10 to 10 was wanted"),
        ("corrections.refraction-k = nan", "column 28: NaN found, a number from -10 to 10 was wanted"),
        ("corrections.refraction-k = -inf", "column 28: -inf found, a number from -10 to 10 was wanted"),
        ("corrections.staff-scale-ppm = 1e6", "column 31: 1000000 found, a number from -10000 to 10000 was wanted"),
        (
            "corrections.staff-temperature-c = 20",
            "column 35: a temperature of the staff found without its expansion, staff-expansion-ppm-per-c was wanted with it",
        ),
        ("class.loop-mm-per-root-km = 0", "column 29: 0 found, a number from 0.02 to 1000 was wanted"),
        ("class.sight-max = \"50\"", "column 19: \"50\" found without a unit, a length such as \"50 m\" was wanted"),
        (
            "class.title = \"mine\"",
            "column 1: no limit found in the class, one such as loop-mm-per-root-km = 12 was wanted",
        ),
    ] {
        assert_eq!(refusal(of_file(text)), format!("site.toml, line 1, {said}"), "{text}");
    }
}

#[test]
fn an_unknown_class_is_told_what_was_probably_meant() {
    let said = refusal(of_file("class = \"bilding\""));
    assert_eq!(said, "site.toml, line 1, column 9: unknown accuracy class \"bilding\", building was probably meant");
    let said = refusal(of_file("class.base = \"bilding\""));
    assert!(said.starts_with("site.toml, line 1, column 14: unknown accuracy class \"bilding\""), "{said}");
}

#[test]
fn two_sources_of_bytes_are_refused_in_one_place_and_settled_between_two() {
    let said = refusal(of_file("port = \"/dev/ttyUSB0\"\ncapture = \"a\""));
    assert_eq!(said, "site.toml, line 2, column 11: port and capture found, one source of bytes was wanted");
    let flags = Given { port: text("--port", "/dev/ttyUSB0"), tcp: text("--tcp", "a:1"), ..Given::default() };
    assert_eq!(refusal(of_flags(flags)), "--tcp: port and tcp found, one source of bytes was wanted");
    let flags = Given { capture: text("--capture", "a.capture"), ..Given::default() };
    let config = only(Config::from(Some(&file("port = \"/dev/ttyUSB0\"")), flags).unwrap());
    assert_eq!(config.source, Some(Source::Capture { path: "a.capture".into(), pace: Pace::Recorded }));
    let full = of_file("capture = \"a\"\npace = \"full\"").unwrap().source;
    assert_eq!(full, Some(Source::Capture { path: "a".into(), pace: Pace::Full }));
    assert_eq!(of_file("stdin = false").unwrap().source, None);
}

#[test]
fn a_flag_is_named_where_it_is_wrong() {
    let flags = Given { unit: text("--unit", "metr"), ..Given::default() };
    assert_eq!(refusal(of_flags(flags)), "--unit: unknown unit \"metr\", metres was probably meant");
    let known = |value: &str| Said::flag("--known", value.to_owned());
    let flags = Given { known: vec![known("BM-1=1"), known("BM-1=2 ft")], ..Given::default() };
    assert_eq!(refusal(of_flags(flags)), "--known: BM-1 found with 1 m and with 2 ft, one elevation was wanted");
    let class = Some(Said::flag("--class", ClassGiven::Named("fgcc1984-third-oder".to_owned())));
    let said = refusal(of_flags(Given { class, ..Given::default() }));
    assert!(
        said.starts_with("--class: unknown accuracy class \"fgcc1984-third-oder\", fgcc1984-third-order was "),
        "{said}"
    );
}

#[test]
fn all_that_is_wrong_is_said_at_once_with_its_line_under_it() {
    let file = file("unit = \"metr\"\n\n[staffs]\nlength = \"4\"   # metres\n");
    let flags = Given { sound: text("--sound", "of"), ..Given::default() };
    let errors = Config::from(Some(&file), flags).unwrap_err();
    assert_eq!(
        errors.to_string(),
        "site.toml, line 1, column 8: unknown unit \"metr\", metres was probably meant\n\
         \x20 1 | unit = \"metr\"\n\
         \x20   |        ^^^^^^\n\
         site.toml, line 4, column 10: \"4\" found without a unit, a length such as \"4 m\" was wanted\n\
         \x20 4 | length = \"4\"   # metres\n\
         \x20   |          ^^^\n\
         --sound: unknown sound \"of\", off was probably meant"
    );
}

#[test]
fn what_is_said_of_the_port_wins_over_the_format_and_the_rest_is_the_format_s() {
    let format: SerialSettings = "1200 7E1 xon/xoff".parse().unwrap();
    let over = |text: &str| of_file(text).unwrap().serial.over(format).to_string();
    assert_eq!(over(""), "1200 7E1 xon/xoff");
    assert_eq!(over("serial.baud = 9600"), "9600 7E1 xon/xoff");
    assert_eq!(over("serial.character = \"8O2\""), "1200 8O2 xon/xoff");
    assert_eq!(over("serial.flow = \"none\""), "1200 7E1");
    let config = of_file("port = \"/dev/ttyUSB0\"\nserial.baud = 9600").unwrap();
    let link = config.source.unwrap().link(config.serial.over(format), None);
    let settings = "9600 7E1 xon/xoff".parse().unwrap();
    assert_eq!(link, Some(LinkSpec::Serial { path: "/dev/ttyUSB0".to_owned(), settings }));
}

#[test]
fn a_bluetooth_device_is_a_source_like_any_other_and_needs_a_service() {
    let source = of_file("ble = \"LEVEL-7\"").unwrap().source.unwrap();
    let uuid = "7f8b0001-94c1-4a55-9a53-6f2d1e0c5a10";
    let uart = Uart::of(uuid, uuid, None).unwrap();
    let serial = SerialSettings::at(9600);
    assert_eq!(source.link(serial, None), None);
    let spec = LinkSpec::Ble { device: "LEVEL-7".to_owned(), uart: uart.clone() };
    assert_eq!(source.link(serial, Some(uart)), Some(spec));
    let said = of_flags(Given { ble: text("--ble", "A"), tcp: text("--tcp", "a:1"), ..Given::default() });
    assert_eq!(refusal(said), "--tcp: ble and tcp found, one source of bytes was wanted");
    let flags = Given { ble: text("--ble", "LEVEL-8"), ..Given::default() };
    let config = only(Config::from(Some(&file("port = \"/dev/ttyUSB0\"")), flags).unwrap());
    assert_eq!(config.source, Some(Source::Ble("LEVEL-8".to_owned())), "what is typed wins over the file");
}

#[test]
fn formats_are_told_from_format_files_by_their_look() {
    let format =
        |value: &str| of_flags(Given { format: text("--format", value), ..Given::default() }).unwrap().format.unwrap();
    assert_eq!(format("comma"), FormatChoice::Named("comma".to_owned()));
    for path in ["ours.toml", "./ours", "C:\\formats\\ours"] {
        assert_eq!(format(path), FormatChoice::File(path.into()));
    }
}

#[test]
fn the_example_on_the_front_page_is_right() {
    let page = include_str!("mod.rs").lines().map_while(|line| line.strip_prefix("//!"));
    let example: Vec<&str> =
        page.skip_while(|line| *line != " ```toml").skip(1).take_while(|line| *line != " ```").collect();
    assert!(example.len() > 10, "{example:?}");
    let config = of_file(&example.join("\n")).unwrap();
    assert_eq!(config.settings.known.len(), 2);
    assert_eq!(config.settings.staffs.length, Length::from_mm(5000));
}

/// Two instruments, and what is added to the second.
fn two(more: &str) -> String {
    format!(
        "known = [\"BM-1=52.3480\"]\nunit = \"m\"\n\n[[instrument]]\nname = \"north\"\nport = \"/dev/ttyUSB0\"\njob = \"north.job\"\n\
         start = \"BM-1\"\nknown = [\"N-1=50.0000\"]\n\n[[instrument]]\n{more}"
    )
}

#[test]
fn each_instrument_has_its_table_and_what_stands_beside_the_tables() {
    let text = two("name = \"south\"\ntcp = \"level:7001\"\nunit = \"ft\"\n[instrument.level]\nsight-max = \"60 m\"\n");
    let configs =
        Config::from(Some(&file(&text)), Given { format: self::text("--format", "comma"), ..Given::default() });
    let [north, south] = configs.unwrap().try_into().expect("two instruments");
    assert_eq!((north.name.as_deref(), south.name.as_deref()), (Some("north"), Some("south")));
    assert_eq!(
        (north.source, south.source),
        (Some(Source::Port("/dev/ttyUSB0".into())), Some(Source::Tcp("level:7001".into())))
    );
    assert_eq!((north.settings.unit, south.settings.unit), (Unit::Metre, Unit::Foot));
    assert_eq!((north.settings.known.len(), south.settings.known.len()), (2, 1));
    assert_eq!(south.settings.instrument.sight_max, Length::from_mm(60_000));
    assert_eq!(north.format, south.format);
}

#[test]
fn instruments_that_would_fight_or_be_taken_for_each_other_are_refused() {
    for (more, said) in [
        ("name = \"north\"\ntcp = \"level:7001\"\n", "line 12, column 8: \"north\" found for two instruments"),
        ("name = \"south\"\nport = \"/dev/ttyUSB0\"\n", "line 13, column 8: north listens here too"),
        (
            "name = \"south\"\nstdin = true\njob = \"north.job\"\n",
            "line 14, column 7: north.job is the job of north too",
        ),
        ("name = \"south\"\n", "line 12, column 8: no source found for this instrument"),
        (
            "name = \"core south tower\"\nstdin = true\n",
            "line 12, column 8: \"core south tower\" found, a name of at most 12",
        ),
        ("name = \"south\"\nstdin = true\nsound = \"off\"\n", "line 14, column 9: sound found for one instrument"),
        ("port = \"/dev/ttyUSB1\"\n", "line 11, column 1: an instrument without a name found"),
        (
            "name = \"s\"\nstdin = true\n[[instrument.instrument]]\nname = \"t\"\n",
            "line 14, column 1: an instrument found inside another",
        ),
    ] {
        let refused = Config::from(Some(&file(&two(more))), Given::default()).unwrap_err().to_string();
        assert!(refused.starts_with(&format!("site.toml, {said}")), "{more}: {refused}");
    }
    let text = two("name = \"south\"\nstdin = true\n");
    let flags = Given { job: self::text("--job", "tower.job"), ..Given::default() };
    let refused = Config::from(Some(&file(&text)), flags).unwrap_err().to_string();
    assert!(refused.starts_with("--job: a job file found for several instruments"), "{refused}");
    let many: String = (0..=INSTRUMENTS_MAX)
        .map(|n| format!("[[instrument]]\nname = \"i{n}\"\ntcp = \"level:{}\"\n", n + 1))
        .collect();
    let refused = Config::from(Some(&file(&many)), Given::default()).unwrap_err().to_string();
    assert!(refused.contains("65 instruments found, at most 64 were wanted"), "{refused}");
    let single = SettingsFile::parse("site.toml", "[instrument]\nname = \"north\"\n").unwrap_err().to_string();
    assert!(single.contains("a table found, a list, or tables in double brackets was wanted"), "{single}");
}
