//! `closerun set`: lists of design elevations, and how set targets stand.

use std::path::Path;

use super::super::Failure;
use super::super::job::{print, read as read_job};
use super::super::say;
use super::desk::Desk;
use super::{Form, in_file, read_file};
use crate::field::set_out::cut;
use crate::field::set_out::list::{self as design, Row};
use crate::field::targets::{TargetNow, targets, write};
use crate::report::document::{Distribution, closed_corrections};
use crate::units::{Length, Measured, Unit};

/// Works a list out: the elevation of each target, the reading to look for, cut and fill.
pub(super) fn list(file: &Path, line_of_sight: Option<&str>) -> Result<(), Failure> {
    let rows = rows(file)?;
    let unit = rows[0].target.design.unit();
    let instrument = line_of_sight
        .map(|text| Measured::said(text, unit).map_err(|error| Failure::input(format!("--line-of-sight: {error}"))))
        .transpose()?
        .map(|measured| measured.value());
    let decimals = if unit.is_foot() { 3 } else { 4 };
    let show = |length: Length| length.show(unit, decimals);
    let mut out = format!("{:<16} {:>12}", "target", format!("design {unit}"));
    let ground = rows.iter().any(|row| row.ground.is_some());
    out.push_str(&if instrument.is_some() { format!(" {:>14}", format!("look for {unit}")) } else { String::new() });
    out.push_str(&if ground { format!(" {:>14}", format!("cut, fill {unit}")) } else { String::new() });
    out.push('\n');
    for row in &rows {
        let elevation = row.target.design.value();
        out.push_str(&format!("{:<16} {:>12}", row.target.name, show(elevation)));
        if let Some(instrument) = instrument {
            out.push_str(&format!(" {:>14}", show(instrument - elevation)));
        }
        if ground {
            let words = row.ground.map(|ground| match cut(ground, elevation) {
                by if by < Length::ZERO => format!("fill {}", show(by.abs())),
                by => format!("cut {}", show(by)),
            });
            out.push_str(&format!(" {:>14}", words.unwrap_or_default()));
        }
        out.push_str(&row.target.means.as_ref().map(|means| format!("  {means}")).unwrap_or_default());
        out.push('\n');
    }
    if instrument.is_some() {
        out.push_str("a negative reading is looked for on an inverted staff\n");
    }
    print(&out)
}

/// Puts the targets of a list into a job.
pub(super) fn load(file: &Path, job: &Path) -> Result<(), Failure> {
    let rows = rows(file)?;
    let mut desk = Desk::of_job(job, &Default::default())?;
    for row in &rows {
        desk.say(&words(row))?;
    }
    desk.close()?;
    say::line(format_args!("{} targets put into {}", rows.len(), job.display()));
    Ok(())
}

/// The words that put a target on the list.
fn words(row: &Row) -> Vec<String> {
    let target = &row.target;
    let said = |measured: &Measured| format!("{}{}", measured.digits(), measured.unit());
    // What the list holds is the design with its offset; the words take what it stands for, and add it.
    let base = match target.offset {
        Some(offset) => {
            let base = target.design.value() - offset.value();
            let decimals = target.design.digits().decimals();
            format!("{}{}", base.show(target.design.unit(), decimals), target.design.unit())
        }
        None => said(&target.design),
    };
    let mut words = vec!["target".to_owned(), target.name.to_string(), base];
    words.extend(target.offset.iter().flat_map(|offset| ["offset".to_owned(), said(offset)]));
    let within = target.tolerance.map(|tolerance| format!("{}mm", tolerance.show(Unit::Millimetre, 7)));
    words.extend(within.into_iter().flat_map(|within| ["within".to_owned(), within]));
    words.extend(target.means.iter().flat_map(|means| ["means".to_owned(), means.clone()]));
    words
}

fn rows(file: &Path) -> Result<Vec<Row>, Failure> {
    design::read(&read_file(file)?).map_err(|error| in_file(file, &error))
}

/// How the targets of a job stand.
pub(super) fn state(job: &Path, unit: Option<Unit>, form: Form) -> Result<(), Failure> {
    let (book, _) = read_job(job)?;
    let corrections = closed_corrections(&book, Distribution::USUAL);
    let all = targets(&book, &corrections);
    let unit = unit.unwrap_or(book.settings().unit);
    if form == Form::Csv {
        return print(&write(&all, unit));
    }
    let (design, elevation) = (format!("design {unit}"), format!("elevation {unit}"));
    let mut out = format!("{:<16} {design:>12} {elevation:>14} {:>10}  how it stands\n", "target", "off mm");
    all.iter().for_each(|target| out.push_str(&line(target, unit)));
    if all.is_empty() {
        out.push_str("no target has been set\n");
    }
    print(&out)
}

fn line(target: &TargetNow<'_>, unit: Unit) -> String {
    let design = target.target.design.value();
    let best = target.best();
    let shown = best.map_or_else(|| "-".to_owned(), |elevation| elevation.show(unit, 4));
    let off = best.map_or_else(String::new, |elevation| (elevation - design).show_signed(Unit::Millimetre, 1));
    format!("{:<16} {:>12} {shown:>14} {off:>10}  {}\n", target.target.name, design.show(unit, 4), target.words())
}
