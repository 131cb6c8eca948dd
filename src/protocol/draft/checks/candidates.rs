//! The ways to compute a check that are tried, by how many values a place of some size can hold.

use crate::protocol::checksum::Sum;
use crate::protocol::checksum::catalogue::{CATALOGUE, Cyclic};
use crate::protocol::format::file::{Finish, Form, Of};

/// One way to compute a check.
pub(super) enum Algorithm {
    /// This one.
    Known(Sum),
    /// What it begins with is worked out of one frame.
    Solved(Solve),
}

/// From a covered part and its check, the sum that makes them agree.
type Solve = fn(&[u8], u64) -> Option<Sum>;

/// The remainders that are tried: those of goods with a bar code, of numbers with a check letter, of bytes, and what
/// two and three digits hold.
const MODULI: [u16; 6] = [10, 11, 100, 255, 256, 1000];

/// The weights that are tried, in turn over the characters.
const WEIGHTS: [&[u8]; 5] = [&[1], &[3, 1], &[1, 3], &[2, 1], &[1, 2]];

/// The cyclic checks, ready to compute.
pub(in crate::protocol::draft) struct Catalogue(Vec<Cyclic>);

impl Catalogue {
    pub(in crate::protocol::draft) fn new() -> Self {
        Catalogue(CATALOGUE.iter().map(|entry| Cyclic::new(*entry)).collect())
    }

    /// What could fill a place of `wide` bytes, the simplest first.
    pub(super) fn algorithms(&self, form: Form, wide: usize) -> Vec<Algorithm> {
        let mut found = simple(form, wide);
        let size = |bits: u8| match form {
            Form::Binary => usize::from(bits).div_ceil(8),
            Form::Hex | Form::HexLower => usize::from(bits).div_ceil(4),
            Form::Decimal => 0,
        };
        let fits = self.0.iter().filter(|cyclic| size(cyclic.bits) == wide);
        found.extend(fits.map(|cyclic| Algorithm::Known(Sum::Cyclic(cyclic.clone()))));
        found.extend(remainders(form, wide));
        found.extend(begun(form, wide));
        found
    }
}

/// How many bytes a sum in such a place has.
fn bytes_of(form: Form, wide: usize) -> Option<usize> {
    let bytes = match form {
        Form::Binary => wide,
        Form::Hex | Form::HexLower if wide.is_multiple_of(2) => wide / 2,
        Form::Hex | Form::HexLower => return None,
        // As many digits as the largest value has.
        Form::Decimal => [(3, 1), (5, 2), (8, 3), (10, 4)].iter().find(|(digits, _)| *digits == wide)?.1,
    };
    (1..=4).contains(&bytes).then_some(bytes)
}

fn simple(form: Form, wide: usize) -> Vec<Algorithm> {
    let Some(bytes) = bytes_of(form, wide) else { return Vec::new() };
    let finishes = [Finish::AsIs, Finish::TwosComplement, Finish::OnesComplement];
    let sums = finishes.map(|finish| Algorithm::Known(Sum::Plain { bytes, first: 0, finish }));
    let xor = (bytes == 1).then_some(Algorithm::Known(Sum::Xor { first: 0 }));
    xor.into_iter().chain(sums).collect()
}

fn remainders(form: Form, wide: usize) -> Vec<Algorithm> {
    let mut found = Vec::new();
    for modulus in MODULI.into_iter().filter(|modulus| size_of(form, u64::from(*modulus) - 1) == wide) {
        for weights in WEIGHTS {
            for of in [Of::Codes, Of::Digits] {
                found.push(Algorithm::Known(Sum::Modulo { modulus, weights: weights.into(), of }));
            }
        }
    }
    if form == Form::Decimal && wide == 2 {
        found.push(Algorithm::Known(Sum::Mod97));
    }
    found
}

/// Sums that begin with something else than 0.
fn begun(form: Form, wide: usize) -> Vec<Algorithm> {
    let mut found = Vec::new();
    let Some(bytes) = bytes_of(form, wide) else { return found };
    if bytes == 1 {
        found.push(Algorithm::Solved(|covered, value| {
            let first = covered.iter().fold(u8::try_from(value).ok()?, |sum, byte| sum ^ byte);
            Some(Sum::Xor { first })
        }));
    }
    if bytes <= 2 {
        let solves: [Solve; 2] = match bytes {
            1 => [|c, v| solved(1, c, v, Finish::AsIs), |c, v| solved(1, c, v, Finish::OnesComplement)],
            _ => [|c, v| solved(2, c, v, Finish::AsIs), |c, v| solved(2, c, v, Finish::OnesComplement)],
        };
        found.extend(solves.map(Algorithm::Solved));
    }
    found
}

/// The sum that begins with what makes this frame agree.
fn solved(bytes: usize, covered: &[u8], value: u64, finish: Finish) -> Option<Sum> {
    let without = Sum::Plain { bytes, first: 0, finish }.over(covered);
    let mask = u64::MAX >> (64 - 8 * bytes);
    let first = match finish {
        Finish::AsIs => value.wrapping_sub(without),
        Finish::OnesComplement | Finish::TwosComplement => without.wrapping_sub(value),
    };
    Some(Sum::Plain { bytes, first: u32::try_from(first & mask).ok()?, finish })
}

/// How many characters or bytes the largest value takes.
fn size_of(form: Form, most: u64) -> usize {
    match form {
        Form::Binary => {
            if most > 255 {
                2
            } else {
                1
            }
        }
        Form::Hex | Form::HexLower => {
            if most > 255 {
                4
            } else {
                2
            }
        }
        Form::Decimal => most.to_string().len(),
    }
}

impl Sum {
    /// How many bits of luck an agreement takes.
    pub(super) fn strength(&self) -> u32 {
        match self {
            Sum::Cyclic(cyclic) => u32::from(cyclic.bits),
            Sum::Xor { .. } => 8,
            // The high bytes of a sum over few bytes hardly change.
            Sum::Plain { .. } => 8,
            Sum::Modulo { modulus, .. } => u32::from(*modulus).ilog2(),
            Sum::Mod97 => 6,
        }
    }
}
