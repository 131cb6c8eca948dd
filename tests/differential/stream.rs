//! Chance out of a seed, and damage.

use closerun::simulate::Chance;

/// Numbers by chance.
pub(super) struct Dice(Chance);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Dice(Chance::seeded(seed))
    }

    /// A number below `bound`.
    pub(super) fn below(&mut self, bound: u64) -> u64 {
        self.0.bits() % bound
    }
}

/// Turns bits, takes bytes out, puts some in, doubles a part: what a bad cable does, and what nobody expects.
pub(super) fn damage(frame: &mut Vec<u8>, dice: &mut Dice) {
    for _ in 0..1 + dice.below(3) {
        let at = dice.below(frame.len().max(1) as u64) as usize;
        match dice.below(6) {
            0 if at < frame.len() => drop(frame.remove(at)),
            1 => frame.insert(at.min(frame.len()), dice.below(256) as u8),
            2 if at < frame.len() => frame[at] = b'0' + dice.below(10) as u8,
            3 => frame.truncate(at),
            4 => {
                let part = frame[at.min(frame.len())..].to_vec();
                frame.extend(part);
            }
            _ if at < frame.len() => frame[at] ^= 1 << dice.below(8),
            _ => {}
        }
    }
}
