//! Pages being filled from top to bottom: words, rules and drawings in their places, before they become a PDF.
//!
//! Nothing is set twice: pages are first laid out, then counted, then given their head and foot.

use super::faces::{Face, Faces};
use super::ink::{BOTTOM, Ink, LEFT, Paper, RIGHT, Size, TOP};
use crate::report::plot::Drawing;

/// Something on a page. Places are of its upper left corner, of texts of the left end of their base line, in points.
#[derive(Clone, Debug)]
pub(super) enum Mark<'a> {
    Text {
        x: f32,
        y: f32,
        style: Style,
        text: String,
    },
    Line {
        from: (f32, f32),
        to: (f32, f32),
        width: f32,
        ink: Ink,
    },
    Fill {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        ink: Ink,
    },
    /// A closed shape.
    Shape {
        points: Vec<(f32, f32)>,
        ink: Ink,
    },
    /// A text of any size, turned clockwise by so many degrees about the left end of its base line.
    Letters {
        x: f32,
        y: f32,
        face: Face,
        size: f32,
        ink: Ink,
        turned: f32,
        text: String,
    },
    /// A drawing, at its size times `scale`.
    Drawing {
        x: f32,
        y: f32,
        scale: f32,
        drawing: &'a Drawing,
    },
}

/// How a text looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Style {
    pub(super) face: Face,
    pub(super) size: Size,
    pub(super) ink: Ink,
}

impl Style {
    pub(super) const BODY: Style = Style { face: Face::Regular, size: Size::Body, ink: Ink::Black };
    pub(super) const STRONG: Style = Style { face: Face::Bold, size: Size::Body, ink: Ink::Black };
    pub(super) const SMALL: Style = Style { face: Face::Regular, size: Size::Small, ink: Ink::Grey };
    pub(super) const HEADING: Style = Style { face: Face::Bold, size: Size::Heading, ink: Ink::Black };

    pub(super) fn in_ink(self, ink: Ink) -> Self {
        Style { ink, ..self }
    }
}

/// One page.
pub(super) struct Page<'a> {
    pub(super) marks: Vec<Mark<'a>>,
    /// What its running head says of it.
    pub(super) part: String,
    /// What must be said on it beside that: PROVISIONAL.
    pub(super) doubt: Option<&'static str>,
}

/// A heading that a reader can go to.
pub(super) struct Entry {
    pub(super) title: String,
    pub(super) page: usize,
    pub(super) y: f32,
    /// 0 for a part, 1 for what stands in one.
    pub(super) depth: usize,
}

/// Pages being filled.
pub(super) struct Sheets<'a, 'p> {
    pub(super) faces: &'p Faces,
    pub(super) paper: Paper,
    pub(super) pages: Vec<Page<'a>>,
    pub(super) entries: Vec<Entry>,
    pub(super) y: f32,
    /// Room kept free at the foot of this page.
    pub(super) kept: f32,
    part: String,
    doubt: Option<&'static str>,
    progress: &'p mut dyn FnMut(usize),
}

impl<'a, 'p> Sheets<'a, 'p> {
    pub(super) fn new(faces: &'p Faces, paper: Paper, progress: &'p mut dyn FnMut(usize)) -> Self {
        let mut sheets = Sheets {
            faces,
            paper,
            pages: Vec::new(),
            entries: Vec::new(),
            y: TOP,
            kept: 0.0,
            part: String::new(),
            doubt: None,
            progress,
        };
        sheets.turn();
        sheets
    }

    /// Width of the text.
    pub(super) fn width(&self) -> f32 {
        self.paper.width() - LEFT - RIGHT
    }

    /// Room left on this page.
    pub(super) fn left(&self) -> f32 {
        self.paper.height() - BOTTOM - self.kept - self.y
    }

    /// Room on a whole page.
    pub(super) fn whole(&self) -> f32 {
        self.paper.height() - BOTTOM - TOP
    }

    /// Nothing stands on this page yet.
    pub(super) fn fresh(&self) -> bool {
        self.y <= TOP
    }

    /// Begins a page.
    pub(super) fn turn(&mut self) {
        self.pages.push(Page { marks: Vec::new(), part: self.part.clone(), doubt: self.doubt });
        (self.y, self.kept) = (TOP, 0.0);
        (self.progress)(self.pages.len());
    }

    /// Begins a page unless so much room is left, or the page is fresh.
    pub(super) fn need(&mut self, room: f32) {
        if room > self.left() && !self.fresh() {
            self.turn();
        }
    }

    /// Room between two things; none at the head of a page.
    pub(super) fn gap(&mut self, room: f32) {
        if !self.fresh() {
            self.y += room;
        }
    }

    pub(super) fn mark(&mut self, mark: Mark<'a>) {
        self.pages.last_mut().expect("there is a first page").marks.push(mark);
    }

    /// What the running heads say from this page on.
    pub(super) fn part(&mut self, part: &str, doubt: Option<&'static str>) {
        part.clone_into(&mut self.part);
        self.doubt = doubt;
        if self.fresh()
            && let Some(page) = self.pages.last_mut()
        {
            (page.part, page.doubt) = (part.to_owned(), doubt);
        }
    }

    /// A page must say a doubt that begins in its middle too.
    pub(super) fn doubt_here(&mut self, doubt: Option<&'static str>) {
        if let Some(page) = self.pages.last_mut() {
            page.doubt = page.doubt.or(doubt);
        }
    }

    /// A heading that a reader can go to, with room for what follows it.
    pub(super) fn heading(&mut self, title: &str, depth: usize, follows: f32) {
        let style = if depth == 0 { Style::HEADING } else { Style::STRONG };
        let rule = if depth == 0 { 5.0 } else { 1.0 };
        self.gap(if depth == 0 { 15.0 } else { 9.0 });
        self.need(style.size.leading() + rule + follows);
        self.entries.push(Entry { title: title.to_owned(), page: self.pages.len() - 1, y: self.y, depth });
        self.words(LEFT, self.width(), style, title);
        if depth == 0 {
            let y = self.y + 0.5;
            self.mark(Mark::Line { from: (LEFT, y), to: (LEFT + self.width(), y), width: 0.8, ink: Ink::Black });
            self.y += rule;
        }
        self.y += 2.0;
    }

    /// A paragraph over the whole width.
    pub(super) fn paragraph(&mut self, style: Style, text: &str) {
        let lines = self.faces.wrap(style, self.width(), text);
        // No line of a paragraph stands alone.
        self.need(style.size.leading() * lines.len().min(3) as f32);
        for line in lines {
            self.need(style.size.leading());
            self.set(LEFT, style, &line);
            self.y += style.size.leading();
        }
    }

    /// Words from `x` on, broken at `width`, downwards from here. The page is not turned.
    pub(super) fn words(&mut self, x: f32, width: f32, style: Style, text: &str) {
        for line in self.faces.wrap(style, width, text) {
            self.set(x, style, &line);
            self.y += style.size.leading();
        }
    }

    /// A text on the line that begins here.
    pub(super) fn set(&mut self, x: f32, style: Style, text: &str) {
        let y = base_line(self.y, style.size);
        self.mark(Mark::Text { x, y, style, text: text.to_owned() });
    }

    /// A drawing with its words under it, at this place and width. Gives the height of both.
    pub(super) fn drawing(&mut self, x: f32, width: f32, drawing: &'a Drawing, words: &str) -> f32 {
        let scale = width / drawing.width as f32;
        let height = drawing.height as f32 * scale;
        let top = self.y;
        self.mark(Mark::Drawing { x, y: top, scale, drawing });
        self.y = top + height + 3.0;
        self.words(x, width, Style::SMALL, words);
        let used = self.y - top;
        self.y = top;
        used
    }

    /// Sets a drawing with its words over the whole width, so far below what stands before it.
    pub(super) fn drawing_across(&mut self, gap: f32, drawing: &'a Drawing, words: &str) {
        let height = self.drawing_height(self.width(), drawing, words);
        self.gap(gap);
        self.need(height);
        self.drawing(LEFT, self.width(), drawing, words);
        self.y += height;
    }

    /// Height of a drawing with its words.
    pub(super) fn drawing_height(&self, width: f32, drawing: &Drawing, words: &str) -> f32 {
        let lines = self.faces.wrap(Style::SMALL, width, words).len();
        (drawing.height / drawing.width) as f32 * width + 3.0 + lines as f32 * Size::Small.leading()
    }
}

/// The base line of a line of text that begins at `y`.
pub(super) fn base_line(y: f32, size: Size) -> f32 {
    // Ascenders take three quarters of an em; what is left of the leading is halved above and below.
    y + (size.leading() - size.points()) / 2.0 + size.points() * 0.86
}

impl Faces {
    /// A text broken at spaces into lines of at most `width`; a word that is longer is broken where the line ends.
    pub(super) fn wrap(&self, style: Style, width: f32, text: &str) -> Vec<String> {
        let measure = |text: &str| self.width(style.face, style.size.points(), text);
        let space = measure(" ");
        let mut lines = vec![(String::new(), 0.0f32)];
        for word in text.split_whitespace() {
            let mut word = word.to_owned();
            loop {
                let (line, used) = lines.last_mut().expect("there is a first line");
                let (before, wide) = (if line.is_empty() { 0.0 } else { space }, measure(&word));
                if *used + before + wide <= width {
                    if before > 0.0 {
                        line.push(' ');
                    }
                    line.push_str(&word);
                    *used += before + wide;
                    break;
                }
                if *used > 0.0 {
                    lines.push((String::new(), 0.0));
                    continue;
                }
                let mut taken = 0.0;
                let fits = word.char_indices().find(|(_, c)| {
                    taken += measure(c.encode_utf8(&mut [0; 4]));
                    taken > width
                });
                // A column narrower than a letter takes one at least, so that this ends.
                let at = fits.map_or(word.len(), |(at, _)| at).max(word.chars().next().map_or(0, char::len_utf8));
                let rest = word.split_off(at);
                lines.push((word, width));
                lines.push((String::new(), 0.0));
                let empty = lines.len() - 3;
                lines.remove(empty);
                word = rest;
                if word.is_empty() {
                    break;
                }
            }
        }
        if lines.len() > 1 && lines.last().is_some_and(|(line, _)| line.is_empty()) {
            lines.pop();
        }
        lines.into_iter().map(|(line, _)| line).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_broken_at_spaces_and_words_only_where_they_must_be() {
        let faces = Faces::new();
        let wide = |text: &str| faces.width(Face::Regular, Size::Body.points(), text);
        let text = "put the forward staff 4.20 m nearer and shoot it again";
        let lines = faces.wrap(Style::BODY, 90.0, text);
        assert!(lines.len() > 1 && lines.iter().all(|line| wide(line) <= 90.0), "{lines:?}");
        assert_eq!(lines.join(" "), text, "nothing is lost");
        let long = "x".repeat(60);
        let lines = faces.wrap(Style::BODY, 50.0, &format!("a {long} b"));
        assert!(lines.iter().all(|line| wide(line) <= 50.0), "{lines:?}");
        assert_eq!(lines.concat().replace(' ', ""), format!("a{long}b"));
        assert_eq!(faces.wrap(Style::BODY, 50.0, ""), [""]);
        assert_eq!(faces.wrap(Style::BODY, 0.1, "ab"), ["a", "b"]);
    }
}
