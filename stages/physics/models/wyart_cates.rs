//! Thickening by friction: the share of frictional contacts grows with stress and moves the jamming fraction.
//!
//! f = exp[−(σ*/σ)^β], φ_J = f φ_m + (1 − f) φ_0, η_r = A (1 − φ/φ_J)^(−α).
//!
//! φ_0, φ_m: jamming fractions without and with friction; σ*: stress at which contacts turn frictional; A, α:
//! amplitude and exponent of the divergence, α usually 2. At σ = σ* f = 1/e for every β. φ ≥ φ_J is jammed.
//!
//! # Source
//! Wyart & Cates 2014 (equations from memory of the paper); the form of f, exponential with the stress in the
//! exponent: Guy, Hermes & Poon 2015 (β free), Singh and others 2018 (β = 1), both from memory. The slope
//! and the onset of discontinuous thickening are derived below and checked numerically.

use super::{Description, Label, Model, Parameter, Point, Subject, largest_fraction, packing_guess};
use crate::numerics::{float, interval};

/// The model; parameters in the order φ_0, φ_m, σ*, β, A, α.
#[derive(Debug, Clone, Copy)]
pub struct WyartCates;

/// Place of α among the parameters.
pub const ALPHA: usize = 5;
/// Place of β among the parameters.
pub const BETA: usize = 3;

const PARAMETERS: [Parameter; 6] = [
    Label::new("phi_0", "φ_0", "frictionless jamming fraction", "").within(0.0, 1.0),
    Label::new("phi_m", "φ_m", "frictional jamming fraction", "").within(0.0, 1.0),
    Label::new("sigma_star", "σ*", "onset stress", "Pa").scale(1e-6, 1e6),
    Label::new("beta", "β", "exponent of the stress", "").scale(0.1, 5.0),
    Label::new("amplitude", "A", "amplitude", "").scale(0.05, 20.0),
    Label::new("alpha", "α", "exponent of the divergence", "").scale(0.5, 5.0),
];

/// Solid fraction at which thickening first turns discontinuous.
pub const PHI_DST: Label = Label::new("phi_dst", "φ_DST", "onset of discontinuous thickening", "");
/// Stress there.
pub const SIGMA_DST: Label = Label::new("sigma_dst", "σ_DST", "stress at φ_DST", "Pa");
/// How far a sample lies beyond that solid fraction.
pub const PHI_BEYOND_DST: Label = Label::new("phi_beyond_dst", "φ − φ_DST", "", "");
/// Stress at which the rate of a sample is largest.
pub const SIGMA_UP: Label = Label::new("sigma_up", "σ at the largest rate", "", "Pa");
/// Stress at which the rate is smallest beyond it.
pub const SIGMA_DOWN: Label = Label::new("sigma_down", "σ at the smallest rate beyond", "", "Pa");
/// Stress from which a sample is jammed.
pub const SIGMA_JAM: Label = Label::new("sigma_jam", "σ at which it jams", "", "Pa");

const FOLLOWS: [Label; 6] = [PHI_DST, SIGMA_DST, PHI_BEYOND_DST, SIGMA_UP, SIGMA_DOWN, SIGMA_JAM];

const DESCRIPTION: Description = Description {
    name: "wyart-cates",
    title: "Wyart–Cates",
    formula: "η_r = A·(1 − φ/φ_J)^(−α) with φ_J = f·φ_m + (1 − f)·φ_0, f = exp[−(σ*/σ)^β] and the amplitude A",
    sources: &["wyart-2014", "guy-2015", "singh-2018"],
    subject: Subject::Thickening,
    parameters: &PARAMETERS,
    follows: &FOLLOWS,
};

/// What the stress alone decides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contacts {
    /// (σ*/σ)^β.
    x: f64,
    /// ln(σ*/σ).
    ln_ratio: f64,
    /// Share of frictional contacts, e⁻ˣ.
    frictional: f64,
    /// Jamming fraction φ_J.
    jamming: f64,
}

impl Contacts {
    /// At parameters `p` and a stress, Pa.
    pub fn at_stress(p: &[f64], stress_pa: f64) -> Self {
        Self::at_ln_ratio(p, float::ln(p[2] / stress_pa))
    }

    /// At parameters `p` and ln(σ*/σ).
    pub fn at_ln_ratio(p: &[f64], ln_ratio: f64) -> Self {
        let x = float::exp(p[BETA] * ln_ratio);
        let frictional = float::exp(-x);
        Self { x, ln_ratio, frictional, jamming: p[0] - (p[0] - p[1]) * frictional }
    }

    /// ln η_r at a solid fraction.
    pub fn ln_viscosity(&self, ln_amplitude: f64, alpha: f64, phi: f64) -> f64 {
        // The difference of two numbers within a factor of two is exact, so no digit is lost near jamming.
        ln_amplitude - alpha * float::ln((self.jamming - phi) / self.jamming)
    }

    /// ∂ ln η_r/∂(φ_0, φ_m, σ*, β): the chain rule through φ_J(φ_0, φ_m, x) and x(σ*, β).
    pub fn derivatives(&self, p: &[f64], phi: f64) -> [f64; 4] {
        let Self { x, ln_ratio, frictional, jamming } = *self;
        let by_jamming = -p[ALPHA] * phi / (jamming * (jamming - phi));
        let by_ln_x = by_jamming * (p[0] - p[1]) * frictional * x;
        // x ln(σ*/σ) tends to 0 with x.
        let by_beta = if x == 0.0 { 0.0 } else { by_ln_x * ln_ratio };
        [by_jamming * (1.0 - frictional), by_jamming * frictional, by_ln_x * p[BETA] / p[2], by_beta]
    }
}

impl Model for WyartCates {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        Contacts::at_stress(p, point.stress_pa).ln_viscosity(float::ln(p[4]), p[ALPHA], point.volume_fraction)
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (contacts, phi) = (Contacts::at_stress(p, point.stress_pa), point.volume_fraction);
        out[..4].copy_from_slice(&contacts.derivatives(p, phi));
        out[4] = 1.0 / p[4];
        out[5] = -float::ln1p(-phi / contacts.jamming);
        p[ALPHA] / (contacts.jamming - phi)
    }

    fn slope(&self, p: &[f64], point: Point) -> f64 {
        1.0 - inverse_slope(p, point)
    }

    /// φ_0 and φ_m as the packings that the smallest and the largest relative viscosity of each solid fraction ask
    /// for with A = 1; σ* between the smallest and the largest stress, and a factor 3 beside it.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        let ends = ends(data);
        if ends.is_empty() {
            return Vec::new();
        }
        let column = |k: usize| ends.iter().map(|e| e[k]).collect::<Vec<_>>();
        let phi_m = packing_guess(&column(1));
        // The smallest viscosities may come from the stress at which thickening has begun already.
        let phi_0 = packing_guess(&column(0)).max(1.02 * phi_m).max(1.02 * largest_fraction(data));
        let ln_stress: Vec<f64> = data.iter().map(|(p, _)| float::ln(p.stress_pa)).collect();
        let middle = float::exp(interval::mean(&ln_stress));
        let sigma_stars = [1.0, 1.0 / 3.0, 3.0].map(|by| by * middle);
        let amplitudes = [1.0, 0.5, 2.0];
        let start = |sigma_star: f64, amplitude: f64| vec![phi_0, phi_m, sigma_star, 1.0, amplitude, 2.0];
        sigma_stars.iter().flat_map(|s| amplitudes.iter().map(|a| start(*s, *a))).collect()
    }
}

/// For every solid fraction the data with the smallest and with the largest relative viscosity.
fn ends(data: &[(Point, f64)]) -> Vec<[(Point, f64); 2]> {
    let mut sorted = data.to_vec();
    sorted.sort_by(|a, b| a.0.volume_fraction.total_cmp(&b.0.volume_fraction).then(a.1.total_cmp(&b.1)));
    let groups = sorted.chunk_by(|a, b| a.0.volume_fraction == b.0.volume_fraction);
    groups.map(|g| [g[0], g[g.len() - 1]]).collect()
}

/// d ln γ̇/d ln σ, the inverse slope of the flow curve; negative where the branch is unstable.
///
/// With F = e⁻ˣ and Δ = φ_0 − φ_m: 1 − αφΔβxF/[φ_J(φ_J − φ)]. Checked by 40-digit differentiation.
pub fn inverse_slope(p: &[f64], point: Point) -> f64 {
    let Contacts { x, frictional: f, jamming, .. } = Contacts::at_stress(p, point.stress_pa);
    let phi = point.volume_fraction;
    1.0 - p[ALPHA] * phi * (p[0] - p[1]) * p[BETA] * x * f / (jamming * (jamming - phi))
}

/// Where thickening first turns discontinuous.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Smallest solid fraction whose flow curve has a vertical tangent, φ_DST.
    pub volume_fraction: f64,
    /// Stress at that tangent, Pa.
    pub stress_pa: f64,
}

/// Stresses at which the flow curve of a discontinuously thickening sample turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurningPoints {
    /// Where the rate has its maximum, Pa.
    pub maximum_pa: f64,
    /// Where it has its minimum beyond, Pa; none from φ_m on, where the rate falls to zero.
    pub minimum_pa: Option<f64>,
}

/// Where thickening first turns discontinuous; none unless αβ > 1 and φ_0 > φ_m > 0.
///
/// The root x_c of αβΔxe⁻ˣ = (φ_0 − Δe⁻ˣ)[αβ(1 − x) − 1]/2 on 0 < x < 1 − 1/(αβ) gives
/// φ_DST = 2φ_J/[1 + αβ(1 − x_c)] and σ = σ* x_c^(−1/β): the smallest φ for which [`inverse_slope`] has a zero.
pub fn discontinuous_onset(p: &[f64]) -> Option<Onset> {
    let (steepness, spread) = (p[ALPHA] * p[BETA], p[0] - p[1]);
    let meaningful = steepness > 1.0 && spread > 0.0 && p[1] > 0.0;
    if !meaningful {
        return None;
    }
    let excess = |x: f64| {
        let f = float::exp(-x);
        steepness * spread * x * f - (p[0] - spread * f) * (steepness * (1.0 - x) - 1.0) / 2.0
    };
    let x = crossing(0.0, 1.0 - 1.0 / steepness, |x| excess(x) < 0.0);
    let jamming = p[0] - spread * float::exp(-x);
    let volume_fraction = 2.0 * jamming / (1.0 + steepness * (1.0 - x));
    Some(Onset { volume_fraction, stress_pa: stress_at(p, x) })
}

/// Where `below` turns false between `low` and `high`, to the last bit.
fn crossing(mut low: f64, mut high: f64, below: impl Fn(f64) -> bool) -> f64 {
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low.min(high) || middle >= low.max(high) {
            return high;
        }
        if below(middle) { low = middle } else { high = middle }
    }
}

/// σ = σ* x^(−1/β), Pa.
fn stress_at(p: &[f64], x: f64) -> f64 {
    p[2] * float::pow(x, -1.0 / p[BETA])
}

/// Solid fraction whose flow curve turns at x = (σ*/σ)^β: φ = φ_J²/(φ_J + αβΔxe⁻ˣ), from [`inverse_slope`] = 0.
fn turning_fraction(p: &[f64], x: f64) -> f64 {
    let (spread, f) = (p[0] - p[1], float::exp(-x));
    let jamming = p[0] - spread * f;
    jamming * jamming / (jamming + p[ALPHA] * p[BETA] * spread * x * f)
}

/// Largest x that is looked at: e⁻ˣ has no digit left beside 1.
const LARGEST_X: f64 = 40.0;

/// Stresses (Pa) at which the rate has its maximum and then its minimum as the stress rises.
///
/// None below the onset of discontinuous thickening and from φ_0 on. From φ_m on the rate falls to zero and has no
/// minimum.
pub fn turning_points(p: &[f64], phi: f64) -> Option<TurningPoints> {
    let onset = discontinuous_onset(p)?;
    if !(phi > onset.volume_fraction && phi < p[0]) {
        return None;
    }
    let x = float::pow(p[2] / onset.stress_pa, p[BETA]);
    let up = crossing(x, LARGEST_X, |x| turning_fraction(p, x) < phi);
    let down = (phi < p[1]).then(|| crossing(x, 0.0, |x| turning_fraction(p, x) < phi));
    Some(TurningPoints { maximum_pa: stress_at(p, up), minimum_pa: down.map(|x| stress_at(p, x)) })
}

/// Stress (Pa) from which a solid fraction between φ_m and φ_0 is jammed: σ*[ln(Δ/(φ_0 − φ))]^(−1/β).
pub fn jamming_stress(p: &[f64], phi: f64) -> Option<f64> {
    (phi > p[1] && phi < p[0]).then(|| stress_at(p, float::ln((p[0] - p[1]) / (p[0] - phi))))
}

/// A border of the flow-state diagram: solid fraction and stress (Pa) along it, by rising solid fraction.
pub type Border = Vec<(f64, f64)>;

/// Points of a border.
const BORDER_POINTS: u16 = 120;

/// Borders of the flow-state diagram: of the rate's maximum, of its minimum (both from the onset of discontinuous
/// thickening), and of jamming; as far as x = (σ*/σ)^β lies between `least` and `largest`. Empty where there are none.
pub fn borders(p: &[f64], (least, largest): (f64, f64)) -> [Border; 3] {
    let grid = |from: f64, to: f64, of: &dyn Fn(f64) -> f64| -> Border {
        let x = |i: u16| from * float::pow(to / from, f64::from(i) / f64::from(BORDER_POINTS));
        (0..=BORDER_POINTS).map(x).map(|x| (of(x), stress_at(p, x))).collect()
    };
    let jamming = |x: f64| p[0] - (p[0] - p[1]) * float::exp(-x);
    let turning = |x: f64| turning_fraction(p, x);
    let none = Vec::new;
    let Some(Onset { stress_pa, .. }) = discontinuous_onset(p) else { return [none(), none(), none()] };
    let onset = float::pow(p[2] / stress_pa, p[BETA]);
    let up = if onset < largest { grid(onset, largest, &turning) } else { none() };
    let down = if onset > least { grid(onset, least, &turning) } else { none() };
    [up, down, grid(least, largest, &jamming)]
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    const TABLE: &str = include_str!("reference/wyart_cates_table.csv");
    const ONSETS: &str = include_str!("reference/wyart_cates_phi_dst.json");
    const TURNING_POINTS: &str = include_str!("reference/wyart_cates_turning_points.csv");

    /// Rows of a table as numbers by name of the column; what is no number is NaN.
    fn rows(text: &'static str) -> Vec<std::collections::BTreeMap<&'static str, f64>> {
        let mut lines = text.lines().filter(|l| !l.starts_with('#'));
        let head: Vec<&str> = lines.next().unwrap().split(',').collect();
        let number = |cell: &str| cell.parse().unwrap_or(f64::NAN);
        lines.map(|l| head.iter().copied().zip(l.split(',').map(number)).collect()).collect()
    }

    #[test]
    fn agrees_with_the_table() {
        let rows = rows(TABLE);
        assert!(rows.len() > 100);
        for row in &rows {
            let p = [row["phi0"], row["phim"], 1.0, row["beta"], 1.0, row["alpha"]];
            let point = Point::at_stress(row["phi"], row["s_over_sstar"]);
            let Contacts { frictional: f, jamming, .. } = Contacts::at_stress(&p, point.stress_pa);
            // Twelve digits in the table.
            assert!((f - row["f"]).abs() <= 1e-11 * row["f"].max(1e-300), "{row:?}");
            assert!((jamming / row["phiJ"] - 1.0).abs() < 1e-11, "{row:?}");
            let ln = WyartCates.ln_viscosity(&p, point);
            if row["eta_r"].is_finite() {
                // The solid fraction is printed with ten digits, which the nearness of jamming magnifies.
                let by_fraction = WyartCates.derivatives(&p, point, &mut [0.0; 6]);
                assert!((ln.exp() / row["eta_r"] - 1.0).abs() < 1e-11 + 1e-10 * by_fraction, "{row:?}");
                let got = inverse_slope(&p, point);
                let allowed = (1e-11 + 1e-10 * by_fraction) * (1.0 + (1.0 - got).abs());
                assert!((got - row["inv_slope"]).abs() < allowed, "{row:?}");
            } else {
                assert!(!ln.is_finite(), "{row:?}");
            }
        }
    }

    #[test]
    fn discontinuous_thickening_begins_where_it_was_computed() {
        let reference: serde_json::Value = serde_json::from_str(ONSETS).unwrap();
        for (name, set) in reference["sets"].as_object().unwrap() {
            let of = |key: &str| set[key].as_f64().unwrap();
            let p = [of("phi0"), of("phim"), 1.0, of("beta"), 1.0, of("alpha")];
            let Onset { volume_fraction: phi, stress_pa: stress } = discontinuous_onset(&p).unwrap();
            assert!((phi / of("phi_DST") - 1.0).abs() < 1e-12, "{name}: {phi}");
            // The root is flat to first order: half the digits.
            assert!((stress / of("s_c_over_sstar") - 1.0).abs() < 1e-10, "{name}: {stress}");
            assert!(inverse_slope(&p, Point::at_stress(phi, stress)).abs() < 1e-9);
        }
        assert_eq!(discontinuous_onset(&[0.64, 0.56, 1.0, 0.4, 1.0, 2.0]), None, "αβ < 1");
        assert_eq!(discontinuous_onset(&[0.56, 0.64, 1.0, 1.0, 1.0, 2.0]), None, "φ_m > φ_0");
    }

    #[test]
    fn turning_points_and_jamming_are_where_they_were_computed() {
        let reference: serde_json::Value = serde_json::from_str(ONSETS).unwrap();
        let text: Vec<&str> = TURNING_POINTS.lines().filter(|l| !l.starts_with('#')).collect();
        let mut checked = [0; 3];
        // Ten digits in the table.
        let near = |got: Option<f64>, want: f64| match got {
            Some(got) => (got / want - 1.0).abs() < 1e-8,
            None => want.is_nan(),
        };
        // At the onset itself the two points are one, and ten digits do not tell on which side the fraction lies.
        let all = rows(TURNING_POINTS);
        for (row, line) in all.iter().zip(&text[1..]).filter(|(_, line)| !line.contains("onset")) {
            let set = &reference["sets"][line.split(',').next().unwrap()];
            let of = |key: &str| set[key].as_f64().unwrap();
            let p = [of("phi0"), of("phim"), 1.0, of("beta"), 1.0, of("alpha")];
            let points = turning_points(&p, row["phi"]);
            let got = [points.map(|t| t.maximum_pa), points.and_then(|t| t.minimum_pa), jamming_stress(&p, row["phi"])];
            for (k, want) in ["s_up", "s_down", "s_jam"].into_iter().enumerate() {
                assert!(near(got[k], row[want]), "{line}: {want} {got:?}");
                checked[k] += usize::from(row[want].is_finite());
            }
        }
        assert!(checked.iter().all(|c| *c >= 2), "{checked:?}");
    }

    #[test]
    fn borders_are_where_the_slope_turns_and_where_it_jams() {
        let p = [0.64, 0.56, 3.0, 0.9, 1.0, 2.0];
        let [up, down, jamming] = borders(&p, (0.02, 20.0));
        for (phi, stress_pa) in up.iter().chain(&down) {
            // The last digit of the solid fraction counts by the inverse of its distance to jamming.
            let lost = 4.0 * f64::EPSILON / (Contacts::at_stress(&p, *stress_pa).jamming - phi);
            assert!(inverse_slope(&p, Point::at_stress(*phi, *stress_pa)).abs() < 1e-9 + lost, "{phi} {stress_pa}");
        }
        for (phi, stress_pa) in &jamming {
            assert!((Contacts::at_stress(&p, *stress_pa).jamming - phi).abs() < 1e-14);
        }
        assert!([&up, &down].iter().all(|b| b.windows(2).all(|w| w[0].0 < w[1].0)), "by rising solid fraction");
        assert!((up[0].0 - discontinuous_onset(&p).unwrap().volume_fraction).abs() < 1e-12 && up[0] == down[0]);
    }

    #[test]
    fn limits() {
        let p = [0.64, 0.56, 10.0, 0.9, 1.3, 2.0];
        let at = |phi, stress_pa| WyartCates.ln_viscosity(&p, Point::at_stress(phi, stress_pa));
        let law = |packing: f64| (1.3f64).ln() - 2.0 * (1.0 - 0.5 / packing).ln();
        assert!((at(0.5, 1e-9) - law(0.64)).abs() < 1e-12);
        assert!((at(0.5, 1e12) - law(0.56)).abs() < 1e-6);
        assert!((Contacts::at_stress(&p, 10.0).frictional - (-1f64).exp()).abs() < 1e-15);
        assert!(!at(0.6, 1e12).is_finite(), "jammed with friction");
        assert!(!at(0.65, 1e-9).is_finite(), "jammed without");
    }

    #[test]
    fn derivatives_are_right() {
        for stress_pa in [0.5, 10.0, 200.0] {
            let point = Point::at_stress(0.52, stress_pa);
            super::super::check::derivatives(&WyartCates, &[0.64, 0.56, 10.0, 0.9, 1.3, 2.1], point);
        }
    }

    #[test]
    fn guesses_lie_above_the_data_and_near_the_truth() {
        let truth = [0.64, 0.57, 6.0, 1.0, 1.0, 2.0];
        let mut data = Vec::new();
        for volume_fraction in [0.48, 0.52, 0.55] {
            for stress_pa in [0.1, 1.0, 10.0, 100.0, 1000.0] {
                let point = Point::at_stress(volume_fraction, stress_pa);
                data.push((point, WyartCates.ln_viscosity(&truth, point)));
            }
        }
        let start = &WyartCates.starts(&data)[0];
        assert!((start[0] - 0.64).abs() < 0.02 && (start[1] - 0.57).abs() < 0.02, "{start:?}");
        assert!(WyartCates.starts(&[]).is_empty());
    }
}
