//! Which of the drafts is it: one, or several that only a person can tell apart.

use std::cmp::Ordering;

use super::candidate::Candidate;
use super::capture::Capture;
use super::cutting::Cutting;
use super::seen::Seen;
use super::trial::Read;
use super::{Apart, Drafted};

/// The most drafts that are shown side by side.
const SHOWN_MAX: usize = 4;

/// Chooses, or shows side by side.
pub(super) fn decide(mut tried: Vec<Candidate>, capture: &Capture, cuttings: &[Cutting], seen: &[Seen]) -> Drafted {
    if tried.is_empty() {
        return Drafted::Nothing { reasons: reasons(capture, cuttings, seen) };
    }
    let most = tried.iter().map(|candidate| candidate.trial.explained).max().unwrap_or(0);
    // Of a damaged capture a strict draft explains less than one that takes anything for text.
    let least = if most * 10 >= capture.bytes.len() * 9 { most * 19 / 20 } else { most * 4 / 5 };
    tried.retain(|candidate| candidate.trial.explained >= least);
    let has_sight = |candidate: &Candidate| candidate.trial.readings.iter().any(|read| read.sight.is_some());
    let with_sight = tried.iter().any(has_sight);
    tried.retain(|candidate| has_sight(candidate) || !with_sight);
    let mut groups: Vec<Candidate> = Vec::new();
    for candidate in tried {
        match groups.iter_mut().find(|group| group.trial.agrees(&candidate.trial)) {
            Some(group) => {
                if says_more(&candidate, group) {
                    *group = candidate;
                }
            }
            None => groups.push(candidate),
        }
    }
    if groups.len() == 1 {
        return Drafted::One(Box::new(groups.remove(0).draft));
    }
    groups.truncate(SHOWN_MAX);
    let apart = apart(&groups);
    Drafted::Several { drafts: groups.into_iter().map(|group| group.draft).collect(), apart }
}

/// Whether a draft says clearly more than one that was found before it: the ways that explain most are tried first.
fn says_more(candidate: &Candidate, known: &Candidate) -> bool {
    let clearly = |more: usize, less: usize| more * 9 > less * 10;
    let (readings, others) = (candidate.trial.readings.len(), known.trial.readings.len());
    match candidate.checks.cmp(&known.checks) {
        Ordering::Equal if clearly(readings, others) => true,
        Ordering::Equal => !clearly(others, readings) && clearly(candidate.trial.decimals(), known.trial.decimals()),
        order => order == Ordering::Greater,
    }
}

/// The most places that are shown where drafts part.
const APART_MAX: usize = 3;

/// Where drafts part.
fn apart(groups: &[Candidate]) -> Vec<Apart> {
    let mut apart: Vec<Apart> = Vec::new();
    for read in groups.iter().flat_map(|group| &group.trial.readings) {
        let place = read.at..read.at + read.len;
        if apart.iter().any(|known| known.place.start < place.end && place.start < known.place.end) {
            continue;
        }
        let there = |group: &Candidate| {
            let within = |other: &&Read| (other.at..other.at + other.len).contains(&read.middle());
            let around = |other: &&Read| place.contains(&other.middle());
            let read = group.trial.readings.iter().find(|other| within(other) || around(other))?;
            let sight = read.sight.map_or(String::new(), |sight| format!(" / {} {}", sight.digits(), sight.unit()));
            Some(format!("{} {}{sight}", read.staff.digits(), read.staff.unit()))
        };
        let readings: Vec<Option<String>> = groups.iter().map(there).collect();
        if readings.iter().any(|reading| *reading != readings[0]) {
            apart.push(Apart { place, readings });
        }
        if apart.len() >= APART_MAX {
            break;
        }
    }
    apart
}

/// How far it came.
fn reasons(capture: &Capture, cuttings: &[Cutting], seen: &[Seen]) -> Vec<String> {
    let most = cuttings.iter().map(|cutting| cutting.frames.len()).max().unwrap_or(0);
    let mut reasons = vec![format!(
        "{} bytes fall into frames in {} ways, {most} frames at most, and in none of them the {} readings given come out",
        capture.bytes.len(),
        cuttings.len(),
        seen.len(),
    )];
    reasons.push(
        "are the readings in the order in which they were shot, and as the display showed them? Are all in the capture?"
            .to_owned(),
    );
    reasons
}
