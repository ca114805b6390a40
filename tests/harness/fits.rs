//! Speed of global fits: Wyart and Cates on resampled data of five samples at twelve stresses, each from the fit of
//! all data. `fits.py` beside it is the same with SciPy.
//!
//! Measured on a shared machine with two cores, in processor time a fit: 36 µs here (release build), 330 µs with SciPy
//! 1.17.1, NumPy 2.4.6; so 18 times as fast on two threads as SciPy on its one. Bias and spread of the parameters are
//! the same in both to the error of 10,000 draws.

use crate::random::Stream;
use stages::numerics::interval::mean;
use stages::numerics::least_squares::{Effort, Residuals, Solution, minimise};
use stages::physics::models::wyart_cates::{Contacts, WyartCates};
use stages::physics::models::{Model, Point};
use std::process::ExitCode;
use std::time::Instant;

const FRACTIONS: [f64; 5] = [0.44, 0.48, 0.51, 0.53, 0.545];
const STRESSES: u8 = 12;
const TRUTH: [f64; 6] = [0.65, 0.58, 6.0, 0.9, 1.05, 2.0];
const FITS: usize = 10_000;
const THREADS: usize = 2;
/// As in `fits.py`: well below what resampling moves.
const EFFORT: Effort = Effort { tolerance: 1e-10, patience: 100, polish: 0 };

/// Data (sample, stress, ln η_r) in coordinates φ_0, φ_m, ln σ*, ln β, ln A; α is 2.
struct Global<'a> {
    stresses: &'a [f64],
    rows: Vec<(f64, usize, f64)>,
}

impl Global<'_> {
    fn parameters(q: &[f64]) -> [f64; 6] {
        [q[0], q[1], libm::exp(q[2]), libm::exp(q[3]), libm::exp(q[4]), 2.0]
    }

    /// What depends on the stress alone is worked out once a stress.
    fn contacts(&self, p: &[f64]) -> Vec<Contacts> {
        self.stresses.iter().map(|s| Contacts::at(p, *s)).collect()
    }
}

impl Residuals for Global<'_> {
    fn len(&self) -> usize {
        self.rows.len()
    }

    fn residuals(&self, q: &[f64], out: &mut [f64]) {
        let p = Self::parameters(q);
        let contacts = self.contacts(&p);
        for (out, (phi, at, ln)) in out.iter_mut().zip(&self.rows) {
            *out = contacts[*at].ln_viscosity(q[4], p[5], *phi) - ln;
        }
    }

    fn jacobian(&self, q: &[f64], out: &mut [f64]) {
        let (p, n) = (Self::parameters(q), self.rows.len());
        let contacts = self.contacts(&p);
        for (i, (phi, at, _)) in self.rows.iter().enumerate() {
            let [by_0, by_m, by_stress, by_beta] = contacts[*at].derivatives(&p, *phi);
            for (column, value) in [by_0, by_m, by_stress * p[2], by_beta * p[3], 1.0].into_iter().enumerate() {
                out[column * n + i] = value;
            }
        }
    }
}

/// The data: the law with 3 % of noise.
fn data(stresses: &[f64]) -> Vec<(f64, usize, f64)> {
    let mut random = Stream::named(20, "data of the fits");
    let mut rows = Vec::new();
    for phi in FRACTIONS {
        for (at, stress) in stresses.iter().enumerate() {
            let ln = WyartCates.ln_viscosity(&TRUTH, Point::at_stress(phi, *stress));
            rows.push((phi, at, ln + 0.03 * random.normal()));
        }
    }
    rows
}

/// Replicates `from`, `from` + [`THREADS`] …, each with its own stream of random numbers.
fn replicates(all: &Global<'_>, start: &[f64], from: usize) -> Vec<(usize, Solution)> {
    let of = |k: usize| {
        let mut random = Stream::named(21, &k.to_string());
        let n = all.rows.len();
        let draw = |_| all.rows[random.below(n)];
        let rows = (0..n).map(draw).collect();
        (k, minimise(&Global { stresses: all.stresses, rows }, start, EFFORT))
    };
    (from..FITS).step_by(THREADS).map(of).collect()
}

/// Runs the trial; `--data FILE` writes the data for `fits.py` instead.
pub(crate) fn trial(typed: &[String]) -> ExitCode {
    let stresses: Vec<f64> = (0..STRESSES).map(|i| 0.2 * libm::pow(2.0, f64::from(i))).collect();
    let all = Global { stresses: &stresses, rows: data(&stresses) };
    if let [flag, path] = typed
        && flag == "--data"
    {
        let rows: Vec<String> =
            all.rows.iter().map(|(phi, at, ln)| format!("{phi},{},{ln}\n", stresses[*at])).collect();
        let text = format!("phi,stress_pa,ln_relative_viscosity\n{}", rows.concat());
        return if std::fs::write(path, text).is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    let start = minimise(&all, &[0.66, 0.58, libm::log(8.0), 0.0, 0.0], Effort::default()).parameters;
    let began = Instant::now();
    let mut found: Vec<(usize, Solution)> = std::thread::scope(|scope| {
        let (all, start) = (&all, &start);
        let threads: Vec<_> = (0..THREADS).map(|t| scope.spawn(move || replicates(all, start, t))).collect();
        threads.into_iter().flat_map(|t| t.join().unwrap_or_default()).collect()
    });
    let took = began.elapsed().as_secs_f64();
    found.sort_by_key(|f| f.0);
    print(&found, &start, took);
    ExitCode::SUCCESS
}

fn print(found: &[(usize, Solution)], start: &[f64], took: f64) {
    let converged = found.iter().filter(|f| f.1.ending.converged()).count();
    let evaluations: usize = found.iter().map(|f| f.1.evaluations).sum();
    println!(
        "{} fits in {took:.3} s on {THREADS} threads, {:.1} us each",
        found.len(),
        1e6 * took / found.len() as f64
    );
    println!("{converged} converged, {:.1} evaluations each", evaluations as f64 / found.len() as f64);
    println!("\n| parameter | fit of all | mean | standard deviation |\n| --- | --- | --- | --- |");
    for (k, name) in ["phi_0", "phi_m", "ln sigma_star", "ln beta", "ln amplitude"].into_iter().enumerate() {
        let values: Vec<f64> = found.iter().map(|f| f.1.parameters[k]).collect();
        let centre = mean(&values);
        let squares: f64 = values.iter().map(|v| (v - centre) * (v - centre)).sum();
        let deviation = (squares / (values.len() as f64 - 1.0)).sqrt();
        println!("| {name} | {:.4} | {centre:.4} | {deviation:.4} |", start[k]);
    }
}
