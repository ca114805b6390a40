//! Speed of global fits: Wyart and Cates on resampled data of five samples at twelve stresses, each from the fit of
//! all data. `fits.py` beside it is the same with SciPy, on the same resampled data. Figures: `README.md`.

use crate::random::Stream;
use stages::numerics::interval::mean;
use stages::numerics::least_squares::{Effort, Residuals, minimise};
use stages::numerics::least_squares_near::{Minimum, minimise_near};
use stages::physics::models::wyart_cates::{Contacts, WyartCates};
use stages::physics::models::{Model, Point};
use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

const FRACTIONS: [f64; 5] = [0.44, 0.48, 0.51, 0.53, 0.545];
const STRESSES: usize = 12;
const TRUTH: [f64; 6] = [0.65, 0.58, 6.0, 0.9, 1.05, 2.0];
const FITS: usize = 10_000;
const THREADS: usize = 2;
/// As in `fits.py`: well below what resampling moves.
const EFFORT: Effort = Effort { tolerance: 1e-10, patience: 100, polish: 0 };

/// A datum: solid fraction, place of its stress, ln η_r, and how often it was drawn.
type Row = (f64, usize, f64, u32);

/// Data in coordinates φ_0, φ_m, ln σ*, ln β, ln A; α is 2.
struct Global<'a> {
    ln_stresses: &'a [f64],
    rows: Vec<Row>,
}

impl Global<'_> {
    fn parameters(q: &[f64]) -> [f64; 6] {
        [q[0], q[1], libm::exp(q[2]), libm::exp(q[3]), libm::exp(q[4]), 2.0]
    }

    /// What depends on the stress alone is worked out once a stress.
    fn contacts(&self, q: &[f64], p: &[f64]) -> [Contacts; STRESSES] {
        std::array::from_fn(|i| Contacts::at_ln_ratio(p, q[2] - self.ln_stresses[i]))
    }
}

impl Residuals for Global<'_> {
    fn len(&self) -> usize {
        self.rows.len()
    }

    fn residuals(&self, q: &[f64], out: &mut [f64]) {
        let p = Self::parameters(q);
        let contacts = self.contacts(q, &p);
        for (out, (phi, at, ln, times)) in out.iter_mut().zip(&self.rows) {
            *out = (contacts[*at].ln_viscosity(q[4], p[5], *phi) - ln) * f64::from(*times).sqrt();
        }
    }

    fn jacobian(&self, q: &[f64], out: &mut [f64]) {
        self.both(q, &mut vec![0.0; self.rows.len()], out);
    }

    fn both(&self, q: &[f64], residuals: &mut [f64], jacobian: &mut [f64]) {
        let (p, n) = (Self::parameters(q), self.rows.len());
        let contacts = self.contacts(q, &p);
        for (i, (phi, at, ln, times)) in self.rows.iter().enumerate() {
            let root = f64::from(*times).sqrt();
            residuals[i] = (contacts[*at].ln_viscosity(q[4], p[5], *phi) - ln) * root;
            let [by_0, by_m, by_stress, by_beta] = contacts[*at].derivatives(&p, *phi);
            for (column, value) in [by_0, by_m, by_stress * p[2], by_beta * p[3], 1.0].into_iter().enumerate() {
                jacobian[column * n + i] = value * root;
            }
        }
    }
}

/// The data: the law with 3 % of noise.
fn data(stresses: &[f64]) -> Vec<Row> {
    let mut random = Stream::named(20, "data of the fits");
    let mut rows = Vec::new();
    for phi in FRACTIONS {
        for (at, stress) in stresses.iter().enumerate() {
            let ln = WyartCates.ln_viscosity(&TRUTH, Point::at_stress(phi, *stress));
            rows.push((phi, at, ln + 0.03 * random.normal(), 1));
        }
    }
    rows
}

/// How often each of `n` data is drawn in replicate `k`, which has its own stream of random numbers.
fn draw(k: usize, n: usize) -> Vec<u32> {
    let mut random = Stream::named(21, &k.to_string());
    let mut times = vec![0; n];
    (0..n).for_each(|_| times[random.below(n)] += 1);
    times
}

/// Fits with the number of their replicate.
type Fits = Vec<(usize, Minimum)>;

/// Replicates `from`, `from` + [`THREADS`] …; a datum drawn twice is one row that counts twice.
fn replicates(all: &Global<'_>, draws: &[Vec<u32>], start: &[f64], from: usize) -> Fits {
    let of = |k: usize| {
        let drawn = all.rows.iter().zip(&draws[k]).filter(|(_, times)| **times > 0);
        let rows = drawn.map(|((phi, at, ln, _), times)| (*phi, *at, *ln, *times)).collect();
        (k, minimise_near(&Global { ln_stresses: all.ln_stresses, rows }, start, EFFORT))
    };
    (from..FITS).step_by(THREADS).map(of).collect()
}

/// Processor time of this thread, s, where the system tells it: what a clock shows on a shared machine says little.
fn processor_time() -> Option<f64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(1e-9 * told.split(' ').next()?.parse::<f64>().ok()?)
}

/// What `fits.py` reads: the data, and a line per replicate with how often each datum is drawn.
fn write(folder: &Path, all: &[Row], stresses: &[f64], draws: &[Vec<u32>]) -> std::io::Result<()> {
    let row = |(phi, at, ln, _): &Row| format!("{phi},{},{ln}\n", stresses[*at]);
    let rows: String = all.iter().map(row).collect();
    let line = |times: &Vec<u32>| times.iter().map(u32::to_string).collect::<Vec<_>>().join(",") + "\n";
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("data.csv"), format!("phi,stress_pa,ln_relative_viscosity\n{rows}"))?;
    std::fs::write(folder.join("draws.csv"), draws.iter().map(line).collect::<String>())
}

/// Runs the trial; `--data FOLDER` writes for `fits.py` what is fitted instead.
pub(crate) fn trial(typed: &[String]) -> ExitCode {
    let stresses: Vec<f64> = (0..STRESSES).map(|i| 0.2 * libm::pow(2.0, i as f64)).collect();
    let ln_stresses: Vec<f64> = stresses.iter().map(|s| libm::log(*s)).collect();
    let all = Global { ln_stresses: &ln_stresses, rows: data(&stresses) };
    let draws: Vec<Vec<u32>> = (0..FITS).map(|k| draw(k, all.rows.len())).collect();
    if let [flag, folder] = typed
        && flag == "--data"
    {
        let written = write(Path::new(folder), &all.rows, &stresses, &draws);
        return if written.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    let start = minimise(&all, &[0.66, 0.58, libm::log(8.0), 0.0, 0.0], Effort::default()).parameters;
    let began = Instant::now();
    let parts: Vec<(Fits, Option<f64>)> = std::thread::scope(|scope| {
        let (all, draws, start) = (&all, &draws, &start);
        let timed = |from: usize| {
            let before = processor_time();
            let found = replicates(all, draws, start, from);
            (found, processor_time().zip(before).map(|(after, before)| after - before))
        };
        let threads: Vec<_> = (0..THREADS).map(|t| scope.spawn(move || timed(t))).collect();
        threads.into_iter().filter_map(|t| t.join().ok()).collect()
    });
    let took = began.elapsed().as_secs_f64();
    let processor = parts.iter().map(|p| p.1).sum::<Option<f64>>();
    let mut found: Fits = parts.into_iter().flat_map(|p| p.0).collect();
    found.sort_by_key(|f| f.0);
    print(&found, &start, took, processor);
    ExitCode::SUCCESS
}

fn print(found: &[(usize, Minimum)], start: &[f64], took: f64, processor: Option<f64>) {
    let converged = found.iter().filter(|f| f.1.ending.converged()).count();
    let evaluations: usize = found.iter().map(|f| f.1.evaluations).sum();
    let each = |seconds: f64| 1e6 * seconds / found.len() as f64;
    println!("{} fits in {took:.3} s on {THREADS} threads, {:.2} us each", found.len(), each(took));
    if let Some(seconds) = processor {
        println!("{:.2} us of processor time each", each(seconds));
    }
    println!("{converged} converged, {:.1} evaluations each", evaluations as f64 / found.len() as f64);
    println!("\n| parameter | fit of all | mean | standard deviation |\n| --- | --- | --- | --- |");
    for (k, name) in ["phi_0", "phi_m", "ln sigma_star", "ln beta", "ln amplitude"].into_iter().enumerate() {
        let values: Vec<f64> = found.iter().map(|f| f.1.parameters[k]).collect();
        let centre = mean(&values);
        let squares: f64 = values.iter().map(|v| (v - centre) * (v - centre)).sum();
        let deviation = (squares / (values.len() as f64 - 1.0)).sqrt();
        println!("| {name} | {:.8} | {centre:.8} | {deviation:.8} |", start[k]);
    }
}
