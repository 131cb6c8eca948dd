//! Simulated runs in which one mistake is planted, seeded: what the search is measured on.
//!
//! A run goes from one known mark over turning points to another or back, half of them over a known mark in the middle.
//! Its readings carry normal noise of the standard deviation that the job's instrument states. Nothing here knows how the
//! search works; a planted mistake changes only what a crew would have read, typed or named.

use closerun::book::classes::{Basis, Class, Limit, Rate};
use closerun::book::event::{Body, Command, Event, Origin, Target};
use closerun::book::moment::Moment;
use closerun::book::reading::{Heard, PointName, Reading};
use closerun::book::settings::{Booking, Corrections, Instrument, KnownPoint, Settings, Staffs, StaffsInUse};
use closerun::book::{Book, Input, decide};
use closerun::simulate::Chance;
use closerun::units::{Length, Measured, Unit};

/// What is planted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Family {
    Exchanged,
    Repeat,
    SignLost,
    WholeMetre,
    WholeDecimetre,
    WholeFoot,
    WholeTenth,
    DigitsTurned,
    ElevationTurned,
    AgainstRepeats,
    WrongMark,
    KnownMoved,
    TurningPoint,
    StaffZero,
    Collimation,
    /// Nothing: noise as stated.
    Noise,
    /// Nothing: noise twice as large as the instrument states.
    WiderNoise,
}

impl Family {
    pub(crate) const ALL: [Family; 17] = [
        Family::Exchanged,
        Family::Repeat,
        Family::SignLost,
        Family::WholeMetre,
        Family::WholeDecimetre,
        Family::WholeFoot,
        Family::WholeTenth,
        Family::DigitsTurned,
        Family::ElevationTurned,
        Family::AgainstRepeats,
        Family::WrongMark,
        Family::KnownMoved,
        Family::TurningPoint,
        Family::StaffZero,
        Family::Collimation,
        Family::Noise,
        Family::WiderNoise,
    ];

    /// Nothing is planted.
    pub(crate) fn is_noise(self) -> bool {
        matches!(self, Family::Noise | Family::WiderNoise)
    }
}

/// Where the mistake was planted.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Truth {
    /// At this setup.
    Setup(u32),
    /// In this reading.
    Reading(u32),
    /// At this point.
    Point(PointName),
    /// In the whole run, or nowhere.
    Run,
}

/// A run with one mistake in it.
pub(crate) struct Planted {
    pub(crate) book: Book,
    /// What the book was folded from.
    pub(crate) events: Vec<Event>,
    pub(crate) truth: Truth,
}

/// A stream of numbers, the same for the same seed on every machine.
pub(crate) struct Dice(Chance);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Dice(Chance::seeded(seed))
    }

    pub(crate) fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.0.share()
    }

    /// From 0, below `count`.
    pub(crate) fn pick(&mut self, count: usize) -> usize {
        self.0.below(count)
    }

    /// Box and Muller.
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.0.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.0.share()).cos()
    }

    fn sign(&mut self) -> f64 {
        if self.pick(2) == 0 { 1.0 } else { -1.0 }
    }

    /// Either way, no size preferred between the two.
    fn size(&mut self, least: f64, most: f64) -> f64 {
        self.sign() * least * (most / least).powf(self.0.share())
    }
}

/// What the crew reads at one setup, metres.
struct Stand {
    back: f64,
    fore: f64,
    back_sight: f64,
    fore_sight: f64,
    typed: bool,
}

/// A run before it is booked.
struct Scene {
    settings: Settings,
    stands: Vec<Stand>,
    /// The setup after which the run is on the middle mark, if it passes one.
    middle: Option<usize>,
    end: PointName,
    noise_m: f64,
    decimals: u8,
}

fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

/// A value in the job's unit, with so many decimals.
fn measured(metres: f64, unit: Unit, decimals: u8) -> Measured {
    Measured::from_length(Length::from_f64_m(metres).unwrap(), unit, decimals).unwrap()
}

/// The class of the simulated jobs: eight millimetres a root kilometre.
fn class(mm: f64) -> Class {
    let limit = |mm: i64| Some(Limit { value: Length::from_mm(mm), basis: Basis::Own });
    Class {
        id: "own".to_owned(),
        title: "the job's own".to_owned(),
        source: String::new(),
        section_mm_per_sqrt_km: None,
        loop_mm_per_sqrt_km: Some(Rate { mm, basis: Basis::Own }),
        mm_per_sqrt_setup: None,
        sight_max: limit(60_000),
        setup_imbalance_max: None,
        sum_imbalance_max: None,
        line_of_sight_min: None,
        spread_max: None,
        two_differences_max: None,
        even_setups: None,
        collimation_interval: None,
        collimation_max: None,
        sequence: None,
    }
}

/// A run of so many setups, without a mistake, from `BM-1` to `BM-2` or back.
fn scene(dice: &mut Dice, setups: usize, unit: Unit) -> Scene {
    let (decimals, mut stands) = (if unit.is_foot() { 4 } else { 5 }, Vec::new());
    let middle = (dice.pick(2) == 0 && setups >= 6).then(|| setups / 3 + dice.pick(setups / 3));
    let is_loop = dice.pick(2) == 0;
    let mut rises: Vec<f64> = (0..setups).map(|_| dice.between(-1.5, 1.5)).collect();
    if is_loop {
        let mean = rises.iter().sum::<f64>() / setups as f64;
        rises.iter_mut().for_each(|rise| *rise -= mean);
    }
    let mut elevation = 50.0;
    let mut marks = vec![elevation];
    for rise in rises {
        let middle_of_staff = dice.between(1.85, 2.15);
        let sight = dice.between(12.0, 35.0);
        stands.push(Stand {
            back: middle_of_staff + rise / 2.0,
            fore: middle_of_staff - rise / 2.0,
            back_sight: sight,
            fore_sight: sight + dice.between(-1.0, 1.0),
            typed: false,
        });
        elevation += rise;
        marks.push(elevation);
    }
    let mut known = vec![("BM-1", 50.0)];
    if !is_loop {
        known.push(("BM-2", elevation));
    }
    if let Some(after) = middle {
        known.push(("BM-3", marks[after + 1]));
    }
    known.push(("BM-8", elevation + dice.size(0.05, 2.0)));
    known.push(("BM-9", elevation + dice.size(0.05, 2.0)));
    let known = known
        .into_iter()
        .map(|(point, elevation)| KnownPoint {
            name: name(point),
            elevation: measured(elevation, unit, 4),
            assumed: false,
        })
        .collect();
    let settings = Settings {
        unit,
        also_units: Vec::new(),
        class: class(8.0),
        sequence: "BF".parse().unwrap(),
        start: Some(name("BM-1")),
        known,
        staffs: Staffs::default(),
        instrument: Instrument::default(),
        corrections: Corrections::default(),
        booking: Booking::HeightOfInstrument,
    };
    let end = name(if is_loop { "BM-1" } else { "BM-2" });
    Scene { settings, stands, middle, end, noise_m: 0.0003, decimals }
}

/// One run with a mistake of the family in it, over its allowance; seeds that come out inside it are passed over.
pub(crate) fn plant(family: Family, seed: u64) -> Planted {
    let mut dice = Dice::new(seed.wrapping_mul(0x5851_f42d_4c95_7f2d) ^ family as u64);
    loop {
        if let Some(planted) = try_plant(family, &mut dice) {
            return planted;
        }
    }
}

/// A run of so many setups with one exchanged: what the bench times.
pub(crate) fn long_run(setups: usize) -> Planted {
    let mut dice = Dice::new(7);
    let mut scene = scene(&mut dice, setups, Unit::Metre);
    let at = setups / 2;
    let stand = &mut scene.stands[at];
    std::mem::swap(&mut stand.back, &mut stand.fore);
    let Taking { book, events } = scene.book(&mut dice, &[]);
    assert!(over(&book), "an exchanged setup does not close");
    Planted { book, events, truth: Truth::Setup(at as u32 + 1) }
}

fn over(book: &Book) -> bool {
    book.runs().iter().flat_map(closerun::book::run::Run::closures).any(closerun::book::run::Closure::over)
}

/// What is done to the list of shots before it is booked.
enum Twist {
    /// The shot of this place is taken again, right after it.
    Again(usize),
    /// The shot of this place is off by so much, metres.
    Off(usize, f64),
}

fn try_plant(family: Family, dice: &mut Dice) -> Option<Planted> {
    let setups = 8 + dice.pick(13);
    let unit = if matches!(family, Family::WholeFoot | Family::WholeTenth) { Unit::Foot } else { Unit::Metre };
    let mut scene = scene(dice, setups, unit);
    let at = dice.pick(setups);
    let mut twists = Vec::new();
    let truth = match family {
        Family::Noise => {
            scene.settings.class = class(2.0);
            Truth::Run
        }
        Family::WiderNoise => {
            scene.noise_m *= 2.0;
            Truth::Run
        }
        Family::Exchanged => {
            let stand = &mut scene.stands[at];
            std::mem::swap(&mut stand.back, &mut stand.fore);
            Truth::Setup(at as u32 + 1)
        }
        Family::Repeat => {
            let shot = dice.pick(2 * setups - 2);
            twists.push(Twist::Again(shot));
            Truth::Reading(shot as u32 + 2)
        }
        Family::SignLost => {
            // Three turning points are overhead: the staff hangs from them.
            let overhead: Vec<usize> = (0..3).map(|third| third * (setups - 1) / 3).collect();
            if scene.middle.is_some_and(|middle| overhead.contains(&middle)) {
                return None;
            }
            for &setup in &overhead {
                let up = dice.between(2.2, 3.2);
                scene.stands[setup].fore -= up;
                scene.stands[setup + 1].back -= up;
            }
            let setup = overhead[dice.pick(3)];
            let back = dice.pick(2) == 0;
            let (stand, number) = (setup + usize::from(back), 2 * (setup + usize::from(back)) + usize::from(!back) + 1);
            let reading = if back { &mut scene.stands[stand].back } else { &mut scene.stands[stand].fore };
            if *reading > -0.05 {
                return None;
            }
            *reading = -*reading;
            Truth::Reading(number as u32)
        }
        Family::WholeMetre | Family::WholeDecimetre | Family::WholeFoot | Family::WholeTenth => {
            let step = match family {
                Family::WholeMetre => 1.0,
                Family::WholeDecimetre => 0.1,
                Family::WholeFoot => 0.3048,
                _ => 0.03048,
            };
            let (shot, reading) = scene.typed_shot(dice);
            let by = step * dice.sign();
            if !(0.0..4.0).contains(&(*reading + by)) {
                return None;
            }
            *reading += by;
            Truth::Reading(shot)
        }
        Family::DigitsTurned => {
            let pair = dice.pick(4);
            let (shot, reading) = scene.typed_shot(dice);
            *reading = turned(*reading, 4, pair)?;
            Truth::Reading(shot)
        }
        Family::ElevationTurned => {
            let point = scene.end.clone();
            let pair = dice.pick(5);
            let known = scene.settings.known.iter_mut().find(|known| known.name == point && point != name("BM-1"))?;
            let elevation = turned(known.elevation.value().to_f64_m(), 4, pair)?;
            known.elevation = measured(elevation, unit, 4);
            Truth::Point(point)
        }
        Family::AgainstRepeats => {
            scene.settings.sequence = ["BBFF", "BFFB", "BFx3"][dice.pick(3)].parse().unwrap();
            let shot = dice.pick(setups * scene.settings.sequence.readings());
            twists.push(Twist::Off(shot, dice.size(0.01, 0.2)));
            Truth::Reading(shot as u32 + 1)
        }
        Family::WrongMark => {
            // The staff stood on another mark than the one that is named.
            let known = |scene: &Scene, point: &str| {
                scene
                    .settings
                    .known
                    .iter()
                    .find(|known| known.name == name(point))
                    .unwrap()
                    .elevation
                    .value()
                    .to_f64_m()
            };
            let by = known(&scene, "BM-8") - known(&scene, scene.end.as_str());
            let last = scene.stands.last_mut().unwrap();
            last.fore -= by;
            if !(0.0..4.0).contains(&last.fore) {
                return None;
            }
            Truth::Reading(2 * setups as u32)
        }
        Family::KnownMoved => {
            let point = match scene.middle {
                Some(_) => name("BM-3"),
                None => scene.end.clone(),
            };
            let known = scene.settings.known.iter_mut().find(|known| known.name == point && point != name("BM-1"))?;
            let moved = known.elevation.value().to_f64_m() + dice.size(0.005, 0.1);
            known.elevation = measured(moved, unit, 4);
            Truth::Point(point)
        }
        Family::TurningPoint => {
            if at == 0 || scene.middle == Some(at - 1) {
                return None;
            }
            scene.stands[at].back += dice.size(0.005, 0.1);
            Truth::Setup(at as u32 + 1)
        }
        Family::StaffZero => {
            scene.settings.staffs.in_use = StaffsInUse::Pair;
            scene.settings.class = class(3.0);
            scene.settings.instrument.reading_sd = Length::from_um(100);
            scene.noise_m = 0.0001;
            let by = dice.normal() * 0.001;
            for (at, stand) in scene.stands.iter_mut().enumerate() {
                stand.back += if at % 2 == 0 { by } else { 0.0 };
                stand.fore += if at % 2 == 0 { 0.0 } else { by };
            }
            Truth::Run
        }
        Family::Collimation => {
            let (lean, c) = (dice.between(3.0, 12.0), dice.normal() * 0.0001);
            for stand in &mut scene.stands {
                stand.back_sight += lean;
                stand.back += c * stand.back_sight;
                stand.fore += c * stand.fore_sight;
            }
            Truth::Run
        }
    };
    let Taking { book, events } = scene.book(dice, &twists);
    over(&book).then_some(Planted { book, events, truth })
}

/// A value whose neighbouring digits of that place are exchanged; `None` if they are equal.
fn turned(value: f64, decimals: usize, place: usize) -> Option<f64> {
    let text = format!("{value:.decimals$}");
    let digits: Vec<usize> = text.bytes().enumerate().filter(|(_, b)| b.is_ascii_digit()).map(|(at, _)| at).collect();
    let mut bytes = text.into_bytes();
    if bytes[digits[place]] == bytes[digits[place + 1]] {
        return None;
    }
    bytes.swap(digits[place], digits[place + 1]);
    String::from_utf8(bytes).unwrap().parse().ok()
}

impl Scene {
    /// Two setups were read by eye and typed, to a tenth of a millimetre; one of their readings, with its number.
    fn typed_shot(&mut self, dice: &mut Dice) -> (u32, &mut f64) {
        let count = self.stands.len();
        let first = dice.pick(count);
        let second = (first + 1 + dice.pick(count - 1)) % count;
        for at in [first, second] {
            let stand = &mut self.stands[at];
            let noise = |value: f64, dice: &mut Dice| ((value + 0.0003 * dice.normal()) * 1e4).round() / 1e4;
            (stand.back, stand.fore, stand.typed) = (noise(stand.back, dice), noise(stand.fore, dice), true);
        }
        let (at, back) = (if dice.pick(2) == 0 { first } else { second }, dice.pick(2) == 0);
        let number = 2 * at as u32 + if back { 1 } else { 2 };
        let stand = &mut self.stands[at];
        (number, if back { &mut stand.back } else { &mut stand.fore })
    }

    /// The run as it is booked.
    fn book(&self, dice: &mut Dice, twists: &[Twist]) -> Taking {
        use closerun::book::reading::Role;
        let sequence = self.settings.sequence;
        // True value, sight, typed, and the mark that the crew names it to be on.
        let mut shots: Vec<(f64, f64, bool, Option<&PointName>)> = Vec::new();
        let middle = name("BM-3");
        for (at, stand) in self.stands.iter().enumerate() {
            let end = if at + 1 == self.stands.len() { Some(&self.end) } else { None };
            let mark = end.or((self.middle == Some(at)).then_some(&middle));
            shots.extend(sequence.roles(at as u32 + 1).map(|role| match role {
                Role::Back => (stand.back, stand.back_sight, stand.typed, None),
                _ => (stand.fore, stand.fore_sight, stand.typed, mark),
            }));
        }
        for twist in twists {
            match *twist {
                Twist::Again(place) => shots.insert(place + 1, shots[place]),
                Twist::Off(place, by) => shots[place].0 += by,
            }
        }
        let mut book = Taking::new(self.settings.clone());
        for (index, &(value, sight, typed, mark)) in shots.iter().enumerate() {
            let unit = self.settings.unit;
            let noisy = if typed { value } else { value + self.noise_m * dice.normal() };
            let decimals = if typed && !unit.is_foot() { 4 } else { self.decimals };
            let mut reading = Reading::of(measured(noisy, unit, decimals));
            reading.sight = Some(measured(sight + 0.01 * dice.normal(), unit, 2));
            book.read(reading, typed);
            // The crew names a mark once it has been shot for the last time.
            let again = shots.get(index + 1).is_some_and(|next| next.3 == mark);
            if let Some(mark) = mark.filter(|_| !again) {
                let number = index as u32 + 1;
                book.say(Command::Point { reading: Target::Number(number), point: mark.clone() });
            }
        }
        book
    }
}

/// A book that takes readings and commands, and keeps their events.
struct Taking {
    book: Book,
    events: Vec<Event>,
}

impl Taking {
    fn new(settings: Settings) -> Self {
        let mut taking = Taking { book: Book::new(), events: Vec::new() };
        taking.keep(Body::JobOpened { program: "simulation".to_owned(), settings: Box::new(settings) });
        taking
    }

    fn keep(&mut self, body: Body) {
        let seq = self.book.last_event() + 1;
        let at = Moment::from_us(1_790_000_000_000_000 + seq as i64 * 4_000_000);
        let event = Event { seq, at, simulated: true, body, raw: Vec::new() };
        self.book.apply(&event);
        self.events.push(event);
    }

    fn read(&mut self, reading: Reading, typed: bool) {
        if typed {
            self.say(Command::KeyIn { reading: Box::new(reading) });
        } else {
            self.keep(Body::Heard { heard: Heard::Reading(reading) });
        }
    }

    fn say(&mut self, command: Command) {
        let input = Input::Command { command, by: Origin::Tell };
        if let Some(body) = decide(&self.book, &input).unwrap() {
            self.keep(body);
        }
    }
}

impl Planted {
    /// A person says something.
    pub(crate) fn say(&mut self, command: Command) {
        self.taking(|taking| taking.say(command));
    }

    /// One more event.
    pub(crate) fn keep(&mut self, body: Body) {
        self.taking(|taking| taking.keep(body));
    }

    fn taking(&mut self, take: impl FnOnce(&mut Taking)) {
        let mut taking = Taking { book: std::mem::take(&mut self.book), events: std::mem::take(&mut self.events) };
        take(&mut taking);
        (self.book, self.events) = (taking.book, taking.events);
    }
}
