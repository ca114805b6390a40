//! The tables of the trial as Markdown.

use super::design::{SHARES, Span};
use super::score::{Result, Score, share};
use super::transient::{Class, Origin};
use super::{EARLY, Estimator, GOOD, LATE, Outcome, outcomes, settings};
use stages::reversal::remark::Remark;
use stages::reversal::result::Graded;

/// All tables from `count` studies in each row of the first, drawn from `seed`.
pub(crate) fn all(count: u64, seed: u64) {
    let params = settings();
    let numbers = |n: u64| 0..n;
    let plain = outcomes(Origin::Plain, numbers(3 * count), &EARLY, &params, seed);
    let release = outcomes(Origin::Release, numbers(3 * count), &EARLY, &params, seed);
    let foreign: Vec<Outcome> =
        Origin::FOREIGN.into_iter().flat_map(|o| outcomes(o, numbers(count), &EARLY, &params, seed)).collect();
    heading();
    for class in Class::ALL {
        row(class.name(), plain.iter().filter(|o| o.study.class == class));
    }
    row("all described terms", plain.iter());
    for class in Class::ALL {
        row(&format!("elastic release, {}", class.name()), release.iter().filter(|o| o.study.class == class));
    }
    row("all with elastic release", release.iter());
    for origin in Origin::FOREIGN {
        row(origin.name(), foreign.iter().filter(|o| o.study.origin == origin));
    }
    row("all foreign shapes", foreign.iter());
    let every: Vec<&Outcome> = plain.iter().chain(&release).chain(&foreign).collect();
    row("all", every.iter().copied());
    estimators(&plain);
    by_share(&every);
    resolved(count, seed);
}

fn heading() {
    println!("| transients | studies | resolved | bias of reversals | their rms | hold | bias of states | hold |");
    println!("| --- | --- | --- | --- | --- | --- | --- | --- |");
}

fn row<'a>(name: &str, outcomes: impl Iterator<Item = &'a Outcome>) {
    let all: Vec<&Outcome> = outcomes.collect();
    let singles: Vec<Result> = all.iter().filter_map(|o| o.single(Estimator::Headline)).collect();
    let states: Vec<Result> = all.iter().filter_map(|o| o.state()).collect();
    let (single, state) = (Score::of(&singles), Score::of(&states));
    let read: (usize, usize) = all.iter().fold((0, 0), |s, o| (s.0 + o.said.reversals.0, s.1 + o.said.reversals.1));
    println!(
        "| {name} | {} | {:.2} | {} | {:.3} | {} | {} | {} |",
        all.len(),
        read.1 as f64 / read.0 as f64,
        bias(&single),
        single.rms,
        coverage(&single),
        bias(&state),
        coverage(&state),
    );
}

fn bias(score: &Score) -> String {
    format!("{:+.4} ± {:.4}", score.bias.0, score.bias.1)
}

fn coverage(score: &Score) -> String {
    score.coverage.map_or_else(|| "–".to_owned(), |(p, low, high)| format!("{p:.3} ({low:.3}–{high:.3})"))
}

/// Every estimator over the described terms.
fn estimators(plain: &[Outcome]) {
    println!(
        "\n| estimator, single reversals | no dip | mild dip | strong dip | hold |\n| --- | --- | --- | --- | --- |"
    );
    for estimator in Estimator::ALL {
        let of = |class: Option<Class>| {
            let inside = plain.iter().filter(|o| class.is_none_or(|c| o.study.class == c));
            Score::of(&inside.filter_map(|o| o.single(estimator)).collect::<Vec<_>>())
        };
        let [none, mild, strong] = Class::ALL.map(|c| bias(&of(Some(c))));
        println!("| {} | {none} | {mild} | {strong} | {} |", estimator.name(), coverage(&of(None)));
    }
}

fn by_share(every: &[&Outcome]) {
    println!(
        "\n| contact share | resolved | bias of reversals | hold | bias of states | hold |\n| --- | --- | --- | --- | --- | --- |"
    );
    for x in SHARES {
        let inside: Vec<&&Outcome> = every.iter().filter(|o| o.study.share == x).collect();
        let single = Score::of(&inside.iter().filter_map(|o| o.single(Estimator::Headline)).collect::<Vec<_>>());
        let state = Score::of(&inside.iter().filter_map(|o| o.state()).collect::<Vec<_>>());
        let part = inside.iter().filter(|o| o.resolved()).count() as f64 / inside.len() as f64;
        println!(
            "| {x} | {part:.2} | {} | {} | {} | {} |",
            bias(&single),
            coverage(&single),
            bias(&state),
            coverage(&state)
        );
    }
}

/// How often what cannot be read is called resolved, and what can be read is not.
fn resolved(count: u64, seed: u64) {
    println!("\n| first usable strain | studies | called unresolved | goal |\n| --- | --- | --- | --- |");
    let of = |span: &Span| -> Vec<Outcome> {
        let both = [Origin::Plain, Origin::Release].into_iter();
        both.flat_map(|o| outcomes(o, 0..5 * count, span, &settings(), seed)).collect()
    };
    let told = |name: &str, all: &[&Outcome], goal: &str| {
        let lost = all.iter().filter(|o| !o.resolved()).count();
        let (p, low, high) = share(lost, all.len());
        println!("| {name} | {} | {p:.3} ({low:.3}–{high:.3}) | {goal} |", all.len());
    };
    told("above 0.1", &of(&LATE).iter().collect::<Vec<_>>(), "at least 0.99");
    let early = of(&GOOD);
    let well: Vec<&Outcome> = early.iter().filter(|o| well_sampled(o)).collect();
    told("at most 0.01, at least 10 readings below strain 0.05, noise at most 1 %", &well, "at most 0.02");
    refused(&well);
}

/// What the stages found to be readable from strain 0.01 on, with ten readings below 0.05.
fn well_sampled(outcome: &Outcome) -> bool {
    let first = outcome.said.reversal.as_ref().map(|j| j.read.dead.first_usable());
    first.is_some_and(|f| f <= 0.01) && outcome.said.early_readings >= 10
}

/// Which of the well sampled ones are called unresolved.
fn refused(well: &[&Outcome]) {
    println!("\n| well sampled, called unresolved | {} |", SHARES.map(|x| format!("share {x}")).join(" | "));
    println!("| --- |{}", " --- |".repeat(SHARES.len()));
    let cell = |inside: &[&&Outcome]| {
        let lost = inside.iter().filter(|o| !o.resolved()).count();
        if inside.is_empty() { "–".to_owned() } else { format!("{:.3}", lost as f64 / inside.len() as f64) }
    };
    for origin in [Origin::Plain, Origin::Release] {
        for class in Class::ALL {
            let of = |x: f64| {
                let inside = |o: &&&Outcome| o.study.origin == origin && o.study.class == class && o.study.share == x;
                cell(&well.iter().filter(inside).collect::<Vec<_>>())
            };
            println!("| {}, {} | {} |", origin.name(), class.name(), SHARES.map(of).join(" | "));
        }
    }
    let lost: Vec<&str> =
        well.iter().filter(|o| !o.resolved()).flat_map(|o| o.said.reversal.iter()).flat_map(why).collect();
    let mut kinds: Vec<&str> = lost.clone();
    kinds.sort_unstable();
    kinds.dedup();
    let counts = kinds.iter().map(|k| format!("{k}: {}", lost.iter().filter(|l| *l == k).count()));
    println!("\nWhy: {}.", counts.collect::<Vec<_>>().join("; "));
    let fitted: Vec<(f64, f64)> = well.iter().filter(|o| !o.resolved()).filter_map(|o| o.fitted()).collect();
    let n = fitted.len() as f64;
    let rms = (fitted.iter().map(|(error, u)| (error / u) * (error / u)).sum::<f64>() / n).sqrt();
    let above = |limit: f64| fitted.iter().filter(|(_, u)| *u > limit).count();
    println!(
        "Standard uncertainties of these {n} above 0.06: {}, above 0.08: {}; rms of their errors in units of them: {rms:.2}.",
        above(0.06),
        above(0.08)
    );
}

/// The rules that refused a reversal, without their numbers.
fn why(graded: &Graded) -> impl Iterator<Item = &'static str> {
    graded.remarks.iter().filter_map(|remark| match remark {
        Remark::LateFirstStrain { .. } => Some("first usable strain"),
        Remark::LargeUncertainty { .. } => Some("u(contact share)"),
        Remark::OutOfRange { .. } => Some("contact share out of range"),
        Remark::NothingLeft { .. } => Some("nothing left of the viscosity"),
        Remark::FewEarlyBins { .. } => Some("few early bins"),
        Remark::NoContactShare => Some("no contact share"),
        _ => None,
    })
}

/// The full grid, once: mean error of the states by contact share and first usable strain.
pub(crate) fn grid(seed: u64) {
    const ARRIVALS: [f64; 9] = [0.002, 0.005, 0.01, 0.015, 0.02, 0.03, 0.05, 0.1, 0.3];
    const NOISES: [f64; 4] = [0.002, 0.005, 0.015, 0.05];
    println!("| arrival of the drive | resolved | bias of reversals | rms | hold |\n| --- | --- | --- | --- | --- |");
    for arrival in ARRIVALS {
        let spans = NOISES.map(|noise| Span { arrival: (arrival, arrival), noise: (noise, noise), loadings: 1 });
        let all: Vec<Outcome> = spans
            .iter()
            .flat_map(|span| [Origin::Plain, Origin::Release].map(|o| (o, *span)))
            .flat_map(|(origin, span)| outcomes(origin, 0..30, &span, &settings(), seed))
            .collect();
        let score = Score::of(&all.iter().filter_map(|o| o.single(Estimator::Headline)).collect::<Vec<_>>());
        let part = all.iter().filter(|o| o.resolved()).count() as f64 / all.len() as f64;
        println!("| {arrival} | {part:.2} | {} | {:.3} | {} |", bias(&score), score.rms, coverage(&score));
    }
}
