//! Speed of the adjustment with all standard deviations, against SciPy's sparse solve and CHOLMOD, which give none.
//!
//! `cargo bench --bench adjust`. What is timed of ours is the whole of `adjust` on a checked network: weights, equations,
//! solution, variances of all marks, redundancy numbers and tests of all sections
//! (not the effects on every mark, which only small networks have). Of the baselines only factoring and
//! solving is timed, with the matrix formed. The runs of one case take turns in one process each, and medians are compared.
//! The baselines need a `python3` with scipy (and scikit-sparse) on the path; without, they are left out and that is said.
//!
//! Wanted: lines, 1,000,000 marks: no slower than CHOLMOD, under 1 GB. Grid, 100,000 marks: within twice SciPy's solve. Grid,
//! 1,000 to 300,000 marks: time grows no faster than n^1.6.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Instant;

use closerun::adjust::outcome::Outcome;
use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::weights::variances_m2;
use closerun::adjust::{Effects, Given, Hold, KnownMark, Network, Options, Section, WeightRule, adjust};
use closerun::book::reading::PointName;
use closerun::units::Length;

const OPTIONS: Options = Options {
    weights: WeightRule::Length { mm_per_sqrt_km: 1.0 },
    sigma: Sigma::APriori,
    levels: Levels::USUAL,
    effects: Effects::OnEnds,
};

/// Marks on each line between two junctions, as level lines have between nodal marks.
const MARKS_A_LINE: usize = 9;

/// Odd, so that the median is one of them.
const ROUNDS: usize = 7;

fn main() {
    // Built and run by `cargo test --all-targets` too: small then, to show that it works.
    let is_bench = std::env::args().any(|argument| argument == "--bench");
    let scale = if is_bench { 1 } else { 1000 };
    against_baselines("lines", &network(lines(1_000_000 / scale)));
    against_baselines("grid", &network(grid(100_000 / scale)));
    growth(&[1_000, 3_000, 10_000, 30_000, 100_000, 300_000].map(|marks| marks / scale.min(100)));
}

/// Medians of one network, ours and the baselines' in turns.
fn against_baselines(kind: &str, network: &Network) {
    println!("{kind}: {} marks, {} sections", network.mark_count(), network.sections().len());
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("network");
    std::fs::write(&file, told(network)).expect("the network is written");
    let mut python = Baselines::start(&file);
    let names = python.as_ref().map(|python| python.names.clone()).unwrap_or_default();
    let mut ours = Vec::new();
    let mut theirs = vec![Vec::new(); names.len()];
    for _ in 0..ROUNDS {
        let began = Instant::now();
        let outcome = adjust(network, &OPTIONS).expect("the network is sound");
        ours.push(began.elapsed().as_secs_f64());
        for (name, seconds) in names.iter().zip(&mut theirs) {
            if let Some(python) = &mut python {
                seconds.push(python.run(name));
                compare(network, &outcome, &file.with_extension("solution"));
            }
        }
    }
    let ours = median(&mut ours);
    println!("  adjust, all deviations and tests   {:>8.1} ms", ours * 1e3);
    for (name, seconds) in names.iter().zip(&mut theirs) {
        let theirs = median(seconds);
        println!("  {name:<34} {:>8.1} ms   adjust takes {:.2} of it", theirs * 1e3, ours / theirs);
    }
    match peak_mib() {
        Some(mib) => println!("  peak memory of this process so far {mib:>8} MiB, the network with its names included"),
        None => println!("  peak memory is not told on this system"),
    }
}

/// How the time of the grid grows.
fn growth(sizes: &[usize]) {
    println!("grid, growth:");
    let mut points: Vec<(f64, f64)> = Vec::new();
    for &size in sizes {
        let network = network(grid(size));
        let mut seconds: Vec<f64> = (0..ROUNDS)
            .map(|_| {
                let began = Instant::now();
                adjust(&network, &OPTIONS).expect("the network is sound");
                began.elapsed().as_secs_f64()
            })
            .collect();
        let (marks, seconds) = (network.mark_count() as f64, median(&mut seconds));
        let step =
            points.last().map(|&(before, took)| format!("n^{:.2}", (seconds / took).ln() / (marks / before).ln()));
        println!("  {marks:>8} marks {:>10.2} ms   {}", seconds * 1e3, step.unwrap_or_default());
        points.push((marks, seconds));
    }
    if let (Some(first), Some(last)) = (points.first(), points.last()) {
        println!("  from first to last n^{:.2}", (last.1 / first.1).ln() / (last.0 / first.0).ln());
    }
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// The largest resident size of this process, where the system tells it.
fn peak_mib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kib| kib / 1024)
}

/// Marks by number and the sections between them.
type Edges = (usize, Vec<[usize; 2]>);

/// A square lattice, the hard case.
fn grid(marks: usize) -> Edges {
    let side = (marks as f64).sqrt().round().max(2.0) as usize;
    let mut edges = Vec::with_capacity(2 * side * side);
    for mark in 0..side * side {
        if (mark + 1) % side != 0 {
            edges.push([mark, mark + 1]);
        }
        if mark + side < side * side {
            edges.push([mark, mark + side]);
        }
    }
    (side * side, edges)
}

/// A lattice of junctions joined by lines of marks.
fn lines(marks: usize) -> Edges {
    let (mut count, sides) = grid(marks / (2 * MARKS_A_LINE + 1));
    let mut edges = Vec::with_capacity(sides.len() * (MARKS_A_LINE + 1));
    for [from, to] in sides {
        let mut here = from;
        for _ in 0..MARKS_A_LINE {
            edges.push([here, count]);
            here = count;
            count += 1;
        }
        edges.push([here, to]);
    }
    (count, edges)
}

/// Rises with some noise, sections of 0.2 to 1 km, the first mark fixed.
fn network((marks, edges): Edges) -> Network {
    let mut state = 0x2545_f491_4f6c_dd1du64;
    let mut random = move |bound: i64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % bound as u64) as i64
    };
    let names: Vec<PointName> = (0..marks).map(|mark| PointName::new(&format!("M{mark}")).expect("a name")).collect();
    let heights_um: Vec<i64> = (0..marks).map(|_| random(40_000_000)).collect();
    let section = |[from, to]: [usize; 2]| Section {
        length: Some(Length::from_mm(200_000 + random(800_000))),
        ..Section::new(
            names[from].clone(),
            names[to].clone(),
            Length::from_um(heights_um[to] - heights_um[from] + random(2001) - 1000),
        )
    };
    let sections = edges.into_iter().map(section).collect();
    let datum = KnownMark { mark: names[0].clone(), elevation: Length::from_um(heights_um[0]), hold: Hold::Fixed };
    Network::new(Given { known: vec![datum], sections, ..Given::default() }).expect("the network is sound")
}

/// Each mark's place among the unknowns; the last place is that of the fixed one.
fn places(network: &Network) -> Vec<u64> {
    let datum = network.known()[0].0.index() as u64;
    let last = network.mark_count() as u64 - 1;
    (0..=last).map(|mark| if mark == datum { last } else { mark - u64::from(mark > datum) }).collect()
}

/// The network as the script reads it.
fn told(network: &Network) -> Vec<u8> {
    let variances = variances_m2(network, OPTIONS.weights).expect("every section has a length");
    let places = places(network);
    let mut bytes = Vec::new();
    let mut word = |word: [u8; 8]| bytes.extend_from_slice(&word);
    word((network.mark_count() as u64 - 1).to_ne_bytes());
    word((network.sections().len() as u64).to_ne_bytes());
    let approximate = network.approximate();
    for (section, variance) in network.sections().iter().zip(variances) {
        let [from, to] = [section.from, section.to].map(|mark| mark.index());
        let misfit = section.rise - (approximate[to] - approximate[from]);
        word(places[from].to_ne_bytes());
        word(places[to].to_ne_bytes());
        word((1.0 / variance).to_ne_bytes());
        word(misfit.to_f64_m().to_ne_bytes());
    }
    bytes
}

/// The baseline's solution is ours: to a tenth of a micrometre, far more than either loses.
fn compare(network: &Network, outcome: &Outcome, solution: &Path) {
    let bytes = std::fs::read(solution).expect("the script wrote its solution");
    let solution: Vec<f64> =
        bytes.chunks_exact(8).map(|word| f64::from_ne_bytes(word.try_into().expect("eight bytes"))).collect();
    let marks = outcome.last().marks.iter().zip(network.approximate()).zip(places(network));
    for ((mark, approximate), place) in marks {
        if let Some(correction) = solution.get(place as usize) {
            let ours = (mark.elevation - *approximate).to_f64_m();
            assert!((ours - correction).abs() < 1e-7, "the baseline finds {correction}, we find {ours}");
        }
    }
}

/// The Python process with the baselines.
struct Baselines {
    process: Child,
    questions: ChildStdin,
    answers: BufReader<ChildStdout>,
    names: Vec<String>,
}

impl Baselines {
    fn start(network: &Path) -> Option<Self> {
        let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/adjust_baseline.py");
        let mut command = Command::new("python3");
        command.arg(script).arg(network).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        // Set on some machines to one processor for all; the library finds its own better.
        command.env_remove("OPENBLAS_CORETYPE").env_remove("OPENBLAS_L2_SIZE");
        let Ok(mut process) = command.spawn() else {
            println!("  baselines left out: no python3 on the path");
            return None;
        };
        let (questions, answers) = (process.stdin.take()?, process.stdout.take()?);
        let mut python = Baselines { process, questions, answers: BufReader::new(answers), names: Vec::new() };
        let names = python.answer();
        if names.is_empty() {
            println!("  baselines left out: python3 cannot import numpy and scipy");
            return None;
        }
        python.names = names.split(',').map(str::to_owned).collect();
        if python.names.len() < 2 {
            println!("  CHOLMOD left out: python3 cannot import sksparse");
        }
        Some(python)
    }

    /// Seconds of one run.
    fn run(&mut self, name: &str) -> f64 {
        writeln!(self.questions, "{name}").expect("the script listens");
        self.answer().parse().expect("the script answers in seconds")
    }

    fn answer(&mut self) -> String {
        let mut line = String::new();
        self.answers.read_line(&mut line).expect("the script's answer is text");
        line.trim().to_owned()
    }
}

impl Drop for Baselines {
    fn drop(&mut self) {
        // Nothing is left to be read from it; if it has ended by itself, that is as well.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
