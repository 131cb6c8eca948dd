//! The few shapes that plots are made of, and what each of them is for.
//!
//! A plot draws itself once, into a [`Drawing`]; the page and files show it as SVG ([`super::svg`]), paper as it is.
//! Colours are of the Okabe-Ito set; each has one job.

/// Size of letters, in CSS pixels.
pub const LETTER: f64 = 13.0;

/// Radius of a round mark.
pub const ROUND_RADIUS: f64 = 5.0;

/// The job of a shape: its class, and how it looks where no style sheet speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Job {
    /// Lines of the grid.
    Grid,
    /// The zero line and the axes.
    Axis,
    /// What is allowed.
    Allowed,
    /// The edge of what is allowed.
    Limit,
    /// What may be expected from the noise seen.
    Expected,
    /// What was observed, inside its limit.
    Observed,
    /// What was observed, over its limit.
    Over,
    /// A second thing observed beside the first.
    Second,
    /// The ground between points.
    Ground,
}

/// How a shape looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Its class in a style sheet.
    pub class: &'static str,
    /// Colour inside, `#rrggbb`.
    pub fill: Option<&'static str>,
    /// Colour of its line.
    pub stroke: Option<&'static str>,
    /// Width of the line as text, in CSS pixels.
    pub width: &'static str,
    /// Whether the line is broken: five pixels of line, three of air.
    pub dashed: bool,
}

/// The colour of letters.
pub const INK: &str = "#30363c";

impl Job {
    /// How it looks.
    pub fn look(self) -> Look {
        let line = |class, stroke, width| Look { class, fill: None, stroke: Some(stroke), width, dashed: false };
        let area = |class, fill| Look { class, fill: Some(fill), stroke: None, width: "0", dashed: false };
        match self {
            Job::Grid => line("grid", "#d0d4d8", "1"),
            Job::Axis => line("axis", INK, "1.5"),
            Job::Allowed => area("allowed", "#e4f3ee"),
            Job::Limit => Look { dashed: true, ..line("limit", "#009e73", "1.5") },
            Job::Expected => area("expected", "#bcd9ec"),
            Job::Observed => Look { fill: Some("#0072b2"), ..line("observed", "#0072b2", "2") },
            Job::Over => Look { fill: Some("#d55e00"), ..line("over", "#d55e00", "2") },
            Job::Second => line("second", INK, "2"),
            Job::Ground => line("ground", "#6c747c", "2"),
        }
    }
}

/// Where a text is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// At its start.
    Start,
    /// In its middle.
    Middle,
    /// At its end.
    End,
}

/// A place on a drawing, in CSS pixels from its upper left corner.
pub type Place = (f64, f64);

/// One shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// An open line through points.
    Path {
        /// What it is for.
        job: Job,
        /// Through these.
        points: Vec<Place>,
    },
    /// A filled area around points.
    Area {
        /// What it is for.
        job: Job,
        /// Around these.
        points: Vec<Place>,
    },
    /// An upright bar.
    Bar {
        /// What it is for.
        job: Job,
        /// Its upper left corner.
        at: Place,
        /// Its width.
        width: f64,
        /// Its height.
        height: f64,
    },
    /// A round mark of [`ROUND_RADIUS`].
    Round {
        /// What it is for.
        job: Job,
        /// Its middle.
        at: Place,
    },
    /// A text on its base line.
    Text {
        /// Where it is held.
        at: Place,
        /// By which end.
        anchor: Anchor,
        /// The text.
        text: String,
    },
}

/// A whole drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// Its width, in CSS pixels.
    pub width: f64,
    /// Its height.
    pub height: f64,
    /// Its shapes, the lowest first.
    pub shapes: Vec<Shape>,
}

/// What there is room for, of things the worthiest of which comes first: each that stands apart from all set before it.
pub(super) fn with_room<T>(in_order: impl IntoIterator<Item = T>, apart: impl Fn(&T, &T) -> bool) -> Vec<T> {
    let mut set: Vec<T> = Vec::new();
    for next in in_order {
        if set.iter().all(|other| apart(other, &next)) {
            set.push(next);
        }
    }
    set
}

/// A drawing being made.
pub(super) struct Canvas {
    drawing: Drawing,
}

impl Canvas {
    pub(super) fn new(width: u32, height: u32) -> Self {
        Canvas { drawing: Drawing { width: f64::from(width), height: f64::from(height), shapes: Vec::new() } }
    }

    pub(super) fn line(&mut self, job: Job, from: Place, to: Place) {
        self.path(job, &[from, to]);
    }

    /// An open line through points.
    pub(super) fn path(&mut self, job: Job, points: &[Place]) {
        self.put(Shape::Path { job, points: points.to_vec() });
    }

    /// A filled area around points.
    pub(super) fn area(&mut self, job: Job, points: &[Place]) {
        self.put(Shape::Area { job, points: points.to_vec() });
    }

    /// A bar between two heights.
    pub(super) fn bar(&mut self, job: Job, x: f64, width: f64, from: f64, to: f64) {
        let (top, height) = (from.min(to), (from - to).abs().max(1.0));
        self.put(Shape::Bar { job, at: (x, top), width, height });
    }

    /// A round mark.
    pub(super) fn round(&mut self, job: Job, at: Place) {
        self.put(Shape::Round { job, at });
    }

    /// A mark on its corner.
    pub(super) fn diamond(&mut self, job: Job, (x, y): Place) {
        self.area(job, &[(x, y - 7.0), (x + 7.0, y), (x, y + 7.0), (x - 7.0, y)]);
    }

    /// A mark that stands on its base, for a point whose elevation is given.
    pub(super) fn triangle(&mut self, job: Job, (x, y): Place) {
        self.area(job, &[(x, y - 8.0), (x + 7.5, y + 5.0), (x - 7.5, y + 5.0)]);
    }

    /// A text.
    pub(super) fn text(&mut self, at: Place, anchor: Anchor, text: &str) {
        self.put(Shape::Text { at, anchor, text: text.to_owned() });
    }

    /// The whole plot, with what it shows in words.
    pub(super) fn finish(self, title: &str, words: String) -> super::Plot {
        super::Plot { svg: super::svg::print(&self.drawing, title, &words), words, drawing: self.drawing }
    }

    fn put(&mut self, shape: Shape) {
        self.drawing.shapes.push(shape);
    }
}
