//! The files of the page itself, part of the binary: nothing is loaded from elsewhere.

use axum::http::header;
use axum::response::{IntoResponse, Response};

/// One file.
pub(super) struct Asset {
    /// Where it is served.
    pub(super) address: &'static str,
    kind: &'static str,
    text: &'static str,
}

const HTML: &str = "text/html; charset=utf-8";
const PAGE: &str = include_str!("assets/page.html");

/// All of them. Three views are one document, which looks at its own address.
pub(super) const ALL: &[Asset] = &[
    Asset { address: "/", kind: HTML, text: PAGE },
    Asset { address: "/operator", kind: HTML, text: PAGE },
    Asset { address: "/staff", kind: HTML, text: PAGE },
    Asset { address: "/page.css", kind: "text/css; charset=utf-8", text: include_str!("assets/page.css") },
    Asset { address: "/page.js", kind: "text/javascript; charset=utf-8", text: include_str!("assets/page.js") },
    Asset { address: "/sound.js", kind: "text/javascript; charset=utf-8", text: include_str!("assets/sound.js") },
    Asset { address: "/keypad.js", kind: "text/javascript; charset=utf-8", text: include_str!("assets/keypad.js") },
    Asset { address: "/mark.svg", kind: "image/svg+xml", text: include_str!("assets/mark.svg") },
];

/// A file as an answer. It is asked for anew each time, so that a page never outlives its program.
pub(super) fn answer(asset: &Asset) -> Response {
    ([(header::CONTENT_TYPE, asset.kind), (header::CACHE_CONTROL, "no-store")], asset.text).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The largest first page, in bytes.
    const FIRST_PAGE_MAX: usize = 150 * 1024;

    #[test]
    fn the_first_page_is_small_and_asks_for_nothing_from_elsewhere() {
        let once = ALL.iter().filter(|asset| !matches!(asset.address, "/operator" | "/staff"));
        let bytes: usize = once.clone().map(|asset| asset.text.len()).sum();
        assert!(bytes < FIRST_PAGE_MAX, "{bytes} bytes");
        for asset in once {
            let text = asset.text.replace("http://www.w3.org/2000/svg", "");
            assert!(!text.contains("http://") && !text.contains("https://"), "{}", asset.address);
        }
    }

    #[test]
    fn no_script_and_no_style_stands_in_the_document_and_no_text_becomes_markup() {
        assert!(!PAGE.contains("style=") && !PAGE.contains("<style"), "inline style");
        let is_handler = |rest: &str| rest.trim_start_matches(|c: char| c.is_ascii_lowercase()).starts_with('=');
        assert!(!PAGE.split(" on").skip(1).any(is_handler), "inline handler");
        assert_eq!(PAGE.matches("<script").count(), PAGE.matches("<script type=\"module\" src=\"/").count());
        for asset in ALL.iter().filter(|asset| asset.kind.starts_with("text/javascript")) {
            for word in ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("] {
                assert!(!asset.text.contains(word), "{}: {word}", asset.address);
            }
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
        let css = ALL.iter().find(|asset| asset.address == "/page.css").unwrap().text;
        let (light, dark) = css.split_once("prefers-color-scheme: dark").unwrap();
        let dark = dark.split_once("\n* {").unwrap().0;
        for (theme, part) in [("light", light), ("dark", dark)] {
            let colour = colours(part);
            let of = |name: &str| *colour.get(name).unwrap_or_else(|| panic!("{theme}: no colour {name}"));
            let texts = ["ink", "quiet", "hold", "warn", "clear", "data"];
            let pairs = texts.iter().flat_map(|text| [(*text, "ground", 4.5), (*text, "panel", 4.5)]);
            let verdicts = [("on-hold", "hold"), ("on-clear", "clear"), ("on-stale", "stale"), ("on-wait", "wait")];
            let verdicts = verdicts.into_iter().map(|(text, ground)| (text, ground, 7.0));
            let plots = [("ink", "allowed", 4.5), ("ink", "likely", 4.5), ("data", "likely", 3.0)];
            for (text, ground, wanted) in pairs.chain(verdicts).chain(plots) {
                let found = contrast(of(text), of(ground));
                assert!(found >= wanted, "{theme}: {text} on {ground} is {found:.2}, {wanted} was wanted");
            }
        }
    }
}
