//! A plotters backend that writes fine-grained SVG: one backend unit is 1/100 pt, coordinates are exact decimals, and
//! labels may hold sub- and superscripts and italics. Same drawing, same bytes. It knows nothing of axes or data.

use plotters::style::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind, FontTransform,
};
use std::convert::Infallible;
use std::fmt::Write;

/// Backend units per pt.
pub const UNIT: f64 = 100.0;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// The backend; text is written to the string it was made with.
#[derive(Debug)]
pub struct FineSvg<'a> {
    out: &'a mut String,
    size: (u32, u32),
    open: bool,
    /// A filled circle that waits for its outline, so that both become one element: place, radius, fill.
    disc: Option<(BackendCoord, u32, String)>,
}

impl<'a> FineSvg<'a> {
    /// A picture of `width` × `height` pt; `title` is its accessible name.
    pub fn new(out: &'a mut String, width: f64, height: f64, title: &str) -> Self {
        let size = ((width * UNIT).round() as u32, (height * UNIT).round() as u32);
        let (w, h) = (hundredths(size.0 as i32), hundredths(size.1 as i32));
        out.push_str("<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" ");
        out.push_str(&format!("width=\"{w}pt\" height=\"{h}pt\" viewBox=\"0 0 {w} {h}\" stroke-linejoin=\"round\">\n"));
        out.push_str(&format!("<title>{}</title>\n", escaped(title)));
        Self { out, size, open: true, disc: None }
    }

    fn element(&mut self, text: &str) {
        self.settle();
        self.out.push_str(text);
        self.out.push('\n');
    }

    /// Writes the circle that waits, without outline.
    fn settle(&mut self) {
        if let Some((center, radius, fill)) = self.disc.take() {
            self.circle(center, radius, &fill);
        }
    }

    fn circle(&mut self, center: BackendCoord, radius: u32, look: &str) {
        let (x, y, r) = (hundredths(center.0), hundredths(center.1), hundredths(radius as i32));
        self.out.push_str(&format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {look}/>\n"));
    }
}

/// Pictures of one width and their heights, pt, below each other in one file. Each stays a picture of its own between
/// marks, so that what shows the file may part it there.
pub fn stacked(rows: &[(String, f64)], width: f64, title: &str) -> String {
    let whole = |pt: f64| hundredths((pt * UNIT).round() as i32);
    let mut out = String::new();
    FineSvg::new(&mut out, width, rows.iter().map(|row| row.1).sum(), title);
    out.push_str("<!--row-->\n");
    let mut top = 0.0;
    for (row, height) in rows {
        // Inside another picture a length in pt would count as 4/3 of the units that the picture is drawn in.
        let inner = row.replacen("pt\" ", "\" ", 2);
        out.push_str(&inner.replacen("<svg ", &format!("<svg y=\"{}\" ", whole(top)), 1));
        out.push_str("<!--row-->\n");
        top += height;
    }
    out.push_str("</svg>\n");
    out
}

/// Points as SVG wants them; a point equal to the one before adds nothing.
fn points(path: impl IntoIterator<Item = BackendCoord>) -> String {
    let (mut text, mut last) = (String::new(), None);
    for p in path {
        if last != Some(p) {
            let space = if text.is_empty() { "" } else { " " };
            text.push_str(&format!("{space}{},{}", hundredths(p.0), hundredths(p.1)));
        }
        last = Some(p);
    }
    text
}

/// A whole number of 1/100 pt as the shortest decimal text.
fn hundredths(v: i32) -> String {
    let (sign, a) = (if v < 0 { "-" } else { "" }, v.unsigned_abs());
    match (a / 100, a % 100) {
        (whole, 0) => format!("{sign}{whole}"),
        (whole, part) if part.is_multiple_of(10) => format!("{sign}{whole}.{}", part / 10),
        (whole, part) => format!("{sign}{whole}.{part:02}"),
    }
}

/// Escapes XML and drops the control characters that XML 1.0 forbids.
fn escaped(text: &str) -> String {
    let allowed = |c: &char| !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}');
    text.chars().filter(allowed).fold(String::new(), |mut out, c| {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
        out
    })
}

/// `name="#rrggbb"`, with `name-opacity` where it is not opaque.
fn paint(name: &str, c: BackendColor) -> String {
    let opacity = if c.alpha < 1.0 { format!(" {name}-opacity=\"{:.3}\"", c.alpha) } else { String::new() };
    format!("{name}=\"#{:02x}{:02x}{:02x}\"{opacity}", c.rgb.0, c.rgb.1, c.rgb.2)
}

/// Where a piece of a label stands.
#[derive(Clone, Copy, PartialEq)]
enum Level {
    Line,
    Above,
    Below,
}

/// Writes the pieces of a label as `<tspan>`; keeps the baseline shift, which SVG adds up.
struct Pieces {
    out: String,
    size: f64,
    shift: f64,
}

impl Pieces {
    // Raised by 0.36 em and lowered by 0.18 em at 70 % size: common practice of typesetting.
    fn push(&mut self, text: &str, level: Level, italic: bool) {
        if text.is_empty() {
            return;
        }
        let (wanted, size) = match level {
            Level::Line => (0.0, self.size),
            Level::Above => (-0.36 * self.size, 0.70 * self.size),
            Level::Below => (0.18 * self.size, 0.70 * self.size),
        };
        let dy = ((wanted - self.shift) * UNIT).round() as i32;
        self.shift = wanted;
        let style = if italic { " font-style=\"italic\"" } else { "" };
        let size = hundredths((size * UNIT).round() as i32);
        let _ = write!(self.out, "<tspan dy=\"{}\" font-size=\"{size}\"{style}>", hundredths(dy));
        self.out.push_str(&escaped(text));
        self.out.push_str("</tspan>");
    }
}

/// Labels of our own: `^{above}`, `_{below}`, `*italic*`, `\` before a character that is meant as it is.
fn rich(label: &str, size: f64) -> String {
    let mut pieces = Pieces { out: String::new(), size, shift: 0.0 };
    let (mut text, mut level, mut italic) = (String::new(), Level::Line, false);
    let mut rest = label.chars().peekable();
    while let Some(c) = rest.next() {
        let (next_level, next_italic) = match c {
            '*' => (level, !italic),
            '^' if rest.next_if_eq(&'{').is_some() => (Level::Above, italic),
            '_' if rest.next_if_eq(&'{').is_some() => (Level::Below, italic),
            '}' if level != Level::Line => (Level::Line, italic),
            '\\' => {
                text.extend(rest.next());
                continue;
            }
            c => {
                text.push(c);
                continue;
            }
        };
        pieces.push(&text, level, italic);
        text.clear();
        (level, italic) = (next_level, next_italic);
    }
    pieces.push(&text, level, italic);
    pieces.out
}

/// Text of the user as a label that shows it as it is.
pub fn literal(text: &str) -> String {
    text.chars().flat_map(|c| "\\*^_{}".contains(c).then_some('\\').into_iter().chain([c])).collect()
}

impl DrawingBackend for FineSvg<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        if std::mem::take(&mut self.open) {
            self.element("</svg>");
        }
        Ok(())
    }

    /// Nothing that we draw is made of pixels.
    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, style: &S) -> Drawn {
        self.draw_path([a, b], style)
    }

    fn draw_rect<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, style: &S, fill: bool) -> Drawn {
        let path = [a, (b.0, a.1), b, (a.0, b.1), a];
        if fill { self.fill_polygon(path, style) } else { self.draw_path(path, style) }
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        if style.color().alpha > 0.0 {
            let (stroke, width) = (paint("stroke", style.color()), hundredths(style.stroke_width() as i32));
            let points = points(path);
            self.element(&format!("<polyline fill=\"none\" {stroke} stroke-width=\"{width}\" points=\"{points}\"/>"));
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        self.element(&format!("<polygon {} points=\"{}\"/>", paint("fill", style.color()), points(path)));
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(&mut self, center: BackendCoord, radius: u32, style: &S, fill: bool) -> Drawn {
        if fill {
            self.settle();
            self.disc = Some((center, radius, paint("fill", style.color())));
            return Ok(());
        }
        let inside = self.disc.take_if(|disc| (disc.0, disc.1) == (center, radius)).map(|disc| disc.2);
        self.settle();
        let inside = inside.as_deref().unwrap_or("fill=\"none\"");
        let (stroke, width) = (paint("stroke", style.color()), hundredths(style.stroke_width() as i32));
        self.circle(center, radius, &format!("{inside} {stroke} stroke-width=\"{width}\""));
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let (color, size) = (paint("fill", style.color()), style.size() / UNIT);
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        // Height of capitals and depth of the face in em, so that text is centred by what is seen of it.
        let drop = match style.anchor().v_pos {
            VPos::Top => 0.70,
            VPos::Center => 0.33,
            VPos::Bottom => -0.10,
        };
        let (x, y) = (hundredths(at.0), hundredths(at.1 + (drop * size * UNIT).round() as i32));
        let turn = match style.transform() {
            FontTransform::Rotate90 => 90,
            FontTransform::Rotate180 => 180,
            FontTransform::Rotate270 => 270,
            FontTransform::None => 0,
        };
        // The drop is along the turned text: it is applied first, the rotation is about the anchor.
        let turned = format!(" transform=\"rotate({turn} {} {})\"", hundredths(at.0), hundredths(at.1));
        let turned = if turn == 0 { "" } else { &turned };
        let family = escaped(style.family().as_str());
        let font_size = hundredths((size * UNIT).round() as i32);
        self.element(&format!(
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" font-family=\"{family}\" font-size=\"{font_size}\" \
             {color}{turned}>{}</text>",
            rich(text, size)
        ));
        Ok(())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_exact_and_short() {
        assert_eq!([0, 5, -50, 1234, 1200].map(hundredths), ["0", "0.05", "-0.5", "12.34", "12"]);
    }

    #[test]
    fn text_of_the_user_comes_out_as_it_is() {
        let hostile = "a*b*_{c}^{d}\\ <e> & \"f\"\u{1}";
        let out = rich(&literal(hostile), 8.0);
        assert_eq!(out, "<tspan dy=\"0\" font-size=\"8\">a*b*_{c}^{d}\\ &lt;e&gt; &amp; &quot;f&quot;</tspan>");
    }

    #[test]
    fn a_picture_in_a_picture_keeps_its_size() {
        let mut row = String::new();
        FineSvg::new(&mut row, 50.5, 20.0, "r").present().unwrap();
        let whole = stacked(&[(row.clone(), 20.0), (row, 20.0)], 50.5, "all");
        assert!(
            whole
                .starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"50.5pt\" height=\"40pt\"")
        );
        let second = whole.lines().find(|line| line.starts_with("<svg y=\"20\"")).unwrap();
        assert!(second.contains("width=\"50.5\" height=\"20\" viewBox=\"0 0 50.5 20\""), "{second}");
    }

    #[test]
    fn a_circle_and_its_outline_are_one_element() {
        use plotters::style::{Color, RGBColor, ShapeStyle};
        let mut out = String::new();
        let mut svg = FineSvg::new(&mut out, 10.0, 10.0, "");
        let line = ShapeStyle { color: RGBColor(255, 0, 0).into(), filled: false, stroke_width: 50 };
        svg.draw_circle((100, 100), 80, &RGBColor(255, 255, 255).filled(), true).unwrap();
        svg.draw_circle((100, 100), 80, &line, false).unwrap();
        svg.draw_circle((200, 100), 80, &RGBColor(0, 0, 255).mix(0.5).filled(), true).unwrap();
        svg.draw_circle((300, 100), 80, &line, false).unwrap();
        svg.present().unwrap();
        let circles: Vec<&str> = out.lines().filter(|line| line.starts_with("<circle")).collect();
        assert_eq!(
            circles[0],
            r##"<circle cx="1" cy="1" r="0.8" fill="#ffffff" stroke="#ff0000" stroke-width="0.5"/>"##
        );
        assert_eq!(circles[1], r##"<circle cx="2" cy="1" r="0.8" fill="#0000ff" fill-opacity="0.500"/>"##);
        assert_eq!(circles[2], r##"<circle cx="3" cy="1" r="0.8" fill="none" stroke="#ff0000" stroke-width="0.5"/>"##);
    }

    #[test]
    fn levels_return_to_the_line() {
        let out = rich("10^{−3} *η*", 10.0);
        assert!(out.contains("dy=\"-3.6\" font-size=\"7\">−3<") && out.contains("dy=\"3.6\" font-size=\"10\"> <"));
        assert!(out.contains("font-style=\"italic\">η<"));
    }
}
