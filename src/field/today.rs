//! The day's list of a job: what has been checked, what is due, what is provisional, what is open.

use serde::Serialize;

use super::rises::{self, Standing};
use super::set_out::Stands;
use super::targets::{Corrections, targets};
use crate::book::Book;
use crate::book::activity::{Agreement, Judged, Outcome, Task};
use crate::book::finding::Priority;
use crate::book::moment::Moment;
use crate::book::wording::Wording;

/// How something stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// It must be done, and is not.
    Due,
    /// It was begun, and is not finished.
    Open,
    /// It is done, and rests on what is not closed yet.
    Provisional,
    /// It was checked, and holds.
    Checked,
}

impl Group {
    /// All of them, the most urgent first.
    pub const ALL: [Group; 4] = [Group::Due, Group::Open, Group::Provisional, Group::Checked];

    /// The head over its items.
    pub fn word(self) -> &'static str {
        match self {
            Group::Due => "due",
            Group::Open => "open",
            Group::Provisional => "provisional",
            Group::Checked => "checked",
        }
    }
}

/// One line of the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Item {
    /// How it stands.
    pub group: Group,
    /// What, in a sentence.
    pub text: String,
}

/// The list, in the order of its groups.
pub fn today(book: &Book, now: Moment, corrections: &Corrections) -> Vec<Item> {
    let mut items = Vec::new();
    let mut put = |group, text: String| items.push(Item { group, text });
    instrument(book, now, &mut put);
    marks(book, &mut put);
    carried(book, &mut put);
    runs(book, &mut put);
    set(book, corrections, &mut put);
    if let Some(activity) = book.activities().under_way() {
        let shots = match activity.counted().count() {
            1 => "1 shot".to_owned(),
            shots => format!("{shots} shots"),
        };
        put(Group::Open, format!("{} is under way, {shots} taken", activity.task.title()));
    }
    for (key, standing) in book.standing() {
        if standing.priority == Priority::Hold && !standing.acknowledged {
            let fact = book.findings().find(|finding| finding.key == *key).map(|finding| finding.fact.clone());
            put(Group::Open, format!("hold: {}", fact.unwrap_or_else(|| key.to_string())));
        }
    }
    items.sort_by_key(|item| item.group);
    items
}

const DAY_S: u64 = 24 * 60 * 60;

type Put<'p> = &'p mut dyn FnMut(Group, String);

fn instrument(book: &Book, now: Moment, put: Put<'_>) {
    let mut seen = Vec::new();
    for (activity, done) in book.activities().outcomes().rev() {
        let (Outcome::Collimation { judged, .. } | Outcome::FieldTest { judged, .. }) = done.outcome else { continue };
        let what = (activity.task.name(), activity.task.instrument());
        if seen.contains(&what) {
            continue;
        }
        seen.push(what);
        let of = activity.task.instrument().map(|name| format!(" of {name}")).unwrap_or_default();
        // What was found, and how it stands to its limit.
        let said = done.said.iter().take(2).map(String::as_str).collect::<Vec<_>>().join("; ");
        let text = format!("{}{of}, {}: {said}", activity.task.name(), &done.at.to_string()[..10]);
        put(if judged == Judged::Within { Group::Checked } else { Group::Due }, text);
    }
    let class = &book.settings().class;
    let interval = class.collimation_interval;
    let within = interval.map(|interval| {
        let days = if interval.days == 1 { "1 day".to_owned() } else { format!("{} days", interval.days) };
        format!(", wanted within {days} ({}{})", class.title, interval.basis.remark())
    });
    match (book.activities().tested(book.settings().instrument.name.as_deref(), u64::MAX), interval) {
        (Some(at), Some(interval)) if now.since(at).as_secs() > u64::from(interval.days) * DAY_S => {
            let date = &at.to_string()[..10];
            put(Group::Due, format!("the line of sight was last tested on {date}{}", within.unwrap_or_default()));
        }
        (Some(_), _) => {}
        (None, Some(_)) => {
            put(Group::Due, format!("the line of sight has not been tested in this job{}", within.unwrap_or_default()));
        }
        (None, None) => put(Group::Open, "the line of sight has not been tested in this job".to_owned()),
    }
}

fn marks(book: &Book, put: Put<'_>) {
    let mut seen = Vec::new();
    for (activity, done) in book.activities().outcomes().rev() {
        let (Task::CheckMark { mark, against, .. }, Outcome::Checked { agreement, .. }) =
            (&activity.task, &done.outcome)
        else {
            continue;
        };
        if seen.contains(&(mark, against)) {
            continue;
        }
        seen.push((mark, against));
        let group = if *agreement == Agreement::Agrees { Group::Checked } else { Group::Due };
        put(group, done.said.join("; "));
    }
    for name in book.known().keys() {
        if !seen.iter().any(|(mark, against)| *mark == name || *against == name) {
            put(Group::Open, format!("{name} has not been checked against another mark"));
        }
    }
}

fn carried(book: &Book, put: Put<'_>) {
    let all: Vec<_> = book.activities().rises().collect();
    for (at, rise) in all.iter().enumerate() {
        let standing = rises::standing(&all, at);
        let group = if standing == Standing::Agrees { Group::Checked } else { Group::Due };
        put(group, format!("{} {}", rise.activity.task.title(), standing.words()));
    }
}

fn runs(book: &Book, put: Put<'_>) {
    let say = Wording::new(book.settings().unit);
    for run in book.runs() {
        let Some(closure) = run.closures().last() else {
            put(Group::Provisional, format!("run {} from {} has not closed", run.number, run.start));
            continue;
        };
        let allowed = closure.allowance.as_ref().map(|allowance| say.share(closure.misclosure, allowance.value));
        let size = allowed.unwrap_or_else(|| say.signed_height(closure.misclosure));
        let (group, how) = if closure.over() { (Group::Due, "does not close") } else { (Group::Checked, "closes") };
        put(group, format!("run {} {how} at {}, {size}", run.number, closure.point));
    }
}

fn set(book: &Book, corrections: &Corrections, put: Put<'_>) {
    let say = Wording::new(book.settings().unit);
    let set = targets(book, corrections);
    for target in &set {
        let name = &target.target.name;
        let text = match target.stands() {
            None => {
                put(Group::Due, format!("target {name} hangs on a line of sight that is gone: set it again"));
                continue;
            }
            Some(Stands::Within) => format!("target {name} is set within {}", say.height(target.tolerance)),
            Some(Stands::SetAgain(off)) => {
                let off = say.signed_height(off);
                put(Group::Due, format!("target {name} is off by {off}: set it again"));
                continue;
            }
        };
        put(if target.adjusted.is_some() { Group::Checked } else { Group::Provisional }, text);
    }
    for listed in book.amendments().designs() {
        if !set.iter().any(|target| target.target.name == listed.name) {
            put(Group::Open, format!("target {} is not set yet", listed.name));
        }
    }
}
