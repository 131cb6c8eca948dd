//! Two-peg tests, reciprocal levelling, curvature and refraction, three wires, tapes, heights in buildings, and grades:
//! every published example of these kinds. Where a source contradicts itself, its own other numbers win.

use closerun::book::corrections::EARTH_RADIUS_M;
use closerun::book::event::Command;
use closerun::book::reading::{Reading, Role};
use closerun::book::settings::{Corrections, KnownPoint, Settings, Staffs, StaffsInUse};
use closerun::field::reciprocal::{self, Bank, Set};
use closerun::field::tape::{self, NEWTONS_IN_KGF};
use closerun::field::three_wire::{self, three_wire};
use closerun::field::two_peg::{Model, Position, Sight, two_peg};
use closerun::field::{curvature, set_out};
use closerun::units::{Length, Measured, Unit};
use serde::Deserialize;

use crate::harness::crew::{Crew, name, settings};
use crate::harness::published::{Case, InputRow, Number, Reduction, RowElevation, cases};

const MODEL: Model = Model { reading_sd: Length::from_um(300), refraction_k: None };

/// Asserts that a number is the printed one, within the tolerance that the file states.
fn close(id: &str, what: &str, found: f64, printed: f64, tolerance: f64) {
    assert!((found - printed).abs() <= tolerance, "{id}: {what} is {found}, {printed} in print");
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PegInput {
    method: String,
    setup: Option<Vec<PegSetup>>,
    collimation_rate: Option<f64>,
    sight_length: Option<i64>,
    reading: Option<Number>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PegSetup {
    distance_a: Option<i64>,
    distance_b: Option<i64>,
    reading_a: Number,
    reading_b: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PegPublished {
    collimation_error_magnitude: Option<f64>,
    collimation_error_per: Option<f64>,
    line_of_sight: Option<String>,
    corrected_reading_b_setup_2: Option<Number>,
    height_difference_setup_1: Option<Number>,
    height_difference_setup_2: Option<Number>,
    discrepancy: Option<Number>,
    reading_error: Option<Number>,
    corrected_reading: Option<Number>,
}

fn positions(case: &Case<PegInput, PegPublished>) -> [Position; 2] {
    let whole = |distance: Option<i64>| Length::from_mm(distance.unwrap_or(0) * 1000);
    let sight =
        |reading: &Number, distance| Sight { reading: case.length(reading), distance: whole(distance), shots: 1 };
    let setups = case.of.input.setup.as_ref().expect("two setups");
    let position = |setup: &PegSetup| Position {
        a: sight(&setup.reading_a, setup.distance_a),
        b: sight(&setup.reading_b, setup.distance_b),
    };
    let [first, second] = &setups[..] else { panic!("{}: two setups were wanted", case.id) };
    [position(first), position(second)]
}

#[test]
fn two_peg_tests() {
    let mut methods = Vec::new();
    for case in cases::<PegInput, PegPublished>("two_peg") {
        let published = &case.of.published;
        methods.push(case.of.input.method.clone());
        match case.of.input.method.as_str() {
            "two_setups" => {
                let [first, second] = positions(&case);
                let found = two_peg(&first, &second, &MODEL).unwrap();
                if let (Some(size), Some(per)) =
                    (published.collimation_error_magnitude, published.collimation_error_per)
                {
                    let tolerance = case.of.tolerance["collimation_error"].clone();
                    let tolerance = case.length_in(&tolerance, Unit::Metre).to_f64_m();
                    close(&case.id, "collimation", (found.mm_per_m / 1000.0 * per).abs(), size, tolerance);
                }
                if let Some(way) = &published.line_of_sight {
                    assert_eq!(if found.mm_per_m < 0.0 { "downwards" } else { "upwards" }, way, "{}", case.id);
                }
                if let Some(printed) = &published.corrected_reading_b_setup_2 {
                    let corrected = found.true_reading(second.b, &MODEL);
                    case.agrees("corrected_reading_b_setup_2", 0, "corrected_reading", printed, corrected);
                }
            }
            "discrepancy_only" => {
                let [first, second] = positions(&case);
                let wanted = |printed: &Option<Number>| printed.clone().expect("a printed difference");
                let rises = [
                    (wanted(&published.height_difference_setup_1), first.rise()),
                    (wanted(&published.height_difference_setup_2), second.rise()),
                    (wanted(&published.discrepancy), second.rise() - first.rise()),
                ];
                for (printed, found) in rises {
                    case.agrees("height_difference", 0, "height_difference", &printed, found);
                }
            }
            "apply_correction" => {
                let input = &case.of.input;
                let unit = case.of.units;
                let reading = case.length(input.reading.as_ref().unwrap());
                let distance = Length::parse(&input.sight_length.unwrap().to_string(), unit).unwrap();
                let found = closerun::field::two_peg::Collimation {
                    mm_per_m: 1000.0 * input.collimation_rate.unwrap(),
                    sd_mm_per_m: 0.0,
                    discrepancy: Length::ZERO,
                    base: distance,
                };
                let corrected = found.true_reading(Sight { reading, distance, shots: 1 }, &MODEL);
                let (printed, error) = (&published.corrected_reading, &published.reading_error);
                case.agrees("corrected_reading", 0, "corrected_reading", printed.as_ref().unwrap(), corrected);
                case.agrees("reading_error", 0, "reading_error", error.as_ref().unwrap(), reading - corrected);
            }
            other => panic!("{}: method {other}", case.id),
        }
    }
    methods.sort();
    assert_eq!(methods, ["apply_correction", "discrepancy_only", "two_setups", "two_setups"]);
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReciprocalInput {
    elevation_a: Number,
    distance: Option<i64>,
    curvature_refraction_coefficient_m_per_km2: Option<f64>,
    setup: [ReciprocalSetup; 2],
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReciprocalSetup {
    #[serde(rename = "instrument_at")]
    _instrument_at: String,
    reading_a: Number,
    reading_b: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReciprocalPublished {
    height_difference_b_minus_a: Number,
    elevation_b: Number,
    combined_curvature_refraction: Option<f64>,
    collimation_error_over_distance: Option<f64>,
    collimation_error_per_100: Option<f64>,
    line_of_sight: Option<String>,
}

/// The coefficient of refraction that makes a source's coefficient of curvature and refraction, m per km^2.
fn k_of(coefficient: f64) -> f64 {
    1.0 - coefficient * 2.0 * EARTH_RADIUS_M / 1e6
}

#[test]
fn reciprocal_levelling() {
    let mut explained = 0;
    for case in cases::<ReciprocalInput, ReciprocalPublished>("reciprocal") {
        let (input, published) = (&case.of.input, &case.of.published);
        let bank =
            |setup: &ReciprocalSetup| Bank { a: case.length(&setup.reading_a), b: case.length(&setup.reading_b) };
        let set = Set { at_a: bank(&input.setup[0]), at_b: bank(&input.setup[1]) };
        let found = reciprocal::reciprocal(&[set], Length::from_um(300)).unwrap();
        let printed = &published.height_difference_b_minus_a;
        case.agrees("height_difference_b_minus_a", 0, "height_difference", printed, found.rise);
        let elevation = case.length(&input.elevation_a) + found.rise;
        case.agrees("elevation_b", 0, "elevation", &published.elevation_b, elevation);
        let (Some(distance), Some(coefficient)) = (input.distance, input.curvature_refraction_coefficient_m_per_km2)
        else {
            continue;
        };
        explained += 1;
        let (distance, k) = (Length::from_mm(distance * 1000), k_of(coefficient));
        let tolerance = |quantity: &str| case.tolerance(quantity).to_f64_m();
        let curved = reciprocal::explained(distance, 0.0, k).unwrap().to_f64_m();
        let printed = published.combined_curvature_refraction.unwrap();
        close(&case.id, "curvature", curved, printed, tolerance("combined_curvature_refraction"));
        let inclination = reciprocal::inclination_mm_per_m(found.long_sight_error, distance, k) / 1000.0;
        for (what, over, printed) in [
            ("over the distance", distance.to_f64_m(), published.collimation_error_over_distance),
            ("per 100", 100.0, published.collimation_error_per_100),
        ] {
            close(&case.id, what, inclination * over, printed.unwrap(), tolerance("collimation_error"));
        }
        assert_eq!(published.line_of_sight.as_deref(), Some("downwards"));
        assert!(inclination < 0.0);
    }
    assert_eq!(explained, 1);
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CurvatureInput {
    method: String,
    item: Option<Vec<CurvatureItem>>,
    coefficient_m_per_km2: Option<f64>,
    total_distance_km: Option<f64>,
    observer_height: Option<Number>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CurvatureItem {
    quantity: String,
    coefficient_m_per_km2: f64,
    distance_km: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CurvaturePublished {
    effect: Option<Vec<f64>>,
    distance_1_km: Option<f64>,
    distance_2_km: Option<f64>,
    target_height: Option<f64>,
}

#[test]
fn curvature_and_refraction() {
    let mut methods = Vec::new();
    for case in cases::<CurvatureInput, CurvaturePublished>("curvature_refraction") {
        let (input, published) = (&case.of.input, &case.of.published);
        methods.push(input.method.clone());
        let tolerance = |quantity: &str| case.tolerance(quantity).to_f64_m();
        let km = |km: f64| Length::from_f64_m(1000.0 * km).unwrap();
        if input.method == "effect" {
            let items = input.item.as_ref().unwrap();
            for (item, printed) in items.iter().zip(published.effect.as_ref().unwrap()) {
                assert_eq!(item.quantity, "combined");
                let lost = curvature::lost(km(item.distance_km), k_of(item.coefficient_m_per_km2)).unwrap();
                close(&case.id, "effect", lost.to_f64_m(), *printed, tolerance("effect"));
            }
            continue;
        }
        let k = k_of(input.coefficient_m_per_km2.unwrap());
        let near = curvature::horizon(case.length(input.observer_height.as_ref().unwrap()), k).unwrap();
        let far = km(input.total_distance_km.unwrap()) - near;
        let (first, second) = (published.distance_1_km.unwrap(), published.distance_2_km.unwrap());
        close(&case.id, "distance 1", near.to_f64_m() / 1000.0, first, tolerance("distance_km"));
        close(&case.id, "distance 2", far.to_f64_m() / 1000.0, second, tolerance("distance_km"));
        let height = curvature::lost(far, k).unwrap().to_f64_m();
        close(&case.id, "height", height, published.target_height.unwrap(), tolerance("target_height"));
    }
    methods.sort();
    assert_eq!(methods, ["effect", "visibility"]);
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WireInput {
    stadia_multiplier: Option<i64>,
    #[serde(default)]
    sight: Vec<WireSight>,
    half_interval_difference: Option<Vec<Number>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WireSight {
    #[serde(rename = "station")]
    _station: String,
    #[serde(rename = "direction")]
    _direction: String,
    upper: Number,
    middle: Number,
    lower: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WirePublished {
    mean: Option<Vec<Number>>,
    stadia_interval: Option<Vec<Number>>,
    sight_length: Option<Vec<i64>>,
    centre_wire_correction: Option<Vec<Number>>,
}

#[test]
fn three_wires() {
    let (mut sights, mut rows) = (0, 0);
    for case in cases::<WireInput, WirePublished>("three_wire") {
        let (input, published) = (&case.of.input, &case.of.published);
        for (at, sight) in input.sight.iter().enumerate() {
            sights += 1;
            assert_eq!(input.stadia_multiplier, Some(three_wire::MULTIPLIER));
            let wires = [&sight.upper, &sight.middle, &sight.lower].map(|wire| case.measured(wire));
            let found = three_wire(&wires, Length::ZERO).unwrap();
            case.agrees("mean", at, "mean", &published.mean.as_ref().unwrap()[at], found.mean.value());
            let interval = &published.stadia_interval.as_ref().unwrap()[at];
            case.agrees("stadia_interval", at, "stadia_interval", interval, found.interval);
            let length =
                Length::parse(&published.sight_length.as_ref().unwrap()[at].to_string(), case.of.units).unwrap();
            assert!((found.sight.value() - length).abs() <= case.tolerance("sight_length"));
        }
        let table = input.half_interval_difference.iter().flatten();
        for (difference, printed) in table.zip(published.centre_wire_correction.iter().flatten()) {
            rows += 1;
            let found = three_wire::to_mean(case.length(difference));
            case.agrees("centre_wire_correction", rows, "centre_wire_correction", printed, found);
        }
    }
    assert_eq!((sights, rows), (1, 4));
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TapeInput {
    method: String,
    length: Option<f64>,
    cross_section_m2: Option<f64>,
    density_kg_per_m3: Option<f64>,
    end_mass_kg: Option<f64>,
    modulus_pa: Option<f64>,
    gravity: Option<f64>,
    measured_length: Option<f64>,
    standard_pull: Option<f64>,
    field_pull: Option<f64>,
    pull_unit: Option<String>,
    cross_section_cm2: Option<f64>,
    modulus_kgf_per_cm2: Option<f64>,
    span_length: Option<f64>,
    number_of_spans: Option<u32>,
    weight_per_metre: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TapePublished {
    extension_end_load: Option<f64>,
    extension_own_weight: Option<f64>,
    extension_total: Option<f64>,
    pull_correction: Option<f64>,
    sag_correction_per_span: Option<f64>,
    sag_correction: Option<f64>,
}

#[test]
fn tapes() {
    let mut methods = Vec::new();
    for case in cases::<TapeInput, TapePublished>("tape_correction") {
        let (input, published) = (&case.of.input, &case.of.published);
        methods.push(input.method.clone());
        let tolerance = |quantity: &str| {
            let file: toml::Table =
                std::fs::read_to_string(format!("fixtures/field/{}.toml", case.id)).unwrap().parse().unwrap();
            file["tolerance"][quantity].as_float().unwrap()
        };
        let newtons = |kgf: Option<f64>| {
            assert_eq!(input.pull_unit.as_deref(), Some("kgf"));
            kgf.unwrap() * NEWTONS_IN_KGF
        };
        match input.method.as_str() {
            "hanging" => {
                let (length, area_mm2) = (input.length.unwrap(), input.cross_section_m2.unwrap() * 1e6);
                let (modulus_gpa, g) = (input.modulus_pa.unwrap() / 1e9, input.gravity.unwrap());
                let load = tape::pull_m(length, input.end_mass_kg.unwrap() * g, area_mm2, modulus_gpa);
                let weight = input.density_kg_per_m3.unwrap() * g * input.cross_section_m2.unwrap();
                let stiffness = tape::stiffness_n(area_mm2, modulus_gpa);
                let own = tape::own_weight_m([0.0, length], length, weight, stiffness);
                for (what, found, printed) in [
                    ("extension_end_load", load, published.extension_end_load),
                    ("extension_own_weight", own, published.extension_own_weight),
                    ("extension_total", load + own, published.extension_total),
                ] {
                    close(&case.id, what, found, printed.unwrap(), tolerance(what));
                }
            }
            "pull" => {
                let beyond = newtons(input.field_pull) - newtons(input.standard_pull);
                // kgf per cm^2 to GPa.
                let modulus_gpa = input.modulus_kgf_per_cm2.unwrap() * NEWTONS_IN_KGF * 1e4 / 1e9;
                let area_mm2 = input.cross_section_cm2.unwrap() * 100.0;
                let found = tape::pull_m(input.measured_length.unwrap(), beyond, area_mm2, modulus_gpa);
                close(&case.id, "pull", found, published.pull_correction.unwrap(), tolerance("correction"));
            }
            "sag" => {
                let (weight, pull) = (newtons(input.weight_per_metre), newtons(input.field_pull));
                let sag = |spans| tape::sag_m(input.span_length.unwrap(), spans, weight, pull);
                let all = sag(input.number_of_spans.unwrap());
                close(&case.id, "a span", sag(1), published.sag_correction_per_span.unwrap(), tolerance("correction"));
                close(&case.id, "all spans", all, published.sag_correction.unwrap(), tolerance("correction"));
            }
            other => panic!("{}: method {other}", case.id),
        }
    }
    methods.sort();
    assert_eq!(methods, ["hanging", "pull", "sag"]);
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RoomInput {
    floor_elevation: Number,
    floor_reading: Number,
    overhead_reading: Number,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RoomPublished {
    height_of_instrument: Option<Number>,
    overhead_elevation: Number,
    clear_height: Option<Number>,
}

#[test]
fn heights_in_buildings_are_those_of_the_book_and_of_the_target_set_from_them() {
    for case in cases::<RoomInput, RoomPublished>("building_height") {
        let (input, published) = (&case.of.input, &case.of.published);
        let floor =
            KnownPoint { name: name("floor"), elevation: case.measured(&input.floor_elevation), assumed: false };
        let start = Some(floor.name.clone());
        let mut crew = Crew::new(Settings { unit: case.of.units, start, known: vec![floor], ..settings() });
        for (number, role, point) in
            [(&input.floor_reading, Role::Back, "floor"), (&input.overhead_reading, Role::Intermediate, "overhead")]
        {
            let mut reading = Reading::of(case.measured(number));
            (reading.role, reading.point) = (Some(role), Some(name(point)));
            crew.say(Command::KeyIn { reading: Box::new(reading) });
        }
        let run = &crew.book.runs()[0];
        let setup = &run.setups[0];
        let instrument = run.elevation(setup.instrument().unwrap()).unwrap();
        let overhead = run.elevation(setup.side_level(&setup.sides[0]).unwrap()).unwrap();
        if let Some(printed) = &published.height_of_instrument {
            case.agrees("height_of_instrument", 0, "elevation", printed, instrument);
        }
        case.agrees("overhead_elevation", 0, "elevation", &published.overhead_elevation, overhead);
        if let Some(printed) = &published.clear_height {
            let clear = overhead - case.length(&input.floor_elevation);
            case.agrees("clear_height", 0, "elevation", printed, clear);
        }
        // The other way round: a target at that elevation is looked for at that reading, on an inverted staff.
        let staffs = Staffs { in_use: StaffsInUse::One, length: Length::from_mm(4000), margin: Length::ZERO };
        let aim = set_out::aim(instrument, overhead, &staffs).unwrap();
        assert!(aim.inverted());
        assert_eq!(aim.reading, case.length(&input.overhead_reading), "{}", case.id);
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GradeInput {
    #[serde(rename = "reduction")]
    _reduction: Reduction,
    known_elevation: Vec<RowElevation>,
    closing_elevation: RowElevation,
    row: Vec<InputRow>,
    design_point: Vec<String>,
    design_start_elevation: Number,
    spacing: i64,
    gradient_fall_1_in: i64,
    traveller_length: i64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct GradePublished {
    sight_rail_height_above_peg: Vec<Number>,
}

#[test]
fn sight_rails_of_a_trench_at_a_constant_grade() {
    for case in cases::<GradeInput, GradePublished>("grade_setout") {
        let input = &case.of.input;
        let known = |given: &RowElevation| KnownPoint {
            name: name(&given.point),
            elevation: case.measured(&given.elevation),
            assumed: false,
        };
        let start = Some(name(&input.row[0].point));
        let known = vec![known(&input.known_elevation[0]), known(&input.closing_elevation)];
        let corrections = Corrections::default();
        let mut crew = Crew::new(Settings { unit: case.of.units, start, known, corrections, ..settings() });
        for row in &input.row {
            let sights = [
                (&row.intermediate_sight, Role::Intermediate),
                (&row.foresight, Role::Fore),
                (&row.backsight, Role::Back),
            ];
            for (number, role) in sights {
                let Some(number) = number else { continue };
                let mut reading = Reading::of(case.measured(number));
                (reading.role, reading.point) = (Some(role), Some(name(&row.point)));
                crew.say(Command::KeyIn { reading: Box::new(reading) });
            }
        }
        assert_eq!(crew.book.runs()[0].closures().last().unwrap().misclosure, Length::ZERO, "the run closes exactly");
        let peg = |point: &str| {
            let sides = crew.book.runs()[0].setups.iter().flat_map(|setup| setup.sides.iter().map(move |s| (setup, s)));
            let side = sides.clone().find(|(_, side)| side.point.as_str() == point);
            let of_side = side.and_then(|(setup, side)| crew.book.runs()[0].elevation(setup.side_level(side)?));
            of_side.or_else(|| crew.book.elevation(&name(point))).unwrap_or_else(|| panic!("{point} has a level"))
        };
        // The same design as a list: the first and the last point given, the others on the grade between.
        let whole = |metres: i64| Length::from_mm(metres * 1000);
        let start = case.length(&input.design_start_elevation);
        let design = |at: usize| start - set_out::fall(whole(input.spacing * at as i64), input.gradient_fall_1_in);
        let last = input.design_point.len() - 1;
        let mut list = "target,elevation,unit,distance\n".to_owned();
        for (at, point) in input.design_point.iter().enumerate() {
            let given = if at == 0 || at == last { design(at).show(Unit::Metre, 3) } else { String::new() };
            list += &format!("{point},{given},m,{}\n", input.spacing * at as i64);
        }
        let rows = set_out::list::read(list.as_bytes()).unwrap();
        for (at, printed) in case.of.published.sight_rail_height_above_peg.iter().enumerate() {
            assert_eq!(rows[at].target.design.value(), design(at));
            let rail = set_out::rail_above_peg(design(at), whole(input.traveller_length), peg(&input.design_point[at]));
            case.agrees("sight_rail_height_above_peg", at, "sight_rail_height", printed, rail);
        }
    }
}

/// A length that is not a number at all does not slip through the readers above.
#[test]
fn the_tolerances_are_there_to_fail() {
    let measured = Measured::parse("1.500", Unit::Metre).unwrap();
    assert_eq!(measured.value(), Length::from_mm(1500));
    assert!(std::panic::catch_unwind(|| close("planted", "a value", 1.0, 1.1, 0.05)).is_err());
}
