//! Mark cards on paper: several to a sheet, to be cut apart, or one to a label.
//!
//! A card is laid out once, in millimetres of its usual size; on a label of another size everything grows or shrinks with
//! it. What must not be measured from stands slanted behind the words, and in words beside the name.

use std::fmt;
use std::str::FromStr;

use qrcode::{Color, EcLevel, QrCode};

use super::faces::{Face, Faces};
use super::ink::{Ink, Paper};
use super::paint::{About, bare};
use super::sheets::{Mark, Style};
use super::{NotPrinted, Printed, name_on_paper, on_paper};
use crate::report::cards::{Card, Cards};

/// Points in a millimetre.
const MM: f32 = 72.0 / 25.4;
/// A card as it is laid out: two beside one another and four below fit on A4 and on letter paper.
const WIDTH: f32 = 96.0 * MM;
const HEIGHT: f32 = 66.0 * MM;
/// Room inside its edge.
const EDGE: f32 = 3.5 * MM;
/// The code, its quiet edge included. At most some 45 modules: half a millimetre each, which telephones read.
const CODE: f32 = 23.0 * MM;
/// Modules of quiet edge that the code's standard wants (ISO/IEC 18004, from memory).
const QUIET: usize = 4;

/// What cards are printed on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stock {
    /// Sheets of paper, eight cards each, with lines to cut along.
    Sheets(Paper),
    /// Labels, one card each.
    Labels(Label),
}

/// The size of a label.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Label {
    width_mm: f32,
    height_mm: f32,
}

impl Label {
    /// Smaller ones cannot be read, larger ones are paper: mm.
    const SIDE: std::ops::RangeInclusive<f32> = 40.0..=300.0;

    /// As large as a card on a sheet.
    pub const USUAL: Label = Label { width_mm: 96.0, height_mm: 66.0 };
}

impl FromStr for Label {
    type Err = NotALabel;

    fn from_str(text: &str) -> Result<Self, NotALabel> {
        let wrong = || NotALabel { found: text.to_owned() };
        let (width, height) = text.split_once('x').ok_or_else(wrong)?;
        let side = |text: &str| text.parse::<f32>().ok().filter(|side| Label::SIDE.contains(side)).ok_or_else(wrong);
        Ok(Label { width_mm: side(width)?, height_mm: side(height)? })
    }
}

/// No size of a label.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotALabel {
    found: String,
}

impl fmt::Display for NotALabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (least, most) = (Label::SIDE.start(), Label::SIDE.end());
        write!(f, "{:?} found, width and height in mm were wanted, {least} to {most} each: 96x66", self.found)
    }
}

impl std::error::Error for NotALabel {}

/// The cards on paper.
///
/// # Errors
/// When the library finds the document against the rules of PDF/A, or a name is too long for a code.
pub fn print_cards(cards: &Cards, stock: Stock) -> Result<Printed, NotPrinted> {
    let faces = Faces::new();
    let layer = |card: &Card, frame: Frame| Layer { faces: &faces, frame }.card(card, cards.simulated);
    let (size, pages) = match stock {
        Stock::Sheets(paper) => {
            let places = places(paper);
            let sheet = |some: &[Card]| {
                let each = some.iter().zip(&places).map(|(card, at)| layer(card, Frame { at: *at, scale: 1.0 }));
                each.collect::<Result<Vec<_>, _>>().map(|marks| marks.concat())
            };
            let pages = cards.cards.chunks(places.len()).map(sheet).collect::<Result<Vec<_>, _>>()?;
            ((paper.width(), paper.height()), pages)
        }
        Stock::Labels(label) => {
            let (width, height) = (label.width_mm * MM, label.height_mm * MM);
            let scale = (width / WIDTH).min(height / HEIGHT);
            let frame = Frame { at: ((width - scale * WIDTH) / 2.0, (height - scale * HEIGHT) / 2.0), scale };
            let pages = cards.cards.iter().map(|card| layer(card, frame)).collect::<Result<Vec<_>, _>>()?;
            ((width, height), pages)
        }
    };
    let about = About {
        title: format!("Mark cards: {}", name_on_paper(&cards.job)),
        description: format!("{} cards", cards.cards.len()),
        simulated: cards.simulated,
        at: &cards.at,
        id: cards.cards.iter().map(|card| card.code.written()).collect::<Vec<_>>().join(" "),
    };
    let count = pages.len();
    let bytes = bare(&pages, size, &faces, &about).map_err(NotPrinted)?;
    Ok(Printed { bytes, pages: count })
}

/// Upper left corners of the cards of a sheet, row by row.
fn places(paper: Paper) -> Vec<(f32, f32)> {
    let (columns, rows) = ((paper.width() / WIDTH) as usize, (paper.height() / HEIGHT) as usize);
    let left = (paper.width() - columns as f32 * WIDTH) / 2.0;
    let top = (paper.height() - rows as f32 * HEIGHT) / 2.0;
    let place = |at: usize| (left + (at % columns) as f32 * WIDTH, top + (at / columns) as f32 * HEIGHT);
    (0..columns * rows).map(place).collect()
}

/// Where a card lies on its page, and how much larger than usual it is.
#[derive(Clone, Copy)]
struct Frame {
    at: (f32, f32),
    scale: f32,
}

/// A card being laid out.
struct Layer<'f> {
    faces: &'f Faces,
    frame: Frame,
}

impl Layer<'_> {
    fn card(&self, card: &Card, simulated: bool) -> Result<Vec<Mark<'static>>, NotPrinted> {
        let mut marks = Vec::new();
        if let Some(across) = card.across {
            self.slanted(&mut marks, across.words());
        } else if simulated {
            self.slanted(&mut marks, "SIMULATED");
        }
        self.edge(&mut marks);
        self.code(&mut marks, &card.code.to_string())?;
        let narrow = WIDTH - 3.0 * EDGE - CODE;
        let mut text = |x, y, size, face, ink, width, text: &str| {
            marks.push(self.text((x, y), size, face, ink, &self.faces.cut(face, size, text, width)));
        };
        let doubt = card.across.map(|across| across.words()).into_iter().chain(simulated.then_some("SIMULATED"));
        let doubt = doubt.collect::<Vec<_>>().join("  \u{b7}  ");
        text(EDGE, 17.0, 7.5, Face::Bold, Ink::Vermilion, narrow, &doubt);
        text(EDGE, 34.0, 16.0, Face::Bold, Ink::Black, narrow, &name_on_paper(&card.name));
        text(EDGE, 58.0, 20.0, Face::Bold, Ink::Black, narrow, &on_paper(&card.elevation));
        text(EDGE, 73.0, 11.5, Face::Regular, Ink::Black, narrow, &on_paper(&card.other));
        let stands_for = card.stands_for.as_deref().unwrap_or_default();
        text(EDGE, 90.0, 10.0, Face::Bold, Ink::Black, WIDTH - 2.0 * EDGE, &on_paper(stands_for));
        let mut y = 105.0;
        let wide = WIDTH - 2.0 * EDGE;
        for sentence in [&card.set, &card.known, &card.hangs_on] {
            for line in self.faces.wrap(Style::BODY, wide, &on_paper(sentence)).iter().take(2) {
                text(EDGE, y, 8.25, Face::Regular, Ink::Black, wide, line);
                y += 10.5;
            }
        }
        let by = card.by.as_deref().map_or_else(|| "________".to_owned(), name_on_paper);
        text(EDGE, HEIGHT - 17.0, 8.25, Face::Regular, Ink::Black, wide, &format!("{}   set by {by}", card.date));
        let record = format!("{}   event and hash {}", name_on_paper(&card.code.job), card.code.written());
        text(EDGE, HEIGHT - 7.0, 6.9, Face::Regular, Ink::Grey, wide, &record);
        Ok(marks)
    }

    fn place(&self, (x, y): (f32, f32)) -> (f32, f32) {
        let Frame { at: (left, top), scale } = self.frame;
        (left + scale * x, top + scale * y)
    }

    fn text(&self, at: (f32, f32), size: f32, face: Face, ink: Ink, text: &str) -> Mark<'static> {
        let (x, y) = self.place(at);
        Mark::Letters { x, y, face, size: size * self.frame.scale, ink, turned: 0.0, text: text.to_owned() }
    }

    /// Large words from the lower left to the upper right, behind all others.
    fn slanted(&self, marks: &mut Vec<Mark<'static>>, words: &str) {
        /// Share of the diagonal that they take.
        const SHARE: f32 = 0.82;
        let (diagonal, angle) = (WIDTH.hypot(HEIGHT), HEIGHT.atan2(WIDTH));
        let size = SHARE * diagonal / self.faces.width(Face::Bold, 1.0, words);
        let start = (1.0 - SHARE) / 2.0 * diagonal;
        // The middle of capital letters, not their feet, lies on the diagonal.
        let (along, below) = (start, size * 0.36);
        let x = along * angle.cos() + below * angle.sin();
        let y = HEIGHT - along * angle.sin() + below * angle.cos();
        let (x, y) = self.place((x, y));
        marks.push(Mark::Letters {
            x,
            y,
            face: Face::Bold,
            size: size * self.frame.scale,
            ink: Ink::Doubt,
            turned: -angle.to_degrees(),
            text: words.to_owned(),
        });
    }

    /// Lines to cut along.
    fn edge(&self, marks: &mut Vec<Mark<'static>>) {
        let corners = [(0.0, 0.0), (WIDTH, 0.0), (WIDTH, HEIGHT), (0.0, HEIGHT), (0.0, 0.0)].map(|at| self.place(at));
        for side in corners.windows(2) {
            marks.push(Mark::Line { from: side[0], to: side[1], width: 0.4, ink: Ink::Rule });
        }
    }

    /// The code, in the upper right corner: rows of dark modules, those beside one another as one.
    fn code(&self, marks: &mut Vec<Mark<'static>>, text: &str) -> Result<(), NotPrinted> {
        let code = QrCode::with_error_correction_level(text, EcLevel::M)
            .map_err(|error| NotPrinted(format!("a card's code for {text:?}: {error}")))?;
        let (modules, colours) = (code.width(), code.to_colors());
        let module = CODE / (modules + 2 * QUIET) as f32;
        // Nothing shows through between its modules, nor in its quiet edge.
        let ((x, y), side) = (self.place((WIDTH - EDGE - CODE, EDGE)), CODE * self.frame.scale);
        marks.push(Mark::Fill { x, y, width: side, height: side, ink: Ink::Of([0xff; 3]) });
        for (row, colours) in colours.chunks(modules).enumerate() {
            let mut column = 0;
            while column < modules {
                let dark = colours[column..].iter().take_while(|colour| **colour == Color::Dark).count();
                if dark > 0 {
                    let left = WIDTH - EDGE - CODE + (column + QUIET) as f32 * module;
                    let top = EDGE + (row + QUIET) as f32 * module;
                    let ((x, y), scale) = (self.place((left, top)), self.frame.scale);
                    let (width, height) = (dark as f32 * module * scale, module * scale);
                    marks.push(Mark::Fill { x, y, width, height, ink: Ink::Black });
                }
                column += dark.max(1);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_cards_fit_on_a_sheet_of_either_size_without_overlap() {
        for paper in [Paper::A4, Paper::Letter] {
            let places = places(paper);
            assert_eq!(places.len(), 8);
            let inside = |(x, y): &(f32, f32)| {
                *x >= 0.0 && *y >= 0.0 && x + WIDTH <= paper.width() && y + HEIGHT <= paper.height()
            };
            assert!(places.iter().all(inside), "{places:?}");
            assert!(places[1].0 - places[0].0 >= WIDTH && places[2].1 - places[0].1 >= HEIGHT);
        }
    }

    #[test]
    fn the_size_of_a_label_is_read_or_refused() {
        assert_eq!("96x66".parse(), Ok(Label::USUAL));
        for wrong in ["96", "20x66", "96x", "96x66mm", "nanx66", "infx66", "301x66"] {
            let said = wrong.parse::<Label>().unwrap_err().to_string();
            assert_eq!(said, format!("{wrong:?} found, width and height in mm were wanted, 40 to 300 each: 96x66"));
        }
    }
}
