//! One typical reversal: the binned trace, the fitted curve, what was left out, and what is read from it.

use super::axes::Axis;
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{CONTACT, GREY, INK, LIQUID, Series, Shape, TOTAL, TWO_COLUMNS, pen};
use super::{Caption, Figure, nothing, picture};
use crate::tables::reversals::contact_share;
use crate::text::captions;
use plotters::style::text_anchor::HPos;
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
    let best = peers.iter().map(|r| r.judged.grade).min()?;
    narrow(&mut peers, |r| r.judged.grade == best);
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
    !matches!(t.verdict, Verdict::NoThickening | Verdict::NotResolved)
}

fn bins(r: &StudyReversal) -> Option<&After> {
    r.judged.read.after.as_ref().filter(|a| !a.bins.is_empty())
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
    let size = (TWO_COLUMNS, 176.0);
    let svg = picture(size, title, |area| {
        let place = |left: f64| Place { left, top: 14.0, width: 200.0, height: 136.0 };
        let shown = Shown { reversal, after, share };
        shown.linear(area, place(42.0))?;
        shown.logarithmic(area, place(42.0 + 200.0 + 54.0))
    })?;
    let (text, alt) = captions::typical(chosen, share);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// Binned traces and fitted curves of reversals, one below the other.
pub fn trace_table(rows: &[(&StudyReversal, &After)]) -> Table {
    let mut lines: Vec<(&str, &str, f64, f64, Option<f64>)> = Vec::new();
    for (reversal, after) in rows {
        let name = reversal.reversal.as_str();
        lines.extend(after.bins.iter().map(|b| (name, "binned trace", b.0, b.1, Some(b.2))));
        lines.extend(after.curve.iter().map(|c| (name, "fitted curve", c.0, c.1, None)));
    }
    Table::new()
        .text("reversal", lines.iter().map(|l| Some(l.0.to_owned())))
        .text("series", lines.iter().map(|l| Some(l.1.to_owned())))
        .float("strain_since_reversal", lines.iter().map(|l| Some(l.2)))
        .float("viscosity_ratio", lines.iter().map(|l| Some(l.3)))
        .float("u_viscosity_ratio", lines.iter().map(|l| l.4))
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
        let half = 1.96 * self.share.u;
        panel.bar(0.0, zero - half, zero + half, pen(AT_ZERO.color, 0.9))?;
        panel.marker((0.0, zero), AT_ZERO, true, 2.6)?;
        panel.note((end, 1.0), (-4.0, -6.0), "before", HPos::Right)?;
        panel.frame("(a)")
    }

    fn logarithmic(&self, area: &Area<'_>, place: Place) -> Drawn {
        let first = self.after.bins.iter().map(|b| b.0).filter(|s| *s > 0.0).fold(f64::INFINITY, f64::min);
        let dead = self.reversal.judged.read.dead.first_usable();
        let low = if dead > 0.0 { dead.min(first) } else { first };
        // A third of a decade below the first strain, so that what was left out is seen.
        let low = (low / 2.0).max(1e-5);
        let x = Axis::log(low, self.strain_end().max(10.0 * low) * 1.1, "strain since reversal *γ*");
        let mut panel = Panel::new(area, place, x, self.ordinate())?;
        panel.shade(0.0, dead, GREY)?;
        self.below(&mut panel)?;
        let zero = 1.0 - self.share.value;
        panel.level(zero, pen(AT_ZERO.color, 0.7))?;
        panel.note((low, zero), (place.width - 4.0, 6.0), "zero strain", HPos::Right)?;
        panel.frame("(b)")
    }

    /// What both panels show: the value before, the trace with its bars, the curve, the minimum.
    fn below(&self, panel: &mut Panel<'_, '_>) -> Drawn {
        panel.level(1.0, pen(GREY, 0.5))?;
        for (strain, ratio, u) in &self.after.bins {
            panel.bar(*strain, ratio - u, ratio + u, pen(TRACE.color, 0.5))?;
            panel.marker((*strain, *ratio), TRACE, false, 1.5)?;
        }
        panel.curve(&smooth(&self.after.curve), pen(INK, 0.9))?;
        let before = self.reversal.judged.read.before.as_ref().map_or(f64::NAN, |b| b.viscosity_pa_s.value);
        panel.marker((self.after.strain_at_minimum, self.after.minimum_pa_s / before), AT_MINIMUM, true, 2.6)
    }
}

/// The curve as it was given, without points that have no number.
fn smooth(curve: &[(f64, f64)]) -> Vec<(f64, f64)> {
    curve.iter().copied().filter(|p| p.0.is_finite() && p.1.is_finite()).collect()
}
