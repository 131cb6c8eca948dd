//! Under which licences the program's dependencies stand, by their own manifests, against the list in deny.toml. For
//! this machine's kind; `cargo deny check` looks at all of them.

use std::process::Command;

use serde_json::Value;

use crate::{file, text_of};

/// Licences that deny.toml allows.
fn allowed() -> Vec<String> {
    let deny: toml::Table = text_of("deny.toml").parse().unwrap();
    let allow = deny["licenses"]["allow"].as_array().unwrap();
    allow.iter().map(|licence| licence.as_str().unwrap().to_owned()).collect()
}

/// Whether an expression of licences can be met by these alone. `/` is an old way to write `OR`.
fn met(expression: &str, allowed: &[String]) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ").replace(" WITH ", "+WITH+");
    let tokens: Vec<&str> = spaced.split_whitespace().collect();
    let (met, rest) = any_of(&tokens, allowed);
    assert!(rest.is_empty(), "{expression:?} is an expression of licences up to {rest:?}");
    met
}

fn any_of<'t>(tokens: &'t [&'t str], allowed: &[String]) -> (bool, &'t [&'t str]) {
    let (mut met, mut rest) = all_of(tokens, allowed);
    while let ["OR", behind @ ..] = rest {
        let (other, left) = all_of(behind, allowed);
        (met, rest) = (met | other, left);
    }
    (met, rest)
}

fn all_of<'t>(tokens: &'t [&'t str], allowed: &[String]) -> (bool, &'t [&'t str]) {
    let (mut met, mut rest) = one(tokens, allowed);
    while let ["AND", behind @ ..] = rest {
        let (other, left) = one(behind, allowed);
        (met, rest) = (met & other, left);
    }
    (met, rest)
}

fn one<'t>(tokens: &'t [&'t str], allowed: &[String]) -> (bool, &'t [&'t str]) {
    match tokens {
        ["(", behind @ ..] => match any_of(behind, allowed) {
            (met, [")", rest @ ..]) => (met, rest),
            (_, rest) => panic!("a closing bracket was wanted before {rest:?}"),
        },
        [name, rest @ ..] => (allowed.iter().any(|licence| licence == name), rest),
        [] => panic!("a licence was wanted"),
    }
}

#[test]
fn every_dependency_stands_under_an_allowed_licence_and_comes_from_the_registry() {
    let rustc = Command::new("rustc").arg("-vV").output().expect("the compiler that built this");
    let rustc = String::from_utf8(rustc.stdout).unwrap();
    let host = rustc.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let mut cargo = Command::new(env!("CARGO"));
    cargo.args(["metadata", "--format-version", "1", "--locked", "--offline", "--filter-platform", host]);
    let said = cargo.arg("--manifest-path").arg(file("Cargo.toml")).output().unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let metadata: Value = serde_json::from_slice(&said.stdout).unwrap();
    let allowed = allowed();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 100);
    for package in packages {
        let name = package["name"].as_str().unwrap();
        let licence = package["license"].as_str().unwrap_or_else(|| panic!("{name} names no licence"));
        assert!(met(licence, &allowed), "{name}: {licence}");
        match package["source"].as_str() {
            None => assert_eq!(name, "closerun", "from this machine"),
            Some(source) => assert!(source.starts_with("registry+"), "{name} comes from {source}"),
        }
    }
}

#[test]
fn an_expression_is_met_as_it_is_meant() {
    let allowed = ["MIT".to_owned(), "Zlib".to_owned()];
    for good in ["MIT", "GPL-3.0-only OR MIT", "X/MIT", "(X OR MIT) AND Zlib", "MIT AND Zlib", "X AND Y OR MIT"] {
        assert!(met(good, &allowed), "{good}");
    }
    for bad in ["X", "MIT AND X", "(X OR Y) AND MIT", "MIT WITH X", "MIT AND (Zlib AND X)"] {
        assert!(!met(bad, &allowed), "{bad}");
    }
}
