//! The files of the page itself, part of the binary: nothing is loaded from elsewhere.

use axum::http::header;
use axum::response::{IntoResponse, Response};

/// One file.
pub(super) struct Asset {
    /// Where it is served; pages are served where the routes say.
    pub(super) address: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

const fn page(text: &'static str) -> Asset {
    Asset { address: "", kind: "text/html; charset=utf-8", bytes: text.as_bytes() }
}

const fn script(address: &'static str, text: &'static str) -> Asset {
    Asset { address, kind: "text/javascript; charset=utf-8", bytes: text.as_bytes() }
}

/// The page of one instrument. Its three views are one document, which looks at its own address.
pub(super) const PAGE: Asset = page(include_str!("assets/page.html"));
/// The overview of several.
pub(super) const OVERVIEW: Asset = page(include_str!("assets/overview.html"));

/// All others.
pub(super) const ALL: &[Asset] = &[
    Asset { address: "/page.css", kind: "text/css; charset=utf-8", bytes: include_bytes!("assets/page.css") },
    script("/page.js", include_str!("assets/page.js")),
    script("/stream.js", include_str!("assets/stream.js")),
    script("/make.js", include_str!("assets/make.js")),
    script("/run.js", include_str!("assets/run.js")),
    script("/causes.js", include_str!("assets/causes.js")),
    script("/beside.js", include_str!("assets/beside.js")),
    script("/book.js", include_str!("assets/book.js")),
    script("/commands.js", include_str!("assets/commands.js")),
    script("/keypad.js", include_str!("assets/keypad.js")),
    script("/operator.js", include_str!("assets/operator.js")),
    script("/sound.js", include_str!("assets/sound.js")),
    script("/staff.js", include_str!("assets/staff.js")),
    script("/today.js", include_str!("assets/today.js")),
    script("/overview.js", include_str!("assets/overview.js")),
    Asset { address: "/letters.woff2", kind: "font/woff2", bytes: include_bytes!("assets/letters.woff2") },
    Asset { address: "/mark.svg", kind: "image/svg+xml", bytes: include_bytes!("assets/mark.svg") },
];

/// A file as an answer. It is asked for anew each time, so that a page never outlives its program; only the letters,
/// which no release changes in place, stay for a day.
pub(super) fn answer(asset: &Asset) -> Response {
    let kept = if asset.kind.starts_with("font/") { "max-age=86400" } else { "no-store" };
    ([(header::CONTENT_TYPE, asset.kind), (header::CACHE_CONTROL, kept)], asset.bytes).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The largest first page, in bytes.
    const FIRST_PAGE_MAX: usize = 150 * 1024;

    fn text(asset: &Asset) -> &str {
        std::str::from_utf8(asset.bytes).unwrap_or_default()
    }

    #[test]
    fn the_first_page_is_small_and_asks_for_nothing_from_elsewhere() {
        let all = ALL.iter().chain([&PAGE]);
        let bytes: usize = all.clone().map(|asset| asset.bytes.len()).sum();
        assert!(bytes < FIRST_PAGE_MAX, "{bytes} bytes");
        for asset in all.chain([&OVERVIEW]) {
            let text = text(asset).replace("http://www.w3.org/2000/svg", "");
            assert!(!text.contains("http://") && !text.contains("https://"), "{}", asset.address);
        }
    }

    #[test]
    fn no_script_and_no_style_stands_in_a_document_and_no_text_becomes_markup() {
        for page in [&PAGE, &OVERVIEW].map(text) {
            assert!(!page.contains("style=") && !page.contains("<style"), "a style in the document");
            let handler = |word: &str| word.starts_with("on") && word.contains('=');
            assert!(!page.split_whitespace().any(handler), "a script in an attribute");
            assert_eq!(page.matches("<script").count(), page.matches("<script type=\"module\" src=\"/").count());
        }
        let mut scripts = 0;
        for asset in ALL.iter().filter(|asset| asset.kind.starts_with("text/javascript")) {
            for word in ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("] {
                assert!(!text(asset).contains(word), "{}: {word}", asset.address);
            }
            scripts += 1;
        }
        assert!(scripts > 5);
    }

    #[test]
    fn what_a_document_names_is_served() {
        for page in [&PAGE, &OVERVIEW].map(text) {
            let mut named = 0;
            for part in page.split(['"', '\'']).filter(|part| part.starts_with('/') && part.contains('.')) {
                assert!(ALL.iter().any(|asset| asset.address == part), "{part}");
                named += 1;
            }
            assert!(named > 4);
        }
    }

    /// Colours of the style sheet by name, in its light or its dark part.
    fn colours(css: &str) -> std::collections::BTreeMap<&str, &str> {
        let declared =
            css.lines().filter_map(|line| line.trim().strip_prefix("--")?.strip_suffix(';')?.split_once(": "));
        declared.filter(|(_, value)| value.starts_with('#')).collect()
    }

    /// Relative luminance. Source: WCAG 2.2, definition of relative luminance.
    fn luminance(colour: &str) -> f64 {
        let part = |from: usize| f64::from(u8::from_str_radix(&colour[from..from + 2], 16).unwrap()) / 255.0;
        let linear = |c: f64| if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) };
        0.2126 * linear(part(1)) + 0.7152 * linear(part(3)) + 0.0722 * linear(part(5))
    }

    /// Contrast ratio. Source: WCAG 2.2, definition of contrast ratio.
    fn contrast(one: &str, other: &str) -> f64 {
        let (a, b) = (luminance(one), luminance(other));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn every_text_can_be_read_on_its_ground_in_both_themes() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        let css = text(ALL.iter().find(|asset| asset.address == "/page.css").unwrap());
        let (light, dark) = css.split_once("prefers-color-scheme: dark").unwrap();
        let dark = dark.split_once("\n* {").unwrap().0;
        for (theme, part) in [("light", light), ("dark", dark)] {
            let colour = colours(part);
            let of = |name: &str| *colour.get(name).unwrap_or_else(|| panic!("{theme}: no colour {name}"));
            // 7 : 1 for each text, the enhanced contrast of WCAG 2.2, for the sun; 3 : 1 for what is only a shape.
            let texts = ["ink", "quiet", "hold", "warn", "clear", "data"];
            let fields =
                ["hold", "clear", "stale", "wait"].map(|field| (format!("on-{field}"), format!("{field}-field")));
            let pairs = texts.iter().flat_map(|text| [(*text, "ground", 7.0), (*text, "panel", 7.0)]);
            let fields = fields.iter().map(|(text, field)| (&**text, &**field, 7.0));
            let plots =
                [("ink", "allowed", 7.0), ("ink", "likely", 7.0), ("data", "likely", 3.0), ("hold", "allowed", 3.0)];
            let pairs = pairs.chain(fields).chain(plots);
            for (text, ground, wanted) in pairs {
                let found = contrast(of(text), of(ground));
                assert!(found >= wanted, "{theme}: {text} on {ground} is {found:.2}, {wanted} was wanted");
            }
        }
    }
}
