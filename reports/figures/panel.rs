//! One panel of a figure: a frame with ticks, and what may be drawn in it, clipped to it. It knows no results.

use super::axes::Axis;
use super::style::{Dash, FACE, INK, LABEL, NOTE, Series, Shape, TICK, pen, units};
use super::svg::{FineSvg, UNIT};
use super::thin;
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{
    Cartesian2d, ChartBuilder, ChartContext, Circle, Color, DrawingArea, FontTransform, IntoFont, PathElement, Polygon,
    RGBColor, Rectangle, ShapeStyle, Text,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// The whole picture.
pub type Area<'a> = DrawingArea<FineSvg<'a>, Shift>;

/// What a drawing can end with; always a mistake in the program.
#[derive(Debug)]
pub struct DrawError(String);

impl<E: std::error::Error + Send + Sync> From<plotters::drawing::DrawingAreaErrorKind<E>> for DrawError {
    fn from(e: plotters::drawing::DrawingAreaErrorKind<E>) -> Self {
        Self(e.to_string())
    }
}

impl From<DrawError> for Vec<pipeline::diagnostic::Diagnostic> {
    fn from(e: DrawError) -> Self {
        pipeline::stage::mistake(format!("figure: {}", e.0))
    }
}

/// Whether something could be drawn.
pub type Drawn = Result<(), DrawError>;

/// Place of a frame in the picture, pt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// Writes `text` (markup of `svg.rs`) at a place in backend units.
pub fn write(area: &Area<'_>, text: &str, at: (i32, i32), size: f64, anchor: (HPos, VPos)) -> Drawn {
    let style = (FACE, size * UNIT).into_font().color(&INK).pos(Pos::new(anchor.0, anchor.1));
    Ok(area.draw(&Text::new(text.to_owned(), at, style))?)
}

fn write_upwards(area: &Area<'_>, text: &str, at: (i32, i32), size: f64) -> Drawn {
    let font = (FACE, size * UNIT).into_font().transform(FontTransform::Rotate270);
    let style = font.color(&INK).pos(Pos::new(HPos::Center, VPos::Bottom));
    Ok(area.draw(&Text::new(text.to_owned(), at, style))?)
}

/// A frame and the coordinates in it.
pub struct Panel<'a, 'b> {
    area: &'a Area<'b>,
    chart: ChartContext<'a, FineSvg<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>,
    place: Place,
    x: Axis,
    y: Axis,
    /// Which axes carry tick labels and axis labels.
    pub labels: Labels,
}

/// What is written beside the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Labels {
    /// Tick labels on the left.
    pub left: bool,
    /// Axis labels; without them the caption must name the axes.
    pub axes: bool,
    /// Size of tick labels, pt.
    pub tick: f64,
}

impl Default for Labels {
    fn default() -> Self {
        Self { left: true, axes: true, tick: TICK }
    }
}

impl<'a, 'b> Panel<'a, 'b> {
    /// An empty panel; draw first what lies below, then [`Self::frame`].
    ///
    /// # Errors
    /// If the place lies outside the picture.
    pub fn new(area: &'a Area<'b>, place: Place, x: Axis, y: Axis) -> Result<Self, DrawError> {
        let size = (units(place.width) as u32, units(place.height) as u32);
        let cell = area.clone().shrink((units(place.left), units(place.top)), size);
        let chart = ChartBuilder::on(&cell).build_cartesian_2d(x.lo..x.hi, y.lo..y.hi)?;
        Ok(Self { area, chart, place, x, y, labels: Labels::default() })
    }

    /// A point in coordinates; none where it has no place on a log axis.
    fn point(&self, (x, y): (f64, f64)) -> Option<(f64, f64)> {
        let p = (self.x.at(x), self.y.at(y));
        (p.0.is_finite() && p.1.is_finite()).then_some(p)
    }

    fn pixel(&self, p: (f64, f64)) -> (i32, i32) {
        self.chart.plotting_area().map_coordinate(&p)
    }

    /// A curve through values, cut at the frame; points without a place interrupt it.
    pub fn curve(&mut self, values: &[(f64, f64)], style: ShapeStyle) -> Drawn {
        self.dashed(values, &[], style)
    }

    /// The same with dashes.
    pub fn dashed(&mut self, values: &[(f64, f64)], dash: Dash, style: ShapeStyle) -> Drawn {
        let coordinates: Vec<_> = values.iter().map(|v| self.point(*v).unwrap_or((f64::NAN, f64::NAN))).collect();
        self.pieces(&coordinates, dash, style)
    }

    /// What of a path lies in the frame, without points that print does not resolve.
    fn pieces(&self, path: &[(f64, f64)], dash: Dash, style: ShapeStyle) -> Drawn {
        for piece in clip(path, &self.x, &self.y) {
            let pixels: Vec<_> = piece.into_iter().map(|p| self.pixel(p)).collect();
            dashed(self.area, &thin::path(&pixels), dash, style)?;
        }
        Ok(())
    }

    /// A horizontal guide at `y`.
    pub fn level(&mut self, y: f64, style: ShapeStyle) -> Drawn {
        let at = self.y.at(y);
        let pieces = clip(&[(self.x.lo, at), (self.x.hi, at)], &self.x, &self.y);
        self.chart.draw_series(pieces.into_iter().map(|p| PathElement::new(p, style)))?;
        Ok(())
    }

    /// A vertical guide at `x`.
    pub fn upright(&mut self, x: f64, style: ShapeStyle) -> Drawn {
        self.upright_dashed(x, &[], style)
    }

    /// The same with dashes.
    pub fn upright_dashed(&self, x: f64, dash: Dash, style: ShapeStyle) -> Drawn {
        let at = self.x.at(x);
        self.pieces(&[(at, self.y.lo), (at, self.y.hi)], dash, style)
    }

    /// Shades from `from` to `to`, over the whole height, as far as it lies in the frame.
    pub fn shade(&mut self, from: f64, to: f64, color: RGBColor) -> Drawn {
        // Zero and below have no place on a log axis and lie left of it.
        let inside = |v: f64| if v > 0.0 || !self.x.log { self.x.at(v).clamp(self.x.lo, self.x.hi) } else { self.x.lo };
        let (a, b) = (inside(from), inside(to));
        if b > a {
            let corners = [(a, self.y.lo), (b, self.y.hi)];
            self.chart.draw_series([Rectangle::new(corners, color.mix(0.14).filled())])?;
        }
        Ok(())
    }

    /// A band between two curves over the same abscissae, (x, low, high), rising in x.
    pub fn band(&mut self, values: &[(f64, f64, f64)], color: RGBColor) -> Drawn {
        let (x, y) = (&self.x, &self.y);
        // A low end at or below zero lies below every log axis.
        let below = |v: f64| Some(y.at(v)).filter(|v| v.is_finite()).unwrap_or(y.lo);
        let all =
            values.iter().map(|v| (x.at(v.0), below(v.1), y.at(v.2))).filter(|v| v.0.is_finite() && v.2.is_finite());
        let within = |v: (f64, f64, f64)| (v.0, v.1.clamp(y.lo, y.hi), v.2.clamp(y.lo, y.hi));
        let edges: Vec<_> = cut_across(&all.collect::<Vec<_>>(), x).into_iter().map(within).collect();
        let upper = edges.iter().map(|e| (e.0, e.2));
        let outline: Vec<_> = upper.chain(edges.iter().rev().map(|e| (e.0, e.1))).collect();
        if edges.len() > 1 {
            self.chart.draw_series([Polygon::new(outline, color.mix(0.18).filled())])?;
        }
        Ok(())
    }

    /// An error bar from `low` to `high` at `x`; an end that has no place runs to the frame.
    pub fn bar(&mut self, x: f64, low: f64, high: f64, style: ShapeStyle) -> Drawn {
        let end = |v: f64, open: f64| Some(self.y.at(v)).filter(|v| v.is_finite()).unwrap_or(open);
        let at = self.x.at(x);
        let pieces = clip(&[(at, end(low, self.y.lo)), (at, end(high, self.y.hi))], &self.x, &self.y);
        self.chart.draw_series(pieces.into_iter().map(|p| PathElement::new(p, style)))?;
        Ok(())
    }

    /// A horizontal error bar.
    pub fn bar_across(&mut self, y: f64, low: f64, high: f64, style: ShapeStyle) -> Drawn {
        let end = |v: f64, open: f64| Some(self.x.at(v)).filter(|v| v.is_finite()).unwrap_or(open);
        let at = self.y.at(y);
        let pieces = clip(&[(end(low, self.x.lo), at), (end(high, self.x.hi), at)], &self.x, &self.y);
        self.chart.draw_series(pieces.into_iter().map(|p| PathElement::new(p, style)))?;
        Ok(())
    }

    /// A marker, where it lies in the frame; open ones are filled with white.
    pub fn marker(&self, value: (f64, f64), look: Series, filled: bool, radius: f64) -> Drawn {
        match self.point(value).filter(|p| self.x.holds(p.0) && self.y.holds(p.1)) {
            Some(p) => mark(self.area, self.pixel(p), look, filled, radius),
            None => Ok(()),
        }
    }

    /// Open markers of many readings; one that would lie on another within what print resolves is left out.
    pub fn cloud(&self, values: &[(f64, f64)], look: Series, radius: f64) -> Drawn {
        let inside = |p: &(f64, f64)| self.x.holds(p.0) && self.y.holds(p.1);
        let pixels: Vec<_> =
            values.iter().filter_map(|v| self.point(*v)).filter(inside).map(|p| self.pixel(p)).collect();
        thin::cloud(&pixels, radius).into_iter().try_for_each(|p| mark(self.area, p, look, false, radius))
    }

    /// An arrow that starts at a value and points up or down: the value is a bound. It stands `aside` pt to the right.
    pub fn arrow(&self, value: (f64, f64), up: bool, aside: f64, style: ShapeStyle) -> Drawn {
        let Some(p) = self.point(value).filter(|p| self.x.holds(p.0) && self.y.holds(p.1)) else { return Ok(()) };
        let (x, y) = self.pixel(p);
        let x = x + units(aside);
        let way = if up { -1 } else { 1 };
        let tip = y + way * units(11.0);
        let bar = vec![(x - units(2.4), y), (x + units(2.4), y)];
        let head = vec![(x - units(1.8), tip - way * units(3.0)), (x, tip), (x + units(1.8), tip - way * units(3.0))];
        for path in [bar, vec![(x, y), (x, tip)], head] {
            self.area.draw(&PathElement::new(path, style))?;
        }
        Ok(())
    }

    /// A note beside a value, `dx` and `dy` pt away.
    pub fn note(&self, value: (f64, f64), (dx, dy): (f64, f64), text: &str, anchor: HPos) -> Drawn {
        match self.point(value) {
            Some(p) => {
                let (x, y) = self.pixel(p);
                write(self.area, text, (x + units(dx), y + units(dy)), NOTE, (anchor, VPos::Center))
            }
            None => Ok(()),
        }
    }

    /// Frame, ticks and labels over what was drawn; `tag` stands above the upper left corner, out of the data's way.
    pub fn frame(&self, tag: &str) -> Drawn {
        let edges = Edges::of(self.place);
        self.ticks_across(&edges)?;
        self.ticks_up(&edges)?;
        let Edges { left, top, right, bottom } = edges;
        let corners = vec![(left, top), (right, top), (right, bottom), (left, bottom), (left, top)];
        self.area.draw(&PathElement::new(corners, pen(INK, 0.5)))?;
        if self.labels.axes {
            let below = ((left + right) / 2, bottom + units(15.0));
            write(self.area, self.x.label, below, LABEL, (HPos::Center, VPos::Top))?;
            write_upwards(self.area, self.y.label, (left - units(29.0), (top + bottom) / 2), LABEL)?;
        }
        write(self.area, tag, (left, top - units(3.0)), LABEL, (HPos::Left, VPos::Bottom))
    }

    fn ticks_across(&self, edges: &Edges) -> Drawn {
        for tick in self.x.ticks() {
            let part = (tick.at - self.x.lo) / (self.x.hi - self.x.lo);
            let x = edges.left + (part * f64::from(edges.right - edges.left)).round() as i32;
            let long = units(if tick.label.is_some() { 3.0 } else { 1.6 });
            self.stroke((x, edges.bottom), (x, edges.bottom - long))?;
            self.stroke((x, edges.top), (x, edges.top + long))?;
            if let Some(text) = tick.label {
                let at = (x, edges.bottom + units(4.0));
                write(self.area, &text, at, self.labels.tick, (HPos::Center, VPos::Top))?;
            }
        }
        Ok(())
    }

    fn ticks_up(&self, edges: &Edges) -> Drawn {
        for tick in self.y.ticks() {
            let part = (tick.at - self.y.lo) / (self.y.hi - self.y.lo);
            let y = edges.bottom - (part * f64::from(edges.bottom - edges.top)).round() as i32;
            let long = units(if tick.label.is_some() { 3.0 } else { 1.6 });
            self.stroke((edges.left, y), (edges.left + long, y))?;
            self.stroke((edges.right, y), (edges.right - long, y))?;
            if let Some(text) = tick.label.filter(|_| self.labels.left) {
                let at = (edges.left - units(3.5), y);
                write(self.area, &text, at, self.labels.tick, (HPos::Right, VPos::Center))?;
            }
        }
        Ok(())
    }

    fn stroke(&self, a: (i32, i32), b: (i32, i32)) -> Drawn {
        Ok(self.area.draw(&PathElement::new(vec![a, b], pen(INK, 0.5)))?)
    }
}

/// Edges of a frame in backend units.
struct Edges {
    left: i32,
    top: i32,
    right: i32,
    bottom: i32,
}

impl Edges {
    fn of(place: Place) -> Self {
        let (left, top) = (units(place.left), units(place.top));
        Self { left, top, right: left + units(place.width), bottom: top + units(place.height) }
    }
}

/// A path in backend units, cut into dashes.
pub fn dashed(area: &Area<'_>, path: &[(i32, i32)], dash: Dash, style: ShapeStyle) -> Drawn {
    thin::dashes(path, dash).into_iter().try_for_each(|piece| Ok(area.draw(&PathElement::new(piece, style))?))
}

/// A marker at a place in backend units.
pub fn mark(area: &Area<'_>, (x, y): (i32, i32), look: Series, filled: bool, radius: f64) -> Drawn {
    let fill = if filled { look.color } else { RGBColor(255, 255, 255) };
    let line = pen(look.color, 0.8);
    if look.shape == Shape::Circle {
        area.draw(&Circle::new((x, y), units(radius), fill.filled()))?;
        return Ok(area.draw(&Circle::new((x, y), units(radius), line))?);
    }
    // Sizes that look equal to a circle: equal areas, roughly.
    let at = |dx: f64, dy: f64| (x + units(dx * radius), y + units(dy * radius));
    let mut corners = match look.shape {
        Shape::Square => vec![at(-0.9, -0.9), at(0.9, -0.9), at(0.9, 0.9), at(-0.9, 0.9)],
        Shape::Triangle => vec![at(0.0, -1.25), at(1.15, 0.8), at(-1.15, 0.8)],
        Shape::Diamond | Shape::Circle => vec![at(0.0, -1.3), at(1.3, 0.0), at(0.0, 1.3), at(-1.3, 0.0)],
    };
    area.draw(&Polygon::new(corners.clone(), fill.filled()))?;
    corners.push(corners[0]);
    Ok(area.draw(&PathElement::new(corners, line))?)
}

/// The part of a band that lies between the ends of an axis, its own ends interpolated there.
fn cut_across(values: &[(f64, f64, f64)], axis: &Axis) -> Vec<(f64, f64, f64)> {
    let mut out: Vec<(f64, f64, f64)> = Vec::new();
    for pair in values.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let (from, to) = (a.0.max(axis.lo), b.0.min(axis.hi));
        if from >= to {
            continue;
        }
        let at = |x: f64| {
            let t = (x - a.0) / (b.0 - a.0);
            (x, a.1 + t * (b.1 - a.1), a.2 + t * (b.2 - a.2))
        };
        if out.last().is_none_or(|last| last.0 < from) {
            out.push(at(from));
        }
        out.push(at(to));
    }
    out
}

/// Cuts a polyline at the frame (Liang & Barsky 1984); what is outside is left out, never moved to the edge.
fn clip(path: &[(f64, f64)], x: &Axis, y: &Axis) -> Vec<Vec<(f64, f64)>> {
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    for pair in path.windows(2) {
        let Some((a, b)) = inside(pair[0], pair[1], x, y) else { continue };
        match pieces.last_mut() {
            Some(piece) if piece.last() == Some(&a) => piece.push(b),
            _ => pieces.push(vec![a, b]),
        }
    }
    pieces
}

type Point = (f64, f64);

fn inside(a: Point, b: Point, x: &Axis, y: &Axis) -> Option<(Point, Point)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for (start, change, axis) in [(a.0, dx, x), (a.1, dy, y)] {
        if change == 0.0 {
            if !axis.holds(start) {
                return None;
            }
            continue;
        }
        let (p, q) = ((axis.lo - start) / change, (axis.hi - start) / change);
        from = from.max(p.min(q));
        to = to.min(p.max(q));
    }
    let at = |t: f64| if t == 1.0 { b } else { (a.0 + t * dx, a.1 + t * dy) };
    // Written so that a NaN in either end leaves the piece out.
    (from < to && dx.is_finite() && dy.is_finite()).then(|| (at(from), at(to)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_reaches_the_frame_and_no_further() {
        let band = [(-1.0, 0.0, 1.0), (1.0, 2.0, 3.0), (3.0, 2.0, 5.0)];
        let cut = cut_across(&band, &Axis::linear(0.0, 2.0, ""));
        assert_eq!(cut, [(0.0, 1.0, 2.0), (1.0, 2.0, 3.0), (2.0, 2.0, 4.0)]);
    }

    #[test]
    fn a_curve_that_leaves_the_frame_is_cut_not_bent() {
        let (x, y) = (Axis::linear(0.0, 10.0, ""), Axis::linear(0.0, 1.0, ""));
        let pieces = clip(&[(0.0, 0.5), (5.0, 1.5), (10.0, 0.5)], &x, &y);
        assert_eq!(pieces, [vec![(0.0, 0.5), (2.5, 1.0)], vec![(7.5, 1.0), (10.0, 0.5)]]);
        assert!(clip(&[(0.0, 2.0), (10.0, 2.0)], &x, &y).is_empty());
        assert_eq!(clip(&[(0.0, 0.5), (1.0, f64::NAN), (2.0, 0.5), (3.0, 0.5)], &x, &y).len(), 1);
    }
}
