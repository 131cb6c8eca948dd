//! Live lines as text of a terminal: eighty columns, the verdict first, then the fact with its limit, then what to do.
//!
//! Findings are told apart by word and sign; colour only repeats them.

use std::collections::BTreeMap;

use super::{ActivityLine, FindingLine, Line, ReadingLine, Status, VerdictLine, What};
use crate::book::event::Verdict;
use crate::book::finding::Priority;
use crate::report::causes::{Causes, Extent, Paragraph, paragraphs};
use crate::units::Unit;

/// How a line may be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// Signs and colours, for a terminal.
    Colour,
    /// Signs without colour, for a terminal that asks for none.
    Signs,
    /// Words in brackets, for a pipe.
    Plain,
}

/// Colours of the Okabe-Ito set, safe for colour-blind readers, as 24-bit SGR sequences.
const VERMILION: &str = "\x1b[38;2;213;94;0m";
const ORANGE: &str = "\x1b[38;2;230;159;0m";
const GREEN: &str = "\x1b[38;2;0;158;115m";
const GREY: &str = "\x1b[38;2;128;128;128m";
const STRONG: &str = "\x1b[1m";
const RESET: &str = "\x1b[0m";

/// Width of the column of signs and words before a sentence.
const LEAD: usize = 9;

/// Between the name of an instrument and its line.
const BESIDE_NAME: usize = 2;

/// Draws lines, with a head of the columns before the first reading of each run. Where several instruments are heard,
/// each line begins with the name of its own.
#[derive(Clone, Debug)]
pub struct Painter {
    ink: Ink,
    width: usize,
    /// Columns that the names of instruments take.
    names: usize,
    /// The run and unit of each instrument that a head was drawn for.
    heads: BTreeMap<Option<String>, (u32, Unit)>,
    /// The unit of the last reading drawn, whoever's it was.
    unit: Option<Unit>,
}

impl Painter {
    /// For lines of at most `width` columns; fewer than 60 are treated as 60.
    pub fn new(ink: Ink, width: usize) -> Self {
        Painter { ink, width: width.max(60), names: 0, heads: BTreeMap::new(), unit: None }
    }

    /// The same for lines of instruments with names, of which the longest has `names` columns.
    pub fn naming(self, names: usize) -> Self {
        Painter { width: self.width.saturating_sub(names + BESIDE_NAME), names, ..self }
    }

    /// The text of a line, each item one line of it.
    pub fn paint(&mut self, line: &Line) -> Vec<String> {
        let painted = self.paint_unnamed(line);
        match &line.instrument {
            None => painted,
            Some(name) => {
                let columns = self.names + BESIDE_NAME;
                painted.into_iter().map(|text| format!("{name:<columns$}{text}").trim_end().to_owned()).collect()
            }
        }
    }

    fn paint_unnamed(&mut self, line: &Line) -> Vec<String> {
        match &line.what {
            What::Reading(reading) => self.reading(reading, line),
            What::Activity(activity) => self.activity(activity, line),
            What::Finding(finding) => self.finding(finding),
            What::Verdict(verdict) => self.verdict(verdict),
            What::Job(job) => {
                let mut out = Vec::new();
                if line.simulated {
                    out.push(self.coloured(ORANGE, "SIMULATED: nothing here was measured"));
                }
                out.extend(self.wrap("", &format!("class {}, sequence {}", job.class, job.sequence)));
                for (name, elevation) in &job.known {
                    out.push(format!("known {name}  {elevation}"));
                }
                if job.readings > 0 {
                    out.push(format!("taken up again with {} readings", job.readings));
                }
                out
            }
            What::Listening { link, format } => {
                let simulated = if line.simulated { "  SIMULATED" } else { "" };
                vec![format!("listening: {link}, format {format}{simulated}")]
            }
            What::Record { kind, text, bytes } => match *kind {
                "ignored" | "echo" => Vec::new(),
                // What is wrong with it is said by the finding that follows.
                "refused" => vec![format!("         refused, {bytes} bytes, kept as event {}", line.event)],
                "status" => vec![self.coloured(GREY, &format!("         {text}"))],
                _ => self.wrap("", &format!("         {kind}, {bytes} bytes: {text}")),
            },
            What::Link { text, state } => match *state {
                "open" => vec![format!("link open, {}", time(&line.at))],
                _ => self.wrap("", &format!("{text}, {}", time(&line.at))),
            },
            What::Command { text, .. } => self.wrap("", &format!("       > {text}")),
            What::Causes(causes) => self.causes(causes),
            What::Withdrawn { key } => vec![self.coloured(GREY, &format!("         no longer: {key}"))],
            What::Notice { priority, text } => self.sentence(*priority, text),
            What::Ended { reason } => vec![format!("listening ended, {}: {reason}", time(&line.at))],
        }
    }

    fn reading(&mut self, reading: &ReadingLine, line: &Line) -> Vec<String> {
        let mut out = Vec::new();
        let unit = reading.unit;
        let head = self.heads.insert(line.instrument.clone(), (reading.run, unit));
        // Behind a reading in another unit the head is drawn again, so that no figure stands under a wrong one.
        if head != Some((reading.run, unit)) || self.unit.replace(unit) != Some(unit) {
            self.unit = Some(unit);
            let run = format!("run {}{}", reading.run, if line.simulated { "  SIMULATED" } else { "" });
            out.push(self.strong(&run));
            let (staff, sight, elevation) =
                (format!("reading {unit}"), format!("sight {unit}"), format!("elevation {unit}"));
            out.push(self.strong(&format!(" no. setup sight point          {staff:>11} {sight:>8} {elevation:>13}")));
        }
        let word = reading.role.word();
        let point = cut(&reading.point, 15);
        let sight = reading.sight.as_deref().unwrap_or("");
        let elevation = reading.elevation.as_deref().unwrap_or("");
        let mut text = format!(
            "{:>4} {:>5} {word:<5} {point:<15}{:>11} {sight:>8} {elevation:>13}",
            reading.number, reading.setup, reading.staff_shown
        );
        let mut remarks = reading.remarks.clone();
        if matches!(reading.state, "struck" | "broken") {
            remarks.push(reading.state.into());
        }
        let remarks = remarks.join(", ");
        if !remarks.is_empty() && text.chars().count() + 2 + remarks.len() <= self.width {
            text += &format!("  {remarks}");
            out.push(text);
        } else {
            out.push(text.trim_end().to_owned());
            if !remarks.is_empty() {
                out.push(format!("{:16}{remarks}", ""));
            }
        }
        out
    }

    fn activity(&mut self, activity: &ActivityLine, line: &Line) -> Vec<String> {
        // The run's readings begin again under a head of their own.
        self.heads.remove(&line.instrument);
        let mut out = Vec::new();
        if let Some(shot) = &activity.shot {
            let sight = shot.sight.as_ref().map(|sight| format!(", sight {sight} {}", shot.unit)).unwrap_or_default();
            let keyed = if shot.keyed_in { ", keyed in" } else { "" };
            let (name, number) = (&activity.title, shot.number);
            out.push(format!("{name}, shot {number}: {} {}{sight}{keyed}", shot.staff, shot.staff_unit));
        }
        let indent = " ".repeat(LEAD);
        for text in &activity.so_far {
            out.extend(self.wrap(&indent, text));
        }
        if let Some(next) = &activity.next {
            out.extend(self.wrap("next     ", next));
        }
        if let Some((first, rest)) = activity.said.split_first() {
            out.push(self.strong(&format!("{} done", activity.title)));
            for text in [first].into_iter().chain(rest) {
                out.extend(self.wrap(&indent, text));
            }
        }
        out
    }

    fn finding(&self, finding: &FindingLine) -> Vec<String> {
        let mut out = self.sentence(finding.priority, &finding.fact);
        out.extend(self.wrap(&" ".repeat(LEAD), &finding.todo));
        if finding.priority == Priority::Hold {
            out.push(self.coloured(GREY, &format!("{:LEAD$}seen it: ack {}", "", finding.key)));
        }
        out
    }

    fn causes(&self, causes: &Causes) -> Vec<String> {
        let told = paragraphs(causes, Extent::Few);
        told.iter().flat_map(|Paragraph { lead, text }| self.wrap(lead, text)).collect()
    }

    fn verdict(&self, verdict: &VerdictLine) -> Vec<String> {
        let mut out = match verdict.verdict {
            Verdict::Hold => {
                let text = format!("setup {}: do not lift the legs", verdict.setup);
                self.sentence(Priority::Hold, &text)
            }
            Verdict::ClearToMove => match self.ink {
                Ink::Plain => self.wrap("[clear]  ", &format!("clear to move: {}", verdict.text)),
                _ => self.wrap(&self.coloured(GREEN, "○ "), &format!("clear to move: {}", verdict.text)),
            },
        };
        if self.ink == Ink::Plain {
            for text in [&verdict.status.next, &verdict.status.closure].into_iter().flatten() {
                out.extend(self.wrap(&" ".repeat(LEAD), text));
            }
        }
        out
    }

    /// A sentence behind the sign and word of its priority.
    fn sentence(&self, priority: Priority, text: &str) -> Vec<String> {
        let (sign, colour) = match priority {
            Priority::Hold => ("■", VERMILION),
            Priority::Warn => ("▲", ORANGE),
            Priority::Note => ("–", ""),
        };
        let lead = match self.ink {
            Ink::Plain => format!("{:<LEAD$}", format!("[{}]", priority.word())),
            Ink::Signs => format!("{sign} {:<7}", priority.word()),
            Ink::Colour if colour.is_empty() => format!("{sign} {:<7}", priority.word()),
            Ink::Colour => format!("{colour}{STRONG}{sign} {:<7}{RESET}", priority.word()),
        };
        self.wrap(&lead, text)
    }

    /// Breaks a text at spaces, continued under the lead.
    pub(super) fn wrap(&self, lead: &str, text: &str) -> Vec<String> {
        let indent = seen_width(lead);
        let room = self.width.saturating_sub(indent).max(20);
        let kept = text.len() - text.trim_start().len();
        let mut lines: Vec<String> = Vec::new();
        let mut line = " ".repeat(kept);
        let mut bare = true;
        for word in text.split_whitespace() {
            if !bare && line.chars().count() + 1 + word.chars().count() > room {
                lines.push(std::mem::take(&mut line));
                line = " ".repeat(kept);
                bare = true;
            }
            if !bare {
                line.push(' ');
            }
            line.push_str(word);
            bare = false;
        }
        lines.push(line);
        let spaces = " ".repeat(indent);
        let led = |(index, line)| format!("{}{line}", if index == 0 { lead } else { &spaces });
        lines.into_iter().enumerate().map(led).collect()
    }

    fn coloured(&self, colour: &str, text: &str) -> String {
        if self.ink == Ink::Colour { format!("{colour}{text}{RESET}") } else { text.to_owned() }
    }

    fn strong(&self, text: &str) -> String {
        if self.ink == Ink::Colour { format!("{STRONG}{text}{RESET}") } else { text.to_owned() }
    }
}

/// The block at the foot of a terminal: how the run stands, where the next staff should be, how it closes, and whether
/// the instrument can still be heard.
pub fn status_block(status: &Status, link: &str, ink: Ink, width: usize) -> Vec<String> {
    let painter = Painter::new(ink, width);
    let mut first = match (&status.balance, &status.balance_sum) {
        (Some(balance), Some(sum)) => format!("balance {balance}, sum {sum}"),
        (None, Some(sum)) => format!("sum {sum}"),
        _ => "balance not known yet".to_owned(),
    };
    if let Some(next) = &status.next {
        first += &format!("   {next}");
    }
    let closed = |closure: &str| format!("closure {closure}");
    let mut second = status.closure.as_deref().map_or_else(|| "not closed yet".to_owned(), closed);
    if let [name, so_far @ ..] = &status.activity[..] {
        // While an activity goes on, what it wants next is what the crew looks for: on two lines, so that all of it shows.
        let last = so_far.last().map(|next| format!("; {next}")).unwrap_or_default();
        let mut wrapped = painter.wrap("", &format!("{name}{last}")).into_iter();
        first = wrapped.next().unwrap_or_default();
        second = wrapped.next().unwrap_or(second);
    }
    let mut lines = Vec::new();
    match status.holding.last() {
        Some(fact) => lines.extend(painter.sentence(Priority::Hold, fact).into_iter().take(2)),
        None => lines.push(String::new()),
    }
    lines.push(first);
    lines.push(second);
    lines.push(painter.coloured(GREY, link));
    lines.into_iter().map(|line| cut_seen(&line, width)).collect()
}

/// How one of several instruments stands, in one line: what holds its crew, or how far it is.
pub fn standing_line(name: &str, names: usize, status: &Status, link: &str, ink: Ink, width: usize) -> String {
    let painter = Painter::new(ink, width).naming(names);
    let text = match status.holding.last() {
        Some(fact) => painter.sentence(Priority::Hold, fact).swap_remove(0),
        None if status.setup == 0 => link.to_owned(),
        None => {
            let sum = status.balance_sum.as_ref().map_or(String::new(), |sum| format!(", sum {sum}"));
            let due = status.due.map_or(String::new(), |role| format!(", {} due", role.word()));
            format!("run {} setup {}{due}{sum}  {link}", status.run, status.setup)
        }
    };
    let columns = names + BESIDE_NAME;
    cut_seen(&format!("{name:<columns$}{text}"), width)
}

fn time(at: &str) -> &str {
    at.get(11..19).unwrap_or(at)
}

fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let mut held: String = text.chars().take(width - 1).collect();
    held.push('…');
    held
}

/// Columns of a text, its colour sequences not counted.
fn seen_width(text: &str) -> usize {
    let mut width = 0;
    let mut inside = false;
    for c in text.chars() {
        match c {
            '\x1b' => inside = true,
            'm' if inside => inside = false,
            _ if inside => {}
            _ => width += 1,
        }
    }
    width
}

/// Cuts a line to the width, its colour sequences kept.
fn cut_seen(text: &str, width: usize) -> String {
    if seen_width(text) <= width {
        return text.to_owned();
    }
    let (mut out, mut seen, mut inside) = (String::new(), 0, false);
    for c in text.chars() {
        match c {
            '\x1b' => inside = true,
            _ if inside => inside = c != 'm',
            _ => {
                seen += 1;
                if seen > width {
                    continue;
                }
                if seen == width {
                    out.push('…');
                    continue;
                }
            }
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_sentence_is_broken_under_its_lead() {
        let painter = Painter::new(Ink::Plain, 60);
        let lines = painter.sentence(Priority::Hold, "sights out of balance by 4.22 m (limit 2.00 m, building work)");
        assert_eq!(lines, ["[HOLD]   sights out of balance by 4.22 m (limit 2.00 m,", "         building work)"]);
    }

    #[test]
    fn colours_take_no_columns() {
        let coloured = Painter::new(Ink::Colour, 80).sentence(Priority::Warn, "x").remove(0);
        assert_eq!(seen_width(&coloured), LEAD + 1);
        assert_eq!(seen_width(&cut_seen(&coloured, 5)), 5);
    }
}
