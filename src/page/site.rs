//! All instruments that the page shows, and what has been counted.

use std::sync::{Arc, Mutex, PoisonError};

use schemars::JsonSchema;
use serde::Serialize;

use super::hub::Hub;
use super::stream::Seats;
use super::{Instrument, Limits, Upstream};
use crate::report::live::SCHEMA;
use crate::report::state::Now;

/// The longest name in an address; a longer one is cut.
const SLUG_MAX: usize = 32;

/// All of it.
pub(super) struct Site {
    instruments: Vec<Arc<Shown>>,
    pub(super) limits: Limits,
    pub(super) seats: Seats,
    counts: Mutex<Counts>,
}

/// One instrument.
pub(super) struct Shown {
    /// Its name in addresses.
    pub(super) slug: String,
    /// Its name as people say it.
    pub(super) name: String,
    pub(super) hub: Hub,
    pub(super) upstream: Box<dyn Upstream>,
}

/// What has been counted since the page opened.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    /// Requests that were not heard: foreign host, foreign origin, not paired.
    pub(super) refused: u64,
    /// Connections beyond the limit.
    pub(super) turned_away: u64,
    /// Connections that are open.
    pub(super) connections: usize,
}

/// All instruments in short.
#[derive(Serialize, JsonSchema)]
pub(super) struct Overview {
    /// Version of this form: 1.
    schema: u32,
    /// One each, in the order in which they were given.
    instruments: Vec<Brief>,
}

/// How one instrument stands, in short.
#[derive(Serialize, JsonSchema)]
pub(super) struct Brief {
    /// Its name in addresses: its page is `/instruments/NAME`.
    pub(super) instrument: String,
    /// Its name.
    pub(super) name: String,
    /// Seconds since it was last heard, at most.
    pub(super) heard_s: Option<u64>,
    /// What matters now.
    pub(super) now: Now,
}

impl Site {
    pub(super) fn new(limits: Limits, instruments: Vec<Instrument>) -> Self {
        let mut shown: Vec<Arc<Shown>> = Vec::new();
        for Instrument { name, upstream } in instruments {
            let taken = |slug: &str| shown.iter().any(|shown| shown.slug == slug);
            let first = slug_of(&name);
            let mut numbered = (2..).map(|number| format!("{first}-{number}"));
            let slug = if taken(&first) { numbered.find(|slug| !taken(slug)) } else { None }.unwrap_or(first.clone());
            shown.push(Arc::new(Shown { hub: Hub::new(slug.clone(), name.clone()), slug, name, upstream }));
        }
        Site { instruments: shown, limits, seats: Seats::new(limits.streams), counts: Mutex::default() }
    }

    pub(super) fn all(&self) -> &[Arc<Shown>] {
        &self.instruments
    }

    /// The instrument, if there is one alone.
    pub(super) fn only(&self) -> Option<&Arc<Shown>> {
        if let [only] = &self.instruments[..] { Some(only) } else { None }
    }

    /// The instrument of this name.
    pub(super) fn named(&self, slug: &str) -> Option<&Arc<Shown>> {
        self.instruments.iter().find(|shown| shown.slug == slug)
    }

    /// All instruments in short.
    pub(super) fn overview(&self) -> Overview {
        Overview { schema: SCHEMA, instruments: self.instruments.iter().map(|shown| shown.hub.brief()).collect() }
    }

    /// Counts something.
    pub(super) fn count(&self, what: impl FnOnce(&mut Counts)) {
        what(&mut self.counts.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// What has been counted.
    pub(super) fn counts(&self) -> Counts {
        *self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A name as it stands in an address: small letters, digits and hyphens.
fn slug_of(name: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let slug: String = name.chars().map(plain).take(SLUG_MAX).collect();
    let parts: Vec<&str> = slug.split('-').filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "instrument".to_owned() } else { parts.join("-") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::tests::Nobody;

    #[test]
    fn names_make_addresses_that_differ() {
        let long = "a".repeat(40);
        let names = ["North core", "north/core", "../..", "Üß", &long];
        let instruments = names.map(|name| Instrument::new(name, Nobody));
        let site = Site::new(Limits::usual(), instruments.into());
        let slugs: Vec<&str> = site.all().iter().map(|shown| &*shown.slug).collect();
        assert_eq!(slugs, ["north-core", "north-core-2", "instrument", "instrument-2", &long[..SLUG_MAX]]);
        assert!(site.only().is_none());
        assert!(site.named("north-core-2").is_some());
    }
}
