//! Lines gathered on pages, or on one page without end.

use super::wrap::columns;

/// What a page is headed and counted by.
pub(super) struct PageHead<'a> {
    pub(super) title: &'a str,
    pub(super) simulated: bool,
    pub(super) width: usize,
}

/// Lines that a page's own head takes: the head, a rule, an empty line.
pub(super) const HEAD_LINES: usize = 3;

/// Pages being filled.
pub(super) struct Sheet {
    /// Lines to a page under its head; none for one page without end.
    room: Option<usize>,
    pages: Vec<Vec<String>>,
}

impl Sheet {
    pub(super) fn new(lines_a_page: Option<usize>) -> Self {
        Sheet { room: lines_a_page.map(|lines| lines - HEAD_LINES), pages: vec![Vec::new()] }
    }

    /// Lines left on this page.
    pub(super) fn left(&self) -> usize {
        self.room.map_or(usize::MAX, |room| room - self.page().len())
    }

    /// Lines on a whole page.
    pub(super) fn whole(&self) -> usize {
        self.room.unwrap_or(usize::MAX)
    }

    fn page(&self) -> &Vec<String> {
        self.pages.last().expect("there is a first page")
    }

    /// Begins a page, unless this one is still empty.
    pub(super) fn turn(&mut self) {
        if !self.page().is_empty() {
            self.pages.push(Vec::new());
        }
    }

    /// Puts lines where they fall.
    pub(super) fn put(&mut self, lines: impl IntoIterator<Item = String>) {
        for line in lines {
            if self.left() == 0 {
                self.turn();
            }
            self.pages.last_mut().expect("there is a first page").push(line);
        }
    }

    /// An empty line, unless at the head of a page or after another.
    pub(super) fn gap(&mut self) {
        if self.page().last().is_some_and(|line| !line.is_empty()) && self.left() > 0 {
            self.put([String::new()]);
        }
    }

    /// Puts lines that belong together, on the next page if this one has no room for all of them.
    pub(super) fn block(&mut self, lines: Vec<String>) {
        if lines.len() > self.left() && lines.len() <= self.whole() {
            self.turn();
        }
        self.put(lines);
    }

    /// The text: with a head on each page and a form feed between pages if there are pages.
    pub(super) fn print(mut self, head: &PageHead<'_>) -> String {
        let paged = self.room.is_some();
        if self.pages.len() > 1 && self.page().is_empty() {
            self.pages.pop();
        }
        let count = self.pages.len();
        let mut text = String::new();
        for (index, page) in self.pages.into_iter().enumerate() {
            if index > 0 {
                text.push('\x0c');
            }
            if paged {
                text += &head.line(index + 1, count);
                text += &format!("\n{}\n\n", "-".repeat(head.width));
            }
            let used = page.iter().rposition(|line| !line.is_empty()).map_or(0, |last| last + 1);
            for line in &page[..used] {
                text += line;
                text.push('\n');
            }
        }
        text
    }
}

impl PageHead<'_> {
    /// `job      SIMULATED      page 2 of 5`, the title cut if it must be.
    fn line(&self, page: usize, of: usize) -> String {
        let right = format!("page {page} of {of}");
        let middle = if self.simulated { "SIMULATED" } else { "" };
        let room = self.width.saturating_sub(columns(&right) + columns(middle) + 4);
        let mut title: String = self.title.chars().take(room).collect();
        if columns(self.title) > room {
            title.pop();
            title.push('~');
        }
        let centre = self.width.saturating_sub(columns(middle)) / 2;
        let before = centre.saturating_sub(columns(&title)).max(2);
        let left = format!("{title}{:before$}{middle}", "");
        let between = self.width.saturating_sub(columns(&left) + columns(&right)).max(2);
        format!("{left}{:between$}{right}", "")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(count: usize) -> Vec<String> {
        (1..=count).map(|line| line.to_string()).collect()
    }

    #[test]
    fn what_belongs_together_goes_to_the_next_page() {
        let mut sheet = Sheet::new(Some(HEAD_LINES + 5));
        sheet.block(lines(3));
        sheet.gap();
        sheet.block(lines(2));
        let text = sheet.print(&PageHead { title: "job", simulated: true, width: 40 });
        let heads: Vec<&str> = text.lines().filter(|line| line.contains("page")).collect();
        assert_eq!(heads, ["job            SIMULATED     page 1 of 2", "\x0cjob            SIMULATED     page 2 of 2"]);
        assert!(text.contains("3\n\x0cjob"), "no empty line ends a page: {text:?}");
    }

    #[test]
    fn what_is_longer_than_a_page_runs_on() {
        let mut sheet = Sheet::new(Some(HEAD_LINES + 2));
        sheet.block(lines(5));
        let text = sheet.print(&PageHead { title: "job", simulated: false, width: 30 });
        assert_eq!(text.matches("page").count(), 3);
        assert!(text.starts_with("job                page 1 of 3\n"), "{text}");
    }

    #[test]
    fn one_page_without_end_has_no_head() {
        let mut sheet = Sheet::new(None);
        sheet.block(lines(200));
        assert_eq!(sheet.print(&PageHead { title: "job", simulated: true, width: 40 }).lines().count(), 200);
    }
}
