//! The words of a transfer up a suspended tape: the certificate, how it hangs, and its doubts.

use super::{Misunderstood, Said};
use crate::book::activity::{TapeSettings, Task};
use crate::field::tape::{NEWTONS_IN_KGF, NEWTONS_IN_LBF};
use crate::units::Length;

/// What can be said of a tape.
const TAPE_WORDS: &[&str] = &[
    "nominal",
    "certified",
    "plummet",
    "temperature",
    "standard",
    "pull",
    "expansion",
    "section",
    "modulus",
    "weight",
    "clamp",
    "hung",
    "spans",
    "reading-sd",
    "certificate-sd",
    "temperature-sd",
    "pull-sd",
];

/// A steel tape of which nothing else was said: expansion and modulus of steel from memory, the rest common practice,
/// no source.
const STEEL_PPM_PER_C: f64 = 11.6;
const STEEL_GPA: f64 = 200.0;
const STEEL_KG_PER_M3: f64 = 7850.0;
const CROSS_SECTION_MM2: f64 = 2.5;
const STANDARD_C: f64 = 20.0;
const STANDARD_PULL_N: f64 = 50.0;
const TAPE_READING_SD: Length = Length::from_um(300);
const CERTIFICATE_SD_PPM: f64 = 10.0;
const TEMPERATURE_SD_C: f64 = 1.0;
const PULL_SD_N: f64 = 1.0;

impl Said<'_> {
    pub(super) fn tape(self, rest: &[&str]) -> Result<Task, Misunderstood> {
        let [from, to, rest @ ..] = rest else { return Err(self.wrong(rest)) };
        let named = self.named(rest, TAPE_WORDS)?;
        let needed = |key: &'static str| {
            let missing =
                || self.why(format!("the tape's certificate is missing: {key} was wanted, such as {key} 50.002m"));
            named.get(key).ok_or_else(missing).and_then(|text| self.length(text))
        };
        let (nominal, certified) = (needed("nominal")?, needed("certified")?);
        let number = |key: &str, usual: f64| named.get(key).map_or(Ok(usual), |text| self.number(key, text));
        let force = |key: &str| named.get(key).map(|text| self.newtons(key, text)).transpose();
        let celsius = |key: &str| named.get(key).map(|text| self.celsius(key, text)).transpose();
        let length = |key: &str, usual: Length| named.length(key, self).map(|length| length.unwrap_or(usual));
        let cross_section_mm2 = number("section", CROSS_SECTION_MM2)?;
        let usual_weight = cross_section_mm2 / 1e6 * STEEL_KG_PER_M3 * NEWTONS_IN_KGF;
        let tape = TapeSettings {
            nominal,
            certified,
            standard_c: celsius("standard")?.unwrap_or(STANDARD_C),
            standard_pull_n: force("pull")?.unwrap_or(STANDARD_PULL_N),
            expansion_ppm_per_c: number("expansion", STEEL_PPM_PER_C)?,
            cross_section_mm2,
            modulus_gpa: number("modulus", STEEL_GPA)?,
            weight_n_per_m: number("weight", usual_weight)?,
            plummet_n: force("plummet")?,
            temperature_c: celsius("temperature")?,
            clamped_at: length("clamp", Length::ZERO)?,
            hung: length("hung", nominal)?,
            certified_spans: match named.get("spans").map(str::parse) {
                None => None,
                Some(Ok(spans)) => Some(spans),
                Some(Err(_)) => return Err(self.why("a whole number of spans was wanted".to_owned())),
            },
            reading_sd: length("reading-sd", TAPE_READING_SD)?,
            certificate_sd_ppm: number("certificate-sd", CERTIFICATE_SD_PPM)?,
            temperature_sd_c: number("temperature-sd", TEMPERATURE_SD_C)?,
            pull_sd_n: number("pull-sd", PULL_SD_N)?,
        };
        let reading_sd = self.book.settings().instrument.reading_sd;
        Ok(Task::TapeTransfer { from: self.name(from)?, to: self.name(to)?, tape: Box::new(tape), reading_sd })
    }

    /// A force with its unit: 50N, 5kgf, 10lbf. None is assumed, because 5 may be any of them.
    fn newtons(self, what: &str, text: &str) -> Result<f64, Misunderstood> {
        let units = [("kgf", NEWTONS_IN_KGF), ("lbf", NEWTONS_IN_LBF), ("N", 1.0)];
        match units.into_iter().find_map(|(unit, newtons)| Some((text.strip_suffix(unit)?, newtons))) {
            Some((digits, newtons)) => Ok(self.number(what, digits.trim())? * newtons),
            None => {
                Err(self.why(format!("{text:?} found as {what}, a force with its unit was wanted: 50N, 5kgf or 10lbf")))
            }
        }
    }

    /// A temperature: 12, 12C, 54F.
    fn celsius(self, what: &str, text: &str) -> Result<f64, Misunderstood> {
        match text.strip_suffix('F') {
            Some(fahrenheit) => Ok((self.number(what, fahrenheit)? - 32.0) / 1.8),
            None => self.number(what, text.strip_suffix('C').unwrap_or(text)),
        }
    }
}
