//! The atlas: every reversal of a sample in a small panel of its own, in rows between which the document may part it.

use super::axes::Axis;
use super::captions;
use super::legend::shortened;
use super::panel::{Area, DrawError, Drawn, Labels, Panel, Place, write};
use super::style::{CONTACT, GREY, INK, Series, Shape, TOTAL, TWO_COLUMNS, pen, units};
use super::svg::{literal, stacked};
use super::typical::trace_table;
use super::{Caption, Figure, nothing, picture};
use crate::tables::reversals::contact_share;
use plotters::style::text_anchor::{HPos, VPos};
use stages::numerics::normal::Z_95;
use stages::reversal::result::{After, Grade};
use stages::states::result::StudyReversal;

const COLUMNS: usize = 4;
/// Height of a row, pt: lettering, frame, tick labels. Seven of them fill a page.
const ROW: f64 = 102.0;
const LEFT: f64 = 24.0;
const STEP: f64 = (TWO_COLUMNS - LEFT) / COLUMNS as f64;
/// Lettering of an atlas, pt.
const SMALL: f64 = 7.0;

const TRACE: Series = Series { color: TOTAL, shape: Shape::Circle };
const AT_ZERO: Series = Series { color: CONTACT, shape: Shape::Diamond };

/// Draws all reversals of a sample that have a trace, in the order of the table; `reversals` may hold those of others.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(sample: &str, reversals: &[StudyReversal]) -> Result<Figure, DrawError> {
    let rows: Vec<&StudyReversal> = reversals.iter().filter(|r| r.identity.sample == sample).collect();
    let traced: Vec<(&StudyReversal, &After)> =
        rows.iter().filter_map(|r| Some((*r, r.graded.read.after.as_ref()?))).collect();
    let data = trace_table(&traced);
    let title = captions::atlas_title(sample);
    if rows.is_empty() {
        return nothing(&title, "no reversal was found in the runs of this sample", data);
    }
    if traced.is_empty() {
        return nothing(&title, "no reversal of this sample could be read", data);
    }
    let size = (TWO_COLUMNS, ROW * traced.len().div_ceil(COLUMNS) as f64);
    let strains = strain_range(&traced);
    let row = |(i, cells): (usize, &[(&StudyReversal, &After)])| {
        picture((TWO_COLUMNS, ROW), &format!("{title}, row {}", i + 1), |area| {
            cells.iter().enumerate().try_for_each(|(column, traced)| cell(area, column, *traced, strains))
        })
    };
    let pictures = traced.chunks(COLUMNS).enumerate().map(row).collect::<Result<Vec<_>, _>>()?;
    let svg = stacked(&pictures.into_iter().map(|p| (p, ROW)).collect::<Vec<_>>(), TWO_COLUMNS, &title);
    let (text, alt) = captions::atlas(sample, &rows);
    let caption = Caption { text, alt, empty: None, width: size.0, height: size.1, row: Some(ROW) };
    Ok(Figure { svg, data, caption })
}

/// One strain range for all panels; what lies outside is cut.
fn strain_range(traced: &[(&StudyReversal, &After)]) -> (f64, f64) {
    let strains = || traced.iter().flat_map(|(_, a)| &a.bins).map(|b| b.0).filter(|s| *s > 0.0);
    let (low, high) = (strains().fold(f64::INFINITY, f64::min), strains().fold(0.0, f64::max));
    // Air on both sides, so that the outer tick labels of neighbours do not meet.
    if high > 0.0 { (low.max(1e-4) / 2.5, 1.3 * high) } else { (0.0008, 8.0) }
}

fn cell(area: &Area<'_>, column: usize, traced: (&StudyReversal, &After), strains: (f64, f64)) -> Drawn {
    let (reversal, after) = traced;
    let left = LEFT + STEP * column as f64;
    let place = Place { left, top: 19.0, width: STEP - 8.0, height: 66.0 };
    heading(area, place, reversal)?;
    let x = Axis::log(strains.0, strains.1, "");
    let mut panel = Panel::new(area, place, x, Axis::linear(0.0, 1.25, ""))?;
    panel.labels = Labels { left: column == 0, axes: false, tick: SMALL };
    panel.shade(0.0, reversal.graded.read.dead.first_usable(), GREY)?;
    panel.level(1.0, pen(GREY, 0.4))?;
    trace(&mut panel, reversal, after, strains.0)?;
    panel.frame("")
}

/// Name and grade, then where it comes from.
fn heading(area: &Area<'_>, place: Place, reversal: &StudyReversal) -> Drawn {
    let line = |text: &str, up: f64| {
        let at = (units(place.left), units(place.top - up));
        write(area, &literal(&shortened(text, 36)), at, SMALL, (HPos::Left, VPos::Bottom))
    };
    let set_point = reversal.set_point.as_deref().unwrap_or("no set-point");
    line(&format!("{}  {set_point}", reversal.reversal), 9.5)?;
    let identity = &reversal.identity;
    let repeat = identity.repeat.as_ref().map_or_else(String::new, |r| format!(", repeat {r}"));
    let sample = shortened(&identity.sample, 16);
    line(&format!("{sample}, loading {}{repeat}", shortened(&identity.loading, 16)), 1.5)?;
    let at = (units(place.left + place.width), units(place.top - 9.5));
    let grade = match reversal.graded.grade {
        grade if reversal.graded.resolved || grade == Grade::F => grade.name().to_owned(),
        grade => format!("{}, not resolved", grade.name()),
    };
    write(area, &grade, at, SMALL, (HPos::Right, VPos::Bottom))
}

fn trace(panel: &mut Panel<'_, '_>, reversal: &StudyReversal, after: &After, first: f64) -> Drawn {
    let bins: Vec<_> = after.bins.iter().map(|b| (b.0, b.1)).collect();
    // The line is thin, so that circles and what they miss of it are both seen.
    panel.cloud(&bins, TRACE, 1.1)?;
    panel.curve(&after.curve, pen(INK, 0.35))?;
    if let Some(share) = contact_share(reversal) {
        let zero = 1.0 - share.value;
        // On the left edge, where the log axis ends.
        panel.bar(first, zero - Z_95 * share.u, zero + Z_95 * share.u, pen(AT_ZERO.color, 0.9))?;
        panel.marker((first, zero), AT_ZERO, true, 2.0)?;
    }
    Ok(())
}
