//! The line of settled children over time: pure arithmetic from counts to an SVG path.
//!
//! Coordinates run over a square of [`SIDE`] units that the page stretches to the width it has; words stand
//! around the picture as ordinary text, so that they keep their size on a narrow phone.

/// Width and height of the drawing, in its own units.
pub const SIDE: f64 = 1000.0;

/// What the picture is drawn from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counts {
    /// Unix time in milliseconds and the number of children settled from then on, in order of time.
    pub steps: Vec<(i64, u32)>,
    /// All children of the event.
    pub all: u32,
    /// Unix time in milliseconds of the reading; the line ends here.
    pub now_ms: i64,
    /// Unix time in milliseconds by which all should be settled.
    pub deadline_ms: i64,
}

/// The finished drawing, as path data of the SVG language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawing {
    /// The line: level between counts, upright where the count changes.
    pub line: String,
    /// The ground below the line.
    pub ground: String,
    /// A point where the line ends.
    pub end: String,
    /// The upright line of the deadline.
    pub deadline: String,
    /// Whether the deadline has passed, so that its line stands inside the picture.
    pub deadline_past: bool,
}

/// Draws the counts. Without any step, or without children, there is nothing to draw.
pub fn draw(counts: &Counts) -> Option<Drawing> {
    let &(from, first) = counts.steps.first()?;
    if counts.all == 0 {
        return None;
    }
    let to = counts.deadline_ms.max(counts.now_ms).max(from + 1);
    let x = |ms: i64| SIDE * (ms.clamp(from, to) - from) as f64 / (to - from) as f64;
    let y = |n: u32| SIDE - SIDE * f64::from(n.min(counts.all)) / f64::from(counts.all);

    let mut line = format!("M0 {:.1}", y(first));
    let mut last = first;
    for &(at, settled) in counts.steps.iter().skip(1) {
        if at > counts.now_ms || settled == last {
            continue;
        }
        line.push_str(&format!("H{:.1}V{:.1}", x(at), y(settled)));
        last = settled;
    }
    let end = x(counts.now_ms);
    line.push_str(&format!("H{end:.1}"));
    let mark = x(counts.deadline_ms);
    Some(Drawing {
        ground: format!("{line}V{SIDE:.1}H0Z"),
        end: format!("M{end:.1} {:.1}h0", y(last)),
        deadline: format!("M{mark:.1} 0V{SIDE:.1}"),
        deadline_past: counts.deadline_ms < counts.now_ms,
        line,
    })
}

/// A number looked ahead to: Unix time in milliseconds, the low end of its range, the middle, the high end.
pub type Ahead = (i64, u32, u32, u32);

/// What is to come, drawn on from the end of the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fan {
    /// The ground between the low and the high ends.
    pub band: String,
    /// The line of the middles.
    pub middle: String,
}

/// Draws what is to come beside [`draw`] of the same counts; nothing where that draws nothing, or nothing is to come.
pub fn fan(counts: &Counts, ahead: &[Ahead]) -> Option<Fan> {
    let &(from, first) = counts.steps.first()?;
    if counts.all == 0 || ahead.is_empty() {
        return None;
    }
    let to = counts.deadline_ms.max(counts.now_ms).max(from + 1);
    let x = |ms: i64| SIDE * (ms.clamp(from, to) - from) as f64 / (to - from) as f64;
    let y = |n: u32| SIDE - SIDE * f64::from(n.min(counts.all)) / f64::from(counts.all);
    let past = counts.steps.iter().rev().find(|(at, _)| *at <= counts.now_ms);
    let now = past.map_or(first, |(_, n)| *n);
    let begin = format!("M{:.1} {:.1}", x(counts.now_ms), y(now));
    let point = |ms: i64, n: u32| format!("L{:.1} {:.1}", x(ms), y(n));
    let low = ahead.iter().map(|(ms, low, _, _)| point(*ms, *low));
    let middle = ahead.iter().map(|(ms, _, middle, _)| point(*ms, *middle));
    let high = ahead.iter().rev().map(|(ms, _, _, high)| point(*ms, *high));
    Some(Fan {
        band: format!("{begin}{}Z", low.chain(high).collect::<String>()),
        middle: format!("{begin}{}", middle.collect::<String>()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(steps: &[(i64, u32)], now_ms: i64, deadline_ms: i64) -> Counts {
        Counts { steps: steps.to_vec(), all: 10, now_ms, deadline_ms }
    }

    #[test]
    fn a_step_is_level_then_upright() {
        let drawing = draw(&counts(&[(0, 0), (250, 5), (500, 10)], 750, 1000)).unwrap();
        assert_eq!(drawing.line, "M0 1000.0H250.0V500.0H500.0V0.0H750.0");
        assert_eq!(drawing.ground, "M0 1000.0H250.0V500.0H500.0V0.0H750.0V1000.0H0Z");
        assert_eq!(drawing.end, "M750.0 0.0h0");
        assert_eq!(drawing.deadline, "M1000.0 0V1000.0");
        assert!(!drawing.deadline_past);
    }

    #[test]
    fn after_the_deadline_its_line_stands_inside() {
        let drawing = draw(&counts(&[(0, 2)], 2000, 1000)).unwrap();
        assert_eq!(drawing.deadline, "M500.0 0V1000.0");
        assert_eq!(drawing.line, "M0 800.0H1000.0");
        assert!(drawing.deadline_past);
    }

    #[test]
    fn a_count_may_fall_and_never_leaves_the_frame() {
        let drawing = draw(&counts(&[(0, 8), (10, 3), (20, 99)], 40, 40)).unwrap();
        assert_eq!(drawing.line, "M0 200.0H250.0V700.0H500.0V0.0H1000.0");
    }

    #[test]
    fn later_counts_than_the_reading_are_left_out() {
        let drawing = draw(&counts(&[(0, 1), (900, 9)], 500, 1000)).unwrap();
        assert_eq!(drawing.line, "M0 900.0H500.0");
    }

    #[test]
    fn what_is_to_come_opens_from_the_end_of_the_line() {
        let counts = counts(&[(0, 0), (500, 4)], 500, 1000);
        let fan = fan(&counts, &[(750, 5, 6, 7), (1000, 6, 8, 9)]).unwrap();
        assert_eq!(fan.middle, "M500.0 600.0L750.0 400.0L1000.0 200.0");
        assert_eq!(fan.band, "M500.0 600.0L750.0 500.0L1000.0 400.0L1000.0 100.0L750.0 300.0Z");
        assert_eq!(super::fan(&counts, &[]), None);
    }

    #[test]
    fn nothing_to_draw() {
        assert_eq!(draw(&counts(&[], 1, 2)), None);
        let empty = Counts { all: 0, ..counts(&[(0, 0)], 1, 2) };
        assert_eq!(draw(&empty), None);
        assert!(draw(&counts(&[(5, 1)], 5, 5)).is_some());
    }
}
