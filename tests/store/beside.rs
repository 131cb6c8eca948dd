//! Samples of what is done beside the run: every task, every outcome, every command about them.

use closerun::book::activity::{
    Agreement, DesignTarget, Judged, LineMarks, Outcome, PegLayout, Procedure, StatedLimit, TapeSettings, Task,
};
use closerun::book::event::Command;
use closerun::book::marks::Mark;
use closerun::book::reading::{PointName, Reading};
use closerun::units::{Length, Measured, Unit};

fn name(text: &str) -> PointName {
    PointName::new(text).unwrap()
}

fn metres(digits: &str) -> Measured {
    Measured::parse(digits, Unit::Metre).unwrap()
}

fn feet(digits: &str) -> Measured {
    Measured::parse(digits, Unit::Foot).unwrap()
}

fn mm(mm: i64) -> Length {
    Length::from_mm(mm)
}

/// Every command about an activity, a target, a mark, wires, or the line of sight.
pub(crate) fn commands() -> Vec<Command> {
    let mut commands = vec![
        Command::KeyInWires {
            wires: Box::new([feet("4.31"), feet("4.16"), feet("4.02")]),
            reading: Box::new(Reading { sight: Some(feet("29.00")), ..Reading::of(feet("4.163")) }),
        },
        Command::LeaveActivity,
        Command::StrikeShot { shot: 3 },
        Command::MarkHere { shot: Some(2), by: Some("AB".into()) },
        Command::MarkHere { shot: None, by: None },
        Command::Design { target: target() },
        Command::Register { mark: Box::new(mark()) },
        Command::Register { mark: Box::new(Mark::of(name("BM-9"), feet("171.75"))) },
        Command::Collimation { from: Some(5), mm_per_m: Some(-0.1 - 0.2) },
        Command::Collimation { from: None, mm_per_m: None },
    ];
    commands.extend(tasks().into_iter().map(|task| Command::BeginActivity { task: Box::new(task) }));
    commands
}

fn target() -> DesignTarget {
    DesignTarget {
        name: name("C-5"),
        design: feet("105.000"),
        offset: Some(feet("5.000")),
        tolerance: Some(mm(1)),
        means: Some("finished floor".into()),
    }
}

fn mark() -> Mark {
    let text = |text: &str| Some(text.to_owned());
    Mark {
        sd: Some(Length::from_um(800)),
        datum: text("national"),
        date: text("2026-03-14"),
        origin: text("county list"),
        description: text("brass bolt in the plinth"),
        photo: text("bm-1.jpg"),
        ..Mark::of(name("BM-1"), metres("52.3480"))
    }
}

fn tasks() -> Vec<Task> {
    let layouts = PegLayout::ALL.into_iter().enumerate().map(|(at, layout)| Task::TwoPeg {
        layout,
        distances: [[mm(20_000), mm(20_000)], [mm(50_000), mm(10_000)]],
        shots: 2,
        reading_sd: Length::from_um(300),
        refraction_k: (at == 0).then_some(0.14),
        limit: StatedLimit { mm_per_m: 0.05, basis: "building work".into() },
        instrument: (at == 0).then(|| "L-2".into()),
    });
    let mut tasks: Vec<Task> = layouts.collect();
    tasks.extend([
        Task::FieldTest { procedure: Procedure::Simplified, permitted: Some(mm(2)), stated: None, instrument: None },
        Task::FieldTest {
            procedure: Procedure::Full,
            permitted: None,
            stated: Some(Length::from_um(700)),
            instrument: Some("L-2".into()),
        },
        Task::MatchHeight { on: name("BM-1"), elevation: mm(52_348), target: metres("53.900"), tolerance: mm(1) },
        Task::SetTarget {
            target: target(),
            tolerance: mm(1),
            run: 1,
            setup: 2,
            line: Some(LineMarks { apart: mm(900), width: mm(300) }),
        },
        Task::SetTarget {
            target: DesignTarget { offset: None, tolerance: None, means: None, ..target() },
            tolerance: mm(1),
            run: 1,
            setup: 2,
            line: None,
        },
        Task::CheckMark { against: name("BM-1"), mark: name("BM-2"), reading_sd: Length::from_um(300) },
        Task::Reciprocal {
            from: name("A"),
            to: name("B"),
            distance: mm(200_000),
            sets: 2,
            reading_sd: Length::from_um(300),
        },
        Task::TapeTransfer {
            from: name("L1"),
            to: name("L7"),
            tape: Box::new(tape(Some(50.0), Some(-4.5))),
            reading_sd: Length::from_um(300),
        },
        Task::TapeTransfer {
            from: name("L1"),
            to: name("L7"),
            tape: Box::new(tape(None, None)),
            reading_sd: Length::from_um(300),
        },
    ]);
    tasks
}

fn tape(plummet_n: Option<f64>, temperature_c: Option<f64>) -> TapeSettings {
    TapeSettings {
        nominal: mm(50_000),
        certified: Length::from_um(50_002_000),
        standard_c: 20.0,
        standard_pull_n: 50.0,
        expansion_ppm_per_c: 11.6,
        cross_section_mm2: 2.5,
        modulus_gpa: 200.0,
        weight_n_per_m: 0.1 + 0.2,
        plummet_n,
        temperature_c,
        clamped_at: Length::ZERO,
        hung: mm(48_000),
        certified_spans: plummet_n.map(|_| 3),
        reading_sd: Length::from_um(300),
        certificate_sd_ppm: 10.0,
        temperature_sd_c: 1.0,
        pull_sd_n: 1.0,
    }
}

/// Every way in which an activity can end.
pub(crate) fn outcomes() -> Vec<Outcome> {
    let mut outcomes: Vec<Outcome> = [Judged::Within, Judged::Doubtful, Judged::Over]
        .map(|judged| Outcome::Collimation { mm_per_m: -0.012_345_678_901_234_567, sd_mm_per_m: 1.0 / 3.0, judged })
        .into();
    outcomes.extend([
        Outcome::FieldTest { procedure: Procedure::Full, s_m: 0.000_1 / 3.0, nu: 38, judged: Judged::Within },
        Outcome::Matched { instrument: mm(53_900), off: Length::from_um(-300) },
        Outcome::Target { reading: mm(1_200), rise: None },
        Outcome::Target { reading: mm(1_200), rise: Some(Length::from_um(600)) },
        Outcome::Rise { rise: mm(20_098), sd: Length::from_um(720) },
    ]);
    outcomes.extend([Agreement::Agrees, Agreement::Doubtful, Agreement::Moved].map(|agreement| Outcome::Checked {
        off: Length::from_um(1_400),
        t: (agreement != Agreement::Moved).then_some(0.7),
        agreement,
    }));
    outcomes
}
