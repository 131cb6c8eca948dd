//! A plan: one way to read a cutting's frames as readings, in words of the format language, with what it leaves open.

/// One way to read frames as readings.
pub(super) struct Plan {
    /// The record, from `layout` to the last field.
    pub(super) record: String,
    /// Which frames it takes for readings.
    pub(super) members: Vec<bool>,
    /// Frames in which what was seen stands, in order.
    pub(super) shown: Vec<usize>,
    /// What is found where, as a sentence each.
    pub(super) found: Vec<String>,
    /// What a person has to find out.
    pub(super) questions: Vec<String>,
    /// What no reading that was seen had.
    pub(super) unseen: Vec<Unknown>,
}

impl Plan {
    /// A plan whose record is still to be written.
    pub(super) fn of(members: Vec<bool>, shown: &[usize], unseen: Vec<Unknown>) -> Self {
        Plan { record: String::new(), members, shown: shown.to_vec(), found: Vec::new(), questions: Vec::new(), unseen }
    }
}

/// A value of a field that no reading that was seen had, so that nobody knows what it does to the reading.
pub(super) struct Unknown {
    /// The field.
    pub(super) field: String,
    /// Its value.
    pub(super) value: String,
    /// In how many frames it stands.
    pub(super) frames: usize,
    /// The first of them.
    pub(super) row: usize,
}

/// The most values of a field that may be a unit, a sign or a kind: they are few, and each comes often.
pub(super) const FEW: usize = 8;

/// Whether so many different values in so many frames are few.
pub(super) fn are_few(values: usize, frames: usize) -> bool {
    values <= FEW && (values <= 2 || values * 3 <= frames)
}

/// Whether numbers, one a frame, are counted up: each is the one before and one, nearly always.
pub(super) fn counts_up(numbers: &[i64]) -> bool {
    numbers.len() >= COUNTED_MIN && ups(numbers) * 5 >= (numbers.len() - 1) * 4
}

/// How often a number is the one before and one.
pub(super) fn ups(numbers: &[i64]) -> usize {
    numbers.windows(2).filter(|pair| pair[1].checked_sub(pair[0]) == Some(1)).count()
}

/// The fewest numbers that show that they are counted up.
const COUNTED_MIN: usize = 4;

/// Gives each field a name of its own.
#[derive(Default)]
pub(super) struct Names(Vec<String>);

impl Names {
    pub(super) fn take(&mut self, wanted: &str) -> String {
        let mut name = wanted.to_owned();
        for number in 2.. {
            if !self.0.contains(&name) {
                break;
            }
            name = format!("{wanted}-{number}");
        }
        self.0.push(name.clone());
        name
    }
}
