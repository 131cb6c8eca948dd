//! The manual and the completions: that the tools which use them can, and that they know every command.

use std::io::Write;
use std::process::{Command, Stdio};

use crate::has;
use crate::program::run;

/// Commands by the program's own help.
fn verbs() -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let help = run(folder.path(), "--help").out;
    let commands = help.split("Commands:").nth(1).unwrap().split("\n\n").next().unwrap().to_owned();
    let verb = |line: &str| line.strip_prefix("  ").filter(|line| !line.starts_with(' ')).map(first_word);
    let verbs: Vec<String> = commands.lines().filter_map(verb).filter(|verb| verb != "help").collect();
    assert!(verbs.len() > 15, "{help}");
    verbs
}

fn first_word(line: &str) -> String {
    line.split_whitespace().next().unwrap().to_owned()
}

#[test]
fn each_command_has_its_page_and_the_manual_reader_finds_no_fault_with_any() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    run(folder, "man --into .").assert_good();
    let page = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    assert_eq!(run(folder, "man").assert_good().out, page("closerun.1"));
    for verb in verbs() {
        assert!(page(&format!("closerun-{verb}.1")).contains(".SH OPTIONS"), "{verb}");
        assert!(page("closerun.1").contains(&format!("closerun\\-{verb}(1)")), "{verb} on the main page");
    }
    assert!(page("closerun-listen.1").contains("\\-\\-wait"));
    if !has("groff") {
        return;
    }
    for name in ["closerun.1", "closerun-listen.1", "closerun-format-try.1"] {
        let said = Command::new("groff").args(["-man", "-Tutf8", "-ww", "-z"]).arg(folder.join(name)).output().unwrap();
        assert!(said.status.success() && said.stderr.is_empty(), "{name}: {}", String::from_utf8_lossy(&said.stderr));
    }
    let missing = run(folder, "man --into nowhere/at/all");
    assert_eq!(missing.code, 1);
    assert!(missing.err.contains("nowhere/at/all"), "{}", missing.err);
}

#[test]
fn bash_completes_commands_options_and_values() {
    if !has("bash") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let script = run(folder.path(), "completions bash").assert_good().out.clone();
    let completed = |words: &[&str]| {
        let typed = words.iter().map(|word| format!("'{word}'")).collect::<Vec<_>>().join(" ");
        let (last, before) = (words[words.len() - 1], words[words.len() - 2]);
        let ask = format!(
            "{script}\nCOMP_WORDS=({typed}); COMP_CWORD={}; _closerun closerun '{last}' '{before}'\n\
             printf '%s\\n' \"${{COMPREPLY[@]}}\"\n",
            words.len() - 1
        );
        bash(&ask)
    };
    for verb in verbs() {
        let cut = &verb[..verb.len() - 1];
        let found = completed(&["closerun", cut]);
        assert!(found.contains(&verb), "{cut}: {found:?}");
    }
    assert_eq!(completed(&["closerun", "listen", "--qui"]), ["--quiet", "--quiet-after"]);
    assert_eq!(completed(&["closerun", "service", "ru"]), ["rule"]);
    assert_eq!(completed(&["closerun", "completions", "zs"]), ["zsh"]);
    assert_eq!(completed(&["closerun", "nonsense-that-nothing-begins-wi"]), [""]);
}

/// What bash prints for a script, which it must read without a word of its own.
fn bash(script: &str) -> Vec<String> {
    let mut shell = Command::new("bash");
    shell.args(["--norc", "--noprofile"]).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut shell = shell.spawn().unwrap();
    shell.stdin.take().unwrap().write_all(script.as_bytes()).unwrap();
    let said = shell.wait_with_output().unwrap();
    assert!(said.status.success() && said.stderr.is_empty(), "{}", String::from_utf8_lossy(&said.stderr));
    let mut words: Vec<String> = String::from_utf8(said.stdout).unwrap().lines().map(str::to_owned).collect();
    words.sort();
    words
}
