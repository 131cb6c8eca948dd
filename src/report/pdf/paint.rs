//! Laid-out pages as a PDF/A file, with their heads and feet. Nothing else names the PDF library, but for glyphs.

use krilla::color::rgb;
use krilla::configure::{Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{Path, PathBuilder, Point, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::{Document, SerializeSettings};

use super::faces::{Face, Faces};
use super::ink::{BOTTOM, Ink, LEFT, RIGHT, Size};
use super::name_on_paper;
use super::sheets::{Entry, Mark, Page, Sheets, Style, base_line};
use crate::report::document::full::Report;
use crate::report::plot::{Anchor, Drawing, INK, Job, Place, ROUND_RADIUS, Shape};

/// The file of a report.
pub(super) fn paint(sheets: Sheets<'_, '_>, report: &Report) -> Result<Vec<u8>, String> {
    let book = &report.book;
    let mut document = begin(&About {
        title: format!("Levelling report: {}", name_on_paper(&book.job)),
        description: format!("{}: {}", report.answer.standing.word(), report.answer.verdict),
        simulated: book.simulated,
        at: &book.last_at,
        id: report.record.digest.clone(),
    })?;
    document.set_outline(outline(&sheets.entries));
    let (width, height) = (sheets.paper.width(), sheets.paper.height());
    let of = sheets.pages.len();
    for (page, number) in sheets.pages.iter().zip(1..) {
        on_page(&mut document, (width, height), sheets.faces, |painter| {
            page.marks.iter().for_each(|mark| painter.mark(mark));
            painter.furniture(page, report, (width, height), (number, of));
        })?;
    }
    document.finish().map_err(|error| format!("{error:?}"))
}

/// A file of pages that bear no head and no foot.
pub(super) fn bare(
    pages: &[Vec<Mark<'_>>],
    size: (f32, f32),
    faces: &Faces,
    about: &About<'_>,
) -> Result<Vec<u8>, String> {
    let mut document = begin(about)?;
    for marks in pages {
        on_page(&mut document, size, faces, |painter| marks.iter().for_each(|mark| painter.mark(mark)))?;
    }
    document.finish().map_err(|error| format!("{error:?}"))
}

/// What a file says of itself.
pub(super) struct About<'a> {
    pub(super) title: String,
    pub(super) description: String,
    pub(super) simulated: bool,
    /// The time of the last event, RFC 3339. It stands for the time of making: equal contents give equal bytes.
    pub(super) at: &'a str,
    pub(super) id: String,
}

fn begin(about: &About<'_>) -> Result<Document, String> {
    let configuration = ConfigurationBuilder::new().with_archival_validator(Archival::A2_B).finish();
    let configuration = configuration.map_err(|error| format!("{error:?}"))?;
    let settings = SerializeSettings { configuration, enable_tagging: false, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    document.set_metadata(metadata(about));
    Ok(document)
}

fn on_page(
    document: &mut Document,
    (width, height): (f32, f32),
    faces: &Faces,
    paint: impl FnOnce(&mut Painter<'_, '_, '_>),
) -> Result<(), String> {
    let settings = PageSettings::from_wh(width, height).ok_or("a page without a size")?;
    let mut sheet = document.start_page_with(settings);
    let mut surface = sheet.surface();
    paint(&mut Painter { surface: &mut surface, faces });
    surface.finish();
    sheet.finish();
    Ok(())
}

fn metadata(about: &About<'_>) -> Metadata {
    let metadata = Metadata::new()
        .title(about.title.clone())
        .description(about.description.clone())
        .keywords(if about.simulated { vec!["SIMULATED".to_owned()] } else { Vec::new() })
        .language("en-GB".to_owned())
        .creator(format!("closerun {}", env!("CARGO_PKG_VERSION")))
        .document_id(about.id.clone());
    match date(about.at) {
        Some(date) => metadata.creation_date(date),
        None => metadata,
    }
}

fn date(at: &str) -> Option<DateTime> {
    let part = |from: usize, to: usize| at.get(from..to)?.parse::<u16>().ok();
    let small = |from: usize, to: usize| part(from, to).and_then(|number| u8::try_from(number).ok());
    let day = DateTime::new(part(0, 4)?).month(small(5, 7)?).day(small(8, 10)?);
    Some(day.hour(small(11, 13)?).minute(small(14, 16)?).second(small(17, 19)?).utc_offset_hour(0).utc_offset_minute(0))
}

/// Parts, and what stands in each.
fn outline(entries: &[Entry]) -> Outline {
    let mut parts: Vec<OutlineNode> = Vec::new();
    for entry in entries {
        let node =
            OutlineNode::new(entry.title.clone(), XyzDestination::new(entry.page, Point::from_xy(LEFT, entry.y)));
        match parts.last_mut().filter(|_| entry.depth > 0) {
            Some(part) => part.push_child(node),
            None => parts.push(node),
        }
    }
    let mut outline = Outline::new();
    for part in parts {
        outline.push_child(part);
    }
    outline
}

struct Painter<'s, 'd, 'f> {
    surface: &'s mut Surface<'d>,
    faces: &'f Faces,
}

impl Painter<'_, '_, '_> {
    /// Head and foot: what it is, which page, and by which record.
    fn furniture(
        &mut self,
        page: &Page<'_>,
        report: &Report,
        (width, height): (f32, f32),
        (number, of): (usize, usize),
    ) {
        let small = Style { face: Face::Regular, size: Size::Small, ink: Ink::Grey };
        let strong = Style { face: Face::Bold, size: Size::Small, ink: Ink::Vermilion };
        let right = width - RIGHT;
        let said: Vec<&str> =
            [report.book.simulated.then_some("SIMULATED"), page.doubt].into_iter().flatten().collect();
        let said = said.join("  \u{b7}  ");
        let top = base_line(30.0, Size::Small);
        if number > 1 {
            let job = self.faces.cut(
                small.face,
                small.size.points(),
                &format!("Levelling report  \u{b7}  {}", name_on_paper(&report.book.job)),
                240.0,
            );
            self.text((LEFT, top), small, &job);
            let wide = self.faces.width(small.face, small.size.points(), &page.part);
            self.text((right - wide, top), small, &page.part);
            let y = 42.0;
            self.line((LEFT, y), (right, y), 0.5, Ink::Rule, None);
        }
        let wide = self.faces.width(strong.face, strong.size.points(), &said);
        self.text(((LEFT + right - wide) / 2.0, top), strong, &said);

        let y = height - BOTTOM + 14.0;
        self.line((LEFT, y), (right, y), 0.5, Ink::Rule, None);
        let foot = base_line(y + 3.0, Size::Small);
        let digest = report.record.digest.get(..16).unwrap_or(&report.record.digest);
        let date = report.book.last_at.get(..10).unwrap_or_default();
        let job = self.faces.cut(small.face, small.size.points(), &name_on_paper(&report.book.job), 160.0);
        self.text((LEFT, foot), small, &format!("{job}  \u{b7}  {date}  \u{b7}  digest {digest}"));
        let count = format!("page {number} of {of}");
        let wide = self.faces.width(small.face, small.size.points(), &count);
        self.text((right - wide, foot), small, &count);
        if report.book.simulated {
            let wide = self.faces.width(strong.face, strong.size.points(), "SIMULATED");
            self.text(((LEFT + right - wide) / 2.0 + 60.0, foot), strong, "SIMULATED");
        }
    }

    fn mark(&mut self, mark: &Mark<'_>) {
        match mark {
            Mark::Text { x, y, style, text } => self.text((*x, *y), *style, text),
            Mark::Line { from, to, width, ink } => self.line(*from, *to, *width, *ink, None),
            Mark::Fill { x, y, width, height, ink } => {
                self.shape(&[(*x, *y), (x + width, *y), (x + width, y + height), (*x, y + height)], *ink);
            }
            Mark::Shape { points, ink } => self.shape(points, *ink),
            Mark::Letters { x, y, face, size, ink, turned, text } => {
                self.surface.push_transform(&Transform::from_rotate_at(*turned, *x, *y));
                self.letters((*x, *y), *face, *size, *ink, text);
                self.surface.pop();
            }
            Mark::Drawing { x, y, scale, drawing } => self.drawing((*x, *y), *scale, drawing),
        }
    }

    fn text(&mut self, (x, y): (f32, f32), style: Style, text: &str) {
        self.letters((x, y), style.face, style.size.points(), style.ink, text);
    }

    fn letters(&mut self, (x, y): (f32, f32), face: Face, size: f32, ink: Ink, text: &str) {
        if text.is_empty() {
            return;
        }
        let (font, glyphs) = self.faces.glyphs(face, text);
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(fill(ink)));
        self.surface.draw_glyphs(Point::from_xy(x, y), &glyphs, font, text, size, false);
    }

    fn line(&mut self, from: (f32, f32), to: (f32, f32), width: f32, ink: Ink, dash: Option<StrokeDash>) {
        self.track(&[from, to], width, ink, dash);
    }

    fn track(&mut self, points: &[(f32, f32)], width: f32, ink: Ink, dash: Option<StrokeDash>) {
        let Some(path) = path(points, Ends::Open) else { return };
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(Stroke { paint: colour(ink).into(), width, dash, ..Stroke::default() }));
        self.surface.draw_path(&path);
    }

    fn shape(&mut self, points: &[(f32, f32)], ink: Ink) {
        let Some(path) = path(points, Ends::Joined) else { return };
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(fill(ink)));
        self.surface.draw_path(&path);
    }

    /// A drawing as it is on the page and in files, in our own letters.
    fn drawing(&mut self, (left, top): (f32, f32), scale: f32, drawing: &Drawing) {
        let at = |place: &Place| (left + place.0 as f32 * scale, top + place.1 as f32 * scale);
        for shape in &drawing.shapes {
            match shape {
                Shape::Path { job, points } => self.stroke(*job, &points.iter().map(at).collect::<Vec<_>>(), scale),
                Shape::Area { job, points } => {
                    let mut points: Vec<(f32, f32)> = points.iter().map(at).collect();
                    self.inside(*job, &points);
                    points.extend(points.first().copied());
                    self.stroke(*job, &points, scale);
                }
                Shape::Bar { job, at: (x, y), width, height } => {
                    let corners = [(*x, *y), (x + width, *y), (x + width, y + height), (*x, y + height)];
                    self.inside(*job, &corners.iter().map(at).collect::<Vec<_>>());
                }
                Shape::Round { job, at: (x, y) } => {
                    /// Corners of what stands for a circle: too many to be seen.
                    const CORNERS: u32 = 24;
                    let turn = std::f64::consts::TAU / f64::from(CORNERS);
                    let corner = |index| {
                        let angle = turn * f64::from(index);
                        at(&(x + ROUND_RADIUS * angle.cos(), y + ROUND_RADIUS * angle.sin()))
                    };
                    self.inside(*job, &(0..CORNERS).map(corner).collect::<Vec<_>>());
                }
                Shape::Text { at: place, anchor, text } => {
                    let size = crate::report::plot::LETTER as f32 * scale;
                    let text = super::on_paper(text);
                    let wide = self.faces.width(Face::Regular, size, &text);
                    let (x, y) = at(place);
                    let x = match anchor {
                        Anchor::Start => x,
                        Anchor::Middle => x - wide / 2.0,
                        Anchor::End => x - wide,
                    };
                    self.letters((x, y), Face::Regular, size, Ink::of(INK), &text);
                }
            }
        }
    }

    fn inside(&mut self, job: Job, points: &[(f32, f32)]) {
        if let Some(colour) = job.look().fill {
            self.shape(points, Ink::of(colour));
        }
    }

    fn stroke(&mut self, job: Job, points: &[(f32, f32)], scale: f32) {
        let look = job.look();
        let Some(colour) = look.stroke else { return };
        let dash = look.dashed.then(|| StrokeDash { array: vec![5.0 * scale, 3.0 * scale], offset: 0.0 });
        let width = look.width.parse::<f32>().unwrap_or(1.0) * scale;
        self.track(points, width, Ink::of(colour), dash);
    }
}

/// Whether the last point of a path is joined to its first.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Ends {
    Open,
    Joined,
}

fn path(points: &[(f32, f32)], ends: Ends) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(first.0, first.1);
    for (x, y) in rest {
        builder.line_to(*x, *y);
    }
    if ends == Ends::Joined {
        builder.close();
    }
    builder.finish()
}

fn colour(ink: Ink) -> rgb::Color {
    let [red, green, blue] = ink.rgb();
    rgb::Color::new(red, green, blue)
}

fn fill(ink: Ink) -> Fill {
    Fill { paint: colour(ink).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}
