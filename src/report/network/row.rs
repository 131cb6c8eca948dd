//! The rows of the document, from the network and its adjustment.

use super::figures::Figures;
use super::{AsideRow, Came, ExposureView, KnownRow, MarkRow, Origin, SectionRow};
use crate::adjust::outcome::{Adjustment, Standing};
use crate::adjust::snoop::Suspect;
use crate::adjust::{Hold, MarkId, Network, Outcome};
use crate::units::Length;

/// What the rows are made from.
pub(super) struct Rows<'a> {
    pub(super) network: &'a Network,
    pub(super) outcome: &'a Outcome,
    pub(super) origin: &'a Origin,
    pub(super) figures: Figures,
}

impl Rows<'_> {
    fn last(&self) -> &Adjustment {
        self.outcome.last()
    }

    fn name(&self, mark: MarkId) -> String {
        self.network.name(mark).to_string()
    }

    /// The number of a section as it was handed in.
    pub(super) fn number(&self, section: usize) -> usize {
        self.origin.numbers.get(section).copied().unwrap_or(section + 1)
    }

    /// Where a section comes from; none for one of a network file.
    fn came(&self, section: usize) -> Option<&Came> {
        self.origin.came.get(self.number(section).checked_sub(1)?)
    }

    pub(super) fn suspect_words(&self, suspect: Suspect) -> String {
        match suspect {
            Suspect::Section(section) => {
                let ends = &self.network.sections()[section.index()];
                format!("section {} ({} to {})", self.number(section.index()), self.name(ends.from), self.name(ends.to))
            }
            Suspect::Known(mark) => format!("the elevation of {}", self.name(mark)),
        }
    }

    pub(super) fn known(&self) -> Vec<KnownRow> {
        let row = |(mark, elevation, hold): &(MarkId, Length, Hold)| {
            let check = self.outcome.known.iter().find(|check| check.mark == *mark);
            let words = match check {
                None => "the free adjustment starts from it".to_owned(),
                Some(check) => {
                    let times = check.difference_m.abs() / check.deviation_m;
                    let fits = if times <= self.last().critical.w {
                        String::new()
                    } else {
                        format!("; it does not fit the others: --release {} leaves it free", self.name(*mark))
                    };
                    format!(
                        "free of it {}, {times:.1} times its deviation, carried from {}{fits}",
                        self.figures.signed_size_words(check.difference_m),
                        self.name(check.datum)
                    )
                }
            };
            KnownRow {
                mark: self.name(*mark),
                elevation: self.figures.elevation(*elevation),
                deviation: match hold {
                    Hold::Fixed => None,
                    Hold::Weighted(deviation) => Some(self.figures.size(deviation.to_f64_m())),
                },
                used: true,
                free_difference: check.map(|check| self.figures.signed_size(check.difference_m)),
                free_difference_deviation: check.map(|check| self.figures.size(check.deviation_m)),
                words,
            }
        };
        let unused = self.network.unused().iter().map(|known| KnownRow {
            mark: known.mark.to_string(),
            elevation: self.figures.elevation(known.elevation),
            deviation: None,
            used: false,
            free_difference: None,
            free_difference_deviation: None,
            words: "no section touches it".to_owned(),
        });
        self.network.known().iter().map(row).chain(unused).collect()
    }

    pub(super) fn marks(&self) -> Vec<MarkRow> {
        let last = self.last();
        let row = |(at, mark): (usize, &crate::adjust::outcome::AdjustedMark)| {
            // Beside a line that nothing checks, what the tests would just miss is no matter.
            let checked = mark.standing == Standing::Checked;
            let exposure = last.exposure.as_ref().filter(|_| checked).and_then(|exposure| exposure[at]);
            let (standing, hangs_on) = match mark.standing {
                Standing::Held => ("held", None),
                Standing::Checked => ("checked", None),
                Standing::HangsOn(section) => ("unchecked", Some(self.number(section.index()))),
            };
            MarkRow {
                mark: self.network.names()[at].to_string(),
                elevation: self.figures.elevation(mark.elevation),
                deviation: self.figures.size(mark.deviation_m),
                half_interval: self.figures.size(last.half_interval_m(mark.deviation_m)),
                standing,
                hangs_on,
                exposure: exposure.map(|exposure| ExposureView {
                    section: self.number(exposure.section.index()),
                    by: self.figures.size(exposure.by_m.abs()),
                }),
            }
        };
        last.marks.iter().enumerate().map(row).collect()
    }

    pub(super) fn sections(&self) -> Vec<SectionRow> {
        let last = self.last();
        let rows = self.network.sections().iter().zip(&last.sections).enumerate();
        rows.map(|(at, (observed, adjusted))| SectionRow {
            number: self.number(at),
            from: self.name(observed.from),
            to: self.name(observed.to),
            came: self.came(at).map(|came| came.words.clone()),
            activity: self.came(at).and_then(|came| came.activity),
            stated: observed.deviation.map(|deviation| self.figures.size(deviation.to_f64_m())),
            observed: self.figures.rise(observed.rise),
            adjusted: self.figures.rise(adjusted.rise),
            residual: self.figures.signed_size(adjusted.residual_m),
            deviation: self.figures.size(adjusted.deviation_m),
            half_interval: self.figures.size(last.half_interval_m(adjusted.deviation_m)),
            length: observed.length.map(|length| self.figures.distance(length)),
            setups: observed.setups,
            redundancy: adjusted.redundancy,
            w: adjusted.test.map(|test| test.w),
            tau: adjusted.test.and_then(|test| test.tau),
            detectable: adjusted.test.map(|test| self.figures.size(test.detectable_m)),
            moves: adjusted.test.map(|test| self.name(test.moves)),
            moves_by: adjusted.test.map(|test| self.figures.signed_size(test.moves_by_m)),
        })
        .collect()
    }

    pub(super) fn set_aside(&self) -> Vec<AsideRow> {
        // Those that a person took out now stand behind those that the network file had taken out.
        let before = self.network.set_aside().len() - self.origin.set_aside.len();
        let rows = self.network.set_aside().iter().enumerate();
        rows.map(|(at, section)| AsideRow {
            number: at.checked_sub(before).map(|at| self.origin.set_aside[at]),
            from: section.from.to_string(),
            to: section.to.to_string(),
            observed: self.figures.rise(section.rise),
        })
        .collect()
    }

    /// Sentences about the whole: what hangs unchecked, what rests on a single known mark, and several parts.
    pub(super) fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        let hanging: Vec<String> = (self.last().marks.iter().zip(self.network.names()))
            .filter(|(mark, _)| matches!(mark.standing, Standing::HangsOn(_)))
            .map(|(_, name)| name.to_string())
            .collect();
        if !hanging.is_empty() {
            let marks = several(&hanging);
            remarks.push(format!("nothing checks {marks}: a mistake on the single line there would show nowhere"));
        }
        if self.network.known().len() == self.network.parts().len() {
            let datums: Vec<String> = self.network.parts().iter().map(|part| self.name(part.datum)).collect();
            remarks.push(format!(
                "all elevations rest on {}: that it has not moved, and that it was named rightly, nothing here shows",
                datums.join(", ")
            ));
        }
        if let [_, _, ..] = self.network.parts() {
            remarks.push(format!(
                "{} parts that no section joins were adjusted side by side: nothing is known between them",
                self.network.parts().len()
            ));
        }
        remarks
    }
}

/// Names with commas, the first few of many.
fn several(names: &[String]) -> String {
    /// So many are named before the rest is counted.
    const NAMED_MAX: usize = 8;
    match names.len().checked_sub(NAMED_MAX) {
        None | Some(0) => names.join(", "),
        Some(rest) => format!("{} and {rest} more", names[..NAMED_MAX].join(", ")),
    }
}
