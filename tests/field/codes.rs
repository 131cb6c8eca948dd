//! The code on a mark card, read from the printed page by a reader that is not ours: it leads back to the record.

use std::path::Path;
use std::process::Command;

use closerun::report::cards::Wanted;
use closerun::report::pdf::{Paper, Stock, print_cards};
use closerun::store::Job;

use crate::cards::{made, set};
use crate::harness::outside::{has, ran};

/// Dots in an inch of a picture: as a telephone sees a card held near.
const DOTS: &str = "300";
/// Dots of a card's height: 66 mm.
const CARD_HEIGHT: usize = 66 * 300 * 10 / 254;

/// The codes on the first page of a PDF, whose cards stand in so many columns and rows in its middle: card by card, as a
/// telephone is held over each.
fn codes(pdf: &Path, (columns, rows): (usize, usize)) -> Option<Vec<String>> {
    has("pdftoppm").then(|| {
        let picture = pdf.with_extension("");
        ran(Command::new("pdftoppm").args(["-gray", "-r", DOTS, "-singlefile"]).arg(pdf).arg(&picture));
        let bytes = std::fs::read(picture.with_extension("pgm")).unwrap();
        let (width, height, grey) = grey(&bytes);
        let (wide, high) = (width / columns, if rows == 1 { height } else { CARD_HEIGHT });
        let top = (height - rows * high) / 2;
        let card = |at: usize| {
            let (left, top) = (at % columns * wide, top + at / columns * high);
            let dot = |x, y| grey[(top + y) * width + left + x];
            let mut seen = rqrr::PreparedImage::prepare_from_greyscale(wide, high, dot);
            seen.detect_grids().iter().map(|grid| grid.decode().unwrap().1).collect::<Vec<_>>()
        };
        (0..columns * rows).flat_map(card).collect()
    })
}

/// A grey picture as the tool writes it: `P5`, width, height, 255, then a byte a dot.
fn grey(bytes: &[u8]) -> (usize, usize, &[u8]) {
    let heads: Vec<&[u8]> = bytes.splitn(4, |byte| byte.is_ascii_whitespace()).collect();
    let [b"P5", width, height, rest] = heads[..] else { panic!("no grey picture") };
    let number = |digits: &[u8]| std::str::from_utf8(digits).unwrap().parse().unwrap();
    (number(width), number(height), rest.strip_prefix(b"255\n").unwrap())
}

#[test]
fn every_code_of_a_sheet_and_of_labels_is_read_back_as_it_was_meant() {
    let person = set();
    let folder = tempfile::tempdir().unwrap();
    let pdf = folder.path().join("cards.pdf");
    let mut eight = made(&person, &Wanted::default());
    eight.cards = vec![eight.cards.remove(0); 8];
    for (number, card) in (1..).zip(&mut eight.cards) {
        card.code.target = format!("C-{number}");
    }
    let meant: Vec<String> = eight.cards.iter().map(|card| card.code.to_string()).collect();
    for paper in [Paper::A4, Paper::Letter] {
        std::fs::write(&pdf, print_cards(&eight, Stock::Sheets(paper)).unwrap().bytes).unwrap();
        let Some(read) = codes(&pdf, (2, 4)) else { return };
        assert_eq!(read, meant, "{paper:?}");
    }
    // Under SIMULATED or PROVISIONAL, and on the smallest label.
    for label in ["96x66", "62x40"] {
        let first = print_cards(&eight, Stock::Labels(label.parse().unwrap())).unwrap();
        std::fs::write(&pdf, first.bytes).unwrap();
        assert_eq!(codes(&pdf, (1, 1)).unwrap(), [eight.cards[0].code.to_string()], "{label}");
    }
}

#[test]
fn what_the_code_says_is_a_command_that_finds_the_record() {
    let person = set();
    let folder = tempfile::tempdir().unwrap();
    let mut job = Job::create(&folder.path().join("core.job")).unwrap();
    job.append(&person.events()).unwrap();
    job.close().unwrap();
    let closerun = |words: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_closerun"));
        let output = ran(command.args(words).current_dir(folder.path()));
        String::from_utf8(output.stdout).unwrap()
    };
    closerun(&["cards", "core.job", "--to", "cards.pdf"]);
    let Some(read) = codes(&folder.path().join("cards.pdf"), (2, 4)) else { return };
    let [code] = &read[..] else { panic!("{read:?}") };
    let (what, command) = code.split_once('\n').unwrap();
    assert_eq!(what, "C-5 in core.job");
    let words: Vec<&str> = command.split(' ').collect();
    assert_eq!(words[0], "closerun");
    let said = closerun(&words[1..]);
    assert!(said.contains("is in it as it was written down"), "{said}");
}
