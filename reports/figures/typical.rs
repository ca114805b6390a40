//! One typical reversal: the binned trace, the fitted curve, what was left out, what is read from it, and the residuals.

use super::axes::Axis;
use super::captions;
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{CONTACT, GREY, INK, LIQUID, Series, Shape, TOTAL, TWO_COLUMNS, pen};
use super::{Caption, Figure, nothing, picture};
use crate::tables::reversals::contact_share;
use plotters::style::text_anchor::HPos;
use stages::numerics::normal::Z_95;
use stages::reversal::result::{After, Estimate};
use stages::states::result::{States, StudyReversal, Thickening, Verdict};
use stages::table::Table;

const TRACE: Series = Series { color: TOTAL, shape: Shape::Circle };
const AT_ZERO: Series = Series { color: CONTACT, shape: Shape::Diamond };
const AT_MINIMUM: Series = Series { color: LIQUID, shape: Shape::Triangle };

/// The reversal that is shown, and which of how many it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen<'a> {
    /// The reversal.
    pub reversal: &'a StudyReversal,
    /// Its sample thickens.
    pub thickens: bool,
    /// It is at the upper end of the rise of its sample.
    pub at_high_end: bool,
    /// Reversals that it was chosen among.
    pub peers: usize,
}

/// Of the resolved reversals of the best grade, those of samples that thicken, and of these those at the upper end of
/// the rise, as far as there are such; then the one whose standard uncertainty is the median: neither the finest nor
/// the worst.
pub fn chosen(states: &States) -> Option<Chosen<'_>> {
    let thickens = |r: &StudyReversal| states.thickening.iter().find(|t| t.sample == r.identity.sample && rises(t));
    let high = |r: &StudyReversal| thickens(r).is_some_and(|t| t.set_point_high == r.set_point);
    let usable = |r: &&StudyReversal| !r.identity.control && contact_share(r).is_some() && bins(r).is_some();
    let mut peers: Vec<&StudyReversal> = states.reversals.iter().filter(usable).collect();
    narrow(&mut peers, |r| thickens(r).is_some());
    let best = peers.iter().map(|r| r.graded.grade).min()?;
    narrow(&mut peers, |r| r.graded.grade == best);
    narrow(&mut peers, high);
    let u = |r: &StudyReversal| contact_share(r).map_or(f64::INFINITY, |x| x.u);
    peers.sort_by(|a, b| u(a).total_cmp(&u(b)));
    let reversal = *peers.get((peers.len() - 1) / 2)?;
    let (thickens, at_high_end) = (thickens(reversal).is_some(), high(reversal));
    Some(Chosen { reversal, thickens, at_high_end, peers: peers.len() })
}

/// Keeps those that fit, if there are any.
fn narrow(reversals: &mut Vec<&StudyReversal>, fits: impl Fn(&StudyReversal) -> bool) {
    if reversals.iter().any(|r| fits(r)) {
        reversals.retain(|r| fits(r));
    }
}

fn rises(t: &Thickening) -> bool {
    !matches!(t.verdict(), Verdict::NoThickening | Verdict::NotResolved)
}

fn bins(r: &StudyReversal) -> Option<&After> {
    r.graded.read.after.as_ref().filter(|a| !a.bins.is_empty())
}

/// Draws the chosen reversal.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(states: &States) -> Result<Figure, DrawError> {
    let title = "A typical reversal";
    let found = chosen(states).and_then(|c| Some((c, bins(c.reversal)?, contact_share(c.reversal)?)));
    let Some((chosen, after, share)) = found else {
        let empty = trace_table(&[]);
        return nothing(title, "no reversal is resolved, so none can be shown as typical", empty);
    };
    let reversal = chosen.reversal;
    let data = trace_table(&[(reversal, after)]);
    let size = (TWO_COLUMNS, 250.0);
    let svg = picture(size, title, |area| {
        let place = |left: f64, top: f64, height: f64| Place { left, top, width: 200.0, height };
        let shown = Shown { reversal, after, share };
        let right = 42.0 + 200.0 + 54.0;
        shown.linear(area, place(42.0, 14.0, 210.0))?;
        shown.logarithmic(area, place(right, 14.0, 124.0))?;
        shown.residuals(area, place(right, 180.0, 44.0))
    })?;
    let (text, alt) = captions::typical(chosen, share);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// Trace less curve in units of the standard uncertainty of each bin: (strain, residual).
fn residuals(after: &After) -> Vec<(f64, f64)> {
    let residual = |b: &(f64, f64, f64)| Some((b.0, (b.1 - curve_at(&after.curve, b.0)?) / b.2));
    after.bins.iter().filter_map(residual).collect()
}

/// The curve at a strain, linear between its points and level beyond them; none of less than two points.
fn curve_at(curve: &[(f64, f64)], strain: f64) -> Option<f64> {
    let last = curve.len().checked_sub(1).filter(|last| *last > 0)?;
    let next = curve.partition_point(|p| p.0 < strain).clamp(1, last);
    let (a, b) = (curve[next - 1], curve[next]);
    Some(a.1 + (b.1 - a.1) * ((strain - a.0) / (b.0 - a.0)).clamp(0.0, 1.0))
}

/// Binned traces with their residuals, fitted curves and what is read from them, of reversals, one below the other.
pub fn trace_table(rows: &[(&StudyReversal, &After)]) -> Table {
    let lines: Vec<Line<'_>> = rows.iter().flat_map(|(reversal, after)| lines(reversal, after)).collect();
    Table::new()
        .text("reversal", lines.iter().map(|l| Some(l.reversal.to_owned())))
        .text("series", lines.iter().map(|l| Some(l.series.to_owned())))
        .float("strain_since_reversal", lines.iter().map(|l| Some(l.strain)))
        .float("viscosity_ratio", lines.iter().map(|l| l.ratio))
        .float("u_viscosity_ratio", lines.iter().map(|l| l.u))
        .float("residual_over_u", lines.iter().map(|l| l.residual))
}

/// A line of the table of what is drawn.
struct Line<'a> {
    reversal: &'a str,
    series: &'static str,
    strain: f64,
    ratio: Option<f64>,
    u: Option<f64>,
    residual: Option<f64>,
}

fn lines<'a>(reversal: &'a StudyReversal, after: &After) -> Vec<Line<'a>> {
    let name = reversal.reversal.as_str();
    let line =
        |series, strain, ratio: f64, u| Line { reversal: name, series, strain, ratio: Some(ratio), u, residual: None };
    let before = reversal.graded.read.before.as_ref().map(|b| b.viscosity_pa_s.value);
    let left = residuals(after);
    let residual = |strain: f64| left.iter().find(|r| r.0 == strain).map(|r| r.1);
    let bin = |b: &(f64, f64, f64)| Line { residual: residual(b.0), ..line("binned trace", b.0, b.1, Some(b.2)) };
    let mut out: Vec<Line<'a>> = after.bins.iter().map(bin).collect();
    out.extend(after.curve.iter().map(|c| line("fitted curve", c.0, c.1, None)));
    out.extend(contact_share(reversal).map(|x| line("value at zero strain", 0.0, 1.0 - x.value, Some(x.u))));
    out.extend(before.map(|b| line("minimum of the curve", after.strain_at_minimum, after.minimum_pa_s / b, None)));
    let (series, strain) = ("first strain that enters the value", reversal.graded.read.dead.first_usable());
    out.push(Line { reversal: name, series, strain, ratio: None, u: None, residual: None });
    out
}

struct Shown<'a> {
    reversal: &'a StudyReversal,
    after: &'a After,
    share: Estimate,
}

impl Shown<'_> {
    fn strain_end(&self) -> f64 {
        self.after.bins.iter().map(|b| b.0).fold(0.0, f64::max)
    }

    fn ordinate(&self) -> Axis {
        let ends = self.after.bins.iter().flat_map(|b| [b.1 - b.2, b.1 + b.2]);
        let ends = ends.filter(|v| (-0.5..2.0).contains(v)).chain([1.0 - self.share.value]);
        Axis::linear_around(ends, [0.0, 1.1], "viscosity *η*/*η*_{before}")
    }

    fn linear(&self, area: &Area<'_>, place: Place) -> Drawn {
        let end = 1.02 * self.strain_end();
        let x = Axis::linear(-0.04 * end, end, "strain since reversal *γ*");
        let mut panel = Panel::new(area, place, x, self.ordinate())?;
        self.below(&mut panel)?;
        let zero = 1.0 - self.share.value;
        // 95 % of a normal error.
        let half = Z_95 * self.share.u;
        panel.bar(0.0, zero - half, zero + half, pen(AT_ZERO.color, 0.9))?;
        panel.marker((0.0, zero), AT_ZERO, true, 2.6)?;
        panel.note((end, 1.0), (-4.0, -6.0), "before", HPos::Right)?;
        panel.frame("(a)")
    }

    fn logarithmic(&self, area: &Area<'_>, place: Place) -> Drawn {
        let mut panel = Panel::new(area, place, self.strains(), self.ordinate())?;
        panel.shade(0.0, self.dead(), GREY)?;
        self.below(&mut panel)?;
        let zero = 1.0 - self.share.value;
        panel.level(zero, pen(AT_ZERO.color, 0.7))?;
        panel.note((self.lowest(), zero), (place.width - 4.0, 6.0), "zero strain", HPos::Right)?;
        panel.frame("(b)")
    }

    /// What the curve leaves of the trace.
    fn residuals(&self, area: &Area<'_>, place: Place) -> Drawn {
        let left = residuals(self.after);
        let y = Axis::linear_around(left.iter().map(|r| r.1), [-2.0, 2.0], "residual/*u*");
        let mut panel = Panel::new(area, place, self.strains(), y)?;
        panel.shade(0.0, self.dead(), GREY)?;
        panel.level(0.0, pen(GREY, 0.5))?;
        panel.cloud(&left, TRACE, 1.3)?;
        panel.frame("(c)")
    }

    fn dead(&self) -> f64 {
        self.reversal.graded.read.dead.first_usable()
    }

    /// A third of a decade below the first strain, so that what was left out is seen.
    fn lowest(&self) -> f64 {
        let first = self.after.bins.iter().map(|b| b.0).filter(|s| *s > 0.0).fold(f64::INFINITY, f64::min);
        let low = if self.dead() > 0.0 { self.dead().min(first) } else { first };
        (low / 2.0).max(1e-5)
    }

    fn strains(&self) -> Axis {
        let low = self.lowest();
        Axis::log(low, self.strain_end().max(10.0 * low) * 1.1, "strain since reversal *γ*")
    }

    /// What both panels show: the value before, the trace with its bars, the curve, the minimum.
    fn below(&self, panel: &mut Panel<'_, '_>) -> Drawn {
        panel.level(1.0, pen(GREY, 0.5))?;
        for (strain, ratio, u) in &self.after.bins {
            panel.bar(*strain, ratio - u, ratio + u, pen(TRACE.color, 0.5))?;
            panel.marker((*strain, *ratio), TRACE, false, 1.5)?;
        }
        panel.curve(&smooth(&self.after.curve), pen(INK, 0.9))?;
        let before = self.reversal.graded.read.before.as_ref().map_or(f64::NAN, |b| b.viscosity_pa_s.value);
        panel.marker((self.after.strain_at_minimum, self.after.minimum_pa_s / before), AT_MINIMUM, true, 2.6)
    }
}

/// The curve as it was given, without points that have no number.
fn smooth(curve: &[(f64, f64)]) -> Vec<(f64, f64)> {
    curve.iter().copied().filter(|p| p.0.is_finite() && p.1.is_finite()).collect()
}

#[cfg(test)]
mod tests {
    use super::curve_at;

    #[test]
    fn a_curve_is_linear_between_its_points_and_level_beyond() {
        let curve = [(1.0, 0.0), (3.0, 1.0), (4.0, 5.0)];
        let at = [0.5, 1.0, 2.0, 3.5, 4.0, 4.5].map(|x| curve_at(&curve, x));
        assert_eq!(at, [0.0, 0.0, 0.5, 3.0, 5.0, 5.0].map(Some));
        assert_eq!((curve_at(&curve[..1], 1.0), curve_at(&[], 1.0)), (None, None));
    }
}
