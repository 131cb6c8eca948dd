//! The few shapes that plots are made of, written as SVG.
//!
//! Colours are of the Okabe-Ito set; each has one job, named by the class.

use std::fmt::Write;

/// Size of letters, in CSS pixels.
pub(super) const LETTER: f64 = 13.0;

/// The job of a shape: its class, and how it looks where no style sheet speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Job {
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

impl Job {
    fn attributes(self) -> &'static str {
        match self {
            Job::Grid => r##"class="grid" fill="none" stroke="#d0d4d8" stroke-width="1""##,
            Job::Axis => r##"class="axis" fill="none" stroke="#30363c" stroke-width="1.5""##,
            Job::Allowed => r##"class="allowed" fill="#e4f3ee" stroke="none""##,
            Job::Limit => r##"class="limit" fill="none" stroke="#009e73" stroke-width="1.5" stroke-dasharray="5 3""##,
            Job::Expected => r##"class="expected" fill="#bcd9ec" stroke="none""##,
            Job::Observed => r##"class="observed" fill="#0072b2" stroke="#0072b2" stroke-width="2""##,
            Job::Over => r##"class="over" fill="#d55e00" stroke="#d55e00" stroke-width="2""##,
            Job::Second => r##"class="second" fill="none" stroke="#30363c" stroke-width="2""##,
            Job::Ground => r##"class="ground" fill="none" stroke="#6c747c" stroke-width="2""##,
        }
    }
}

/// Where a text is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A drawing being made.
pub(super) struct Canvas {
    body: String,
    width: f64,
    height: f64,
}

impl Canvas {
    pub(super) fn new(width: u32, height: u32) -> Self {
        Canvas { body: String::new(), width: f64::from(width), height: f64::from(height) }
    }

    pub(super) fn line(&mut self, job: Job, from: (f64, f64), to: (f64, f64)) {
        self.path(job, &[from, to]);
    }

    /// An open line through points.
    pub(super) fn path(&mut self, job: Job, points: &[(f64, f64)]) {
        let d = track(points);
        self.write(format_args!("<path {} d=\"{d}\" fill-opacity=\"0\"/>", job.attributes()));
    }

    /// A filled area around points.
    pub(super) fn area(&mut self, job: Job, points: &[(f64, f64)]) {
        let d = track(points);
        self.write(format_args!("<path {} d=\"{d}Z\"/>", job.attributes()));
    }

    /// A bar between two heights.
    pub(super) fn bar(&mut self, job: Job, x: f64, width: f64, from: f64, to: f64) {
        let (top, height) = (from.min(to), (from - to).abs().max(1.0));
        self.write(format_args!(
            "<rect {} x=\"{x:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>",
            job.attributes()
        ));
    }

    /// A round mark.
    pub(super) fn round(&mut self, job: Job, (x, y): (f64, f64)) {
        self.write(format_args!("<circle {} cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\"/>", job.attributes()));
    }

    /// A mark on its corner.
    pub(super) fn diamond(&mut self, job: Job, (x, y): (f64, f64)) {
        self.area(job, &[(x, y - 7.0), (x + 7.0, y), (x, y + 7.0), (x - 7.0, y)]);
    }

    /// A text, escaped.
    pub(super) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let text = escaped(text);
        self.write(format_args!(
            "<text class=\"letters\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"#30363c\">{text}</text>"
        ));
    }

    /// The whole document, with what it shows in words.
    pub(super) fn finish(self, title: &str, words: &str) -> String {
        let (width, height, body) = (self.width, self.height, self.body);
        let (title, words) = (escaped(title), escaped(words));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
             height=\"{height}\" role=\"img\" font-family=\"system-ui, sans-serif\" font-size=\"{LETTER}\">\
             <title>{title}</title><desc>{words}</desc>{body}</svg>"
        )
    }

    fn write(&mut self, shape: std::fmt::Arguments<'_>) {
        self.body.write_fmt(shape).expect("a string takes what is written");
    }
}

fn track(points: &[(f64, f64)]) -> String {
    let mut d = String::new();
    for (index, (x, y)) in points.iter().enumerate() {
        let step = if index == 0 { 'M' } else { 'L' };
        write!(d, "{step}{x:.1} {y:.1}").expect("a string takes what is written");
    }
    d
}

/// A text as it must stand between tags or in an attribute. What XML cannot hold becomes a replacement sign.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_text_stays_text() {
        assert_eq!(escaped("<b onx=\"1\">&'\u{0}"), "&lt;b onx=&quot;1&quot;&gt;&amp;&#39;\u{fffd}");
        let mut canvas = Canvas::new(300, 100);
        canvas.text((1.0, 2.0), Anchor::Start, "</text><script>");
        let svg = canvas.finish("</title>", "<x>");
        assert!(!svg.contains("<script") && !svg.contains("<x>") && svg.matches("</title>").count() == 1, "{svg}");
    }
}
