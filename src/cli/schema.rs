//! `closerun schema` and `closerun classes`: what is promised, and which limits there are.

use super::Failure;
use super::arguments::{Schema, Which};
use super::say;
use crate::book::classes::{self, Class, Limit, Rate};
use crate::book::wording::Wording;
use crate::report::{causes, json, live, network, plan, today};
use crate::units::Unit;

pub(super) fn run(schema: &Schema) -> Result<(), Failure> {
    let schema = match schema.which {
        Which::Lines => live::schema(),
        Which::Book => json::schema(),
        Which::Report => json::report_schema(),
        Which::Explain => causes::schema(),
        Which::Adjust => network::schema(),
        Which::Plan => plan::schema(),
        Which::Today => today::schema(),
    };
    say::line(format_args!("{}", serde_json::to_string_pretty(&schema).expect("a schema is plain data")));
    Ok(())
}

pub(super) fn classes() -> Result<(), Failure> {
    for class in classes::all() {
        say::line(format_args!("{}  {}", class.id, class.title));
        for line in limits(class) {
            say::line(format_args!("    {line}"));
        }
        say::line(format_args!("    source: {}", class.source));
    }
    Ok(())
}

fn limits(class: &Class) -> Vec<String> {
    let say = Wording::new(Unit::Metre);
    let rate = |name: &str, per: &str, rate: &Option<Rate>| {
        rate.as_ref().map(|rate| format!("{name} {} mm per root {per}{}", rate.mm, rate.basis.remark()))
    };
    let sight = |name: &str, limit: &Option<Limit>| {
        limit.as_ref().map(|limit| format!("{name} {}{}", say.sight(limit.value), limit.basis.remark()))
    };
    let height = |name: &str, limit: &Option<Limit>| {
        limit.as_ref().map(|limit| format!("{name} {}{}", say.height(limit.value), limit.basis.remark()))
    };
    [
        rate("section misclosure", "km", &class.section_mm_per_sqrt_km),
        rate("loop misclosure", "km", &class.loop_mm_per_sqrt_km),
        rate("misclosure", "setup", &class.mm_per_sqrt_setup),
        sight("sight up to", &class.sight_max),
        sight("imbalance of a setup up to", &class.setup_imbalance_max),
        sight("imbalance of a section up to", &class.sum_imbalance_max),
        sight("line of sight at least", &class.line_of_sight_min),
        height("spread up to", &class.spread_max),
        height("two differences within", &class.two_differences_max),
        class.even_setups.map(|basis| format!("an even number of setups{}", basis.remark())),
        class.collimation_max.map(|rate| format!("line of sight within {} mm per m{}", rate.mm, rate.basis.remark())),
        class
            .collimation_interval
            .map(|interval| format!("line of sight tested every {} days{}", interval.days, interval.basis.remark())),
        class.sequence.map(|sequence| format!("sequence {sequence}")),
    ]
    .into_iter()
    .flatten()
    .collect()
}
