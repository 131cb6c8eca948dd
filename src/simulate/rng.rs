//! Chance that can be repeated: the same seed gives the same run, on every machine.
//!
//! SplitMix64: Guy L. Steele, Doug Lea, Christine H. Flood, "Fast splittable pseudorandom number generators", OOPSLA
//! 2014; its three constants from memory, held against a known sequence in the test. Good enough for noise and faults,
//! and of no use for secrets.

/// A stream of chance.
#[derive(Clone, Debug)]
pub struct Chance {
    state: u64,
}

/// By how much the state grows: 2^64 divided by the golden ratio, made odd.
const GAMMA: u64 = 0x9E37_79B9_7F4A_7C15;

impl Chance {
    /// The stream of that seed.
    pub fn seeded(seed: u64) -> Self {
        Chance { state: seed }
    }

    /// Another stream for another purpose, so that one more fault does not change the noise of the readings.
    pub fn branch(&self, purpose: u64) -> Self {
        let mut branch = Chance { state: self.state ^ purpose.wrapping_mul(GAMMA) };
        branch.state = branch.bits();
        branch
    }

    /// 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GAMMA);
        let mixed = (self.state ^ (self.state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number from 0 to below 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A whole number below `limit`, which is at least 1. Its lean towards small numbers is under 1 in 2^32 for any
    /// limit used here.
    pub fn below(&mut self, limit: usize) -> usize {
        (self.bits() % limit.max(1) as u64) as usize
    }

    /// Whether something of this probability happens.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.share() < probability
    }

    /// A normally distributed number of mean 0 and standard deviation 1, by Marsaglia's polar method.
    pub fn normal(&mut self) -> f64 {
        // Falls through with a probability of 0.785 a turn: 64 turns fail once in 10^42.
        for _ in 0..64 {
            let (x, y) = (2.0 * self.share() - 1.0, 2.0 * self.share() - 1.0);
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                return x * (-2.0 * square.ln() / square).sqrt();
            }
        }
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first numbers of seed 1234567, as commonly published for SplitMix64 (from memory).
    #[test]
    fn the_known_sequence() {
        let mut chance = Chance::seeded(1_234_567);
        let known = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        assert_eq!(known.map(|_| chance.bits()), known);
    }

    /// Mean and variance of 100,000 draws: off by more than five of their own standard deviations once in a million.
    #[test]
    fn normal_numbers_have_mean_0_and_variance_1() {
        let mut chance = Chance::seeded(7);
        let draws: Vec<f64> = (0..100_000).map(|_| chance.normal()).collect();
        let count = draws.len() as f64;
        let mean = draws.iter().sum::<f64>() / count;
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (count - 1.0);
        assert!(mean.abs() < 5.0 / count.sqrt(), "{mean}");
        assert!((variance - 1.0).abs() < 5.0 * (2.0 / count).sqrt(), "{variance}");
    }

    #[test]
    fn branches_differ_from_each_other_and_repeat() {
        let chance = Chance::seeded(1);
        let first = |purpose| chance.branch(purpose).bits();
        assert_eq!(first(1), first(1));
        assert_ne!(first(1), first(2));
        assert_ne!(first(0), chance.clone().bits());
    }
}
