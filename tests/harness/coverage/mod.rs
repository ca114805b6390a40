//! Coverage: how often the 95 % intervals of made-up studies hold the truth, beside a reader who knows everything
//! that was realised. The generator is apart from the stages; the stages run in process, as they stand.

mod chain;
mod laboratory;
mod pool;
mod score;
mod study;
mod table;

use pool::PoolState;
use score::{READERS, Scores};
use stages::states::params::Params;
use std::process::ExitCode;

/// How a study is laid out: repeats of every loading of every state.
pub(crate) struct Design {
    name: &'static str,
    repeats: &'static [usize],
}

const DESIGNS: [Design; 4] = [
    Design { name: "3 × 3", repeats: &[3, 3, 3] },
    Design { name: "2 × 5", repeats: &[5, 5] },
    Design { name: "5 × 1", repeats: &[1, 1, 1, 1, 1] },
    Design { name: "3, 2, 1", repeats: &[3, 2, 1] },
];

/// Seed of the table in the README.
const SEED: u64 = 20_261_126;

/// How much is made for a cell.
#[derive(Clone, Copy)]
struct Size {
    /// Studies of all pools together.
    studies: usize,
    /// Pools of read errors, each made afresh: studies of one pool share its errors, so that the scatter between pools
    /// says how far a coverage is luck.
    pools: usize,
    /// States in a pool.
    states: usize,
}

impl Default for Size {
    fn default() -> Self {
        Self { studies: 1_000, pools: 5, states: 24 }
    }
}

const USAGE: &str = "\
usage: cargo trial coverage [studies of a cell] [pools of read errors] [states in a pool] [part of a reversal's \
standard uncertainty that a state shares] [seed]";

/// `cargo trial coverage [studies] [pools] [states of a pool] [shared part] [seed]`.
pub(crate) fn trial(arguments: &[String]) -> ExitCode {
    let Some((size, seed, params)) = asked(arguments).filter(|(size, ..)| size.pools > 0) else {
        eprintln!("{USAGE}");
        return ExitCode::from(2);
    };
    println!("{}", table::HEAD);
    let mut errors = Vec::new();
    for design in &DESIGNS {
        match cell(design, size, seed, &params) {
            Ok(cell) => {
                println!("{}", table::rows(design.name, size.studies, &cell.pools));
                errors.push(table::read_errors(design.name, &cell.read));
            }
            Err(message) => {
                eprintln!("{message}");
                return ExitCode::FAILURE;
            }
        }
    }
    println!("\n{}\n{}", table::READ_HEAD, errors.join("\n"));
    ExitCode::SUCCESS
}

/// What was typed; none where it cannot be read.
fn asked(arguments: &[String]) -> Option<(Size, u64, Params)> {
    fn or<T: std::str::FromStr>(text: Option<&String>, default: T) -> Option<T> {
        text.map_or(Some(default), |text| text.parse().ok())
    }
    let (usual, params) = (Size::default(), Params::default());
    let size = Size {
        studies: or(arguments.first(), usual.studies)?,
        pools: or(arguments.get(1), usual.pools)?,
        states: or(arguments.get(2), usual.states)?,
    };
    let shared_part = or(arguments.get(3), params.shared_part)?;
    Some((size, or(arguments.get(4), SEED)?, Params { shared_part, ..params }))
}

/// What all studies of one design say.
struct Cell {
    /// By pool, the scores of every reader.
    pools: Vec<[Scores; READERS]>,
    /// The readings behind them.
    read: Vec<PoolState>,
}

/// # Errors
/// What the stages say.
fn cell(design: &Design, size: Size, seed: u64, params: &Params) -> Result<Cell, String> {
    let mut cell = Cell { pools: Vec::new(), read: Vec::new() };
    for number in 0..size.pools {
        let pool = pool::pool(design, number, size.states, seed)?;
        let studies = (number..size.studies).step_by(size.pools);
        cell.pools.push(scores(design, &pool, &studies.collect::<Vec<_>>(), seed, params)?);
        cell.read.extend(pool);
        eprintln!("{}: {} of {} pools", design.name, number + 1, size.pools);
    }
    Ok(cell)
}

/// Scores of every reader over studies of these numbers.
fn scores(
    design: &Design,
    pool: &[PoolState],
    studies: &[usize],
    seed: u64,
    params: &Params,
) -> Result<[Scores; READERS], String> {
    let one = |k: usize| {
        let number = seed.wrapping_mul(1_000_003).wrapping_add(studies[k] as u64);
        score::readers(&study::study(design, pool, number), number, params)
    };
    let all = parallel(studies.len(), one);
    if all.len() < studies.len() {
        return Err(format!("{}: {} of {} studies came to an end", design.name, all.len(), studies.len()));
    }
    let mut sum: [Scores; READERS] = Default::default();
    for scores in all {
        for (sum, scores) in sum.iter_mut().zip(scores?) {
            sum.iter_mut().zip(scores).for_each(|(sum, score)| sum.join(&score));
        }
    }
    Ok(sum)
}

/// `one(0)` … `one(n − 1)` on all cores, in order.
fn parallel<T: Send>(n: usize, one: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut done: Vec<(usize, T)> = std::thread::scope(|scope| {
        let one = &one;
        let part = |t: usize| scope.spawn(move || (t..n).step_by(threads).map(|k| (k, one(k))).collect::<Vec<_>>());
        let parts: Vec<_> = (0..threads).map(part).collect();
        // A thread that panicked has said so; what it did not bring is missing, and the caller counts.
        parts.into_iter().flat_map(|p| p.join().unwrap_or_default()).collect()
    });
    done.sort_by_key(|(k, _)| *k);
    done.into_iter().map(|(_, value)| value).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::score::QUANTITIES;
    use super::*;

    #[test]
    fn intervals_of_a_few_studies_hold_the_truth_about_as_often_as_they_say() {
        let size = Size { studies: 40, pools: 2, states: 12 };
        let cell = cell(&DESIGNS[3], size, 1, &Params::default()).unwrap();
        // Four standard errors of a coverage of 0.95 over 40 studies, states of one study counted as one. Intervals
        // that take three loadings for normal (factor 1.96 for 4.30) hold about 0.75 and fail.
        let least = 0.95 - 4.0 * (0.05 * 0.95 / size.studies as f64).sqrt();
        for (q, name) in QUANTITIES.iter().enumerate() {
            for reader in [score::STAGES, score::PERFECT] {
                let score = table::sum(&cell.pools, reader, q);
                assert!(score.given as f64 >= 0.9 * score.asked as f64, "{name}: {} given", score.given);
                assert!(table::coverage(&score) >= least, "{name}: {}", table::coverage(&score));
            }
        }
        // Resampling three loadings holds 0.75 (ten different resamples of three): the same band must refuse it.
        let resampled = table::sum(&cell.pools, score::RESAMPLING, 0);
        assert!(table::coverage(&resampled) < least, "{}", table::coverage(&resampled));
    }

    #[test]
    fn the_interval_of_a_coverage_by_hand() {
        // Wilson's interval of 8 of 10 (worked by hand): centre (0.8 + 0.19207)/1.38415, half-width 0.22670.
        let (low, high) = table::binomial(0.8, 10.0);
        assert!((low - 0.4901625).abs() < 1e-6 && (high - 0.9433178).abs() < 1e-6, "{low} {high}");
    }

    #[test]
    fn the_same_seed_gives_the_same_study_on_any_number_of_threads() {
        let square = |k: usize| k * k;
        assert_eq!(parallel(7, square), (0..7).map(square).collect::<Vec<_>>());
    }
}
