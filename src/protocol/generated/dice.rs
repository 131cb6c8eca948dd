//! Chance that can be repeated: a seed says everything.

/// Numbers by chance out of a seed (splitmix64).
pub(in crate::protocol) struct Dice(u64);

impl Dice {
    pub(in crate::protocol) fn new(seed: u64) -> Self {
        Dice(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut x = self.0;
        x = (x ^ x >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x = (x ^ x >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        x ^ x >> 31
    }

    /// A number below `bound`.
    pub(in crate::protocol) fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    pub(in crate::protocol) fn one_in(&mut self, chance: u64) -> bool {
        self.below(chance) == 0
    }

    pub(in crate::protocol) fn pick<'a, T: ?Sized>(&mut self, of: &[&'a T]) -> &'a T {
        of[self.below(of.len() as u64) as usize]
    }
}
