//! Coverage: how often the 95 % intervals of made-up studies hold the truth, beside a reader who knows everything
//! that was realised. The generator is apart from the stages; the stages run in process, as they stand.

mod chain;
mod laboratory;
mod pool;
mod score;
mod study;
mod table;

use pool::PoolState;
use score::Scores;
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
const SEED: u64 = 20_261_125;
/// Studies of a cell, and states in its pool of read errors.
const STUDIES: usize = 1_200;
const POOL: usize = 120;

/// `cargo trial coverage [studies] [pool] [shared part]`.
pub(crate) fn trial(arguments: &[String]) -> ExitCode {
    let number = |at: usize, default: usize| arguments.get(at).map_or(Ok(default), |text| text.parse());
    let part = arguments.get(2).map_or(Ok(Params::default().shared_part), |text| text.parse());
    let (Ok(studies), Ok(pool), Ok(shared_part)) = (number(0, STUDIES), number(1, POOL), part) else {
        eprintln!(
            "usage: cargo trial coverage [studies of a cell] [states in the pool of read errors] [part of a reversal's \
             standard uncertainty that a state shares]"
        );
        return ExitCode::from(2);
    };
    let params = Params { shared_part, ..Params::default() };
    println!("{}", table::HEAD);
    let mut errors = Vec::new();
    for design in &DESIGNS {
        match cell(design, studies, pool, SEED, &params) {
            Ok((tally, pool)) => {
                println!("{}", table::rows(design.name, studies, &tally));
                errors.push(table::read_errors(design.name, &pool));
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

/// Scores of the reader and of the perfect reader over all studies of one design, and the pool behind them.
///
/// # Errors
/// What the stages say.
fn cell(
    design: &Design,
    studies: usize,
    pool: usize,
    seed: u64,
    params: &Params,
) -> Result<([Scores; 2], Vec<PoolState>), String> {
    let pool = pool::pool(design, pool, seed)?;
    let one = |k: usize| {
        let number = seed.wrapping_mul(1_000_003).wrapping_add(k as u64);
        score::both(&study::study(design, &pool, number), number, params)
    };
    let mut sum = [Scores::default(), Scores::default()];
    let all = parallel(studies, one);
    if all.len() < studies {
        return Err(format!("{}: {} of {studies} studies came to an end", design.name, all.len()));
    }
    for scores in all {
        for (sum, scores) in sum.iter_mut().zip(scores?) {
            sum.iter_mut().zip(scores).for_each(|(sum, score)| sum.join(score));
        }
    }
    Ok((sum, pool))
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
        let studies = 40;
        let ([reader, perfect], _) = cell(&DESIGNS[3], studies, 12, 1, &Params::default()).unwrap();
        // Four standard errors of a coverage of 0.95 over 40 studies, states of one study counted as one. Intervals
        // that take three loadings for normal (factor 1.96 for 4.30) hold about 0.75 and fail.
        let least = 0.95 - 4.0 * (0.05 * 0.95 / studies as f64).sqrt();
        for (q, name) in QUANTITIES.iter().enumerate() {
            for scores in [&reader, &perfect] {
                let score = &scores[q];
                assert!(score.given as f64 >= 0.9 * score.asked as f64, "{name}: {} given", score.given);
                assert!(table::coverage(score) >= least, "{name}: {}", table::coverage(score));
            }
        }
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
