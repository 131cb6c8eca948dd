//! A known mark with what is known of it: where its elevation comes from, how well it is known, how to find it.

use serde::{Deserialize, Serialize};

use super::reading::PointName;
use super::settings::KnownPoint;
use crate::units::{Length, Measured};

/// A known mark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// Its name.
    pub name: PointName,
    /// Its elevation, as it was given.
    pub elevation: Measured,
    /// How well it is known: a standard deviation. Without one it is taken as exact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sd: Option<Length>,
    /// What the elevation is counted from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub datum: Option<String>,
    /// When the elevation was found, as it was given: it tells elevations of one mark apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// Who gave it, or which run carried it there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<String>,
    /// How to find it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub description: Option<String>,
    /// The name of a picture file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<String>,
}

impl Mark {
    /// A mark of which nothing but its elevation is known.
    pub fn of(name: PointName, elevation: Measured) -> Self {
        Mark { name, elevation, sd: None, datum: None, date: None, origin: None, description: None, photo: None }
    }

    /// The mark as a point whose elevation is given.
    pub fn known(&self) -> KnownPoint {
        KnownPoint { name: self.name.clone(), elevation: self.elevation, assumed: false }
    }
}

impl From<&KnownPoint> for Mark {
    fn from(known: &KnownPoint) -> Self {
        Mark::of(known.name.clone(), known.elevation)
    }
}
