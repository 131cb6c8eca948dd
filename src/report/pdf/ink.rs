//! Sizes, colours and distances of the paper: one scale each, so that all pages are of one hand. Lengths in points.

/// A size of letters: four in all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    /// The name of the job.
    Title,
    /// Headings and the verdict.
    Heading,
    /// Text and tables.
    Body,
    /// Column heads, remarks, the foot.
    Small,
}

impl Size {
    pub(super) fn points(self) -> f32 {
        match self {
            Size::Title => 20.0,
            Size::Heading => 11.5,
            Size::Body => 8.25,
            Size::Small => 6.9,
        }
    }

    /// From one line to the next.
    pub(super) fn leading(self) -> f32 {
        match self {
            Size::Title => 25.0,
            Size::Heading => 15.0,
            Size::Body => 11.25,
            Size::Small => 9.0,
        }
    }
}

/// The unit of distances; others are its multiples.
pub(super) const UNIT: f32 = 3.0;

/// A colour. Those with a meaning are of the Okabe-Ito families, darkened until they read as letters on white; each stands
/// beside a word that says the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// Letters.
    Black,
    /// What is said beside them.
    Grey,
    /// Rules.
    Rule,
    /// Behind what stands out.
    Shade,
    /// Hold, does not close, SIMULATED.
    Vermilion,
    /// Warnings, provisional.
    Orange,
    /// Large words behind others, which stay readable on it.
    Doubt,
    /// Closes, clear to move.
    Green,
    /// As a drawing says.
    Of([u8; 3]),
}

impl Ink {
    pub(super) fn rgb(self) -> [u8; 3] {
        match self {
            Ink::Black => [0x16, 0x1a, 0x1e],
            Ink::Grey => [0x5a, 0x62, 0x6a],
            Ink::Rule => [0xb8, 0xbf, 0xc6],
            Ink::Shade => [0xf1, 0xf3, 0xf5],
            Ink::Vermilion => [0xa6, 0x3c, 0x00],
            Ink::Orange => [0x8a, 0x5a, 0x00],
            Ink::Doubt => [0xf0, 0xc8, 0xb0],
            Ink::Green => [0x00, 0x6b, 0x4f],
            Ink::Of(rgb) => rgb,
        }
    }

    /// From `#rrggbb`.
    pub(super) fn of(text: &str) -> Self {
        let part = |at: usize| text.get(at..at + 2).and_then(|digits| u8::from_str_radix(digits, 16).ok());
        Ink::Of([part(1).unwrap_or(0), part(3).unwrap_or(0), part(5).unwrap_or(0)])
    }
}

/// Size of the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm by 297 mm.
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

impl Paper {
    pub(super) fn width(self) -> f32 {
        match self {
            Paper::A4 => 595.28,
            Paper::Letter => 612.0,
        }
    }

    pub(super) fn height(self) -> f32 {
        match self {
            Paper::A4 => 841.89,
            Paper::Letter => 792.0,
        }
    }
}

/// Room for the holes of a file.
pub(super) const LEFT: f32 = 56.0;
pub(super) const RIGHT: f32 = 40.0;
/// Where text begins under the running head.
pub(super) const TOP: f32 = 60.0;
/// Where it ends above the foot.
pub(super) const BOTTOM: f32 = 56.0;

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as WCAG 2.1 defines them.
    fn contrast_on_white([r, g, b]: [u8; 3]) -> f64 {
        let linear = |part: u8| {
            let part = f64::from(part) / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        };
        let luminance = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
        1.05 / (luminance + 0.05)
    }

    #[test]
    fn letters_can_be_read() {
        for ink in [Ink::Black, Ink::Grey, Ink::Vermilion, Ink::Orange, Ink::Green] {
            assert!(contrast_on_white(ink.rgb()) >= 4.5, "{ink:?}: {}", contrast_on_white(ink.rgb()));
        }
        assert_eq!(Ink::of("#0072b2").rgb(), [0x00, 0x72, 0xb2]);
    }
}
