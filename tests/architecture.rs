//! The layering, held against the sources: which module may name which, which dependency stands at which boundary, and
//! that the core stays pure. What the tests of a file name does not count.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Which of our modules each may name, besides itself.
const MAY_NAME: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("nearest", &[]),
    ("excerpt", &[]),
    ("formula", &[]),
    ("table", &[]),
    ("book", &["units", "nearest"]),
    ("adjust", &["book", "units", "nearest", "formula", "table"]),
    ("field", &["book", "units", "formula", "table"]),
    ("protocol", &["book", "units", "nearest", "excerpt"]),
    ("report", &["adjust", "field", "book", "units"]),
    ("link", &[]),
    ("simulate", &["protocol", "book", "units"]),
    ("store", &["book", "units"]),
    ("page", &["report", "adjust", "field", "book", "units"]),
    ("config", &["book", "units", "link", "nearest", "excerpt"]),
    (
        "daemon",
        &["link", "protocol", "store", "simulate", "page", "report", "adjust", "field", "book", "units", "nearest"],
    ),
    (
        "cli",
        &[
            "config", "daemon", "link", "protocol", "store", "simulate", "page", "report", "adjust", "field", "book",
            "units", "nearest", "excerpt",
        ],
    ),
];

/// Modules without clock, thread, file, socket, environment, logging or async.
const PURE: &[&str] =
    &["units", "nearest", "excerpt", "formula", "table", "book", "adjust", "field", "protocol", "report"];

/// What a pure module never names.
const IMPURE: &[&str] = &[
    "std::fs",
    "std::net",
    "std::thread",
    "std::env",
    "std::process",
    "std::sync::mpsc",
    "Instant",
    "SystemTime",
    "tokio",
    "tracing",
    "println!",
    "eprintln!",
    "async fn",
    "include_dir",
];

/// Where each dependency may be named. A dependency that is not here may be named anywhere outside the core's way:
/// serde and its helpers carry data through all of it.
const BOUNDARY: &[(&str, &[&str])] = &[
    ("nom", &["protocol/record"]),
    ("crc", &["protocol/checksum"]),
    ("memchr", &["protocol", "link"]),
    ("rusqlite", &["store"]),
    ("btleplug", &["link/ble"]),
    ("uuid", &["link/ble"]),
    ("sd_notify", &["daemon/outlet/supervisor"]),
    ("clap_complete", &["cli"]),
    ("clap_mangen", &["cli"]),
    ("serialport", &["link"]),
    ("tokio_serial", &["link"]),
    ("rustix", &["link", "simulate", "store", "page", "daemon/clock"]),
    ("crossterm", &["daemon/outlet"]),
    ("clap", &["cli"]),
    ("tracing_subscriber", &["cli/log"]),
    ("jiff", &["book/moment", "protocol/meaning"]),
    ("faer", &["adjust"]),
    ("statrs", &["adjust", "field/quantiles"]),
    ("csv", &["table", "adjust", "field", "report"]),
    ("axum", &["page"]),
    ("hyper", &["page"]),
    ("hyper_util", &["page"]),
    ("tower_service", &["page"]),
    ("futures_util", &["page", "link/ble"]),
    ("getrandom", &["page"]),
    ("qrcode", &["cli/page", "report/pdf/cards"]),
    ("krilla", &["report/pdf"]),
    ("skrifa", &["report/pdf"]),
    ("rust_xlsxwriter", &["report/xlsx"]),
];

/// Every source file below `src`, as its path from there and its text without tests and comments.
fn sources() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    collect(&root, &mut files);
    let relative = |path: &PathBuf| path.strip_prefix(&root).unwrap().to_string_lossy().replace('\\', "/");
    files.iter().map(|path| (relative(path), code_of(&fs::read_to_string(path).unwrap()))).collect()
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") && !is_test_file(&path) {
            files.push(path);
        }
    }
}

fn is_test_file(path: &Path) -> bool {
    path.file_stem().is_some_and(|stem| stem == "tests") || path.components().any(|part| part.as_os_str() == "tests")
}

/// The text up to its tests, without comment lines. Tests stand last in a file.
fn code_of(text: &str) -> String {
    let end = text.find("#[cfg(test)]\nmod tests").unwrap_or(text.len());
    let code = text[..end].lines().filter(|line| !line.trim_start().starts_with("//"));
    code.collect::<Vec<_>>().join("\n")
}

/// The module that a file belongs to: `book` for `book/run.rs`, `config` for `config.rs`.
fn module_of(file: &str) -> &str {
    let first = file.split('/').next().unwrap_or(file);
    first.strip_suffix(".rs").unwrap_or(first)
}

/// Our modules named by `crate::x` in some code.
fn named(code: &str) -> Vec<&str> {
    let after = code.match_indices("crate::").map(|(at, _)| &code[at + "crate::".len()..]);
    let word = |rest: &'_ str| rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
    after.map(|rest| &rest[..word(rest)]).filter(|name| !name.is_empty()).collect()
}

/// Whether code names a dependency: `name::`, `use name;` or `#[derive(name::...)]`, not as a part of a longer word.
fn names_crate(code: &str, name: &str) -> bool {
    code.match_indices(&format!("{name}::")).any(|(at, _)| {
        let before = code[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':')
    })
}

#[test]
fn each_module_names_only_those_below_it() {
    let allowed: BTreeMap<&str, &[&str]> = MAY_NAME.iter().copied().collect();
    let mut wrong = Vec::new();
    for (file, code) in sources() {
        let module = module_of(&file);
        if matches!(module, "main" | "lib") {
            continue;
        }
        let Some(allowed) = allowed.get(module) else {
            wrong.push(format!("{file}: the module {module} stands in no row of the table"));
            continue;
        };
        for name in named(&code) {
            if name != module && !allowed.contains(&name) {
                wrong.push(format!("{file} names {name}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_core_is_pure() {
    let mut wrong = Vec::new();
    for (file, code) in sources().iter().filter(|(file, _)| PURE.contains(&module_of(file))) {
        wrong.extend(IMPURE.iter().filter(|word| code.contains(**word)).map(|word| format!("{file} names {word}")));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn each_dependency_stands_at_its_boundary() {
    let mut wrong = Vec::new();
    for (file, code) in sources() {
        for (name, places) in BOUNDARY {
            if names_crate(&code, name) && !places.iter().any(|place| file.starts_with(place)) {
                wrong.push(format!("{file} names {name}, which stands in {}", places.join(", ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn link_store_and_page_never_name_each_other() {
    let apart = ["link", "store", "page"];
    for (file, code) in sources() {
        let module = module_of(&file);
        if apart.contains(&module) {
            let met: Vec<&str> =
                named(&code).into_iter().filter(|name| *name != module && apart.contains(name)).collect();
            assert!(met.is_empty(), "{file} names {met:?}");
        }
    }
}

#[test]
fn every_file_says_first_what_it_is() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for folder in ["src", "tests", "benches"] {
        collect(&root.join(folder), &mut files);
    }
    let silent: Vec<_> = files
        .iter()
        .filter(|path| !fs::read_to_string(path).unwrap().starts_with("//!"))
        .map(|path| path.display().to_string())
        .collect();
    assert!(silent.is_empty(), "no front page: {}", silent.join(", "));
}

#[test]
fn nothing_is_left_half_done() {
    let mut wrong = Vec::new();
    for (file, code) in sources() {
        for word in ["todo!(", "unimplemented!(", "dbg!(", "#[ignore", "unsafe {"] {
            if code.contains(word) {
                wrong.push(format!("{file}: {word}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The checks above must be able to fail: planted code is found.
#[test]
fn a_planted_breach_is_found() {
    assert_eq!(named("use crate::store::Job; crate::link::start()"), ["store", "link"]);
    assert!(names_crate("use nom::branch::alt;", "nom"));
    assert!(!names_crate("use crate::nom::x; economics::nomad::y", "nom"));
    assert_eq!(code_of("use a;\n// use crate::store;\n#[cfg(test)]\nmod tests { use crate::store; }"), "use a;");
    assert_eq!((module_of("book/run.rs"), module_of("config.rs")), ("book", "config"));
}
