//! Generated networks adjusted once more by NumPy and SciPy (`oracle.py`), to 1e-9 relative.
//!
//! Without SciPy the test says so and passes; with `CI=true`, or `CLOSERUN_REQUIRE_SCIPY` set, it fails instead.

use std::io::Write as _;
use std::process::{Command, Stdio};

use closerun::adjust::outcome::{Adjustment, Outcome};
use closerun::adjust::significance::Sigma;
use closerun::adjust::weights::variances_m2;
use closerun::adjust::{Hold, Network, Options, adjust};
use closerun::units::{Length, Unit};
use serde_json::{Value, json};

use super::generate::{OPTIONS, Shape, generate};

/// Two calculations in 64-bit floats agree to this, relative to the size of the quantity.
const RELATIVE: f64 = 1e-9;

#[test]
fn numpy_and_scipy_find_the_same() {
    let Some(oracle) = Oracle::find() else { return };
    let mut networks = Vec::new();
    for seed in 0..40 {
        let small = Shape {
            marks: 2 + seed as usize % 17,
            extra: seed as usize % 23,
            fixed: 1 + seed as usize % 2,
            weighted: seed as usize % 3,
            seed,
        };
        let fixed = small.fixed.min(small.marks - 1);
        networks.push(Shape { fixed, weighted: small.weighted.min(small.marks - fixed), ..small });
    }
    networks.push(Shape { marks: 300, extra: 250, fixed: 3, weighted: 2, seed: 7 });
    networks.push(Shape { marks: 250, extra: 40, fixed: 2, weighted: 1, seed: 8 });
    let networks: Vec<Network> =
        networks.into_iter().map(|shape| Network::new(generate(shape).given).unwrap()).collect();
    let answers = oracle.ask(&networks);
    for (at, (network, wanted)) in networks.iter().zip(&answers).enumerate() {
        let [prior, posterior] =
            [Sigma::APriori, Sigma::APosteriori].map(|sigma| adjust(network, &Options { sigma, ..OPTIONS }).unwrap());
        let compare = Compare { network: at, wanted };
        compare.outcome(network, &prior);
        compare.posterior(prior.last(), posterior.last());
    }
}

/// A Python with SciPy.
struct Oracle;

impl Oracle {
    fn find() -> Option<Self> {
        let found = Command::new("python3").args(["-c", "import scipy"]).stderr(Stdio::null()).status();
        if found.is_ok_and(|status| status.success()) {
            return Some(Oracle);
        }
        let required =
            std::env::var("CI").is_ok_and(|ci| ci == "true") || std::env::var_os("CLOSERUN_REQUIRE_SCIPY").is_some();
        assert!(
            !required,
            "python3 cannot import scipy, which this test needs: install numpy and scipy for the python3 on PATH"
        );
        eprintln!("skipped: python3 cannot import scipy");
        None
    }

    fn ask(&self, networks: &[Network]) -> Vec<Value> {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/adjustment/oracle.py");
        let mut python =
            Command::new("python3").arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let question = Value::Array(networks.iter().map(told).collect()).to_string();
        python.stdin.take().unwrap().write_all(question.as_bytes()).unwrap();
        let output = python.wait_with_output().unwrap();
        assert!(output.status.success(), "the script failed");
        serde_json::from_slice(&output.stdout).unwrap()
    }
}

/// A network as the script reads it: all known marks held.
fn told(network: &Network) -> Value {
    let metres = |length: Length| length.show(Unit::Metre, 10);
    let variances = variances_m2(network, OPTIONS.weights).unwrap();
    let mut fixed = Vec::new();
    let mut weighted = Vec::new();
    for (mark, elevation, hold) in network.known() {
        match hold {
            Hold::Fixed => fixed.push(json!([mark.index(), metres(*elevation)])),
            Hold::Weighted(deviation) => weighted.push(json!([mark.index(), metres(*elevation), metres(*deviation)])),
        }
    }
    let sections = network.sections().iter().zip(&variances);
    let sections: Vec<Value> = sections
        .map(|(section, variance)| {
            json!([section.from.index(), section.to.index(), metres(section.rise), format!("{:e}", variance.sqrt())])
        })
        .collect();
    let levels = OPTIONS.levels;
    json!({
        "marks": network.mark_count(),
        "fixed": fixed,
        "weighted": weighted,
        "sections": sections,
        "levels": { "global": levels.global, "single": levels.single, "power": levels.power, "confidence": levels.confidence },
    })
}

/// One network against what the script says.
struct Compare<'a> {
    network: usize,
    wanted: &'a Value,
}

impl Compare<'_> {
    fn outcome(&self, network: &Network, outcome: &Outcome) {
        let found = outcome.last();
        assert_eq!(
            found.degrees_of_freedom() as u64,
            self.wanted["freedom"].as_u64().unwrap(),
            "network {}",
            self.network
        );
        for (at, mark) in found.marks.iter().enumerate() {
            let wanted: f64 = self.wanted["elevations"][at].as_str().unwrap().parse().unwrap();
            self.close("elevation", at, mark.elevation.to_f64_m(), wanted, wanted.abs());
            // Elevations are rounded to 0.1 nm, so the corrections agree to that.
            assert!((mark.elevation.to_f64_m() - wanted).abs() < 2e-10, "network {}: elevation {at}", self.network);
            self.relative("deviations", at, mark.deviation_m);
            let exposure = found.exposure.as_ref().unwrap()[at].map_or(0.0, |exposure| exposure.by_m.abs());
            self.close("exposure", at, exposure, self.number("exposure", at), 1e-3);
        }
        let tests = found.sections.iter().map(|section| (section.residual_m, section.redundancy, section.test));
        let tests = tests.chain(found.weighted.iter().map(|known| (known.residual_m, known.redundancy, known.test)));
        let largest =
            self.wanted["residuals"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap().abs()).fold(1e-6, f64::max);
        let mut count = 0;
        for (at, (residual_m, redundancy, test)) in tests.enumerate() {
            count += 1;
            self.close("residual", at, residual_m, self.number("residuals", at), largest);
            self.close("redundancy", at, redundancy, self.number("redundancies", at), 1.0);
            assert_eq!(
                test.is_some(),
                self.wanted["checked"][at].as_bool().unwrap(),
                "network {}: test {at}",
                self.network
            );
            if let Some(test) = test {
                let wanted = self.number("w", at);
                self.close("w", at, test.w, wanted, wanted.abs().max(1.0));
                self.relative("detectable", at, test.detectable_m);
            }
        }
        assert_eq!(count, network.sections().len() + self.wanted["w"].as_array().unwrap().len() - found.sections.len());
        for (at, section) in found.sections.iter().enumerate() {
            self.close("adjusted deviation", at, section.deviation_m, self.number("adjusted_deviations", at), 1e-3);
        }
        let squares = self.wanted["squares"].as_f64().unwrap();
        self.close("squares", 0, found.weighted_squares, squares, squares.max(1e-3));
        let w = self.wanted["critical_w"].as_f64().unwrap();
        self.close("critical w", 0, found.critical.w, w, w);
        assert_eq!(found.critical.tau.is_some(), self.wanted["critical_tau"].is_number());
        if let Some(tau) = found.critical.tau {
            self.close("critical tau", 0, tau, self.wanted["critical_tau"].as_f64().unwrap(), tau);
        }
        assert_eq!(found.global.is_some(), self.wanted["chi_squared"].is_array());
        if let Some(global) = found.global {
            self.close("chi squared, lower", 0, global.lower, self.number("chi_squared", 0), global.lower);
            self.close("chi squared, upper", 0, global.upper, self.number("chi_squared", 1), global.upper);
        }
    }

    /// Standard deviations, intervals and tau with the a-posteriori sigma.
    fn posterior(&self, prior: &Adjustment, posterior: &Adjustment) {
        let freedom = prior.degrees_of_freedom();
        if freedom == 0 {
            assert_eq!((posterior.sigma, posterior.sigma_value), (Sigma::APriori, 1.0), "nothing to estimate it from");
            return;
        }
        let s0 = (self.wanted["squares"].as_f64().unwrap() / freedom as f64).sqrt();
        let student = self.wanted["student"].as_f64().unwrap();
        for (at, mark) in posterior.marks.iter().enumerate() {
            let wanted = s0 * self.number("deviations", at);
            self.close("deviation a posteriori", at, mark.deviation_m, wanted, wanted);
            self.close(
                "half interval",
                at,
                posterior.half_interval_m(mark.deviation_m),
                student * wanted,
                student * wanted,
            );
        }
        for (at, section) in posterior.sections.iter().enumerate() {
            if let Some(tau) = section.test.and_then(|test| test.tau) {
                let wanted = self.number("w", at) / s0;
                self.close("tau", at, tau, wanted, wanted.abs().max(1.0));
            }
        }
    }

    fn number(&self, key: &str, at: usize) -> f64 {
        self.wanted[key][at].as_f64().unwrap()
    }

    fn relative(&self, key: &str, at: usize, found: f64) {
        let wanted = self.number(key, at);
        self.close(key, at, found, wanted, wanted.abs());
    }

    fn close(&self, what: &str, at: usize, found: f64, wanted: f64, size: f64) {
        assert!(
            (found - wanted).abs() <= RELATIVE * size,
            "network {}: {what} {at}: found {found:e}, wanted {wanted:e}",
            self.network
        );
    }
}
