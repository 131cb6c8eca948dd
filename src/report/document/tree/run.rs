//! A run: its page of the book, its page checks, and how far it may be relied on.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Closes, ClosureRow, Figure, Section};

/// One run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RunPart {
    /// Counted from 1.
    pub number: u32,
    /// Where it starts.
    pub from: String,
    /// The point that it has reached.
    pub to: String,
    /// A person ended it.
    pub ended: bool,
    /// Setups with a rise.
    pub setups: u32,
    /// Length, all counted sights; too short where `length_lacks`.
    pub length: Figure,
    /// Some setup had no sight lengths.
    pub length_lacks: bool,
    /// What its elevations rest on, in words: one, and one more after each gap.
    pub datums: Vec<String>,
    /// The same as data, in the same order; none where nothing ties them to a known point.
    pub ties: Vec<Option<Tie>>,
    /// Whether it may be relied on.
    pub standing: RunStanding,
    /// The same in words, with where.
    pub standing_words: String,
    /// Its page of the book.
    pub lines: Vec<Line>,
    /// The page check: one, and one more after each gap.
    pub page_checks: Vec<PageCheck>,
    /// What closed.
    pub closures: Vec<ClosureRow>,
    /// The misclosures shared out, section by section.
    pub sections: Vec<Section>,
}

impl RunPart {
    /// How it stands, with the closure that says so.
    pub fn verdict(&self) -> String {
        let mut closures = self.closures.iter();
        let telling = match self.standing {
            RunStanding::DoesNotClose => closures.find(|closure| closure.verdict == Closes::DoesNotClose),
            _ => closures.next_back(),
        };
        match telling {
            Some(closure) => format!("{}; at {} {}", self.standing_words, closure.point, closure.words),
            None => self.standing_words.clone(),
        }
    }
}

/// What ties heights to the datum.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Tie {
    /// The point.
    pub point: String,
    /// The setup at which it was met; 0 for the start of the run.
    pub setup: u32,
    /// How its elevation is known.
    pub origin: TieOrigin,
    /// Its elevation.
    pub elevation: Figure,
    /// Where an earlier run reached it, if its elevation was carried there.
    pub carried_from: Option<Reached>,
}

/// How the elevation of a tie is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum TieOrigin {
    /// Somebody else set it.
    Given,
    /// It was made up to have one to start from.
    Assumed,
    /// An earlier run carried it there.
    Carried,
}

/// The fore point of a setup, or the start of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, JsonSchema)]
pub struct Reached {
    /// The run, counted from 1.
    pub run: u32,
    /// The setup within it; 0 for the start of the run.
    pub setup: u32,
}

/// Whether a run may be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RunStanding {
    /// It closes within the allowance, up to its last point.
    Closes,
    /// It closes, and then goes on beyond.
    ClosesInPart,
    /// A misclosure is over its allowance.
    DoesNotClose,
    /// It closed, and the class has no allowance for that.
    NotJudged,
    /// It has not closed.
    Provisional,
}

/// One line of the book: a point with what was read on it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// The point; none for a struck foresight whose point nobody named.
    pub point: Option<String>,
    /// The foresight that ends a setup here.
    pub foresight: Option<Sight>,
    /// An intermediate sight.
    pub intermediate: Option<Sight>,
    /// The backsight that begins a setup here.
    pub backsight: Option<Sight>,
    /// Readings of setups that were begun here and then broken off.
    pub broken: Vec<u32>,
    /// Height of instrument of the setup that begins here.
    pub height_of_instrument: Option<Figure>,
    /// Rise from the sight before.
    pub rise: Option<Figure>,
    /// Fall from the sight before.
    pub fall: Option<Figure>,
    /// Elevation.
    pub elevation: Option<Figure>,
    /// On which of the run's ties it rests, counted from 1: one more after each gap.
    pub tie: u32,
    /// What must be said of the point or of its sights; what is said of a reading stands with the reading.
    pub remarks: Vec<String>,
}

/// A sight: one staff in one place, with all shots on it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sight {
    /// The setup, counted from 1 through the run.
    pub setup: u32,
    /// What is booked: the mean of the shots that count, corrected. None if all are struck.
    pub booked: Option<Figure>,
    /// Mean sight length of the shots that count.
    pub sight_length: Option<Figure>,
    /// How many shots count.
    pub counted: u32,
    /// The readings, struck ones included.
    pub shots: Vec<u32>,
}

/// The page check over lines that hang together.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PageCheck {
    /// First point.
    pub from: String,
    /// Last point.
    pub to: String,
    /// The line of the run on which it begins, counted from 1.
    pub first_line: u32,
    /// The line on which it ends.
    pub last_line: u32,
    /// Sum of the backsights of setups that have both sights.
    pub sum_backsights: Figure,
    /// Sum of their foresights.
    pub sum_foresights: Figure,
    /// The first sum less the second.
    pub backsights_less_foresights: Figure,
    /// Sum of the rises.
    pub sum_rises: Figure,
    /// Sum of the falls.
    pub sum_falls: Figure,
    /// The first sum less the second.
    pub rises_less_falls: Figure,
    /// First elevation, if the lines are tied to a datum.
    pub first: Option<Figure>,
    /// Last elevation.
    pub last: Option<Figure>,
    /// Last less first.
    pub last_less_first: Option<Figure>,
    /// All differences are equal, exactly.
    pub holds: bool,
    /// The largest disagreement between them, if they are not.
    pub off_by: Option<Figure>,
    /// Sum of the sight lengths to the back staff; none if one is not known.
    pub sum_back_sights: Option<Figure>,
    /// Sum of the sight lengths to the fore staff.
    pub sum_fore_sights: Option<Figure>,
    /// Some summed value has more digits than are shown, so that sums by hand may differ in the last one.
    pub rounded: bool,
}
