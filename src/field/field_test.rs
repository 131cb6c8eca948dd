//! The field test of ISO 17123-2: how well a level and its staffs do over a line of 60 m, simplified and full.
//!
//! ```text
//! d_j = a_j - b_j                                 a pair of readings, back staff less fore staff
//! simplified   r_j = mean1 - d_j over the first set, midway        s = sqrt( sum r^2 / (n - 1) )
//!              | mean1 - mean2 | <= p, the deviation permitted for the task, or 2.5 s where none is given
//! full         r_j = mean of the set - d_j over both sets          s = sqrt( sum r^2 / nu ), nu = 2 (n - 1)
//!              s over 1 km of double run = s sqrt( 1000 / 60 ) / sqrt 2
//!              delta = mean1 - mean2, the difference of the staffs' zeros
//! (a)  s <= sigma sqrt( chi2_0.95(nu) / nu )                          against a stated deviation sigma
//! (b)  F_0.025(nu, nu') <= s^2 / s'^2 <= F_0.975(nu, nu')             against an earlier test
//! (c)  | delta | <= s sqrt( 2 / n ) t_0.975(nu)                       zeros alike
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | n | pairs in a set: 10 simplified, 20 full | - |
//! | s | standard deviation of one height difference (one pair) | m |
//! | p, sigma | permitted deviation; stated deviation over 1 km of double run, divided by 2.89 for (a) | m |
//! | nu | degrees of freedom | - |
//!
//! Sign: a difference is positive where the fore staff stands higher; delta is first set less second.
//! In the simplified test both staffs stay, and the second set is read from 10 m and 50 m: the means differ by what the
//! line of sight's inclination makes of 40 m. In the full test the instrument stays midway, and the staffs are exchanged.
//! With 20 pairs the factors are 1.19 for (a), 0.52 and 1.91 for (b), 0.64 for (c).
//!
//! Needs: as many pairs as the procedure asks for. Gives: statistics, and each test with what was compared.
//! Source: ISO 17123-2:2001 (its catalogue page was read; the clauses are from memory, the factors computed here from
//! the distributions).

use std::fmt;

use super::quantiles::{chi_squared, fisher, student};
use crate::book::activity::Procedure;
use crate::units::Length;

/// Length of the test line over which `s` arises, m.
const LINE_M: f64 = 60.0;

/// Factor on `s` where no deviation is permitted for the task.
const WITHOUT_PERMITTED: f64 = 2.5;

/// One back and one fore reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// On the back staff.
    pub back: Length,
    /// On the fore staff.
    pub fore: Length,
}

impl Pair {
    fn difference(self) -> f64 {
        (self.back - self.fore).to_f64_m()
    }
}

/// What the result is compared with, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Against {
    /// Deviation that the task permits between the two means of the simplified test.
    pub permitted: Option<Length>,
    /// Standard deviation over 1 km of double run that is stated for the instrument.
    pub stated: Option<Length>,
    /// An earlier full test: its `s` in metres, and its degrees of freedom.
    pub earlier: Option<(f64, u32)>,
}

/// What a field test comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldTest {
    /// Which.
    pub procedure: Procedure,
    /// Mean differences of the two sets, m.
    pub means_m: [f64; 2],
    /// Standard deviation of one difference, m.
    pub s_m: f64,
    /// Degrees of freedom of `s`.
    pub nu: u32,
    /// The same over 1 km of double run, m; full test only.
    pub s_km_m: Option<f64>,
    /// The tests that could be made, in the order of the standard.
    pub tests: Vec<Compared>,
}

/// One comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// What was asked.
    pub question: Question,
    /// What was found.
    pub value: f64,
    /// The least that is accepted; nought where only the most matters.
    pub least: f64,
    /// The most that is accepted.
    pub most: f64,
}

impl Compared {
    /// A value equal to its limit is inside.
    pub fn passed(&self) -> bool {
        (self.least..=self.most).contains(&self.value)
    }
}

/// What a comparison asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Do the two means agree within what the task permits? m
    WithinPermitted,
    /// Do the two means agree within 2.5 s? m
    WithinScatter,
    /// (a) Is `s` no larger than stated? m
    AsStated,
    /// (b) Is `s` that of the earlier test? The ratio of their squares.
    AsEarlier,
    /// (c) Are the zeros of the staffs alike? m
    ZerosAlike,
}

/// The field test.
///
/// # Errors
/// Other than the number of pairs that the procedure asks for in each set; a scatter of nought, which no instrument has.
pub fn field_test(
    procedure: Procedure,
    first: &[Pair],
    second: &[Pair],
    against: &Against,
) -> Result<FieldTest, NotATest> {
    let wanted = procedure.pairs_a_set();
    if let Some(found) = [first.len(), second.len()].into_iter().find(|found| *found != wanted as usize) {
        return Err(NotATest::Pairs { found, wanted });
    }
    let means_m = [mean(first), mean(second)];
    let squares = |set: &[Pair], mean: f64| set.iter().map(|pair| (mean - pair.difference()).powi(2)).sum::<f64>();
    let (sum, nu) = match procedure {
        Procedure::Simplified => (squares(first, means_m[0]), wanted - 1),
        Procedure::Full => (squares(first, means_m[0]) + squares(second, means_m[1]), 2 * (wanted - 1)),
    };
    let s_m = (sum / f64::from(nu)).sqrt();
    if s_m == 0.0 {
        return Err(NotATest::NoScatter);
    }
    let between = (means_m[0] - means_m[1]).abs();
    let tests = match procedure {
        Procedure::Simplified => {
            let (question, most) = match against.permitted {
                Some(permitted) => (Question::WithinPermitted, permitted.to_f64_m()),
                None => (Question::WithinScatter, WITHOUT_PERMITTED * s_m),
            };
            vec![Compared { question, value: between, least: 0.0, most }]
        }
        Procedure::Full => full_tests(s_m, nu, wanted, between, against),
    };
    let s_km_m = (procedure == Procedure::Full).then(|| s_m * per_km());
    Ok(FieldTest { procedure, means_m, s_m, nu, s_km_m, tests })
}

/// Of the standard deviation of one difference over the line to that over 1 km of double run: 2.89.
fn per_km() -> f64 {
    (1000.0 / LINE_M).sqrt() / 2f64.sqrt()
}

fn full_tests(s_m: f64, nu: u32, n: u32, between: f64, against: &Against) -> Vec<Compared> {
    let freedom = f64::from(nu);
    let stated = against.stated.map(|stated| Compared {
        question: Question::AsStated,
        value: s_m,
        least: 0.0,
        most: stated.to_f64_m() / per_km() * (chi_squared(0.95, nu) / freedom).sqrt(),
    });
    let earlier = against.earlier.map(|(earlier, nu_earlier)| Compared {
        question: Question::AsEarlier,
        value: (s_m / earlier).powi(2),
        least: fisher(0.025, nu, nu_earlier),
        most: fisher(0.975, nu, nu_earlier),
    });
    let zeros = Compared {
        question: Question::ZerosAlike,
        value: between,
        least: 0.0,
        most: s_m * (2.0 / f64::from(n)).sqrt() * student(0.975, nu),
    };
    stated.into_iter().chain(earlier).chain([zeros]).collect()
}

fn mean(set: &[Pair]) -> f64 {
    set.iter().map(|pair| pair.difference()).sum::<f64>() / set.len() as f64
}

impl FieldTest {
    /// Whether every test was passed.
    pub fn passed(&self) -> bool {
        self.tests.iter().all(Compared::passed)
    }

    /// The result in sentences, lengths in millimetres.
    pub fn words(&self) -> Vec<String> {
        let mut words = vec![format!("standard deviation of one height difference {:.2} mm", 1000.0 * self.s_m)];
        if let Some(km) = self.s_km_m {
            words[0] += &format!("; over 1 km of double run {:.2} mm", 1000.0 * km);
        }
        words.extend(self.tests.iter().map(Compared::words));
        words
    }
}

impl Compared {
    fn words(&self) -> String {
        let passed = self.passed();
        let mm = |metres: f64| format!("{:.2} mm", 1000.0 * metres);
        let (value, most) = (mm(self.value), mm(self.most));
        match (self.question, passed) {
            (Question::WithinPermitted, true) => format!("the two sets agree: {value} apart, {most} permitted"),
            (Question::WithinPermitted, false) => {
                format!(
                    "the two sets differ by {value}, more than the {most} permitted: test and adjust the line of sight"
                )
            }
            (Question::WithinScatter, true) => format!("the two sets agree: {value} apart, 2.5 s is {most}"),
            (Question::WithinScatter, false) => {
                format!("the two sets differ by {value}, more than 2.5 s, {most}: test and adjust the line of sight")
            }
            (Question::AsStated, true) => format!("as good as stated: {value}, up to {most} at 95 %"),
            (Question::AsStated, false) => format!("not as good as stated: {value}, more than {most} at 95 %"),
            (Question::AsEarlier, _) => format!(
                "{} the earlier test: ratio of variances {:.2}, {:.2} to {:.2} at 95 %",
                if passed { "as good as" } else { "not the same as" },
                self.value,
                self.least,
                self.most
            ),
            (Question::ZerosAlike, true) => format!("the staffs' zeros are alike: {value} apart, up to {most} at 95 %"),
            (Question::ZerosAlike, false) => format!(
                "the staffs' zeros differ by {value}, more than {most} at 95 %: make an even number of setups between marks"
            ),
        }
    }
}

/// Why readings make no field test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotATest {
    /// The sets are not full.
    Pairs {
        /// How many pairs were found in a set.
        found: usize,
        /// How many were wanted.
        wanted: u32,
    },
    /// All differences are the same to the last digit.
    NoScatter,
}

impl fmt::Display for NotATest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotATest::Pairs { found, wanted } => {
                write!(f, "a set of {found} pairs of readings found, {wanted} were wanted in each of the two sets")
            }
            NotATest::NoScatter => write!(
                f,
                "all height differences of a set are the same to the last digit: lift the instrument between pairs, and read \
                 with all its digits"
            ),
        }
    }
}

impl std::error::Error for NotATest {}

#[cfg(test)]
mod tests {
    use super::*;

    /// `n` pairs about a rise, their differences off by so many um in turn.
    fn set(n: usize, rise_um: i64, off_um: &[i64]) -> Vec<Pair> {
        let pair = |j: usize| Pair {
            back: Length::from_um(1_400_000 + rise_um + off_um[j % off_um.len()]),
            fore: Length::from_um(1_400_000),
        };
        (0..n).map(pair).collect()
    }

    #[test]
    fn the_factors_of_the_full_test_are_the_printed_ones() {
        // chi2_0.95(38) = 53.38, t_0.975(38) = 2.02; factors 1.19, 0.52 and 1.91, 0.64 and 2.89.
        assert!((chi_squared(0.95, 38) - 53.38).abs() < 0.005);
        assert!((student(0.975, 38) - 2.02).abs() < 0.005);
        let (first, second) = (set(20, 250_000, &[-100, 100]), set(20, 250_000, &[-100, 100]));
        let against = Against { stated: Some(Length::from_mm(1)), earlier: Some((0.0001, 38)), ..Against::default() };
        let test = field_test(Procedure::Full, &first, &second, &against).unwrap();
        assert_eq!(test.nu, 38);
        let [stated, earlier, zeros] = test.tests[..] else { panic!("{test:?}") };
        assert!((stated.most * per_km() / 0.001 - 1.19).abs() < 0.005, "{stated:?}");
        assert!((earlier.least - 0.52).abs() < 0.005 && (earlier.most - 1.91).abs() < 0.005, "{earlier:?}");
        assert!((zeros.most / test.s_m - 0.64).abs() < 0.005, "{zeros:?}");
        assert!((test.s_km_m.unwrap() / test.s_m - 2.89).abs() < 0.005);
    }

    #[test]
    fn statistics_by_hand() {
        // Ten differences, five 0.1 mm too large and five too small: s = sqrt(10 * 0.01 / 9) mm.
        let (first, second) = (set(10, 250_000, &[-100, 100]), set(10, 250_300, &[0]));
        let test = field_test(Procedure::Simplified, &first, &second, &Against::default()).unwrap();
        assert!((1000.0 * test.s_m - (0.1f64 / 9.0).sqrt()).abs() < 1e-12);
        assert_eq!(test.nu, 9);
        assert!((test.tests[0].value - 0.0003).abs() < 1e-12);
        assert!(!test.passed(), "0.3 mm are more than 2.5 * 0.105 mm");
        let permitted = Against { permitted: Some(Length::from_um(400)), ..Against::default() };
        assert!(field_test(Procedure::Simplified, &first, &second, &permitted).unwrap().passed());
        // Forty differences off by 0.1 mm: s = sqrt(40 * 0.01 / 38) mm, whatever the staffs' zeros.
        let (first, second) = (set(20, 250_000, &[-100, 100]), set(20, 251_000, &[-100, 100]));
        let test = field_test(Procedure::Full, &first, &second, &Against::default()).unwrap();
        assert!((1000.0 * test.s_m - (0.4f64 / 38.0).sqrt()).abs() < 1e-9);
        assert!(!test.passed(), "zeros 1 mm apart");
    }

    #[test]
    fn the_result_is_told_in_words() {
        let (first, second) = (set(20, 250_000, &[-100, 100]), set(20, 251_000, &[-100, 100]));
        let against = Against { stated: Some(Length::from_um(300)), ..Against::default() };
        let test = field_test(Procedure::Full, &first, &second, &against).unwrap();
        assert_eq!(
            test.words(),
            [
                "standard deviation of one height difference 0.10 mm; over 1 km of double run 0.30 mm",
                "as good as stated: 0.10 mm, up to 0.12 mm at 95 %",
                "the staffs' zeros differ by 1.00 mm, more than 0.07 mm at 95 %: make an even number of setups between marks",
            ]
        );
    }

    #[test]
    fn sets_that_are_not_full_or_do_not_scatter_are_refused() {
        let (first, second) = (set(10, 0, &[0, 1]), set(9, 0, &[0, 1]));
        let refused = |procedure, first: &[Pair], second: &[Pair]| {
            field_test(procedure, first, second, &Against::default()).unwrap_err().to_string()
        };
        assert_eq!(
            refused(Procedure::Simplified, &first, &second),
            "a set of 9 pairs of readings found, 10 were wanted in each of the two sets"
        );
        let still = set(10, 0, &[0]);
        assert!(refused(Procedure::Simplified, &still, &still).starts_with("all height differences"));
        assert!(refused(Procedure::Full, &first, &first).contains("20 were wanted"));
    }
}
