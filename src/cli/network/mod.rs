//! `closerun adjust` and `closerun plan`: networks of levelled sections.

pub(super) mod adjust;
mod known;
pub(super) mod plan;
mod sources;
mod weights;

use serde::Serialize;

use super::Failure;
use super::arguments::ShownAs;
use super::job::print;
use crate::report::network::figures::Figures;
use crate::units::Unit;

/// In which unit the result is shown: as asked for, else `own`.
fn figures(shown: ShownAs, own: Unit) -> Figures {
    Figures::new(match (shown.feet, shown.metres) {
        (true, _) => Unit::Foot,
        (_, true) => Unit::Metre,
        _ => own,
    })
}

/// Prints a document in the form that was asked for.
fn print_as<D: Serialize>(
    shown: ShownAs,
    document: &D,
    text: fn(&D) -> String,
    csv: fn(&D) -> String,
) -> Result<(), Failure> {
    if shown.json {
        let json = serde_json::to_string_pretty(document).expect("texts, numbers and lists can be written");
        print(&format!("{json}\n"))
    } else if shown.csv {
        print(&csv(document))
    } else {
        print(&text(document))
    }
}
