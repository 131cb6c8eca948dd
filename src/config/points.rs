//! The points of the settings whose elevation is given, and the one where the first run starts.

use super::check::Check;
use super::given::{Given, Place, Said};
use super::measures::{point, point_with_elevation};
use crate::book::reading::PointName;
use crate::book::settings::KnownPoint;
use crate::units::Unit;

/// The start and the known points.
///
/// A flag wins over the file where both name a point; within either a point may be named once. Where a run without a
/// stated start begins is for the book to say, which also knows what the records name.
pub(super) fn points(check: &mut Check<'_>, given: &Given, unit: Unit) -> (Option<PointName>, Vec<KnownPoint>) {
    let start = given.start.as_ref();
    let start_with_elevation = start.filter(|said| said.value.contains('='));
    let known = start_with_elevation.into_iter().chain(&given.known).map(|said| (said, false));
    let mut listed: Vec<(&Said<String>, bool)> = known.chain(given.assumed.iter().map(|said| (said, true))).collect();
    listed.sort_by_key(|(said, _)| in_file(&said.place));

    let mut points: Vec<(KnownPoint, &Place)> = Vec::new();
    for (said, assumed) in listed {
        let Some((name, elevation)) = check.read(Some(said), |text| point_with_elevation(text, unit)) else {
            continue;
        };
        match points.iter().find(|(point, _)| point.name == name) {
            None => points.push((KnownPoint { name, elevation, assumed }, &said.place)),
            Some((earlier, place)) if in_file(place) == in_file(&said.place) => {
                let (first, second) = (earlier.elevation, elevation);
                let message = format!(
                    "{name} found with {} {} and with {} {}, one elevation was wanted",
                    first.digits(),
                    first.unit(),
                    second.digits(),
                    second.unit()
                );
                check.refuse(&said.place, message);
            }
            Some(_) => {}
        }
    }
    let points: Vec<KnownPoint> = points.into_iter().map(|(point, _)| point).collect();

    let start = start.and_then(|said| match said.value.rsplit_once('=') {
        // A wrong name was refused above, with the elevation behind it.
        Some((name, _)) => point(name).ok(),
        None => check.read(Some(said), |text| point(text)),
    });
    (start, points)
}

fn in_file(place: &Place) -> bool {
    matches!(place, Place::File(_))
}
