//! `closerun cards`: a card for each set target.

use super::super::Failure;
use super::super::arguments::{Cards as Arguments, PaperSize};
use super::super::job::{name, print};
use super::super::report::file::{self, Kind};
use crate::book::Book;
use crate::book::event::Event;
use crate::book::reading::PointName;
use crate::report::cards::{Cards, Wanted, cards, text};
use crate::report::pdf::{Label, Paper, Stock, print_cards};
use crate::store::Job;
use crate::units::Unit;

/// How many digits of a hash stand on a card: enough that no two records share them.
const DIGITS: usize = 16;

pub(in crate::cli) fn run(arguments: &Arguments) -> Result<(), Failure> {
    let label = arguments.label.as_deref().map(str::parse::<Label>).transpose();
    let label = label.map_err(|error| Failure::input(format!("--label: {error}")))?;
    let (cards, unit) = of_job(arguments)?;
    let Some(to) = &arguments.to else { return print(&text(&cards)) };
    let stock = match (label, arguments.paper) {
        (Some(label), _) => Stock::Labels(label),
        (None, Some(PaperSize::Letter)) => Stock::Sheets(Paper::Letter),
        (None, None) if unit.is_foot() => Stock::Sheets(Paper::Letter),
        (None, Some(PaperSize::A4) | None) => Stock::Sheets(Paper::A4),
    };
    let pdf = print_cards(&cards, stock).map_err(Failure::outcome)?;
    file::write(to, Kind::Pdf, &pdf.bytes, &arguments.job)?;
    let count = |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    let barred = cards.cards.iter().filter(|card| card.across.is_some()).count();
    let (held, pages) = (count(cards.cards.len(), "card"), count(pdf.pages, "page"));
    print(&format!("{}: {held} on {pages}, {barred} not to be measured from yet\n", to.display()))
}

fn of_job(arguments: &Arguments) -> Result<(Cards, Unit), Failure> {
    let reader = Job::read(&arguments.job).map_err(Failure::input)?;
    let events: Vec<Event> = reader.events().collect::<Result<_, _>>().map_err(Failure::input)?;
    let book = Book::fold(&events);
    if !book.is_open() {
        return Err(Failure::input(format!("job file {}: it holds no events yet", arguments.job.display())));
    }
    let names = arguments.target.iter().map(|name| PointName::new(name));
    let names = names.collect::<Result<_, _>>().map_err(|error| Failure::input(format!("--target: {error}")))?;
    let wanted = Wanted { by: arguments.by.clone(), names };
    let mut unread = None;
    let hash = |event| match reader.head_at(event) {
        Ok(head) => head.map(|head| format!("{:.DIGITS$}", head.hash)).unwrap_or_default(),
        Err(error) => {
            unread = Some(error);
            String::new()
        }
    };
    let cards = cards(&book, &name(&arguments.job), &wanted, hash).map_err(Failure::outcome)?;
    if let Some(error) = unread {
        return Err(Failure::input(error));
    }
    Ok((cards, book.settings().unit))
}
