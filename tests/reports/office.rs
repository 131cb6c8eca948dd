//! What other programs make of our files: the text of a PDF by poppler, the cells of a spreadsheet by LibreOffice.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use crate::harness::outside::{has, ran};

/// The pages of a PDF as text, laid out as on paper.
pub(crate) fn pdf_pages(bytes: &[u8]) -> Option<Vec<String>> {
    let text = poppler("pdftotext", bytes, &["-layout", "-enc", "UTF-8"], &["-"])?;
    let mut pages: Vec<String> = text.split('\u{c}').map(str::to_owned).collect();
    // A form feed ends each page.
    assert_eq!(pages.pop().as_deref(), Some(""));
    Some(pages)
}

/// What poppler says of a PDF: `pdfinfo`, `pdffonts`.
pub(crate) fn poppler(program: &str, bytes: &[u8], before: &[&str], after: &[&str]) -> Option<String> {
    has(program).then(|| {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.pdf");
        std::fs::write(&path, bytes).unwrap();
        let output = ran(Command::new(program).args(before).arg(&path).args(after));
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{program} has nothing to complain of");
        String::from_utf8(output.stdout).unwrap()
    })
}

/// The sheets of a workbook by their names, each row by row.
pub(crate) type Sheets = BTreeMap<String, Vec<Vec<String>>>;

/// Whether formulas are computed anew, or what is stored with them is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Formulas {
    Recomputed,
    AsStored,
}

/// Every cell of a workbook, numbers to all their digits.
pub(crate) fn cells(book: &[u8], formulas: Formulas) -> Option<Sheets> {
    cells_of(&[book], formulas)?.pop()
}

/// The same of several, at one start of the program.
pub(crate) fn cells_of(books: &[impl AsRef<[u8]>], formulas: Formulas) -> Option<Vec<Sheets>> {
    has("soffice").then(|| {
        let folder = tempfile::tempdir().unwrap();
        profile(&folder.path().join("profile"), formulas);
        let home = format!("-env:UserInstallation=file://{}", folder.path().join("profile").display());
        // Comma, quotes, UTF-8, all digits, every sheet to a file of its own.
        let form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1";
        let mut office = Command::new("soffice");
        office.args([&home, "--headless", "--norestore", "--convert-to", form, "--outdir"]);
        office.arg(folder.path()).env("HOME", folder.path());
        for (number, book) in books.iter().enumerate() {
            let path = folder.path().join(format!("book{number}.xlsx"));
            std::fs::write(&path, book).unwrap();
            office.arg(path);
        }
        ran(&mut office);
        (0..books.len()).map(|number| sheets(folder.path(), &format!("book{number}-"))).collect()
    })
}

fn profile(folder: &Path, formulas: Formulas) {
    let mode = match formulas {
        Formulas::Recomputed => 0,
        Formulas::AsStored => 1,
    };
    let settings = format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"><item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop
oor:name="OOXMLRecalcMode" oor:op="fuse"><value>{mode}</value></prop></item></oor:items>"#
    );
    std::fs::create_dir_all(folder.join("user")).unwrap();
    std::fs::write(folder.join("user/registrymodifications.xcu"), settings).unwrap();
}

fn sheets(folder: &Path, book: &str) -> Sheets {
    let mut sheets = Sheets::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let Some(sheet) = name.strip_prefix(book).and_then(|rest| rest.strip_suffix(".csv")) else { continue };
        let text = std::fs::read_to_string(&path).unwrap();
        let mut reader = ::csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        let rows = reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
        sheets.insert(sheet.to_owned(), rows);
    }
    assert!(!sheets.is_empty(), "LibreOffice wrote no sheet of {book}");
    sheets
}
