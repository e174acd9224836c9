//! How hard the strings pull in a tuning, so that nobody breaks one.
//!
//! A string of mass μ a metre and sounding length L pulls with T = μ·(2·L·f)² (Mersenne's law). Masses
//! follow from typical light gauges: plain steel is a cylinder of 7,850 kg/m³; a wound string is a
//! steel core with a helix of bronze of 8,800 kg/m³, whose mass a metre is ρ·π²·w·(d + w)/4 for a wrap
//! of thickness w on a core of diameter d. Densities are handbook values; gauges and cores from memory.
//! Sets differ by a tenth and more, so loads are told as shares of the same string's in standard tuning.

use super::hand::SCALE_MM;
use super::tuning::Tuning;

/// Diameter and core of a light acoustic set in thousandths of an inch, string 1 first; a core of 0
/// is a plain string.
const LIGHT: [(f64, f64); 8] = [
    (12.0, 0.0),
    (16.0, 0.0),
    (24.0, 11.0),
    (32.0, 14.0),
    (42.0, 16.0),
    (53.0, 18.0),
    (66.0, 20.0),
    (80.0, 22.0),
];
const STEEL: f64 = 7850.0;
const BRONZE: f64 = 8800.0;
const INCH: f64 = 0.0254;

/// What these strings are meant for, string 1 first.
const STANDARD: [i32; 8] = [64, 59, 55, 50, 45, 40, 35, 30];

/// A string that pulls this much more than in standard tuning is told: two semitones up are 26 %.
const TOLD: f64 = 1.2;
/// All strings together pulling this much more strain top and neck (a whole step up is 26 %).
const ALL: f64 = 1.08;

/// One string's pull.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// String, 1 = highest.
    pub string: u8,
    /// Its tension in newtons with a typical light set, about ±10 %.
    pub newtons: f64,
    /// The same as a share of what it pulls in standard tuning: 1 is alike.
    pub against_standard: f64,
}

/// Mass of a light set's string in kg a metre.
fn mass(string: u8) -> f64 {
    let (gauge, core) = LIGHT[usize::from(string.clamp(1, 8)) - 1];
    let metres = |mil: f64| mil * 1e-3 * INCH;
    let cylinder = |d: f64| STEEL * std::f64::consts::FRAC_PI_4 * d * d;
    if core == 0.0 {
        return cylinder(metres(gauge));
    }
    let (core, wrap) = (metres(core), metres(0.5 * (gauge - core)));
    let helix = BRONZE * std::f64::consts::PI.powi(2) * wrap * (core + wrap) / 4.0;
    cylinder(core) + helix
}

/// The pull of every string of `tuning` without its capo, which changes nothing of it; string 1 first.
pub fn pulls(tuning: &Tuning) -> Vec<Pull> {
    let bare = tuning.clone().with_capo(0);
    (1..=bare.strings().min(8))
        .filter_map(|string| {
            let pull = |hz: f64| mass(string) * (2.0 * SCALE_MM * 1e-3 * hz).powi(2);
            let newtons = pull(bare.sounding(string, 0)?.hz());
            let usual = f64::from(STANDARD[usize::from(string) - 1]);
            Some(Pull {
                string,
                newtons,
                against_standard: newtons / pull(crate::unit::MidiNote(usual).hz()),
            })
        })
        .collect()
}

/// What a player should know before tuning up; none where no string is tightened much.
pub fn warning(tuning: &Tuning) -> Option<String> {
    let pulls = pulls(tuning);
    let hard: Vec<&Pull> = pulls.iter().filter(|p| p.against_standard > TOLD).collect();
    let usual: f64 = pulls.iter().map(|p| p.newtons / p.against_standard).sum();
    let all: f64 = pulls.iter().map(|p| p.newtons).sum::<f64>() / usual.max(1e-9);
    if hard.is_empty() && all < ALL {
        return None;
    }
    let mut words = String::new();
    if !hard.is_empty() {
        let each: Vec<String> = hard
            .iter()
            .rev()
            .map(|p| {
                let more = 100.0 * (p.against_standard - 1.0);
                format!(
                    "string {} by {more:.0} % to about {:.0} N",
                    p.string, p.newtons
                )
            })
            .collect();
        words = format!("This tuning tightens {}. ", each.join(", "));
    }
    let all = format!(
        "All strings together pull {:.0} % more than in standard tuning (a light set). Use lighter \
         strings, or tune lower and put a capo on: a string may break and the top may lift.",
        100.0 * (all - 1.0)
    );
    words.push_str(&all);
    Some(words)
}

/// A string that pulls less than this share of what it is made for flaps: three semitones down leave
/// 71 % (set by hand).
pub const SLACK: f64 = 0.72;

/// What a player should know of slack strings; none where no string is slackened much.
pub fn slack(tuning: &Tuning) -> Option<String> {
    let pulls = pulls(tuning);
    let slack: Vec<String> = pulls
        .iter()
        .rev()
        .filter(|p| p.against_standard < SLACK)
        .map(|p| {
            format!(
                "string {} keeps {:.0} % of its pull",
                p.string,
                100.0 * p.against_standard
            )
        })
        .collect();
    (!slack.is_empty()).then(|| {
        format!(
            "Slack: {}. It may buzz and drift sharp when it is struck hard: pluck it softly, or put a \
             heavier string on.",
            slack.join(", ")
        )
    })
}
