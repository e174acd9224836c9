//! Colours that everyone can tell apart: contrast, greyscale, red-green blindness.

use thumbline::report::sheet::{Colour, Ground, Ink};

const GROUNDS: [Ground; 2] = [Ground::Paper, Ground::Dark];

/// WCAG 2.2: black on white is 21:1; #777777 on white is 4.48:1, the well-known near miss of
/// 4.5:1 (computed from the formula).
#[test]
fn contrast_is_that_of_wcag() {
    let white = Colour(255, 255, 255);
    assert!((Colour(0, 0, 0).contrast(white) - 21.0).abs() < 1e-9);
    assert!((Colour(0x77, 0x77, 0x77).contrast(white) - 4.48).abs() < 0.005);
}

/// WCAG 2.2 AA: text 4.5:1 (success criterion 1.4.3), marks 3:1 (1.4.11), on the ground, on a
/// panel's wash and, for what is drawn over it, on the grey band.
#[test]
fn every_ink_stands_out() {
    for ground in GROUNDS {
        for ink in Ink::ALL {
            let colour = ground.ink(ink);
            let least = ink.least_contrast();
            let on_ground = colour.contrast(ground.colour());
            assert!(on_ground >= least, "{ink:?} on {ground:?}: {on_ground:.2}");
            if least > 1.0 {
                let on_wash = colour.contrast(ground.ink(Ink::Wash));
                assert!(
                    on_wash >= least,
                    "{ink:?} on the wash of {ground:?}: {on_wash:.2}"
                );
            }
        }
        for ink in [
            Ink::Thumb,
            Ink::Finger,
            Ink::ThumbQuiet,
            Ink::FingerQuiet,
            Ink::Line,
        ] {
            let on_band = ground.ink(ink).contrast(ground.ink(Ink::Band));
            assert!(
                on_band >= 2.5,
                "{ink:?} on the band of {ground:?}: {on_band:.2}"
            );
        }
    }
}

/// Okabe & Ito, "Color Universal Design" (values from memory): blue 0 114 178, vermilion
/// 213 94 0, sky blue 86 180 233, orange 230 159 0.
#[test]
fn hands_have_the_palette_of_okabe_and_ito() {
    assert_eq!(Ground::Paper.ink(Ink::Thumb), Colour(0, 114, 178));
    assert_eq!(Ground::Paper.ink(Ink::Finger), Colour(213, 94, 0));
    assert_eq!(Ground::Dark.ink(Ink::Thumb), Colour(86, 180, 233));
    assert_eq!(Ground::Dark.ink(Ink::Finger), Colour(230, 159, 0));
}

/// Full protanopia and deuteranopia on linear light, Machado, Oliveira & Fernandes 2009, IEEE
/// TVCG 15(6) (matrices from memory).
const BLIND: [[[f64; 3]; 3]; 2] = [
    [
        [0.152_286, 1.052_583, -0.204_868],
        [0.114_503, 0.786_281, 0.099_216],
        [-0.003_882, -0.048_116, 1.051_998],
    ],
    [
        [0.367_322, 0.860_646, -0.227_968],
        [0.280_085, 0.672_501, 0.047_413],
        [-0.011_820, 0.042_940, 0.968_881],
    ],
];

fn seen(colour: Colour, matrix: &[[f64; 3]; 3]) -> [f64; 3] {
    let light = colour.linear();
    matrix.map(|row| {
        row.iter()
            .zip(light)
            .map(|(m, c)| m * c)
            .sum::<f64>()
            .clamp(0.0, 1.0)
    })
}

/// Distance in a perceptual space (`CIELAB` ΔE of 1976, D65; formula from memory).
fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    let lab = |[r, g, b]: [f64; 3]| {
        let f = |t: f64| {
            if t > 0.008_856 {
                t.cbrt()
            } else {
                7.787 * t + 16.0 / 116.0
            }
        };
        let x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
        let y = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
        let z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    };
    let (a, b) = (lab(a), lab(b));
    a.iter()
        .zip(b)
        .map(|(p, q)| (p - q).powi(2))
        .sum::<f64>()
        .sqrt()
}

/// Thumb and finger stay apart for those who cannot tell red from green (a ΔE of 20 is plain to
/// see), and every mark still stands out from the ground.
#[test]
fn hands_stay_apart_in_red_green_blindness() {
    for ground in GROUNDS {
        for matrix in &BLIND {
            let [thumb, finger] = [Ink::Thumb, Ink::Finger].map(|i| seen(ground.ink(i), matrix));
            let apart = difference(thumb, finger);
            assert!(apart > 20.0, "{ground:?}: {apart:.1}");
            for ink in Ink::ALL.into_iter().filter(|i| i.least_contrast() >= 3.0) {
                let against = seen(ground.colour(), matrix);
                let apart = difference(seen(ground.ink(ink), matrix), against);
                assert!(apart > 30.0, "{ink:?} on {ground:?}: {apart:.1}");
            }
        }
    }
}

/// In greyscale the hands differ by shape and place; bold must still look heavier than quiet: its
/// contrast with the ground is no lower, and its head is larger (see the layout's own tests).
#[test]
fn bold_is_not_fainter_than_quiet_in_grey() {
    for ground in GROUNDS {
        for (bold, quiet) in [
            (Ink::Thumb, Ink::ThumbQuiet),
            (Ink::Finger, Ink::FingerQuiet),
        ] {
            let against = |ink| ground.ink(ink).contrast(ground.colour());
            assert!(against(bold) > 0.98 * against(quiet), "{ground:?} {bold:?}");
        }
    }
}
