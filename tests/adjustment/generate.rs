//! Generated networks: seeded, with true elevations, noise of known size, and everything that real networks have: lines,
//! loops, spurs, parallel sections, several known marks, fixed and weighted.

use closerun::adjust::significance::{Levels, Sigma};
use closerun::adjust::{Effects, Given, Hold, KnownMark, Options, Section, WeightRule};
use closerun::book::reading::PointName;
use closerun::units::Length;
use proptest::prelude::*;

/// Noise of a single run, and the rule that says so: 1 mm a root kilometre.
pub(crate) const MM_PER_SQRT_KM: f64 = 1.0;

pub(crate) const OPTIONS: Options = Options {
    weights: WeightRule::Length { mm_per_sqrt_km: MM_PER_SQRT_KM },
    sigma: Sigma::APriori,
    levels: Levels::USUAL,
    effects: Effects::OnEveryMark,
};

/// What a generated network has.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    pub(crate) marks: usize,
    /// Sections beyond those of a spanning tree.
    pub(crate) extra: usize,
    /// Fixed marks, at least one.
    pub(crate) fixed: usize,
    /// Weighted marks.
    pub(crate) weighted: usize,
    pub(crate) seed: u64,
}

/// Shapes from a single line to a well-braced network.
pub(crate) fn shapes() -> impl Strategy<Value = Shape> {
    (2..30usize, 0..40usize, 1..4usize, 0..3usize, any::<u64>()).prop_map(|(marks, extra, fixed, weighted, seed)| {
        let fixed = fixed.min(marks - 1);
        Shape { marks, extra, fixed, weighted: weighted.min(marks - fixed), seed }
    })
}

/// A network and the true elevation of each mark, m.
pub(crate) struct Generated {
    pub(crate) given: Given,
    pub(crate) truth_m: Vec<f64>,
}

pub(crate) fn generate(shape: Shape) -> Generated {
    let mut random = Random(shape.seed);
    let truth_m: Vec<f64> = (0..shape.marks).map(|_| 100.0 + 20.0 * random.normal()).collect();
    let mut ends = Vec::new();
    for to in 1..shape.marks {
        // Mostly onwards from the last mark, so that there are lines; sometimes from any earlier one.
        let from = if random.below(3) > 0 { to - 1 } else { random.below(to) };
        ends.push([from, to]);
    }
    for _ in 0..shape.extra {
        ends.push([random.below(shape.marks), random.below(shape.marks)]);
    }
    let mut section = |[from, to]: [usize; 2]| {
        let kilometres = 0.05 + 2.0 * random.uniform();
        let noise_m = MM_PER_SQRT_KM / 1000.0 * kilometres.sqrt() * random.normal();
        let rise = length(truth_m[to] - truth_m[from] + noise_m);
        Section { length: Some(length(kilometres * 1000.0)), ..Section::new(name(from), name(to), rise) }
    };
    let sections = ends.into_iter().map(&mut section).collect();
    let mut known = Vec::new();
    for at in 0..shape.fixed + shape.weighted {
        // Spread over the network; each mark once.
        let mark = at * shape.marks / (shape.fixed + shape.weighted);
        let (hold, error_m) = if at < shape.fixed {
            (Hold::Fixed, 0.0)
        } else {
            let deviation_m = 0.0005 + 0.002 * random.uniform();
            (Hold::Weighted(length(deviation_m)), deviation_m * random.normal())
        };
        known.push(KnownMark { mark: name(mark), elevation: length(truth_m[mark] + error_m), hold });
    }
    Generated { given: Given { known, sections, ..Given::default() }, truth_m }
}

pub(crate) fn name(mark: usize) -> PointName {
    PointName::new(&format!("M{mark}")).unwrap()
}

/// The number in a name that [`name`] made.
pub(crate) fn number(name: &PointName) -> usize {
    name.as_str()[1..].parse().unwrap()
}

fn length(metres: f64) -> Length {
    Length::from_f64_m(metres).unwrap()
}

/// Random numbers that are the same everywhere and always: SplitMix64 (Steele, Lea, Flood 2014, from memory).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^ (bits >> 31)
    }

    /// Between 0 and 1, neither included.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.bits() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub(crate) fn below(&mut self, bound: usize) -> usize {
        (self.uniform() * bound as f64) as usize
    }

    /// Normal with mean 0 and deviation 1 (Box, Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}
