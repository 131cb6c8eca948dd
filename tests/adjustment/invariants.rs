//! What holds for every adjustment, whatever the numbers.

use closerun::adjust::outcome::{Adjustment, Outcome, Standing};
use closerun::adjust::snoop::Suspect;
use closerun::adjust::weights::variances_m2;
use closerun::adjust::{Given, Hold, Network, NetworkError, Options, SectionId, WeightRule, adjust};
use closerun::units::Length;
use proptest::prelude::*;

use super::generate::{MM_PER_SQRT_KM, OPTIONS, Random, generate, name, shapes};

/// What 64-bit floats leave of sums over some thirty marks, relative.
const CLOSE: f64 = 1e-9;

fn adjusted(given: &Given) -> (Network, Outcome) {
    let network = Network::new(given.clone()).unwrap();
    let outcome = adjust(&network, &OPTIONS).unwrap();
    (network, outcome)
}

/// Both adjustments of an outcome; the same one twice where nothing more is held.
fn both(outcome: &Outcome) -> [&Adjustment; 2] {
    [&outcome.free, outcome.last()]
}

/// Equal to rounding, for quantities of that size.
fn close(found: f64, wanted: f64, size: f64) -> bool {
    (found - wanted).abs() <= CLOSE * size
}

/// The size of the corrections, below which a difference of residuals is rounding: a millimetre.
const MM: f64 = 1e-3;

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn weighted_residuals_balance_at_every_mark(shape in shapes()) {
        let (network, outcome) = adjusted(&generate(shape).given);
        let variances = variances_m2(&network, OPTIONS.weights).unwrap();
        for adjustment in both(&outcome) {
            let mut sums = vec![(0.0, 0.0); network.mark_count()];
            let mut add = |mark: usize, value: f64| {
                sums[mark].0 += value;
                sums[mark].1 += value.abs();
            };
            for ((section, adjusted), variance) in network.sections().iter().zip(&adjustment.sections).zip(&variances) {
                add(section.from.index(), -adjusted.residual_m / variance);
                add(section.to.index(), adjusted.residual_m / variance);
            }
            for known in &adjustment.weighted {
                let hold = network.known().iter().find(|(mark, ..)| *mark == known.mark).unwrap().2;
                let Hold::Weighted(deviation) = hold else { panic!("{hold:?}") };
                add(known.mark.index(), known.residual_m / deviation.to_f64_m().powi(2));
            }
            for (mark, (sum, size)) in adjustment.marks.iter().zip(&sums) {
                prop_assert!(mark.standing == Standing::Held || sum.abs() <= CLOSE * (size + MM / 1e-6), "{mark:?} {sum} of {size}");
            }
        }
    }

    #[test]
    fn redundancy_numbers_sum_to_the_degrees_of_freedom(shape in shapes()) {
        let (_, outcome) = adjusted(&generate(shape).given);
        for adjustment in both(&outcome) {
            let sum = adjustment.sections.iter().map(|section| section.redundancy).sum::<f64>()
                + adjustment.weighted.iter().map(|known| known.redundancy).sum::<f64>();
            prop_assert!(close(sum, adjustment.degrees_of_freedom() as f64, adjustment.observations as f64), "{sum}");
            for section in &adjustment.sections {
                prop_assert!((0.0..=1.0).contains(&section.redundancy));
                prop_assert_eq!(section.test.is_none(), section.redundancy == 0.0);
            }
        }
    }

    #[test]
    fn every_loop_closes(shape in shapes()) {
        let (network, outcome) = adjusted(&generate(shape).given);
        for adjustment in both(&outcome) {
            for (section, adjusted) in network.sections().iter().zip(&adjustment.sections) {
                let [from, to] = [section.from, section.to].map(|mark| adjustment.marks[mark.index()].elevation);
                prop_assert_eq!(adjusted.rise, to - from, "adjusted rises are differences of elevations, exactly");
                let observed = section.rise.to_f64_m() + adjusted.residual_m;
                prop_assert!((observed - adjusted.rise.to_f64_m()).abs() < 1e-9, "and observed ones with their residuals");
            }
        }
    }

    #[test]
    fn a_shifted_datum_shifts_heights_and_leaves_residuals(shape in shapes(), shift_mm in -5_000i64..5_000) {
        let generated = generate(shape).given;
        let mut shifted = generated.clone();
        let shift = Length::from_mm(shift_mm);
        shifted.known.iter_mut().for_each(|known| known.elevation += shift);
        let ((_, outcome), (_, after)) = (adjusted(&generated), adjusted(&shifted));
        for (before, after) in both(&outcome).into_iter().zip(both(&after)) {
            for (before, after) in before.marks.iter().zip(&after.marks) {
                prop_assert_eq!(before.elevation + shift, after.elevation, "exactly: what is solved for does not change");
            }
            prop_assert_eq!(&before.sections, &after.sections);
        }
    }

    #[test]
    fn scaled_weights_leave_heights_and_residuals(shape in shapes()) {
        // A power of two, so that halved and doubled floats keep every digit.
        let generated = generate(shape).given;
        let mut scaled = generated.clone();
        for known in &mut scaled.known {
            if let Hold::Weighted(deviation) = &mut known.hold {
                *deviation = *deviation * 2;
            }
        }
        let (_, outcome) = adjusted(&generated);
        let doubled = Options { weights: WeightRule::Length { mm_per_sqrt_km: 2.0 * MM_PER_SQRT_KM }, ..OPTIONS };
        let after = adjust(&Network::new(scaled).unwrap(), &doubled).unwrap();
        for (before, after) in both(&outcome).into_iter().zip(both(&after)) {
            for (before, after) in before.marks.iter().zip(&after.marks) {
                prop_assert!((before.elevation - after.elevation).abs() <= Length::from_tenth_nm(1));
                prop_assert!(close(2.0 * before.deviation_m, after.deviation_m, MM));
            }
            for (before, after) in before.sections.iter().zip(&after.sections) {
                prop_assert!(close(before.residual_m, after.residual_m, MM));
                prop_assert!(close(before.redundancy, after.redundancy, 1.0));
            }
            prop_assert!(close(before.weighted_squares, 4.0 * after.weighted_squares, before.weighted_squares + 1.0));
        }
    }

    #[test]
    fn a_section_turned_round_flips_one_residual_and_nothing_else(shape in shapes(), at in any::<prop::sample::Index>()) {
        let generated = generate(shape).given;
        let mut turned = generated.clone();
        let at = at.index(turned.sections.len());
        let section = &mut turned.sections[at];
        std::mem::swap(&mut section.from, &mut section.to);
        section.rise = -section.rise;
        let ((network, outcome), (other, after)) = (adjusted(&generated), adjusted(&turned));
        for (before, after) in both(&outcome).into_iter().zip(both(&after)) {
            same_marks((&network, before), (&other, after))?;
            for (which, (before, after)) in before.sections.iter().zip(&after.sections).enumerate() {
                let sign = if which == at { -1.0 } else { 1.0 };
                prop_assert!(close(sign * before.residual_m, after.residual_m, MM), "{which} of {at}");
                prop_assert!(close(before.redundancy, after.redundancy, 1.0));
            }
        }
    }

    #[test]
    fn the_order_of_input_does_not_matter(shape in shapes(), seed in any::<u64>()) {
        let generated = generate(shape).given;
        let mut mixed = generated.clone();
        let mut random = Random(seed);
        for last in (1..mixed.sections.len()).rev() {
            mixed.sections.swap(last, random.below(last + 1));
        }
        // The first fixed mark is the datum of the free adjustment, so known marks keep their order.
        let ((network, outcome), (other, after)) = (adjusted(&generated), adjusted(&mixed));
        for (before, after) in both(&outcome).into_iter().zip(both(&after)) {
            same_marks((&network, before), (&other, after))?;
            let of = |given: &Given, adjustment: &Adjustment| {
                let mut rows: Vec<_> = given.sections.iter().zip(&adjustment.sections)
                    .map(|(section, adjusted)| (section.from.clone(), section.to.clone(), section.rise, adjusted.residual_m)).collect();
                rows.sort_by(|one, other| (&one.0, &one.1, one.2).cmp(&(&other.0, &other.1, other.2)));
                rows
            };
            for (before, after) in of(&generated, before).iter().zip(of(&mixed, after)) {
                prop_assert_eq!(before.2, after.2);
                prop_assert!(close(before.3, after.3, MM), "{before:?} {after:?}");
            }
        }
    }

    #[test]
    fn a_planted_mistake_moves_what_the_tests_say_it_moves(shape in shapes(), at in any::<prop::sample::Index>()) {
        let generated = generate(shape).given;
        let mut wrong = generated.clone();
        let at = at.index(wrong.sections.len());
        let mistake = Length::from_mm(20);
        wrong.sections[at].rise += mistake;
        let mistake_m = mistake.to_f64_m();
        let ((_, outcome), (_, after)) = (adjusted(&generated), adjusted(&wrong));
        for (before, after) in both(&outcome).into_iter().zip(both(&after)) {
            let (section, residual_m) = (&before.sections[at], after.sections[at].residual_m);
            prop_assert!(close(residual_m - section.residual_m, -section.redundancy * mistake_m, MM), "-r times the mistake");
            let moved = |mark: usize| (after.marks[mark].elevation - before.marks[mark].elevation).to_f64_m();
            let most = (0..before.marks.len()).map(|mark| moved(mark).abs()).fold(0.0, f64::max);
            if let Some(test) = section.test {
                let share = test.moves_by_m / test.detectable_m;
                prop_assert!((most - (share * mistake_m).abs()).abs() < 1e-9, "no mark is moved more than an end of the section");
                prop_assert!((moved(test.moves.index()) - share * mistake_m).abs() < 1e-9);
                let exposure = before.exposure.as_ref().unwrap();
                for (mark, exposure) in exposure.iter().enumerate() {
                    let by_m = moved(mark) / mistake_m * test.detectable_m;
                    let worst_m = exposure.map_or(0.0, |exposure| exposure.by_m);
                    prop_assert!(by_m.abs() <= worst_m.abs() + 1e-9, "the worst is not less: {by_m} {worst_m}");
                    if exposure.is_some_and(|exposure| exposure.section.index() == at) {
                        prop_assert!((by_m - worst_m).abs() <= 1e-9, "and it is what that section does: {by_m} {worst_m}");
                    }
                }
            } else {
                let hanging = |mark: usize| matches!(before.marks[mark].standing, Standing::HangsOn(_));
                for mark in 0..before.marks.len() {
                    prop_assert!(hanging(mark) || moved(mark) == 0.0, "only marks said to hang are moved unseen");
                }
            }
        }
    }

    #[test]
    fn a_checked_section_can_be_set_aside(shape in shapes(), at in any::<prop::sample::Index>()) {
        let (network, outcome) = adjusted(&generate(shape).given);
        let at = at.index(network.sections().len());
        let redundancy = outcome.last().sections[at].redundancy;
        match network.without(Suspect::Section(SectionId::at(at))) {
            Ok(without) => {
                let after = adjust(&without, &OPTIONS).unwrap();
                // Without a section that nothing checks, the mark at its end may go as well, and one unknown with it.
                let less = usize::from(redundancy > 0.0);
                prop_assert_eq!(after.last().degrees_of_freedom() + less, outcome.last().degrees_of_freedom());
            }
            Err(NetworkError::NoSections) => {}
            Err(_) => prop_assert_eq!(redundancy, 0.0, "only what nothing checks holds the network together"),
        }
    }
}

/// The same marks by name, to rounding.
fn same_marks(
    (network, before): (&Network, &Adjustment),
    (other, after): (&Network, &Adjustment),
) -> Result<(), TestCaseError> {
    for (name, mark) in network.names().iter().zip(&before.marks) {
        let found = &after.marks[other.find(name).unwrap().index()];
        prop_assert!((mark.elevation - found.elevation).abs() <= Length::from_tenth_nm(1), "{name}");
        prop_assert!(close(mark.deviation_m, found.deviation_m, MM), "{name}: {mark:?} {found:?}");
        prop_assert_eq!(std::mem::discriminant(&mark.standing), std::mem::discriminant(&found.standing));
    }
    Ok(())
}

/// On one line between two known marks, least squares is the distribution of the misclosure by length.
#[test]
fn one_line_is_distributed_by_length() {
    use closerun::adjust::{KnownMark, Section};
    let kilometres = [1, 3, 2, 4];
    let sections = kilometres.iter().enumerate().map(|(at, km)| Section {
        length: Some(Length::from_mm(km * 1_000_000)),
        ..Section::new(name(at), name(at + 1), Length::from_mm(1002))
    });
    let known = [(0, 10_000), (4, 14_000)].map(|(mark, mm)| KnownMark {
        mark: name(mark),
        elevation: Length::from_mm(mm),
        hold: Hold::Fixed,
    });
    let (_, outcome) = adjusted(&Given { known: known.into(), sections: sections.collect(), ..Given::default() });
    assert!((outcome.known[0].difference_m - 0.008).abs() < 1e-12, "the misclosure is 8 mm: {:?}", outcome.known);
    for (section, km) in outcome.last().sections.iter().zip(kilometres) {
        assert!((section.residual_m + 0.008 * km as f64 / 10.0).abs() < 1e-12, "{section:?}");
        assert!((section.redundancy - km as f64 / 10.0).abs() < 1e-12, "r = K / sum K");
    }
}
