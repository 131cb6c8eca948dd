//! The two faces that a report is set in, and how wide texts are in them. Letters are set one after the other at their own
//! widths: digits are all equally wide, so that columns of them stand straight.
//!
//! No kerning and no shaping: names in scripts that join their letters are readable, not handsome.

use std::cell::RefCell;
use std::collections::HashMap;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

/// DejaVu Sans Condensed: free to embed (see `fonts/LICENCE`), with figures of one width, the signs of the trade and most
/// alphabets that a point may be named in.
const REGULAR: &[u8] = include_bytes!("../fonts/DejaVuSansCondensed.ttf");
const BOLD: &[u8] = include_bytes!("../fonts/DejaVuSansCondensed-Bold.ttf");

/// What is set for a letter that the face does not have.
const MISSING: char = '\u{fffd}';

/// A face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Face {
    Regular,
    Bold,
}

/// Both faces, ready to measure and to set.
pub(super) struct Faces {
    regular: Letters,
    bold: Letters,
}

struct Letters {
    font: Font,
    source: FontRef<'static>,
    units_per_em: f32,
    /// Glyph and width per em, by letter: a report is set in few letters, many times.
    known: RefCell<HashMap<char, (u32, f32)>>,
}

impl Faces {
    /// # Panics
    /// Never: the fonts are part of the program.
    pub(super) fn new() -> Self {
        Faces { regular: Letters::of(REGULAR), bold: Letters::of(BOLD) }
    }

    /// How wide a text is at a size.
    pub(super) fn width(&self, face: Face, size: f32, text: &str) -> f32 {
        let letters = self.letters(face);
        text.chars().map(|c| letters.letter(c).1).sum::<f32>() * size
    }

    /// A text that fits, with an ellipsis where it was cut.
    pub(super) fn cut(&self, face: Face, size: f32, text: &str, width: f32) -> String {
        let mut held = text.to_owned();
        while self.width(face, size, &held) > width && held.chars().count() > 1 {
            let keep = held.chars().count().saturating_sub(2);
            held = held.chars().take(keep).chain(['\u{2026}']).collect();
        }
        held
    }

    /// A text as the font's glyphs.
    pub(super) fn glyphs(&self, face: Face, text: &str) -> (Font, Vec<KrillaGlyph>) {
        let letters = self.letters(face);
        let glyphs = text.char_indices().map(|(at, c)| {
            let (glyph, width) = letters.letter(c);
            KrillaGlyph::new(GlyphId::new(glyph), width, 0.0, 0.0, 0.0, at..at + c.len_utf8(), None)
        });
        (letters.font.clone(), glyphs.collect())
    }

    fn letters(&self, face: Face) -> &Letters {
        match face {
            Face::Regular => &self.regular,
            Face::Bold => &self.bold,
        }
    }
}

impl Letters {
    fn of(bytes: &'static [u8]) -> Self {
        let source = FontRef::new(bytes).expect("a font that is part of the program");
        let font = Font::new(bytes.into(), 0).expect("a font that is part of the program");
        let units_per_em = font.units_per_em();
        Letters { font, source, units_per_em, known: RefCell::default() }
    }

    fn letter(&self, c: char) -> (u32, f32) {
        *self.known.borrow_mut().entry(c).or_insert_with(|| {
            let map = self.source.charmap();
            let glyph = map.map(c).or_else(|| map.map(MISSING)).unwrap_or_default();
            let metrics = self.source.glyph_metrics(Size::unscaled(), LocationRef::default());
            (glyph.to_u32(), metrics.advance_width(glyph).unwrap_or_default() / self.units_per_em)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_all_equally_wide_and_the_signs_of_the_trade_are_there() {
        let faces = Faces::new();
        for face in [Face::Regular, Face::Bold] {
            let zero = faces.width(face, 10.0, "0");
            assert!(zero > 4.0 && zero < 8.0, "{zero}");
            for digit in "123456789".chars() {
                assert_eq!(faces.width(face, 10.0, &digit.to_string()), zero, "{digit}");
            }
            let missing = faces.letters(face).letter('\u{10fffd}').0;
            assert_eq!(missing, faces.letters(face).letter(MISSING).0);
            for sign in "\u{221a}\u{b5}\u{3bc}\u{b1}\u{394}\u{2212}\u{b7}\u{2026}\u{fc}\u{416}\u{3b1}".chars() {
                assert_ne!(faces.letters(face).letter(sign).0, missing, "{sign}");
            }
        }
    }
}
