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
}

impl<'a> FineSvg<'a> {
    /// A picture of `width` × `height` pt; `title` is its accessible name.
    pub fn new(out: &'a mut String, width: f64, height: f64, title: &str) -> Self {
        let size = ((width * UNIT).round() as u32, (height * UNIT).round() as u32);
        let (w, h) = (hundredths(size.0 as i32), hundredths(size.1 as i32));
        out.push_str("<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" ");
        out.push_str(&format!("width=\"{w}pt\" height=\"{h}pt\" viewBox=\"0 0 {w} {h}\">\n"));
        out.push_str(&format!("<title>{}</title>\n", escaped(title)));
        Self { out, size, open: true }
    }

    fn element(&mut self, text: &str) {
        self.out.push_str(text);
        self.out.push('\n');
    }
}

/// Pictures of one size below each other in one file. Each stays a picture of its own between marks, so that what
/// shows the file may part it there.
pub fn stacked(rows: &[String], (width, height): (f64, f64), title: &str) -> String {
    let whole = |pt: f64| hundredths((pt * UNIT).round() as i32);
    let mut out = String::new();
    let all = height * rows.len() as f64;
    FineSvg::new(&mut out, width, all, title);
    out.push_str("<!--row-->\n");
    for (i, row) in rows.iter().enumerate() {
        let placed = format!("<svg y=\"{}\" ", whole(height * i as f64));
        out.push_str(&row.replacen("<svg ", &placed, 1));
        out.push_str("<!--row-->\n");
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

fn paint(c: BackendColor) -> (String, String) {
    let opacity = if c.alpha < 1.0 { format!("{:.3}", c.alpha) } else { "1".to_owned() };
    (format!("#{:02x}{:02x}{:02x}", c.rgb.0, c.rgb.1, c.rgb.2), opacity)
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
        let (color, opacity) = paint(style.color());
        if style.color().alpha > 0.0 {
            let width = hundredths(style.stroke_width() as i32);
            self.element(&format!(
                "<polyline fill=\"none\" stroke=\"{color}\" stroke-opacity=\"{opacity}\" stroke-width=\"{width}\" \
                 stroke-linejoin=\"round\" points=\"{}\"/>",
                points(path)
            ));
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let (color, opacity) = paint(style.color());
        self.element(&format!("<polygon fill=\"{color}\" fill-opacity=\"{opacity}\" points=\"{}\"/>", points(path)));
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(&mut self, center: BackendCoord, radius: u32, style: &S, fill: bool) -> Drawn {
        let (color, opacity) = paint(style.color());
        let look = if fill {
            format!("fill=\"{color}\" fill-opacity=\"{opacity}\"")
        } else {
            format!("fill=\"none\" stroke=\"{color}\" stroke-width=\"{}\"", hundredths(style.stroke_width() as i32))
        };
        let (x, y, r) = (hundredths(center.0), hundredths(center.1), hundredths(radius as i32));
        self.element(&format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {look}/>"));
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let (color, size) = (paint(style.color()).0, style.size() / UNIT);
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
             fill=\"{color}\"{turned}>{}</text>",
            rich(text, size)
        ));
        Ok(())
    }
}

#[cfg(test)]
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
    fn levels_return_to_the_line() {
        let out = rich("10^{−3} *η*", 10.0);
        assert!(out.contains("dy=\"-3.6\" font-size=\"7\">−3<") && out.contains("dy=\"3.6\" font-size=\"10\"> <"));
        assert!(out.contains("font-style=\"italic\">η<"));
    }
}
