//! Paths and clouds of points reduced to what print resolves, and paths cut into dashes; all in backend units
//! (1/100 pt). Plain geometry, no drawing.

use super::style::{Dash, units};
use std::collections::BTreeSet;

type Pixel = (i32, i32);

/// Farthest that a left-out point may lie from the line: a quarter of a dot at 600 dots per inch, in pt.
const RESOLVED: f64 = 0.03;

/// The path without points that lie within [`RESOLVED`] of the line through those that stay (Douglas & Peucker 1973).
pub fn path(points: &[Pixel]) -> Vec<Pixel> {
    if points.len() < 3 {
        return points.to_vec();
    }
    let mut keep = vec![false; points.len()];
    (keep[0], keep[points.len() - 1]) = (true, true);
    let mut open = vec![(0, points.len() - 1)];
    while let Some((from, to)) = open.pop() {
        let distances = (from + 1..to).map(|i| (distance(points[i], points[from], points[to]), i));
        if let Some((farthest, at)) = distances.max_by(|a, b| a.0.total_cmp(&b.0))
            && farthest > f64::from(units(RESOLVED))
        {
            keep[at] = true;
            open.extend([(from, at), (at, to)]);
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(p, _)| *p).collect()
}

/// Distance of a point from the stretch between two others.
fn distance(p: Pixel, a: Pixel, b: Pixel) -> f64 {
    let to = |q: Pixel| (f64::from(q.0 - a.0), f64::from(q.1 - a.1));
    let ((px, py), (bx, by)) = (to(p), to(b));
    let length = bx * bx + by * by;
    let t = if length > 0.0 { ((px * bx + py * by) / length).clamp(0.0, 1.0) } else { 0.0 };
    let (dx, dy) = (px - t * bx, py - t * by);
    (dx * dx + dy * dy).sqrt()
}

/// Points for markers of `radius` pt: of those in one cell of half a radius only the first.
pub fn cloud(points: &[Pixel], radius: f64) -> Vec<Pixel> {
    let cell = units(0.5 * radius).max(1);
    let mut taken = BTreeSet::new();
    points.iter().copied().filter(|p| taken.insert((p.0.div_euclid(cell), p.1.div_euclid(cell)))).collect()
}

/// The path cut into strokes of the lengths of `dash`.
pub fn dashes(path: &[Pixel], dash: Dash) -> Vec<Vec<Pixel>> {
    if dash.is_empty() || path.len() < 2 {
        return vec![path.to_vec()];
    }
    let length = |n: usize| f64::from(units(dash[n % dash.len()]).max(1));
    let mut strokes = vec![vec![path[0]]];
    let (mut n, mut left) = (0, length(0));
    for pair in path.windows(2) {
        let (dx, dy) = (f64::from(pair[1].0 - pair[0].0), f64::from(pair[1].1 - pair[0].1));
        let whole = (dx * dx + dy * dy).sqrt();
        let at = |done: f64| {
            let t = done / whole;
            (pair[0].0 + (t * dx).round() as i32, pair[0].1 + (t * dy).round() as i32)
        };
        let mut done = 0.0;
        while whole - done > left {
            done += left;
            n += 1;
            left = length(n);
            // An even number of turns: a stroke begins here; odd: it ends here.
            match (n.is_multiple_of(2), strokes.last_mut()) {
                (false, Some(stroke)) => stroke.push(at(done)),
                _ => strokes.push(vec![at(done)]),
            }
        }
        left -= whole - done;
        if n.is_multiple_of(2)
            && let Some(stroke) = strokes.last_mut()
        {
            stroke.push(pair[1]);
        }
    }
    strokes.retain(|stroke| stroke.len() > 1);
    strokes
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::numerics::float;

    #[test]
    fn a_straight_path_keeps_its_ends_and_a_bend_its_corner() {
        let straight: Vec<Pixel> = (0..=100).map(|i| (10 * i, 5 * i)).collect();
        assert_eq!(path(&straight), [(0, 0), (1000, 500)]);
        let bent: Vec<Pixel> = (0..=100).map(|i| (10 * i, if i < 50 { 0 } else { 20 * (i - 50) })).collect();
        assert_eq!(path(&bent), [(0, 0), (500, 0), (1000, 1000)]);
    }

    #[test]
    fn what_is_left_out_lies_on_the_line() {
        let wave: Vec<Pixel> = (0..2000).map(|i| (i * 10, (300.0 * float::sin(f64::from(i) * 0.01)) as i32)).collect();
        let kept = path(&wave);
        assert!(kept.len() < 300, "{}", kept.len());
        let off = |p: &Pixel| kept.windows(2).map(|s| distance(*p, s[0], s[1])).fold(f64::INFINITY, f64::min);
        assert!(wave.iter().all(|p| off(p) <= 3.0));
    }

    #[test]
    fn markers_on_each_other_are_drawn_once() {
        let points: Vec<Pixel> = (0..10_000).map(|i| (i % 100, i / 100)).collect();
        assert_eq!(cloud(&points, 1.0).len(), 4);
        assert_eq!(cloud(&[(-1, 0), (1, 0)], 1.0).len(), 2);
    }

    #[test]
    fn dashes_have_their_lengths_across_corners() {
        let strokes = dashes(&[(0, 0), (300, 0), (300, 1000)], &[4.0, 2.0]);
        assert_eq!(strokes[0], [(0, 0), (300, 0), (300, 100)]);
        assert_eq!(strokes[1], [(300, 300), (300, 700)]);
        assert_eq!(strokes[2], [(300, 900), (300, 1000)]);
        assert_eq!(dashes(&[(0, 0), (300, 0)], &[]), [vec![(0, 0), (300, 0)]]);
    }
}
