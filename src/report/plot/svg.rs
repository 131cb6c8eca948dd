//! A drawing as SVG: each shape with its class, which a page may style, and plain attributes, which hold where nothing
//! does. Texts are escaped, never markup.

use std::fmt::Write;

use super::canvas::{Anchor, Drawing, INK, Job, LETTER, Place, ROUND_RADIUS, Shape};

/// The whole document, with what it shows in words.
pub(super) fn print(drawing: &Drawing, title: &str, words: &str) -> String {
    let (width, height) = (drawing.width, drawing.height);
    let (title, words) = (escaped(title), escaped(words));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
         height=\"{height}\" role=\"img\" font-family=\"system-ui, sans-serif\" font-size=\"{LETTER}\">\
         <title>{title}</title><desc>{words}</desc>"
    );
    for shape in &drawing.shapes {
        push(&mut svg, shape).expect("a string takes what is written");
    }
    svg.push_str("</svg>");
    svg
}

fn push(svg: &mut String, shape: &Shape) -> std::fmt::Result {
    match shape {
        Shape::Path { job, points } => {
            write!(svg, "<path {} d=\"{}\" fill-opacity=\"0\"/>", attributes(*job), track(points))
        }
        Shape::Area { job, points } => write!(svg, "<path {} d=\"{}Z\"/>", attributes(*job), track(points)),
        Shape::Bar { job, at: (x, y), width, height } => write!(
            svg,
            "<rect {} x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\"/>",
            attributes(*job)
        ),
        Shape::Round { job, at: (x, y) } => {
            write!(svg, "<circle {} cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{ROUND_RADIUS}\"/>", attributes(*job))
        }
        Shape::Text { at: (x, y), anchor, text } => {
            let anchor = match anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            let text = escaped(text);
            write!(
                svg,
                "<text class=\"letters\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"{INK}\">{text}</text>"
            )
        }
    }
}

fn attributes(job: Job) -> String {
    let look = job.look();
    let (fill, stroke) = (look.fill.unwrap_or("none"), look.stroke.unwrap_or("none"));
    let mut attributes = format!("class=\"{}\" fill=\"{fill}\" stroke=\"{stroke}\"", look.class);
    if look.stroke.is_some() {
        attributes += &format!(" stroke-width=\"{}\"", look.width);
    }
    if look.dashed {
        attributes += " stroke-dasharray=\"5 3\"";
    }
    attributes
}

fn track(points: &[Place]) -> String {
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
    use super::super::canvas::Canvas;
    use super::*;

    #[test]
    fn a_hostile_text_stays_text() {
        assert_eq!(escaped("<b onx=\"1\">&'\u{0}"), "&lt;b onx=&quot;1&quot;&gt;&amp;&#39;\u{fffd}");
        let mut canvas = Canvas::new(300, 100);
        canvas.text((1.0, 2.0), Anchor::Start, "</text><script>");
        let svg = canvas.finish("</title>", "<x>".to_owned()).svg;
        assert!(!svg.contains("<script") && !svg.contains("<x>") && svg.matches("</title>").count() == 1, "{svg}");
    }
}
