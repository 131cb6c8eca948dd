//! How often the true cause of a misclosure is found, and how long the search takes.
//!
//! `cargo bench --bench explain`. Writes `fixtures/explain/table.md` anew from the same simulated runs that the tests use,
//! then times the search on a run of 200 setups with one of them exchanged. Wanted: under 50 ms. The baseline is one
//! folding of the same events into a book: what the program does anyway when it opens a job.

#[path = "../tests/explain/plant.rs"]
#[expect(dead_code, reason = "the tests say more to a planted run than is timed")]
mod plant;
#[path = "../tests/explain/table.rs"]
mod table;

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use closerun::adjust::explain::{explain, misclosures};
use closerun::book::Book;

/// Setups of the run that is timed.
const SETUPS: usize = 200;
/// Odd, so that the median is one of them.
const ROUNDS: usize = 51;

fn main() {
    // Built and run by `cargo test --all-targets` too: then the tables are left alone.
    let is_bench = std::env::args().any(|argument| argument == "--bench");
    if is_bench {
        let rows: Vec<table::Row> = plant::Family::ALL.into_iter().map(table::row).collect();
        let table = table::print(&rows);
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/explain/table.md");
        std::fs::write(&path, &table).expect("the table is written");
        println!("{table}");
    }
    let planted = plant::long_run(SETUPS);
    let finding = misclosures(&planted.book, None).pop().expect("the run does not close");
    let search = median(|| {
        black_box(explain(&planted.book, &finding));
    });
    let fold = median(|| {
        black_box(Book::fold(&planted.events));
    });
    println!("{SETUPS} setups: explained in {search:.2} ms; folding the book takes {fold:.2} ms");
}

/// Milliseconds, the median of several rounds.
fn median(mut run: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let began = Instant::now();
            run();
            began.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[ROUNDS / 2]
}
