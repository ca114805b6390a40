//! Coverage: how often the 95 % intervals of made-up studies hold the truth, beside a reader who knows everything
//! that was realised. The generator is apart from the stages; the stages run in process, as they stand.

mod chain;
mod laboratory;
mod pool;
mod score;
mod study;
mod table;

use score::Scores;
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

/// `cargo trial coverage [studies] [pool]`.
pub(crate) fn trial(arguments: &[String]) -> ExitCode {
    let number = |at: usize, default: usize| arguments.get(at).map_or(Ok(default), |text| text.parse());
    let (Ok(studies), Ok(pool)) = (number(0, STUDIES), number(1, POOL)) else {
        eprintln!("usage: cargo trial coverage [studies of a cell] [states in the pool of read errors]");
        return ExitCode::from(2);
    };
    println!("{}", table::HEAD);
    for design in &DESIGNS {
        match cell(design, studies, pool, SEED) {
            Ok(tally) => println!("{}", table::rows(design.name, studies, &tally)),
            Err(message) => {
                eprintln!("{message}");
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}

/// Scores of the reader and of the perfect reader over all studies of one design.
///
/// # Errors
/// What the stages say.
fn cell(design: &Design, studies: usize, pool: usize, seed: u64) -> Result<[Scores; 2], String> {
    let pool = pool::pool(design, pool, seed)?;
    let one = |k: usize| {
        let number = seed.wrapping_mul(1_000_003).wrapping_add(k as u64);
        score::both(&study::study(design, &pool, number), number)
    };
    let mut sum = [Scores::default(), Scores::default()];
    for scores in parallel(studies, one) {
        for (sum, scores) in sum.iter_mut().zip(scores?) {
            sum.iter_mut().zip(scores).for_each(|(sum, score)| sum.join(score));
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
        // A thread that panicked has said so; what it did not bring is missing from the tally, which the caller counts.
        parts.into_iter().flat_map(|p| p.join().unwrap_or_default()).collect()
    });
    done.sort_by_key(|(k, _)| *k);
    done.into_iter().map(|(_, value)| value).collect()
}
