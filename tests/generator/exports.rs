//! The two layouts as the two rheometers' programs write them. Layouts only: what is written is made elsewhere.

use super::campaign::{Bench, Plan, declared_cone};
use super::instrument::Reading;
use super::random::Stream;
use std::fmt::Write as _;

/// The bytes of one raw export.
pub(crate) fn write(plan: &Plan, readings: &[Reading], seed: u64) -> Vec<u8> {
    let mut surroundings = Surroundings::new(seed, &plan.stream);
    match plan.bench {
        Bench::Hall => hall(plan, readings, &mut surroundings),
        Bench::Attic => attic(plan, readings, &mut surroundings),
    }
    .into_bytes()
}

/// Axial force and temperature, which the sample hardly moves.
struct Surroundings {
    draws: Stream,
    zero_force: f64,
    temperature: f64,
}

impl Surroundings {
    fn new(seed: u64, stream: &str) -> Self {
        let mut draws = Stream::named(seed, &format!("{stream} surroundings"));
        Self { zero_force: draws.around(0.0, 0.01), temperature: draws.around(25.0, 0.008), draws }
    }

    /// Axial force, N, of a first normal-stress difference that is a small part of the stress.
    fn force(&mut self, reading: &Reading, radius: f64) -> f64 {
        const PART: f64 = 0.05;
        let area = std::f64::consts::PI * radius * radius;
        self.draws.around(self.zero_force + 0.5 * area * PART * reading.stress.abs(), 0.004)
    }

    fn temperature(&mut self) -> f64 {
        self.draws.around(self.temperature, 0.006)
    }
}

/// UTF-8 with a byte-order mark, CRLF, semicolons, decimal comma, a row of units.
fn hall(plan: &Plan, readings: &[Reading], surroundings: &mut Surroundings) -> String {
    let mut text = String::from('\u{feff}');
    let mut line = |cells: &str| {
        text.push_str(cells);
        text.push_str("\r\n");
    };
    line("Messprogramm;Wechselscherung, drei Abschnitte je Stufe");
    line(&format!("Probe;{}", if plan.sample == "silicone" { "Silikonöl" } else { plan.sample }));
    line(&format!("Füllung;{}", plan.loading));
    line(&format!("Beginn;{}", day_first(plan.started)));
    line("Messkegel;50 mm, 2°, Spitze 60 µm gekappt");
    line("Solltemperatur;25,0;°C");
    line("Drehmoment;Motor, ohne Trägheitsabzug");
    line("");
    line("Abschnitt;Zeit;Drehwinkel;Drehmoment;Normalkraft;Temperatur");
    line(";s;mrad;µN·m;N;°C");
    let radius = declared_cone(Bench::Hall).radius;
    for reading in readings {
        let cells = format!(
            "{};{:.4};{:.5};{};{:.3};{:.2}",
            reading.step,
            reading.time,
            reading.angle * 1e3,
            blank_or(reading.torque, |torque| format!("{:.3}", torque * 1e6)),
            surroundings.force(reading, radius),
            surroundings.temperature(),
        );
        line(&cells.replace('.', ","));
    }
    text
}

/// Tabs, `#` preamble with the units in the column names, a comment line before each part.
fn attic(plan: &Plan, readings: &[Reading], surroundings: &mut Surroundings) -> String {
    let cone = declared_cone(Bench::Attic);
    let mut text = format!(
        "# creep-and-reverse, stress held, 3 parts per stress\n# material = {}\n# filling = {}\n# started = {}\n\
         # cone = 40 mm / 1.5 deg, gap at the tip 55 um\n# stress = motor torque over tool constant, rotor not taken off\n\
         part\tn\tt/ms\tstress/Pa\trate/s-1\tvisc/Pa.s\tF/N\tT/degC\n",
        plan.sample, plan.loading, plan.started
    );
    let mut part = (0, 0);
    for reading in readings {
        part = if part.0 == reading.step { (part.0, part.1 + 1) } else { (reading.step, 1) };
        if part.1 == 1 {
            let set_point = plan.set_points[(reading.step - 1) / 3];
            let sign = if reading.step % 3 == 2 { "-" } else { "+" };
            let _ = writeln!(text, "# part {}: hold {sign}{set_point} Pa", reading.step);
        }
        let stress = reading.torque / cone.torque_per_stress();
        let rate = reading.speed / cone.angle_per_strain();
        let _ = writeln!(
            text,
            "{}\t{}\t{:.1}\t{}\t{}\t{}\t{:.3}\t{:.2}",
            part.0,
            part.1,
            reading.time * 1e3,
            blank_or(stress, |stress| scientific(stress, 4)),
            scientific(rate, 4),
            blank_or(stress, |stress| scientific(stress / rate, 3)),
            surroundings.force(reading, cone.radius),
            surroundings.temperature(),
        );
    }
    text
}

/// `2026-10-12T08:50:12` as `12.10.2026 08:50:12`.
fn day_first(iso: &str) -> String {
    let (date, time) = iso.split_once('T').unwrap_or((iso, ""));
    let day_first: Vec<&str> = date.rsplit('-').collect();
    format!("{} {time}", day_first.join("."))
}

fn blank_or(value: f64, write: impl Fn(f64) -> String) -> String {
    if value.is_nan() { String::new() } else { write(value) }
}

/// `1.2346e-01`: exponent with sign and two digits.
fn scientific(value: f64, decimals: usize) -> String {
    let plain = format!("{value:.decimals$e}");
    let (mantissa, exponent) = plain.split_once('e').unwrap_or((&plain, "0"));
    let (sign, digits) = exponent.strip_prefix('-').map_or(('+', exponent), |digits| ('-', digits));
    format!("{mantissa}e{sign}{digits:0>2}")
}
