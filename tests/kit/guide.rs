//! The guide for integrators, followed: its files are written, its commands run in order, and what they print is what
//! it says. `CLOSERUN_BLESS=1` writes what they print into it.

use std::path::Path;
use std::process::Command;

use super::golden::is_golden;

/// Every block ```` ```toml NAME ```` is a file; in every ```` ```console ```` block a line behind `$ ` is a command for
/// the shell, and what stands under it is what it prints.
#[test]
fn the_guide_can_be_followed() {
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols/README.md");
    let text = std::fs::read_to_string(&guide).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let (mut followed, mut lines, mut commands) = (String::new(), text.lines(), 0);
    while let Some(line) = lines.next() {
        followed += &format!("{line}\n");
        let Some(info) = line.strip_prefix("```").filter(|info| !info.is_empty()) else { continue };
        let block: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
        match info.split_once(' ').unwrap_or((info, "")) {
            ("console", _) => {
                for command in block.iter().filter_map(|line| line.strip_prefix("$ ")) {
                    commands += 1;
                    followed += &format!("$ {command}\n{}", printed(folder.path(), command));
                }
            }
            (kind, name) => {
                let block = block.iter().map(|line| format!("{line}\n")).collect::<String>();
                if kind == "toml" && !name.is_empty() {
                    std::fs::write(folder.path().join(name), &block).unwrap();
                }
                followed += &block;
            }
        }
        followed += "```\n";
    }
    assert!(commands >= 4, "{commands} commands");
    is_golden(&guide, &followed);
}

/// What a command prints, in a folder that holds the files so far.
fn printed(folder: &Path, command: &str) -> String {
    let program = Path::new(env!("CARGO_BIN_EXE_closerun")).parent().expect("it lies in a folder");
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap_or_default());
    let output = Command::new("sh")
        .args(["-c", &format!("exec 2>&1; {command}")])
        .current_dir(folder)
        .env("PATH", path)
        .output()
        .expect("a shell");
    String::from_utf8(output.stdout).expect("text")
}
