//! The accuracy class of the settings: one of ours by its id, or the job's own limits.

use super::check::{Check, within};
use super::given::{ClassGiven, OwnClass, Said};
use super::measures::positive_length;
use crate::book::classes::{self, Basis, Class, Interval, Limit, Rate};

/// The largest misclosure that a class of one's own may allow, in mm per root km or per root setup: ten times what
/// rough levelling is allowed, so more is a slip of the unit.
const RATE_MAX_MM: f64 = 1000.0;
/// The smallest: a hundredth of the strictest class, so less is a slip of the unit.
const RATE_MIN_MM: f64 = 0.02;

/// Inclinations of a line of sight that somebody may ask for, mm per m: no test tells less than the first, and a level
/// that is out by more than the second is not used.
const COLLIMATION_MIN_MM: f64 = 0.001;
const COLLIMATION_MAX_MM: f64 = 1.0;
/// A test that is older than a year tells nothing.
const INTERVAL_MAX_DAYS: u32 = 366;

/// The class; that of building work where none was given or where it is wrong.
pub(super) fn class(check: &mut Check<'_>, given: Option<&Said<ClassGiven>>) -> Class {
    let named = |id: &str| classes::find(id).cloned().map_err(|error| error.to_string());
    let read = match given.map(|said| (&said.value, said)) {
        None => None,
        Some((ClassGiven::Named(id), said)) => check.read(Some(said), |_| named(id)),
        Some((ClassGiven::Own(own), said)) => {
            let base = check.read(own.base.as_ref(), |id| named(id));
            if sets_nothing(own) {
                check.refuse(
                    &said.place,
                    "no limit found in the class, one such as loop-mm-per-root-km = 12 was wanted",
                );
            }
            Some(own_class(check, own, base))
        }
    };
    read.unwrap_or_else(|| classes::find(classes::DEFAULT).expect("the default class is in the table").clone())
}

fn own_class(check: &mut Check<'_>, own: &OwnClass, base: Option<Class>) -> Class {
    let base = base.unwrap_or_else(empty);
    let title = match base.title.as_str() {
        "" => "the job's own class".to_owned(),
        other => format!("the job's own class, otherwise {other}"),
    };
    let mut rate = |said: &Option<Said<f64>>, base: Option<Rate>| {
        let own = check.read(said.as_ref(), |&mm| within(mm, RATE_MIN_MM, RATE_MAX_MM));
        own.map(|mm| Rate { mm, basis: Basis::Own }).or(base)
    };
    let section_mm_per_sqrt_km = rate(&own.section_mm_per_root_km, base.section_mm_per_sqrt_km);
    let loop_mm_per_sqrt_km = rate(&own.loop_mm_per_root_km, base.loop_mm_per_sqrt_km);
    let mm_per_sqrt_setup = rate(&own.mm_per_root_setup, base.mm_per_sqrt_setup);
    let mut limit = |said: &Option<Said<String>>, base: Option<Limit>| {
        let own = check.read(said.as_ref(), |text| positive_length(text));
        own.map(|value| Limit { value, basis: Basis::Own }).or(base)
    };
    Class {
        id: "own".to_owned(),
        title: own.title.as_ref().map_or(title, |said| said.value.clone()),
        source: own.source.as_ref().map_or(base.source, |said| said.value.clone()),
        section_mm_per_sqrt_km,
        loop_mm_per_sqrt_km,
        mm_per_sqrt_setup,
        sight_max: limit(&own.sight_max, base.sight_max),
        setup_imbalance_max: limit(&own.setup_imbalance_max, base.setup_imbalance_max),
        sum_imbalance_max: limit(&own.sum_imbalance_max, base.sum_imbalance_max),
        line_of_sight_min: limit(&own.line_of_sight_min, base.line_of_sight_min),
        spread_max: limit(&own.spread_max, base.spread_max),
        two_differences_max: limit(&own.two_differences_max, base.two_differences_max),
        even_setups: match own.even_setups.as_ref().map(|said| said.value) {
            Some(true) => Some(Basis::Own),
            Some(false) => None,
            None => base.even_setups,
        },
        collimation_max: {
            let own = check
                .read(own.collimation_max_mm_per_m.as_ref(), |&mm| within(mm, COLLIMATION_MIN_MM, COLLIMATION_MAX_MM));
            own.map(|mm| Rate { mm, basis: Basis::Own }).or(base.collimation_max)
        },
        collimation_interval: {
            let days = check.read(own.collimation_interval_days.as_ref(), |&days| {
                within(f64::from(days), 1.0, f64::from(INTERVAL_MAX_DAYS)).map(|_| days)
            });
            days.map(|days| Interval { days, basis: Basis::Own }).or(base.collimation_interval)
        },
        sequence: base.sequence,
    }
}

/// A class without limits, for one's own to be built on.
fn empty() -> Class {
    Class {
        id: String::new(),
        title: String::new(),
        source: "set for the job".to_owned(),
        section_mm_per_sqrt_km: None,
        loop_mm_per_sqrt_km: None,
        mm_per_sqrt_setup: None,
        sight_max: None,
        setup_imbalance_max: None,
        sum_imbalance_max: None,
        line_of_sight_min: None,
        spread_max: None,
        two_differences_max: None,
        even_setups: None,
        collimation_max: None,
        collimation_interval: None,
        sequence: None,
    }
}

/// Whether a class of one's own has a name at most: a table that would switch every check off.
fn sets_nothing(own: &OwnClass) -> bool {
    *own == OwnClass { title: own.title.clone(), source: own.source.clone(), ..OwnClass::default() }
}
