//! Progress as text for a terminal and as a picture (SVG): speed reached and the fingers' drift
//! and spread, a mark a day.

use super::read::PracticeDay;
use crate::report::sign::COMMENT;
use crate::xml::escaped;
use std::fmt::Write as _;

/// Okabe & Ito's bluish green and vermilion, readable with red-green blindness.
const SPEED: &str = "#009e73";
const DRIFT: &str = "#d55e00";
const INK: &str = "#2b2a27";
const PAPER: &str = "#fbf8f1";

/// Milliseconds ahead and behind that a chart of `sessions` spans: all of their drift and spread, at
/// least 20.
pub fn reach(sessions: &[PracticeDay]) -> f64 {
    sessions
        .iter()
        .filter_map(|s| s.fingers)
        .map(|f| f.drift_ms.abs() + f.spread_ms)
        .fold(20.0, f64::max)
}

/// A chart of at most `width` columns, one line a day, the latest day last: how fast, and where
/// the fingers lay (a mark) with their spread (a line around it).
pub fn text(sessions: &[PracticeDay], width: usize) -> String {
    let mut out = String::new();
    let room = (width.saturating_sub(43).clamp(11, 61) - 1) | 1;
    let reach = reach(sessions);
    let _ = writeln!(
        out,
        "day         rounds  speed  {:─^room$} fingers",
        format!(" ahead ◂ ±{reach:.0} ms ▸ behind ")
    );
    for s in sessions {
        let mut line = vec![' '; room];
        line[room / 2] = '┊';
        let mut words = "not measured".to_owned();
        if let Some(f) = s.fingers {
            let place = |ms: f64| {
                let at = (ms / reach).clamp(-1.0, 1.0) * (room / 2) as f64;
                ((room / 2) as f64 + at).round() as usize
            };
            // A journal made elsewhere may say anything of a spread.
            let spread = f.spread_ms.abs();
            for cell in &mut line[place(f.drift_ms - spread)..=place(f.drift_ms + spread)] {
                *cell = '─';
            }
            line[place(f.drift_ms)] = '◆';
            words = format!("{:+.0} ± {:.0} ms", f.drift_ms.round() + 0.0, f.spread_ms);
        }
        let bar: String = line.into_iter().collect();
        let _ = writeln!(
            out,
            "{:<10}  {:>6}  {:>4.0}%  {bar} {words}",
            s.date,
            s.rounds,
            s.top_speed * 100.0
        );
    }
    out
}

/// A picture of `sessions` titled `name`: speed above, the fingers' drift with its spread below.
/// Valid XML for any name.
pub fn svg(name: &str, sessions: &[PracticeDay]) -> String {
    let step = 54.0;
    let (left, top, tall, gap) = (64.0, 56.0, 120.0, 56.0);
    let width = left + step * sessions.len().max(4) as f64 + 24.0;
    let drift_top = top + tall + gap;
    let reach = reach(sessions);
    let speed_y = |speed: f64| top + tall * (1.0 - (speed / 1.5).clamp(0.0, 1.0));
    let drift_y = |ms: f64| drift_top + tall * (0.5 + 0.5 * (ms / reach).clamp(-1.0, 1.0));
    let x = |i: usize| left + step * (i as f64 + 0.5);
    let height = drift_top + tall + 48.0;
    let mut out = String::new();
    let _ = write!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0}" height="{height:.0}" font-family="sans-serif" font-size="12" fill="{INK}">{COMMENT}<title>Progress: {title}</title><rect width="100%" height="100%" fill="{PAPER}"/><text x="{left}" y="26" font-size="16">{title}</text>"#,
        title = escaped(name)
    );
    for (speed, label) in [(0.5, "50 %"), (1.0, "100 %"), (1.5, "150 %")] {
        rule(&mut out, left, width, speed_y(speed), label);
    }
    for (ms, label) in [(-reach, "ahead"), (0.0, "on it"), (reach, "behind")] {
        rule(&mut out, left, width, drift_y(ms), label);
    }
    let _ = write!(
        out,
        r#"<text x="{left}" y="{:.0}">speed reached</text><text x="{left}" y="{:.0}">fingers against the beat, edges at {reach:.0} ms</text>"#,
        top - 10.0,
        drift_top - 10.0
    );
    for (i, s) in sessions.iter().enumerate() {
        let y = speed_y(s.top_speed);
        let _ = write!(
            out,
            r#"<rect x="{:.1}" y="{:.1}" width="8" height="8" fill="{SPEED}"/>"#,
            x(i) - 4.0,
            y - 4.0
        );
        if let Some(f) = s.fingers {
            let (a, b) = (
                drift_y(f.drift_ms - f.spread_ms),
                drift_y(f.drift_ms + f.spread_ms),
            );
            let _ = write!(
                out,
                r#"<line x1="{x:.1}" y1="{a:.1}" x2="{x:.1}" y2="{b:.1}" stroke="{DRIFT}" stroke-width="3"/><circle cx="{x:.1}" cy="{c:.1}" r="5" fill="{DRIFT}"/>"#,
                x = x(i),
                c = drift_y(f.drift_ms)
            );
        }
        let _ = write!(
            out,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="middle" font-size="10">{}</text>"#,
            x(i),
            height - 20.0,
            s.date.get(5..).unwrap_or("")
        );
    }
    out.push_str("</svg>\n");
    out
}

fn rule(out: &mut String, left: f64, width: f64, y: f64, label: &str) {
    let _ = write!(
        out,
        r##"<line x1="{left}" y1="{y:.1}" x2="{:.0}" y2="{y:.1}" stroke="#c9c2b2"/><text x="{:.0}" y="{:.1}" text-anchor="end">{label}</text>"##,
        width - 16.0,
        left - 8.0,
        y + 4.0
    );
}
